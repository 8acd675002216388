"""The sheet of answers as somebody brings it back: read where the meaning is plain, else refused by row and
column.

Programs for tables write semicolons and decimal commas, another encoding, other cases of names; people
write "ja".
"""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from terrain3d.errors import InputError
from terrain3d.outside import content

#: A sheet of a thousand points has a tenth of this.
_MOST_BYTES = 2_000_000
#: A direction may go round more than once.
_MOST_TURNED_DEG = 3600
#: Columns that have to be there, and what else is read.
NEEDED = ("point", "x", "y", "direction", "seen")
ALSO = ("unit", "length", "posture")
_YES = {
    "yes",
    "y",
    "true",
    "1",
    "x",
    "lit",
    "light",
    "lights",
    "on",
    "alarm",
    "\u2713",
    "\u2714",
    "\u2611",
    "ja",
    "j",
    "oui",
    "o",
    "si",
    "sí",
    "s",
}
_NO = {
    "no",
    "n",
    "false",
    "0",
    "dark",
    "off",
    "none",
    "nothing",
    "no alarm",
    "nein",
    "non",
    "nee",
    "nej",
    "\u2717",
    "\u2718",
}
#: Longer than any walk past a point, metres.
_LONGEST_M = 100.0
_EMPTY = {"", "-", "?", "not walked"}
_MEND = "make the sheet anew, or put back the columns that `terrain3d walktest` writes"


@dataclass(frozen=True)
class Answer:
    """One row of the sheet: where was walked, and whether the indicator lit; None where nobody walked.

    `x` and `y` are coordinates of the site file; `unit`, `length_m` and `posture` None where the sheet has
    no such column.
    """

    row: int
    point: int
    x: float
    y: float
    towards_deg: float
    seen: bool | None
    unit: str | None = None
    length_m: float | None = None
    posture: str | None = None


def read_answers(path: Path) -> tuple[Answer, ...]:
    """The answers of a sheet, by their points; a point that stands there twice alike once.

    Raises
    ------
    InputError
        With the row and the column at fault.
    """
    text = _decoded(content(path, _MOST_BYTES, "give the sheet of one walk test"), path)
    return answers_in(text, str(path))


def answers_in(text: str, where: str) -> tuple[Answer, ...]:
    """The answers in the text of a sheet; `where` names it in messages.

    Examples
    --------
    >>> answers_in("Point;x;y;direction;seen\\n3;1,5;2;90;Ja\\n", "sheet")[0]
    Answer(row=2, point=3, x=1.5, y=2.0, towards_deg=90.0, seen=True, unit=None, length_m=None, posture=None)
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text)))
    except csv.Error as error:
        raise InputError(f"it is no CSV: {error}", where, _MEND) from None
    filled = [(n, cells) for n, cells in enumerate(rows, 1) if any(cell.strip() for cell in cells)]
    if filled and len(filled[0][1]) <= 2 and filled[0][1][0].strip('\ufeff" ').lower().startswith("sep="):
        # Some programs say on a line of its own what parts the cells.
        filled = filled[1:]
    if not filled:
        raise InputError("the sheet is empty", where, _MEND)
    heading_row, heading = filled[0]
    places = _columns(heading, f"{where}: row {heading_row}")
    found: dict[int, Answer] = {}
    for number, cells in filled[1:]:
        if any(cell.strip() for cell in cells[len(heading) :]):
            raise InputError(
                f"row {number} has more cells than the heading",
                f"{where}: row {number}, column {len(heading) + 1}",
                "write numbers with a decimal point, or in quotes, and give columns of your own a heading",
            )
        answer = _answer(cells, places, number, where)
        before = found.get(answer.point)
        if before is not None and (before.seen, before.x, before.y) != (answer.seen, answer.x, answer.y):
            if before.seen is not None and answer.seen is not None:
                raise InputError(
                    f"point {answer.point} stands in rows {before.row} and {number}, and they differ",
                    f"{where}: row {number}, column point",
                    "keep the right one",
                )
            answer = before if answer.seen is None else answer
        found[answer.point] = answer
    if not found:
        raise InputError("the sheet has no row below its heading", where, _MEND)
    if all(answer.seen is None for answer in found.values()):
        raise InputError(
            "nothing is filled in", f"{where}: column seen", "write yes where the indicator lit, no where not"
        )
    return tuple(found[point] for point in sorted(found))


def _decoded(raw: bytes, path: Path) -> str:
    for encoding in ("utf-8-sig", "cp1252"):
        if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
            encoding = "utf-16"
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise InputError("it is not a text file", str(path), "save the sheet as CSV")


def _delimiter(text: str) -> str:
    """What parts the cells of the heading: the one of these that it has most of."""
    heading = next((line for line in text.splitlines() if "point" in line.lower()), text)
    return max(",;\t", key=heading.count)


def _columns(heading: Sequence[str], where: str) -> dict[str, int]:
    names = [cell.strip().strip("\ufeff").lower() for cell in heading]
    for name in NEEDED:
        if name not in names:
            raise InputError(f"there is no column {name!r}", where, _MEND)
    for name in (*NEEDED, *ALSO):
        if names.count(name) > 1:
            raise InputError(f"two columns are called {name!r}", where, "keep one of them")
    return {name: names.index(name) for name in (*NEEDED, *ALSO) if name in names}


def _answer(cells: Sequence[str], places: Mapping[str, int], row: int, where: str) -> Answer:
    told = {}
    for name, place in places.items():
        cell = cells[place].strip() if place < len(cells) else ""
        spot = f"{where}: row {row}, column {name}"
        if cell.startswith(("=", "@")):
            raise InputError(f"there is a formula, {cell[:40]!r}", spot, "put the value in its place")
        told[name] = cell.removeprefix("'"), spot
    point = _number(*told["point"])
    if point != int(point) or not 1 <= point <= 1_000_000:
        raise InputError(
            f"{told['point'][0]!r} is no number of a point", told["point"][1], "give 1, 2, 3 ..."
        )
    towards = _number(*told["direction"])
    if abs(towards) > _MOST_TURNED_DEG:
        raise InputError(
            f"{told['direction'][0]!r} is no direction", told["direction"][1], "give degrees from north"
        )
    length, length_m = told.get("length", ("", "")), None
    if length[0]:
        length_m = _number(*length)
        if not 0 < length_m <= _LONGEST_M:
            raise InputError(
                f"nobody walks {length[0]} m past a point",
                length[1],
                f"give more than 0, {_LONGEST_M:g} at most",
            )
    return Answer(
        row, int(point), _number(*told["x"]), _number(*told["y"]), towards % 360,
        _seen(*told["seen"]), told["unit"][0] if "unit" in told else None,
        length_m,
        told["posture"][0] if "posture" in told and told["posture"][0] else None,
    )  # fmt: skip


def _number(cell: str, where: str) -> float:
    plain = cell.replace("\u00a0", "").replace(" ", "")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if math.isfinite(value) and "e" in plain.lower():
        # A program for tables writes 560039.2 so when its column is narrow: the place is gone.
        raise InputError(
            f"{cell!r} has lost its last figures",
            where,
            "take the number from the sheet as it was made: a program for tables has rounded it",
        )
    if not math.isfinite(value):
        raise InputError(f"{cell!r} is no number", where, "write it with a point or a comma, without units")
    return value


def _seen(cell: str, where: str) -> bool | None:
    word = cell.casefold().strip(" .!")
    if word in _EMPTY:
        return None
    if word in _YES or word in _NO:
        return word in _YES
    raise InputError(
        f"{cell!r} says neither yes nor no",
        where,
        "write yes where the indicator lit, no where not, or nothing",
    )

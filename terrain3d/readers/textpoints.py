"""XYZ and CSV text: one point a line, with or without a line of names, numbers and codes before or behind."""

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from io import TextIOWrapper
from itertools import islice, pairwise
from pathlib import Path
from typing import TextIO

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import (
    Said,
    crs_to_take,
    crs_words,
    lies_within,
    metres_per_unit,
    plan_doubts,
    plan_scale,
    settle,
)
from terrain3d.readers.source import (
    FARTHEST,
    USUAL_NO_DATA,
    Box,
    Cloud,
    Header,
    NothingThereError,
    Progress,
)
from terrain3d.site import GroundSource
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M, Floats
from terrain3d.wording import box_words, counted, plain

#: Lines parsed at a time.
CHUNK = 250_000
#: Lines looked at to find how a file is built; a longer line is none of points.
_LOOKED_AT, _MOST_LINE = 200, 10_000
#: Column names, in lower case and without units in brackets (common practice, no source).
NAMES = {
    "x": ("x", "easting", "east", "e", "lon", "long", "longitude", "rechtswert", "ostwert", "est"),
    "y": ("y", "northing", "north", "n", "lat", "latitude", "hochwert", "nordwert", "nord"),
    "z": (
        "z", "elevation", "elev", "height", "h", "alt", "altitude", "level", "rl", "reduced level", "höhe",
        "hoehe", "cote", "quota",
    ),
    "class": ("class", "classification", "cls", "c"),
}  # fmt: skip
#: Units as they stand in a name, in brackets or after a stroke (common practice, no source).
_UNITS = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "ft": FOOT_M, "feet": FOOT_M,
    "usft": US_SURVEY_FOOT_M, "us-ft": US_SURVEY_FOOT_M, "ftus": US_SURVEY_FOOT_M, "sft": US_SURVEY_FOOT_M,
}  # fmt: skip
#: Points farther apart than this, metres, are spot levels or a thinned model of the ground; scans are denser
#: (common practice, no source).
SPOT_LEVELS_M = 1.0
_NAMES_NEEDED = "put a line of names on top"
#: Separator (None: blanks) and whether the comma is a decimal one, in the order they are tried.
_WAYS = ((";", False), (";", True), ("\t", False), ("\t", True), (",", False), (None, False), (None, True))


@dataclass(frozen=True)
class _Layout:
    """How the lines are built: separator (None for blanks), decimal comma, lines on top, columns, quotes."""

    separator: str | None
    decimal_comma: bool
    n_top: int
    columns: tuple[int, ...]
    named: bool
    in_degrees: bool = False
    extra: int = 0
    plan_unit_m: float = 1.0
    height_unit_m: float | None = None
    quoted: bool = False

    @property
    def has_class(self) -> bool:
        return len(self.columns) == 4


def text_header(path: Path, ground: GroundSource) -> Header:
    """Bounds and count of a text file, which means reading it through once."""
    layout = _layout(path)
    low, high, n_points, n_read = np.full(2, np.inf), np.full(2, -np.inf), 0, 0
    for _, rows in _rows(path, layout):
        n_read += len(rows)
        rows = _with_heights(rows)
        if not len(rows):
            continue
        low, high = np.minimum(low, rows[:, :2].min(axis=0)), np.maximum(high, rows[:, :2].max(axis=0))
        n_points += len(rows)
    if n_points == 0:
        what = (
            f"all its {n_read} heights are {USUAL_NO_DATA[0]:.0f} or the like"
            if n_read
            else "it holds no points"
        )
        raise InputError(what, str(path), "name a survey with points")
    if layout.in_degrees and ground.crs is None:
        raise InputError(
            "its columns are longitude and latitude, but no CRS is named",
            str(path),
            'set [ground] crs, for instance "EPSG:4326" for WGS 84',
        )
    crs = crs_to_take(None, ground)
    scale = plan_scale(layout.plan_unit_m, crs)
    bounds = (float(low[0] * scale), float(low[1] * scale), float(high[0] * scale), float(high[1] * scale))
    if crs is not None and not layout.named:
        _refuse_north_first(bounds, crs, path)
    said = Said(
        vertical_unit_m=layout.height_unit_m,
        vertical_unit_from="its line of names" if layout.height_unit_m else "",
        doubts=plan_doubts(layout.plan_unit_m, crs, "its line of names"),
    )
    settled = settle(said, ground, str(path), bounds, n_points)
    header = Header(
        kind="cloud",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=n_points,
        doubts=settled.doubts + _no_data_doubts(n_read - n_points) + _order_doubts(layout, path),
        form="text, one point a line" + (", with names" if layout.named else ""),
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
    )
    if not _are_spot_levels(layout, header):
        return header
    told = (
        f"its points have no class and lie some {plain(_apart_m(header), 2)} m apart: they are taken for "
        "spot levels, every one of them on the ground; take out those of walls, roofs and crowns"
    )
    return replace(header, doubts=(*header.doubts, told))


def read_text(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Cloud:
    """Read the points inside a box, noise left out; see `read_las`."""
    kept: list[Cloud] = []
    pass_text(path, header, box, kept.append, progress)
    xyz = np.concatenate([cloud.xyz for cloud in kept])
    ones = np.ones(len(xyz), np.uint8)
    classes = np.concatenate([cloud.classes for cloud in kept])
    return Cloud(xyz, classes, ones, ones.copy(), header.crs, header.doubts)


def pass_text(
    path: Path,
    header: Header,
    box: Box | None,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
) -> None:
    """Hand on the points that `read_text` would read, chunk by chunk, keeping none; see `pass_las`."""
    layout = _layout(path)
    unclassed = 2 if _are_spot_levels(layout, header) else 0
    scale = plan_scale(layout.plan_unit_m, header.crs)
    n_inside = n_kept = 0
    for done, rows in _rows(path, layout):
        rows = _with_heights(rows)
        if scale != 1.0:
            rows[:, :2] *= scale
        if box is not None:
            inside = (rows[:, 0] >= box[0]) & (rows[:, 1] >= box[1])
            rows = rows[inside & (rows[:, 0] <= box[2]) & (rows[:, 1] <= box[3])]
        n_inside += len(rows)
        if layout.has_class:
            rows = rows[~np.isin(rows[:, 3], (7, 18))]
        n_kept += len(rows)
        if len(rows):
            xyz = np.ascontiguousarray(rows[:, :3])
            xyz[:, 2] *= header.vertical_unit_m
            ones = np.ones(len(rows), np.uint8)
            classes = (
                rows[:, 3].astype(np.uint8) if layout.has_class else np.full(len(rows), unclassed, np.uint8)
            )
            take(Cloud(xyz, classes, ones, ones, header.crs))
        if progress is not None:
            progress(done)
    if n_kept == 0:
        what = (
            "all its points are noise (classes 7 and 18)"
            if n_inside
            else f"no point of it lies in {box_words(box or header.bounds)}"
        )
        raise NothingThereError(
            what,
            str(path),
            f"it covers {box_words(header.bounds)}: check [site] crs and [ground] crs, or name another",
        )


def _with_heights(rows: Floats) -> Floats:
    """The points but for those whose height stands for none, as grids that were written as text have them."""
    none = np.isin(rows[:, 2], USUAL_NO_DATA)
    return rows[~none] if none.any() else rows


def _no_data_doubts(n: int) -> tuple[str, ...]:
    if not n:
        return ()
    return (
        f"{counted(n, 'point')} with heights of {USUAL_NO_DATA[0]:.0f} or the like are left out: no data",
    )


def _refuse_north_first(bounds: Box, crs: pyproj.CRS, path: Path) -> None:
    """Where nothing says which column is east, the CRS may know."""
    x, y = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    if not lies_within(crs, x, y) and lies_within(crs, y, x):
        raise InputError(
            f"its points lie in {crs_words(crs)} only where north comes before east, and nothing says so",
            str(path),
            f"{_NAMES_NEEDED}, such as: number northing easting height",
        )


def _are_spot_levels(layout: _Layout, header: Header) -> bool:
    return not layout.has_class and _apart_m(header) > SPOT_LEVELS_M


def _apart_m(header: Header) -> float:
    """Metres between points, were they spread evenly over the bounds."""
    west, south, east, north = header.bounds
    across, along = metres_per_unit(header.crs, (south + north) / 2)
    return math.sqrt((east - west) * across * (north - south) * along / header.n_points)


def _order_doubts(layout: _Layout, path: Path) -> tuple[str, ...]:
    """What is guessed where no line says which column is which."""
    if layout.named:
        return ()
    doubts: tuple[str, ...] = ()
    first = layout.columns[0] + 1
    if first > 1 or path.suffix.lower() != ".xyz":
        doubts += (
            f"nothing names its columns: column {first} is taken for east, {first + 1} for north and "
            f"{first + 2} for height; where north comes first, {_NAMES_NEEDED}, such as: "
            "number northing easting height",
        )
    if layout.extra:
        doubts += (
            f"{layout.extra} columns after z have no name and are left out; {_NAMES_NEEDED}, such as: "
            "x y z class",
        )
    return doubts


def _rows(path: Path, layout: _Layout) -> Iterator[tuple[float, Floats]]:
    """Share of the file that is done, and (n, 3 or 4) numbers, chunk by chunk."""
    size = max(1, path.stat().st_size)
    line_number, n_bytes = layout.n_top, 0
    with _opened(path) as stream:
        for _ in range(layout.n_top):
            n_bytes += len(stream.readline())
        while lines := list(islice(stream, CHUNK)):
            rows = _parsed(lines, layout, path, line_number)
            line_number += len(lines)
            n_bytes += sum(map(len, lines))
            if len(rows):
                yield min(1.0, n_bytes / size), rows


def _parsed(lines: list[str], layout: _Layout, path: Path, n_before: int) -> Floats:
    if not any(line.strip() and not line.startswith("#") for line in lines):
        return np.empty((0, len(layout.columns)))
    text = lines
    if layout.quoted:
        text = [line.replace('"', "") for line in text]
    if layout.decimal_comma:
        text = [line.replace(",", ".") for line in text]
    try:
        rows: Floats = np.loadtxt(
            text, float, delimiter=layout.separator, usecols=layout.columns, ndmin=2, comments="#"
        )
    except (ValueError, IndexError):
        raise _fault_at(text, layout, path, n_before) from None
    if not _are_points(rows):
        raise _fault_at(text, layout, path, n_before)
    return rows


def _are_points(rows: Floats) -> bool:
    """Whether all are within what a place has, and of a class that there may be."""
    are_places = np.abs(rows[:, :3]) <= FARTHEST
    return bool(are_places.all() and ((rows[:, 3:] >= 0) & (rows[:, 3:] <= 255)).all())


def _fault_at(lines: list[str], layout: _Layout, path: Path, n_before: int) -> InputError:
    """Name the first line that is no point."""
    for number, line in enumerate(lines, n_before + 1):
        body = line.split("#")[0].strip()
        if not body:
            continue
        fields = body.split(layout.separator)
        try:
            values = [float(fields[column]) for column in layout.columns]
        except (ValueError, IndexError):
            values = [np.nan] * 3
        if not _are_points(np.array([values])):
            return InputError(
                f"{body[:60]!r} is no point: {len(layout.columns)} numbers of a place on earth are needed",
                f"{path}: line {number}",
                "mend or take out that line",
            )
    return InputError("it cannot be read as numbers", str(path), "one point a line: x y z")


def _opened(path: Path) -> TextIO:
    # Latin-1 takes any byte, and numbers read alike in it; a mark of byte order is no part of a name.
    return TextIOWrapper(opened(path), encoding="latin-1")


def _layout(path: Path) -> _Layout:
    """Find the separator, the columns and the lines on top from the first lines."""
    first = _first_lines(path)
    # Quotes say nothing of numbers, and words in them that hold a separator stand behind these as a rule.
    plain_lines = [line.replace('"', "") for line in first]
    return replace(_layout_of(path, plain_lines), quoted=plain_lines != first)


def _layout_of(path: Path, first: list[str]) -> _Layout:
    n_top = next((n for n, line in enumerate(first) if _is_body(line)), None)
    if n_top is None:
        raise InputError("it holds no points", str(path), "name a survey with points")
    body = [line for line in first[n_top:] if _is_body(line)]
    separator, decimal_comma = _way(body)
    fields = _fields(body[0], separator, decimal_comma)
    if sum(map(_is_number, fields)) < 3 and not _is_number(fields[0]):
        return _named_layout(path, fields, body[1:], separator, decimal_comma, n_top + 1)
    names = _fields(first[n_top - 1].lstrip("#/ \t"), separator, False) if n_top else []
    if len(names) == len(fields) and all(_columns_of(_plain(names), kind) for kind in "xyz"):
        # A line of names behind a mark of comment, as some programs write.
        return _named_layout(path, names, body, separator, decimal_comma, n_top)
    rows = [_fields(line, separator, decimal_comma) for line in body]
    start = _start_of_coordinates(rows)
    if start is None:
        raise InputError(
            f"{body[0][:60]!r} has {sum(map(_is_number, fields))} numbers",
            f"{path}: line {n_top + 1}",
            "one point a line: x y z",
        )
    columns = (start, start + 1, start + 2)
    return _Layout(separator, decimal_comma, n_top, columns, False, extra=max(0, len(fields) - start - 3))


def _first_lines(path: Path) -> list[str]:
    with _opened(path) as stream:
        found: list[str] = []
        n_body = 0
        while n_body < _LOOKED_AT and (line := stream.readline(_MOST_LINE)):
            found.append(line.removeprefix("\xef\xbb\xbf").strip())
            n_body += _is_body(found[-1])
        return found


def _is_body(line: str) -> bool:
    return bool(line) and not line.startswith(("#", "//"))


def _way(body: list[str]) -> tuple[str | None, bool]:
    """The separator, and whether the comma is a decimal one: what gives most lines three numbers or more."""

    def n_points(way: tuple[str | None, bool]) -> int:
        if way[0] is not None and not any(way[0] in line for line in body):
            return 0
        return sum(sum(map(_is_number, _fields(line, *way))) >= 3 for line in body)

    # Of those that are as good the first: a comma between columns goes before one within numbers.
    best = max(_WAYS, key=n_points)
    if n_points(best):
        return best
    line = body[0]
    separator = next((mark for mark in ";\t" if mark in line), None)
    return ("," if separator is None and "," in line else separator), False


def _fields(line: str, separator: str | None, decimal_comma: bool) -> list[str]:
    fields = [field.strip() for field in line.split(separator)]
    return [field.replace(",", ".") for field in fields] if decimal_comma else fields


def _start_of_coordinates(rows: list[list[str]]) -> int | None:
    """The first of three columns of numbers, after point numbers and names."""
    # A line that is no point is told when it is read; most lines say what a column is.
    rows = [row for row in rows if sum(map(_is_number, row)) >= 3]
    width = min(map(len, rows), default=0)
    are_numbers = [sum(_is_number(row[at]) for row in rows) > len(rows) / 2 for at in range(width)]
    runs = [at for at in range(width - 2) if all(are_numbers[at : at + 3])]
    if not runs:
        return None
    start = runs[0]
    if start + 1 in runs and _counts_points(rows, start):
        return start + 1
    return start


def _counts_points(rows: list[list[str]], at: int) -> bool:
    """Whether a column numbers the points: whole and rising, where coordinates beside it have fractions."""
    whole = [row[at] for row in rows if row[at].isascii() and row[at].isdigit()]
    if len(whole) < len(rows) or not all(int(one) < int(two) for one, two in pairwise(whole)):
        return False
    return all(sum("." in row[at + beside] for row in rows) > len(rows) / 2 for beside in (1, 2, 3))


def _named_layout(
    path: Path,
    fields: list[str],
    body: list[str],
    separator: str | None,
    decimal_comma: bool,
    n_top: int,
) -> _Layout:
    names = _plain(fields)
    columns: list[int] = []
    for wanted, known in NAMES.items():
        found = _columns_of(names, wanted)
        if not found and wanted != "class":
            raise InputError(
                f"its line of names {', '.join(names)[:80]!r} has no {wanted}",
                f"{path}: line {n_top}",
                f"name that column {' or '.join(known[:2])}",
            )
        if wanted == "class" and found and names[found[0]] == "c":
            # One letter may stand for the surveyor's codes as well.
            rows = [_fields(line, separator, decimal_comma) for line in body]
            found = (
                found if all(row[found[0] : found[0] + 1] and row[found[0]].isdigit() for row in rows) else []
            )
        columns += found[:1]
    x, y, z = columns[:3]
    return _Layout(
        separator,
        decimal_comma,
        n_top,
        tuple(columns),
        True,
        names[x].startswith("lon") and names[y].startswith("lat"),
        len(fields) - len(columns),
        _unit_in(fields[x]) or 1.0,
        _unit_in(fields[z]),
    )


def _plain(fields: list[str]) -> list[str]:
    """Names of columns in small letters, without quotes and units."""
    names = [_worded(field).strip("\"' ").lower() for field in fields]
    names = [re.split(r"[\[(]", name)[0].strip(' "_') for name in names]
    return [name.rpartition("_")[0] if name.rpartition("_")[2] in _UNITS else name for name in names]


def _worded(field: str) -> str:
    """Text that came as Latin-1, whatever it is in: spreadsheets in the west of Europe still write CP1252.

    >>> _worded("HÃ¶he"), _worded("Höhe")
    ('Höhe', 'Höhe')
    """
    raw = field.encode("latin-1")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace")


def _columns_of(names: list[str], wanted: str) -> list[int]:
    return [column for column, name in enumerate(names) if name in NAMES[wanted]]


def _unit_in(name: str) -> float | None:
    """Metres in the unit that a column's name ends in; None where it names none.

    >>> _unit_in("Elevation [m]"), _unit_in("z_ft"), _unit_in("height")
    (1.0, 0.3048, None)
    """
    _, mark, unit = name.strip("\"' ").lower().replace("(", "[").replace("_", "[").rpartition("[")
    return _UNITS.get(unit.strip(" ])").replace(" ", "-")) if mark else None


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True

"""What is drawn in a draft: listed, added, moved, given values and names, and removed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from terrain3d.draft.document import TABLES, Draft, digits_of, edited, rounded, with_table
from terrain3d.draft.kinds import KINDS, Kind, is_sound, kind_of
from terrain3d.draft.layout import Path as Place
from terrain3d.draft.references import check_free, check_nothing_hangs, followed, without_what_hangs
from terrain3d.errors import InputError
from terrain3d.survey.placing import check_outline
from terrain3d.tables import checked
from terrain3d.wording import counted

Points = Sequence[Sequence[float]]
_SINGLE = ("boundary",)


@dataclass(frozen=True)
class Thing:
    """One thing that is drawn.

    Parameters
    ----------
    id : str
        Its table and place in it: "solid/3", or "boundary". Those after one that is removed move up.
    kind : str
        Of `KINDS`.
    name : str
        Empty where its kind has none.
    points : tuple of (x, y)
        In the coordinates of the site file.
    values : mapping
        What else it says.
    """

    id: str
    kind: str
    name: str
    points: tuple[tuple[float, float], ...]
    values: Mapping[str, Any]
    is_from_file: bool = False


@dataclass(frozen=True)
class FromFile:
    """An entry that stands for the shapes of a layer: they are changed where they were drawn."""

    id: str
    table: str
    file: str
    layer: str


def things_of(draft: Draft) -> tuple[Thing, ...]:
    """All that is drawn in the site file itself, in its order; what it says wrongly is left aside.

    Examples
    --------
    >>> from terrain3d.draft.document import draft_of
    >>> draft = draft_of(b"[[mount]]\\nname = 'pole'\\nat = [1, 2]\\nwall = 180\\n", None)
    >>> things_of(draft)[0].id, things_of(draft)[0].points, dict(things_of(draft)[0].values)
    ('mount/0', ((1, 2),), {'wall': 180})
    """
    found = []
    for id_, table, entry in _entries(draft):
        kind = kind_of(table, entry)
        points = None if kind is None else _points(entry, kind)
        if kind is None or points is None or "file" in entry:
            continue
        values = {key: one for key, one in entry.items() if key not in ("name", kind.points_key)}
        found.append(Thing(id_, kind.name, str(entry.get("name", "")), points, values))
    return tuple(found)


def layers_of(draft: Draft) -> tuple[FromFile, ...]:
    """The entries that stand for layers of other files."""
    return tuple(
        FromFile(id_, table, str(entry["file"]), str(entry.get("layer", "")))
        for id_, table, entry in _entries(draft)
        if "file" in entry
    )


def thing(draft: Draft, id_: str) -> Thing:
    """The thing of an id.

    Raises
    ------
    InputError
        When there is none.
    """
    for one in things_of(draft):
        if one.id == id_:
            return one
    raise InputError("there is no such thing any more", id_, "choose it again")


def free_name(draft: Draft, kind: Kind) -> str:
    """The first name for a new thing that is not taken: its kind's, then with a number."""
    taken = {str(entry.get("name", "")) for _, _, entry in _entries(draft)}
    number = 1
    name = kind.name
    while name in taken:
        number += 1
        name = f"{kind.name} {number}"
    return name


def added(
    draft: Draft, kind: str, points: Points, values: Mapping[str, Any] | None = None
) -> tuple[Draft, str]:
    """The draft with a thing more, and its id.

    Parameters
    ----------
    draft : Draft
    kind : str
        Of `KINDS`.
    points : sequence of (x, y)
        In the coordinates of the site file; they are written to the millimetre.
    values : mapping, optional
        Its keys, `name` among them; what it needs and is not given begins as its `Field` says.

    Raises
    ------
    InputError
        Where the points do not make such a thing, or a value cannot be.

    Examples
    --------
    >>> from terrain3d.draft.document import new_draft
    >>> draft = new_draft(".", "Yard", {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}})
    >>> draft, id_ = added(draft, "wall", [(-6.00004, -5.0), (4.0, -5.0)], {"height": 0.9})
    >>> id_
    'solid/0'
    >>> print(draft.text.partition("[[solid]]\\n")[2], end="")
    name = "wall"
    path = [[-6, -5], [4, -5]]
    height = 0.9
    thickness = 0.2
    """
    what = KINDS[kind]
    given = dict(values or {})
    table: dict[str, Any] = {}
    if what.has_name:
        table["name"] = given.pop("name", None) or free_name(draft, what)
        check_free(draft, what.table, table["name"])
    table[what.points_key] = _written(draft, what, points)
    begins = {one.key: one.default for one in what.fields if one.is_required or one.key == "keep_out"}
    for key, value in (begins | given).items():
        if value is not None and (key in given or value is not False):
            table[key] = rounded(value, 6)
    table = {key: table[key] for key in what.order if key in table} | table
    _check(draft, what, table)
    if what.table in _SINGLE:
        if draft.get((what.table,)) is not None:
            raise InputError(f"there is a {what.name} already", draft.where, "move its points, or remove it")
        return edited(draft, (what.table,), table, TABLES), what.table
    draft = _as_list(draft, what.table)
    place = len(draft.entries((what.table,)))
    return with_table(draft, (what.table,), table, TABLES), f"{what.table}/{place}"


def moved(draft: Draft, id_: str, points: Points) -> Draft:
    """The draft with a thing's points set: those that stay keep their place in the text.

    Raises
    ------
    InputError
        Where the points do not make such a thing.
    """
    what, place, entry = _own(draft, id_)
    new = _written(draft, what, points)
    _check(draft, what, {**entry, what.points_key: new})
    return edited(draft, (*place, what.points_key), new, what.order)


def valued(draft: Draft, id_: str, key: str, value: Any) -> Draft:
    """The draft with a key of a thing set; None takes it out.

    Raises
    ------
    InputError
        Where there is no such key, or the value cannot be.
    """
    what, place, entry = _own(draft, id_)
    if what.field(key) is None:
        known = ", ".join(one.key for one in what.fields)
        raise InputError(f"a {what.name} has no {key!r}", draft.where, f"it has {known}")
    new = rounded(value, 6)
    table = {name: one for name, one in {**entry, key: new}.items() if one is not None}
    if is_sound(what.model, entry):
        _check(draft, what, table)
    return edited(draft, (*place, key), new, what.order)


def renamed(draft: Draft, id_: str, name: str) -> Draft:
    """The draft with a thing named otherwise, there and wherever it is named.

    Raises
    ------
    InputError
        Where the name is taken, or cannot be one.
    """
    what, place, entry = _own(draft, id_)
    if not what.has_name:
        raise InputError(f"{what.name} has no name", draft.where)
    old = str(entry.get("name", ""))
    if name == old:
        return draft
    check_free(draft, what.table, name)
    if is_sound(what.model, entry):
        _check(draft, what, {**entry, "name": name})
    return followed(edited(draft, (*place, "name"), name, what.order), what.table, old, name)


def removed(draft: Draft, id_: str, with_units: bool = False) -> Draft:
    """The draft without a thing.

    Parameters
    ----------
    draft : Draft
    id_ : str
    with_units : bool
        Whether what hangs on it goes too: units on a mount, options of no other units, scenarios about
        nothing else.

    Raises
    ------
    InputError
        Where something hangs on it and is to stay, or a line of tape is held at it.
    """
    what, place, entry = _own(draft, id_)
    name = str(entry.get("name", ""))
    check_nothing_hangs(draft, what.table, name, with_units)
    draft = without_what_hangs(draft, what.table, name)
    return edited(draft, place, None)


def _entries(draft: Draft) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Id, table and keys of each thing and layer, in the order of the site file."""
    wanted = {kind.table for kind in KINDS.values()}
    for table, value in draft.tables.items():
        if table not in wanted:
            continue
        if table in _SINGLE and isinstance(value, dict):
            yield table, table, value
        entries = value if isinstance(value, list) else [value] if table not in _SINGLE else []
        for number, entry in enumerate(entries):
            if isinstance(entry, dict):
                yield f"{table}/{number}", table, entry


def _points(entry: Mapping[str, Any], kind: Kind) -> tuple[tuple[float, float], ...] | None:
    """The points of a table; None where they are none."""
    given = entry[kind.points_key]
    rows = [given] if kind.form == "point" else given
    if not isinstance(rows, list):
        return None
    points = []
    for row in rows:
        if not isinstance(row, list) or len(row) != 2 or not all(type(one) in (int, float) for one in row):
            return None
        points.append((row[0], row[1]))
    return tuple(points)


def _own(draft: Draft, id_: str) -> tuple[Kind, Place, dict[str, Any]]:
    """Kind, place and table of a thing that is drawn in the site file."""
    for other, table, entry in _entries(draft):
        if other == id_:
            if "file" in entry:
                raise InputError(
                    f"it is drawn in {entry['file']}",
                    draft.where,
                    "change it there, in the program that drew it",
                )
            kind = kind_of(table, entry)
            if kind is None:
                break
            number = id_.partition("/")[2]
            return kind, (table, int(number)) if number else (table,), entry
    raise InputError("there is no such thing any more", id_, "choose it again")


def _written(draft: Draft, what: Kind, points: Points) -> Any:
    """Points as the site file has them."""
    rows = [[float(one) for one in point[:2]] for point in points]
    if len(rows) < what.least or (what.form == "point" and len(rows) != 1):
        need = "one point" if what.form == "point" else f"at least {what.least} points"
        raise InputError(
            f"{counted(len(rows), 'point')} cannot make a {what.name}", draft.where, f"give it {need}"
        )
    rows = rounded(rows, digits_of(draft))
    return rows[0] if what.form == "point" else rows


def _check(draft: Draft, what: Kind, table: Mapping[str, Any]) -> None:
    """Refuse a table that could not stand in a site file."""
    where = (
        f"{draft.where}: {what.name} {table['name']!r}" if "name" in table else f"{draft.where}: {what.name}"
    )
    checked(what.model, table, where)
    if what.form == "outline":
        check_outline(table[what.points_key], where)
    elif what.form == "line" and what.table != "walk" and len({tuple(one) for one in table["path"]}) < 2:
        raise InputError("the line has no length", where, "give two points that differ")


def _as_list(draft: Draft, table: str) -> Draft:
    """`[mount] file = ...` made the first of a list, as it is meant: `[[mount]]`."""
    value = draft.get((table,))
    if not isinstance(value, dict) or "file" not in value:
        return draft
    draft = edited(draft, (table,), None)
    return with_table(draft, (table,), value, TABLES)

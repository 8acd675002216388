"""The ground of a draft, and what else its file says once: of the site, of its paper, of its studies."""

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from terrain3d.draft.document import TABLES, Draft, digits_of, edited, rounded
from terrain3d.draft.kinds import Field, field_of, keys_of, made_of
from terrain3d.errors import InputError
from terrain3d.site import GroundSource, Plane, Shot, Site
from terrain3d.tables import FileName, Table, checked, metadata_of

#: What says where the ground comes from, exactly one of them, and what goes with a survey alone.
_SOURCES = ("file", "plane", "points", "shots")
_OF_A_SURVEY = ("crs", "vertical_unit", "layer", "surface", "heights", "terrain", "flown")

#: Tables that a site file has once, and what checks each; the boundary is drawn.
SETTINGS: dict[str, type[Table]] = {
    name: model
    for name, info in Site.model_fields.items()
    for model in made_of(info.annotation)
    if isinstance(model, type) and issubclass(model, Table) and name != "boundary"
}


def setting_fields(table: str) -> tuple[Field, ...]:
    """The keys of a table that a site file has once.

    >>> [field.key for field in setting_fields("paper")][:3]
    ['client', 'by', 'logo']
    """
    return tuple(
        field_of(info.alias or key, info)
        for key, info in SETTINGS[table].model_fields.items()
        if not (table == "ground" and key in _SOURCES)
    )


def names_files(table: str, key: str) -> bool:
    """Whether a key of such a table names files.

    >>> names_files("ground", "photo"), names_files("search", "types"), names_files("search", "units")
    (True, True, False)
    """
    mark = get_args(FileName)[-1]
    fields = SETTINGS[table].model_fields.items()
    return any(mark in metadata_of(info) for name, info in fields if (info.alias or name) == key)


def with_setting(draft: Draft, table: str, key: str, value: Any) -> Draft:
    """The draft with a key of such a table set; None takes it out.

    Raises
    ------
    InputError
        Where there is no such key, or the value cannot be.

    Examples
    --------
    >>> from terrain3d.draft.document import draft_of
    >>> print(with_setting(draft_of(b"[site]\\nname = 'x'\\n", None), "paper", "client", "A").text, end="")
    [site]
    name = 'x'
    <BLANKLINE>
    [paper]
    client = "A"
    """
    model = SETTINGS[table]
    where = f"{draft.where}: {table}"
    if key not in keys_of(model):
        raise InputError(f"[{table}] has no {key!r}", where, f"it has {', '.join(keys_of(model))}")
    there = draft.table((table,))
    meant = {name: one for name, one in {**there, key: rounded(value, 6)}.items() if one is not None}
    checked(model, meant, where)
    if not draft.get((table,)):
        return edited(draft, (table,), meant, TABLES) if meant else draft
    return edited(draft, (table, key), rounded(value, 6), keys_of(model))


def with_plane(draft: Draft, fall: float, towards: float, extent: float) -> Draft:
    """The draft on a tilted square: fall in percent, towards a bearing in degrees, its side in metres."""
    plane = {"fall": fall, "towards": towards, "extent": extent}
    checked(Plane, plane, f"{draft.where}: ground: plane")
    return _with_source(draft, "plane", rounded_table(plane))


def with_points(draft: Draft, points: Sequence[Sequence[float]]) -> Draft:
    """The draft on spot levels: (x, y, z), in the coordinates of the site file and metres of height."""
    digits = digits_of(draft)
    rows = [[*rounded([float(x), float(y)], digits), round(float(z), 3) + 0.0] for x, y, z in points]
    return _with_source(draft, "points", rows)


def with_shots(draft: Draft, shots: Sequence[Mapping[str, Any]]) -> Draft:
    """The draft on lines of tape, each with the keys of `[ground] shots`."""
    order = keys_of(Shot)
    rows = []
    for number, shot in enumerate(shots, 1):
        table = {key: one for key, one in shot.items() if one is not None}
        checked(Shot, table, f"{draft.where}: ground: shots number {number}")
        rows.append(rounded_table({key: table[key] for key in order if key in table}))
    return _with_source(draft, "shots", rows)


def with_survey(draft: Draft, file: str | Sequence[str], **keys: Any) -> Draft:
    """The draft on a survey, by its path from the site file, with other keys of `[ground]`."""
    names = file if isinstance(file, str) else list(file)
    return _with_source(draft, "file", names, {key: one for key, one in keys.items() if one is not None})


def rounded_table(table: Mapping[str, Any]) -> dict[str, Any]:
    """A table with its numbers to the sixth decimal, whole ones of a person's as they are."""
    return {key: rounded(value, 6) for key, value in table.items()}


def _with_source(draft: Draft, source: str, value: Any, keys: Mapping[str, Any] | None = None) -> Draft:
    """The draft with another ground; what goes with a survey alone goes with it."""
    there = draft.table(("ground",))
    gone = [one for one in _SOURCES if one in there and one != source]
    if source != "file":
        gone += [one for one in _OF_A_SURVEY if one in there]
    kept = {key: one for key, one in there.items() if key not in gone}
    meant = {**kept, source: value, **(keys or {})}
    checked(GroundSource, meant, f"{draft.where}: ground")
    for key, one in {source: value, **(keys or {})}.items():
        if draft.get(("ground",)) is None:
            draft = edited(draft, ("ground",), {key: one}, TABLES)
        else:
            draft = edited(draft, ("ground", key), one, keys_of(GroundSource))
    for key in gone:
        draft = edited(draft, ("ground", key), None)
    return draft

"""The numbers of results.json as tables: what a spreadsheet and a text file hold of them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

#: A text, a number, or nothing.
Cell = str | float | int | None


@dataclass(frozen=True)
class Table:
    """A table with its units in its headers; `about` is what its rows are.

    `shares` are the places of columns that hold shares, 0 to 1.
    """

    name: str
    about: str
    headers: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    shares: frozenset[int] = frozenset()


#: A header, its unit, and what of a row's values stands under it.
Column = tuple[str, str, Callable[[Mapping[str, Any]], Cell]]


def tables_of(
    document: Mapping[str, Any], places: Mapping[tuple[str, str], Sequence[float]]
) -> tuple[Table, ...]:
    """All tables that have a row, in the order of a workbook.

    Parameters
    ----------
    document : mapping
        What results.json says.
    places : mapping
        Easting and northing of each unit in the site's CRS, by the names of its option and its own.
    """
    ranking = list(document["ranking"])
    options = [{**option, "place": ranking.index(option["name"]) + 1} for option in document["options"]]
    options.sort(key=lambda option: int(option["place"]))
    tables = (
        _table("options", "how much each option holds, best first", _OPTION, options),
        _table("units", "how each unit is set", _unit_columns(places), _below(options, "detectors")),
        _table(
            "protected", "how much of each protected area is held", _PROTECTED, _below(options, "protect")
        ),
        _table("not held", "what keeps protected ground from being held", _LOST, _lost(options)),
        _table("causes", "what becomes of each layer where it is not broken", _CAUSE, _causes(options)),
        _table("taken by", "the things that take a layer", _TAKEN, _taken(options)),
        _table("scenarios", "the site as it may be", _SCENARIO, _below(options, "scenarios")),
        _table("walks", "what becomes of each walk", _WALK, _walks(options)),
        _table("ways in", "who could walk to protected ground", _WAY, _ways(options)),
        _table("animals", "where an animal raises the alarm", _ANIMAL, _below(options, "animals")),
        _table("fixing", "how the units of the best option are fixed", _FIXING, _below(options, "fixing")),
        _table("walk test", "the walks that prove or break its map", _WALK_POINT, _walk_points(options)),
        _table("supply", "what voltage each unit gets", _FED, _circuits(options, "units")),
        _table("cables", "the runs of the supply", _RUN, _circuits(options, "runs")),
        _table("materials", "what the supply takes", _MATERIAL, _circuits(options, "materials")),
        _table("warnings", "what there is to watch", _WARNING, _warnings(document, options)),
    )
    return tuple(table for table in tables if table.rows)


def _table(name: str, about: str, columns: Sequence[Column], rows: Iterable[Mapping[str, Any]]) -> Table:
    headers = tuple(f"{header} ({unit})" if unit else header for header, unit, _ in columns)
    cells = tuple(tuple(value(row) for _, _, value in columns) for row in rows)
    shares = frozenset(place for place, (_, unit, _) in enumerate(columns) if unit == _SHARE)
    return Table(name, about, headers, cells, shares)


_SHARE = "share, 0 to 1"


def _of(*keys: str) -> Callable[[Mapping[str, Any]], Cell]:
    """What stands under keys, one below another; nothing where one of them is missing or null."""

    def value(row: Mapping[str, Any]) -> Cell:
        found: Any = row
        for key in keys:
            found = None if found is None else found.get(key)
        return found if found is None or isinstance(found, (str, int, float)) else str(found)

    return value


def _of_tape(place: int, key: str) -> Callable[[Mapping[str, Any]], Cell]:
    """What stands under a key of one of the tapes to a unit; nothing where there are not so many."""

    def value(row: Mapping[str, Any]) -> Cell:
        tapes = row["tapes"]
        return _of(key)(tapes[place]) if place < len(tapes) else None

    return value


_BY_OPTION: tuple[Column, ...] = (("option", "", _of("option")), ("place", "", _of("place")))

_OPTION: tuple[Column, ...] = (
    ("option", "", _of("name")),
    ("place", "", _of("place")),
    ("held of protected ground", _SHARE, _of("protected_share")),
    ("the same by weight", _SHARE, _of("weighted_share")),
    ("both layers", "m2", _of("area_m2", "both")),
    ("upper only", "m2", _of("area_m2", "upper_only")),
    ("lower only", "m2", _of("area_m2", "lower_only")),
    ("dead ground", "m2", _of("area_m2", "dead")),
    ("outside", "m2", _of("area_m2", "outside")),
    ("hangs on leaves", "m2", _of("hangs_on_leaves_m2")),
    ("protected ground not known", "m2", _of("unknown_m2")),
    ("price", "", _of("supply", "price")),
    ("current", "mA", _of("supply", "milliamps")),
)


def _unit_columns(places: Mapping[tuple[str, str], Sequence[float]]) -> tuple[Column, ...]:
    def coordinate(axis: int) -> Callable[[Mapping[str, Any]], Cell]:
        return lambda row: places[row["option"], row["name"]][axis]

    def degrees(axis: int) -> Callable[[Mapping[str, Any]], Cell]:
        return lambda row: None if row["lonlat"] is None else row["lonlat"][axis]

    return (
        *_BY_OPTION,
        ("unit", "", _of("name")),
        ("type", "", _of("type")),
        ("mount", "", _of("mount")),
        ("easting", "site CRS", coordinate(0)),
        ("northing", "site CRS", coordinate(1)),
        ("longitude", "degrees", degrees(0)),
        ("latitude", "degrees", degrees(1)),
        ("ground", "m, as surveyed", _of("ground_z")),
        ("height above ground", "m", _of("height_m")),
        ("bearing", "degrees from true north", _of("bearing_deg")),
        ("tilt", "degrees, nose down", _of("tilt_deg")),
        ("roll", "degrees, right side down", _of("roll_deg")),
        ("range setting", "m", _of("range_m")),
        ("maximum range", "m", _of("max_range_m")),
        ("pulses", "", _of("pulses")),
    )


_PROTECTED: tuple[Column, ...] = (
    *_BY_OPTION,
    ("protected area", "", _of("name")),
    ("area", "m2", _of("area_m2")),
    ("held", _SHARE, _of("both_fraction")),
    ("weight", "", _of("weight")),
    ("out of reach", "m2", _of("out_of_reach_m2")),
    ("not known", "m2", _of("unknown_m2")),
    ("hangs on leaves", "m2", _of("hangs_on_leaves_m2")),
    ("in words", "", _of("words")),
)
_LOST: tuple[Column, ...] = (
    *_BY_OPTION,
    ("protected area", "", _of("area")),
    ("cause", "", _of("cause")),
    ("thing", "", _of("name")),
    ("area not held", "m2", _of("area_m2")),
)
_CAUSE: tuple[Column, ...] = (
    *_BY_OPTION,
    ("layer", "", _of("layer")),
    ("cause", "", _of("cause")),
    ("area", "m2", _of("area_m2")),
)
_TAKEN: tuple[Column, ...] = (
    *_BY_OPTION,
    ("layer", "", _of("layer")),
    ("thing", "", _of("name")),
    ("area", "m2", _of("area_m2")),
)
_SCENARIO: tuple[Column, ...] = (
    *_BY_OPTION,
    ("scenario", "", _of("name")),
    ("held of protected ground", _SHARE, _of("protected_share")),
    ("both layers", "m2", _of("area_m2", "both")),
    ("newly held", "m2", _of("newly_held_m2")),
    ("no longer held", "m2", _of("no_longer_held_m2")),
)
_WALK: tuple[Column, ...] = (
    *_BY_OPTION,
    ("walk", "", _of("name")),
    ("figure", "", _of("figure", "name")),
    ("speed", "m/s", _of("speed_mps")),
    ("length", "m", _of("length_m")),
    ("time", "s", _of("time_s")),
    ("under both layers", "m", _of("both_m")),
    ("alarm after", "m", _of("alarm", "along_m")),
    ("in words", "", _of("words")),
)
_WAY: tuple[Column, ...] = (
    *_BY_OPTION,
    ("protected area", "", _of("area")),
    ("least likely walk from", "", _of("least_likely", "start")),
    ("its length", "m", _of("least_likely", "length_m")),
    ("its time", "s", _of("least_likely", "time_s")),
    ("its chance of an alarm", _SHARE, _of("least_likely", "alarm_chance")),
    ("clear route", "m", _of("clear", "length_m")),
    ("in words", "", _of("words")),
)
_ANIMAL: tuple[Column, ...] = (
    *_BY_OPTION,
    ("animal", "", _of("name")),
    ("height", "m", _of("height_m")),
    ("raises the alarm on", "m2", _of("alarm_m2")),
    ("nearest to a unit", "m", _of("nearest_m")),
)
_FIXING: tuple[Column, ...] = (
    *_BY_OPTION,
    ("unit", "", _of("name")),
    ("coordinates", "", _of("coordinates")),
    ("taped from", "", _of_tape(0, "name")),
    ("its corner", "", _of_tape(0, "part")),
    ("first tape", "m, along the slope", _of_tape(0, "tape_m")),
    ("and from", "", _of_tape(1, "name")),
    ("corner of that", "", _of_tape(1, "part")),
    ("second tape", "m, along the slope", _of_tape(1, "tape_m")),
    ("paced from", "", _of("paced", "name")),
    ("corner paced from", "", _of("paced", "part")),
    ("at bearing", "degrees from true north", _of("paced", "bearing_deg")),
    ("tape", "m, along the slope", _of("paced", "tape_m")),
    ("height", "m above the ground", _of("height_m")),
    ("bearing", "degrees from true north", _of("bearing_deg")),
    ("by compass", "degrees from magnetic north", _of("magnetic", "compass_deg")),
    ("on", "", _of("magnetic", "on")),
    ("looks beside", "", _of("mark", "name")),
    ("corner beside it", "", _of("mark", "part")),
    ("right of that", "degrees", _of("mark", "right_deg")),
    ("tilt", "degrees, nose down", _of("tilt_deg")),
    ("over a level", "mm", _of("level_mm")),
    ("roll", "degrees, right side down", _of("roll_deg")),
)
_WALK_POINT: tuple[Column, ...] = (
    *_BY_OPTION,
    ("number", "", _of("number")),
    ("unit", "", _of("unit")),
    ("from", "", _of("from_place", "name")),
    ("at bearing", "degrees from true north", _of("from_place", "bearing_deg")),
    ("tape", "m, along the slope", _of("from_place", "tape_m")),
    ("direction", "degrees from true north", _of("towards_deg")),
    ("length", "m", _of("length_m")),
    ("posture", "", _of("figure")),
    ("expected", "", _of("expect")),
    ("proves", "", _of("proves")),
)
_FED: tuple[Column, ...] = (
    *_BY_OPTION,
    ("unit", "", _of("name")),
    ("mount", "", _of("mount")),
    ("fit", "", _of("fit")),
    ("at rest", "V", _of("rest_v")),
    ("in alarm", "V", _of("alarm_v")),
)
_RUN: tuple[Column, ...] = (
    *_BY_OPTION,
    ("from", "", _of("from")),
    ("to", "", _of("to")),
    ("cable", "", _of("cable")),
    ("length", "m", _of("length_m")),
    ("not known", "m", _of("unknown_m")),
    ("resistance", "ohm", _of("resistance")),
    ("current", "mA", _of("milliamps")),
    ("drop", "V", _of("drop_v")),
    ("thinnest cores that do", "mm2", _of("thinnest")),
)
_MATERIAL: tuple[Column, ...] = (
    *_BY_OPTION,
    ("what", "", _of("name")),
    ("pieces", "", _of("pieces_count")),
    ("length", "m", _of("length_m")),
    ("price", "", _of("price")),
)
_WARNING: tuple[Column, ...] = (
    ("option", "", _of("option")),
    ("warning", "", _of("text")),
)

Rows = Iterable[dict[str, Any]]


def _named(option: Mapping[str, Any]) -> dict[str, Any]:
    return {"option": option["name"], "place": option["place"]}


def _below(options: Sequence[Mapping[str, Any]], key: str) -> Rows:
    """The rows of a list of each option."""
    return ({**row, **_named(option)} for option in options for row in option.get(key) or ())


def _lost(options: Sequence[Mapping[str, Any]]) -> Rows:
    for option in options:
        for part in option["protect"]:
            for loss in part["lost_to"]:
                yield {**loss, "area": part["name"], **_named(option)}


def _causes(options: Sequence[Mapping[str, Any]]) -> Rows:
    for option in options:
        for layer, by_cause in option["causes"].items():
            for cause, area_m2 in by_cause.items():
                yield {"layer": layer, "cause": cause, "area_m2": area_m2, **_named(option)}


def _taken(options: Sequence[Mapping[str, Any]]) -> Rows:
    for option in options:
        for layer, by_name in option["taken_by"].items():
            for name, area_m2 in by_name.items():
                yield {"layer": layer, "name": name, "area_m2": area_m2, **_named(option)}


def _walks(options: Sequence[Mapping[str, Any]]) -> Rows:
    for option in options:
        for walk in (option.get("walks") or {}).get("paths") or ():
            yield {**walk, **_named(option)}


def _walk_points(options: Sequence[Mapping[str, Any]]) -> Rows:
    for option in options:
        for point in (option.get("walktest") or {}).get("points") or ():
            yield {**point, **_named(option)}


def _circuits(options: Sequence[Mapping[str, Any]], key: str) -> Rows:
    """The rows of a list of how each option is fed."""
    for option in options:
        for row in (option["supply"].get("circuit") or {}).get(key) or ():
            yield {**row, **_named(option)}


def _ways(options: Sequence[Mapping[str, Any]]) -> Rows:
    return _below(options, "routes")


def _warnings(document: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> Rows:
    """Those of the survey once, then those of each option."""
    doubts = document["site"]["doubts"]
    yield from ({"option": None, "text": text} for text in doubts)
    for option in options:
        yield from (
            {"option": option["name"], "text": text} for text in option["warnings"] if text not in doubts
        )

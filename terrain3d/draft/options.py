"""The options of a draft and their units: added, copied, set and removed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from terrain3d.detector.types import DetectorType, load_type
from terrain3d.draft.document import TABLES, Draft, edited, rounded, with_table
from terrain3d.draft.kinds import Field, field_of, is_sound, keys_of
from terrain3d.draft.layout import Path as Place
from terrain3d.draft.references import followed, without_unit
from terrain3d.errors import InputError
from terrain3d.site import DetectorSetting, HeadShape, Option
from terrain3d.tables import checked

_UNIT_KEYS, _HEAD_KEYS = keys_of(DetectorSetting), keys_of(HeadShape)
#: What can be set of a unit and of a head, beside their names and mounts.
UNIT_FIELDS: tuple[Field, ...] = tuple(
    field_of(info.alias or key, info)
    for key, info in DetectorSetting.model_fields.items()
    if key not in ("name", "head")
)
HEAD_FIELDS: tuple[Field, ...] = tuple(
    field_of(info.alias or key, info) for key, info in HeadShape.model_fields.items()
)


@dataclass(frozen=True)
class DraftOption:
    """An option as a draft has it.

    Parameters
    ----------
    name : str
    combine : str
    units : tuple of mapping
        The table of each unit, with the keys of the site file.
    """

    name: str
    combine: str
    units: tuple[Mapping[str, Any], ...]


def options_of(draft: Draft) -> tuple[DraftOption, ...]:
    """The options of a draft, those without units too."""
    found = []
    tables = draft.get(("option",), [])
    for table in tables if isinstance(tables, list) else []:
        if not isinstance(table, dict):
            continue
        units = table.get("detector", [])
        own = tuple(unit for unit in units if isinstance(unit, dict)) if isinstance(units, list) else ()
        found.append(DraftOption(str(table.get("name", "")), str(table.get("combine", "any")), own))
    return tuple(found)


def added_option(
    draft: Draft, name: str, units: Sequence[Mapping[str, Any]] = (), combine: str = "any"
) -> Draft:
    """The draft with an option more, which may still be without units.

    Parameters
    ----------
    draft : Draft
    name : str
    units : sequence of mapping
        With the keys of `[[option.detector]]`.
    combine : {"any", "all"}

    Raises
    ------
    InputError
        Where the name is taken, or a unit cannot be.

    Examples
    --------
    >>> from terrain3d.draft.document import draft_of
    >>> unit = {"name": "D1", "mount": "pole", "type": "one-head-90", "height": 1.0, "bearing": 137.5}
    >>> print(added_option(draft_of(b"", None), "south", [unit]).text, end="")
    [[option]]
    name = "south"
    [[option.detector]]
    name = "D1"
    mount = "pole"
    type = "one-head-90"
    height = 1
    bearing = 137.5
    """
    _check_free(draft, name)
    table: dict[str, Any] = {"name": name} | ({} if combine == "any" else {"combine": combine})
    if units:
        table["detector"] = [_ordered(unit) for unit in units]
    shown = table if units else {**table, "detector": [_SOME_UNIT]}
    checked(Option, shown, f"{draft.where}: option {name!r}")
    return with_table(draft, ("option",), table, TABLES)


def copied_option(draft: Draft, name: str, copy: str) -> Draft:
    """The draft with a copy of an option under another name, after the others."""
    table = draft.table(_place(draft, name))
    return added_option(draft, copy, table.get("detector", []), str(table.get("combine", "any")))


def renamed_option(draft: Draft, name: str, new: str) -> Draft:
    """The draft with an option named otherwise."""
    if name == new:
        return draft
    _check_free(draft, new)
    checked(Option, {"name": new, "detector": [_SOME_UNIT]}, f"{draft.where}: option {name!r}")
    return followed(edited(draft, (*_place(draft, name), "name"), new, keys_of(Option)), "option", name, new)


def combined_option(draft: Draft, name: str, combine: str) -> Draft:
    """The draft in which any or all units of an option have to hold ground."""
    checked(Option, {"name": name, "combine": combine, "detector": [_SOME_UNIT]}, f"{draft.where}: {name!r}")
    place = (*_place(draft, name), "combine")
    return edited(draft, place, None if combine == "any" else combine, keys_of(Option))


def removed_option(draft: Draft, name: str) -> Draft:
    """The draft without an option and its units."""
    return edited(draft, _place(draft, name), None)


def added_unit(draft: Draft, option: str, values: Mapping[str, Any]) -> tuple[Draft, str]:
    """The draft with a unit more in an option, and its name.

    Parameters
    ----------
    draft : Draft
    option : str
    values : mapping
        With the keys of `[[option.detector]]`. Left out, `name` is the first that is free, `height` one of
        those of the mount within what the type allows, `range` the type's longest up to 12 m.

    Raises
    ------
    InputError
        Where there is no such option or type, or a value cannot be.
    """
    place = _place(draft, option)
    taken = {str(unit.get("name")) for unit in draft.entries((*place, "detector"))}
    kind = load_type(str(values.get("type", "")), draft.folder)
    number = 1
    while f"D{number}" in taken:
        number += 1
    ranges = [one for one in kind.range_settings if one <= 12] or list(kind.range_settings)
    begins = {
        "name": f"D{number}",
        "height": _height(draft, values, kind),
        "bearing": 0.0,
        "range": max(ranges),
    }
    table = _ordered(begins | dict(values))
    if table["name"] in taken:
        raise InputError(
            f"there is a unit {table['name']!r} already",
            f"{draft.where}: option {option!r}",
            "give it another name",
        )
    checked(DetectorSetting, table, f"{draft.where}: option {option!r}, unit {table['name']!r}")
    return with_table(draft, (*place, "detector"), table), str(table["name"])


def removed_unit(draft: Draft, option: str, unit: str) -> Draft:
    """The draft without a unit; an option that has no other goes with it."""
    return without_unit(draft, _unit_place(draft, option, unit))


def set_unit(draft: Draft, option: str, unit: str, values: Mapping[str, Any]) -> Draft:
    """The draft with keys of a unit set.

    Parameters
    ----------
    draft : Draft
    option, unit : str
    values : mapping
        Keys of `[[option.detector]]`; None takes one out. `head` is a list of tables, one for each head of
        the type in its order, empty where nothing is set of one. A `type` that has no such range, pulses,
        sensitivity or heads takes those with it, where they are not given as well.

    Raises
    ------
    InputError
        Where there is no such unit or key, or a value cannot be.

    Examples
    --------
    >>> from terrain3d.draft.document import draft_of
    >>> unit = {"name": "D1", "mount": "pole", "type": "one-head-90", "height": 1.0, "bearing": 90}
    >>> draft = added_option(draft_of(b"", None), "south", [unit])
    >>> set_unit(draft, "south", "D1", {"bearing": 92.50000001, "tilt": 2}).text.split("bearing = ")[1]
    '92.5\\ntilt = 2\\n'
    """
    place = _unit_place(draft, option, unit)
    table = draft.table(place)
    where = f"{draft.where}: option {option!r}, unit {unit!r}"
    new = {key: _as_written(key, value) for key, value in values.items()}
    for key in new:
        if key not in _UNIT_KEYS:
            raise InputError(f"a unit has no {key!r}", where, f"it has {', '.join(_UNIT_KEYS)}")
    was_sound = is_sound(DetectorSetting, table)
    if was_sound and isinstance(new.get("type"), str) and new["type"] != table["type"]:
        new = _fitting(table, load_type(new["type"], draft.folder)) | new
    if new.get("name", unit) != unit and new["name"] in _unit_names(draft, option):
        raise InputError(f"there is a unit {new['name']!r} already", where, "give it another name")
    meant = {key: value for key, value in {**table, **new}.items() if value is not None}
    if was_sound:
        checked(DetectorSetting, meant, where)
    # What is taken out goes first: two keys may say the same thing.
    for key, value in sorted(new.items(), key=lambda one: one[1] is not None):
        draft = (
            _with_heads(draft, place, value)
            if key == "head"
            else edited(draft, (*place, key), value, _UNIT_KEYS)
        )
    return draft


def _with_heads(draft: Draft, place: Place, heads: Any) -> Draft:
    """The draft with the heads of a unit set one by one."""
    there = draft.entries((*place, "head"))
    if heads is None or len(there) != len(heads):
        draft = edited(draft, (*place, "head"), None)
        for head in heads or []:
            draft = with_table(draft, (*place, "head"), head)
        return draft
    for number, (before, head) in enumerate(zip(there, heads, strict=True)):
        for key in before:
            if key not in head:
                draft = edited(draft, (*place, "head", number, key), None)
        for key, value in head.items():
            draft = edited(draft, (*place, "head", number, key), value, _HEAD_KEYS)
    return draft


#: Stands for the units of an option that has none yet, where its other keys are checked.
_SOME_UNIT = {"name": "D1", "mount": "any", "type": "any", "height": 1.0, "bearing": 0.0}


def _options(draft: Draft) -> list[dict[str, Any]]:
    return draft.entries(("option",))


def _place(draft: Draft, name: str) -> Place:
    for number, table in enumerate(_options(draft)):
        if table.get("name") == name:
            return ("option", number)
    known = ", ".join(str(table.get("name")) for table in _options(draft)) or "none"
    raise InputError(f"there is no option {name!r}", draft.where, f"known: {known}")


def _unit_names(draft: Draft, option: str) -> list[str]:
    return [str(unit.get("name")) for unit in draft.entries((*_place(draft, option), "detector"))]


def _unit_place(draft: Draft, option: str, unit: str) -> Place:
    names = _unit_names(draft, option)
    if unit not in names:
        known = ", ".join(names) or "none"
        raise InputError(f"there is no unit {unit!r}", f"{draft.where}: option {option!r}", f"known: {known}")
    return (*_place(draft, option), "detector", names.index(unit))


def _check_free(draft: Draft, name: str) -> None:
    if any(table.get("name") == name for table in _options(draft)):
        raise InputError(f"there is an option {name!r} already", draft.where, "give it another name")


def _as_written(key: str, value: Any) -> Any:
    """A setting as the site file has it: rounded, and heads without what goes without saying."""
    if key != "head" or value is None:
        return rounded(value, 6)
    heads = [
        {own: rounded(one, 6) for own, one in head.items() if one is not None and one != () and one != []}
        for head in value
    ]
    return [{own: head[own] for own in _HEAD_KEYS if own in head} | head for head in heads] or None


def _ordered(unit: Mapping[str, Any]) -> dict[str, Any]:
    table = {key: _as_written(key, value) for key, value in unit.items() if value is not None}
    return {key: table[key] for key in _UNIT_KEYS if table.get(key) is not None} | {
        key: value for key, value in table.items() if key not in _UNIT_KEYS
    }


def _height(draft: Draft, values: Mapping[str, Any], kind: DetectorType) -> float:
    """A height of the mount that the type is allowed, the nearest to its nominal one."""
    mounts = draft.get(("mount",), [])
    mounts = mounts if isinstance(mounts, list) else []
    named = (one for one in mounts if isinstance(one, dict) and one.get("name") == values.get("mount"))
    heights = next(named, {}).get("heights", [])
    low, high = kind.mount_height
    numbers = [one for one in heights if type(one) in (int, float)] if isinstance(heights, list) else []
    allowed = [one for one in numbers if low <= one <= high] or [kind.nominal_height]
    return float(min(allowed, key=lambda one: abs(one - kind.nominal_height)))


def _fitting(table: Mapping[str, Any], kind: DetectorType) -> dict[str, Any]:
    """What has to change with the type of a unit: settings that the new one does not have."""
    new: dict[str, Any] = {}
    range_m = table.get("range", DetectorSetting.model_fields["range"].default)
    if range_m not in kind.range_settings:
        new["range"] = min(kind.range_settings, key=lambda one: abs(one - range_m))
    if table.get("pulses", kind.pulses[0]) not in kind.pulses:
        new["pulses"] = None
    if table.get("sensitivity") is not None and table["sensitivity"] not in (kind.sensitivity or {}):
        new["sensitivity"] = None
    if table.get("pan") is not None and len(table["pan"]) != len(kind.head):
        new["pan"] = None
    if table.get("head"):
        new["head"] = None
    return new

"""Heads set by themselves, sensitivity, fill and pulses, put back into the site file key by key.

A key that is there keeps its place and what stands after it; a new one goes under the last of its table, and
tables of heads under the keys of their unit. What comes of it is read again and has to say what is meant.
"""

import re
import tomllib
from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.paper.added_tables import HEADER, line_end, value_text
from terrain3d.ready import head_setting
from terrain3d.site import HeadShape

#: Keys of a head, and what they are called in a unit, in the order they are written.
_KEYS = {
    "pan": "pan_deg", "range": "range_m", "sensitivity": "sensitivity", "fill": "fill", "pulses": "pulses",
    "masked": "masked", "masked_arc": "masked_deg",
}  # fmt: skip

#: Keys of a detector, called the same in a unit; what goes away goes before what comes.
_OWN_KEYS = ("fill", "sensitivity", "pulses")
#: Option, detector and head (-1 for the detector's own keys), counted from 0.
Place = tuple[int, int, int]


def with_heads(text: str, options: tuple[OptionResult, ...], refuse: Callable[[], Exception]) -> str:
    """The text of a site file with sensitivity, fill, pulses and heads of its units set otherwise.

    Parameters
    ----------
    text : str
    options : tuple of OptionResult
        Found in the file by the names of options and units, which all are there.
    refuse : callable
        Gives the error to raise where the file is laid out so that this cannot be done alone.
    """
    data = tomllib.loads(text)
    units = {(option.name, unit.name): unit for option in options for unit in option.detectors}
    new = text
    for i, option in enumerate(data["option"]):
        for j, table in enumerate(option["detector"]):
            unit = units.get((option["name"], table["name"]))
            if unit is not None and not _says(table, unit):
                new = _with_unit(new, (i, j, -1), table, unit)
                if new == "":
                    raise refuse()
    if new != text and not _is_meant(new, data, units):
        raise refuse()
    return new


def _says(table: dict[str, Any], unit: Detector) -> bool:
    """Whether a detector's table sets these as a unit has them."""
    own = all(table.get(key) == getattr(unit, key) for key in _OWN_KEYS)
    return own and _heads_of(table) == _wanted(unit, table)


def _heads_of(table: dict[str, Any]) -> tuple[HeadSetting, ...]:
    return tuple(head_setting(HeadShape.model_validate(head)) for head in table.get("head", []))


def _wanted(unit: Detector, table: dict[str, Any]) -> tuple[HeadSetting, ...]:
    """The heads of a unit as the file may have them: tables that set nothing stay."""
    return unit.heads or (HeadSetting(),) * len(table.get("head", []))


def _is_meant(new: str, data: dict[str, Any], units: dict[tuple[str, str], Detector]) -> bool:
    """Whether the new text sets every unit as it is, and says of all else what it said."""
    try:
        found = tomllib.loads(new)
    except tomllib.TOMLDecodeError:
        return False
    for option in found.get("option", []):
        for table in option.get("detector", []):
            unit = units.get((option.get("name"), table.get("name")))
            if unit is not None and not _says(table, unit):
                return False
    return _without_heads(found) == _without_heads(data)


def _without_heads(data: dict[str, Any]) -> dict[str, Any]:
    rest = deepcopy(data)
    for option in rest.get("option", []):
        for table in option.get("detector", []):
            for key in ("head", *_OWN_KEYS):
                table.pop(key, None)
    return rest


def _with_unit(text: str, place: Place, table: dict[str, Any], unit: Detector) -> str:
    """The text with one unit set; empty where its tables are not found."""
    for key in _OWN_KEYS:
        if text and table.get(key) != getattr(unit, key):
            text = _with_key(text, place, key, _plain(getattr(unit, key)))
    if not text or _heads_of(table) == _wanted(unit, table):
        return text
    there = _heads_of(table)
    if not there:
        return _with_new_heads(text, place, unit)
    for h, (before, after) in enumerate(zip(there, _wanted(unit, table), strict=True)):
        for key, name in _KEYS.items():
            if text and getattr(before, name) != getattr(after, name):
                text = _with_key(text, (*place[:2], h), key, _value(key, getattr(after, name)))
    return text


def _value(key: str, value: Any) -> Any:
    """A setting as the file has it; None where the key goes without saying."""
    if value is None or value == ():
        return None
    if key in ("sensitivity", "fill") and len(value) == 1:
        return value[0]
    if key in ("masked", "sensitivity", "fill", "masked_arc"):
        pairs = value[0] if key == "masked_arc" and len(value) == 1 else value
        return [_plain(one) for one in pairs]
    return _plain(value)


def _plain(value: Any) -> Any:
    """Whole numbers without a point, as they are typed."""
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return int(value) if isinstance(value, float) and value == int(value) else value


def _tables(text: str) -> Iterator[tuple[Place, int, int, str]]:
    """Place, start and end of each detector's and head's own lines, and how far its header is set in."""
    headers = [(match, re.sub(r"[\"'\s]", "", match[1])) for match in HEADER.finditer(text)]
    ends = [match.start() for match, _ in headers[1:]] + [len(text)]
    i = j = h = -1
    for (match, name), end in zip(headers, ends, strict=True):
        if name == "option":
            i, j, h = i + 1, -1, -1
        elif name == "option.detector":
            j, h = j + 1, -1
        elif name == "option.detector.head":
            h += 1
        if name in ("option.detector", "option.detector.head"):
            indent = re.match(r"[ \t]*", match[0])
            yield (i, j, h), match.end(), end, indent[0] if indent else ""


def _with_key(text: str, place: Place, key: str, value: Any) -> str:
    """The text with a key of a table set, added or, for None, taken out; empty where it is not found."""
    for at, start, end, _ in _tables(text):
        if at != place:
            continue
        line = re.compile(rf"^([ \t]*)[\"']?{key}[\"']?[ \t]*=[ \t]*", re.MULTILINE).search(text, start, end)
        if line is None:
            return _with_lines(text, start, end, [f"{key} = {value_text(value)}"])
        stop = _end_of_value(text, line.end(), end)
        if stop is None:
            return ""
        if value is not None:
            return text[: line.end()] + value_text(value) + text[stop:]
        after = text.find("\n", stop, end)
        return text[: line.start()] + (text[after + 1 :] if after >= 0 else text[end:])
    return ""


def _end_of_value(text: str, start: int, end: int) -> int | None:
    """Where a value that begins at `start` ends: the first place from which on it can be read."""
    for stop in range(start + 1, end + 1):
        if stop < end and text[stop] not in " \t\r\n#":
            continue
        try:
            tomllib.loads(f"x = {text[start:stop]}")
        except tomllib.TOMLDecodeError:
            continue
        return stop
    return None


def _with_new_heads(text: str, place: Place, unit: Detector) -> str:
    for at, start, end, indent in _tables(text):
        if at == place:
            lines = []
            for head in unit.heads:
                lines.append("[[option.detector.head]]")
                for key, name in _KEYS.items():
                    value = _value(key, getattr(head, name))
                    lines += [f"{key} = {value_text(value)}"] if value is not None else []
            return _with_lines(text, start, end, lines, indent)
    return ""


def _with_lines(text: str, start: int, end: int, lines: list[str], indent: str | None = None) -> str:
    """The text with lines put under the last key between two places, set in as it is."""
    newline, body = line_end(text), text[start:end].splitlines(keepends=True)
    # What is said right above the next table, or after a blank line, is said about what follows.
    while len(body) > 1 and (not body[-1].strip() or body[-1].lstrip().startswith("#")):
        body.pop()
    if body and not body[-1].endswith("\n"):
        body[-1] += newline
    if indent is None:
        above = re.match(r"[ \t]*", body[-1])
        indent = above[0] if above else ""
    kept = start + len("".join(body)) if body and text[start:].startswith("".join(body)) else end
    return text[:start] + "".join(body) + "".join(f"{indent}{line}{newline}" for line in lines) + text[kept:]

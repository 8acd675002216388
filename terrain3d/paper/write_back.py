"""Settings put back into the site file: they change, every other byte stays."""

import re
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

from terrain3d.cover.option import OptionResult
from terrain3d.errors import InputError
from terrain3d.paper.site_file import rewrite
from terrain3d.paper.write_heads import with_heads
from terrain3d.site import DetectorSetting

#: Keys of the site file, and what they are called in a unit.
_SETTINGS = {"height": "height_m", "bearing": "bearing_deg", "tilt": "tilt_deg", "range": "range_m"}
_KEY = rf"""(?<![\w-])["']?(?:{"|".join(_SETTINGS)})["']?[ \t]*=[ \t]*"""
_INTEGER = r"0[xob][0-9a-fA-F_]+|[0-9][0-9_]*"
_VALUE = re.compile(rf"{_KEY}([+-]?(?:{_INTEGER})(?:\.[0-9_]+)?(?:[eE][+-]?[0-9_]+)?)")
#: Whole numbers that stand in for those of the file; no setting comes near them.
_FIRST_MARK = 910_000_000_000

#: Option, detector and key: where a setting stands in the tables.
Place = tuple[int, int, str]
Span = tuple[int, int]


def write_back(path: Path, as_read: bytes, options: tuple[OptionResult, ...]) -> bytes:
    """Write the settings of all options into their site file, whole or not at all.

    Parameters
    ----------
    path : Path
    as_read : bytes
        The file as it was when it was read; it must not have changed since.
    options : tuple of OptionResult
        Height, bearing, tilt, range and sensitivity of their units, and what is set of each head, are written
        where they differ from the file's.

    Returns
    -------
    bytes
        The file as it is now.

    Raises
    ------
    InputError
        When the file changed since it was read, may not be written, or is laid out so that a number
        cannot be changed alone. The file is then as it was.
    """
    return rewrite(path, as_read, lambda text: with_settings(text, options, str(path)))


def with_settings(text: str, options: tuple[OptionResult, ...], where: str = "") -> str:
    """The text of a site file with its units set otherwise.

    Parameters
    ----------
    text : str
    options : tuple of OptionResult
        Found in the file by the names of options and units.
    where : str
        Names the file in messages.

    Notes
    -----
    Every number that might be a setting is swapped for a mark of its own, and the marked text parsed:
    where a mark turns up in the tables tells which setting stands where in the text, whatever the
    layout. The result is parsed once more and has to say just what is meant.
    """
    data = _parsed(text, where)
    spans = _spans(text)
    meant = deepcopy(data)
    edits = []
    for (i, j, key), value in _changes(data, options, where).items():
        meant["option"][i]["detector"][j][key] = value
        if (i, j, key) in spans:
            start, end = spans[i, j, key]
            edits.append((start, end, _written(value, text[start:end])))
        elif (i, j, "bearing") in spans:
            edits.append(_added(text, data, (i, j, key), spans[i, j, "bearing"], value))
        else:
            raise _odd_layout(where)
    new = _edited(text, edits)
    if _parsed(new, where) != meant:
        raise _odd_layout(where)
    return with_heads(new, options, lambda: _odd_layout(where))


def _parsed(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise _odd_layout(where) from None


def _odd_layout(where: str) -> InputError:
    return InputError(
        "the file is laid out so that its settings cannot be changed alone",
        where,
        "give each detector a [[option.detector]] table with one key a line, or type the settings in by hand",
    )


def _changes(data: dict[str, Any], options: tuple[OptionResult, ...], where: str) -> dict[Place, float]:
    """The settings that differ from the file's."""
    units = {(option.name, unit.name): unit for option in options for unit in option.detectors}
    changes: dict[Place, float] = {}
    for i, option in enumerate(data["option"]):
        for j, detector in enumerate(option["detector"]):
            unit = units.pop((option["name"], detector["name"]), None)
            if unit is None:
                continue
            for key, attribute in _SETTINGS.items():
                value = float(getattr(unit, attribute))
                found = float(detector.get(key, DetectorSetting.model_fields[key].default or 0.0))
                # A bearing of -90 in the file is 270 in the unit.
                turn = (value - found + 180) % 360 - 180 if key == "bearing" else value - found
                if abs(turn) > 1e-9:
                    changes[i, j, key] = value
    if units:
        name, unit_name = next(iter(units))
        raise InputError(f"there is no unit {unit_name!r} of option {name!r}", where, "open the file again")
    return changes


def _spans(text: str) -> dict[Place, Span]:
    """From where to where the number of each setting stands in the text."""
    found = [match.span(1) for match in _VALUE.finditer(text)]
    marks = {_FIRST_MARK + k: span for k, span in enumerate(found)}
    marked = _edited(text, [(start, end, str(mark)) for mark, (start, end) in marks.items()])
    try:
        data = tomllib.loads(marked)
    except tomllib.TOMLDecodeError:
        return {}
    return {
        (i, j, key): marks[detector[key]]
        for i, option in enumerate(data.get("option", []))
        for j, detector in enumerate(option.get("detector", []))
        for key in _SETTINGS
        if detector.get(key) in marks
    }


def _added(text: str, data: dict[str, Any], place: Place, beside: Span, value: float) -> tuple[int, int, str]:
    """The edit that adds a key beside another: on a line of its own, or within the same braces."""
    i, j, key = place
    words = f"{key} = {_written(value, '0')}"
    line_start = text.rfind("\n", 0, beside[0]) + 1
    line_end = text.find("\n", beside[1])
    line_end = len(text) if line_end < 0 else line_end + 1
    indent = re.match(r"[ \t]*", text[line_start:])
    newline = "\r\n" if text[:line_end].endswith("\r\n") else "\n"
    closed = text[:line_end].endswith("\n")
    own_line = f"{'' if closed else newline}{indent[0] if indent else ''}{words}{newline if closed else ''}"
    meant = deepcopy(data)
    meant["option"][i]["detector"][j][key] = value
    as_line = (line_end, line_end, own_line)
    try:
        if tomllib.loads(_edited(text, [as_line])) == meant:
            return as_line
    except tomllib.TOMLDecodeError:
        pass
    return beside[1], beside[1], f", {words}"


def _edited(text: str, edits: list[tuple[int, int, str]]) -> str:
    """A text with spans replaced; edits at one place keep their order."""
    parts, at = [], 0
    for start, end, words in sorted(edits, key=lambda edit: edit[:2]):
        parts += [text[at:start], words]
        at = end
    return "".join([*parts, text[at:]])


def _written(value: float, before: str) -> str:
    """A number as its neighbours are written: 140 for an integer, 140.0 where there was a point.

    >>> _written(140.0, "0"), _written(140.0, "12.5"), _written(0.1 + 0.2, "1"), _written(-0.0, "1")
    ('140', '140.0', '0.3', '0')
    """
    value = round(value, 6) + 0.0
    return str(int(value)) if value == int(value) and "." not in before else repr(value)

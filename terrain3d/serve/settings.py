"""What the page offers to set of a unit: as controls with their bounds, and as it is set."""

from dataclasses import replace
from typing import Any

from terrain3d.detector.fixing import fixing_of
from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.errors import InputError
from terrain3d.lengths import given, in_metres, in_unit, length_unit
from terrain3d.sentences.warnings import height_warning
from terrain3d.show.live import controls
from terrain3d.show.live.head_controls import OPEN, with_head, with_head_entry, with_sensitivity

#: Sliders, in the order in which they are offered.
_SLIDERS = (controls.HEIGHT, controls.BEARING, controls.TILT, controls.ROLL)
_PAN = controls.Setting("pan", "pan", 1.0, -180.0, 180.0)


def controls_of(unit: Detector, head: int | None, wall_deg: float | None) -> list[dict[str, Any]]:
    """The controls of a unit, or of one of its heads, counted from 0; lengths as they are told.

    Parameters
    ----------
    unit : Detector
    head : int or None
        None is all of the unit.
    wall_deg : float or None
        What the wall of its mount faces.
    """
    found: list[dict[str, Any]] = []
    for setting in _SLIDERS if head is None else ():
        value = controls.value_of(unit, setting)
        low, high = controls.slider_span(unit, setting)
        numbers = (value, low, high, setting.step)
        is_length = setting is controls.HEIGHT
        if is_length:
            numbers = (in_unit(value), in_unit(low), in_unit(high), in_unit(setting.step))
        unit_told = length_unit() if is_length else "°"
        found.append(_slider(setting.name, *numbers, unit_told, controls.shown(value, setting)))
    limits = fixing_of(unit.type, unit.bracket)
    if limits is not None:
        for one in found:
            if one["setting"] == "tilt":
                one["low"], one["high"] = limits.tilt
    if found and (warning := height_warning(unit)):
        found[0]["warning"] = warning
    if head is not None:
        pan = unit.pan_of(head)
        found.append(_slider("pan", pan, _PAN.low, _PAN.high, _PAN.step, "°", f"{pan:g}°"))
    ranges = controls.ranges_offered(unit, head)
    now = controls.value_of(unit, controls.RANGE, head)
    found.append(_choice("range", now, [(one, given(one)) for one in ranges]))
    names = [*(unit.type.sensitivity or {})]
    if names:
        own = (unit.sensitivity,) if head is None else unit.head(head).sensitivity
        found.append(_choice("sensitivity", own[0] if own else None, [(name, name) for name in names]))
    if len(unit.type.pulses) > 1:
        pulses = unit.pulses_needed if head is None else unit.pulses_of(head)
        found.append(_choice("pulses", pulses, [(n, str(n)) for n in unit.type.pulses]))
    masked = 0 if head is None and len(unit.type.head) == 1 else head
    if masked is not None:
        zones = range(1, unit.type.head[masked].zones + 1)
        mask = _choice("mask", [*unit.head(masked).masked], [(zone, str(zone)) for zone in zones])
        found.append(mask | {"label": "zones masked", "is_many": True})
    if head is None and unit.type.mounting is not None and unit.type.mounting.bracket is not None:
        found.append(_choice("bracket", unit.bracket, [(False, "flat"), (True, "on its bracket")]))
    if wall_deg is not None:
        for one in found:
            if one["setting"] == "bearing":
                one["wall_deg"] = wall_deg
    return found


def set_to(unit: Detector, setting: str, value: Any, head: int | None) -> Detector:
    """The unit with a control set; its height as it is told.

    Raises
    ------
    InputError
        When there is no such control, or the value is none that it can take.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> set_to(unit, "bearing", 92.5, None).bearing_deg, set_to(unit, "mask", [3, 4], 0).heads[0].masked
    (92.5, (3, 4))
    """
    sliders = {one.name: one for one in _SLIDERS}
    if setting in sliders:
        given_value = _number(setting, value)
        metres = in_metres(given_value) if sliders[setting] is controls.HEIGHT else given_value
        return controls.with_value(unit, sliders[setting], metres)
    if setting == "range":
        return controls.with_value(unit, controls.RANGE, _number(setting, value), head)
    if setting == "pan" and head is not None:
        angle = _number(setting, value)
        if not _PAN.low <= angle <= _PAN.high:
            raise InputError(f"pan cannot be {angle:g}°", mend=f"give {_PAN.low:g}° to {_PAN.high:g}°")
        return _panned(unit, head, angle)
    if setting == "sensitivity":
        return with_sensitivity(unit, head, str(value))
    if setting == "pulses":
        return with_head_entry(unit, head, "pulses", [str(value)])
    if setting == "mask":
        at = 0 if head is None and len(unit.type.head) == 1 else head
        if at is None or not isinstance(value, list):
            raise InputError("no head is chosen", mend="choose one of its heads first")
        bare = with_head_entry(unit, at, OPEN, ["all"])
        return with_head_entry(bare, at, "mask", [str(zone) for zone in value]) if value else bare
    if setting == "bracket":
        return replace(unit, bracket=bool(value))
    raise InputError(f"there is no setting {setting!r}", mend="choose one of those that are offered")


def unit_changes(old: Detector, new: Detector) -> dict[str, Any]:
    """What of a unit is set otherwise, by the keys of the site file; None takes a key out.

    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> unit_changes(unit, replace(unit, tilt_deg=4.0))
    {'tilt': 4.0}
    """
    keys = {
        "height": "height_m", "bearing": "bearing_deg", "tilt": "tilt_deg", "roll": "roll_deg",
        "range": "range_m", "pulses": "pulses", "sensitivity": "sensitivity", "fill": "fill",
        "pan": "pan_deg",
    }  # fmt: skip
    found = {
        key: getattr(new, name) for key, name in keys.items() if getattr(new, name) != getattr(old, name)
    }
    if new.bracket != old.bracket:
        found["bracket"] = True if new.bracket else None
    if new.heads != old.heads:
        found["head"] = [_head_table(head) for head in new.heads] or None
    return found


def _panned(unit: Detector, head: int, angle: float) -> Detector:
    """Pans that the unit gives for all heads become those of its heads, for one of them differs."""
    told = replace(unit, pan_deg=None)
    for h, pan in enumerate(unit.pan_deg or ()):
        told = with_head(told, h, pan_deg=pan)
    return with_head(told, head, pan_deg=angle)


def _head_table(head: HeadSetting) -> dict[str, Any]:
    table = {
        "pan": head.pan_deg, "range": head.range_m, "sensitivity": _one_or_each(head.sensitivity),
        "fill": _one_or_each(head.fill), "pulses": head.pulses, "masked": [*head.masked],
        "masked_arc": [[*arc] for arc in head.masked_deg],
    }  # fmt: skip
    return {key: value for key, value in table.items() if value not in (None, [])}


def _one_or_each(values: tuple[Any, ...] | None) -> Any:
    return None if values is None else values[0] if len(values) == 1 else [*values]


def _number(setting: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{setting} is no number", mend="write it like 12 or 1.05")
    return float(value)


def _slider(
    name: str, value: float, low: float, high: float, step: float, unit: str, told: str
) -> dict[str, Any]:
    return {
        "setting": name, "label": name, "value": round(value, 6), "low": round(low, 6),
        "high": round(high, 6), "step": round(step, 6), "unit": unit.strip(), "shown": told, "choices": None,
    }  # fmt: skip


def _choice(name: str, value: Any, choices: list[tuple[Any, str]]) -> dict[str, Any]:
    told = ", ".join(map(str, value)) if isinstance(value, list) else dict(choices).get(value, "")
    return {
        "setting": name, "label": name, "value": value, "unit": "", "shown": told,
        "choices": [one for one, _ in choices], "labels": [label for _, label in choices],
    }  # fmt: skip

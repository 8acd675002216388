"""What a person may set on a unit: in which steps, within what limits, typed in which words."""

import difflib
import math
from dataclasses import dataclass, replace
from typing import Any

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError
from terrain3d.lengths import given, given_figure, in_metres, length
from terrain3d.show.live.head_controls import with_head


@dataclass(frozen=True)
class Setting:
    """One thing to set. `low` to `high` can be typed; `step` is as fine as a hand sets it.

    Fine steps: common practice, no source.
    """

    name: str
    attribute: str
    step: float
    low: float
    high: float


HEIGHT = Setting("height", "height_m", 0.05, 0.05, 10.0)
BEARING = Setting("bearing", "bearing_deg", 2.5, -360.0, 360.0)
TILT = Setting("tilt", "tilt_deg", 1.0, -30.0, 30.0)
#: A unit has only the ranges of its type; these limits stand for none.
RANGE = Setting("range", "range_m", 0.0, 0.0, math.inf)
SETTINGS = (HEIGHT, BEARING, TILT, RANGE)
#: Set where there is room for it.
ROLL = Setting("roll", "roll_deg", 1.0, -30.0, 30.0)

Units = tuple[Detector, ...]


def value_of(unit: Detector, setting: Setting, head: int | None = None) -> float:
    """What is set; of a head, counted from 0, where one is chosen and has a setting of its own."""
    if setting is RANGE and head is not None:
        return unit.range_of(head)
    return float(getattr(unit, setting.attribute))


def shown(value: float, setting: Setting) -> str:
    """A value as it stands beside its name.

    >>> shown(1.2, HEIGHT), shown(137.5, BEARING), shown(-9.0, TILT), shown(12.0, RANGE)
    ('1.20 m', '137.5°', '-9°', '12 m')
    """
    if setting is HEIGHT:
        return length(value, 2)
    return given(value) if setting is RANGE else f"{value:g}°"


def with_value(unit: Detector, setting: Setting, value: float, head: int | None = None) -> Detector:
    """The unit with one setting changed; the range of a head, counted from 0, where one is chosen.

    Raises
    ------
    InputError
        When the value is none the setting can take.
    """
    if setting is RANGE:
        return _with_range(unit, value, head)
    if not setting.low <= value <= setting.high:
        low, high = shown(setting.low, setting), shown(setting.high, setting)
        raise InputError(f"{setting.name} cannot be {shown(value, setting)}", mend=f"give {low} to {high}")
    value = value % 360 if setting is BEARING else value
    changed: dict[str, Any] = {setting.attribute: round(value, 4) + 0.0}
    return replace(unit, **changed)


def stepped(unit: Detector, setting: Setting, by: int, head: int | None = None) -> Detector:
    """The unit with a setting some steps further, and ending at the limits; bearings go round.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 357.5, -9.5)
    >>> stepped(unit, BEARING, 1).bearing_deg, stepped(unit, TILT, 1).tilt_deg
    (0.0, -9.0)
    >>> stepped(unit, RANGE, -2).range_m, stepped(unit, RANGE, 5).range_m
    (8.0, 12.0)
    """
    value = value_of(unit, setting, head)
    if setting is RANGE:
        ranges = ranges_offered(unit, head)
        at = ranges.index(min(ranges, key=lambda offered: abs(offered - value)))
        return _with_range(unit, ranges[min(max(at + by, 0), len(ranges) - 1)], head)
    steps = value / setting.step
    start = math.floor(steps + 1e-6) if by > 0 else math.ceil(steps - 1e-6)
    value = (start + by) * setting.step
    if setting is not BEARING:
        value = min(max(value, setting.low), setting.high)
    return with_value(unit, setting, value % 360 if setting is BEARING else value)


def ranges_offered(unit: Detector, head: int | None = None) -> list[float]:
    """The range settings of a head, counted from 0, or of the unit: those that all heads that follow it have.

    >>> from terrain3d.detector.types import load_type
    >>> ranges_offered(Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0), 0)
    [4.0, 6.0, 8.0, 10.0, 12.0]
    """
    if head is not None:
        return sorted(unit.type.ranges_of(head))
    following = [h for h in range(len(unit.type.head)) if unit.head(h).range_m is None]
    shared = [set(unit.type.ranges_of(h)) for h in following]
    return sorted(set.intersection(*shared) if shared else unit.type.range_settings) or [unit.range_m]


def slider_span(unit: Detector, setting: Setting, head: int | None = None) -> tuple[float, float]:
    """Lowest and highest value a slider offers: what is sensible, and the value that is set."""
    value = value_of(unit, setting)
    if setting is RANGE:
        offered = ranges_offered(unit, head)
        return offered[0], offered[-1]
    if setting is BEARING:
        return 0.0, 360.0 - setting.step
    if setting in (TILT, ROLL):
        return setting.low, setting.high
    low, high = unit.type.mount_height
    return min(0.3, low, value), max(3.0, math.ceil(high + 0.5), value)


def share_of(unit: Detector, setting: Setting, head: int | None = None) -> float:
    """Where a slider's knob stands, 0 to 1."""
    low, high = slider_span(unit, setting, head)
    return min(max((value_of(unit, setting, head) - low) / (high - low), 0.0), 1.0) if high > low else 0.0


def at_share(unit: Detector, setting: Setting, share: float, head: int | None = None) -> Detector:
    """The unit with a slider's knob moved to a share of its way, at the nearest step."""
    low, high = slider_span(unit, setting, head)
    value = low + min(max(share, 0.0), 1.0) * (high - low)
    if setting is RANGE:
        nearest = min(ranges_offered(unit, head), key=lambda offered: abs(offered - value))
        return _with_range(unit, nearest, head)
    value = round(value / setting.step) * setting.step
    return with_value(unit, setting, min(max(value, low), high))


def read_entry(text: str, chosen: Setting) -> tuple[Setting, float]:
    """What was typed: a number for the chosen setting, or the setting's name and a number, as it is told.

    Raises
    ------
    InputError
        When it is no such thing.

    Examples
    --------
    >>> read_entry("bearing 140", HEIGHT) == (BEARING, 140.0), read_entry("1.2", HEIGHT) == (HEIGHT, 1.2)
    (True, True)
    >>> read_entry("baring 140", HEIGHT)
    Traceback (most recent call last):
    terrain3d.errors.InputError: there is no setting 'baring'
      to mend: did you mean 'bearing'?
    """
    words = text.split()
    names = [setting.name for setting in SETTINGS]
    if not 1 <= len(words) <= 2:
        raise InputError(f"{text.strip()!r} is not a setting", mend="type for instance: bearing 140")
    if len(words) == 2 and words[0].lower() not in names:
        near = difflib.get_close_matches(words[0].lower(), names, n=1)
        mend = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(names)}"
        raise InputError(f"there is no setting {words[0]!r}", mend=mend)
    setting = SETTINGS[names.index(words[0].lower())] if len(words) == 2 else chosen
    try:
        value = float(words[-1])
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{words[-1]!r} is not a number", mend="write it like 12 or 1.05")
    return setting, in_metres(value) if setting in (HEIGHT, RANGE) else value


def _with_range(unit: Detector, value: float, head: int | None = None) -> Detector:
    ranges = ranges_offered(unit, head)
    if value not in ranges:
        # Whoever types one as it is told means that one.
        value = next((one for one in ranges if given(one) == given(value)), value)
    if value not in ranges:
        offered = ", ".join(given_figure(one) for one in ranges)
        of = unit.type.name if head is None else f"head {head + 1} of {unit.type.name}"
        raise InputError(f"{of} has no range of {given(value)}", mend=f"it has {offered}")
    return replace(unit, range_m=value) if head is None else with_head(unit, head, range_m=value)


class Trials:
    """The settings of all options: as read, as saved last, and the changes that can be taken back."""

    def __init__(self, options: tuple[OptionResult, ...]) -> None:
        self._read = {option.name: option.detectors for option in options}
        self._saved = dict(self._read)
        self._past: list[tuple[str, Units]] = []

    def note(self, name: str, before: Units) -> None:
        """Remember how an option's units stood before a change."""
        self._past.append((name, before))

    def take_back(self) -> tuple[str, Units] | None:
        """The option and its units before the last change; None when there is none."""
        return self._past.pop() if self._past else None

    def as_read(self, name: str) -> Units:
        return self._read[name]

    def saved(self, options: tuple[OptionResult, ...]) -> None:
        self._saved = {option.name: option.detectors for option in options}

    def unsaved(self, options: tuple[OptionResult, ...]) -> tuple[str, ...]:
        """Names of the options whose settings differ from what was saved last."""
        return tuple(option.name for option in options if option.detectors != self._saved[option.name])

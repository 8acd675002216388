"""Lengths and areas as a person reads them, in metres or in feet.

Everything that is shown is written here, in the unit of the nearest `lengths_in` around it. What is kept as
data (results.json, tables, maps, drawings) stays in metres: it is made within `lengths_in("m")`. A thread and
a process of their own begin in metres; whoever starts them hands `units()` on.

Feet are international feet, areas their squares. A number is told to as many decimals as in metres, or one
fewer of areas, so that it is rounded no coarser: a tenth of a foot is 3 cm, a square foot 0.09 m².
"""

import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

from terrain3d.units import FOOT_M
from terrain3d.wording import plain

Units = Literal["m", "ft"]

#: All of them.
UNITS: tuple[Units, ...] = ("m", "ft")
#: What a person may read lengths in, and its names: of several, and of one.
_NAMES: dict[Units, tuple[str, str]] = {"m": ("metres", "metre"), "ft": ("feet", "foot")}
#: Inches are a twelfth of a foot.
_INCH_M = FOOT_M / 12
#: How long the edge of a level is taken, millimetres and inches; what rises over it is told in the same.
_LEVEL_MM, _LEVEL_IN = 100, 12

#: What stands in quotation marks; one number or two with their unit.
_QUOTED = re.compile(r"('[^']*'|\"[^\"]*\")")
_MEASURED = re.compile(r"(?<![\w.:])(?:(\d+(?:\.\d+)?)( to | x | and ))?(\d+(?:\.\d+)?) (m|m2|m²)(?![\w²/])")

_units: ContextVar[Units] = ContextVar("units", default="m")


@contextmanager
def lengths_in(units: Units) -> Iterator[None]:
    """Tell lengths in these units within the block, or within a function that this decorates.

    >>> with lengths_in("ft"):
    ...     length(3.0), area_words(3.0)
    ('9.8 ft', '32 ft²')
    >>> length(3.0), area_words(3.0)
    ('3.0 m', '3.0 m²')
    """
    before = _units.set(units)
    try:
        yield
    finally:
        _units.reset(before)


def units() -> Units:
    """The units that lengths are told in here."""
    return _units.get()


def length_unit() -> str:
    """The sign of the unit that lengths are told in."""
    return _units.get()


def area_unit() -> str:
    """The sign of the unit that areas are told in."""
    return f"{length_unit()}²"


def lengths_name() -> str:
    """The unit's name, in the plural."""
    return _NAMES[_units.get()][0]


def length_name() -> str:
    """The unit's name, in the singular."""
    return _NAMES[_units.get()][1]


def _is_feet() -> bool:
    return _units.get() == "ft"


def in_unit(metres: float) -> float:
    """A length as a number of the unit."""
    return metres / FOOT_M if _is_feet() else metres


def in_metres(number: float) -> float:
    """The length that a number of the unit stands for, metres."""
    return number * FOOT_M if _is_feet() else number


def length_figure(metres: float, digits: int = 1) -> str:
    """A length without its unit, for where that stands beside it.

    >>> length_figure(8.44), length_figure(0.5, 2)
    ('8.4', '0.50')
    """
    return f"{in_unit(metres):.{digits}f}"


def length(metres: float, digits: int = 1) -> str:
    """A length that was measured or worked out.

    >>> length(8.44), length(0.5, 2), length(36.0, 0)
    ('8.4 m', '0.50 m', '36 m')
    >>> with lengths_in("ft"):
    ...     length(8.44), length(0.5, 2), length(36.0, 0)
    ('27.7 ft', '1.64 ft', '118 ft')
    """
    return f"{length_figure(metres, digits)} {length_unit()}"


def half_up(metres: float) -> str:
    """A length to a decimal; halves go up, whatever their last binary digit.

    >>> half_up(8.45), half_up(8.449), half_up(0.04)
    ('8.5 m', '8.4 m', '0.0 m')
    """
    return f"{math.floor(in_unit(metres) * 10 + 0.5 + 1e-6) / 10:.1f} {length_unit()}"


def half_up_span(low_m: float, high_m: float) -> str:
    """From one length to another, to a decimal each; halves go up.

    >>> half_up_span(1.25, 3.0)
    '1.3 to 3.0 m'
    """
    return f"{half_up(low_m).removesuffix(f' {length_unit()}')} to {half_up(high_m)}"


def about(metres: float, digits: int = 2) -> str:
    """A length to so many significant digits.

    >>> about(0.2549), about(13.0)
    ('0.25 m', '13 m')
    >>> with lengths_in("ft"):
    ...     about(0.2549), about(9.9), about(13.0)
    ('0.84 ft', '32.5 ft', '43 ft')
    """
    if not _is_feet() or metres == 0:
        return f"{plain(metres, digits)} {length_unit()}"
    # As far after the point as the digits of metres go, or feet would be told coarser.
    decimals = max(digits - 1 - math.floor(math.log10(abs(metres))), 0)
    return f"{length_figure(metres, decimals)} {length_unit()}"


def to_digits_figure(metres: float, digits: int) -> str:
    """A length to at most so many significant digits, without its unit.

    >>> to_digits_figure(1.0, 4), to_digits_figure(0.0512, 1)
    ('1', '0.05')
    """
    return _as_given(metres, f"{metres:.{digits}g}")


def to_digits(metres: float, digits: int) -> str:
    """A length to at most so many significant digits.

    >>> to_digits(1.0, 4)
    '1 m'
    """
    return f"{to_digits_figure(metres, digits)} {length_unit()}"


def given_figure(metres: float) -> str:
    """A length that somebody set, without its unit.

    Set in metres it is a round number, which it is not in feet: there it is told to a hundredth below ten
    feet and to a tenth above, or to as many decimals as it was given.

    >>> given_figure(12.0), given_figure(0.25)
    ('12', '0.25')
    >>> with lengths_in("ft"):
    ...     given_figure(12.0), given_figure(0.25), given_figure(0.005), given_figure(6.096)
    ('39.4', '0.82', '0.016', '20')
    """
    return _as_given(metres, f"{metres:g}")


def _as_given(metres: float, text: str) -> str:
    """The text of a length in metres, or the same in feet."""
    if not _is_feet():
        return text
    decimals = len(text.partition(".")[2]) if "e" not in text else 6
    number = in_unit(metres)
    told = f"{number:.{max(decimals, 2 if abs(number) < 10 else 1)}f}"
    told = told.rstrip("0").rstrip(".") if "." in told else told
    return "0" if told == "-0" else told


def given(metres: float) -> str:
    """A length that somebody set.

    >>> given(12.0), given(0.25)
    ('12 m', '0.25 m')
    """
    return f"{given_figure(metres)} {length_unit()}"


def tick(metres: float) -> str:
    """A length along a scale, which has its unit at nought.

    >>> tick(0.0), tick(2.5)
    ('0 m', '2.5')
    """
    return given_figure(metres) + (f" {length_unit()}" if metres == 0 else "")


def scale_words(words: Callable[[float], str]) -> Callable[[float, object], str]:
    """What writes along a scale, in the units of now: that of a page is written whenever the page is drawn.

    >>> with lengths_in("ft"):
    ...     write = scale_words(tick)
    >>> write(3.048, 1)
    '10'
    """
    own = units()

    def told(value: float, _place: object) -> str:
        with lengths_in(own):
            return words(value)

    return told


def span(low_m: float, high_m: float, digits: int = 1) -> str:
    """From one length to another.

    >>> span(4.0, 6.04)
    '4.0 to 6.0 m'
    """
    return f"{length_figure(low_m, digits)} to {length(high_m, digits)}"


def given_span(low_m: float, high_m: float) -> str:
    """From one length to another, as somebody set them.

    >>> given_span(0.8, 1.2)
    '0.8 to 1.2 m'
    """
    return f"{given_figure(low_m)} to {given(high_m)}"


def small_figure(metres: float) -> str:
    """A length of some centimetres, without its unit.

    >>> small_figure(0.034)
    '3'
    """
    return f"{metres / _INCH_M:.1f}" if _is_feet() else f"{100 * metres:.0f}"


def small(metres: float) -> str:
    """A length of some centimetres, or of some inches.

    >>> small(0.034)
    '3 cm'
    >>> with lengths_in("ft"):
    ...     small(0.034)
    '1.3 in'
    """
    return f"{small_figure(metres)} {'in' if _is_feet() else 'cm'}"


def over_level(share: float) -> str:
    """How much a slope rises along the edge of a level, such as one lays on a unit.

    >>> over_level(0.0874)
    '8.7 mm over a level of 100 mm'
    >>> with lengths_in("ft"):
    ...     over_level(0.0874)
    '1.05 in over a level of 12 in'
    """
    if _is_feet():
        return f"{_LEVEL_IN * share:.2f} in over a level of {_LEVEL_IN} in"
    return f"{_LEVEL_MM * share:.1f} mm over a level of {_LEVEL_MM} mm"


def speed(mps: float, digits: int | None = None) -> str:
    """A speed, given in metres a second; as somebody set it where no digits are named.

    >>> speed(0.3), speed(1.04, 1)
    ('0.3 m/s', '1.0 m/s')
    >>> with lengths_in("ft"):
    ...     speed(1.0), speed(1.04, 1)
    ('3.28 ft/s', '3.4 ft/s')
    """
    number = given_figure(mps) if digits is None else length_figure(mps, digits)
    return f"{number} {length_unit()}/s"


def retold(text: str) -> str:
    """A sentence that was made where nobody knows who reads it, with its lengths as they are told here.

    What readers doubt of a survey is worded in metres, for it is data too. What stands in quotation marks is
    a name and stays.

    >>> with lengths_in("ft"):
    ...     retold("gaps up to 2 m wide, 0.5 to 1.5 m long, over 13 m2 ('hedge of 2 m')")
    "gaps up to 6.56 ft wide, 1.64 to 4.92 ft long, over 140 ft2 ('hedge of 2 m')"
    """
    if not _is_feet():
        return text
    parts = _QUOTED.split(text)
    return "".join(part if k % 2 else _MEASURED.sub(_one_retold, part) for k, part in enumerate(parts))


def _one_retold(found: re.Match[str]) -> str:
    first, to, last, sign = found.groups()
    if sign != "m":
        told = (plain_area(float(one)) for one in (first, last) if one)
        return f"{to or ''}".join(told).replace("ft2", f"ft{sign[1:]}")
    numbers = [given_figure(float(one)) for one in (first, last) if one]
    return f"{(to or '').join(numbers)} {length_unit()}"


def in_areas(area_m2: float) -> float:
    """An area as a number of the unit that areas are told in."""
    return area_m2 / FOOT_M**2 if _is_feet() else area_m2


def area_figure(area_m2: float) -> str:
    """An area without its unit.

    >>> area_figure(1234.4), area_figure(8.24)
    ('1234', '8.2')
    """
    number = in_areas(area_m2)
    return f"{number:.1f}" if 0 < number < 10 else f"{number:.0f}"


def area_words(area_m2: float) -> str:
    """An area to three figures or whole square metres, or likewise in square feet.

    >>> area_words(1234.4), area_words(8.24), area_words(0.0)
    ('1234 m²', '8.2 m²', '0 m²')
    """
    return f"{area_figure(area_m2)} {area_unit()}"


def plain_area_figure(area_m2: float, digits: int = 1) -> str:
    """An area in the letters of any terminal, without its unit.

    >>> plain_area_figure(8.24), plain_area_figure(8.24, 0)
    ('8.2', '8')
    """
    return f"{in_areas(area_m2):.{max(digits - _is_feet(), 0)}f}"


def plain_area(area_m2: float, digits: int = 1) -> str:
    """An area in the letters of any terminal.

    >>> plain_area(8.24), plain_area(8.24, 0)
    ('8.2 m2', '8 m2')
    """
    return f"{plain_area_figure(area_m2, digits)} {length_unit()}2"


def per_area(per_m2: float) -> float:
    """How many there are in a square metre, as the number of them in the unit that areas are told in."""
    return per_m2 / in_areas(1.0)

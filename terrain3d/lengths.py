"""Lengths and areas as a person reads them.

Everything that is shown is written here; what is kept as data (results.json, tables, maps, drawings) stays in
metres and is not.
"""

import math

from terrain3d.wording import plain


def length_unit() -> str:
    """The sign of the unit that lengths are told in."""
    return "m"


def area_unit() -> str:
    """The sign of the unit that areas are told in."""
    return f"{length_unit()}²"


def lengths_name() -> str:
    """The unit's name, in the plural."""
    return "metres"


def length_name() -> str:
    """The unit's name, in the singular."""
    return "metre"


def in_unit(metres: float) -> float:
    """A length as the number that is told of it."""
    return metres


def in_metres(number: float) -> float:
    """The length that a number of the unit stands for, metres."""
    return number


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
    """
    return f"{plain(in_unit(metres), digits)} {length_unit()}"


def to_digits_figure(metres: float, digits: int) -> str:
    """A length to at most so many significant digits, without its unit.

    >>> to_digits_figure(1.0, 4), to_digits_figure(0.0512, 1)
    ('1', '0.05')
    """
    return f"{in_unit(metres):.{digits}g}"


def to_digits(metres: float, digits: int) -> str:
    """A length to at most so many significant digits.

    >>> to_digits(1.0, 4)
    '1 m'
    """
    return f"{to_digits_figure(metres, digits)} {length_unit()}"


def given_figure(metres: float) -> str:
    """A length that somebody set, without its unit.

    >>> given_figure(12.0), given_figure(0.25)
    ('12', '0.25')
    """
    return f"{metres:g}"


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
    return f"{100 * metres:.0f}"


def small(metres: float) -> str:
    """A length of some centimetres.

    >>> small(0.034)
    '3 cm'
    """
    return f"{small_figure(metres)} cm"


def over_level(share: float) -> str:
    """How much a slope rises along the edge of a level, such as one lays on a unit.

    >>> over_level(0.0874)
    '8.7 mm over a level of 100 mm'
    """
    return f"{100 * share:.1f} mm over a level of 100 mm"


def speed(mps: float, digits: int | None = None) -> str:
    """A speed, given in metres a second; as somebody set it where no digits are named.

    >>> speed(0.3), speed(1.04, 1)
    ('0.3 m/s', '1.0 m/s')
    """
    number = f"{mps:g}" if digits is None else f"{mps:.{digits}f}"
    return f"{number} {length_unit()}/s"


def area_figure(area_m2: float) -> str:
    """An area without its unit.

    >>> area_figure(1234.4), area_figure(8.24)
    ('1234', '8.2')
    """
    return f"{area_m2:.1f}" if 0 < area_m2 < 10 else f"{area_m2:.0f}"


def area(area_m2: float) -> str:
    """An area to three figures or whole square metres.

    >>> area(1234.4), area(8.24), area(0.0)
    ('1234 m²', '8.2 m²', '0 m²')
    """
    return f"{area_figure(area_m2)} {area_unit()}"


def plain_area_figure(area_m2: float, digits: int = 1) -> str:
    """An area in the letters of any terminal, without its unit.

    >>> plain_area_figure(8.24), plain_area_figure(8.24, 0)
    ('8.2', '8')
    """
    return f"{area_m2:.{digits}f}"


def plain_area(area_m2: float, digits: int = 1) -> str:
    """An area in the letters of any terminal.

    >>> plain_area(8.24), plain_area(8.24, 0)
    ('8.2 m2', '8 m2')
    """
    return f"{plain_area_figure(area_m2, digits)} {length_unit()}2"


def per_area(per_m2: float) -> float:
    """How many there are in a square metre, as the number of them in the unit that areas are told in."""
    return per_m2

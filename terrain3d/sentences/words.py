"""Words that all parts share: a figure, an area, a unit as it is set, a place in the ranking."""

from terrain3d.cover.option import OptionResult
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.lengths import given, length_figure, length_unit
from terrain3d.sentences.heads import range_words, setting_lines

#: A figure that is not there.
NO_FIGURE = "\u2013"


def figure_words(figure: Figure) -> str:
    """A figure with its height.

    >>> figure_words(Figure("person", 1.7, "invented"))
    'person, 1.7 m'
    """
    return f"{figure.name}, {given(figure.height_m)}"


def place_in_ranking(outcome: Outcome, option: OptionResult) -> str:
    """`1st of 3`; empty when there is nothing to compare."""
    if len(outcome.ranking) < 2 or option.name not in outcome.ranking:
        return ""
    place = outcome.ranking.index(option.name) + 1
    ending = "th" if place % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending} of {len(outcome.ranking)}"


def unit_lines(unit: Detector) -> tuple[str, ...]:
    """How a unit is set, in the order an installer needs it; what is set head by head follows.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit_lines(Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 135, 2.5))
    ('1.0 m high, facing 135°, range 12 m', 'tilt 2.5°, roll 0°')
    """
    height = length_figure(unit.height_m, 2).removesuffix("0")
    return (
        f"{height} {length_unit()} high, facing {unit.bearing_deg:g}°, {range_words(unit)}",
        f"tilt {unit.tilt_deg:g}°, roll {unit.roll_deg:g}°",
        *setting_lines(unit),
    )


def unit_title(unit: Detector) -> str:
    """Which unit, of which type, where."""
    return f"{unit.name}: {unit.type.name} on {unit.mount}"


def minutes_words(minutes: int) -> str:
    """A stay of some minutes, in hours where they are many.

    >>> minutes_words(115), minutes_words(200)
    ('115 min', '3 h')
    """
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.0f} h"


def tilt_words(elevation_deg: float) -> str:
    """An elevation as a person says it.

    >>> tilt_words(-4.76), tilt_words(0.01), tilt_words(2.0)
    ('4.8° down', 'level', '2.0° up')
    """
    if abs(elevation_deg) < 0.05:
        return "level"
    return f"{abs(elevation_deg):.1f}° {'down' if elevation_deg < 0 else 'up'}"


def capital(text: str) -> str:
    """A text as a sentence begins, whatever the rest of it is.

    >>> capital("of the upper layer"), capital("")
    ('Of the upper layer', '')
    """
    return text[:1].upper() + text[1:]

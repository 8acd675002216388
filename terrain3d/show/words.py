"""What the pictures say: sentences and figures of an option, and names made fit to print."""

import re
from collections.abc import Callable

from terrain3d.cover.option import OptionResult
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.ranking.compare import held_share


def printable(text: str, has_glyph: Callable[[str], bool]) -> str:
    """One line of text: square metres as printed, a box for every character the typeface lacks.

    >>> printable("a\\tb\\u4e2d", lambda letter: letter < "z")
    'a b\\u25a1'
    >>> printable("8.2 m2", lambda letter: True)
    '8.2 m²'
    """
    line = re.sub(r"(?<=\d) ?m2\b", " m\u00b2", " ".join(text.split()))
    return "".join(letter if has_glyph(letter) else "\u25a1" for letter in line if letter.isprintable())


def wrapped(text: str, width: float, measure: Callable[[str], float], max_lines: int) -> list[str]:
    """Break a text into lines no wider than `width`; what does not fit ends in three dots.

    Parameters
    ----------
    text : str
    width : float
        In the unit of `measure`.
    measure : callable
        The width of a string.
    max_lines : int

    Examples
    --------
    >>> wrapped("a hedge on the north side", 10, len, 3)
    ['a hedge on', 'the north', 'side']
    >>> wrapped("a hedge on the north side", 10, len, 2)
    ['a hedge on', 'the...']
    >>> wrapped("abcdefghijkl", 5, len, 2), wrapped("", 5, len, 2)
    (['abcde', 'fg...'], [''])
    """
    words = text.split()
    lines: list[str] = []
    line = ""
    while words:
        word = words.pop(0)
        longer = f"{line} {word}".strip()
        if measure(longer) <= width:
            line = longer
        elif line:
            lines.append(line)
            line = ""
            words.insert(0, word)
        else:
            fits = max(1, _fitting(word, width, measure))
            lines.append(word[:fits])
            words.insert(0, word[fits:])
            words = [w for w in words if w]
        if len(lines) > max_lines:
            break
    lines.append(line)
    lines = [kept for kept in lines if kept] or [""]
    if len(lines) <= max_lines:
        return lines
    return [*lines[: max_lines - 1], _dotted(lines[max_lines - 1], width, measure)]


def _fitting(word: str, width: float, measure: Callable[[str], float]) -> int:
    low, high = 0, len(word)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if measure(word[:middle]) <= width else (low, middle - 1)
    return low


def _dotted(line: str, width: float, measure: Callable[[str], float]) -> str:
    while line and measure(line + "...") > width:
        line = line.rsplit(" ", 1)[0] if " " in line else line[:-1]
    return line + "..."


#: How each cause reads after "most is lost".
_LOST = {
    "hidden by foliage": "where foliage hides the {figure} from the {layer} layer",
    "hidden by a solid": "where walls or buildings hide the {figure} from the {layer} layer",
    "hidden by ground": "where the ground hides the {figure} from the {layer} layer",
    "passes above the figure": "where the {layer} layer passes over the {figure}",
    "lands short": "where the {layer} layer lands short",
    "below the layer": "close in, under the {layer} layer",
    "beyond range": "beyond the range",
    "outside arc": "outside the arc",
}


def one_line(outcome: Outcome, option: OptionResult) -> str:
    """The sentence under a picture: what the option holds and its main loss; why the best is best."""
    text = loss_line(outcome, option)
    if len(outcome.ranking) > 1 and option.name == outcome.ranking[0] and outcome.why:
        return f"{text} {outcome.why}"
    return text


def loss_line(outcome: Outcome, option: OptionResult) -> str:
    """What the option holds and where most of the rest is lost."""
    return f"{_held(option)}{_main_loss(outcome, option)}."


def _held(option: OptionResult) -> str:
    share = held_share(option)
    if share is None:
        return f"Holds {square_metres(option.area_m2.get('both', 0.0))} with both layers"
    amount = "none" if share == 0 else "all" if share == 1 else f"{share:.0%}"
    return f"Holds {amount} of the protected ground with both layers"


def _main_loss(outcome: Outcome, option: OptionResult) -> str:
    """The layer and cause that take most: of protected ground, or else of ground within arc and range."""
    if option.protect:
        lost, lead = option.lost_m2, "most is lost"
    else:
        lost, lead = option.causes, "of the rest in its reach most is lost"
    losses = [
        (area, layer, cause)
        for layer, causes in lost.items()
        for cause, area in causes.items()
        if option.protect or cause not in ("beyond range", "outside arc")
    ]
    if not losses:
        return ""
    area, layer, cause = max(losses, key=lambda loss: loss[0])
    if area < 0.5:
        return ""
    where = _LOST[cause].format(layer=layer, figure=outcome.figure.name)
    return f"; {lead} {where} ({square_metres(area)})"


def cause_clause(cause: str) -> str:
    """A cause after the layer that it takes, as in "the lower layer lands short".

    >>> cause_clause("lands short"), cause_clause("hidden by ground")
    ('lands short', 'is hidden by ground')
    """
    if cause.startswith("hidden"):
        return f"is {cause}"
    return {
        "passes above the figure": "passes over the figure",
        "below the layer": "passes over, close in",
        "beyond range": "is out of range",
        "outside arc": "is outside its arc",
    }.get(cause, cause)


def figure_words(figure: Figure) -> str:
    """A figure with its height.

    >>> figure_words(Figure("person", 1.7, "invented"))
    'person, 1.7 m'
    """
    return f"{figure.name}, {figure.height_m:g} m"


def place_in_ranking(outcome: Outcome, option: OptionResult) -> str:
    """`1st of 3`; empty when there is nothing to compare."""
    if len(outcome.ranking) < 2 or option.name not in outcome.ranking:
        return ""
    place = outcome.ranking.index(option.name) + 1
    ending = "th" if place % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending} of {len(outcome.ranking)}"


def unit_lines(unit: Detector) -> tuple[str, str]:
    """How a unit is set, in the order an installer needs it.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit_lines(Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 135, 2.5))
    ('1.0 m high, facing 135°, range 12 m', 'tilt 2.5°, roll 0°')
    """
    height = f"{unit.height_m:.2f}".removesuffix("0")
    return (
        f"{height} m high, facing {unit.bearing_deg:g}°, range {unit.range_m:g} m",
        f"tilt {unit.tilt_deg:g}°, roll {unit.roll_deg:g}°",
    )


def warnings_of(outcome: Outcome, option: OptionResult) -> list[str]:
    """The option's warnings and the survey's doubts, each once."""
    return list(dict.fromkeys([*option.warnings, *outcome.terrain.doubts]))


def square_metres(area_m2: float) -> str:
    """An area to three figures or whole metres.

    >>> square_metres(1234.4), square_metres(8.24), square_metres(0.0)
    ('1234 m²', '8.2 m²', '0 m²')
    """
    return f"{area_m2:.1f} m²" if 0 < area_m2 < 10 else f"{area_m2:.0f} m²"


def area_or_none(area_m2: float) -> str:
    """An area, or that there is none.

    >>> area_or_none(0.0), area_or_none(8.24)
    ('none', '8.2 m²')
    """
    return square_metres(area_m2) if area_m2 > 0 else "none"


def tilt_words(elevation_deg: float) -> str:
    """An elevation as a person says it.

    >>> tilt_words(-4.76), tilt_words(0.01), tilt_words(2.0)
    ('4.8° down', 'level', '2.0° up')
    """
    if abs(elevation_deg) < 0.05:
        return "level"
    return f"{abs(elevation_deg):.1f}° {'down' if elevation_deg < 0 else 'up'}"

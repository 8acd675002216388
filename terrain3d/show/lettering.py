"""The typeface of the pictures: what it can write, and how wide a line comes out."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import matplotlib as mpl
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags

from terrain3d import palette

#: Comes with matplotlib, so the pictures are the same on every machine.
_FAMILY = "DejaVu Sans"
#: Letters are moved to whole pixels when drawn, which widens a line by up to this.
_HINTING = 1.025
_STYLE: dict[Any, Any] = {
    "font.family": _FAMILY,
    "text.parse_math": False,
    "axes.linewidth": 0.6,
    "axes.edgecolor": palette.QUIET_INK,
    "text.color": palette.INK,
    "hatch.linewidth": 0.6,
}


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


@contextmanager
def page_style() -> Iterator[None]:
    """The same page whatever the user's own matplotlib settings; names are never read as formulas."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def fitted_lines(text: str, width: float, max_lines: int, weight: str = "normal") -> list[str]:
    """A text as lines that fit a width, given in type sizes; the rest ends in three dots.

    >>> fitted_lines("the yard behind the house", 8, 2)
    ['the yard', 'behind the...']
    """
    clean = printable(text, has_glyph)
    return wrapped(clean, width, lambda line: line_width(line, weight), max_lines)


def line_width(line: str, weight: str = "normal") -> float:
    """Width of a line in type sizes; a little more than it is drawn, never less."""
    return sum(_advance(letter, weight) for letter in line) * _HINTING


@lru_cache(maxsize=4096)
def has_glyph(letter: str) -> bool:
    """Whether the typeface has a character.

    >>> has_glyph("\\u00e9"), has_glyph("\\u4e2d")
    (True, False)
    """
    return ord(letter) in _charmap()


@lru_cache(maxsize=2)
def font_file(bold: bool = False) -> str:
    """Where the typeface lies on this machine."""
    return findfont(FontProperties(family=_FAMILY, weight="bold" if bold else "normal"))


@lru_cache(maxsize=2)
def _typeface(weight: str) -> FT2Font:
    return FT2Font(font_file(weight == "bold"))


@lru_cache(maxsize=1)
def _charmap() -> dict[int, int]:
    return dict(_typeface("normal").get_charmap())


@lru_cache(maxsize=4096)
def _advance(letter: str, weight: str) -> float:
    """Width of a letter in type sizes; kerning only ever makes a line shorter."""
    face = _typeface(weight)
    glyph = face.load_char(ord(letter), flags=LoadFlags.NO_SCALE)
    return float(glyph.horiAdvance / face.units_per_EM)

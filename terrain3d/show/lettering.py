"""The typeface of the pictures: what it can write, and how wide a line comes out."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import matplotlib as mpl
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags

from terrain3d.show import palette, words

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
    clean = words.printable(text, has_glyph)
    return words.wrapped(clean, width, lambda line: line_width(line, weight), max_lines)


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
def _typeface(weight: str) -> FT2Font:
    return FT2Font(findfont(FontProperties(family=_FAMILY, weight=weight)))


@lru_cache(maxsize=1)
def _charmap() -> dict[int, int]:
    return dict(_typeface("normal").get_charmap())


@lru_cache(maxsize=4096)
def _advance(letter: str, weight: str) -> float:
    """Width of a letter in type sizes; kerning only ever makes a line shorter."""
    face = _typeface(weight)
    glyph = face.load_char(ord(letter), flags=LoadFlags.NO_SCALE)
    return float(glyph.horiAdvance / face.units_per_EM)

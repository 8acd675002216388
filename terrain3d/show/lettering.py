"""The typefaces of the pictures: what they can write, how wide a line comes out, the files they lie in.

Letters are shaped, joined and put in order by matplotlib's own text layout, which pages use anyhow; the
window gets its lines from here. So a name looks the same on a page and in the window, in every script.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import weblate_fonts
from matplotlib.font_manager import FontEntry, FontProperties, findfont, fontManager, get_font
from matplotlib.ft2font import FT2Font, LoadFlags
from matplotlib.text import Text

from terrain3d import palette

#: Comes with matplotlib, so the pictures are the same on every machine. It is asked first.
_FAMILY = "DejaVu Sans"
#: Who has what it lacks, in the order in which they are asked: Chinese in simplified characters, Japanese,
#: Korean, Chinese in traditional characters, and what remains (Devanagari, Thai, and most others). Chinese
#: characters are in four of them, as each country draws them.
_OTHERS = ("SC", "JP", "KR", "TC", "")
#: Letters that tell whose Chinese characters are meant.
_TELLING = {
    "JP": re.compile("[\u3040-\u30ff\u31f0-\u31ff]"),
    "KR": re.compile("[\u1100-\u11ff\uac00-\ud7af]"),
}
_KURINTO = Path(weblate_fonts.__file__).parent / "static" / "weblate_fonts" / "kurinto" / "ttf"
#: Letters are moved to whole pixels when drawn, which widens a line by up to this.
_HINTING = 1.025
#: Size at which a line is measured, pixels.
_MEASURED_PX = 64
#: Here a line is as wide as its letters: Latin, Greek, Cyrillic. Others join, or stand over one another.
_PLAIN = re.compile("[\u0020-\u02ff\u0370-\u0482\u048a-\u0588\u1e00-\u1fff\u2010-\u2027\u2030-\u2bff]*")
_RIGHT_TO_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
#: A run of it: words with what stands between them, a number too.
_RUN = re.compile(f"[{_RIGHT_TO_LEFT}](?:[{_RIGHT_TO_LEFT}0-9 '\u2019-]*[{_RIGHT_TO_LEFT}])?")
#: Chinese and Japanese characters, after each of which a line may end; marks that stay with the one before,
#: and those that stay with the one after.
_CHARACTER = "[\u3040-\u30fb\u31f0-\u31ff\u3400-\u4dbf\u4e00-\u9fff\uf900-\ufaff]"
_CLOSING = "[\u3001\u3002\u300d\u300f\uff01\uff09\uff0c\uff0e\uff1a\uff1b\uff1f\u30fc\"'),.:;%]*"
_OPENING = "[\"'(\u201c\u300c\u300e\uff08]*"
#: What stays on one line, with the space before it.
_WORDS = re.compile(
    rf"\s*(?:{_OPENING}{_CHARACTER}{_CLOSING}|(?:(?!{_CHARACTER})\S)+?(?={_OPENING}{_CHARACTER}|\s|$))"
)
#: Unseen; what stands beside it is ordered from the left.
_LEFT_TO_RIGHT_MARK = "\u200e"


def printable(text: str, has_glyph: Callable[[str], bool]) -> str:
    """One line of text: square metres as printed, a box for every character the typefaces lack.

    >>> printable("a\\tb\\u4e2d", lambda letter: letter < "z")
    'a b\\u25a1'
    >>> printable("8.2 m2", lambda letter: True)
    '8.2 m²'
    """
    line = re.sub(r"(?<=\d) ?(m|ft)2\b", " \\1\u00b2", " ".join(text.split()))
    return "".join(letter if has_glyph(letter) else "\u25a1" for letter in line if letter.isprintable())


def in_order(line: str) -> str:
    """A line that runs from the left like the page, whatever it begins with; names in it run their own way.

    Without that, an Arabic or Hebrew name at its start would turn the whole line, and take the number that
    follows it to its other side.

    >>> in_order("yard: 45 %")
    'yard: 45 %'
    >>> in_order("\\u05d7\\u05e6\\u05e8: 45 %") == "\\u200e\\u05d7\\u05e6\\u05e8\\u200e: 45 %"
    True
    """
    return _RUN.sub(lambda run: f"{_LEFT_TO_RIGHT_MARK}{run[0]}{_LEFT_TO_RIGHT_MARK}", line)


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

    Chinese and Japanese have no spaces; a line may end after each of their characters:

    >>> wrapped("at \u4e0b\u9662\u5927\u95e8", 5, len, 2)
    ['at \u4e0b\u9662', '\u5927\u95e8']
    """
    words = _WORDS.findall(text)
    lines: list[str] = []
    line = ""
    while words:
        word = words.pop(0)
        longer = f"{line}{word}".strip()
        if measure(longer) <= width:
            line = longer
        elif line:
            lines.append(line)
            line = ""
            words.insert(0, word.strip())
        else:
            word = word.strip()
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
    whole = low
    # A vowel or an accent that stands on a letter stays with it.
    while 0 < whole < len(word) and unicodedata.category(word[whole])[0] == "M":
        whole -= 1
    return whole or low


def _dotted(line: str, width: float, measure: Callable[[str], float]) -> str:
    while line and measure(line + "...") > width:
        line = line.rsplit(" ", 1)[0] if " " in line else line[:-1]
    return line + "..."


@contextmanager
def page_style() -> Iterator[None]:
    """The same page whatever the user's own matplotlib settings; names are never read as formulas."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_style())
        yield


@lru_cache(maxsize=1)
def _style() -> dict[Any, Any]:
    for other in _OTHERS:
        for weight in ("normal", "bold"):
            # Under a name of its own, so that none is taken for another that the machine has.
            entry = FontEntry(
                fname=str(_file(other, weight)), name=_family(other), weight=weight,
                style="normal", variant="normal", stretch="normal", size="scalable",
            )  # fmt: skip
            fontManager.ttflist.append(entry)
    return {
        "font.family": _families(""),
        "text.parse_math": False,
        "axes.linewidth": 0.6,
        "axes.edgecolor": palette.QUIET_INK,
        "text.color": palette.INK,
        "hatch.linewidth": 0.6,
    }


def draw_as_meant(texts: Iterable[Text]) -> None:
    """Give the texts of a page the Chinese characters of the language that it is in."""
    written = list(texts)
    said = "".join(text.get_text() for text in written)
    if _order(said) != _OTHERS:
        for text in written:
            text.set_fontfamily(_families(said))


def _families(text: str) -> list[str]:
    return [_FAMILY, *map(_family, _order(text))]


def _family(other: str) -> str:
    return f"letters of terrain3d {other}".strip()


def _order(text: str) -> tuple[str, ...]:
    """Who is asked for a letter, after the first.

    >>> _order("\\u4e2d"), _order("\\u5ead\\u306e")
    (('SC', 'JP', 'KR', 'TC', ''), ('JP', 'SC', 'KR', 'TC', ''))
    """
    return tuple(sorted(_OTHERS, key=lambda other: other not in _TELLING or not _TELLING[other].search(text)))


def font_files(text: str, weight: str = "normal") -> list[Path]:
    """The files of the typefaces that hold the letters of a text, those asked first before the others.

    Parameters
    ----------
    text : str
        Letters that none has are passed over.
    weight : str
        "normal" or "bold".

    Examples
    --------
    >>> [path.name for path in font_files("yard")]
    ['DejaVuSans.ttf']
    >>> [path.name for path in font_files("\\u0906\\u0901\\u0917\\u0928 \\u5ead\\u306e", "bold")]
    ['DejaVuSans-Bold.ttf', 'KurintoSansJP-Rg.ttf', 'KurintoSans-Bd.ttf']
    """
    first, *others = _files(_order(text), weight)
    missing = {letter for letter in text if not _holds(first, letter)}
    files = [first]
    for path in others:
        held = {letter for letter in missing if _holds(path, letter)}
        missing -= held
        files += [path] if held else []
    return files


@lru_cache(maxsize=8)
def _files(order: tuple[str, ...], weight: str) -> tuple[Path, ...]:
    """The file of the first typeface and those of others."""
    first = Path(findfont(FontProperties(family=_FAMILY, weight=weight)))
    return first, *(_file(other, weight) for other in order)


def _file(other: str, weight: str) -> Path:
    if other == "JP":
        # Of the bold one the kana are no bolder: among bold characters they would look faded.
        weight = "normal"
    return _KURINTO / f"KurintoSans{other}-{'Bd' if weight == 'bold' else 'Rg'}.ttf"


def _holds(path: Path, letter: str) -> bool:
    return bool(_face(path).get_char_index(ord(letter)))


@lru_cache(maxsize=16)
def _face(path: Path) -> FT2Font:
    return FT2Font(path)


def fitted_lines(text: str, width: float, max_lines: int, weight: str = "normal") -> list[str]:
    """A text as lines that fit a width, given in type sizes; the rest ends in three dots.

    >>> fitted_lines("the yard behind the house", 8, 2)
    ['the yard', 'behind the...']
    """
    clean = printable(text, has_glyph)
    lines = wrapped(clean, width, lambda line: line_width(line, weight), max_lines)
    return [in_order(line) for line in lines]


@lru_cache(maxsize=4096)
def line_width(line: str, weight: str = "normal") -> float:
    """Width of a line in type sizes; a little more than it is drawn, never less."""
    if _PLAIN.fullmatch(line) and all(map(_is_in_first, line)):
        return sum(_advance(letter, weight) for letter in line) * _HINTING
    face = _laid_out(in_order(line), _MEASURED_PX, weight, LoadFlags.NO_HINTING)
    return (face.get_bitmap_offset()[0] + face.get_width_height()[0]) / 64 / _MEASURED_PX * _HINTING


def letters(line: str, size: int, weight: str = "normal") -> tuple[Any, tuple[int, int]]:
    """A line as it is drawn on pixels.

    Parameters
    ----------
    line : str
        Ready to print, as `fitted_lines` gives it.
    size : int
        Of the type, pixels.
    weight : str

    Returns
    -------
    mask : (height, width) uint8
        How much of each pixel is covered, row 0 at the top.
    corner : (x, y)
        Of its upper left, pixels to the right of where the line begins and above its baseline.
    """
    face = _laid_out(line, size, weight, LoadFlags.TARGET_LIGHT)
    face.draw_glyphs_to_bitmap(antialiased=True)
    mask = np.array(face.get_image())
    if not mask.size:
        return np.zeros((1, 1), np.uint8), (0, 0)
    return mask, (round(face.get_bitmap_offset()[0] / 64), len(mask) - round(face.get_descent() / 64))


def _laid_out(line: str, size: int, weight: str, flags: LoadFlags) -> FT2Font:
    face = get_font(_files(_order(line), weight))
    face.set_size(size, 72)
    face.set_text(line, 0.0, flags=flags)
    return face


@lru_cache(maxsize=4096)
def has_glyph(letter: str) -> bool:
    """Whether one of the typefaces has a character.

    >>> has_glyph("\\u00e9"), has_glyph("\\u4e2d"), has_glyph("\\U00020000")
    (True, True, False)
    """
    return any(_holds(path, letter) for path in _files(_OTHERS, "normal"))


@lru_cache(maxsize=4096)
def _is_in_first(letter: str) -> bool:
    return _holds(_files(_OTHERS, "normal")[0], letter)


@lru_cache(maxsize=4096)
def _advance(letter: str, weight: str) -> float:
    """Width of a letter in type sizes; kerning only ever makes a line shorter."""
    face = _face(_files(_OTHERS, weight)[0])
    glyph = face.load_char(ord(letter), flags=LoadFlags.NO_SCALE)
    return float(glyph.horiAdvance / face.units_per_EM)

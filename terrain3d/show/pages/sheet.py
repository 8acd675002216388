"""One printed page: title, picture, legend column, sentence and caution; knows nothing of pictures."""

import gc
import threading
from collections.abc import Callable, Sequence
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from terrain3d import palette
from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.verdict import Verdict
from terrain3d.palette import Rgb
from terrain3d.sentences.paper import page_words
from terrain3d.show.blocks import Bar, Gap, Paragraph, Piece, Row, Section, TypeSize
from terrain3d.show.legend import Sign, verdict_sign
from terrain3d.show.lettering import draw_as_meant, fitted_lines, line_width, page_style
from terrain3d.show.pages.packing import packed
from terrain3d.show.pages.size import DPI, HEIGHT_PX, SCREEN, WIDTH_PX, Size

#: Sizes of type in points; heights of a bar, a little air and that after a section, as shares of the page.
TYPE: dict[TypeSize, float] = {"large": 8.5, "row": 8.0, "small": 7.5, "note": 7.0}
_BAR, _GAP, _END = 0.015, 0.004, 0.006
#: Baseline of the last line, a share of the page.
_FOOT = 0.0075
#: Largest mark of a key, points.
_MARK = 9.0
#: Of a key: its type, points; from a sign to its word, and from there to the next, with air and with least.
_KEY_TYPE, _KEY_SIGN, _KEY_GAP, _KEY_LEAST = 7.2, 0.026, 0.022, 0.010
#: A key whose words would be smaller than this share of their size has two rows, on these baselines.
_KEY_SMALLEST, _KEY_ROWS = 0.9, (0.1175, 0.1005)
#: Of the sentence: from line to line, and how many, of each size of type, the most welcome first.
_SENTENCE: dict[float, tuple[float, int]] = {9.5: (0.026, 2), 8.3: (0.0205, 3), 6.8: (0.016, 4)}
#: Where it begins, under a key of one row and of two: above the caution some air has to stay.
_UNDER_ONE_ROW: dict[float, float] = {9.5: 0.086, 8.3: 0.0885, 6.8: 0.091}
_UNDER_TWO_ROWS: dict[float, float] = {9.5: 0.0748, 8.3: 0.0815, 6.8: 0.0848}
#: How far down it moves at most where it has fewer lines.
_SPARE = 0.006
#: Left, bottom, width, height, as shares of the page.
Place = tuple[float, float, float, float]
#: Where the picture is; beside it the legend column.
PICTURE: Place = (0.05, 0.15, 0.655, 0.725)
COLUMN_LEFT, COLUMN_RIGHT = 0.73, 0.978
#: The same of a picture as wide as the page, and where the blocks of text under it start and end.
WIDE_PICTURE: Place = (0.05, 0.345, 0.928, 0.53)
BLOCK_TOP, BLOCK_FLOOR = 0.308, 0.135
PICTURE_ASPECT = PICTURE[2] * WIDTH_PX / (PICTURE[3] * HEIGHT_PX)


@lru_cache(maxsize=4)
def _renderer(width: float, height: float, dpi: float, _thread: int) -> Any:
    made: Any = RendererAgg
    return made(width, height, dpi)


def let_go_of_pages() -> None:
    """Give back what pages are drawn onto, where no more are drawn for a while, and what they held.

    That refers to itself, and stays until somebody looks.
    """
    _renderer.cache_clear()
    gc.collect()


class PageCanvas(FigureCanvasAgg):
    """What pages of one size are drawn onto, one after the other.

    matplotlib makes one for each figure; what a figure holds refers to it and to it again, so it would stay
    for long, with 27 MB of dots for A4.
    """

    def get_renderer(self) -> Any:
        """What measures letters and draws; a page that begins to be drawn clears it."""
        width, height = self.figure.bbox.size
        return _renderer(width, height, self.figure.dpi, threading.get_ident())


class PageFigure(Figure):
    """A page as a figure: at the end of a notebook's cell it is a picture by itself."""

    def _repr_png_(self) -> bytes:
        """The picture, as a notebook asks for it."""
        picture = BytesIO()
        with page_style():
            self.save(picture)
        return picture.getvalue()

    def save(self, to: Path | BytesIO, size: Size = SCREEN) -> None:
        """Write the picture, in the dots of a size."""
        picture = packed(self.dots(size), size.dots_an_inch)
        if isinstance(to, Path):
            to.write_bytes(picture)
        else:
            to.write(picture)

    def dots(self, size: Size = SCREEN) -> Rgb:
        """The picture in the dots of a size: (height, width, 3) uint8, row 0 at the top."""
        draw_as_meant(self.findobj(Text))
        drawn = BytesIO()
        # A hair more, or rounding would lose the last row and column of pixels.
        self.savefig(drawn, format="rgba", dpi=DPI * size.fineness * (1 + 1e-9))
        return np.frombuffer(drawn.getbuffer(), np.uint8).reshape(-1, size.width_px, 4)[..., :3]


class Sheet:
    """A page being filled; blocks fill a column of it from top to bottom.

    Parameters
    ----------
    size : Size
        What the page is made for.

    Attributes
    ----------
    of : str
        What tells it from other pages of its kind and option, such as the head of a section; may be empty.
    """

    def __init__(self, size: Size = SCREEN) -> None:
        self.size = size
        self.of = ""
        inches = WIDTH_PX / DPI
        self.figure: PageFigure = PageFigure(
            figsize=(inches, inches * size.height_px / size.width_px), dpi=DPI, facecolor=palette.PAPER
        )
        PageCanvas(self.figure)
        self._said = ""
        self._sentence: list[Text] = []
        self.begin_column(COLUMN_LEFT, COLUMN_RIGHT, PICTURE[1] + PICTURE[3], PICTURE[1])

    @property
    def said(self) -> str:
        """The sentence under its picture."""
        return self._said

    def unsay(self) -> None:
        """Take the sentence away, where it is told elsewhere."""
        for line in self._sentence:
            line.remove()
        self._sentence = []

    def title(self, title: str, subtitle: str, note: str = "", date: str = "") -> None:
        """The two lines over the picture; a note and a date at their right ends."""
        width = COLUMN_RIGHT - PICTURE[0]
        room = width - (share_of_page(note, 11) + 0.02 if note else 0.0)
        size, lines = self.fitting(title, room, ((16, 1), (13, 1), (11, 1), (10, 2)), "bold")
        self.rows(lines, PICTURE[0], 0.943 + 0.0235 * (len(lines) - 1), size, 0.027, weight="bold")
        if note:
            self.text(COLUMN_RIGHT, 0.943, note, 11, va="baseline", ha="right", color=palette.QUIET_INK)
        (dated,) = self.lines(date, 0.2, 9.5, 1)
        if dated:
            self.text(COLUMN_RIGHT, 0.907, dated, 9.5, va="baseline", ha="right", color=palette.QUIET_INK)
            width -= share_of_page(dated, 9.5) + 0.02
        size, lines = self.fitting(subtitle, width, ((9.5, 1), (8.3, 1), (7.2, 1), (6.4, 2)))
        self.rows(lines, PICTURE[0], 0.907 + 0.011 * (len(lines) - 1), size, 0.0165, color=palette.QUIET_INK)

    def say(self, sentence: str, brief: str = "") -> None:
        """What to take from the picture, under it, and the caution; `brief` where all has no room."""
        size, (_, most) = list(_SENTENCE.items())[-1]
        is_cut = len(self.lines(sentence, COLUMN_RIGHT - PICTURE[0], size, most + 1)) > most
        self._said = brief if brief and is_cut else sentence
        self._sentence = self._write_sentence(_UNDER_ONE_ROW)
        (line,) = self.lines(SHORT_CAUTION, COLUMN_RIGHT - PICTURE[0], 6.8, 1)
        self.text(PICTURE[0], 0.0225, line, 6.8, va="baseline", color=palette.QUIET_INK)

    def _write_sentence(self, tops: dict[float, float]) -> list[Text]:
        """The sentence from the baseline that goes with its size down."""
        width = COLUMN_RIGHT - PICTURE[0]
        size, lines = self.fitting(self._said, width, [(size, most) for size, (_, most) in _SENTENCE.items()])
        leading, most = _SENTENCE[size]
        # Where it has fewer lines than there is room for it stands off the key.
        spare = min(_SPARE, (most - len(lines)) * leading / 2)
        return self.rows(lines, PICTURE[0], tops[size] - spare, size, leading)

    def figure_and_words(self, figure: str, words: str) -> None:
        """A number large enough to be read across a table, and under it what it is."""
        size, (line,) = self.fitting(figure, self.right - self.left, ((21.0, 1), (12.0, 1)), "bold")
        self._below -= _line_height(21.0)
        self.text(self.left, self._below, line, size, weight="bold", va="baseline")
        for line in self.lines(words, self.right - self.left, TYPE["row"], 3):
            self._below -= _line_height(TYPE["row"])
            self.text(self.left, self._below, line, TYPE["row"], va="baseline")
        self._below -= _END

    def rule(self, left: float, right: float, y: float) -> None:
        """A fine line across, in shares of the page."""
        self.figure.add_artist(mpl.lines.Line2D([left, right], [y, y], color=palette.HAIRLINE, linewidth=0.7))

    def foot(self, text: str) -> None:
        """Where the page comes from, under the caution."""
        width = COLUMN_RIGHT - PICTURE[0] - 0.09
        size, (line,) = self.fitting(text, width, ((6.2, 1), (5.6, 1), (5.0, 1)))
        self.text(PICTURE[0], _FOOT, line, size, va="baseline", color=palette.QUIET_INK)

    def number(self, number: int, count: int) -> "Sheet":
        """Which of all pages it is, at the end of the same line."""
        words = page_words(number, count)
        self.text(COLUMN_RIGHT, _FOOT, words, 6.2, va="baseline", ha="right", color=palette.QUIET_INK)
        return self

    def band(
        self, text: str, left: float = PICTURE[0], right: float = COLUMN_RIGHT, top: float = 0.898
    ) -> None:
        """What nobody may miss: white on black, over a width and from `top` down, in shares of the page."""
        height, width, said = 0.021, right - left - 0.012, f"! {text}"
        self.figure.add_artist(
            Rectangle((left, top - height), right - left, height, facecolor=palette.INK, edgecolor="none")
        )
        # Smaller before any of it is left out.
        size, (line,) = self.fitting(said, width, ((8.5, 1), (7.5, 1), (6.5, 1), (6.0, 1)), "bold")
        baseline = top - height + 0.0055
        self.text(left + 0.006, baseline, line, size, weight="bold", va="baseline", color=palette.PAPER)

    def begin_column(self, left: float, right: float, top: float, floor: float) -> None:
        """Fill another part of the page from now on, all in shares of the page."""
        self.left, self.right, self._below, self._floor = left, right, top + 0.018, floor

    def picture_axes(self, place: Place = PICTURE) -> Axes:
        return self.figure.add_axes(place)

    def set_to_scale(self, axes: Axes, width_m: float, height_m: float, scale: float) -> None:
        """Shrink axes around their middle until a metre is 1:`scale` of a metre on this paper."""
        box = axes.get_position()
        per_m = 1 / (scale * self.size.paper_m(1.0))
        width, height = width_m * per_m, height_m * per_m * self.size.width_px / self.size.height_px
        axes.set_position(((box.x0 + box.x1 - width) / 2, (box.y0 + box.y1 - height) / 2, width, height))

    def lines(
        self, text: str, width: float, size: float, max_lines: int, weight: str = "normal"
    ) -> list[str]:
        """A text from a file as lines that fit `width`, a share of the page."""
        return fitted_lines(text, width * WIDTH_PX * 72 / DPI / size, max_lines, weight)

    def fitting(
        self, text: str, width: float, sizes: Sequence[tuple[float, int]], weight: str = "normal"
    ) -> tuple[float, list[str]]:
        """A text as large as it goes before any of it is left out: its size of type, and its lines.

        Parameters
        ----------
        text : str
        width : float
            A share of the page.
        sizes : sequence of (float, int)
            Sizes of type with the lines there may be of each, the most welcome first.
        weight : str
        """
        whole = (one for one in sizes if len(self.lines(text, width, one[0], one[1] + 1, weight)) <= one[1])
        size, most = next(whole, sizes[-1])
        return size, self.lines(text, width, size, most, weight)

    def rows(self, lines: list[str], x: float, y: float, size: float, step: float, **look: Any) -> list[Text]:
        """Write lines one under the other, `step` apart, the first on the baseline `y`."""
        return [self.text(x, y - k * step, line, size, va="baseline", **look) for k, line in enumerate(lines)]

    def text(self, x: float, y: float, text: str, size: float, **look: Any) -> Text:
        return self.figure.text(x, y, text, fontsize=size, **look)

    def room(self) -> float:
        """Height of the column that is left, as a share of the page."""
        return self._below - self._floor

    def height_of(self, piece: Piece) -> float:
        """Height that a piece takes, as a share of the page."""
        if isinstance(piece, Paragraph):
            size = TYPE[piece.size]
            return _line_height(size) * len(self.lines(piece.text, self.right - self.left, size, piece.most))
        if isinstance(piece, Row):
            return _line_height(TYPE[piece.size]) * len(self._row_lines(piece))
        return _BAR if isinstance(piece, Bar) else _GAP

    def head(self, section: Section) -> bool:
        """Draw a heading, the short one where the other is too wide."""
        width = self.right - self.left
        is_wide = section.short and share_of_page(section.heading, 9, "bold") > width
        heading = section.short if is_wide else section.heading
        self._below -= 0.036
        (line,) = self.lines(heading, width, 9, 1, "bold")
        self.text(self.left, self._below, line, 9, weight="bold", va="baseline")
        self._below -= 0.009
        self.rule(self.left, self.right, self._below)
        self._below -= 0.004
        if section.figures:
            self.put(Row("", section.figures, size="small", is_quiet=True))
        return True

    def put(self, piece: Piece) -> None:
        """Draw a piece of a section."""
        if isinstance(piece, Gap):
            self._below -= _GAP
        elif isinstance(piece, Bar):
            self._bar(piece)
        elif isinstance(piece, Row):
            self._row(piece)
        else:
            size = TYPE[piece.size]
            for line in self.lines(piece.text, self.right - self.left, size, piece.most):
                self._row(Row(line, size=piece.size, is_quiet=piece.is_quiet))

    def end(self) -> None:
        self._below -= _END

    def _row(self, row: Row) -> None:
        size = TYPE[row.size]
        look: dict[str, Any] = {"va": "baseline", "weight": "bold" if row.is_bold else "normal"}
        look["color"] = palette.QUIET_INK if row.is_quiet else palette.INK
        baseline = self._below - _line_height(size)
        for line in self._row_lines(row):
            self._below -= _line_height(size)
            self.text(self._row_left(row), self._below, line, size, **look)
        for end, figure in self._row_figures(row):
            self.text(end, baseline, figure, size, ha="right", **look)
        if row.sign is not None:
            self.swatch(baseline, row.sign)
        if row.draw is not None:
            row.draw(baseline)

    def _row_left(self, row: Row) -> float:
        return self.left + (0.033 if row.sign or row.is_inset else 0.0)

    def _row_figures(self, row: Row) -> list[tuple[float, str]]:
        """The figures of a row with where each ends, from the left."""
        figures = row.figures if row.column else tuple(filter(None, [" / ".join(row.figures)]))
        step = row.column * (self.right - self.left)
        return [(self.right - (len(figures) - 1 - k) * step, figure) for k, figure in enumerate(figures)]

    def _row_lines(self, row: Row) -> list[str]:
        """The words of a row, as far as its figures leave room."""
        weight, room = "bold" if row.is_bold else "normal", self.right
        for end, figure in self._row_figures(row)[:1]:
            room = end - share_of_page(figure, TYPE[row.size], weight) - 0.01
        return self.lines(row.text, room - self._row_left(row), TYPE[row.size], row.most, weight)

    def swatch(self, baseline: float, sign: Sign) -> None:
        """The sign of a thing at the left of a row: a patch, or a piece of line."""
        if sign.fill:
            self._patch(self.left, baseline - 0.003, 0.024, 0.018, sign, 0.8)
        else:
            self._piece(self.left, baseline, 0.026, sign)

    def _patch(self, x: float, y: float, width: float, height: float, sign: Sign, edge: float) -> None:
        for look in (sign.patch, {**sign.rim, "linewidth": edge}):
            self.figure.add_artist(Rectangle((x, y), width, height, **look))

    def _piece(self, x: float, y: float, length: float, sign: Sign) -> None:
        middle = y + 0.005
        if sign.width:
            self.figure.add_artist(mpl.lines.Line2D([x, x + length], [middle] * 2, **sign.stroke))
        if sign.mark.shape:
            # At the start of a line, or alone in its place; no larger than what is written beside it.
            at = x if sign.width else x + length / 2
            for look in sign.mark.looks(min(1.0, _MARK / sign.mark.size)):
                self.figure.add_artist(mpl.lines.Line2D([at], [middle], **look))

    def _bar(self, bar: Bar) -> None:
        """A share as a bar over the column's width."""
        self._below -= _BAR
        full = self.right - self.left
        for share, colour in ((1.0, verdict_sign(Verdict.OUTSIDE).fill), (bar.fraction, bar.colour)):
            place = self.left, self._below
            self.figure.add_artist(Rectangle(place, share * full, 0.008, facecolor=colour, edgecolor="none"))
        rim: dict[str, Any] = {"fill": False, "edgecolor": palette.QUIET_INK, "linewidth": 0.5}
        self.figure.add_artist(Rectangle((self.left, self._below), full, 0.008, **rim))

    def key(self, signs: list[Sign]) -> None:
        """What the marks of the picture mean, under it: closer together where there are many, or in two rows.

        Two rows take some of the room of the sentence, so they come after it.
        """
        if not signs:
            return
        rows = [signs]
        if self._key_fit(signs) < _KEY_SMALLEST:
            ends = np.cumsum([_KEY_SIGN + _KEY_GAP + _key_width(sign) for sign in signs])
            cut = 1 + int(np.argmin(np.maximum(ends, ends[-1] - ends)))
            rows = [signs[:cut], signs[cut:]]
            for line in self._sentence:
                line.remove()
            self._sentence = self._write_sentence(_UNDER_TWO_ROWS)
        # Signs under one another are as large as each other.
        fit = min(1.0, *map(self._key_fit, rows))
        for row, y in zip(rows, (0.111,) if len(rows) == 1 else _KEY_ROWS, strict=True):
            self._key_row(row, y, fit)

    def _key_fit(self, signs: list[Sign]) -> float:
        """How large the words of a row of signs can be, of their full size, with least air between."""
        room = COLUMN_RIGHT - PICTURE[0] - (_KEY_SIGN + _KEY_LEAST) * len(signs) + _KEY_LEAST
        return room / max(sum(map(_key_width, signs)), 1e-9)

    def _key_row(self, signs: list[Sign], y: float, fit: float) -> None:
        wide = sum(_KEY_SIGN + fit * _key_width(sign) for sign in signs)
        spare = COLUMN_RIGHT - PICTURE[0] - wide
        x, gap = PICTURE[0], max(0.0, min(_KEY_GAP, spare / max(len(signs) - 1, 1)))
        for sign in signs:
            if sign.fill:
                self._patch(x, y - 0.002, 0.02, 0.0145, sign.in_key, sign.width)
            else:
                self._piece(x, y, 0.02, sign.in_key)
            self.text(x + _KEY_SIGN, y, sign.text, _KEY_TYPE * fit, va="baseline", color=palette.INK)
            x += _KEY_SIGN + fit * _key_width(sign) + gap

    def save(self, path: Path) -> Path:
        self.figure.save(path, self.size)
        return path


def share_of_page(text: str, size: float, weight: str = "normal") -> float:
    """Width of a line as a share of the page."""
    return line_width(text, weight) * size * DPI / 72 / WIDTH_PX


def _key_width(sign: Sign) -> float:
    return share_of_page(sign.text, _KEY_TYPE)


def _line_height(size: float) -> float:
    return size * 1.42 / 72 * DPI / HEIGHT_PX


class Drawn(Protocol):
    """What a page is once it is drawn: a sheet, or a film of one."""

    @property
    def figure(self) -> PageFigure: ...

    def number(self, number: int, count: int) -> "Drawn":
        """Say which of all pages it is."""

    def save(self, path: Path) -> Path:
        """Write it."""


class Page(NamedTuple):
    """A picture's file name without its ending, what draws it, and the option it is of; "" is all of them."""

    name: str
    draw: Callable[[], Drawn]
    option: str = ""
    ending: str = "png"

    @property
    def file(self) -> str:
        """Its file name."""
        return f"{self.name}.{self.ending}"

"""One printed page: title, picture, legend column, sentence and caution; knows nothing of pictures."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from terrain3d import palette
from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.verdict import Verdict
from terrain3d.sentences.paper import page_words
from terrain3d.show.blocks import Bar, Gap, Paragraph, Piece, Row, Section, TypeSize
from terrain3d.show.legend import Sign, verdict_sign
from terrain3d.show.lettering import fitted_lines, line_width, page_style
from terrain3d.show.pages.size import DPI, HEIGHT_PX, PRINT_DPI, SCREEN, WIDTH_PX, Size

#: Sizes of type in points; heights of a bar, a little air and that after a section, as shares of the page.
TYPE: dict[TypeSize, float] = {"large": 8.5, "row": 8.0, "small": 7.5, "note": 7.0}
_BAR, _GAP, _END = 0.015, 0.004, 0.006
#: Baseline of the last line, a share of the page.
_FOOT = 0.0075
#: Largest mark of a key, points.
_MARK = 9.0
#: Left, bottom, width, height, as shares of the page.
Place = tuple[float, float, float, float]
#: Where the picture is; beside it the legend column.
PICTURE: Place = (0.05, 0.15, 0.655, 0.725)
COLUMN_LEFT, COLUMN_RIGHT = 0.73, 0.978
#: The same of a picture as wide as the page, and where the blocks of text under it start and end.
WIDE_PICTURE: Place = (0.05, 0.345, 0.928, 0.53)
BLOCK_TOP, BLOCK_FLOOR = 0.308, 0.135
PICTURE_ASPECT = PICTURE[2] * WIDTH_PX / (PICTURE[3] * HEIGHT_PX)


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
        dots = DPI if size.width_mm is None else PRINT_DPI
        # matplotlib would write its own version into the file: other bytes for the same picture.
        self.savefig(
            to,
            format="png",
            # A hair more, or rounding would lose the last row and column of pixels.
            dpi=DPI * size.fineness * (1 + 1e-9),
            metadata={"Software": None},
            pil_kwargs={"compress_level": 3, "dpi": (dots, dots)},
        )


class Sheet:
    """A page being filled; blocks fill a column of it from top to bottom.

    Parameters
    ----------
    size : Size
        What the page is made for.
    """

    def __init__(self, size: Size = SCREEN) -> None:
        self.size = size
        inches = WIDTH_PX / DPI
        self.figure: PageFigure = PageFigure(
            figsize=(inches, inches * size.height_px / size.width_px), dpi=DPI, facecolor=palette.PAPER
        )
        FigureCanvasAgg(self.figure)
        self.begin_column(COLUMN_LEFT, COLUMN_RIGHT, PICTURE[1] + PICTURE[3], PICTURE[1])

    def title(self, title: str, subtitle: str, note: str = "", date: str = "") -> None:
        """The two lines over the picture; a note and a date at their right ends."""
        width = COLUMN_RIGHT - PICTURE[0]
        (line,) = self.lines(title, width - 0.13, 16, 1, "bold")
        self.text(PICTURE[0], 0.943, line, 16, weight="bold", va="baseline")
        if note:
            self.text(COLUMN_RIGHT, 0.943, note, 11, va="baseline", ha="right", color=palette.QUIET_INK)
        (dated,) = self.lines(date, 0.2, 9.5, 1)
        if dated:
            self.text(COLUMN_RIGHT, 0.907, dated, 9.5, va="baseline", ha="right", color=palette.QUIET_INK)
            width -= share_of_page(dated, 9.5) + 0.02
        (line,) = self.lines(subtitle, width, 9.5, 1)
        self.text(PICTURE[0], 0.907, line, 9.5, va="baseline", color=palette.QUIET_INK)

    def say(self, sentence: str) -> None:
        """What to take from the picture, under it, and the caution."""
        width = COLUMN_RIGHT - PICTURE[0]
        # A long sentence is set smaller before any of it is left out.
        sizes = ((9.5, 0.026, 2), (8.3, 0.0205, 3), (6.8, 0.0165, 4))
        fitting = (one for one in sizes if len(self.lines(sentence, width, one[0], one[2] + 1)) <= one[2])
        size, step, most = next(fitting, sizes[-1])
        y = 0.086
        for line in self.lines(sentence, width, size, most):
            self.text(PICTURE[0], y, line, size, va="baseline")
            y -= step
        (line,) = self.lines(SHORT_CAUTION, width, 6.8, 1)
        self.text(PICTURE[0], 0.0225, line, 6.8, va="baseline", color=palette.QUIET_INK)

    def figure_and_words(self, figure: str, words: str) -> None:
        """A number large enough to be read across a table, and under it what it is."""
        for size, text, weight in ((21.0, figure, "bold"), (TYPE["row"], words, "normal")):
            height = _line_height(size)
            if len(self.lines(text, self.right - self.left, size, 2, weight)) > 1:
                size = 12.0 if size > 12 else size
            self._below -= height
            (line,) = self.lines(text, self.right - self.left, size, 1, weight)
            self.text(self.left, self._below, line, size, weight=weight, va="baseline")
        self._below -= _END

    def rule(self, left: float, right: float, y: float) -> None:
        """A fine line across, in shares of the page."""
        self.figure.add_artist(mpl.lines.Line2D([left, right], [y, y], color=palette.HAIRLINE, linewidth=0.7))

    def foot(self, text: str) -> None:
        """Where the page comes from, under the caution."""
        width = COLUMN_RIGHT - PICTURE[0] - 0.09
        fitting = (one for one in (6.2, 5.6) if len(self.lines(text, width, one, 2)) == 1)
        size = next(fitting, 5.0)
        (line,) = self.lines(text, width, size, 1)
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
        fitting = (one for one in (8.5, 7.5, 6.5) if len(self.lines(said, width, one, 2, "bold")) == 1)
        size = next(fitting, 6.0)
        (line,) = self.lines(said, width, size, 1, "bold")
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

    def text(self, x: float, y: float, text: str, size: float, **look: Any) -> None:
        self.figure.text(x, y, text, fontsize=size, **look)

    def room(self) -> float:
        """Height of the column that is left, as a share of the page."""
        return self._below - self._floor

    def height_of(self, piece: Piece) -> float:
        """Height that a piece takes, as a share of the page."""
        if isinstance(piece, Paragraph):
            size = TYPE[piece.size]
            return _line_height(size) * len(self.lines(piece.text, self.right - self.left, size, piece.most))
        if isinstance(piece, Row):
            return _line_height(TYPE[piece.size])
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
        size, width = TYPE[row.size], self.right - self.left
        look: dict[str, Any] = {"va": "baseline", "weight": "bold" if row.is_bold else "normal"}
        look["color"] = palette.QUIET_INK if row.is_quiet else palette.INK
        figures = row.figures if row.column else tuple(filter(None, [" / ".join(row.figures)]))
        self._below -= _line_height(size)
        left, room = self.left + (0.033 if row.sign or row.is_inset else 0.0), self.right
        ends = [self.right - k * row.column * width for k in range(len(figures))][::-1]
        if figures:
            room = ends[0] - share_of_page(figures[0], size, look["weight"]) - 0.01
        (line,) = self.lines(row.text, room - left, size, 1, look["weight"])
        self.text(left, self._below, line, size, **look)
        for end, figure in zip(ends, figures, strict=True):
            self.text(end, self._below, figure, size, ha="right", **look)
        if row.sign is not None:
            self.swatch(self._below, row.sign)
        if row.draw is not None:
            row.draw(self._below)

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
        """What the marks of the picture mean, in a row under it; closer together where there are many."""
        x, y = PICTURE[0], 0.111
        room, gaps = COLUMN_RIGHT - PICTURE[0] - 0.026 * len(signs), len(signs) - 1
        wide = sum(share_of_page(sign.text, 7.2) for sign in signs) + 0.022 * gaps
        fit = min(1.0, room / wide) if signs else 1.0
        for sign in signs:
            if sign.fill:
                self._patch(x, y - 0.002, 0.02, 0.0145, sign.in_key, sign.width)
            else:
                self._piece(x, y, 0.02, sign.in_key)
            self.text(x + 0.026, y, sign.text, 7.2 * fit, va="baseline", color=palette.INK)
            x += 0.026 + (share_of_page(sign.text, 7.2) + 0.022) * fit

    def save(self, path: Path) -> Path:
        self.figure.save(path, self.size)
        return path


def share_of_page(text: str, size: float, weight: str = "normal") -> float:
    """Width of a line as a share of the page."""
    return line_width(text, weight) * size * DPI / 72 / WIDTH_PX


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

"""A small page of text and rectangles, drawn in a few milliseconds: what the window says."""

from functools import lru_cache

import numpy as np
from matplotlib.font_manager import FontProperties, findfont
from PIL import Image, ImageDraw, ImageFont

from terrain3d.show import palette
from terrain3d.show.lettering import fitted_lines
from terrain3d.show.palette import Rgb

Box = tuple[float, float, float, float]
#: The typeface of the pictures; it comes with matplotlib.
FAMILY = "DejaVu Sans"
LINE = 1.38


class Canvas:
    """A page to write on, pixels counted from its upper left.

    `y` is where the next line of running text starts; `bottom` where it has to end.
    """

    def __init__(self, width: int, height: int, margin: int, ground: str = palette.PAPER) -> None:
        self.width, self.height, self.margin = width, height, margin
        self.y, self.bottom = float(margin), float(height - margin)
        self._image = Image.new("RGB", (width, height), ground)
        self._draw = ImageDraw.Draw(self._image)

    @property
    def room(self) -> int:
        """Width between the margins."""
        return self.width - 2 * self.margin

    def write(
        self,
        x: float,
        y: float,
        text: str,
        size: int,
        bold: bool = False,
        colour: str = palette.INK,
        align: str = "l",
        width: float | None = None,
    ) -> None:
        """Write one line whose upper edge is at y; align is l, m or r; what is too wide ends in dots."""
        (line,) = _fitted(text, (width or 1e6) / size, 1, bold)
        mask, (left, top) = _letters(line, size, bold)
        x -= {"l": 0.0, "m": 0.5, "r": 1.0}[align] * (mask.width + left)
        self._image.paste(colour, (round(x) + left, round(y + 0.18 * size) + top), mask)

    def line(
        self,
        text: str,
        size: int,
        figures: tuple[str, ...] = (),
        indent: int = 0,
        bold: bool = False,
        colour: str = palette.INK,
    ) -> bool:
        """A line of running text with figures at its right end; False where there is no room left."""
        if self.y + LINE * size > self.bottom:
            return False
        x = self.margin + indent
        self.write(x, self.y, text, size, bold, colour, width=self.room - indent - 72 * len(figures))
        for place, figure in enumerate(reversed(figures)):
            self.write(self.width - self.margin - 72 * place, self.y, figure, size, bold, colour, "r")
        self.y += LINE * size
        return True

    def text(
        self, text: str, size: int, max_lines: int, bold: bool = False, colour: str = palette.INK
    ) -> None:
        """Running text over several lines."""
        for line in _fitted(text, self.room / size, max_lines, bold):
            self.line(line, size, bold=bold, colour=colour)

    def heading(self, text: str, figures: tuple[str, ...] = ()) -> bool:
        """A heading; False and none where a line below it has no room, for it would only puzzle."""
        if self.y + 12 + 2 * LINE * 13 > self.bottom:
            return False
        self.y += 10
        self.line(text, 13, figures, bold=True)
        self.y += 2
        return True

    def height_of(self, text: str, size: int, max_lines: int, bold: bool = False) -> float:
        """How much room running text takes."""
        return LINE * size * len(_fitted(text, self.room / size, max_lines, bold))

    def rectangle(self, box: Box, fill: str, edge: str | None = None) -> None:
        self._draw.rectangle(box, fill, edge)

    def disc(self, x: float, y: float, radius: float, fill: str, edge: str) -> None:
        self._draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill, edge, 2)

    def paste(self, x: float, y: float, picture: Rgb) -> None:
        self._image.paste(Image.fromarray(picture), (round(x), round(y)))

    def picture(self) -> Rgb:
        """(height, width, 3) uint8, row 0 at the top."""
        return np.asarray(self._image, np.uint8)


@lru_cache(maxsize=2048)
def _fitted(text: str, width: float, max_lines: int, bold: bool) -> tuple[str, ...]:
    # Most of a page says the same from one moment to the next.
    return tuple(fitted_lines(text, width, max_lines, "bold" if bold else "normal"))


@lru_cache(maxsize=1024)
def _letters(line: str, size: int, bold: bool) -> tuple[Image.Image, tuple[int, int]]:
    """A line of letters as a mask, and where its upper left lies from where the line begins."""
    face = _typeface(size, bold)
    left, top, right, bottom = (round(v) for v in face.getbbox(line))
    mask = Image.new("L", (max(right - left, 1), max(bottom - top, 1)))
    ImageDraw.Draw(mask).text((-left, -top), line, 255, face)
    return mask, (left, top)


@lru_cache(maxsize=32)
def _typeface(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(font_file(bold), size)


@lru_cache(maxsize=2)
def font_file(bold: bool = False) -> str:
    """Where the typeface lies on this machine."""
    return findfont(FontProperties(family=FAMILY, weight="bold" if bold else "normal"))

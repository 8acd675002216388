"""A small page of text and rectangles, drawn in a few milliseconds: what the window says."""

from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw

from terrain3d import palette
from terrain3d.palette import Rgb
from terrain3d.show.blocks import Gap, Paragraph, Piece, Row, Section, TypeSize
from terrain3d.show.drape import stripes
from terrain3d.show.legend import Sign
from terrain3d.show.lettering import fitted_lines, line_width
from terrain3d.show.writing import letter_mask

Box = tuple[float, float, float, float]
LINE = 1.38
#: Sizes of type, pixels.
TYPE: dict[TypeSize, int] = {"large": 13, "row": 13, "small": 12, "note": 11}
#: Where words beside a sign begin; width of a sign, and pixels of it that stand for a metre of its dashes.
_INDENT, _SIGN_PX, _PX_PER_M = 28, 21, 6.0


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
    def inner(self) -> int:
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
        mask, (left, top) = letter_mask(line, size, bold)
        x -= {"l": 0.0, "m": 0.5, "r": 1.0}[align] * (mask.width + left)
        self._image.paste(colour, (round(x) + left, round(y + 0.18 * size) + top), mask)

    def room(self) -> float:
        """Height that is left for running text, pixels."""
        return self.bottom - self.y

    def height_of(self, piece: Piece) -> float:
        """Height that a piece takes, pixels; a bar is not drawn."""
        if isinstance(piece, Paragraph):
            size = TYPE[piece.size]
            return LINE * size * len(_fitted(piece.text, self.inner / size, piece.most, False))
        return LINE * TYPE[piece.size] if isinstance(piece, Row) else 3.0 if isinstance(piece, Gap) else 0.0

    def head(self, section: Section) -> bool:
        """A heading; False and none where a line below it has no room, for it would only puzzle."""
        if 12 + 2 * LINE * TYPE["row"] > self.room():
            return False
        self.y += 10
        heading = section.short if section.figures and section.short else section.heading
        self.put(Row(heading, section.figures, is_bold=True))
        self.y += 2
        return True

    def put(self, piece: Piece) -> None:
        """A piece of running text; nothing where it has no room."""
        if self.height_of(piece) > self.room():
            return
        if isinstance(piece, Paragraph):
            for line in _fitted(piece.text, self.inner / TYPE[piece.size], piece.most, False):
                self.put(Row(line, size=piece.size, is_quiet=piece.is_quiet))
        elif isinstance(piece, Row):
            size, colour = TYPE[piece.size], palette.QUIET_INK if piece.is_quiet else palette.INK
            indent = _INDENT if piece.sign or piece.is_inset else 0
            # One figure takes what it needs; several stand in columns.
            wide = 72.0 * len(piece.figures)
            if len(piece.figures) == 1:
                wide = line_width(piece.figures[0], "bold" if piece.is_bold else "normal") * size + 10
            x, room = self.margin + indent, self.inner - indent - wide
            self.write(x, self.y, piece.text, size, piece.is_bold, colour, width=room)
            for place, figure in enumerate(reversed(piece.figures)):
                self.write(
                    self.width - self.margin - 72 * place, self.y, figure, size, piece.is_bold, colour, "r"
                )
            if piece.sign is not None:
                self._sign(self.margin, round(self.y), piece.sign)
            self.y += LINE * size
        else:
            self.y += self.height_of(piece)

    def end(self) -> None:
        """Headings keep their own distance."""

    def text(
        self, text: str, size: int, max_lines: int, bold: bool = False, colour: str = palette.INK
    ) -> None:
        """Running text over several lines, as far as there is room."""
        for line in _fitted(text, self.inner / size, max_lines, bold):
            if LINE * size <= self.room():
                self.write(self.margin, self.y, line, size, bold, colour)
                self.y += LINE * size

    def height_of_text(self, text: str, size: int, max_lines: int, bold: bool = False) -> float:
        """How much room running text takes."""
        return LINE * size * len(_fitted(text, self.inner / size, max_lines, bold))

    def _sign(self, x: int, top: int, sign: Sign) -> None:
        """A patch, a piece of line as a scene has it, or a mark."""
        if sign.fill:
            self.rectangle((x, top + 3, x + _SIGN_PX, top + 15), palette.PAPER, sign.line)
            self.paste(x + 1, top + 4, _patch(sign))
        elif not sign.width:
            self.disc(x + 10, top + 9, 5, sign.mark.fill, sign.mark.rim)
        else:
            for start, stop in _dashes(sign.scene_m):
                self.rectangle((x + start, top + 8, x + stop, top + 10), sign.line)

    def rectangle(self, box: Box, fill: str, edge: str | None = None) -> None:
        self._draw.rectangle(box, fill, edge)

    def disc(self, x: float, y: float, radius: float, fill: str, edge: str) -> None:
        self._draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill, edge, 2)

    def paste(self, x: float, y: float, picture: Rgb) -> None:
        self._image.paste(Image.fromarray(picture), (round(x), round(y)))

    def picture(self) -> Rgb:
        """(height, width, 3) uint8, row 0 at the top."""
        return np.asarray(self._image, np.uint8)


@lru_cache(maxsize=64)
def _patch(sign: Sign) -> Rgb:
    """A small piece of ground, as the view draws it."""
    image = np.full((11, _SIGN_PX - 1, 3), palette.rgb(sign.on_paper), np.uint8)
    if sign.stripe.hatch:
        # Stripes lean on a map, whose rows run from the south.
        image[stripes(image.shape[:2], 16, sign.stripe.slant)[::-1]] = palette.rgb(sign.stripe.colour)
    return image


def _dashes(pattern_m: tuple[float, ...]) -> list[tuple[float, float]]:
    """From where to where the dashes of a sign run, pixels; all of it without a pattern.

    >>> _dashes(()), _dashes((0.5, 0.5))
    ([(0.0, 21.0)], [(0.0, 3.0), (6.0, 9.0), (12.0, 15.0), (18.0, 21.0)])
    """
    ends, spans = [0.0], []
    while ends[-1] < _SIGN_PX:
        length = pattern_m[(len(ends) - 1) % len(pattern_m)] if pattern_m else _SIGN_PX
        ends.append(min(ends[-1] + _PX_PER_M * length, float(_SIGN_PX)))
        if len(ends) % 2 == 0:
            spans.append((ends[-2], ends[-1]))
    return spans


@lru_cache(maxsize=2048)
def _fitted(text: str, width: float, max_lines: int, bold: bool) -> tuple[str, ...]:
    # Most of a page says the same from one moment to the next.
    return tuple(fitted_lines(text, width, max_lines, "bold" if bold else "normal"))

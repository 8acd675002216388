"""Lines of text on pixels: as masks, and on boards of faint paper, for window, page and small pictures."""

import math
from functools import lru_cache

import numpy as np
from PIL import Image

from terrain3d import palette
from terrain3d.palette import Rgb
from terrain3d.show.lettering import letters

#: From the upper edge of a line to its baseline, from there to its foot, and from line to line of a name, in
#: sizes of the type.
_ASCENT, _DESCENT, _LEADING = 0.928, 0.236, 1.17
#: How much a name covers of what lies behind it.
_BOARD = 0.75


def sign_board(lines: list[str], size: int, bold: bool) -> Rgb:
    """Lines in ink, each in the middle of a board of faint paper.

    Parameters
    ----------
    lines : list of str
        Ready to print, as `fitted_lines` gives them.
    size : int
        Of the type, pixels.
    bold : bool

    Returns
    -------
    (height, width, 4) uint8
        Row 0 at the top; the last of the four is how much covers what lies behind.
    """
    drawn = [letter_mask(line, size, bold) for line in lines]
    tops = [round(row * _LEADING * size) + top for row, (_, (_, top)) in enumerate(drawn)]
    wide = max(left + mask.width for mask, (left, _) in drawn) + 2
    # Some scripts reach higher and lower than Latin letters do.
    above = min(0, *tops)
    foot = math.ceil(size * (_LEADING * (len(drawn) - 1) + _ASCENT + _DESCENT))
    foot = max(foot, *(top + mask.height for top, (mask, _) in zip(tops, drawn, strict=True)))
    covered = Image.new("L", (wide, foot - above))
    for top, (mask, (left, _)) in zip(tops, drawn, strict=True):
        covered.paste(255, ((wide - left - mask.width) // 2 + left, top - above), mask)
    ink = np.asarray(covered, float)[..., None] / 255
    colours = ink * palette.rgb(palette.INK) + (1 - ink) * palette.rgb(palette.PAPER)
    board = np.dstack([colours, 255 * (ink + (1 - ink) * _BOARD)])
    return (board + 0.5).astype(np.uint8)


@lru_cache(maxsize=1024)
def letter_mask(line: str, size: int, bold: bool) -> tuple[Image.Image, tuple[int, int]]:
    """A line of letters as a mask, and where its upper left lies from where the line begins."""
    mask, (left, above) = letters(line, size, "bold" if bold else "normal")
    return Image.fromarray(mask), (left, round(_ASCENT * size) - above)

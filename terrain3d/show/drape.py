"""The picture of the ground itself: verdict colours, stripes and edges, pixel by pixel.

The plan shows it flat and the oblique view lays it over the ground, so both tell the same.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import zoom

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.palette import Rgb
from terrain3d.show.legend import verdict_sign
from terrain3d.units import Floats

Mask = NDArray[np.bool_]
#: Pixels along the longer side of a drape, at least; cells are drawn as whole pixels.
DRAPE_PIXELS = 1400
#: Light from the north-west, 45 degrees up: the custom of relief maps (common practice, no source).
LIGHT = np.array([-0.5, 0.5, math.sqrt(0.5)])
#: How much of the relief's light and shade is laid over the colours.
SHADE_STRENGTH = 0.45
#: How much of a photograph shows on the paper.
_PHOTO_STRENGTH = 0.5
#: What has stripes, by the mark that they are kept under.
_STRIPED = {200 + k: code for k, code in enumerate((*Verdict, UNKNOWN)) if verdict_sign(code).stripe.hatch}


def relief(z: Floats, cell_m: float) -> Floats:
    """How bright each cell is in slanting light; 1 where it is as most ground, and where nothing is known.

    Parameters
    ----------
    z : (ny, nx) float
        Heights, row 0 the southernmost.
    cell_m : float

    Returns
    -------
    (ny, nx) float

    Examples
    --------
    >>> relief(np.zeros((2, 2)), 1.0).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    north, east = np.gradient(z, cell_m)
    lit = (LIGHT[2] - LIGHT[0] * east - LIGHT[1] * north) / np.sqrt(1 + east**2 + north**2)
    brightness = 1 + SHADE_STRENGTH * (np.maximum(lit, 0) / LIGHT[2] - 1)
    # On a slope all ground would be dim, or bright: what most of it has is taken for plain paper.
    usual = np.median(brightness[np.isfinite(brightness)]) if np.isfinite(brightness).any() else 1.0
    brightness = brightness / usual
    return np.where(np.isfinite(brightness), np.clip(brightness, 0.7, 1.12), 1.0)


def drape(
    codes: Codes,
    shade: Floats | None = None,
    pixels: int = DRAPE_PIXELS,
    seen: tuple[Rgb, Mask] | None = None,
) -> Rgb:
    """Draw a grid of verdicts.

    Parameters
    ----------
    codes : (ny, nx) uint8
        Verdicts, row 0 the southernmost.
    shade : (ny, nx) float, optional
        Brightness of each cell on ground outside the verdicts; flat without it.
    pixels : int
        Least length of the longer side.
    seen : (rgb, known), optional
        (ny, nx, 3) uint8 and (ny, nx) bool: what ground outside the verdicts looks like, where that is known;
        thinned with paper, so that lines and names on it can be read.

    Returns
    -------
    (ny * k, nx * k, 3) uint8
        Row 0 the southernmost, as the grid.

    Examples
    --------
    >>> image = drape(np.full((2, 3), 4, np.uint8), pixels=6)
    >>> image.shape, image[0, 0].tolist()
    ((4, 6, 3), [102, 192, 229])
    """
    k = max(1, math.ceil(pixels / max(codes.shape)))
    unknown = codes == UNKNOWN
    under = [None if values is None else values.tobytes() for values in (shade, *(seen or (None, None)))]
    image = _bare_ground(codes.shape, k, unknown.tobytes(), *under).copy()
    # A verdict has its own colour on every slope: it is looked up in a key.
    part = _around((codes > Verdict.OUTSIDE) & ~unknown, k, 0)
    inner = _fine(codes, k, part)
    has_verdict = (inner > Verdict.OUTSIDE) & (inner != UNKNOWN)
    image[part][has_verdict] = _coloured(codes, k, part)[has_verdict]
    width = max(1, max(image.shape) // 900)
    part = _around(codes == Verdict.BOTH, k, math.ceil(width / k))
    inner = _fine(codes, k, part)
    open_ground = (inner > Verdict.OUTSIDE) & (inner < Verdict.BOTH)
    rim = (inner == Verdict.BOTH) & _grown(open_ground, width)
    image[part][rim] = palette.rgb(verdict_sign(Verdict.BOTH).line)
    return image


@lru_cache(maxsize=2)
def _bare_ground(
    shape: tuple[int, int],
    k: int,
    unknown: bytes,
    shade: bytes | None,
    rgb: bytes | None,
    known: bytes | None,
) -> Rgb:
    """The ground without a verdict, `k` pixels a cell: what lies under every option of a site.

    All but the first two are the bytes of grids, which can be looked up where grids cannot.
    """
    codes = np.where(_grid(unknown, shape, bool), np.uint8(UNKNOWN), np.uint8(Verdict.OUTSIDE))
    whole = slice(0, k * shape[0]), slice(0, k * shape[1])
    image = _coloured(codes, k, whole)
    if rgb is not None and known is not None:
        colours = _fine(_grid(rgb, (*shape, 3), np.uint8), k, whole)
        shown = _fine(_grid(known, shape, bool) & (codes == Verdict.OUTSIDE), k, whole)
        image[shown] = (255 - _PHOTO_STRENGTH * (255 - colours[shown].astype(np.float32))).astype(np.uint8)
    if shade is not None:
        bright = _grid(shade, shape, np.float64).astype(np.float32)
        bright = zoom(bright, k, order=1, mode="nearest", grid_mode=True)[..., None]
        image = np.minimum(image * bright + np.float32(0.5), 255).astype(np.uint8)
    return image


def _grid(values: bytes, shape: tuple[int, ...], kind: type[np.generic] | type[bool]) -> NDArray[Any]:
    return np.frombuffer(values, kind).reshape(shape)


def _fine(cells: NDArray[Any], k: int, part: tuple[slice, slice]) -> NDArray[Any]:
    """Some of the cells as pixels, `k` each way; `part` is in pixels and holds whole cells."""
    rows, columns = (slice(span.start // k, span.stop // k) for span in part)
    return cells[rows, columns].repeat(k, axis=1).repeat(k, axis=0)


def _coloured(codes: Codes, k: int, part: tuple[slice, slice]) -> Rgb:
    """The colours and stripes of a part of the pixels."""
    # Told apart by one byte a pixel as long as can be: three take three times as long.
    marked = _fine(codes, k, part)
    height, width = k * codes.shape[0], k * codes.shape[1]
    period = max(height, width) // 110 + 4
    for mark, code in _STRIPED.items():
        where = marked == code
        if where.any():
            slant = verdict_sign(code).stripe.slant
            marked[where & stripes((height, width), period, slant)[part]] = mark
    return np.take(_colours(), marked, axis=0)


@lru_cache(maxsize=1)
def _colours() -> Rgb:
    """(256, 3) colours of codes, and of the marks that stripes are kept under."""
    table = palette.verdict_rgb(np.arange(256, dtype=np.uint8))
    for mark, code in _STRIPED.items():
        table[mark] = palette.rgb(verdict_sign(code).stripe.colour)
    return table


def _around(cells: Mask, k: int, margin: int) -> tuple[slice, slice]:
    """The pixels of the smallest rectangle that holds some cells, and a margin of cells about them."""
    spans = []
    for axis in (1, 0):
        at = np.flatnonzero(cells.any(axis=axis))
        low, high = (max(int(at[0]) - margin, 0), int(at[-1]) + 1 + margin) if at.size else (0, 0)
        spans.append(slice(k * low, k * high))
    return spans[0], spans[1]


def stripes(shape: tuple[int, int], period: int, slant: int) -> Mask:
    """Stripes that rise to the left (1), to the right (-1), or lie level (0) in the picture.

    >>> stripes((3, 6), 5, 1).astype(int).tolist()
    [[1, 0, 0, 0, 0, 1], [0, 0, 0, 0, 1, 0], [0, 0, 0, 1, 0, 0]]
    >>> stripes((3, 6), 5, -1).astype(int).tolist()
    [[1, 0, 0, 0, 0, 1], [0, 1, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0]]
    """
    rows, columns = shape
    thick = max(1, period // 5)
    if not slant:
        return np.broadcast_to((np.arange(rows) % period < thick)[:, None], shape)
    # Every row is the one before it, moved by a pixel: one line holds them all.
    line = (np.arange(columns + rows - 1) - (rows - 1 if slant < 0 else 0)) % period < thick
    moved = np.lib.stride_tricks.sliding_window_view(line, columns)
    return moved if slant > 0 else moved[::-1]


def _grown(region: Mask, width: int) -> Mask:
    """A region and the pixels beside it, `width` wide."""
    grown = region.copy()
    for _ in range(width):
        core = grown.copy()
        grown[1:] |= core[:-1]
        grown[:-1] |= core[1:]
        grown[:, 1:] |= core[:, :-1]
        grown[:, :-1] |= core[:, 1:]
    return grown

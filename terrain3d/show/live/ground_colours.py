"""What lies on the ground of a view: verdicts, animals or the chance of holding, spill over it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.nuisance.spill import Spill
from terrain3d.palette import Rgb
from terrain3d.show import legend
from terrain3d.show.drape import drape, stripes
from terrain3d.terrain import Ground

#: Codes of ground with nothing to tell, and of the most certain ground; the rest are ranks or shares.
_NOTHING, _CERTAIN = 254, 250
#: Codes of what is laid over the ground: stripes where a person crawls through, and the spill.
_CLEAR, CRAWLING, SPILT_ON, SPILT_WITHIN = range(4)
#: Colour and slant of each; a slant of 0 covers the cell.
_OVER = {
    CRAWLING: (legend.CRAWLING.stripe.colour, legend.CRAWLING.stripe.slant),
    SPILT_ON: (legend.SPILT_ON.stripe.colour, legend.SPILT_ON.stripe.slant),
    SPILT_WITHIN: (legend.SPILT_WITHIN.fill, 0),
}


@dataclass(frozen=True, eq=False)
class GroundColours:
    """Cells and their colours.

    Parameters
    ----------
    codes : (ny, nx) uint8
        Verdicts, or rows of `colours`; 255 is ground that is not known.
    colours : (256, 3) uint8 or None
        None where the codes are verdicts.
    over : (ny, nx) uint8 or None
        What is laid over each cell.
    """

    codes: Codes
    colours: Rgb | None = None
    over: Codes | None = None

    def is_same(self, other: "GroundColours | None") -> bool:
        """Whether both look the same."""
        return (
            other is not None
            and _alike(self.codes, other.codes)
            and _alike(self.colours, other.colours)
            and _alike(self.over, other.over)
        )


def _alike(a: NDArray[np.uint8] | None, b: NDArray[np.uint8] | None) -> bool:
    if a is None or b is None:
        return a is b
    return a is b or np.array_equal(a, b)


def animal_colours(found: AnimalGround, verdicts: Codes) -> GroundColours:
    """Ground in the colour of the lowest animal that raises the alarm there, striped where a crawler passes.

    Parameters
    ----------
    found : AnimalGround
    verdicts : (ny, nx) uint8
        Where ground is not known.
    """
    colours = _empty_table()
    codes = np.where(verdicts == UNKNOWN, np.uint8(UNKNOWN), np.uint8(_NOTHING))
    count = len(found.animals)
    # Tallest first, so that the code left on a cell is that of the lowest animal.
    for rank in reversed(range(count)):
        codes[found.animals[rank].where] = rank
        colours[rank] = palette.rgb(palette.animal_colour(rank, count))
    over = np.where(found.crawling.where, np.uint8(CRAWLING), np.uint8(_CLEAR))
    return GroundColours(codes, colours, over)


def chance_colours(chance: NDArray[np.float32]) -> GroundColours:
    """Ground in the colour of the share of draws that hold it, to the nearest 0.4 %.

    Parameters
    ----------
    chance : (ny, nx) float32
        NaN where ground is not known.
    """
    colours = _empty_table()
    colours[1 : _CERTAIN + 1] = palette.chance_rgb(np.arange(1, _CERTAIN + 1) / _CERTAIN)
    share = np.nan_to_num(chance.astype(float))
    # However seldom ground is held, it does not look like ground that never is.
    codes = np.where(share > 0, np.maximum(np.round(share * _CERTAIN), 1), _NOTHING).astype(np.uint8)
    codes[np.isnan(chance)] = UNKNOWN
    return GroundColours(codes, colours)


def with_spill(colours: GroundColours, spilt: Spill, ground: Ground) -> GroundColours:
    """The same with the upper layer past the boundary laid over it, as far as the ground goes."""
    over = np.zeros_like(colours.codes) if colours.over is None else colours.over.copy()
    part = ground.part_of(spilt.ground)
    over[spilt.past_on[part]] = SPILT_ON
    over[spilt.past_within[part]] = SPILT_WITHIN
    return GroundColours(colours.codes, colours.colours, over)


def part_of(colours: GroundColours, rows: slice, columns: slice) -> GroundColours:
    """What lies on a part of the ground."""
    over = None if colours.over is None else colours.over[rows, columns]
    return GroundColours(colours.codes[rows, columns], colours.colours, over)


def paint_ground(colours: GroundColours, pixels: int) -> Rgb:
    """Draw it, each cell as whole pixels.

    Parameters
    ----------
    colours : GroundColours
    pixels : int
        Least length of the longer side.

    Returns
    -------
    (ny * k, nx * k, 3) uint8
        Row 0 the southernmost, as the grid.

    Examples
    --------
    >>> paint_ground(chance_colours(np.ones((2, 3), np.float32)), 6)[0, 0].tolist()
    [31, 95, 139]
    """
    image = drape(colours.codes, pixels=pixels) if colours.colours is None else _flat(colours, pixels)
    if colours.over is not None and colours.over.any():
        k = image.shape[0] // colours.over.shape[0]
        fine = colours.over.repeat(k, axis=1).repeat(k, axis=0)
        for code, (colour, slant) in _OVER.items():
            _put(image, fine == code, colour, slant)
    return image


def _flat(colours: GroundColours, pixels: int) -> Rgb:
    """Cells in their colours; unknown ground is striped as the verdicts' is."""
    assert colours.colours is not None
    k = max(1, -(-pixels // max(colours.codes.shape)))
    fine = colours.codes.repeat(k, axis=1).repeat(k, axis=0)
    image = np.take(colours.colours, fine, axis=0)
    _put(image, fine == UNKNOWN, palette.UNKNOWN_STRIPE, -1)
    return image


def _put(image: Rgb, where: NDArray[np.bool_], colour: str, slant: int) -> None:
    if where.any():
        period = max(image.shape) // 110 + 4
        image[where & stripes(image.shape[:2], period, slant) if slant else where] = palette.rgb(colour)


def _empty_table() -> Rgb:
    table = np.zeros((256, 3), np.uint8)
    table[_NOTHING] = palette.rgb(palette.VERDICT_COLOURS[Verdict.OUTSIDE])
    table[UNKNOWN] = palette.rgb(palette.UNKNOWN_GROUND)
    return table

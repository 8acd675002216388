"""Returns that are called ground and are not: they stand off their neighbours by more than slope and error
allow, or all lie on one level under what stands on the land."""

from typing import Any

import numpy as np
from scipy.ndimage import (
    distance_transform_edt,
    map_coordinates,
    maximum_filter,
    median_filter,
    minimum_filter,
    uniform_filter,
)
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from terrain3d.survey.gaps import Mask, spacing
from terrain3d.units import Floats
from terrain3d.wording import plain

#: So many ground returns whose heights differ by less than this are no land as an instrument sees it; where
#: anything stands higher than this above them, their heights are above the ground for sure.
_ENOUGH_GROUND, _FLAT_M, _STANDS_M = 100, 0.0015, 0.3
#: The lie of the land is taken from squares of this side, or of so many spacings.
_SQUARE_M, _SQUARE_SPACINGS = 4.0, 6.0
#: Neighbours hang together where their heights, or those above that lie, differ by no more than this and a
#: slope of 35 degrees.
_OFF_M, _SLOPE = 0.35, 0.7
_NEIGHBOURS = 12
#: A slope above the lie of the land counts for no more than this of plan, or than two spacings.
_BESIDE_M = 2.0
#: Squares with fewer returns in and around them are looked at whatever their heights.
_FEW_BESIDE = 5.5
#: Fewer returns that hang together than this, off all around them, are no ground: a rock has more.
_FEWEST = 12
#: Squares that are laid over returns, at most.
_MOST_SQUARES = 10_000_000


def off_neighbours(xyz: Floats) -> Mask:
    """Ground returns that hang together with none of the ground around them.

    Parameters
    ----------
    xyz : (n, 3) float
        Returns taken for ground, local metres.

    Returns
    -------
    (n,) bool

    Notes
    -----
    A bank, a terrace and a cliff are no outliers: each of their returns lies level with others beside it. A
    few that hang together, in a crown or on a wire, are, for there the ground under them is known.

    Examples
    --------
    >>> x, y = (a.ravel().astype(float) for a in np.mgrid[0:20, 0:20])
    >>> terrace = np.column_stack([x, y, np.where(x > 9, 3.0, 0.0)])
    >>> int(off_neighbours(terrace).sum())
    0
    >>> terrace[[21, 250], 2] += [2.0, -4.0]
    >>> np.flatnonzero(off_neighbours(terrace))
    array([ 21, 250])
    """
    none = np.zeros(len(xyz), bool)
    if len(xyz) <= 2 * _NEIGHBOURS:
        return none
    apart = spacing(xyz[:, :2])
    rest = xyz[:, 2] - _lie(xyz, max(_SQUARE_M, _SQUARE_SPACINGS * apart))
    looked = np.flatnonzero(_uneven(xyz, rest, max(1.0, 2 * apart)))
    if len(looked) <= _NEIGHBOURS:
        return none
    found: Any = cKDTree(xyz[looked, :2]).query(xyz[looked, :2], k=_NEIGHBOURS + 1)
    away, near = found
    away, near = away[:, 1:], near[:, 1:]
    # However far neighbours are, a slope above the lie of the land goes no farther.
    reach = max(_BESIDE_M, 2 * apart)
    allowed = _OFF_M + _SLOPE * np.minimum(away, reach)
    # The lie of the land is smooth: at the edge of a cliff level ground is not level above it.
    level = np.zeros(near.shape, bool)
    for height in (rest[looked], xyz[looked, 2]):
        level |= np.abs(height[near] - height[:, None]) <= allowed
    one, other = np.nonzero(level)
    links = coo_array((np.ones(len(one)), (one, near[one, other])), shape=(len(looked),) * 2)
    n, thing = connected_components(links, directed=False)
    size = np.bincount(thing, minlength=n)
    # What is looked at ends somewhere: what lies level with ground beyond is no island.
    few = size[thing] < _FEWEST
    beside = np.median(rest[looked][near], axis=1)
    allowed = _OFF_M + _SLOPE * np.minimum(np.median(away, axis=1), reach)
    off = few & (np.abs(rest[looked] - beside) > allowed)
    none[looked[off]] = True
    return none


def flat_level(ground_z: Floats) -> float | None:
    """The level of ground that is flat to the millimetre, as no land is.

    >>> flat_level(np.zeros(500)), flat_level(np.zeros(50)), flat_level(np.arange(500.0))
    (0.0, None, None)
    """
    if len(ground_z) < _ENOUGH_GROUND:
        return None
    low, high = np.quantile(ground_z, (0.02, 0.98))
    return float(low) if high - low < _FLAT_M else None


def _square(xyz: Floats, square_m: float) -> float:
    """The side of squares, larger where there would be more of them than fit: returns strewn over a country.

    >>> round(_square(np.array([[0.0, 0, 0], [4e5, 2e3, 0]]), 1.0))
    16
    """
    across = np.ptp(xyz[:, :2], axis=0)
    while float(np.prod(across / square_m + 1)) > _MOST_SQUARES:
        square_m *= 2
    return square_m


def stands_over(level: float, highest_z: float) -> bool:
    """Whether something stands on such ground: the heights are above the ground already, not the land's."""
    return highest_z > level + _STANDS_M


def flat_doubt(level: float) -> str:
    """What is told of such ground with nothing on it."""
    return (
        f"its ground is flat to the millimetre, {plain(level, 3)} m throughout, as no land is: where its "
        "heights are above the ground already, the shape of the land is not in it"
    )


def _lie(xyz: Floats, square_m: float) -> Floats:
    """Height of the lie of the land under each return: medians of squares, and of squares around them."""
    low = xyz[:, :2].min(axis=0)
    square_m = _square(xyz, square_m)
    i, j = np.floor((xyz[:, :2] - low) / square_m).astype(np.int64).T
    nx, ny = int(i.max()) + 1, int(j.max()) + 1
    flat = j * nx + i
    order = np.lexsort((xyz[:, 2], flat))
    cells, first, count = np.unique(flat[order], return_index=True, return_counts=True)
    middle = np.full(nx * ny, np.nan)
    middle[cells] = xyz[order, 2][first + count // 2]
    grid = middle.reshape(ny, nx)
    nearest = distance_transform_edt(np.isnan(grid), return_distances=False, return_indices=True)
    smooth = median_filter(grid[tuple(nearest)], 3, mode="nearest")
    at = (xyz[:, :2] - low) / square_m - 0.5
    return np.asarray(map_coordinates(smooth, at.T[::-1], order=1, mode="nearest"))


def _uneven(xyz: Floats, rest: Floats, square_m: float) -> Mask:
    """Returns in and beside squares whose heights above the lie of the land, and those around, differ."""
    square_m = _square(xyz, square_m)
    i, j = np.floor((xyz[:, :2] - xyz[:, :2].min(axis=0)) / square_m).astype(np.int64).T
    shape = (int(j.max()) + 1, int(i.max()) + 1)
    high, low = np.full(shape, -np.inf), np.full(shape, np.inf)
    np.maximum.at(high, (j, i), rest)
    np.minimum.at(low, (j, i), rest)
    n = np.zeros(shape)
    np.add.at(n, (j, i), 1.0)
    # Where neighbours are far their squares are, too.
    lonely = uniform_filter(n, 3, mode="constant") * 9 < _FEW_BESIDE
    differ = (maximum_filter(high, 3) - minimum_filter(low, 3) > _OFF_M + _SLOPE) | lonely
    return np.asarray(maximum_filter(differ, 5)[j, i])

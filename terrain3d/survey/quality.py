"""What a survey is worth, from its own points: where it has holes, and how rough its heights are."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from terrain3d.units import Floats

Mask = NDArray[np.bool_]

#: A hole is ground farther than this from any ground point, metres.
HOLE_LIMITS_M = (1.0, 2.0, 3.0)
#: The survey's area bridges gaps up to twice this between points of any class, metres.
BRIDGED_M = 5.0
#: Cells of the map of holes, about at most; with the margin around it twice as many.
_MOST_CELLS = 8_000_000
_LEAST_CELL_M = 0.25
#: Cells whose distances are worked out at a time.
_BAND_CELLS = 500_000
#: Points whose residual is taken, and neighbours of each.
_N_SAMPLES, _N_NEIGHBOURS = 20_000, 10
#: With fewer nothing is said of their errors.
FEWEST = 2 * _N_NEIGHBOURS
#: From the median of absolute values to a standard deviation, for normal errors.
MAD_TO_SIGMA = 1.4826
#: From RMSE to 95 % of normal errors (ASPRS 2014 positional accuracy standards, non-vegetated).
TO_95 = 1.96


@dataclass(frozen=True)
class Holes:
    """Ground farther than `limit_m` from any ground point.

    `share` is of the survey's area, `n` counts connected pieces, `largest_m2` is the largest.
    """

    limit_m: float
    share: float
    n: int
    largest_m2: float


@dataclass(frozen=True)
class Coverage:
    """The survey's area in m2 and its holes."""

    area_m2: float
    holes: tuple[Holes, ...]


@dataclass(frozen=True)
class Roughness:
    """How far ground points lie from the plane of their neighbours, metres.

    `median_m` is the median distance, `sigma_m` the standard error of one height that it stands
    for, `n` the number of points tried.
    """

    median_m: float
    sigma_m: float
    n: int

    @property
    def within_95_m(self) -> float:
        return TO_95 * self.sigma_m


def cell_for_map(width_m: float, depth_m: float) -> float:
    """Side of the cells of a map of holes: fine, yet not so fine that the map outgrows memory.

    >>> cell_for_map(100, 100), round(cell_for_map(2000, 2000), 2)
    (0.25, 0.71)
    """
    box_m2 = max(width_m, 1.0) * max(depth_m, 1.0)
    return max(_LEAST_CELL_M, math.sqrt(box_m2 / _MOST_CELLS), max(width_m, depth_m) / _MOST_CELLS)


def coverage(surveyed: Mask, ground: Mask, cell_m: float, apart_m: float) -> Coverage:
    """Map where a survey has ground points, and where it has none.

    Parameters
    ----------
    surveyed, ground : (ny, nx) bool
        Cells with a point of any class, which tell the survey's area, and those with one on the ground.
    cell_m : float
        Side of a cell.
    apart_m : float
        How far apart the points would lie, were they spread evenly over the survey's box; gaps of three
        times that are bridged, for a survey of few points is no archipelago.

    Examples
    --------
    >>> flown = np.ones((40, 40), bool)
    >>> ground = flown.copy()
    >>> ground[14:26, 14:26] = False
    >>> [round(holes.share, 2) for holes in coverage(flown, ground, 1.0, 1.0).holes]
    [0.04, 0.02]
    """
    reach_m = max(BRIDGED_M, 3 * apart_m)
    while np.prod([n + 2 * _margin(reach_m, cell_m) for n in surveyed.shape]) > 2 * _MOST_CELLS:
        surveyed, ground, cell_m = _halved(surveyed), _halved(ground), 2 * cell_m
    margin = _margin(reach_m, cell_m)
    area = _closed(np.pad(surveyed, margin), reach_m / cell_m)
    away = _away(np.pad(ground, margin))
    n_cells = int(np.count_nonzero(area))
    holes = []
    for limit in HOLE_LIMITS_M:
        if limit < 2 * cell_m:  # too fine for this map
            continue
        inside = area & (away > limit / cell_m)
        labels, n = ndimage.label(inside)
        largest = int(np.bincount(labels.ravel())[1:].max()) if n else 0
        share = int(np.count_nonzero(inside)) / n_cells
        holes.append(Holes(limit, share, int(n), largest * cell_m * cell_m))
    return Coverage(n_cells * cell_m * cell_m, tuple(holes))


def roughness(xyz: Floats, seed: int = 0) -> Roughness | None:
    """Estimate the error of one height from how points scatter about their neighbours' plane.

    Parameters
    ----------
    xyz : (n, 3) float
        Ground points, metres: all of a small survey, or whole patches of a large one, for thinning it
        would put neighbours farther apart. The planes of up to 20,000 of them are tried.

    Returns
    -------
    Roughness or None
        None with too few points. Rough grass and sharp edges count as error; a shift or a tilt of
        the whole survey does not show.

    Notes
    -----
    For a point left out of its own plane fit, the variance of the residual is
    sigma^2 (1 + u' (A'A)^-1 u), with u its row of the plane's design matrix A; each residual is
    scaled by that, so that few neighbours do not look like more noise.
    """
    if len(xyz) < FEWEST:
        return None
    rng = np.random.default_rng(seed)
    chosen = xyz if len(xyz) <= _N_SAMPLES else xyz[rng.choice(len(xyz), _N_SAMPLES, replace=False)]
    near: Any = cKDTree(xyz[:, :2]).query(chosen[:, :2], k=_N_NEIGHBOURS + 1)[1]
    around = xyz[near[:, 1:]] - chosen[:, None, :]
    design = np.concatenate([np.ones((*around.shape[:2], 1)), around[:, :, :2]], axis=2)
    normal = np.einsum("nki,nkj->nij", design, design)
    # Neighbours on one line span no plane.
    sound = np.linalg.cond(normal / np.trace(normal, axis1=1, axis2=2)[:, None, None]) < 1e8
    if np.count_nonzero(sound) < _N_NEIGHBOURS:
        return None
    inverse = np.linalg.inv(normal[sound])
    # The point itself is the origin, so its row u is (1, 0, 0): the plane's height there is term 0.
    level = np.einsum("nj,nkj,nk->n", inverse[:, 0], design[sound], around[sound][:, :, 2])
    residual = np.abs(level)
    scaled = residual / np.sqrt(1 + inverse[:, 0, 0])
    return Roughness(
        float(np.median(residual)), float(MAD_TO_SIGMA * np.median(scaled)), int(np.count_nonzero(sound))
    )


def ends(columns: Floats) -> tuple[Floats, Floats]:
    """Least and greatest of each column, one at a time: numpy is slow at it across a tall array.

    >>> ends(np.array([[1.0, 5.0], [2.0, 3.0]]))
    (array([1., 3.]), array([2., 5.]))
    """
    return np.array([c.min() for c in columns.T]), np.array([c.max() for c in columns.T])


def _margin(reach_m: float, cell_m: float) -> int:
    return math.ceil(reach_m / cell_m) + 2


def _halved(marked: Mask) -> Mask:
    """Four cells into one, marked where any of them is."""
    even = np.pad(marked, [(0, n % 2) for n in marked.shape])
    ny, nx = even.shape
    return np.asarray(even.reshape(ny // 2, 2, nx // 2, 2).any(axis=(1, 3)))


def _closed(marked: Mask, reach: float) -> Mask:
    """Swell by `reach` cells, fill what is enclosed, shrink back."""
    filled: Mask = ndimage.binary_fill_holes(_away(marked) <= reach)
    closed: Mask = np.logical_or(_away(~filled) > reach, marked)
    return closed


def _away(marked: Mask) -> NDArray[np.float32]:
    """Cells to the nearest marked one, centre to centre; infinite where none is marked."""
    away = np.full(marked.shape, np.inf, np.float32)
    if not marked.any():
        return away
    # The nearest cell, not its distance: the library works that out in four copies of the map at once.
    row, column = ndimage.distance_transform_edt(~marked, return_distances=False, return_indices=True)
    band = max(1, _BAND_CELLS // marked.shape[1])
    for start in range(0, len(marked), band):
        part = slice(start, start + band)
        down = row[part] - np.arange(len(marked))[part, None]
        away[part] = np.hypot(down, column[part] - np.arange(marked.shape[1]))
    return away

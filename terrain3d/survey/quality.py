"""What a survey is worth, from its own points: where it has holes, and how rough its heights are."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from terrain3d.units import Floats

#: A hole is ground farther than this from any ground point, metres.
HOLE_LIMITS_M = (1.0, 2.0, 3.0)
#: The survey's area bridges gaps up to twice this between points of any class, metres.
BRIDGED_M = 5.0
#: Cells of the map of holes, at most.
_MOST_CELLS = 8_000_000
_LEAST_CELL_M = 0.25
#: Points whose residual is taken, neighbours of each, and points among which those are sought.
_N_SAMPLES, _N_NEIGHBOURS, _N_POOL = 20_000, 10, 1_000_000
#: Points marked at a time, which keeps whole tiles out of memory.
_BLOCK = 1_000_000
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


def coverage(all_xy: Floats, ground_xy: Floats) -> Coverage:
    """Map where a survey has ground points, and where it has none.

    Parameters
    ----------
    all_xy, ground_xy : (n, 2) float
        Metres; points of every class, which tell the survey's area, and those on the ground.

    Examples
    --------
    >>> xy = np.stack(np.meshgrid(np.arange(40.0), np.arange(40.0)), axis=-1).reshape(-1, 2)
    >>> pond = (abs(xy - 20) < 6).all(axis=1)
    >>> [round(holes.share, 2) for holes in coverage(xy, xy[~pond]).holes]
    [0.07, 0.04, 0.02]
    """
    low, high = ends(all_xy)
    box_m2 = float(np.prod(np.maximum(high - low, 1.0)))
    reach = max(BRIDGED_M, 3 * np.sqrt(box_m2 / len(all_xy)))
    cell = max(_LEAST_CELL_M, float(np.sqrt(box_m2 / _MOST_CELLS)))
    margin = int(np.ceil(reach / cell)) + 2
    shape = tuple(int(n) + 1 + 2 * margin for n in ((high - low) / cell)[::-1])
    area = _closed(_marked(all_xy, low, cell, margin, shape), reach / cell)
    away: Floats = np.full(shape, np.inf)
    if len(ground_xy):
        away = ndimage.distance_transform_edt(~_marked(ground_xy, low, cell, margin, shape)) * cell
    n_cells = int(np.count_nonzero(area))
    holes = []
    for limit in HOLE_LIMITS_M:
        if limit < 2 * cell:  # too fine for this map
            continue
        inside = area & (away > limit)
        labels, n = ndimage.label(inside)
        largest = int(np.bincount(labels.ravel())[1:].max()) if n else 0
        share = int(np.count_nonzero(inside)) / n_cells
        holes.append(Holes(limit, share, int(n), largest * cell * cell))
    return Coverage(n_cells * cell * cell, tuple(holes))


def roughness(xyz: Floats, seed: int = 0) -> Roughness | None:
    """Estimate the error of one height from how points scatter about their neighbours' plane.

    Parameters
    ----------
    xyz : (n, 3) float
        Ground points, metres.

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
    rng = np.random.default_rng(seed)
    pool = xyz if len(xyz) <= _N_POOL else _patches(xyz, rng)
    if len(pool) < 2 * _N_NEIGHBOURS:
        return None
    chosen = pool if len(pool) <= _N_SAMPLES else pool[rng.choice(len(pool), _N_SAMPLES, replace=False)]
    near: Any = cKDTree(pool[:, :2]).query(chosen[:, :2], k=_N_NEIGHBOURS + 1)[1]
    around = pool[near[:, 1:]] - chosen[:, None, :]
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


def _marked(xy: Floats, low: Floats, cell: float, margin: int, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    marked = np.zeros(shape, bool)
    for start in range(0, len(xy), _BLOCK):
        cells = ((xy[start : start + _BLOCK] - low) / cell).astype(np.int64) + margin
        marked[cells[:, 1], cells[:, 0]] = True
    return marked


def _closed(marked: NDArray[np.bool_], reach: float) -> NDArray[np.bool_]:
    """Swell by `reach` cells, fill what is enclosed, shrink back."""
    swollen = ndimage.distance_transform_edt(~marked) <= reach
    closed: NDArray[np.bool_] = ndimage.distance_transform_edt(ndimage.binary_fill_holes(swollen)) > reach
    return closed | marked


def _patches(xyz: Floats, rng: np.random.Generator) -> Floats:
    """Whole small squares of a large survey: thinning it would put neighbours farther apart."""
    low, high = ends(xyz[:, :2])
    side = float(np.sqrt(np.prod(high - low) * _N_POOL / len(xyz) / 16))
    parts = []
    for corner in rng.uniform(low, np.maximum(low, high - side), (16, 2)):
        inside = np.ones(len(xyz), bool)
        for axis in (0, 1):
            inside &= (xyz[:, axis] >= corner[axis]) & (xyz[:, axis] <= corner[axis] + side)
        parts.append(xyz[inside])
    return np.unique(np.concatenate(parts), axis=0)

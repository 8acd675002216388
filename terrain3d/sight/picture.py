"""What one eye sees in every direction: how far to the first thing, what it is, and what leaves dim.

A panorama keeps what verdicts need, heights over cells; a picture keeps directions, for the eye.
"""

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from terrain3d.sight.foliage import leaf_depths
from terrain3d.sight.hits import first_hits
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: Lines steeper than this are followed through leaves as if they rose or fell this much per metre.
_STEEPEST = 1e4
#: So many rays are cast at a time, or those of one row.
_RAYS = 1 << 16


@dataclass(frozen=True, eq=False)
class Picture:
    """Directions by rows of elevation and columns of azimuth, as given.

    Parameters
    ----------
    azimuth_deg : (n,) float
        Clockwise from north.
    elevation_deg : (m,) float
    distance : (m, n) float
        Slant metres to the first ground or solid; inf for none within reach.
    what : (m, n) uint8
        Codes of `sight.hits.Hit`.
    solid : (m, n) int64
        Which solid is hit, an index of `Solids.names`; -1 for none.
    through : (m, n) float
        Share of sight that foliage lets through, up to what is hit or to the end of the reach.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    distance: Floats
    what: NDArray[np.uint8]
    solid: NDArray[np.int64]
    through: Floats


def picture(
    terrain: Terrain,
    eye: tuple[float, float, float],
    azimuths_deg: ArrayLike,
    elevations_deg: ArrayLike,
    reach_m: float,
) -> Picture:
    """Look from `eye` in every pair of azimuth and elevation.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
        Local metres.
    azimuths_deg : (n,) float
        Clockwise from north.
    elevations_deg : (m,) float
        Above level, between -90 and 90.
    reach_m : float
        Slant distance at which sight ends, metres.

    Examples
    --------
    One metre over level ground, 45 degrees down and level:

    >>> from terrain3d.terrain import Foliage, Ground, Solids, Terrain
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> seen = picture(flat, (0.0, 0.0, 1.0), [90.0], [-45.0, 0.0], 4.0)
    >>> seen.distance.round(3).tolist(), seen.what.tolist()
    ([[1.414], [inf]], [[1], [0]])
    """
    azimuths, elevations = (
        np.atleast_1d(np.asarray(azimuths_deg, float)),
        np.atleast_1d(np.asarray(elevations_deg, float)),
    )
    a, e = np.radians(azimuths), np.radians(elevations)
    shape = (len(e), len(a))
    level = np.cos(e)[:, None]
    distance, what, solid = np.empty(shape), np.empty(shape, np.uint8), np.empty(shape, np.int64)
    # Some rows at a time: what is worked out for a ray takes ten times what is told of it.
    step = max(1, _RAYS // len(a))
    for first in range(0, len(e), step):
        rows = slice(first, first + step)
        up = np.broadcast_to(np.sin(e[rows])[:, None], (len(e[rows]), len(a)))
        rays = np.stack([level[rows] * np.sin(a), level[rows] * np.cos(a), up], axis=-1)
        hits = first_hits(terrain, eye, rays.reshape(-1, 3), reach_m)
        for whole, part in ((distance, hits.distance), (what, hits.what), (solid, hits.solid)):
            whole[rows] = part.reshape(up.shape)
    through = np.ones(shape)
    if len(terrain.foliage.base_z):
        far = np.minimum(distance, reach_m) * level
        slopes = np.clip(np.tan(e), -_STEEPEST, _STEEPEST)
        _dim(*_leaves(terrain), *map(float, eye), np.sin(a), np.cos(a), slopes, far, through)
    return Picture(azimuths, elevations, distance, what, solid, through)


def light_along(
    terrain: Terrain, eye: tuple[float, float, float], bearing_deg: float, slopes: Floats, distances: Floats
) -> Floats:
    """What foliage lets through along lines of one bearing, at several distances.

    Parameters
    ----------
    slopes : (k,) float
        Rise per metre of plan distance of each line, ascending.
    distances : (m,) float
        Plan distances, metres.

    Returns
    -------
    (k, m) float
        1 where no leaf has been met.
    """
    through = np.ones((len(slopes), len(distances)))
    if len(terrain.foliage.base_z):
        east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
        far = np.broadcast_to(distances, through.shape)
        for k, slope in enumerate(slopes):
            _dim(
                *_leaves(terrain), *map(float, eye), np.full(len(distances), east),
                np.full(len(distances), north), np.array([slope]), far[k : k + 1], through[k : k + 1],
            )  # fmt: skip
    return through


def _leaves(terrain: Terrain) -> tuple[object, ...]:
    leaves = terrain.foliage
    return leaves.column, leaves.base_z, leaves.step_m, leaves.above, leaves.x0, leaves.y0, leaves.cell_m


@njit(cache=True, nogil=True)
def _dim(column, base_z, step, above, x0, y0, cell, ex, ey, ez, east, north, slopes, far, through):
    """Write what leaves let through along every line, `far` metres in plan, into `through`."""
    slope = np.empty(1)
    depth = np.empty(1)
    for row in range(len(slopes)):
        slope[0] = slopes[row]
        for k in range(len(east)):
            if leaf_depths(
                column, base_z, step, above, x0, y0, cell, ex, ey, ez, east[k], north[k],
                0.0, far[row, k], slope, depth,
            ):  # fmt: skip
                through[row, k] = math.exp(-depth[0])

"""Lines of sight followed until something ends them, and what that is, by name."""

import math
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from terrain3d.sight.foliage import leaf_depths
from terrain3d.sight.hits import Hit, first_hits
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats

#: A layer counts as landed in leaves where they have taken half of it: middle sensitivity loses it there.
LEAVES_TAKE = 0.5


class Lands(IntEnum):
    """What a layer meets."""

    NOTHING = 0
    GROUND = 1
    SOLID = 2
    FOLIAGE = 3
    UNSURVEYED = 4


def follow(
    terrain: Terrain, eye: tuple[float, float, float], rays: Floats, reach_m: float
) -> tuple[Floats, NDArray[np.uint8], NDArray[np.int64]]:
    """Follow lines of sight until something ends them.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
    rays : (n, 3) float
        Unit vectors.
    reach_m : float
        Slant distance at which a line ends by itself.

    Returns
    -------
    end_m : (n,) float
        Slant distance to the end.
    lands : (n,) uint8
        Codes of `Lands`.
    solid : (n,) int64
        Index of the solid's name, -1 where it is none.
    """
    hits = first_hits(terrain, eye, rays, reach_m)
    lands = np.select(
        [hits.what == Hit.GROUND, hits.what == Hit.SOLID],
        [np.uint8(Lands.GROUND), np.uint8(Lands.SOLID)],
        np.uint8(Lands.NOTHING),
    ).astype(np.uint8)
    end_m = np.minimum(hits.distance, reach_m)
    known_m = _known_until(terrain.ground, eye, rays, reach_m)
    lost = (lands == Lands.NOTHING) & (known_m < reach_m - 2 * terrain.ground.cell_m)
    lands[lost], end_m[lost] = Lands.UNSURVEYED, known_m[lost]
    leaf_m = _leaves_end(terrain, eye, rays, end_m)
    leafy = leaf_m < end_m
    lands[leafy], end_m[leafy] = Lands.FOLIAGE, leaf_m[leafy]
    return end_m, lands, np.where(lands == Lands.SOLID, hits.solid, -1)


def _known_until(ground: Ground, eye: tuple[float, float, float], rays: Floats, reach_m: float) -> Floats:
    """(n,) slant distance of the last known ground under each line; a gap on the way does not count."""
    at = np.arange(0.0, reach_m + ground.cell_m / 4, ground.cell_m / 2)
    x, y = eye[0] + rays[:, :1] * at, eye[1] + rays[:, 1:2] * at
    known = np.isfinite(ground.height_at(x, y))
    return np.asarray(np.where(known, at, 0.0).max(axis=1))


def _leaves_end(terrain: Terrain, eye: tuple[float, float, float], rays: Floats, end_m: Floats) -> Floats:
    """(n,) slant distance at which leaves have taken `LEAVES_TAKE` of each line; inf where they do not."""
    needed, found = -math.log(1 - LEAVES_TAKE), np.full(len(rays), np.inf)
    if not len(terrain.foliage.base_z):
        return found
    for k, (ray, end) in enumerate(zip(rays, end_m, strict=True)):
        low, high = 0.0, float(end)
        if _leaf_depth(terrain, eye, ray, high) < needed:
            continue
        while high - low > 0.01:
            middle = (low + high) / 2
            low, high = (low, middle) if _leaf_depth(terrain, eye, ray, middle) >= needed else (middle, high)
        found[k] = high
    return found


def _leaf_depth(terrain: Terrain, eye: tuple[float, float, float], ray: Floats, far_m: float) -> float:
    """Optical depth of the leaves on the first `far_m` slant metres of a line that is not upright."""
    leaves, flat, depth = terrain.foliage, math.hypot(ray[0], ray[1]), np.zeros(1)
    leaf_depths(
        leaves.column, leaves.base_z, leaves.step_m, leaves.above, leaves.x0, leaves.y0, leaves.cell_m,
        *eye, ray[0] / flat, ray[1] / flat, 0.0, far_m * flat, np.array([ray[2] / flat]), depth,
    )  # fmt: skip
    return float(depth[0])

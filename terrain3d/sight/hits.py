"""Single rays in any direction: how far until the first thing is hit, and what it is."""

from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from terrain3d.sight.march import first_ground
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.units import Floats


class Hit(IntEnum):
    """What a ray meets first."""

    NOTHING = 0
    GROUND = 1
    SOLID = 2


@dataclass(frozen=True)
class Hits:
    """First hits of n rays: slant distance in metres (inf for none) and what is hit."""

    distance: Floats
    what: NDArray[np.uint8]


def first_hits(
    terrain: Terrain, origin: tuple[float, float, float], directions: ArrayLike, reach_m: float
) -> Hits:
    """Cast rays from one point.

    Parameters
    ----------
    terrain : Terrain
    origin : (x, y, z)
        Local metres.
    directions : (n, 3) float
        East, north, up; need not be unit vectors.
    reach_m : float
        Slant distance at which a ray ends, metres.

    Examples
    --------
    >>> from terrain3d.terrain import Foliage, Ground, Solids, Terrain
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> first_hits(flat, (0.0, 0.0, 1.0), [[1, 0, -1], [1, 0, 0]], 4.0).distance.round(4)
    array([1.4142,    inf])
    """
    rays = np.atleast_2d(np.asarray(directions, float))
    rays = rays / np.linalg.norm(rays, axis=1, keepdims=True)
    distance = ground_distances(terrain.ground, origin, rays, reach_m)
    what = np.where(np.isfinite(distance), Hit.GROUND, Hit.NOTHING).astype(np.uint8)
    if len(terrain.solids.triangles):
        solid = solid_distances(terrain.solids, origin, rays)
        nearer = (solid < distance) & (solid <= reach_m)
        distance = np.where(nearer, solid, distance)
        what[nearer] = Hit.SOLID
    return Hits(distance, what)


def ground_distances(
    ground: Ground, origin: tuple[float, float, float], rays: Floats, reach_m: float
) -> Floats:
    """Slant distance of each unit ray to a ground, metres; inf for none within reach."""
    x, y, z = (float(v) for v in origin)
    distance: Floats = _ground_distances(
        ground.z, ground.x0, ground.y0, ground.cell_m, x, y, z, rays, float(reach_m)
    )
    return distance


def solid_distances(solids: Solids, origin: tuple[float, float, float], rays: Floats) -> Floats:
    """Distance of each unit ray to the first solid, metres; inf for none (embree)."""
    mesh = _shifted_mesh(solids, origin)
    distance = np.full(len(rays), np.inf)
    _, ray_index, points = mesh.ray.intersects_id(
        np.zeros_like(rays), rays, multiple_hits=False, return_locations=True
    )
    distance[ray_index] = np.linalg.norm(points, axis=1)
    return distance


def inside_solid(solids: Solids, point: tuple[float, float, float]) -> bool:
    """Whether a point lies within a closed solid: most of a few rays cross it an odd number of times.

    Odd directions, so that no ray runs along an edge of a wall that faces the compass.
    """
    if not len(solids.triangles):
        return False
    rays = np.array([[0.3011, 0.5087, 0.8065], [-0.7013, 0.3171, 0.6381], [0.2239, -0.8111, 0.5403]])
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    mesh = _shifted_mesh(solids, point)
    _, ray_index = mesh.ray.intersects_id(np.zeros_like(rays), rays, multiple_hits=True)
    crossings = np.bincount(ray_index, minlength=len(rays))
    return int((crossings % 2).sum()) >= 2


@lru_cache(maxsize=8)
def _shifted_mesh(solids: Solids, origin: tuple[float, float, float]) -> Any:
    # Embree works in 32 bits: rays start at exact zero, and the mesh moves in 64 bits instead.
    import trimesh

    return trimesh.Trimesh(solids.vertices - np.asarray(origin, float), solids.triangles, process=False)


@njit(cache=True, nogil=True)
def _ground_distances(z, x0, y0, cell, ex, ey, ez, rays, reach):
    """Slant distance of each unit ray to the ground; inf for none within reach."""
    distance = np.full(len(rays), np.inf)
    for k in range(len(rays)):
        flat = np.hypot(rays[k, 0], rays[k, 1])
        if flat < 1e-9:
            if rays[k, 2] < 0.0:
                # Straight down: the ground under the eye, found by a step of nearly no length.
                flat = 1e-9
            else:
                continue
        ux = rays[k, 0] / flat if flat > 1e-9 else 1.0
        uy = rays[k, 1] / flat if flat > 1e-9 else 0.0
        rise = rays[k, 2] / flat * cell
        met = first_ground(z, (ex - x0) / cell, (ey - y0) / cell, ez, ux, uy, rise, reach * flat / cell)
        if met < np.inf:
            distance[k] = met * cell / flat
    return distance

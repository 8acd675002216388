"""Single rays in any direction: how far until the first thing is hit, and what it is."""

from collections.abc import Callable
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

#: What is hit this much nearer than a point hides it: a share of the way, and metres.
NEARER, NEARER_M = 0.01, 0.05


class Hit(IntEnum):
    """What a ray meets first."""

    NOTHING = 0
    GROUND = 1
    SOLID = 2


@dataclass(frozen=True, eq=False)
class Hits:
    """First hits of n rays.

    Parameters
    ----------
    distance : (n,) float
        Slant metres; inf for none.
    what : (n,) uint8
        Codes of `Hit`.
    solid : (n,) int64
        Which solid is hit, an index of `Solids.names`; -1 for none.
    """

    distance: Floats
    what: NDArray[np.uint8]
    solid: NDArray[np.int64]


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
    solid = np.full(len(rays), -1, np.int64)
    if len(terrain.solids.triangles):
        to_solid, owner = solid_hits(terrain.solids, origin, rays)
        nearer = (to_solid < distance) & (to_solid <= reach_m)
        distance = np.where(nearer, to_solid, distance)
        what[nearer], solid[nearer] = Hit.SOLID, owner[nearer]
    return Hits(distance, what, solid)


def in_sight(terrain: Terrain, eye: tuple[float, float, float], points: Floats) -> NDArray[np.bool_]:
    """(n,) whether neither ground nor a solid hides points, (n, 3) in local metres; leaves hide nothing.

    A point that is not known is not seen.

    >>> from terrain3d.terrain import terrain_from_heights
    >>> ridge = terrain_from_heights([[0.0, 0.0, 3.0, 0.0, 0.0]] * 2, cell_m=2.0)
    >>> in_sight(ridge, (-4.0, 0.0, 1.0), np.array([[-2.0, 0.0, 0.0], [4.0, 0.0, 1.0], [4.0, 0.0, 9.0]]))
    array([ True, False,  True])
    """
    away = points - np.asarray(eye, float)
    slant = np.linalg.norm(away, axis=1)
    is_there = np.isfinite(slant) & (slant > 0)
    seen = np.zeros(len(points), bool)
    if is_there.any():
        met = first_hits(terrain, eye, away[is_there], float(slant[is_there].max())).distance
        seen[is_there] = met >= slant[is_there] * (1 - NEARER) - NEARER_M
    return seen


def reach_of(terrain: Terrain, reach_m: float = 100.0) -> Callable[[Floats, Floats], Floats]:
    """What tells the distance from a point along directions to the first thing hit, inf beyond `reach_m`.

    Quick where the point is one of the last few: the solids stay sorted about it.
    """

    def reach(eye: Floats, directions: Floats) -> Floats:
        x, y, z = (float(v) for v in eye)
        return first_hits(terrain, (x, y, z), directions, reach_m).distance

    return reach


def ground_distances(
    ground: Ground, origin: tuple[float, float, float], rays: Floats, reach_m: float
) -> Floats:
    """Slant distance of each unit ray to a ground, metres; inf for none within reach."""
    x, y, z = (float(v) for v in origin)
    distance: Floats = _ground_distances(
        ground.z, ground.x0, ground.y0, ground.cell_m, x, y, z, rays, float(reach_m)
    )
    return distance


def solid_hits(
    solids: Solids, origin: tuple[float, float, float], rays: Floats
) -> tuple[Floats, NDArray[np.int64]]:
    """The first solid along each unit ray: how far, metres (inf for none), and which (-1 for none)."""
    distance, owner = np.full(len(rays), np.inf), np.full(len(rays), -1, np.int64)
    triangle, ray, points = _rays_about(solids, origin).intersects_id(
        np.zeros_like(rays), rays, multiple_hits=False, return_locations=True
    )
    distance[ray] = np.linalg.norm(points, axis=1)
    owner[ray] = solids.owners[triangle]
    return distance, owner


def inside_solid(solids: Solids, point: tuple[float, float, float]) -> bool:
    """Whether a point lies within a closed solid: most of a few rays cross it an odd number of times.

    Odd directions, so that no ray runs along an edge of a wall that faces the compass.
    """
    if not len(solids.triangles):
        return False
    rays = np.array([[0.3011, 0.5087, 0.8065], [-0.7013, 0.3171, 0.6381], [0.2239, -0.8111, 0.5403]])
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    about = _rays_about(solids, point)
    _, ray_index = about.intersects_id(np.zeros_like(rays), rays, multiple_hits=True)
    crossings = np.bincount(ray_index, minlength=len(rays))
    return int((crossings % 2).sum()) >= 2


@dataclass(frozen=True, eq=False)
class _Faces:
    """What trimesh asks of a mesh to have embree follow rays to it.

    A mesh of its own holds itself in circles, and what embree made of it, until Python goes looking for
    circles: on a site that is drawn for hours that came to hundreds of megabytes.
    """

    vertices: Floats
    faces: NDArray[np.int64]
    triangles: Floats
    face_normals: Floats
    scale: float


@lru_cache(maxsize=16)
def _rays_about(solids: Solids, origin: tuple[float, float, float]) -> Any:
    """Solids moved to an eye at exact zero, in 64 bits: embree works in 32 and moves nothing."""
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    vertices = solids.vertices - np.asarray(origin, float)
    triangles = vertices[solids.triangles]
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(across, axis=1)[:, None]
    normals = np.divide(across, length, out=np.zeros_like(across), where=length > np.finfo(float).eps)
    scale = float(np.linalg.norm(np.ptp(triangles.reshape(-1, 3), axis=0)))
    return RayMeshIntersector(_Faces(vertices, solids.triangles, triangles, normals, scale))


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

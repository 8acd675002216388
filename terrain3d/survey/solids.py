"""Drawn walls and blocks as closed triangle meshes that follow the ground beneath them."""

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.terrain import Solids
from terrain3d.units import Floats

#: Height of the ground at places (x, y), local metres.
GroundAt = Callable[[Floats, Floats], Floats]
Indices = NDArray[np.int64]
#: A straight edge may leave the ground's profile by this much before it is split.
FOLLOWS_WITHIN_M = 0.02
#: How far something that stands on the ground goes into it, so that nothing passes beneath.
FOOTING_M = 0.5
#: Splitting stops here: more rounds than this would resolve centimetres of plan.
_MOST_ROUNDS = 16


def wall(
    path: Floats, thickness_m: float, height_m: float, base_m: float, ground_at: GroundAt, name: str
) -> Solids:
    """A wall along a path, with mitred corners; a path that ends where it began is closed.

    Parameters
    ----------
    path : (n, 2) float
        Middle line, local metres.
    height_m, base_m : float
        Top and underside above the ground beneath.
    ground_at : (x, y) -> z

    Raises
    ------
    InputError
        Where the path has no length.

    Examples
    --------
    >>> path = np.array([[0.0, 5.0], [10.0, 5.0]])
    >>> mesh = wall(path, 0.2, 1.2, 0.0, lambda x, y: np.zeros_like(x), "garden wall")
    >>> len(mesh.triangles), mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    (12, array([ 0. ,  4.9, -0.5]), array([10. ,  5.1,  1.2]))
    """
    line = shapely.LineString(path)
    if not line.length > 0:
        raise InputError(f"the path of {name!r} has no length", mend="give two points that differ")
    plan = line.buffer(thickness_m / 2, cap_style="flat", join_style="mitre")
    return standing_on(plan, height_m, base_m, ground_at, name)


def block(outline: Floats, height_m: float, base_m: float, ground_at: GroundAt, name: str) -> Solids:
    """A block over an outline; top and underside follow the ground beneath.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> deck = block(square, 1.2, 1.0, lambda x, y: 0.1 * x, "deck")
    >>> len(deck.triangles), deck.vertices[:, 2]
    (12, array([1.2, 1.2, 1.4, 1.4, 1. , 1. , 1.2, 1.2]))
    """
    return standing_on(shapely.Polygon(outline), height_m, base_m, ground_at, name)


def standing_on(
    plan: shapely.Polygon, height_m: float, base_m: float, ground_at: GroundAt, name: str
) -> Solids:
    """A closed mesh over a plan; a base of 0 goes into the ground by `FOOTING_M`."""
    points, triangles = follow(*triangulated(plan), ground_at)
    ground = ground_at(points[:, 0], points[:, 1])
    bottom = base_m if base_m > 0 else -FOOTING_M
    vertices = np.vstack(
        [np.column_stack([points, ground + height_m]), np.column_stack([points, ground + bottom])]
    )
    a, b = _rim(triangles).T
    n = len(points)
    faces = np.vstack(
        [
            triangles,
            triangles[:, ::-1] + n,
            np.column_stack([a + n, b + n, b]),
            np.column_stack([a + n, b, a]),
        ]
    )
    return Solids(vertices, faces, np.zeros(len(faces), np.int64), (name,))


def triangulated(plan: shapely.Polygon) -> tuple[Floats, Indices]:
    """Triangles of a polygon, holes left open, counter-clockwise; no corner twice."""
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(plan))
    corners = np.array([shapely.get_coordinates(piece)[:3] for piece in pieces])
    points, index = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    triangles = index.reshape(-1, 3).astype(np.int64)
    clockwise = _twice_area(points, triangles) < 0
    triangles[clockwise] = triangles[clockwise][:, ::-1]
    return points, triangles


def follow(points: Floats, triangles: Indices, ground_at: GroundAt) -> tuple[Floats, Indices]:
    """Split triangles until every edge keeps within 2 cm of the ground's own profile.

    An edge is split where the ground leaves it most, and both its triangles with it, so the mesh
    stays closed; a triangle whose middle leaves the ground is split at its longest edge.
    """
    for _ in range(_MOST_ROUNDS):
        edges, of_triangle = _edges(triangles)
        worst, at = _departures(points, edges, ground_at)
        split = worst > FOLLOWS_WITHIN_M
        middles = points[triangles].mean(axis=1)
        own = ground_at(points[:, 0], points[:, 1])[triangles].mean(axis=1)
        off = np.abs(ground_at(middles[:, 0], middles[:, 1]) - own) > FOLLOWS_WITHIN_M
        off &= ~split[of_triangle].any(axis=1)
        length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
        longest = of_triangle[np.arange(len(triangles)), length[of_triangle].argmax(axis=1)]
        split[longest[off]] = True
        split &= length > 0.05
        if not split.any():
            break
        start, end = points[edges[split, 0]], points[edges[split, 1]]
        middle_of = np.full(len(edges), -1, np.int64)
        middle_of[split] = len(points) + np.arange(int(split.sum()))
        points = np.vstack([points, start + at[split, None] * (end - start)])
        triangles = _divided(triangles, middle_of[of_triangle])
    return points, triangles


def _edges(triangles: Indices) -> tuple[Indices, Indices]:
    """Each edge once, lower index first, and for each triangle its edges 01, 12, 20."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    edges, index = np.unique(np.sort(pairs, axis=1), axis=0, return_inverse=True)
    return edges, index.reshape(-1, 3)


def _departures(points: Floats, edges: Indices, ground_at: GroundAt) -> tuple[Floats, Floats]:
    """How far the ground leaves each edge at most, and at which share of its length."""
    start, end = points[edges[:, 0]], points[edges[:, 1]]
    longest = float(np.linalg.norm(end - start, axis=1).max())
    # A sample every 5 cm, the widest that cannot step over a feature of the finest cells in use.
    n = int(np.clip(longest / 0.05, 4, 400))
    share = np.linspace(0, 1, n + 1)
    along = start[:, None] + share[None, :, None] * (end - start)[:, None]
    z = ground_at(along[..., 0], along[..., 1])
    off = np.abs(z - (z[:, :1] + share * (z[:, -1:] - z[:, :1])))
    worst = off.argmax(axis=1)
    rows = np.arange(len(edges))
    at = np.clip(share[worst], 0.02, 0.98)
    # Where the triangle, not the edge, leaves the ground, the middle is as good as any place.
    return off[rows, worst], np.where(off[rows, worst] > FOLLOWS_WITHIN_M, at, 0.5)


def _divided(triangles: Indices, middles: Indices) -> Indices:
    """Triangles cut at the new points on their edges (-1: none), each part turned as the whole."""
    parts = [triangles[(middles < 0).all(axis=1)]]
    for turn in range(3):
        a, b, c = np.roll(triangles, -turn, axis=1).T
        ab, bc, ca = np.roll(middles, -turn, axis=1).T
        one = (ab >= 0) & (bc < 0) & (ca < 0)
        two = (ab >= 0) & (bc >= 0) & (ca < 0)
        parts += [np.column_stack(t)[one] for t in ((a, ab, c), (ab, b, c))]
        parts += [np.column_stack(t)[two] for t in ((ab, b, bc), (a, ab, bc), (a, bc, c))]
    (a, b, c), (ab, bc, ca) = triangles.T, middles.T
    three = (middles >= 0).all(axis=1)
    parts += [np.column_stack(t)[three] for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return np.vstack(parts)


def _rim(triangles: Indices) -> Indices:
    """Edges with a triangle on one side only, in the direction that keeps it on the left."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, index, n = np.unique(np.sort(pairs, axis=1), axis=0, return_inverse=True, return_counts=True)
    return np.asarray(pairs[n[index.ravel()] == 1])


def _twice_area(points: Floats, triangles: Indices) -> Floats:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])

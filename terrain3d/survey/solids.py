"""Drawn walls and blocks as closed triangle meshes that follow the ground beneath them."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.survey.gaps import Mask
from terrain3d.terrain import Solids
from terrain3d.units import Floats

#: Height of the ground at places (x, y), local metres.
GroundAt = Callable[[Floats, Floats], Floats]
Indices = NDArray[np.int64]
#: A face may leave the ground's own surface by this much before it is split.
FOLLOWS_WITHIN_M = 0.02
#: How far something that stands on the ground goes into it, so that nothing passes beneath.
FOOTING_M = 0.5
#: Edges no longer than this are not split: it would model less than a hand's breadth of plan.
SHORTEST_M = 0.05
#: Splitting stops here: more rounds than this would resolve centimetres of plan.
_MOST_ROUNDS = 40
#: What things that a survey shows are called, with a number.
SURVEYED = "surveyed solid"


def wall(
    path: Floats,
    thickness_m: float,
    height_m: float,
    base_m: float,
    ground_at: GroundAt,
    name: str,
    shortest_m: float = SHORTEST_M,
) -> Solids:
    """A wall along a path, with mitred corners; a path that ends where it began is closed.

    Parameters
    ----------
    path : (n, 2) float
        Middle line, local metres.
    height_m, base_m : float
        Top and underside above the ground beneath.
    ground_at : (x, y) -> z
    shortest_m : float
        Edges no longer than this are not split: give the cell of the ground.

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
        raise InputError(
            "the path has no length", f"site.toml: solid {name!r}: path", "give two points that differ"
        )
    return standing_on(wall_plan(path, thickness_m), height_m, base_m, ground_at, name, shortest_m)


def wall_plan(path: Floats, thickness_m: float) -> shapely.Polygon:
    """The ground that a wall stands on."""
    plan = shapely.LineString(path).buffer(thickness_m / 2, cap_style="flat", join_style="mitre")
    assert isinstance(plan, shapely.Polygon)
    return plan


def block(
    outline: Floats,
    height_m: float,
    base_m: float,
    ground_at: GroundAt,
    name: str,
    shortest_m: float = SHORTEST_M,
) -> Solids:
    """A block over an outline; top and underside follow the ground beneath.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> deck = block(square, 1.2, 1.0, lambda x, y: 0.1 * x, "deck")
    >>> len(deck.triangles), deck.vertices[:, 2]
    (12, array([1.2, 1.2, 1.4, 1.4, 1. , 1. , 1.2, 1.2]))
    """
    return standing_on(shapely.Polygon(outline), height_m, base_m, ground_at, name, shortest_m)


def standing_on(
    plan: shapely.Polygon,
    height_m: float,
    base_m: float,
    ground_at: GroundAt,
    name: str,
    shortest_m: float = SHORTEST_M,
) -> Solids:
    """A closed mesh over a plan; a base of 0 goes into the ground by `FOOTING_M`."""
    points, triangles = triangulated(plan)
    if leaving(points, triangles, ground_at).any():
        # Halving keeps a triangle's shape: cut a long strip across first, or slivers stay slivers.
        width = 2 * plan.area / plan.length
        plan = shapely.segmentize(plan, 2 * max(width, shortest_m))
        points, triangles = follow(*triangulated(plan), ground_at, shortest_m)
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


def follow(
    points: Floats, triangles: Indices, ground_at: GroundAt, shortest_m: float = SHORTEST_M
) -> tuple[Floats, Indices]:
    """Halve triangles until each keeps within 2 cm of the ground's own surface.

    Always at the longest edge (Rivara 1984, SIAM J. Numer. Anal. 21:604), with the triangle on its
    other side as well, so that the mesh stays closed and no slivers grow.
    """
    for _ in range(_MOST_ROUNDS):
        edges, of_triangle = _edges(triangles)
        length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
        rows = np.arange(len(triangles))
        longest = of_triangle[rows, length[of_triangle].argmax(axis=1)]
        leaves = leaving(points, triangles, ground_at) & (length[longest] > shortest_m)
        if not leaves.any():
            break
        halved = np.zeros(len(edges), bool)
        while leaves.any():
            halved[longest[leaves]] = True
            leaves = halved[of_triangle].any(axis=1) & ~halved[longest]
        new = np.full(len(edges), -1, np.int64)
        new[halved] = len(points) + np.arange(halved.sum())
        points = np.vstack([points, points[edges[halved]].mean(axis=1)])
        turn = length[of_triangle].argmax(axis=1)
        around = (turn[:, None] + np.arange(3)) % 3
        triangles = _halved(triangles[rows[:, None], around], new[of_triangle[rows[:, None], around]])
    return points, triangles


def leaving(points: Floats, triangles: Indices, ground_at: GroundAt) -> Mask:
    """Triangles that the ground leaves by more than 2 cm, along an edge or at the middle."""
    edges, of_triangle = _edges(triangles)
    off = (_departures(points, edges, ground_at) > FOLLOWS_WITHIN_M)[of_triangle].any(axis=1)
    return np.asarray(off | (_middle_departures(points, triangles, ground_at) > FOLLOWS_WITHIN_M))


def _edges(triangles: Indices) -> tuple[Indices, Indices]:
    """Each edge once, lower index first, and for each triangle its edges 01, 12, 20."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    edges, index = np.unique(np.sort(pairs, axis=1), axis=0, return_inverse=True)
    return edges, index.reshape(-1, 3)


def _departures(points: Floats, edges: Indices, ground_at: GroundAt) -> Floats:
    """How far the ground leaves each edge at most, looked at every 5 cm or so."""
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    most = np.zeros(len(edges))
    for low, high, n in ((0.0, 1.0, 20), (1.0, 8.0, 160), (8.0, np.inf, 640)):
        which = (length > low) & (length <= high)
        start, end = points[edges[which, 0]], points[edges[which, 1]]
        share = np.linspace(0, 1, n + 1)
        along = start[:, None] + share[None, :, None] * (end - start)[:, None]
        z = ground_at(along[..., 0], along[..., 1])
        off = np.abs(z - (z[:, :1] + share * (z[:, -1:] - z[:, :1])))
        most[which] = off.max(axis=1, initial=0.0)
    return most


def _middle_departures(points: Floats, triangles: Indices, ground_at: GroundAt) -> Floats:
    """How far the ground leaves each triangle at its middle."""
    corner_z = ground_at(points[:, 0], points[:, 1])[triangles]
    middle = points[triangles].mean(axis=1)
    return np.asarray(np.abs(ground_at(middle[:, 0], middle[:, 1]) - corner_z.mean(axis=1)))


def _halved(triangles: Indices, middles: Indices) -> Indices:
    """Triangles whose first edge is the longest, cut at the new points on their edges (-1: none)."""
    (a, b, c), (ab, bc, ca) = triangles.T, middles.T
    whole, left, right = ab < 0, ca >= 0, bc >= 0
    parts = [triangles[whole]]
    for mask, part in (
        (~whole & ~left, (a, ab, c)),
        (~whole & left, (a, ab, ca)),
        (~whole & left, (ab, c, ca)),
        (~whole & ~right, (ab, b, c)),
        (~whole & right, (ab, b, bc)),
        (~whole & right, (ab, bc, c)),
    ):
        parts.append(np.column_stack(part)[mask])
    return np.vstack(parts)


def _rim(triangles: Indices) -> Indices:
    """Edges with a triangle on one side only, in the direction that keeps it on the left."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, index, n = np.unique(np.sort(pairs, axis=1), axis=0, return_inverse=True, return_counts=True)
    return np.asarray(pairs[n[index.ravel()] == 1])


def _twice_area(points: Floats, triangles: Indices) -> Floats:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])


def footprints(solids: Solids) -> list[Any]:
    """The plan of every solid as a shapely region, in the order of their names; empty without area.

    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0], [0, 0, 5]])
    >>> tetrahedron = np.array([[0, 1, 2], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    >>> [region.area for region in footprints(Solids(corners, tetrahedron, np.zeros(4, int), ("stone",)))]
    [2.0]
    """
    corners = solids.vertices[solids.triangles][:, :, :2]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    has_area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 1e-9
    order = np.argsort(solids.owners[has_area], kind="stable")
    triangles, owners = shapely.polygons(corners[has_area][order]), solids.owners[has_area][order]
    starts = np.searchsorted(owners, np.arange(len(solids.names) + 1))
    united = [shapely.union_all(triangles[start:stop]) for start, stop in pairwise(starts)]
    # Triangles of one solid share edges up to rounding; the grid closes such slits. To lay every triangle on
    # it takes five times as long.
    return [shapely.set_precision(region, 1e-4) for region in united]


def named_alike(solids: Solids, known: Solids) -> Solids:
    """The same with the names that other readings of the survey gave to the things on the same ground.

    Things of a survey are numbered as they are found, so that a wider reading would number them anew.

    Examples
    --------
    >>> def post(x, name):
    ...     corners = np.array([[x, 0.0, 0], [x + 1, 0, 0], [x, 1, 1]])
    ...     return Solids(corners, np.array([[0, 1, 2]]), np.zeros(1, np.int64), (name,), frozenset({0}))
    >>> wider = post(-9, f"{SURVEYED} 1").joined(post(5.2, f"{SURVEYED} 2"))
    >>> named_alike(wider, post(5.0, f"{SURVEYED} 1")).names
    ('surveyed solid 2', 'surveyed solid 1')
    """
    plans = [_surveyed_plans(all_) for all_ in (solids, known)]
    names = list(solids.names)
    free = iter(range(1, len(solids.names) + len(known.names) + 1))
    taken = set(known.names)
    for own, plan in plans[0].items():
        shared = {other: plan.intersection(there).area for other, there in plans[1].items()}
        best = max(shared, key=lambda other: shared[other], default=None)
        if best is not None and shared[best] > 0:
            names[own] = known.names[best]
            del plans[1][best]
        else:
            names[own] = next(name for n in free if (name := f"{SURVEYED} {n}") not in taken)
    return replace(solids, names=tuple(names))


def _surveyed_plans(solids: Solids) -> dict[int, shapely.Geometry]:
    """The box in plan of each thing that was found in the survey."""
    boxes = {}
    for k in sorted(solids.surveyed):
        corners = solids.vertices[solids.triangles[solids.owners == k].ravel(), :2]
        boxes[k] = shapely.box(*corners.min(axis=0), *corners.max(axis=0))
    return boxes

"""What stands in a unit's watch against covering: the nearest of each thing within its reach."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.pose import Detector, head_axes
from terrain3d.detector.types import AntiMasking
from terrain3d.terrain import Foliage, Ground, Solids, Terrain
from terrain3d.units import Floats

Kind = Literal["solid", "foliage", "ground"]
#: A column with less leaf area than this is a stray leaf, m2/m3: a tenth of a thin hedge.
LEAST_LEAVES = 0.05
#: What lies no farther than this before the wall of a unit is the wall itself, metres: mounts are drawn on
#: its face, and faces are surveyed to some centimetres.
WALL_M = 0.05
#: What lies this close to the edge of an arc of a half-circle or less is not in it, metres: a wall right
#: beside a unit that faces straight off it.
EDGE_M = 0.01
#: Corners of a box by their sides low and high, and the two triangles of each of its faces.
_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
_FACES = np.array(
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
)  # fmt: skip


@dataclass(frozen=True)
class Near:
    """A thing within the reach of a watch: what it is, its name ("" is the ground), and how near it comes."""

    kind: Kind
    name: str
    distance_m: float


def things_near(
    terrain: Terrain, unit: Detector, watch: AntiMasking, wall_deg: float | None = None
) -> tuple[Near, ...]:
    """The things within the reach of a unit's watch, nearest first.

    The watch looks at all that is within its reach and, in the housing's own frame, within its arc about
    straight ahead, however high or low; it tilts with the housing. The wall that the unit is on is none of
    it.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    watch : AntiMasking
        Of its type.
    wall_deg : float, optional
        What its wall faces, degrees: nothing that lies in that wall's face or behind it counts.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.survey.solids import block
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = lambda x, y: np.zeros(np.shape(x))
    >>> gate = block(np.array([[-1, 0.3], [1, 0.3], [1, 0.4], [-1, 0.4]]), 2.0, 0.0, flat, "gate", 0.25)
    >>> site = terrain_from_heights(np.zeros((9, 9)), 1.0, solids=gate)
    >>> unit = Detector("D1", load_type("one-head-90-watched"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> things_near(site, unit, AntiMasking(reach=0.5))
    (Near(kind='solid', name='gate', distance_m=0.3),)
    >>> things_near(site, unit, AntiMasking(reach=0.25))
    ()
    """
    fields = _fields(unit, watch, wall_deg)
    around = _around(terrain.foliage, unit.eye)
    found = [Near("foliage", name, 0.0) for name in around]
    found += [
        Near(kind, name, round(distance, 9))
        for kind, name, pieces in (
            *_solid_pieces(terrain.solids, unit.eye, watch.reach),
            *_leaf_pieces(terrain.foliage, unit.eye, watch.reach),
            *_ground_pieces(terrain.ground, unit.eye, watch.reach),
        )
        if not (kind == "foliage" and name in around)
        and (distance := _nearest(pieces, fields, watch.reach)) <= watch.reach
    ]
    return tuple(sorted(found, key=lambda near: (near.distance_m, near.name)))


def _fields(unit: Detector, watch: AntiMasking, wall_deg: float | None) -> list[Floats]:
    """What the watch looks at as convex parts about the eye: (k, 4) rows (n, d) of half-spaces n . p >= d."""
    right, forward, _ = head_axes(unit.bearing_deg, unit.tilt_deg, unit.roll_deg)
    half = math.radians(watch.arc / 2)
    edge = np.array([math.cos(half), math.sin(half)])  # ahead, aside
    least = EDGE_M if watch.arc <= 180 else 0.0
    before_wall = []
    if wall_deg is not None:
        faces = math.radians(wall_deg)
        before_wall = [np.array([math.sin(faces), math.cos(faces), 0.0, WALL_M])]
    parts = []
    for side in (-1.0, 1.0):
        # A half of the arc is no broader than a half-space: from straight ahead to its edge.
        middle_plane = np.append(side * right, 0.0)
        edge_plane = np.append(edge[1] * forward - side * edge[0] * right, least)
        parts.append(np.array([middle_plane, edge_plane, *before_wall]))
    return parts


def _solid_pieces(
    solids: Solids, eye: tuple[float, float, float], reach_m: float
) -> Iterator[tuple[Kind, str, Floats]]:
    """The triangles of each solid that come so near, about the eye."""
    if not len(solids.triangles):
        return
    triangles = solids.vertices[solids.triangles] - np.asarray(eye)
    near = _bound(triangles) <= reach_m
    for owner in np.unique(solids.owners[near]):
        yield "solid", solids.names[owner], triangles[near & (solids.owners == owner)]


def _leaf_pieces(
    foliage: Foliage, eye: tuple[float, float, float], reach_m: float
) -> Iterator[tuple[Kind, str, Floats]]:
    """The faces of the boxes full of leaves of each hedge that come so near, about the eye."""
    boxes, owners = _leaf_boxes(foliage, eye, reach_m)
    for owner in np.unique(owners):
        own = boxes[owners == owner]
        corners = own[:, None, 0] + _CORNERS * (own[:, None, 1] - own[:, None, 0])
        yield "foliage", foliage.names[owner], corners[:, _FACES].reshape(-1, 3, 3)


def _leaf_boxes(
    foliage: Foliage, eye: tuple[float, float, float], reach_m: float
) -> tuple[Floats, NDArray[np.int32]]:
    """Boxes full of leaves that may come so near: (b, 2, 3) corners about the eye, and whose each is."""
    half = foliage.cell_m / 2
    ny, nx = foliage.column.shape
    spans = []
    for count, start, at in ((nx, foliage.x0, eye[0]), (ny, foliage.y0, eye[1])):
        first = math.floor((at - reach_m - start) / foliage.cell_m)
        last = math.ceil((at + reach_m - start) / foliage.cell_m)
        spans.append(range(max(first, 0), min(last, count - 1) + 1))
    boxes: list[list[list[float]]] = []
    owners = []
    for j in spans[1]:
        for i in spans[0]:
            row = int(foliage.column[j, i])
            if row < 0:
                continue
            x, y = foliage.x0 + i * foliage.cell_m - eye[0], foliage.y0 + j * foliage.cell_m - eye[1]
            has_leaves = np.diff(foliage.above[row]) / foliage.step_m >= LEAST_LEAVES
            ends = np.flatnonzero(np.diff(np.concatenate([[False], has_leaves, [False]]).astype(int)))
            for low, high in zip(ends[::2], ends[1::2], strict=True):
                base = float(foliage.base_z[row]) - eye[2]
                bottom, top = base + low * foliage.step_m, base + high * foliage.step_m
                boxes.append([[x - half, y - half, bottom], [x + half, y + half, top]])
                owners.append(int(foliage.owners[row]))
    return np.array(boxes, float).reshape(-1, 2, 3), np.array(owners, np.int32)


def _ground_pieces(
    ground: Ground, eye: tuple[float, float, float], reach_m: float
) -> Iterator[tuple[Kind, str, Floats]]:
    """The ground as two triangles between each four nodes that come so near, about the eye."""
    cell, starts = ground.cell_m, (ground.x0, ground.y0)
    low = [math.floor((at - reach_m - start) / cell) for at, start in zip(eye, starts, strict=False)]
    high = [math.ceil((at + reach_m - start) / cell) for at, start in zip(eye, starts, strict=False)]
    ny, nx = ground.z.shape
    (i0, j0), (i1, j1) = (max(at, 0) for at in low), (min(high[0], nx - 1), min(high[1], ny - 1))
    if i1 <= i0 or j1 <= j0:
        return
    x, y = np.meshgrid(ground.xs[i0 : i1 + 1], ground.ys[j0 : j1 + 1])
    nodes = np.stack([x, y, ground.z[j0 : j1 + 1, i0 : i1 + 1]], axis=-1) - np.asarray(eye)
    a, b, c, d = nodes[:-1, :-1], nodes[:-1, 1:], nodes[1:, 1:], nodes[1:, :-1]
    triangles = np.concatenate([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)]).reshape(-1, 3, 3)
    triangles = triangles[np.isfinite(triangles).all(axis=(1, 2))]
    yield "ground", "", triangles[_bound(triangles) <= reach_m]


def _around(foliage: Foliage, eye: tuple[float, float, float]) -> list[str]:
    """Names of the leaves that the unit stands in: no face of theirs need be near."""
    boxes, owners = _leaf_boxes(foliage, eye, 0.0)
    inside = ((boxes[:, 0] <= 0) & (boxes[:, 1] >= 0)).all(axis=1)
    return list(dict.fromkeys(foliage.names[owner] for owner in owners[inside]))


def _bound(triangles: Floats) -> Floats:
    """(n,) how near the box around each triangle comes to the origin: no nearer is the triangle."""
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    return np.asarray(np.linalg.norm(np.maximum(np.maximum(low, -high), 0.0), axis=1))


def _nearest(triangles: Floats, fields: Iterable[Floats], reach_m: float) -> float:
    """How near to the origin triangles come within some convex parts of space, metres; inf past the reach."""
    bounds = _bound(triangles)
    best = math.inf
    parts = list(fields)
    for at in np.argsort(bounds, kind="stable"):
        if bounds[at] > min(best, reach_m):
            break
        for planes in parts:
            polygon = _clipped(triangles[at], planes)
            if len(polygon):
                best = min(best, _distance(polygon))
    return best if best <= reach_m else math.inf


def _clipped(polygon: Floats, planes: Floats) -> Floats:
    """What of a convex polygon, (k, 3), lies in all of some half-spaces: by Sutherland and Hodgman's way."""
    for plane in planes:
        if not len(polygon):
            break
        depth = polygon @ plane[:3] - plane[3]
        kept = []
        for k in range(len(polygon)):
            before, here = depth[k - 1], depth[k]
            if (before < 0) != (here < 0):
                share = before / (before - here)
                kept.append(polygon[k - 1] + share * (polygon[k] - polygon[k - 1]))
            if here >= 0:
                kept.append(polygon[k])
        polygon = np.array(kept).reshape(-1, 3)
    return polygon


def _distance(polygon: Floats) -> float:
    """From the origin to a flat convex polygon, (k, 3)."""
    ends = np.roll(polygon, -1, axis=0)
    sides = ends - polygon
    lengths = (sides * sides).sum(axis=1)
    along = np.clip(-(polygon * sides).sum(axis=1) / np.where(lengths > 0, lengths, 1.0), 0.0, 1.0)
    best = float(np.linalg.norm(polygon + along[:, None] * sides, axis=1).min())
    normal = np.cross(polygon[1:-1] - polygon[0], polygon[2:] - polygon[0]).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size < 1e-12:
        return best
    foot = normal * float(polygon[0] @ normal) / size**2
    turn = np.cross(sides, foot - polygon) @ normal
    return float(np.linalg.norm(foot)) if (turn >= 0).all() else best

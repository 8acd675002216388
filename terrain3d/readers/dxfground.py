"""The ground of a DXF drawing: its faces, or else its points and lines with heights, triangulated."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
from scipy.spatial import Delaunay, QhullError

from terrain3d.errors import InputError
from terrain3d.readers.crs import (
    Said,
    crs_to_take,
    crs_words,
    metres_per_unit,
    plan_doubts,
    settle,
    unit_words,
)
from terrain3d.readers.dxf import UNIT_FROM, Drawing, Entity, layers, on_layer, read_drawing
from terrain3d.readers.faces import Triangles, bounds_of, checked_faces, face_up, faces_in_box, in_use
from terrain3d.readers.source import Box, Header, NothingThereError, Progress, Surface
from terrain3d.site import GroundSource
from terrain3d.units import Floats
from terrain3d.wording import box_words, counted, plain

#: Lines are given points so far apart before they are triangulated, metres: else a triangle would pass
#: through a contour between two of its corners.
ALONG_M = 1.0
#: Ground between points farther apart than this, metres, is not made up: what `hole_limit` may be at most.
ACROSS_M = 50.0
#: More points than this are spread more thinly along their lines.
MOST_POINTS = 2_000_000


@dataclass(frozen=True, eq=False)
class _Part:
    """What of a drawing is ground: faces, or points and lines; and what was left aside, in words."""

    faces: tuple[Entity, ...]
    drawn: tuple[Entity, ...]
    doubts: tuple[str, ...]

    @property
    def vertices(self) -> Floats:
        return np.concatenate([entity.xyz for entity in self.faces or self.drawn])


def dxf_header(path: Path, ground: GroundSource) -> Header:
    """Bounds, unit and layers of a drawing, which means reading it; `ground.layer` names one of them.

    Raises
    ------
    InputError
        Where nothing in it has heights, or it cannot be read.
    """
    drawing = read_drawing(path)
    part = _ground(drawing, ground.layer, path)
    crs = crs_to_take(None, ground)
    bounds = bounds_of(part.vertices * _to_metres(drawing, crs))
    doubts = part.doubts + _unit_doubts(drawing, crs)
    unit_m = drawing.unit_m if crs is None or crs.is_geographic else metres_per_unit(crs)[0]
    named = UNIT_FROM if unit_m is not None and unit_m == drawing.unit_m else ""
    settled = settle(
        Said(vertical_unit_m=unit_m if named else None, vertical_unit_from=named, doubts=doubts),
        ground, str(path), bounds, len(part.vertices),
    )  # fmt: skip
    return Header(
        kind="mesh",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=len(part.vertices),
        doubts=settled.doubts,
        form=f"DXF drawing; its layers: {layers(drawing)}",
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
        layer=ground.layer,
    )


def read_dxf_ground(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Surface:
    """The surface of a drawing in a box: its faces as they are, or triangles between points and lines.

    Raises
    ------
    InputError
        Where there is none.
    """
    drawing = read_drawing(path)
    if progress is not None:
        progress(0.6)
    part = _ground(drawing, header.layer, path)
    scale = _to_metres(drawing, header.crs)
    if part.faces:
        vertices, triangles = _joined(part.faces)
        vertices, triangles = checked_faces(vertices, triangles, path)
        vertices[:, :2] *= scale
        doubts: tuple[str, ...] = ()
    else:
        points = _points(part.drawn, scale, header, box)
        vertices, triangles = _triangulated(points, _unit_m(header), path, header, box)
        doubts = (_sides_told(vertices, triangles, header),)
    vertices, triangles = faces_in_box(vertices, triangles, path, header, box)
    vertices[:, 2] *= header.vertical_unit_m
    if progress is not None:
        progress(1.0)
    return Surface(
        vertices,
        face_up(vertices, triangles) if part.drawn else triangles,
        header.crs,
        header.doubts + doubts,
        is_ground=not part.faces,
    )


def _ground(drawing: Drawing, layer: str | None, path: Path) -> _Part:
    entities = on_layer(drawing, layer, path)
    faces = tuple(entity for entity in entities if len(entity.triangles))
    drawn = tuple(entity for entity in entities if entity.kind != "faces" and len(entity.xyz))
    doubts = []
    if drawing.left_out:
        told = ", ".join(f"{n} {kind}" for kind, n in sorted(drawing.left_out.items()))
        doubts.append(
            f"blocks and curves are not followed, and left out: {told}; explode them if they are ground"
        )
    if faces:
        if drawn:
            doubts.append(
                f"it holds faces, and {len(drawn)} points and lines beside them: the faces are taken; for "
                "the others name their layer, [ground] layer"
            )
        return _Part(faces, (), tuple(doubts))
    with_heights = _with_heights(drawn)
    if not with_heights:
        raise InputError(
            "nothing in it has heights: its points, lines and faces lie at 0",
            str(path),
            f"name a drawing with contours, spot levels or faces; drawn on are: {layers(drawing)}",
        )
    if len(with_heights) < len(drawn):
        doubts.append(
            f"{len(drawn) - len(with_heights)} of its {len(drawn)} points and lines lie at height 0, which "
            "is far from all others: they are taken for a flat plan and left out"
        )
    return _Part((), with_heights, tuple(doubts))


def _with_heights(drawn: tuple[Entity, ...]) -> tuple[Entity, ...]:
    """Without what lies flat at 0, where the heights of the others say that this is none of theirs."""
    raised = [entity for entity in drawn if entity.xyz[:, 2].any()]
    if not raised:
        return ()
    heights = np.concatenate([entity.xyz[:, 2] for entity in raised])
    spread = float(np.subtract(*np.percentile(heights, (90, 10))))
    return drawn if np.abs(heights).min() <= spread else tuple(raised)


def _to_metres(drawing: Drawing, crs: pyproj.CRS | None) -> float:
    """What x and y are multiplied with: a CRS says their unit itself, without one they become metres."""
    return drawing.unit_m or 1.0 if crs is None else 1.0


def _unit_doubts(drawing: Drawing, crs: pyproj.CRS | None) -> tuple[str, ...]:
    if crs is None:
        if drawing.unit_m is None:
            return ("the drawing names no unit ($INSUNITS): its x and y are taken for metres",)
        return plan_doubts(drawing.unit_m, None, UNIT_FROM)
    own_m = metres_per_unit(crs)[0]
    if crs.is_geographic or drawing.unit_m is None or math.isclose(own_m, drawing.unit_m, rel_tol=1e-5):
        return ()
    return (
        f"{UNIT_FROM} says {unit_words(drawing.unit_m)}, {crs_words(crs)} counts {unit_words(own_m)}: its "
        "coordinates are taken to be in the CRS as they stand",
    )


def _unit_m(header: Header) -> float:
    """Metres in one unit of x and y, roughly."""
    return metres_per_unit(header.crs, (header.bounds[1] + header.bounds[3]) / 2)[1]


def _joined(faces: tuple[Entity, ...]) -> tuple[Floats, Triangles]:
    first = np.cumsum([0, *(len(entity.xyz) for entity in faces)])
    triangles = [entity.triangles + at for entity, at in zip(faces, first, strict=False)]
    return np.concatenate([entity.xyz for entity in faces]), np.concatenate(triangles)


def _points(drawn: tuple[Entity, ...], scale: float, header: Header, box: Box | None) -> Floats:
    """(n, 3) points, and points along lines, in a box and as far around it as triangles may reach."""
    unit_m = _unit_m(header)
    factor = np.array([scale, scale, 1.0])
    low, high = np.full(2, -np.inf), np.full(2, np.inf)
    if box is not None:
        low, high = np.array(box[:2]) - ACROSS_M / unit_m, np.array(box[2:]) + ACROSS_M / unit_m
    near = []
    for entity in drawn:
        xyz = entity.xyz * factor
        if entity.is_closed:
            xyz = np.vstack([xyz, xyz[:1]])
        if np.all(xyz[:, :2].max(axis=0) >= low) and np.all(xyz[:, :2].min(axis=0) <= high):
            near.append(xyz)
    length_m = sum(float(np.hypot(*np.diff(xyz[:, :2], axis=0).T).sum()) for xyz in near) * unit_m
    step = max(ALONG_M, length_m / MOST_POINTS) / unit_m
    points = np.concatenate([np.empty((0, 3)), *(_along(xyz, step) for xyz in near)])
    inside = np.all((points[:, :2] >= low) & (points[:, :2] <= high), axis=1)
    return np.asarray(points[inside])


def _along(xyz: Floats, step: float) -> Floats:
    """A line's points and enough between them that none are farther apart in plan than a step.

    >>> _along(np.array([[0.0, 0, 1], [3, 0, 4]]), 1.0).tolist()
    [[0.0, 0.0, 1.0], [1.0, 0.0, 2.0], [2.0, 0.0, 3.0], [3.0, 0.0, 4.0]]
    """
    if len(xyz) < 2:
        return xyz
    apart = np.hypot(*np.diff(xyz[:, :2], axis=0).T)
    n = np.maximum(1, np.ceil(apart / step - 1e-9)).astype(np.int64)
    which = np.repeat(np.arange(len(n)), n)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)) / n[which]
    between = xyz[which] + (xyz[which + 1] - xyz[which]) * share[:, None]
    return np.vstack([between, xyz[-1:]])


def _triangulated(
    points: Floats, unit_m: float, path: Path, header: Header, box: Box | None
) -> tuple[Floats, Triangles]:
    """Delaunay triangles in plan, without those that reach farther than ground is made up."""
    if not len(points):
        raise NothingThereError(
            f"nothing of it lies in {box_words(box or header.bounds)}; it covers {box_words(header.bounds)}",
            str(path),
            "name a survey that covers the site, or check [site] crs and [ground] crs",
        )
    # Where lines meet the same place is given more than once; one of them stands for all.
    origin = points[:, :2].mean(axis=0)
    local = np.round((points[:, :2] - origin) * unit_m, 6)
    _, first = np.unique(local, axis=0, return_index=True)
    first.sort()
    points, local = points[first], local[first]
    try:
        triangles = Delaunay(local).simplices.astype(np.int64)
    except (QhullError, ValueError):
        triangles = np.empty((0, 3), np.int64)
    corners = local[triangles]
    longest = np.hypot(*(corners - np.roll(corners, 1, axis=1)).transpose(2, 0, 1)).max(axis=1, initial=0.0)
    triangles = triangles[longest <= ACROSS_M]
    if not len(triangles):
        raise InputError(
            f"its {counted(len(points), 'point')} with heights span no ground: they lie on one line, or more "
            f"than {ACROSS_M:g} m apart",
            str(path),
            "name a drawing with levels or contours all around the site",
        )
    return in_use(points, triangles)


def _sides_told(vertices: Floats, triangles: Triangles, header: Header) -> str:
    """How far it is from one thing measured to the next, over half of the area."""
    unit_m = _unit_m(header)
    corners = (vertices[triangles, :2] - vertices[0, :2]) * unit_m
    sides = np.hypot(*(corners - np.roll(corners, 1, axis=1)).transpose(2, 0, 1)).max(axis=1)
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
    order = np.argsort(sides)
    middle = order[np.searchsorted(np.cumsum(area[order]), area.sum() / 2)]
    return (
        "its ground is known on points and lines alone, all taken for ground: half of the area lies in "
        f"triangles with a side of {plain(float(sides[middle]), 2)} m or more, straight between what was "
        f"measured and flat within a contour that closes; wider gaps than {ACROSS_M:g} m stay unknown"
    )

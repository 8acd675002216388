"""The parts of a scene: each thing that stands on a site as a mesh and how it looks."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from typing import Any

import numpy as np
import pyvista as pv
import shapely
from numpy.typing import NDArray
from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette
from vtkmodules.vtkRenderingCore import vtkCamera

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.lengths import given, given_figure, in_metres, in_unit
from terrain3d.show.camera import Camera, block_foot
from terrain3d.show.drape import drape
from terrain3d.show.extent import Extent, masked_outlines, open_outlines, seen_part
from terrain3d.show.legend import CONTOUR, GROWN, MASKED_ARC, SOLID, UNIT, Sign
from terrain3d.show.light import raised_to_paper
from terrain3d.show.shapes import (
    LAYER_ROWS,
    Ints,
    Reach,
    contour_levels,
    contour_steps_m,
    dashes,
    draped_lines,
    filled_heights,
    ground_nodes,
    layer_body,
    leaf_volume,
    smoothed_heights,
)
from terrain3d.show.silhouettes import silhouette
from terrain3d.terrain import Foliage, Ground, Solids, Terrain
from terrain3d.units import Floats

_ONE_QUAD = np.array([[0, 1, 2, 3]])
#: Of the figure's height: how thick the one for scale is from front to back.
_BODY_DEPTH = 0.13
#: Width of its rim.
_RIM_PX = 1.2


@dataclass(frozen=True)
class Part:
    """One mesh and how it looks. `group` is what a person switches on and off with a key.

    `light` times the daylight falls on ground.
    """

    group: str
    mesh: Any
    colour: str = palette.INK
    opacity: float = 1.0
    line_px: float = 0.0
    raise_steps: int = 1
    texture: Any = None
    lit: bool = True
    light: float = 1.0


@dataclass(frozen=True)
class Tag:
    """A name at a point of the scene; `kind` is unit, figure, area or scale."""

    text: str
    point: tuple[float, float, float]
    kind: str


def ground_parts(terrain: Terrain, option: OptionResult, extent: Extent) -> list[Part]:
    """The block of ground under its verdicts, its cut sides and its contours."""
    image = drape(option.verdicts[extent.rows, extent.columns], seen=seen_part(terrain, extent))
    # pyvista reads pictures from the top; the drape starts in the south.
    library: Any = pv
    texture = library.Texture(np.ascontiguousarray(image[::-1]))
    texture.interpolate = True
    surface, *rest = _block(terrain.ground, extent, contour_steps_m())
    return [replace(surface, texture=texture), *rest]


@lru_cache(maxsize=2)
def _block(ground: Ground, extent: Extent, steps_m: tuple[float, ...]) -> tuple[Part, ...]:
    """Top, sides and contours of the block of ground without verdicts: the same for all options.

    `steps_m` are those of contours, in the unit that is shown.
    """
    heights = filled_heights(ground)
    xs, ys, z = ground_nodes(ground, heights, extent)
    x, y = np.meshgrid(xs, ys)
    index = np.arange(z.size).reshape(z.shape)
    quads = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]], axis=-1).reshape(-1, 4)
    smooth = ground_nodes(ground, smoothed_heights(ground), extent)[2]
    surface = _surface(np.column_stack([x.ravel(), y.ravel(), z.ravel()]), quads)
    surface.active_texture_coordinates = np.column_stack(
        [(x.ravel() - extent.west) / extent.width_m, (y.ravel() - extent.south) / extent.depth_m]
    )
    # Shaded without the survey's roughness; the ground itself stays as measured.
    even = np.where(np.isfinite(smooth), smooth, z)
    shaded = _surface(np.column_stack([x.ravel(), y.ravel(), even.ravel()]), quads)
    surface.point_data.active_normals = shaded.compute_normals(
        cell_normals=False, split_vertices=False, consistent_normals=False
    ).point_normals
    parts = [
        Part("ground", surface, light=raised_to_paper(surface.point_data.active_normals)),
        Part("ground", _sides(x, y, z, block_foot(xs, ys, z, extent)), palette.BLOCK_SIDE),
    ]
    levels, _ = contour_levels(smooth, steps_m)
    if len(levels):
        measured = np.isfinite(smooth).ravel()
        known = _surface(surface.points, quads[measured[quads].all(axis=1)])
        known["height"] = smooth.ravel()
        lines = known.contour(list(levels), scalars="height")
        parts.append(Part("contours", lines, CONTOUR.line, line_px=CONTOUR.scene_px))
    return tuple(parts)


def _sides(x: Floats, y: Floats, z: Floats, foot: Floats) -> Any:
    """The cut sides of the block of ground, down to its foot."""
    rings = [np.concatenate([v[0], v[1:, -1], v[-1, -2::-1], v[-2::-1, 0]]) for v in (x, y, z, foot)]
    n = len(rings[0])
    a = np.arange(n - 1)
    points = np.vstack([np.column_stack([*rings[:2], height]) for height in rings[2:]])
    return _surface(points, np.column_stack([a, a + 1, a + 1 + n, a + n]))


def foot_corners(ground: Ground, heights: Floats, extent: Extent) -> Floats:
    """(4, 3) corners of the block's foot, anticlockwise from the south-west."""
    xs, ys, z = ground_nodes(ground, heights, extent)
    foot = block_foot(xs, ys, z, extent)
    corners = ((0, 0), (0, -1), (-1, -1), (-1, 0))
    return np.array([[xs[column], ys[row], foot[row, column]] for row, column in corners])


@lru_cache(maxsize=2)
def solid_parts(solids: Solids, extent: Extent) -> tuple[Part, ...]:
    """Solids with their edges, cut where the block of ground ends."""
    if not len(solids.triangles):
        return ()
    near = _surface(solids.vertices, solids.triangles[_triangles_near(solids, extent)])
    mesh = _cut_to(near.clean(), extent)
    if not mesh.n_cells:
        return ()
    parts = [Part("solids", mesh, SOLID.fill)]
    edges = mesh.extract_feature_edges(feature_angle=25, boundary_edges=False, manifold_edges=False)
    if edges.n_cells:
        parts.append(Part("solids", edges, SOLID.line, line_px=SOLID.scene_px))
    return tuple(parts)


@lru_cache(maxsize=2)
def foliage_parts(foliage: Foliage, extent: Extent) -> tuple[Part, ...]:
    """The leaves near the picture, so thin that what stands behind them shows."""
    grown = leaf_volume(foliage, extent)
    if grown is None:
        return ()
    values, origin, spacing = grown
    grid: Any = pv.ImageData(dimensions=values.shape[::-1], spacing=spacing, origin=origin)
    grid["leaves"] = values.ravel()
    return (Part("foliage", grid.contour([0.5], "leaves"), GROWN.fill, GROWN.strength),)


def leaf_outlines(parts: Iterable[Part], camera: Camera) -> list[Part]:
    """The outlines of leaves as a camera sees them: they are drawn too thin to be told by their colour."""
    outlines = []
    for part in parts:
        if part.group == "foliage" and part.mesh.n_cells:
            view = vtkCamera()
            view.SetPosition(camera.position)
            view.SetFocalPoint(camera.target)
            found = vtkPolyDataSilhouette()
            found.SetInputData(part.mesh)
            found.SetCamera(view)
            found.SetEnableFeatureAngle(False)
            found.Update()
            lines = pv.wrap(found.GetOutput())
            if lines.n_cells:
                outlines.append(Part("foliage", lines, GROWN.line, line_px=GROWN.scene_px))
    return outlines


def _triangles_near(solids: Solids, extent: Extent) -> Any:
    corners = solids.vertices[solids.triangles][:, :, :2]
    low, high = corners.min(axis=1), corners.max(axis=1)
    return (
        (low[:, 0] < extent.east)
        & (high[:, 0] > extent.west)
        & (low[:, 1] < extent.north)
        & (high[:, 1] > extent.south)
    )


def _cut_to(mesh: Any, extent: Extent) -> Any:
    """What of a mesh stands on the drawn block."""
    west, east, south, north = mesh.bounds[:4] if mesh.n_cells else (0.0, 0.0, 0.0, 0.0)
    for leaves, normal, place in (
        (west < extent.west, "-x", extent.west),
        (east > extent.east, "x", extent.east),
        (south < extent.south, "-y", extent.south),
        (north > extent.north, "y", extent.north),
    ):
        if leaves and mesh.n_cells:
            mesh = mesh.clip(normal, origin=[place, place, 0.0])
    return mesh


def drawn_line(
    ground: Ground,
    heights: Floats,
    line: Floats,
    sign: Sign,
) -> list[Part]:
    """A line on the ground by its sign, with a white line under it, so that it shows on every colour."""
    cut = dashes(line, sign.scene_m) if sign.scene_m else [line]
    meshes = [_line(piece) for one in cut for piece in draped_lines(ground, heights, one)]
    if sign.scene_m and len(meshes) > 1:
        # Drawn as one thing: a dash for itself would cost as much as a line.
        meshes = [meshes[0].append_polydata(*meshes[1:])]
    parts = []
    for mesh in meshes:
        parts.append(Part("marks", mesh, palette.PAPER, line_px=sign.scene_px + 2.0, raise_steps=2))
        parts.append(Part("marks", mesh.copy(), sign.line, line_px=sign.scene_px, raise_steps=4))
    return parts


def unit_parts(ground: Ground, heights: Floats, unit: Detector) -> list[Part]:
    """A unit on its pole, larger than life, and its arcs at maximum range dashed where masked."""
    pole, housing = _on_pole(unit.x, unit.y, unit.ground_z, unit.height_m)
    parts = [Part("units", pole, palette.POLE), Part("units", housing, palette.UNIT)]
    for outline in masked_outlines(unit):
        parts += drawn_line(ground, heights, outline, MASKED_ARC)
    for outline in open_outlines(unit):
        parts += drawn_line(ground, heights, outline, UNIT)
    return parts


@lru_cache(maxsize=64)
def _on_pole(x: float, y: float, ground_z: float, height_m: float) -> tuple[Any, Any]:
    """The pole and the housing of a unit, the same however it is turned."""
    centre = (x, y, ground_z + height_m / 2)
    pole = pv.Cylinder(center=centre, direction=(0, 0, 1), radius=0.07, height=height_m)
    eye = (x, y, ground_z + height_m)
    return pole, pv.Sphere(radius=0.2, center=eye, theta_resolution=24, phi_resolution=24)


def layer_parts(unit: Detector, reach: Reach) -> list[Part]:
    """Faint sides and a stronger far end, so that the ground's colours show through."""
    parts = []
    for head in posed_heads(unit):
        for layer, stretch in product(head.layers, head.open_deg):
            points, triangles = layer_body(unit, head, layer, reach, stretch)
            colour = palette.layer_colour(layer.name)
            sides = (triangles == 0).any(axis=1)
            parts.append(Part("layers", _surface(points, triangles[sides]), colour, 0.055))
            # Where a layer lands its end lies on what it hits, whose own colour says more.
            open_end = np.linalg.norm(points - points[0], axis=1) > unit.type.max_range - 1e-6
            end = triangles[~sides & open_end[triangles].any(axis=1)]
            if len(end):
                parts.append(Part("layers", _surface(points, end), colour, 0.35))
            far = points[1:].reshape(LAYER_ROWS, -1, 3)
            for row in (0, -1):
                outline = np.vstack([points[:1], far[row], points[:1]])
                parts.append(Part("layers", _line(outline), colour, line_px=1.3))
    return parts


def scale_parts(corners: Floats, camera: Camera) -> tuple[list[Part], list[Tag]]:
    """A black and white ribbon along the foot of the side that faces the camera most squarely."""
    outward = np.array([[0.0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]])
    towards = np.asarray(camera.position) - corners.mean(axis=0)
    side = int(np.argmax(outward @ towards))
    start, end = corners[side], corners[(side + 1) % 4]
    # Of distances on the map, along a foot that leans as well.
    length = float(np.linalg.norm((end - start)[:2]))
    along = (end - start) / length
    rounds = (200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)
    step = in_metres(next((s for s in rounds if 2 * s <= 0.45 * in_unit(length)), 0.5))
    start = start + 0.06 * length * along + 0.02 * outward[side]
    tall = np.array([0, 0, 0.011 * length])
    parts = []
    for k, colour in enumerate((palette.INK, palette.PAPER)):
        a, b = start + k * step * along, start + (k + 1) * step * along
        parts.append(
            Part("scale", _surface(np.array([a, b, b + tall, a + tall]), _ONE_QUAD), colour, lit=False)
        )
    ring = np.array([start, start + 2 * step * along, start + 2 * step * along + tall, start + tall, start])
    parts.append(Part("scale", _line(ring), palette.INK, line_px=1.0))
    tags = [
        Tag(given(k * step) if k == 2 else given_figure(k * step), _point(start + k * step * along), "scale")
        for k in range(3)
    ]
    return parts, tags


@lru_cache(maxsize=2)
def _figure_bodies(figure: Figure) -> list[tuple[Floats, NDArray[np.int64]]]:
    """Corners and triangles of each outline of a figure, as thick as a body, standing on zero."""
    from trimesh.creation import extrude_polygon

    depth, bodies = _BODY_DEPTH * figure.height_m, []
    for outline in silhouette(figure):
        solid: Any = extrude_polygon(shapely.Polygon(outline), depth)
        # Drawn lying down: what was up on paper stands up.
        corners = np.column_stack(
            [solid.vertices[:, 0], depth / 2 - solid.vertices[:, 2], solid.vertices[:, 1]]
        )
        bodies.append((corners, np.array(solid.faces, np.int64)))
    return bodies


def figure_parts(figure: Figure, place: tuple[float, float, float], camera: Camera) -> list[Part]:
    """The figure for scale, as thick as a body, turned to face the camera, with a white rim as in a section.

    No light falls on it: it has the colour of the key, and its rim shows it on the darkest verdict.
    """
    depth = _BODY_DEPTH * figure.height_m
    meshes = [_surface(points, faces) for points, faces in _figure_bodies(figure)]
    east, north = np.subtract(camera.position, place)[:2]
    body = meshes[0] if len(meshes) == 1 else meshes[0].append_polydata(*meshes[1:])
    around = shapely.union_all([shapely.Polygon(outline) for outline in silhouette(figure)])
    rims = [
        _line(np.column_stack([ring[:, 0], np.full(len(ring), -depth / 2), ring[:, 1]]))
        for ring in (np.asarray(part.exterior.coords) for part in shapely.get_parts(around))
    ]
    turn = math.degrees(math.atan2(east, -north))
    stood = [mesh.rotate_z(turn).translate(place) for mesh in (body, *rims)]
    return [
        Part("marks", stood[0], palette.FIGURE, lit=False),
        *(Part("marks", rim, palette.PAPER, line_px=_RIM_PX) for rim in stood[1:]),
    ]


def _point(values: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _surface(points: Floats, faces: Ints) -> Any:
    polygons: Any = np.ascontiguousarray(faces)
    return pv.PolyData.from_regular_faces(np.ascontiguousarray(points), polygons)


def _line(points: Floats) -> Any:
    return pv.lines_from_points(points)

"""One option as a scene of pyvista parts: the same for pictures without a display and for the window."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv

from terrain3d.cover.option import OptionResult
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.job import Outcome
from terrain3d.show import palette
from terrain3d.show.camera import Camera, block_depth
from terrain3d.show.drape import drape
from terrain3d.show.extent import Extent, head_arcs, head_sector
from terrain3d.show.shapes import (
    LAYER_ROWS,
    Ints,
    Reach,
    contour_levels,
    draped_lines,
    filled_heights,
    foliage_shell,
    ground_nodes,
    layer_body,
    smoothed_heights,
    spot_within,
)
from terrain3d.terrain import Ground, Solids
from terrain3d.units import Floats

_ONE_QUAD = np.array([[0, 1, 2, 3]])
_UP = np.array([[0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class Part:
    """One mesh and how it looks. `group` is what a person switches on and off with a key."""

    group: str
    mesh: Any
    colour: str = palette.INK
    opacity: float = 1.0
    line_px: float = 0.0
    raise_steps: int = 1
    texture: Any = None
    lit: bool = True


@dataclass(frozen=True)
class Tag:
    """A name at a point of the scene; `kind` is unit, figure, area or scale."""

    text: str
    point: tuple[float, float, float]
    kind: str


@dataclass(frozen=True)
class Scene:
    """Everything to be seen of one option."""

    parts: tuple[Part, ...]
    tags: tuple[Tag, ...]


def build_scene(
    outcome: Outcome, option: OptionResult, extent: Extent, reach: Reach, camera: Camera
) -> Scene:
    """Put an option together.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    extent : Extent
        The part of the site to show.
    reach : callable
        Distances from an eye (3,) along unit directions (n, 3), inf for none: where layers end.
    camera : Camera
        Where the scene is seen from at first; the scale lies on the side nearest to it.
    """
    terrain = outcome.terrain
    heights = filled_heights(terrain.ground)
    parts = _ground_parts(terrain.ground, heights, option, extent)
    parts += _solid_parts(terrain.solids, extent)
    shell, quads = foliage_shell(terrain.foliage, extent)
    if len(quads):
        parts.append(Part("foliage", _surface(shell, quads), palette.FOLIAGE, 0.62))
    for area in terrain.protect:
        ring = np.vstack([area.outline, area.outline[:1]])
        parts += _drawn_line(terrain.ground, heights, ring, palette.PROTECTED, 3.5)
    for unit in option.detectors:
        parts += _unit_parts(terrain.ground, heights, unit)
        parts += _layer_parts(unit, reach)
    person = standing_place(outcome, reach)
    if person is not None:
        parts.append(Part("marks", _figure_mesh(outcome.figure, person), palette.FIGURE))
    bar, figures = _scale_bar(_foot_corners(terrain.ground, heights, extent), camera)
    return Scene((*parts, *bar), (*_tags(outcome, option, heights, person), *figures))


def standing_place(outcome: Outcome, reach: Reach) -> tuple[float, float, float] | None:
    """Where the figure stands for scale, the same in every option: on protected ground, in the open."""
    plan: list[tuple[float, float]] = []
    for area in outcome.terrain.protect:
        spot = spot_within(area)
        if spot is not None:
            plan += [spot, *((float(x), float(y)) for x, y in spot + 0.6 * (area.outline - spot))]
    for unit in (unit for option in outcome.options for unit in option.detectors):
        pan, _ = head_arcs(unit)[0]
        (x, y), *_ = head_sector(unit, pan, 1.0, 0.6 * unit.type.max_range)
        plan.append((float(x), float(y)))
    for x, y in plan:
        z = float(outcome.terrain.ground.height_at([x], [y])[0])
        # Under a roof or inside a wall the figure would not be seen.
        if np.isfinite(z) and np.isinf(reach(np.array([x, y, z + 0.1]), _UP)).all():
            return x, y, z
    return None


def show_scene(plotter: Any, scene: Scene, line_scale: float = 1.0) -> dict[str, list[Any]]:
    """Add a scene to the current view of a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter
    scene : Scene
    line_scale : float
        Widens the lines, for pictures that are averaged down.

    Returns
    -------
    dict
        The actors of each group.
    """
    actors: dict[str, list[Any]] = {}
    for part in scene.parts:
        look: dict[str, Any] = {"reset_camera": False, "show_scalar_bar": False, "render": False}
        if part.texture is not None:
            look |= {"texture": part.texture, "ambient": 0.38, "diffuse": 0.72, "specular": 0.0}
        elif not part.lit:
            look |= {"color": part.colour, "lighting": False}
        elif part.line_px:
            look |= {"color": part.colour, "line_width": line_scale * part.line_px, "lighting": False}
        elif part.opacity < 1:
            # Far sides seen through near ones would only muddy the colour.
            hidden = "back" if part.group == "foliage" else None
            look |= {"color": part.colour, "opacity": part.opacity, "ambient": 0.6, "diffuse": 0.4}
            look |= {"culling": hidden}
        else:
            look |= {"color": part.colour, "ambient": 0.5, "diffuse": 0.65, "specular": 0.0}
        actor = plotter.add_mesh(part.mesh, **look)
        if part.line_px:
            _draw_in_front(actor, part.raise_steps)
        actors.setdefault(part.group, []).append(actor)
    return actors


def _draw_in_front(actor: Any, steps: int) -> None:
    """Pull a line towards the eye by steps of depth, so that the ground it lies on does not cut it."""
    mapper = actor.mapper
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-1.0, -40.0 * steps)


def light_scene(plotter: Any) -> None:
    """Daylight from the north-west as on the plan, and a weak one from the other side."""
    plotter.remove_all_lights()
    for place, strength in (((-0.5, 0.5, 0.85), 0.85), ((0.6, -0.7, 0.5), 0.35)):
        light = pv.Light(position=place, focal_point=(0, 0, 0), intensity=strength, light_type="scene light")
        light.positional = False
        plotter.add_light(light)


def aim(plotter: Any, camera: Camera) -> None:
    """Point the current view of a plotter."""
    plotter.camera.position = camera.position
    plotter.camera.focal_point = camera.target
    plotter.camera.up = (0.0, 0.0, 1.0)
    plotter.camera.view_angle = camera.view_angle_deg
    plotter.renderer.ResetCameraClippingRange()


def _surface(points: Floats, faces: Ints) -> Any:
    polygons: Any = np.ascontiguousarray(faces)
    return pv.PolyData.from_regular_faces(np.ascontiguousarray(points), polygons)


def _line(points: Floats) -> Any:
    return pv.lines_from_points(points)


def _ground_parts(ground: Ground, heights: Floats, option: OptionResult, extent: Extent) -> list[Part]:
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
    image = drape(option.verdicts[extent.rows, extent.columns])
    # pyvista reads pictures from the top; the drape starts in the south.
    library: Any = pv
    texture = library.Texture(np.ascontiguousarray(image[::-1]))
    texture.interpolate = True
    parts = [
        Part("ground", surface, texture=texture),
        Part("ground", _sides(x, y, z, extent), palette.BLOCK_SIDE),
    ]
    levels, _ = contour_levels(smooth)
    if len(levels):
        measured = np.isfinite(smooth).ravel()
        known = _surface(surface.points, quads[measured[quads].all(axis=1)])
        known["height"] = smooth.ravel()
        lines = known.contour(list(levels), scalars="height")
        parts.append(Part("contours", lines, palette.CONTOUR, line_px=1.0))
    return parts


def _sides(x: Floats, y: Floats, z: Floats, extent: Extent) -> Any:
    """The cut sides of the block of ground, down to a level foot."""
    rings = [np.concatenate([v[0], v[1:, -1], v[-1, -2::-1], v[-2::-1, 0]]) for v in (x, y, z)]
    top = np.column_stack(rings)
    foot = top.copy()
    foot[:, 2] = _foot_height(z, extent)
    n = len(top)
    a = np.arange(n - 1)
    return _surface(np.vstack([top, foot]), np.column_stack([a, a + 1, a + 1 + n, a + n]))


def _foot_height(z: Floats, extent: Extent) -> float:
    return float(z.min()) - block_depth(extent)


def _foot_corners(ground: Ground, heights: Floats, extent: Extent) -> Floats:
    """(4, 3) corners of the block's foot, anticlockwise from the south-west."""
    foot = _foot_height(ground_nodes(ground, heights, extent)[2], extent)
    west, south, east, north = extent.west, extent.south, extent.east, extent.north
    return np.array([[west, south, foot], [east, south, foot], [east, north, foot], [west, north, foot]])


def _scale_bar(corners: Floats, camera: Camera) -> tuple[list[Part], list[Tag]]:
    """A black and white ribbon along the foot of the side that faces the camera most squarely."""
    outward = np.array([[0.0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]])
    towards = np.asarray(camera.position) - corners.mean(axis=0)
    side = int(np.argmax(outward @ towards))
    start, end = corners[side], corners[(side + 1) % 4]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    step = next((s for s in (50.0, 20.0, 10.0, 5.0, 2.0, 1.0) if 2 * s <= 0.45 * length), 0.5)
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
        Tag(f"{k * step:g}" + (" m" if k == 2 else ""), _point(start + k * step * along), "scale")
        for k in range(3)
    ]
    return parts, tags


def _point(values: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _solid_parts(solids: Solids, extent: Extent) -> list[Part]:
    if not len(solids.triangles):
        return []
    near = _surface(solids.vertices, solids.triangles[_triangles_near(solids, extent)])
    mesh = _cut_to(near.clean(), extent)
    if not mesh.n_cells:
        return []
    parts = [Part("solids", mesh, palette.SOLID)]
    edges = mesh.extract_feature_edges(feature_angle=25, boundary_edges=False, manifold_edges=False)
    if edges.n_cells:
        parts.append(Part("solids", edges, palette.SOLID_EDGE, line_px=1.5))
    return parts


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


def _drawn_line(ground: Ground, heights: Floats, line: Floats, colour: str, line_px: float) -> list[Part]:
    """A line on the ground with a white line under it, so that it shows on every colour."""
    parts = []
    for piece in draped_lines(ground, heights, line):
        mesh = _line(piece)
        parts.append(Part("marks", mesh, "#ffffff", line_px=line_px + 2.0, raise_steps=2))
        parts.append(Part("marks", mesh.copy(), colour, line_px=line_px, raise_steps=4))
    return parts


def _unit_parts(ground: Ground, heights: Floats, unit: Detector) -> list[Part]:
    eye = np.array(unit.eye)
    pole = pv.Cylinder(
        center=(unit.x, unit.y, unit.ground_z + unit.height_m / 2),
        direction=(0, 0, 1),
        radius=0.07,
        height=unit.height_m,
    )
    housing = pv.Sphere(radius=0.2, center=eye, theta_resolution=24, phi_resolution=24)
    parts = [Part("units", pole, palette.POLE), Part("units", housing, palette.UNIT)]
    for pan, arc in head_arcs(unit):
        rim = head_sector(unit, pan, arc, unit.type.max_range)
        foot = [[unit.x, unit.y]]
        parts += _drawn_line(ground, heights, np.vstack([foot, rim, foot]), palette.UNIT, 1.9)
    return parts


def _layer_parts(unit: Detector, reach: Reach) -> list[Part]:
    """Faint sides and a stronger far end, so that the ground's colours show through."""
    parts = []
    for head in posed_heads(unit):
        for layer in head.layers:
            points, triangles = layer_body(unit, head, layer, reach)
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


def _figure_mesh(figure: Figure, place: tuple[float, float, float]) -> Any:
    """An upright body of the figure's height, for scale."""
    x, y, z = place
    radius = 0.13 * figure.height_m
    body = pv.Cylinder(
        center=(x, y, z + 0.41 * figure.height_m),
        direction=(0, 0, 1),
        radius=radius,
        height=0.82 * figure.height_m,
        resolution=24,
    )
    head = pv.Sphere(radius=0.09 * figure.height_m, center=(x, y, z + 0.91 * figure.height_m))
    return body.triangulate().merge(head)


def _tags(
    outcome: Outcome, option: OptionResult, heights: Floats, person: tuple[float, float, float] | None
) -> tuple[Tag, ...]:
    terrain = outcome.terrain
    tags = [
        Tag(f"{unit.name}\n{unit.mount}", (unit.x, unit.y, unit.eye[2] + 0.25), "unit")
        for unit in option.detectors
    ]
    if person is not None:
        top = (person[0], person[1], person[2] + outcome.figure.height_m)
        tags.append(Tag(f"{outcome.figure.name}, {outcome.figure.height_m:g} m", top, "figure"))
    surface = Ground(terrain.ground.x0, terrain.ground.y0, terrain.ground.cell_m, heights)
    for area in terrain.protect:
        spot = spot_within(area)
        if spot is not None:
            z = float(surface.height_at([spot[0]], [spot[1]])[0])
            tags.append(Tag(area.name, (*spot, z), "area"))
    return tuple(tag for tag in tags if np.isfinite(tag.point).all())

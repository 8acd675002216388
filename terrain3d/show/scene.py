"""One option as a scene of pyvista parts: the same for pictures without a display and for the window."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.lengths import given
from terrain3d.show.camera import Camera
from terrain3d.show.extent import Extent, head_arcs, head_sector
from terrain3d.show.legend import PROTECTED
from terrain3d.show.light import GROUND_AMBIENT, GROUND_DIFFUSE, LEAF_LIGHT, LIGHTS, SOLID_LIGHT
from terrain3d.show.parts import (
    Part,
    Tag,
    drawn_line,
    figure_parts,
    foliage_parts,
    foot_corners,
    ground_parts,
    layer_parts,
    leaf_outlines,
    scale_parts,
    solid_parts,
    unit_parts,
)
from terrain3d.show.shapes import Reach, filled_heights, spot_within
from terrain3d.terrain import Area, Ground
from terrain3d.units import Floats

#: What is seen of ground, metres above it: over what is rough of it.
_SEEN_ABOVE_M = 0.3
_UP = np.array([[0.0, 0.0, 1.0]])
#: The figure for scale stands at least so far from any unit, metres: behind a pole nobody would see it.
_CLEAR_OF_UNITS_M = 1.5


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
    person = standing_place(outcome, reach)
    still = still_parts(outcome, option, extent, camera, person, reach)
    heights = filled_heights(outcome.terrain.ground)
    moving = moving_parts(outcome.terrain.ground, heights, option, reach)
    outlines = leaf_outlines(still.parts, camera)
    return Scene((*still.parts, *moving.parts, *outlines), (*moving.tags, *still.tags))


def still_parts(
    outcome: Outcome,
    option: OptionResult,
    extent: Extent,
    camera: Camera,
    person: tuple[float, float, float] | None,
    reach: Reach | None = None,
) -> Scene:
    """What no setting moves: the ground with the option's verdicts on it, and all that stands there.

    Parameters
    ----------
    person : (x, y, z), optional
        Where the figure stands for scale.
    reach : callable, optional
        Distances along rays, as for `build_scene`, where the camera stays: an area whose ground it does not
        see has no name then, which would stand on what hides it.
    """
    terrain = outcome.terrain
    heights = filled_heights(terrain.ground)
    parts = ground_parts(terrain, option, extent)
    parts += solid_parts(terrain.solids, extent)
    parts += foliage_parts(terrain.foliage, extent)
    for area in terrain.protect:
        ring = np.vstack([area.outline, area.outline[:1]])
        parts += drawn_line(terrain.ground, heights, ring, PROTECTED)
    if person is not None:
        parts += figure_parts(outcome.figure, person, camera)
    bar, figures = scale_parts(foot_corners(terrain.ground, heights, extent), camera)
    return Scene((*parts, *bar), (*_still_tags(outcome, heights, person, camera, reach), *figures))


def moving_parts(ground: Ground, heights: Floats, option: OptionResult, reach: Reach) -> Scene:
    """What follows the settings of an option: its units, their arcs and their layers.

    Parameters
    ----------
    ground : Ground
    heights : (ny, nx) float
        Its heights without gaps.
    option : OptionResult
    reach : callable
        Distances along rays, as for `build_scene`.
    """
    parts = []
    for unit in option.detectors:
        parts += unit_parts(ground, heights, unit)
        parts += layer_parts(unit, reach)
    tags = [
        Tag(f"{unit.name}\n{unit.mount}", (unit.x, unit.y, unit.eye[2] + 0.25), "unit")
        for unit in option.detectors
        if np.isfinite(unit.eye).all()
    ]
    return Scene(tuple(parts), tuple(tags))


def standing_place(outcome: Outcome, reach: Reach) -> tuple[float, float, float] | None:
    """Where the figure stands for scale, the same in every option: on protected ground, in the open."""
    plan: list[tuple[float, float]] = []
    for area in outcome.terrain.protect:
        plan += _spots_in(area)
    units = [unit for option in outcome.options for unit in option.detectors]
    for unit in units:
        pan, _ = head_arcs(unit)[0]
        (x, y), *_ = head_sector(unit, pan, 1.0, 0.6 * unit.type.max_range)
        plan.append((float(x), float(y)))
    for x, y in plan:
        if any(math.hypot(unit.x - x, unit.y - y) < _CLEAR_OF_UNITS_M for unit in units):
            continue
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
        actors.setdefault(part.group, []).append(add_part(plotter, part, line_scale))
    return actors


def add_part(plotter: Any, part: Part, line_scale: float = 1.0) -> Any:
    """Add one part to the current view of a plotter; its actor."""
    look: dict[str, Any] = {"reset_camera": False, "show_scalar_bar": False, "render": False}
    if part.texture is not None:
        ambient, diffuse = part.light * GROUND_AMBIENT, part.light * GROUND_DIFFUSE
        look |= {"texture": part.texture, "ambient": ambient, "diffuse": diffuse, "specular": 0.0}
    elif not part.lit:
        look |= {"color": part.colour, "opacity": part.opacity, "lighting": False}
    elif part.line_px:
        look |= {"color": part.colour, "line_width": line_scale * part.line_px, "lighting": False}
    elif part.opacity < 1:
        # Far sides seen through near ones would only muddy the colour.
        hidden = "back" if part.group == "foliage" else None
        ambient, diffuse = LEAF_LIGHT
        look |= {"color": part.colour, "opacity": part.opacity, "ambient": ambient, "diffuse": diffuse}
        look |= {"culling": hidden}
    else:
        ambient, diffuse = SOLID_LIGHT
        look |= {"color": part.colour, "ambient": ambient, "diffuse": diffuse, "specular": 0.0}
    actor = plotter.add_mesh(part.mesh, **look)
    if part.line_px:
        _draw_in_front(actor, part.raise_steps)
    return actor


def _draw_in_front(actor: Any, steps: int) -> None:
    """Pull a line towards the eye by steps of depth, so that the ground it lies on does not cut it."""
    mapper = actor.mapper
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-1.0, -40.0 * steps)


def light_scene(plotter: Any) -> None:
    """Daylight from the north-west as on the plan, and a weak one from the other side."""
    plotter.remove_all_lights()
    for place, strength in LIGHTS:
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


def _spots_in(area: Area) -> list[tuple[float, float]]:
    """Places in an area: the one for its name, and others from there towards its corners."""
    spot = spot_within(area)
    return (
        [] if spot is None else [spot, *((float(x), float(y)) for x, y in spot + 0.6 * (area.outline - spot))]
    )


def _is_seen(point: Floats, camera: Camera, reach: Reach | None) -> bool:
    towards = np.asarray(camera.position) - point
    return reach is None or bool(np.isinf(reach(point, towards[None] / np.linalg.norm(towards))).all())


def _still_tags(
    outcome: Outcome,
    heights: Floats,
    person: tuple[float, float, float] | None,
    camera: Camera,
    reach: Reach | None,
) -> list[Tag]:
    terrain = outcome.terrain
    tags = []
    if person is not None:
        top = (person[0], person[1], person[2] + outcome.figure.height_m)
        tags.append(Tag(f"{outcome.figure.name}, {given(outcome.figure.height_m)}", top, "figure"))
    surface = Ground(terrain.ground.x0, terrain.ground.y0, terrain.ground.cell_m, heights)
    for area in terrain.protect:
        for x, y in _spots_in(area):
            z = float(surface.height_at([x], [y])[0])
            if _is_seen(np.array([x, y, z + _SEEN_ABOVE_M]), camera, reach):
                tags.append(Tag(area.name, (x, y, z), "area"))
                break
    return [tag for tag in tags if np.isfinite(tag.point).all()]

"""What a study adds to a view: the ways through the site, and what lies beyond the boundary."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from terrain3d.show.extent import Extent, whole_cells
from terrain3d.show.legend import BOUNDARY, NUISANCE, WALK, piece_sign
from terrain3d.show.parts import Part, Tag, drawn_line
from terrain3d.show.scene import Scene
from terrain3d.show.shapes import filled_heights
from terrain3d.show.ways import alarm_scene, route_scene
from terrain3d.study import OptionStudy, Study
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats
from terrain3d.walk.pulses import WalkResult


def ways_scene(terrain: Terrain, found: OptionStudy, extent: Extent) -> Scene:
    """The walks and the open routes of an option, with a pin where each raises the alarm.

    Parameters
    ----------
    terrain : Terrain
    found : OptionStudy
    extent : Extent
        What the view shows; the ways are cut where it ends.
    """
    ground = _shown_ground(terrain, extent)
    scenes = [_walk_scene(ground, walk) for walk in (found.walks.walks if found.walks is not None else ())]
    routes = found.routes or ()
    for route in routes:
        one = route_scene(ground, route)
        prefix = f"{route.area}: " if len(routes) > 1 else ""
        tags = [
            tag if tag.kind == "figure" else Tag(f"{prefix}{tag.text}", tag.point, "unit") for tag in one.tags
        ]
        scenes.append(Scene(one.parts, tuple(tags)))
    both = together(scenes)
    return Scene(both.parts, tuple(tag for tag in both.tags if np.isfinite(tag.point).all()))


def beyond_scene(terrain: Terrain, extent: Extent) -> Scene:
    """The boundary, the outlines of others' ground and of nuisance things, cut where the view ends."""
    ground = _shown_ground(terrain, extent)
    heights = ground.z
    parts: list[Part] = []
    tags: list[Tag] = []
    things = [(piece.name, piece.outline, piece_sign(piece.name, piece.kind)) for piece in terrain.beyond]
    things += [(thing.name, thing.outline, NUISANCE) for thing in terrain.nuisances]
    for name, outline, sign in things:
        parts += drawn_line(ground, heights, np.vstack([outline, outline[:1]]), sign)
        spot = _spot(outline, extent)
        if spot is not None:
            tags.append(Tag(name, (*spot, float(ground.height_at([spot[0]], [spot[1]])[0])), "area"))
    if terrain.boundary is not None:
        ring = np.vstack([terrain.boundary, terrain.boundary[:1]])
        parts += drawn_line(ground, heights, ring, BOUNDARY)
    known = [tag for tag in tags if np.isfinite(tag.point).all()]
    return Scene(tuple(parts), tuple(known))


def grown_extent(extent: Extent, study: Study) -> Extent:
    """A view that also holds own land, nuisance things and the spill of every option."""
    terrain = study.outcome.terrain
    ground = terrain.ground
    points = [np.array([[extent.west, extent.south], [extent.east, extent.north]])]
    points += [thing.outline for thing in terrain.nuisances]
    if terrain.boundary is not None:
        points.append(terrain.boundary)
    for spilt in (option.spill for option in study.options if option.spill is not None):
        rows, columns = np.nonzero(spilt.past_within | spilt.past_on)
        points.append(np.column_stack([spilt.ground.xs[columns], spilt.ground.ys[rows]]))
    every = np.vstack(points)
    west, south, east, north = ground.bounds
    low = np.maximum(every.min(axis=0), [west, south]) + 1e-6
    high = np.minimum(every.max(axis=0), [east, north]) - 1e-6
    return whole_cells(ground, low[0], low[1], high[0], high[1])


def in_group(scene: Scene, group: str) -> Scene:
    """The same parts under a name of their own."""
    return Scene(tuple(replace(part, group=group) for part in scene.parts), scene.tags)


def _walk_scene(ground: Ground, walk: WalkResult) -> Scene:
    parts = drawn_line(ground, ground.z, walk.line, WALK)
    x, y = (float(v) for v in walk.line[0])
    name = Tag(walk.name, (x, y, float(ground.height_at([x], [y])[0])), "area")
    pins = alarm_scene(ground, [] if walk.alarm is None else [(walk.alarm.x, walk.alarm.y)])
    return together([Scene(tuple(parts), (name,)), pins])


def _shown_ground(terrain: Terrain, extent: Extent) -> Ground:
    """The drawn part of the ground, without gaps: lines end where it does."""
    whole = terrain.ground
    part = filled_heights(whole)[extent.rows, extent.columns]
    x0, y0 = float(whole.xs[extent.columns][0]), float(whole.ys[extent.rows][0])
    return Ground(x0, y0, whole.cell_m, part)


def _spot(outline: Floats, extent: Extent) -> tuple[float, float] | None:
    """Where a name of an outline stands: on the part of it that is drawn."""
    frame = shapely.box(extent.west, extent.south, extent.east, extent.north)
    shown = shapely.make_valid(shapely.Polygon(outline)).intersection(frame)
    if shown.is_empty:
        return None
    spot = shown.representative_point()
    return float(spot.x), float(spot.y)


def together(scenes: Sequence[Scene]) -> Scene:
    """One scene of several."""
    return Scene(
        tuple(part for scene in scenes for part in scene.parts),
        tuple(tag for scene in scenes for tag in scene.tags),
    )

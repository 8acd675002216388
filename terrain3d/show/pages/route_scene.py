"""The ways in seen in space: lines a little over the ground, and where the alarm is raised."""

import math
from typing import Any

import pyvista as pv

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.show import palette, words
from terrain3d.show.camera import site_camera
from terrain3d.show.pages.oblique import draw_oblique
from terrain3d.show.pages.plan import Base
from terrain3d.show.pages.routes import drawn_routes, lines_shown, route_rows, starts_of
from terrain3d.show.pages.sheet import PICTURE, PICTURE_ASPECT, Sheet, plain_sheet
from terrain3d.show.pages.size import SCREEN, Size
from terrain3d.show.pages.walks import plan_with
from terrain3d.show.parts import Part, Tag, drawn_line
from terrain3d.show.scene import Scene, build_scene
from terrain3d.show.shapes import Reach, filled_heights
from terrain3d.terrain import Ground
from terrain3d.walk.routes import OpenRoutes

#: Height of the pin over an alarm point, and the size of its head, metres.
_PIN_M, _HEAD_M = 1.0, 0.28


def routes_oblique_sheet(
    outcome: Outcome,
    option: OptionResult,
    route: OpenRoutes,
    base: Base,
    reach: Reach,
    size: Size = SCREEN,
    date: str = "",
) -> Sheet:
    """The ways in to one protected area under one option, seen obliquely.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    route : OpenRoutes
    base : Base
        What all plans of the site share.
    reach : callable
        Distances along rays, as for `show.scene.build_scene`.
    size : Size
    date : str
    """
    lines = lines_shown(outcome, drawn_routes(route))
    extent = plan_with(outcome, lines, base, SCREEN, PICTURE[2:]).extent
    camera = site_camera(outcome, extent, reach, PICTURE_ASPECT)
    scene, ways = (
        build_scene(outcome, option, extent, reach, camera),
        route_scene(outcome.terrain.ground, route),
    )
    place = words.place_in_ranking(outcome, option)
    view = f"ways in to {route.area}, oblique view"
    page = plain_sheet(outcome, option.name, view, route.words, place, size, date)
    route_rows(page, option, route)
    whole = Scene((*scene.parts, *ways.parts), (*ways.tags, *scene.tags))
    draw_oblique(page, outcome, option, extent, whole, camera)
    return page


def route_scene(ground: Ground, route: OpenRoutes) -> Scene:
    """The ways in to one protected area, to be put together with the scene of an option.

    Parameters
    ----------
    ground : Ground
    route : OpenRoutes
        Empty where nobody can walk there.
    """
    if route.least is None:
        return Scene((), ())
    heights = filled_heights(ground)
    surface = Ground(ground.x0, ground.y0, ground.cell_m, heights)
    parts: list[Part] = []
    tags: list[Tag] = []

    def foot(x: float, y: float) -> tuple[float, float, float]:
        return x, y, float(surface.height_at([x], [y])[0])

    drawn = drawn_routes(route)
    for one in drawn:
        if len(one.line) > 1:
            parts += drawn_line(ground, heights, one.line, one.colour, 5.0)
    for start, letters in starts_of(drawn):
        tags.append(Tag(", ".join(letters), foot(float(start[0]), float(start[1])), "unit"))
    for x, y in apart([one.alarm for one in drawn if one.alarm is not None]):
        z = foot(x, y)[2]
        parts += _pin(x, y, z)
        tags.append(Tag("alarm", (x, y, z + _PIN_M + _HEAD_M), "figure"))
    return Scene(tuple(parts), tuple(tags))


def apart(spots: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Of spots that lie within half a metre the first alone: two pins there would be one to the eye.

    >>> apart([(0.0, 0.0), (0.3, 0.0), (2.0, 0.0)])
    [(0.0, 0.0), (2.0, 0.0)]
    """
    kept: list[tuple[float, float]] = []
    for x, y in spots:
        if all(math.hypot(x - a, y - b) > 0.5 for a, b in kept):
            kept.append((x, y))
    return kept


def _pin(x: float, y: float, z: float) -> list[Part]:
    """A pin in the ground with a bright head."""
    shaft: Any = pv.Cylinder(center=(x, y, z + _PIN_M / 2), direction=(0, 0, 1), radius=0.04, height=_PIN_M)
    head: Any = pv.Sphere(radius=_HEAD_M, center=(x, y, z + _PIN_M))
    return [Part("marks", shaft, palette.INK), Part("marks", head, palette.ALARM)]

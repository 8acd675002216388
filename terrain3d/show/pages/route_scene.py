"""The ways in seen in space: lines a little over the ground, and where the alarm is raised."""

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.routes import routes_words
from terrain3d.show.camera import site_camera
from terrain3d.show.pages.oblique import draw_oblique
from terrain3d.show.pages.plan import Base
from terrain3d.show.pages.routes import line_signs, lines_shown, route_rows
from terrain3d.show.pages.sheet import PICTURE, PICTURE_ASPECT, Sheet, plain_sheet
from terrain3d.show.pages.size import SCREEN, Size
from terrain3d.show.pages.walks import plan_with
from terrain3d.show.scene import Scene, build_scene
from terrain3d.show.shapes import Reach
from terrain3d.show.ways import drawn_routes, route_scene
from terrain3d.walk.routes import OpenRoutes


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
    drawn = drawn_routes(route)
    lines = lines_shown(outcome, drawn)
    extent = plan_with(outcome, lines, base, SCREEN, PICTURE[2:]).extent
    camera = site_camera(outcome, extent, reach, PICTURE_ASPECT)
    scene, ways = (
        build_scene(outcome, option, extent, reach, camera),
        route_scene(outcome.terrain.ground, route),
    )
    place = words.place_in_ranking(outcome, option)
    view = f"ways in to {route.area}, oblique view"
    page = plain_sheet(outcome, option.name, view, routes_words(route), place, size, date)
    route_rows(page, option, route)
    whole = Scene((*scene.parts, *ways.parts), (*ways.tags, *scene.tags))
    draw_oblique(page, outcome, option, extent, whole, camera, line_signs(drawn))
    return page

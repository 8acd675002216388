"""The ways in seen in space: lines a little over the ground, and where the alarm is raised."""

from functools import partial

from terrain3d.cover.option import OptionResult
from terrain3d.sentences.routes import routes_words
from terrain3d.show.blocks import fill
from terrain3d.show.camera import site_camera
from terrain3d.show.pages.base import plan_with
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.oblique import draw_oblique
from terrain3d.show.pages.routes import line_signs, lines_shown, route_sections
from terrain3d.show.pages.sheet import PICTURE, PICTURE_ASPECT, Page, Sheet
from terrain3d.show.pages.size import SCREEN
from terrain3d.show.scene import Scene, build_scene
from terrain3d.show.ways import drawn_routes, route_scene
from terrain3d.walk.routes import OpenRoutes


def pages(context: PageContext) -> list[Page]:
    """The ways in to each protected area under each option."""
    return context.pages_of_options(
        "routes-oblique",
        lambda option: [
            partial(routes_oblique_sheet, context, option, route)
            for route in context.studied(option).routes or ()
        ],
    )


def routes_oblique_sheet(context: PageContext, option: OptionResult, route: OpenRoutes) -> Sheet:
    """The ways in to one protected area under one option, seen obliquely."""
    drawn, outcome, reach = drawn_routes(route), context.outcome, context.reach
    extent = plan_with(outcome, lines_shown(outcome, drawn), context.base, SCREEN, PICTURE[2:]).extent
    camera = site_camera(outcome, extent, reach, PICTURE_ASPECT)
    scene = build_scene(outcome, option, extent, reach, camera)
    ways = route_scene(outcome.terrain.ground, route)
    page = context.begin_option(option, f"ways in to {route.area}, oblique view", routes_words(route))
    fill(page, route_sections(option, route))
    whole = Scene((*scene.parts, *ways.parts), (*ways.tags, *scene.tags))
    draw_oblique(page, outcome, option, extent, whole, camera, line_signs(drawn))
    return page

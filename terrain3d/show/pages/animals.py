"""The page of animals: which of them raise the alarm where, and where a person who crawls does not."""

from functools import partial

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.sentences.animals import animals_line
from terrain3d.show.blocks import fill
from terrain3d.show.legend import CRAWLING, animal_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import bare_plan_signs, draw_plan, without_verdicts
from terrain3d.show.pages.shading import Shading, edge, shade
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.sections import animal_section, crawling_section, unit_section


def pages(context: PageContext) -> list[Page]:
    """A page of each option."""
    return context.pages_of_options("animals", lambda option: [partial(animals_sheet, context, option)])


def animals_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option."""
    found, base, outcome = context.studied(option).animals, context.printed, context.outcome
    assert found is not None
    view = "animals and crawling, plan, north up"
    page = context.begin_option(option, view, animals_line(found), base.scale)
    bare = without_verdicts(option)
    axes = draw_plan(page, outcome, bare, base)
    shade(axes, _shadings(found), base.extent)
    for ground in found.animals:
        edge(axes, outcome.terrain.ground, ground.where, palette.ANIMAL_SCALE[-1])
    page.key(bare_plan_signs(outcome, bare, base.extent))
    # Room is kept for the sentence under the animals, for crawling and for a unit.
    fill(page, [animal_section([found], spare=17), crawling_section([found]), unit_section(option.detectors)])
    return page


def _shadings(found: AnimalGround) -> list[Shading]:
    """Tallest first, so that the colour left on a cell is that of the lowest animal."""
    count = len(found.animals)
    shadings = [Shading(ground.where, animal_sign(rank, count)) for rank, ground in enumerate(found.animals)]
    return [*reversed(shadings), Shading(found.crawling.where, CRAWLING)]

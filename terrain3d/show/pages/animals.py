"""The page of animals: which of them raise the alarm where, and where a person who crawls does not."""

from functools import partial

from terrain3d.cover.option import OptionResult
from terrain3d.nuisance.animals import AnimalGround, FigureGround
from terrain3d.show import palette, words
from terrain3d.show.blocks import fill
from terrain3d.show.legend import CRAWLING, animal_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import draw_plan, plan_signs, without_verdicts
from terrain3d.show.pages.shading import Shading, edge, shade
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.sections import animal_section, crawling_section, unit_section
from terrain3d.wording import listed


def pages(context: PageContext) -> list[Page]:
    """A page of each option."""
    return context.pages_of_options("animals", lambda option: [partial(animals_sheet, context, option)])


def animals_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option."""
    found, base, outcome = context.studied(option).animals, context.printed, context.outcome
    assert found is not None
    view = "animals and crawling, plan, north up"
    page = context.begin_option(option, view, animals_line(found), base.scale)
    axes = draw_plan(page, outcome, without_verdicts(option), base)
    shade(axes, _shadings(found), base.extent)
    for ground in found.animals:
        edge(axes, outcome.terrain.ground, ground.where, palette.ANIMAL_SCALE[-1])
    page.key(plan_signs(outcome, (option,), base.extent))
    fill(page, [animal_section([found]), crawling_section([found]), unit_section(option.detectors)])
    return page


def animals_line(found: AnimalGround) -> str:
    """What to take from the page: the lowest animal that raises the alarm, and what a crawler gets.

    >>> from terrain3d.detector.figures import Figure
    >>> import numpy as np
    >>> nowhere = np.zeros((2, 2), bool)
    >>> dog = FigureGround(Figure("dog", 0.6, "invented"), 0.0, None, nowhere)
    >>> person = Figure("person", 1.7, "invented")
    >>> crawler = FigureGround(Figure("person crawling", 0.7, "invented"), 12.0, 2.0, ~nowhere)
    >>> animals_line(AnimalGround("gate", (dog,), person, crawler, 0.0))
    'No animal raises the alarm. A person crawling passes on 12 m² that hold a person, none of it protected.'
    """
    troublesome = [ground for ground in found.animals if ground.area_m2 > 0]
    if troublesome:
        lowest = troublesome[0]
        animals = (
            f"The lowest animal that raises the alarm is the {_named(lowest)}: on"
            f" {words.square_metres(lowest.area_m2)}, from {lowest.nearest_m:.1f} m off."
        )
        others = [ground.figure.name for ground in troublesome[1:]]
        if others:
            animals += f" The taller ones do so on more: {listed(others, most=len(others))}."
    else:
        animals = "No animal raises the alarm."
    low = found.crawling
    if low.area_m2 == 0:
        return f"{animals} A {low.figure.name} is held wherever a {found.upright.name} is."
    yard = found.crawling_protected_m2
    protected = f"{words.square_metres(yard)} of it" if yard > 0 else "none of it"
    return (
        f"{animals} A {low.figure.name} passes on {words.square_metres(low.area_m2)} that hold"
        f" a {found.upright.name}, {protected} protected."
    )


def _named(ground: FigureGround) -> str:
    return f"{ground.figure.name} ({ground.figure.height_m:.2f} m)"


def _shadings(found: AnimalGround) -> list[Shading]:
    """Tallest first, so that the colour left on a cell is that of the lowest animal."""
    count = len(found.animals)
    shadings = [
        Shading(ground.where, animal_sign(rank, count).fill) for rank, ground in enumerate(found.animals)
    ]
    return [*reversed(shadings), Shading(found.crawling.where, CRAWLING.stripe.colour, 1)]

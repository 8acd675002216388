"""The page of animals: which of them raise the alarm where, and where a person who crawls does not."""

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.sentences import words
from terrain3d.sentences.animals import LOWEST_COLOUR, animal_words, animals_line, stripes_words
from terrain3d.show import palette
from terrain3d.show.pages.column import unit_rows
from terrain3d.show.pages.plan import Base, paint_plan, plan_signs
from terrain3d.show.pages.shading import Shading, edge, shade, without_verdicts
from terrain3d.show.pages.sheet import Sheet, Stripe, plain_sheet, share_of_page
from terrain3d.show.pages.size import SCREEN, Size, scale_words

_STRIPE = Stripe("////", palette.CRAWLING_STRIPE)


def animals_sheet(
    outcome: Outcome,
    option: OptionResult,
    found: AnimalGround,
    base: Base,
    size: Size = SCREEN,
    date: str = "",
) -> Sheet:
    """The page of one option.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    found : AnimalGround
        Of this option.
    base : Base
        What the plans of all options share, made for this size.
    size : Size
    date : str
        Printed as it is; empty for none.
    """
    view = "animals and crawling, plan, north up"
    if base.scale is not None:
        view += f", {scale_words(base.scale, size)}"
    place = words.place_in_ranking(outcome, option)
    page = plain_sheet(outcome, option.name, view, animals_line(found), place, size, date)
    axes = page.picture_axes()
    paint_plan(page, axes, outcome, without_verdicts(option), base)
    shade(axes, _shadings(found), base.extent)
    for ground in found.animals:
        edge(axes, outcome.terrain.ground, ground.where, palette.ANIMAL_SCALE[-1])
    page.key(plan_signs(outcome, (option,), base.extent))
    _animal_rows(page, found)
    _crawling_rows(page, found)
    unit_rows(page, option)
    return page


def _shadings(found: AnimalGround) -> list[Shading]:
    """Tallest first, so that the colour left on a cell is that of the lowest animal."""
    count = len(found.animals)
    shadings = [
        Shading(ground.where, palette.animal_colour(rank, count)) for rank, ground in enumerate(found.animals)
    ]
    return [*reversed(shadings), Shading(found.crawling.where, palette.CRAWLING_STRIPE, 1)]


def _animal_rows(page: Sheet, found: AnimalGround) -> None:
    page.heading("Animals that raise the alarm")
    count, width = len(found.animals), page.right - page.left
    for rank, ground in enumerate(found.animals):
        # Room is kept for the sentence below, for crawling and for a unit.
        if rank < count - 1 and not page.room_for(18):
            page.row(f"and {count - rank} more: see results.json", size=7.5)
            break
        figure = words.square_metres(ground.area_m2) if ground.area_m2 else "none"
        name = animal_words(ground)
        room = width - 0.033 - share_of_page(figure, 8) - 0.01
        baseline = page.row(page.lines(name, room, 8, 1)[0], figure, indent=0.033)
        page.swatch(baseline, palette.animal_colour(rank, count), Stripe())
    page.gap(0.004)
    page.paragraph(
        LOWEST_COLOUR,
        3,
        color=palette.QUIET_INK,
    )
    page.gap()


def _crawling_rows(page: Sheet, found: AnimalGround) -> None:
    low = found.crawling
    page.heading("The alarm stays silent")
    figure = words.square_metres(low.area_m2)
    room = page.right - page.left - 0.033 - share_of_page(figure, 8) - 0.01
    name = animal_words(low)
    baseline = page.row(page.lines(name, room, 8, 1)[0], figure, indent=0.033)
    page.swatch(baseline, palette.PAPER, _STRIPE)
    page.row("of that protected", words.square_metres(found.crawling_protected_m2), indent=0.033)
    page.gap(0.004)
    page.paragraph(
        stripes_words(found),
        3,
        color=palette.QUIET_INK,
    )
    page.gap()

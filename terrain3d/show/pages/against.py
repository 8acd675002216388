"""An option against the best one: ground that both hold, and that one of them alone holds."""

from functools import partial

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult
from terrain3d.lengths import area_words
from terrain3d.ranking.compare import held_beside
from terrain3d.sentences.options import against_line
from terrain3d.show.blocks import Gap, Row, Section, fill
from terrain3d.show.legend import GAINED, HELD_BY_BOTH, LOST, Sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import bare_plan_signs, draw_plan, without_verdicts
from terrain3d.show.pages.shading import shade, whole_patch
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.sections import unit_section

Mask = NDArray[np.bool_]


def pages(context: PageContext) -> list[Page]:
    """A page of each option but the best, where they are ranked."""
    ranking = context.outcome.ranking

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        is_other = len(ranking) > 1 and option.name != ranking[0]
        return [partial(against_sheet, context, option)] if is_other else []

    return context.pages_of_options("against", draws)


def against_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of an option that is not the best."""
    base, outcome, best = context.printed, context.outcome, context.best_first[0]
    told = gained_and_lost(option, best)
    cell_m2 = outcome.terrain.ground.cell_m**2
    gained_m2, lost_m2 = (float(told[sign].sum()) * cell_m2 for sign in (GAINED, LOST))
    view = f'against "{best.name}", plan, north up'
    page = context.begin_option(option, view, against_line(option, best, gained_m2, lost_m2), base.scale)
    bare = without_verdicts(option)
    axes = draw_plan(page, outcome, bare, base)
    shade(axes, [one for sign, where in told.items() for one in whole_patch(where, sign)], base.extent)
    page.key(bare_plan_signs(outcome, bare, base.extent))
    counted = protected_weight(outcome.terrain.ground, outcome.terrain.protect) > 0
    sections = [_ground_section("All ground", told, cell_m2)]
    if counted.any():
        own = {sign: where & counted for sign, where in told.items()}
        sections.append(_ground_section("Of that protected", own, cell_m2))
    fill(
        page,
        [
            *sections,
            unit_section(option.detectors, spare=5),
            unit_section(best.detectors, "Units of the best"),
        ],
    )
    return page


def gained_and_lost(option: OptionResult, best: OptionResult) -> dict[Sign, Mask]:
    """(ny, nx) where both options hold ground with both layers, and where one of them alone does."""
    return dict(zip((HELD_BY_BOTH, GAINED, LOST), held_beside(option, best), strict=True))


def _ground_section(heading: str, told: dict[Sign, Mask], cell_m2: float) -> Section:
    rows = tuple(
        Row(sign.text, (area_words(float(where.sum()) * cell_m2),), sign) for sign, where in told.items()
    )
    return Section(heading, (*rows, Gap()))

"""The pages of what is left open close to the units: options side by side, then a plan of each."""

from functools import partial

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.sentences.close_in import WHAT, close_in_line, from_words, near_words
from terrain3d.show.blocks import Paragraph, Row, Section, fill
from terrain3d.show.legend import ALONG_WALL, BETWEEN_HEADS, NOTICED
from terrain3d.show.pages.beside import MOST, beside_sheet
from terrain3d.show.pages.column import shown_ground
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed, marked
from terrain3d.show.pages.plan import draw_plan, plan_signs
from terrain3d.show.pages.shading import Shading, shade
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.sections import close_in_section, unit_section
from terrain3d.walk.close_in import CloseIn
from terrain3d.wording import listed

#: Height of a heading, as a share of the page.
_HEADED = 0.06


def pages(context: PageContext) -> list[Page]:
    """The options side by side where there are several, and a page of each option."""
    options = context.best_first[:MOST]
    together = [partial(beside_sheet, context, options)] if len(options) > 1 else []
    return [
        *context.pages_of_all("close-in", [*together]),
        *context.pages_of_options("close-in", lambda option: [partial(close_in_sheet, context, option)]),
    ]


def close_in_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option."""
    found, outcome = context.studied(option).close_in, context.outcome
    assert found is not None
    base = context.printed
    page = context.begin_option(option, "close in, plan, north up", close_in_line(found), base.scale)
    axes = draw_plan(page, outcome, option, base)
    shade(axes, [Shading(found.wedge, BETWEEN_HEADS)], base.extent)
    for walk in found.along_wall:
        start, end = walk.line
        length = float(np.hypot(*(end - start)))
        spot = end + (start - end) * walk.near_m / length
        haloed(axes, np.array([start, spot]), ALONG_WALL, 11, 3.4, solid_capstyle="butt")
        if walk.is_noticed:
            marked(axes, spot, NOTICED, 12)
    page.key(plan_signs(outcome, (option,), base.extent))
    fill(
        page,
        [
            *_sections(found),
            shown_ground(context.outcome, option, base.extent),
            unit_section(option.detectors),
        ],
    )
    what = Paragraph(WHAT, 9, is_quiet=True)
    if page.height_of(what) + _HEADED <= page.room():
        fill(page, [Section("What is told", (what,))])
    return page


def _sections(found: CloseIn) -> list[Section]:
    """The three figures, then the walks along walls one by one."""
    walks = tuple(
        Row(f"{listed(walk.units)}, {from_words(walk)}", (near_words(walk),), ALONG_WALL)
        for walk in found.along_wall
    )
    sign = BETWEEN_HEADS if found.wedge.any() else None
    return [close_in_section([found], between=sign), *([Section("Along the wall", walks)] if walks else [])]

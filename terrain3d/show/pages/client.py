"""One page for the client: the recommended option, its picture and numbers, what stays open, what to do."""

from functools import partial

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.sentences.client import client_numbers, open_lines, to_do_lines
from terrain3d.sentences.options import brief_reason, one_line
from terrain3d.show.blocks import Gap, Listing, Paragraph, Section, fill
from terrain3d.show.camera import site_camera
from terrain3d.show.extent import site_extent
from terrain3d.show.legend import verdict_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.oblique import draw_oblique
from terrain3d.show.pages.sheet import (
    BLOCK_FLOOR,
    COLUMN_LEFT,
    COLUMN_RIGHT,
    PICTURE,
    PICTURE_ASPECT,
    Page,
    Sheet,
)
from terrain3d.show.scene import build_scene


def pages(context: PageContext) -> list[Page]:
    """One page, of the option that is ranked first."""
    return context.pages_of_all(
        "client", [partial(client_sheet, context, option) for option in context.best_first[:1]]
    )


def client_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of a recommended option."""
    outcome = context.outcome
    # What stays open stands beside the picture as well: where it is long the reason alone is under it.
    said, brief = one_line(outcome, option), brief_reason(outcome, option)
    page = context.begin_option(option, "the recommended option, oblique view", said, brief=brief)
    extent = site_extent(outcome)
    camera = site_camera(outcome, extent, context.reach, PICTURE_ASPECT)
    scene = build_scene(outcome, option, extent, context.reach, camera)
    signs = [verdict_sign(verdict) for verdict in sorted(Verdict, reverse=True)]
    draw_oblique(page, outcome, option, extent, scene, camera, signs)
    page.begin_column(COLUMN_LEFT, COLUMN_RIGHT, PICTURE[1] + PICTURE[3], BLOCK_FLOOR)
    for what, figure in client_numbers(option):
        page.figure_and_words(figure, what)
    still_open = tuple((Paragraph(line, 8), Gap()) for line in open_lines(option))
    to_do = tuple(
        (Paragraph(line, 5), Gap()) for line in to_do_lines(option, outcome.site.walk_tested(option.name))
    )
    sections = [Section("What to do", (Listing(to_do, where="see the page of warnings"),))]
    if still_open:
        sections.insert(0, Section("What stays open", (Listing(still_open, noun="area"),)))
    fill(page, sections)
    return page

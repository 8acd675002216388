"""Options side by side: up to four plans at one scale, each with its numbers."""

from dataclasses import replace
from functools import partial

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.sentences import words
from terrain3d.sentences.close_in import close_in_short
from terrain3d.sentences.outlay import outlay_words, wedge_words
from terrain3d.sentences.warnings import voiding
from terrain3d.sentences.why import why
from terrain3d.show.blocks import Paragraph, Row, Section, fill
from terrain3d.show.pages.column import shown_ground
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import draw_plan, plan_signs
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet, share_of_page
from terrain3d.show.sections import protected_sections

#: More options than this do not fit on one page.
MOST = 4
_TITLES = {2: "Two options side by side", 3: "Three options side by side", 4: "Four options side by side"}
_TOP, _FLOOR, _GAP = 0.875, 0.135, 0.03
#: Size of type of a name that is not too long.
_NAME = 10.5
#: How far the first line beside a plan moves down under a band, a share of the page.
_UNDER_BAND = 0.016


def pages(context: PageContext) -> list[Page]:
    """One page, where there is more than one option."""
    options = context.best_first[:MOST]
    return context.pages_of_all(
        "side-by-side", [partial(beside_sheet, context, options)] if len(options) > 1 else []
    )


def beside_sheet(context: PageContext, options: tuple[OptionResult, ...]) -> Sheet:
    """The page of two to four options, from left to right, then down."""
    rows = 1 if len(options) <= 2 else 2
    width, height = (COLUMN_RIGHT - PICTURE[0] - _GAP) / 2, (_TOP - _FLOOR) / rows
    # Two options have their numbers under the plan, more of them beside it.
    plan_size = (width - 0.025, 0.455) if rows == 1 else (0.24, height - 0.075)
    shared, outcome = context.base_in(plan_size), context.outcome
    grounds = [shown_ground(outcome, option, shared.extent) for option in options]
    view = "plans, north up, at one scale"
    page = context.begin(_TITLES[len(options)], view, why(outcome), scale=shared.scale)
    for place, option in enumerate(options):
        left = PICTURE[0] + (place % 2) * (width + _GAP)
        top = _TOP - (place // 2) * height
        sides = (left, left + width)
        has_outlay = _title(page, words.place_in_ranking(outcome, option), option, sides, top)
        spot = (left + 0.022, top - 0.05 - plan_size[1], *plan_size)
        draw_plan(page, outcome, option, shared, spot, with_north_and_scale=place == 0)
        if void := voiding(option):
            page.band("; ".join(void), left, left + width, top - 0.0335)
        outlay = "" if has_outlay else outlay_words(option)
        _numbers(page, context, option, _counted(grounds[place]), sides, (top, top - height), rows, outlay)
    # What no figure goes with stands in the key once, and leaves its room to protected areas.
    plain = dict.fromkeys(
        row.sign for ground in grounds for row in _rows(ground) if _is_plain(row) and row.sign
    )
    page.key([*plan_signs(outcome, options, shared.extent), *plain])
    return page


def _rows(ground: Section) -> list[Row]:
    return [piece for piece in ground.blocks if isinstance(piece, Row)]


def _is_plain(row: Row) -> bool:
    return row.sign is not None and not row.figures


def _counted(ground: Section) -> Section:
    """The verdicts that have figures, and what ground outside them is drawn as."""
    return replace(ground, blocks=tuple(row for row in _rows(ground) if not _is_plain(row)))


def _title(page: Sheet, place: str, option: OptionResult, sides: tuple[float, float], top: float) -> bool:
    """An option's name, its place, and between them what it costs: false where the name needs that room."""
    left, right = sides
    page.text(right, top - 0.028, place, 9, ha="right", va="baseline", color=palette.QUIET_INK)
    room = right - left - share_of_page(place, 9) - 0.02
    (outlay,) = page.lines(outlay_words(option), 0.5 * (right - left), 7.5, 1)
    beside = room - share_of_page(outlay, 7.5) - 0.015 if outlay else room
    has_room = share_of_page(option.name, _NAME, "bold") <= beside
    if outlay and has_room:
        at = left + room
        page.text(at, top - 0.028, outlay, 7.5, ha="right", va="baseline", color=palette.QUIET_INK)
    # A band of what voids the option begins where a second line of the larger size would stand.
    sizes = ((_NAME, 1), (8.5, 1 if voiding(option) else 2), (7.2, 2), (6.0, 2 if voiding(option) else 3))
    size, lines = page.fitting(option.name, beside if has_room else room, sizes, "bold")
    first = top - (0.028, 0.0155, 0.01)[len(lines) - 1]
    page.rows(lines, left, first, size, 0.0185 if size == 8.5 else 0.0145, weight="bold")
    return has_room


def _numbers(
    page: Sheet,
    context: PageContext,
    option: OptionResult,
    ground: Section,
    sides: tuple[float, float],
    heights: tuple[float, float],
    rows: int,
    outlay: str,
) -> None:
    left, right = sides
    top, floor = heights
    middle = (left + right) / 2
    if rows == 1:
        page.begin_column(left, middle - 0.015, top - 0.54, floor)
    else:
        # A line over the first heading would lie under the band of what voids the option.
        under_band = _UNDER_BAND if outlay and voiding(option) else 0.0
        page.begin_column(left + 0.277, right, top - 0.05 - under_band, floor)
    if outlay:
        page.put(Row(outlay, size="small", is_quiet=True))
    fill(page, [ground])
    if rows == 1:
        page.begin_column(middle + 0.015, right, top - 0.54, floor)
    found = None if context.study is None else context.studied(option).close_in
    if found is not None:
        # There is no room for one heading more.
        page.put(Paragraph(words.capital(close_in_short(found)), 3))
    fill(page, protected_sections((option,), is_narrow=rows == 2))
    if (wedge := words.capital(wedge_words(option))) and found is None:
        said = Paragraph(wedge, 2)
        if page.height_of(said) <= page.room():
            page.put(said)

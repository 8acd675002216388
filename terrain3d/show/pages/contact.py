"""The contact sheet: every option in a row of plan, section and numbers, with the line that says why."""

import math
from functools import partial

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import telling_bearing
from terrain3d.cover.verdict import VERDICT_KEYS, Verdict
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.options import brief_line
from terrain3d.sentences.outlay import outlay_words
from terrain3d.sentences.warnings import voiding
from terrain3d.sentences.why import why
from terrain3d.show.legend import layer_signs, lobe_signs, masked_signs, site_signs, verdict_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import small_scale
from terrain3d.show.pages.plan import begin_plan
from terrain3d.show.pages.section import Frame, change_sign, heights_shown, paint_section, section_view, sides
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet, share_of_page
from terrain3d.show.pages.size import HEIGHT_PX, SCREEN, WIDTH_PX

#: Options on one page.
PER_PAGE = 4
_TOP, _FLOOR = 0.885, 0.135
_PLAN, _SECTION, _TEXT = (PICTURE[0], 0.205), (0.217, 0.625), (0.642, COLUMN_RIGHT)
_AIR = 0.012
#: From one small line to the next.
_SMALL_STEP = 0.0195
_TOLD = (Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD)


def pages(context: PageContext) -> list[Page]:
    """Every option, best first, on as many pages as that takes."""
    parts = contact_pages(context)
    notes = [
        f"page {number} of {len(parts)}" if len(parts) > 1 else "" for number in range(1, len(parts) + 1)
    ]
    draws = [partial(contact_sheet, context, *one) for one in zip(parts, notes, strict=True)]
    return context.pages_of_all("contact", [*draws])


def contact_pages(context: PageContext) -> list[tuple[OptionResult, ...]]:
    """The options of each page, best first."""
    options = context.best_first
    return [options[k : k + PER_PAGE] for k in range(0, len(options), PER_PAGE)]


def contact_sheet(context: PageContext, options: tuple[OptionResult, ...], note: str) -> Sheet:
    """One page of options, each in a row.

    Parameters
    ----------
    context : PageContext
    options : tuple of OptionResult
        At most `PER_PAGE`.
    note : str
        Such as "page 1 of 2"; empty where there is one page.
    """
    # Few options have more room each; on every page of a long list they have the same.
    height = (_TOP - _FLOOR) / min(max(len(context.outcome.options), 2), PER_PAGE) - _AIR
    shared, outcome = context.base_in((_PLAN[1] - _PLAN[0], height)), context.outcome
    view = "best first; plans north up, sections at true scale"
    page = context.begin("All options", view, why(outcome), note, shared.scale)
    for row, option in enumerate(options):
        bottom = _TOP - (row + 1) * (height + _AIR) + _AIR
        place = (_PLAN[0], bottom, _PLAN[1] - _PLAN[0], height)
        plan = begin_plan(page, outcome, option, shared, place, "W", is_ruled=False, is_fine=False)
        small_scale(plan.axes, shared.extent.width_m)
        _section(page, outcome, option, bottom, height)
        _text(page, outcome, option, bottom, height)
    verdicts = [verdict_sign(verdict) for verdict in _TOLD]
    units = [unit for option in options for unit in option.detectors]
    page.key(
        [
            *verdicts,
            *layer_signs(units, 2),
            change_sign(outcome),
            *masked_signs(units),
            *lobe_signs(units),
            *site_signs(outcome.terrain),
        ]
    )
    return page


def _section(page: Sheet, outcome: Outcome, option: OptionResult, bottom: float, height: float) -> None:
    """The section of the first unit along the bearing that crosses most protected ground."""
    unit = option.detectors[0]
    width = _SECTION[1] - _SECTION[0]
    room = width * WIDTH_PX, height * HEIGHT_PX
    bearing = telling_bearing(outcome.terrain, unit)
    view = section_view(outcome.terrain, unit, bearing, outcome.figure, SCREEN, room, 20.0)
    low, high = heights_shown(view.profile, outcome.figure)
    left, right = sides(view)
    spare = room[1] * view.metres_per_px - (high - low)
    axes = page.picture_axes((_SECTION[0], bottom, width, height))
    frame = Frame(left, right, low - 0.4 * spare, high + 0.6 * spare)
    paint_section(page, axes, outcome.terrain, view.profile, outcome.figure, frame, 0.7)
    axes.set(xticks=[], yticks=[])
    small_scale(axes, right - left)
    (name,) = page.lines(f"{unit.name}, {bearing:.0f}°", width - 0.02, 7, 1)
    page.text(_SECTION[0] + 0.006, bottom + height - 0.009, name, 7, va="top", color=palette.QUIET_INK)


def _text(page: Sheet, outcome: Outcome, option: OptionResult, bottom: float, height: float) -> None:
    left, right = _TEXT
    top = bottom + height
    place = words.place_in_ranking(outcome, option)
    sizes = ((10, 1), (8.5, 1), (7.2, 2), (6.0, 2))
    size, lines = page.fitting(option.name, right - left - 0.075, sizes, "bold")
    first = top - (0.018 if len(lines) == 1 else 0.011)
    page.rows(lines, left, first, size, 0.0155, weight="bold")
    page.text(right, top - 0.018, place, 8.5, ha="right", va="baseline", color=palette.QUIET_INK)
    baseline, step = top - 0.048, (right - left) / 4
    page.begin_column(left, right, top, bottom)
    for n, verdict in enumerate(_TOLD):
        page.left = left + n * step
        page.swatch(baseline, verdict_sign(verdict))
        area = words.square_metres(option.area_m2.get(VERDICT_KEYS[verdict], 0.0))
        page.text(page.left + 0.029, baseline, area, 8, va="baseline")
    y, most, void = baseline - 0.03, 3, voiding(option)
    if void:
        page.band("; ".join(void), left, right, y + 0.017)
        y, most = y - 0.027, 2
    for line in page.lines(brief_line(outcome, option), right - left, 8, most):
        page.text(left, y, line, 8, va="baseline")
        y -= 0.0225
    y -= 0.002
    room = right - left
    if outlay := outlay_words(option):
        # Beside the first unit, where there is nearly always room: a line of its own would push others out.
        (line,) = page.lines(outlay, 0.6 * room, 7, 1)
        page.text(right, y, line, 7, ha="right", va="baseline")
        room -= share_of_page(line, 7) + 0.015
    for unit in option.detectors:
        for text in (words.unit_title(unit), ", ".join(words.unit_lines(unit))):
            if y < bottom:
                return
            # What is set head by head may run over several lines.
            most = 1 + math.floor((y - bottom) / _SMALL_STEP) if len(words.unit_lines(unit)) > 2 else 1
            for line in page.lines(text, room, 7, most):
                page.text(left, y, line, 7, va="baseline", color=palette.QUIET_INK)
                y, room = y - _SMALL_STEP, right - left

"""The contact sheet: options, best first, in rows of plan, section and numbers, with the line that says why.

Where there is one option alone, it has the whole page; of very many the best are there.
"""

import math
from dataclasses import replace
from functools import partial

import numpy as np

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import telling_bearing
from terrain3d.cover.verdict import VERDICT_KEYS, Verdict
from terrain3d.job import Outcome
from terrain3d.lengths import area_words
from terrain3d.sentences import words
from terrain3d.sentences.options import brief_line, brief_reason, one_line
from terrain3d.sentences.outlay import outlay_words
from terrain3d.sentences.warnings import option_warnings, voiding
from terrain3d.sentences.why import why
from terrain3d.show.blocks import Paragraph, fill
from terrain3d.show.legend import layer_signs, lobe_signs, masked_signs, site_signs, verdict_sign
from terrain3d.show.pages.column import shown_ground
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import HALO, small_scale
from terrain3d.show.pages.plan import begin_plan
from terrain3d.show.pages.section import Frame, change_sign, heights_shown, paint_section, section_view, sides
from terrain3d.show.pages.sheet import COLUMN_LEFT, COLUMN_RIGHT, PICTURE, Page, Place, Sheet, share_of_page
from terrain3d.show.pages.size import HEIGHT_PX, SCREEN, WIDTH_PX
from terrain3d.show.sections import protected_sections, unit_section, warning_sections

#: Options on one page, and on all of them: nobody leafs through more.
PER_PAGE, MOST = 4, 40
_TOP, _FLOOR = 0.885, 0.135
_PLAN, _SECTION, _TEXT = (PICTURE[0], 0.205), (0.217, 0.625), (0.642, COLUMN_RIGHT)
_AIR = 0.012
#: Where an option that is the only one has its plan and its section; from where to where its two columns go,
#: and their top.
_PLAN_ALONE: Place = (PICTURE[0], 0.15, 0.4, 0.725)
_SECTION_ALONE: Place = (0.475, 0.505, COLUMN_RIGHT - 0.475, 0.37)
_COLUMNS_ALONE, _COLUMNS_TOP = ((0.475, 0.705), (COLUMN_LEFT, COLUMN_RIGHT)), 0.48
#: From one small line to the next.
_SMALL_STEP = 0.0195
_TOLD = (Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD)


def pages(context: PageContext) -> list[Page]:
    """Every option, best first, on as many pages as that takes; of very many the best."""
    parts = contact_pages(context)
    if len(context.outcome.options) == 1:
        return context.pages_of_all("contact", [partial(sheet_alone, context, context.outcome.options[0])])
    n_options = len(context.outcome.options)
    cut = f"the first {MOST} of {n_options} options, " if n_options > MOST else ""
    notes = [
        f"{cut}page {number} of {len(parts)}" if len(parts) > 1 else "" for number in range(1, len(parts) + 1)
    ]
    draws = [partial(contact_sheet, context, *one) for one in zip(parts, notes, strict=True)]
    return context.pages_of_all("contact", [*draws])


def contact_pages(context: PageContext) -> list[tuple[OptionResult, ...]]:
    """The options of each page, best first: no more than `MOST`."""
    options = context.best_first[:MOST]
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
    height = (_TOP - _FLOOR) / min(len(context.outcome.options), PER_PAGE) - _AIR
    shared, outcome = context.base_in((_PLAN[1] - _PLAN[0], height)), context.outcome
    view = "best first; plans north up, sections at true scale"
    page = context.begin("All options", view, why(outcome), note, shared.scale)
    for row, option in enumerate(options):
        bottom = _TOP - (row + 1) * (height + _AIR) + _AIR
        place = (_PLAN[0], bottom, _PLAN[1] - _PLAN[0], height)
        plan = begin_plan(page, outcome, option, shared, place, "W", is_ruled=False, is_fine=False)
        small_scale(plan.axes, shared.extent.width_m)
        _section(page, outcome, option, (_SECTION[0], bottom, _SECTION[1] - _SECTION[0], height))
        _text(page, outcome, option, bottom, height)
    _key(page, outcome, options)
    return page


def sheet_alone(context: PageContext, option: OptionResult) -> Sheet:
    """The page of the only option: its plan, its section and what it holds."""
    outcome, shared = context.outcome, context.base_in(_PLAN_ALONE[2:])
    said, brief = one_line(outcome, option), brief_reason(outcome, option)
    page = context.begin_option(option, "plan north up, section at true scale", said, shared.scale, brief)
    plan = begin_plan(page, outcome, option, shared, _PLAN_ALONE, "W", is_ruled=False, is_fine=False)
    small_scale(plan.axes, shared.extent.width_m)
    _section(page, outcome, option, _SECTION_ALONE)
    units = unit_section(option.detectors, spare=1)
    if outlay := words.capital(outlay_words(option)):
        units = replace(units, blocks=(*units.blocks, Paragraph(outlay, 1, is_quiet=True)))
    columns = (
        [shown_ground(outcome, option, shared.extent), units],
        [
            *protected_sections((option,), has_causes=True),
            *warning_sections(option_warnings(option, outcome.terrain)),
        ],
    )
    for (left, right), sections in zip(_COLUMNS_ALONE, columns, strict=True):
        page.begin_column(left, right, _COLUMNS_TOP, PICTURE[1])
        fill(page, sections)
    _key(page, outcome, (option,))
    return page


def _key(page: Sheet, outcome: Outcome, options: tuple[OptionResult, ...]) -> None:
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


def _section(page: Sheet, outcome: Outcome, option: OptionResult, place: Place) -> None:
    """The section of the first unit along the bearing that crosses most protected ground."""
    unit = option.detectors[0]
    start, bottom, width, height = place
    room = width * WIDTH_PX, height * HEIGHT_PX
    bearing = telling_bearing(outcome.terrain, unit)
    view = section_view(outcome.terrain, unit, bearing, outcome.figure, SCREEN, room, 20.0)
    low, high = heights_shown(view.profile, outcome.figure)
    left, right = sides(view)
    spare = room[1] * view.metres_per_px - (high - low)
    axes = page.picture_axes(place)
    frame = Frame(left, right, low - 0.4 * spare, high + 0.6 * spare)
    paint_section(page, axes, outcome.terrain, view.profile, outcome.figure, frame, 0.7)
    axes.set(xticks=[], yticks=[])
    along, ground = view.profile.along, view.profile.ground
    seen = ground[np.isfinite(ground) & (along >= left) & (along <= right)]
    # Into the earth, which is deepest where the ground is high; under the low end stands a figure.
    small_scale(axes, right - left, is_left=len(seen) > 0 and bool(seen[0] > seen[-1]))
    (name,) = page.lines(f"{unit.name}, {bearing:.0f}°", width - 0.02, 7, 1)
    # On a slope the ground and what grows on it may reach up into the corner.
    page.text(
        start + 0.006, bottom + height - 0.009, name, 7, va="top", color=palette.QUIET_INK, path_effects=HALO
    )


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
        area = area_words(option.area_m2.get(VERDICT_KEYS[verdict], 0.0))
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

"""Options side by side: up to four plans at one scale, each with its numbers."""

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.why import why
from terrain3d.show import palette
from terrain3d.show.pages.column import protected_rows, verdict_rows
from terrain3d.show.pages.plan import Base, paint_plan, plan_signs, printed_base
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Sheet, plain_sheet
from terrain3d.show.pages.size import SCREEN, Size, scale_words

#: More options than this do not fit on one page.
MOST = 4
_TITLES = {2: "Two options side by side", 3: "Three options side by side", 4: "Four options side by side"}
_TOP, _FLOOR, _GAP = 0.875, 0.135, 0.03


def best_options(outcome: Outcome) -> tuple[OptionResult, ...]:
    """All options, best first; in the order of the site file where they are not ranked."""
    places = {name: place for place, name in enumerate(outcome.ranking)}
    return tuple(sorted(outcome.options, key=lambda option: places.get(option.name, len(places))))


def beside_sheet(
    outcome: Outcome, options: tuple[OptionResult, ...], base: Base, size: Size = SCREEN, date: str = ""
) -> Sheet:
    """The page of two to four options.

    Parameters
    ----------
    outcome : Outcome
    options : tuple of OptionResult
        From left to right, then down.
    base : Base
        What all plans of the site share.
    size : Size
    date : str
    """
    rows = 1 if len(options) <= 2 else 2
    width, height = (COLUMN_RIGHT - PICTURE[0] - _GAP) / 2, (_TOP - _FLOOR) / rows
    # Two options have their numbers under the plan, more of them beside it.
    plan_size = (width - 0.025, 0.455) if rows == 1 else (0.24, height - 0.075)
    shared = printed_base(outcome, size, plan_size, base)
    view = "plans, north up, at one scale"
    if shared.scale is not None:
        view += f", {scale_words(shared.scale, size)}"
    page = plain_sheet(outcome, _TITLES[len(options)], view, why(outcome), "", size, date)
    for place, option in enumerate(options):
        left = PICTURE[0] + (place % 2) * (width + _GAP)
        top = _TOP - (place // 2) * height
        _title(page, outcome, option, left, left + width, top)
        axes = page.picture_axes((left + 0.022, top - 0.05 - plan_size[1], *plan_size))
        paint_plan(page, axes, outcome, option, shared, with_north_and_scale=place == 0)
        _numbers(page, option, shared, (left, left + width), (top, top - height), rows)
    page.key(plan_signs(outcome, options, shared.extent))
    return page


def _title(
    page: Sheet, outcome: Outcome, option: OptionResult, left: float, right: float, top: float
) -> None:
    place = words.place_in_ranking(outcome, option)
    (name,) = page.lines(option.name, right - left - 0.09, 10.5, 1, "bold")
    page.text(left, top - 0.028, name, 10.5, weight="bold", va="baseline")
    page.text(right, top - 0.028, place, 9, ha="right", va="baseline", color=palette.QUIET_INK)


def _numbers(
    page: Sheet,
    option: OptionResult,
    base: Base,
    sides: tuple[float, float],
    heights: tuple[float, float],
    rows: int,
) -> None:
    left, right = sides
    top, floor = heights
    if rows == 1:
        middle = (left + right) / 2
        page.begin_column(left, middle - 0.015, top - 0.54, floor)
        verdict_rows(page, option, base.extent)
        page.begin_column(middle + 0.015, right, top - 0.54, floor)
    else:
        page.begin_column(left + 0.277, right, top - 0.05, floor)
        verdict_rows(page, option, base.extent)
    protected_rows(page, option)

"""The page of doubt: how often ground is held when site and units are a little off, and what may be off."""

from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from scipy.ndimage import gaussian_filter

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.ranking.compare import held_m2, held_share
from terrain3d.sentences import words
from terrain3d.sentences.uncertainty import (
    TOLERANCE_KEY,
    amount_words,
    range_figure,
    setting_words,
    slack_figures,
    uncertainty_line,
    varied_words,
)
from terrain3d.show import palette
from terrain3d.show.legend import Sign
from terrain3d.show.lettering import printable
from terrain3d.show.pages.base import Base
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed
from terrain3d.show.pages.plan import draw_plan, plan_signs, without_verdicts
from terrain3d.show.pages.shading import LAYER, on_ground
from terrain3d.show.pages.sheet import Page, Sheet, share_of_page
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.uncertainty.tolerance import LIMITS, Slack, UnitTolerance

#: Chances whose line is drawn, and how.
_LINES: tuple[tuple[float, tuple[float, ...]], ...] = ((0.5, (1, 1.3)), (0.95, ()))
#: A tolerance is drawn up to so many standard deviations of fixing; ordinary errors stay within two.
_DRAWN, _ORDINARY = 4.0, 2.0
#: Type size of tolerances, and the width of a figure beside a bar as a share of the page.
_SMALL = 7.0
_FIGURE = share_of_page("+0.30 m", _SMALL) + 0.006


def pages(context: PageContext) -> list[Page]:
    """A page of each option."""
    return context.pages_of_options("doubt", lambda option: [partial(uncertainty_sheet, context, option)])


def uncertainty_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option."""
    assert context.study is not None
    uncertainty, base, outcome = context.study.uncertainty, context.printed, context.outcome
    assert uncertainty is not None
    found = next(one for one in uncertainty.options if one.name == option.name)
    view = "how often both layers hold, plan, north up"
    page = context.begin_option(option, view, uncertainty_line(uncertainty, found), base.scale)
    axes = draw_plan(page, outcome, without_verdicts(option), base)
    _chances(axes, outcome, found, base)
    page.key(plan_signs(outcome, (option,), base.extent))
    _scale_rows(page, outcome, found)
    _held_rows(page, option, found, uncertainty.draws)
    _varied_rows(page, uncertainty)
    _tolerance_rows(page, option.detectors, context.studied(option).tolerances or (), uncertainty.error_sizes)
    return page


def _chances(axes: Axes, outcome: Outcome, found: OptionUncertainty, base: Base) -> None:
    """Colour the ground that is ever held, with the relief in it, and draw the lines of 50 and 95 %."""
    extent, ground = base.extent, outcome.terrain.ground
    part = (extent.rows, extent.columns)
    chance = np.nan_to_num(found.chance[part].astype(float))
    colours = np.clip(palette.chance_rgb(chance) / 255 * base.shade[part][..., None], 0, 1)
    on_ground(axes, np.dstack([colours, chance > 0]), extent, LAYER)
    # A line around every cell that a few draws lift over a mark says nothing: evened over a cell.
    even = gaussian_filter(chance, 1.0)
    x, y = ground.xs[extent.columns], ground.ys[extent.rows]
    for level, dashes in _LINES:
        if even.max() > level > even.min():
            for colour, width, style in (("white", 2.6, ()), (palette.INK, 1.1, dashes)):
                line: Any = {
                    "colors": colour,
                    "linewidths": width,
                    "linestyles": [(0, style) if style else "-"],
                }
                axes.contour(x, y, even, [level], zorder=LAYER + 0.05, **line)


def _scale_rows(page: Sheet, outcome: Outcome, found: OptionUncertainty) -> None:
    page.heading("Both layers hold, of all draws")
    baseline = page.row("", size=8)
    left, width, height = page.left, page.right - page.left, 0.018
    axes = page.picture_axes((left, baseline, width, height))
    steps = palette.chance_rgb(np.linspace(0, 1, 256))
    axes.imshow(steps[None], aspect="auto", extent=(0, 1, 0, 1), interpolation="nearest")
    axes.set(xticks=[], yticks=[])
    for level, dashes in _LINES:
        sign = Sign("", width=1.1, dashes=dashes)
        haloed(axes, np.array([[level, 0.0], [level, 1.0]]), sign, 4, 2.6)
    below = page.row("", size=7)
    for at, text, side in ((0.0, "0%", "left"), (0.5, "50%", "center"), (0.95, "95%", "center")):
        page.text(left + at * width, below, text, 7, va="baseline", ha=side)
    page.gap(0.002)
    cell_m2 = outcome.terrain.ground.cell_m**2
    half, most = (words.square_metres(float((found.chance >= at).sum()) * cell_m2) for at in (0.5, 0.95))
    page.row("in half of them; in 95%", f"{half}; {most}", 7.5)
    page.gap()


def _held_rows(page: Sheet, option: OptionResult, found: OptionUncertainty, draws: int) -> None:
    page.heading("Ground held" if found.held_share is None else "Protected ground held")
    share = held_share(option)
    plain = held_m2(option) if share is None else share
    for text, amount in (
        ("with no error", plain),
        ("middle draw", found.middle),
        ("worst twentieth, at most", found.worst),
    ):
        page.row(text, printable(amount_words(found, amount), lambda _letter: True), 7.5)
    page.row("best option in", f"{round(found.best_share * draws)} of {draws} draws", 7.5)
    page.gap()


def _varied_rows(page: Sheet, uncertainty: Uncertainty) -> None:
    page.heading(f"Varied in {uncertainty.draws} draws, seed {uncertainty.seed}")
    page.paragraph(varied_words(uncertainty.error_sizes), 6, 6.5)
    page.gap()


def _tolerance_rows(
    page: Sheet, detectors: tuple[Detector, ...], units: tuple[UnitTolerance, ...], error_sizes: ErrorSizes
) -> None:
    """How far each setting may be off, as bars about the setting itself."""
    page.heading("Each setting may be off by")
    told = [(unit, one) for unit, one in zip(detectors, units, strict=True) if one.slacks]
    if not told:
        page.row("nothing held to lose", size=_SMALL)
        return
    for shown, (unit, one) in enumerate(told):
        # Its name and its bars, the note under all of them, and the line that says how many are left.
        lines = len(one.slacks) + (len(detectors) > 1) + 2 + (shown < len(told) - 1)
        if not page.room_for(lines, _SMALL):
            page.row(f"and {len(told) - shown} more: see results.json", size=7)
            break
        if len(detectors) > 1:
            page.row(unit.name, size=_SMALL, weight="bold")
        for slack in one.slacks:
            _slack_row(page, unit, slack, error_sizes)
    page.gap(0.003)
    page.paragraph(TOLERANCE_KEY, 2, 6.3, color=palette.QUIET_INK)


def _slack_row(page: Sheet, unit: Detector, slack: Slack, error_sizes: ErrorSizes) -> None:
    baseline = page.row(setting_words(unit, slack.setting), size=_SMALL)
    if slack.setting == "range":
        page.text(page.right, baseline, range_figure(slack), _SMALL, va="baseline", ha="right")
        return
    for place, text in zip((page.right - _FIGURE, page.right), slack_figures(slack), strict=True):
        page.text(place, baseline, text, _SMALL, va="baseline", ha="right")
    sigma = {"height": error_sizes.height_m, "bearing": error_sizes.bearing_deg}.get(
        slack.setting, error_sizes.tilt_deg
    )
    full = _DRAWN * sigma if sigma > 0 else LIMITS[slack.setting]
    left = page.left + 0.078
    right = page.right - 2 * _FIGURE - 0.006
    middle, half, height = (left + right) / 2, (right - left) / 2, 0.0135
    bottom = baseline - 0.002
    ordinary = half * _ORDINARY * sigma / full
    page.figure.add_artist(
        Rectangle(
            (middle - ordinary, bottom - 0.002), 2 * ordinary, height + 0.004,
            facecolor=palette.FIXING_ERROR, edgecolor="none",
        )
    )  # fmt: skip
    for sign, reach, is_open in ((-1, slack.less, slack.less_open), (1, slack.more, slack.more_open)):
        length = half * min(reach / full, 1.0)
        is_tight = not is_open and reach < _ORDINARY * sigma
        page.figure.add_artist(
            Rectangle(
                (middle if sign > 0 else middle - length, bottom + 0.002), length, height - 0.004,
                facecolor=palette.TIGHT if is_tight else palette.TOLERANT,
                edgecolor=palette.TIGHT_STRIPE if is_tight else palette.TOLERANT,
                hatch="/////" if is_tight else None, linewidth=0.0,
            )
        )  # fmt: skip
        if reach < full and not is_open:
            end = middle + sign * length
            page.figure.add_artist(
                Line2D([end, end], [bottom, bottom + height], color=palette.INK, linewidth=0.9)
            )
    page.figure.add_artist(
        Line2D([middle, middle], [bottom - 0.002, bottom + height + 0.002], color=palette.INK, linewidth=0.6)
    )

"""The page of doubt: how often ground is held when site and units are a little off, and what may be off."""

from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from scipy.ndimage import gaussian_filter

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.lengths import area_words
from terrain3d.ranking.compare import held_m2, held_share
from terrain3d.sentences.uncertainty import (
    TOLERANCE_KEY,
    amount_words,
    range_figure,
    setting_words,
    slack_figures,
    uncertainty_line,
    varied_words,
)
from terrain3d.show.blocks import Gap, Listing, Paragraph, Row, Section, fill
from terrain3d.show.legend import Sign
from terrain3d.show.lettering import printable
from terrain3d.show.pages.base import Base
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed
from terrain3d.show.pages.plan import bare_plan_signs, draw_plan, without_verdicts
from terrain3d.show.pages.shading import LAYER, on_ground
from terrain3d.show.pages.sheet import TYPE, Page, Sheet, share_of_page
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.uncertainty.tolerance import LIMITS, Slack, UnitTolerance

#: Chances whose line is drawn, and how.
_LINES: tuple[tuple[float, tuple[float, ...]], ...] = ((0.5, (1, 1.3)), (0.95, ()))
#: A tolerance is drawn up to so many standard deviations of fixing; ordinary errors stay within two.
_DRAWN, _ORDINARY = 4.0, 2.0
#: Width of a figure beside the bar of a tolerance, as a share of the page.
_FIGURE = share_of_page("+0.30 m", TYPE["note"]) + 0.006


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
    bare = without_verdicts(option)
    axes = draw_plan(page, outcome, bare, base)
    _chances(axes, outcome, found, base)
    page.key(bare_plan_signs(outcome, bare, base.extent))
    units = context.studied(option).tolerances or ()
    sections = [
        _scale_section(page, outcome, found),
        _held_section(option, found, uncertainty.draws),
        _varied_section(uncertainty),
        _tolerance_section(page, option.detectors, units, uncertainty.error_sizes),
    ]
    fill(page, sections)
    return page


def _chances(axes: Axes, outcome: Outcome, found: OptionUncertainty, base: Base) -> None:
    """Colour the ground that is ever held, with the relief in it, and draw the lines of 50 and 95 %."""
    extent, ground = base.extent, outcome.terrain.ground
    part = (extent.rows, extent.columns)
    chance = np.nan_to_num(found.chance[part].astype(float))
    colours = np.minimum(palette.chance_rgb(chance) * base.shade[part][..., None], 255)
    on_ground(axes, np.dstack([colours, 255 * (chance > 0)]).astype(np.uint8), extent, LAYER)
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


def _scale_section(page: Sheet, outcome: Outcome, found: OptionUncertainty) -> Section:
    left, width = page.left, page.right - page.left

    def scale(baseline: float) -> None:
        axes = page.picture_axes((left, baseline, width, 0.018))
        steps = palette.chance_rgb(np.linspace(0, 1, 256))
        axes.imshow(steps[None], aspect="auto", extent=(0, 1, 0, 1), interpolation="nearest")
        axes.set(xticks=[], yticks=[])
        for level, dashes in _LINES:
            sign = Sign("", width=1.1, dashes=dashes)
            haloed(axes, np.array([[level, 0.0], [level, 1.0]]), sign, 4, 2.6)

    def ticks(baseline: float) -> None:
        for at, text, side in ((0.0, "0%", "left"), (0.5, "50%", "center"), (0.95, "95%", "center")):
            page.text(left + at * width, baseline, text, 7, va="baseline", ha=side)

    cell_m2 = outcome.terrain.ground.cell_m**2
    half, most = (area_words(float((found.chance >= at).sum()) * cell_m2) for at in (0.5, 0.95))
    areas = Row("in half of them; in 95%", (f"{half}; {most}",), size="small")
    rows = (Row("", draw=scale), Row("", size="note", draw=ticks), areas)
    return Section("Both layers hold, of all draws", rows)


def _held_section(option: OptionResult, found: OptionUncertainty, draws: int) -> Section:
    share = held_share(option)
    plain = held_m2(option) if share is None else share
    amounts = {
        "with no error": plain,
        "half of them, or more": found.middle,
        "one of twenty, or less": found.worst,
    }
    figures = {
        text: printable(amount_words(found, amount), lambda _letter: True) for text, amount in amounts.items()
    }
    figures["best option in"] = f"{round(found.best_share * draws)} of {draws} draws"
    heading = "Ground held" if found.held_share is None else "Protected ground held"
    return Section(heading, tuple(Row(text, (told,), size="small") for text, told in figures.items()))


def _varied_section(uncertainty: Uncertainty) -> Section:
    heading = f"Varied in {uncertainty.draws} draws, seed {uncertainty.seed}"
    return Section(heading, (Paragraph(varied_words(uncertainty.error_sizes), 6, "note"),))


def _tolerance_section(
    page: Sheet, detectors: tuple[Detector, ...], units: tuple[UnitTolerance, ...], error_sizes: ErrorSizes
) -> Section:
    """How far each setting may be off, as bars about the setting itself."""
    heading = "Each setting may be off by"
    told = [(unit, one) for unit, one in zip(detectors, units, strict=True) if one.slacks]
    if not told:
        return Section(heading, (Row("nothing held to lose", size="note"),))
    names = [(Row(unit.name, size="note", is_bold=True),) if len(detectors) > 1 else () for unit, _ in told]
    items = tuple(
        (*name, *(_slack_row(page, unit, slack, error_sizes) for slack in one.slacks))
        for name, (unit, one) in zip(names, told, strict=True)
    )
    key = Paragraph(TOLERANCE_KEY, 3, "note", is_quiet=True)
    return Section(heading, (Listing(items, spare=3), Gap(), key))


def _slack_row(page: Sheet, unit: Detector, slack: Slack, error_sizes: ErrorSizes) -> Row:
    text = setting_words(unit, slack.setting, slack.head)
    if slack.setting == "range":
        return Row(text, (range_figure(slack),), size="note")
    draw = partial(_slack_bars, page, slack, error_sizes)
    column = _FIGURE / (page.right - page.left)
    return Row(text, slack_figures(slack), size="note", column=column, draw=draw)


def _slack_bars(page: Sheet, slack: Slack, error_sizes: ErrorSizes, baseline: float) -> None:
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

"""The page of fans: how near a walker comes, straight at a unit and across it, bearing by bearing."""

from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.lengths import given, in_metres, in_unit, lengths_name, scale_words
from terrain3d.sentences.walks import counting_words, fan_words, fans_sentence, who_walks
from terrain3d.show.blocks import Paragraph, Row, Section, fill
from terrain3d.show.legend import ALARM, NOTICED, UNNOTICED, WALK
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed, marked
from terrain3d.show.pages.plan import Plan, begin_plan, few_labels
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet
from terrain3d.show.pages.walks import walk_signs
from terrain3d.units import Floats, wrap_deg
from terrain3d.walk.fans import ACROSS_M, Fan

_PLAN = (PICTURE[0], 0.15, 0.45, 0.725)
_LEFT = 0.555
#: Foot and height of the two charts, shares of the page.
_TO, _ACROSS = (0.575, 0.165), (0.225, 0.165)
_MARKERS = ("o", "s", "^", "D", "v")


def pages(context: PageContext) -> list[Page]:
    """A page of each unit of each option."""

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        walks = context.studied(option).walks
        assert walks is not None
        pairs = zip(option.detectors, walks.fans[::2], walks.fans[1::2], strict=True)
        return [partial(fans_sheet, context, option, *pair) for pair in pairs]

    return context.pages_of_options("fans", draws)


def fans_sheet(context: PageContext, option: OptionResult, unit: Detector, to: Fan, across: Fan) -> Sheet:
    """The page of one unit's fans: walks straight at it, and across it."""
    base = context.base_in(_PLAN[2:], [to.lines.reshape(-1, 2)])
    view = f"straight walks at {unit.name} alone, plan north up"
    sentence = f"{fans_sentence(unit, to, across)} {counting_words(option)}"
    page = context.begin_option(option, view, sentence, base.scale)
    plan = begin_plan(page, context.outcome, option, base, _PLAN, "NW", is_ruled=False)
    plan.finish(few_labels(plan), _draw_walks(plan, to))
    page.begin_column(_LEFT - 0.03, COLUMN_RIGHT, PICTURE[1] + PICTURE[3], _TO[0] + _TO[1])
    fill(page, [_section("Straight at the unit: the weak direction", unit, to)])
    _chart_to(page, unit, to)
    page.begin_column(_LEFT - 0.03, COLUMN_RIGHT, _TO[0] - 0.06, _ACROSS[0] + _ACROSS[1])
    fill(page, [_section("Across the unit", unit, across)])
    _chart_across(page, unit, across)
    own = {WALK: UNNOTICED, ALARM: NOTICED}
    page.key([own.get(sign, sign) for sign in walk_signs(context.outcome, option, base.extent)])
    return page


def _section(heading: str, unit: Detector, fan: Fan) -> Section:
    who = Row(who_walks(fan, unit), size="small", is_quiet=True)
    return Section(heading, (Paragraph(fan_words(fan), 3, "row"), who))


def _draw_walks(plan: Plan, fan: Fan) -> list[Bbox]:
    """The way of each walk until it is noticed; returns where those spots are, page pixels."""
    boxes, axes = [], plan.axes
    for line, walked in zip(fan.lines, fan.walked_m, strict=True):
        length = float(np.hypot(*(line[1] - line[0])))
        share = 1.0 if np.isnan(walked) else min(walked / length, 1.0)
        end = line[0] + share * (line[1] - line[0])
        way = np.array([line[0], end])
        haloed(axes, way, UNNOTICED, 11, 3.4, solid_capstyle="butt")
        if not np.isnan(walked):
            marked(axes, end, NOTICED, 12)
            boxes.append(plan.around(end, 5))
    return boxes


def offsets_deg(unit: Detector, bearings: Floats) -> Floats:
    """Bearings as degrees to the right of where a unit faces, in [-180, 180).

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 350.0)
    >>> offsets_deg(unit, np.array([310.0, 350.0, 30.0]))
    array([-40.,   0.,  40.])
    """
    return np.asarray((bearings - unit.bearing_deg + 180.0) % 360.0 - 180.0)


def _chart(page: Sheet, unit: Detector, offsets: Floats, place: tuple[float, float], top: float) -> Axes:
    axes = page.picture_axes((_LEFT, place[0], COLUMN_RIGHT - _LEFT, place[1]))
    span = offsets.max() - offsets.min()
    axes.set(xlim=(offsets.min() - 5, offsets.max() + 5), ylim=(0, top))
    axes.xaxis.set_major_locator(MultipleLocator(10 if span <= 100 else 20 if span <= 200 else 45))
    axes.xaxis.set_major_formatter(lambda value, _: f"{wrap_deg(unit.bearing_deg + value):.0f}°")
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    axes.grid(axis="y", color=palette.CONTOUR, linewidth=0.4, alpha=0.4, zorder=0)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def _chart_to(page: Sheet, unit: Detector, fan: Fan) -> None:
    """Bars from the start of each walk down to where it is noticed: shorter is better."""
    offsets = offsets_deg(unit, fan.bearing_deg)
    start = float(fan.distance_m.max())
    axes = _chart(page, unit, offsets, _TO, start)
    noticed = np.where(fan.raised, fan.left_m, 0.0)
    axes.bar(offsets, start - noticed, 3.4, bottom=noticed, color=palette.FIGURE, zorder=2)
    ends = np.column_stack([offsets, fan.left_m])[fan.raised]
    marked(axes, ends, NOTICED, 3, clip_on=False)
    step = next(one for one in (2, 5, 10, 20) if in_unit(start) <= 8 * one or one == 20)
    axes.yaxis.set_major_locator(MultipleLocator(in_metres(step)))
    axes.yaxis.set_major_formatter(scale_words(given))
    _caption(page, _TO, "distance from the unit, by bearing: the bar is the way walked unnoticed")


def _chart_across(page: Sheet, unit: Detector, fan: Fan) -> None:
    """Metres walked until noticed, one mark for each distance; those never noticed stand on the top line."""
    offsets = offsets_deg(unit, fan.bearing_deg)
    axes = _chart(page, unit, offsets, _ACROSS, ACROSS_M * 1.2)
    distances = np.unique(fan.distance_m)
    shift = np.linspace(-1.2, 1.2, len(distances)) if len(distances) > 1 else np.zeros(1)
    greys = [palette.INK, palette.FIGURE, palette.CONTOUR]
    for k, distance in enumerate(distances):
        own = fan.distance_m == distance
        seen = own & fan.raised
        look: dict[str, Any] = {
            "marker": _MARKERS[k % 5],
            "ls": "",
            "ms": 5,
            "mec": palette.INK,
            "mew": 0.8,
            "clip_on": False,
        }
        axes.plot(
            offsets[seen] + shift[k],
            fan.walked_m[seen],
            mfc=greys[k % 3],
            label=f"{given(distance)} off",
            **look,
        )
        never = own & ~fan.raised
        axes.plot(offsets[never] + shift[k], np.full(never.sum(), ACROSS_M * 1.12), mfc="white", **look)
    axes.axhline(ACROSS_M, color=palette.QUIET_INK, linewidth=0.6)
    step, most = (2 if in_unit(ACROSS_M) <= 8 else 5), in_unit(ACROSS_M)
    marks = [*(in_metres(at) for at in np.arange(0, 0.8 * most, step)), ACROSS_M]
    axes.set_yticks([*marks, ACROSS_M * 1.12], [*map(given, marks), "never"])
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=len(distances), fontsize=6.8, frameon=False,
        handletextpad=0.1, columnspacing=1.0, borderpad=0.1,
    )  # fmt: skip
    _caption(
        page,
        _ACROSS,
        f"{lengths_name()} walked until noticed, of {given(ACROSS_M)}, by bearing of the walk's middle",
    )


def _caption(page: Sheet, place: tuple[float, float], text: str) -> None:
    page.text(_LEFT, place[0] - 0.047, text, 7, va="baseline", color=palette.QUIET_INK)

"""A walk as a strip of frames: the plan at eight moments, the layers broken then and the pulses so far."""

from functools import partial

import numpy as np
from matplotlib.axes import Axes

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import find_figure
from terrain3d.sentences.walks import ALARM_RAISED, moment_words, walk_words
from terrain3d.show.legend import ALARM, WALK, Mark, Sign, site_signs, verdict_sign
from terrain3d.show.pages.base import Base
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed, marked
from terrain3d.show.pages.plan import begin_plan
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Place, Sheet
from terrain3d.walk.moments import MOMENTS, Moment, moments_of, walked_line
from terrain3d.walk.pulses import WalkResult, try_walk

#: Frames of a page stand in two rows.
_ACROSS, _GAP = 4, 0.02
_TOP, _FLOOR, _TEXT = 0.875, 0.135, 0.094
WALKER = Sign("who walks", width=0.0, mark=Mark("o", 7.5, palette.FIGURE, "white", 1.2))


def pages(context: PageContext) -> list[Page]:
    """A page of each walk through each option."""
    return context.pages_of_options(
        "frames",
        lambda option: [
            partial(frames_sheet, context, option, place) for place in walks_with_length(context)
        ],
    )


def walks_with_length(context: PageContext) -> list[int]:
    """The walks of a site that lead somewhere, by their place."""
    walks = context.outcome.terrain.walks
    return [place for place, walk in enumerate(walks) if np.ptp(walk.line, axis=0).any()]


def walk_of(context: PageContext, option: OptionResult, place: int) -> WalkResult:
    """What becomes of a walk, as the study has it, or tried now where there is none."""
    if context.study is not None and (told := context.studied(option).walks) is not None:
        return told.walks[place]
    outcome = context.outcome
    walk = outcome.terrain.walks[place]
    who = outcome.figure if walk.figure is None else find_figure(walk.figure, outcome.site.own_figures)
    return try_walk(outcome.terrain, option.detectors, option.combine, walk, who)


def frames_sheet(context: PageContext, option: OptionResult, place: int) -> Sheet:
    """The page of one walk, by its place among those of the site."""
    walk = walk_of(context, option, place)
    page = context.begin_option(
        option, f'"{walk.name}" at {MOMENTS} moments, plans north up', walk_words(walk)
    )
    width = (COLUMN_RIGHT - PICTURE[0] - (_ACROSS - 1) * _GAP) / _ACROSS
    height = (_TOP - _FLOOR) / (MOMENTS // _ACROSS)
    size = (width, height - _TEXT - _GAP)
    base = context.base_in(size, [walk.line])
    for k, moment in enumerate(moments_of(walk, MOMENTS)):
        left = PICTURE[0] + (k % _ACROSS) * (width + _GAP)
        top = _TOP - (k // _ACROSS) * height
        _draw_frame(page, context, option, base, walk, moment, (left, top - size[1], *size))
        _say(page, moment, left, top - size[1], width)
    page.key(frame_signs(context))
    return page


def frame_signs(context: PageContext) -> list[Sign]:
    """What colours and marks mean."""
    verdicts = [verdict_sign(verdict) for verdict in sorted(Verdict, reverse=True)]
    return [*verdicts, WALK, WALKER, ALARM, *site_signs(context.outcome.terrain)]


def _draw_frame(
    page: Sheet,
    context: PageContext,
    option: OptionResult,
    base: Base,
    walk: WalkResult,
    moment: Moment,
    place: Place,
) -> None:
    """The plan at a moment: the path, what of it is walked, its pulses, who walks, and the alarm."""
    axes = begin_plan(page, context.outcome, option, base, place, "W", is_ruled=False, is_fine=False).axes
    draw_path(axes, walk)
    haloed(axes, walked_line(walk, moment.along_m), WALK, 11, 3.6, solid_capstyle="round")
    marked(axes, np.array([(pulse.x, pulse.y) for pulse in moment.pulses]), WALK, 12, 0.8)
    marked(axes, np.array([moment.x, moment.y]), WALKER, 13)
    if moment.has_alarm and walk.alarm is not None:
        marked(axes, np.array([walk.alarm.x, walk.alarm.y]), ALARM, 14, 0.8)


def draw_path(axes: Axes, walk: WalkResult) -> None:
    """The whole path of a walk, finely."""
    axes.plot(*walk.line.T, color="white", linewidth=2.0, zorder=9)
    axes.plot(*walk.line.T, color=palette.FIGURE, linewidth=0.8, linestyle=(0, (3, 2)), zorder=10)


def _say(page: Sheet, moment: Moment, left: float, foot: float, width: float) -> None:
    """What is told of a moment, under its plan."""
    how_far, broken, pulses = moment_words(moment)
    first = f"{how_far}: {ALARM_RAISED}" if moment.has_alarm else how_far
    for k, (text, weight) in enumerate(((first, "bold"), (broken, "normal"), (pulses, "normal"))):
        (line,) = page.lines(text, width, 8, 1, weight)
        page.text(left, foot - 0.024 - 0.022 * k, line, 8, weight=weight, va="baseline")

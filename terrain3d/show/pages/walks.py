"""The page of walks: paths on the plan with their pulses and alarms, and each as a strip below."""

from collections.abc import Sequence
from functools import partial
from string import ascii_uppercase

import numpy as np
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.walks import counting_words, how_walked, walk_words, walks_sentence
from terrain3d.show.blocks import Listing, Paragraph, Piece, Row, Section, fill
from terrain3d.show.extent import Extent
from terrain3d.show.legend import (
    ALARM,
    MICROWAVE_ACROSS,
    MICROWAVE_SENSES,
    WALK,
    Sign,
    lobe_signs,
    masked_signs,
    site_signs,
    verdict_sign,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed, marked
from terrain3d.show.pages.plan import Plan, begin_plan, few_labels
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet
from terrain3d.show.pages.walk_strip import draw_strip
from terrain3d.walk.option import OptionWalks
from terrain3d.walk.pulses import WalkResult

#: Walks on one page.
PER_PAGE = 3
_PLAN = (PICTURE[0], 0.42, 0.42, 0.455)
_TEXT_LEFT = 0.485
_STRIPS_TOP, _STRIPS_FLOOR = 0.4, 0.135
_ARROW = {"arrowstyle": "-|>,head_width=0.32,head_length=0.7", "linewidth": 0, "shrinkA": 0, "shrinkB": 0}


def pages(context: PageContext) -> list[Page]:
    """The walks through each option, some on each page."""

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        walks = context.studied(option).walks
        assert walks is not None
        return [partial(walks_sheet, context, option, part) for part in walk_pages(walks)]

    return context.pages_of_options("walks", draws)


def walk_pages(walks: OptionWalks) -> list[tuple[tuple[str, WalkResult], ...]]:
    """The walks of an option with their letters, page by page."""
    named = [(_letter(k), walk) for k, walk in enumerate(walks.walks)]
    return [tuple(named[k : k + PER_PAGE]) for k in range(0, len(named), PER_PAGE)]


def walks_sheet(
    context: PageContext, option: OptionResult, walks: tuple[tuple[str, WalkResult], ...]
) -> Sheet:
    """A page of walks through one option: one of `walk_pages`."""
    outcome = context.outcome
    base = context.base_in(_PLAN[2:], [walk.line for _, walk in walks])
    sentence = walks_sentence(tuple(walk for _, walk in walks))
    page = context.begin_option(option, "walks, plan north up", sentence, base.scale)
    plan = begin_plan(page, outcome, option, base, _PLAN, "W", is_ruled=False)
    plan.finish(few_labels(plan), _draw_walks(plan, walks))
    _walk_rows(page, option, walks)
    longest = max(walk.length_m for _, walk in walks)
    pitch = (_STRIPS_TOP - _STRIPS_FLOOR) / PER_PAGE
    for k, (letter, walk) in enumerate(walks):
        bottom = _STRIPS_TOP - (k + 1) * pitch + 0.026
        strip_place = (PICTURE[0] + 0.03, bottom, COLUMN_RIGHT - PICTURE[0] - 0.03, pitch - 0.032)
        draw_strip(page, walk, outcome.terrain.protect, strip_place, longest)
        page.text(
            PICTURE[0], bottom + 0.45 * (pitch - 0.032), letter, 10, weight="bold", ha="left", va="center"
        )
    page.key([*walk_signs(outcome, option, base.extent), *sensed_signs([walk for _, walk in walks])])
    return page


def _draw_walks(plan: Plan, walks: tuple[tuple[str, WalkResult], ...]) -> list[Bbox]:
    """Paths with their letters, pulses and alarms; returns where they start and end, page pixels."""
    boxes, axes = [], plan.axes
    for letter, walk in walks:
        haloed(axes, walk.line, WALK, 11, 4.2, solid_capstyle="round")
        axes.annotate(
            "", walk.line[-1], walk.line[-2], zorder=13,
            arrowprops={"color": palette.FIGURE, **_ARROW},
        )  # fmt: skip
        marked(axes, np.array([(pulse.x, pulse.y) for pulse in walk.pulses]), WALK, 12)
        if walk.alarm is not None:
            marked(axes, np.array([walk.alarm.x, walk.alarm.y]), ALARM, 14)
        axes.plot(*walk.line[0], "o", ms=13, mfc="white", mec=palette.FIGURE, mew=1.6, zorder=13)
        axes.annotate(
            letter, walk.line[0], fontsize=7.5, weight="bold", ha="center", va="center_baseline", zorder=15
        )
        boxes += [plan.around(walk.line[0], 16), plan.around(walk.line[-1], 8)]
    return boxes


def _walk_rows(page: Sheet, option: OptionResult, walks: tuple[tuple[str, WalkResult], ...]) -> None:
    page.begin_column(_TEXT_LEFT, COLUMN_RIGHT, _PLAN[1] + _PLAN[3], _PLAN[1])
    told = [
        Section(
            f"{letter}: {walk.name}",
            (Paragraph(walk_words(walk), 2, "large"), Paragraph(how_walked(walk), 2, is_quiet=True)),
        )
        for letter, walk in walks
    ]
    units = tuple((_unit_piece(unit),) for unit in option.detectors)
    counts = Paragraph(counting_words(option), 4, is_quiet=True)
    fill(page, [*told, Section("Units, and what counts", (Listing(units, most=2), counts))])


def _unit_piece(unit: Detector) -> Piece:
    """A unit as it is set: a line or two, or running text where much is set head by head."""
    text = f"{words.unit_title(unit)}, {', '.join(words.unit_lines(unit))}"
    return Row(text, size="small", most=2) if len(words.unit_lines(unit)) <= 2 else Paragraph(text, 4)


def walk_signs(outcome: Outcome, option: OptionResult, extent: Extent) -> list[Sign]:
    """What the marks and colours of a page of walks mean; its plan shows `extent`."""
    verdicts = [verdict_sign(verdict) for verdict in sorted(Verdict, reverse=True)]
    there = [
        *masked_signs(option.detectors),
        *lobe_signs(option.detectors),
        *site_signs(outcome.terrain, outcome.terrain.ground.z[extent.rows, extent.columns]),
    ]
    return [*verdicts, WALK, ALARM, *there]


def sensed_signs(walks: Sequence[WalkResult]) -> list[Sign]:
    """What the row of a microwave on strips means; none where no unit has one."""
    return [MICROWAVE_SENSES, MICROWAVE_ACROSS] if any(walk.sensed for walk in walks) else []


def _letter(k: int) -> str:
    """A, B, ... Z, AA, AB and so on."""
    return ("" if k < 26 else _letter(k // 26 - 1)) + ascii_uppercase[k % 26]

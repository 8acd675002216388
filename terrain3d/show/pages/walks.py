"""The page of walks: paths on the plan with their pulses and alarms, and each as a strip below."""

from dataclasses import replace
from string import ascii_uppercase
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.walks import counting_words, how_walked, walk_words, walks_sentence
from terrain3d.show import palette
from terrain3d.show.extent import site_extent, whole_cells
from terrain3d.show.pages.labels import Label, boxes_meet, place_labels
from terrain3d.show.pages.north_and_scale import busy_places, north_arrow, scale_bar
from terrain3d.show.pages.plan import Base, paint_map
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Sheet, Sign, plain_sheet
from terrain3d.show.pages.size import HEIGHT_PX, SCREEN, WIDTH_PX, Size, scale_for, scale_words
from terrain3d.show.pages.walk_strip import draw_strip
from terrain3d.show.shapes import spot_within
from terrain3d.units import Floats
from terrain3d.walk.option import OptionWalks
from terrain3d.walk.pulses import WalkResult

#: Walks on one page.
PER_PAGE = 3
_PLAN = (PICTURE[0], 0.42, 0.42, 0.455)
_TEXT_LEFT = 0.485
_STRIPS_TOP, _STRIPS_FLOOR = 0.4, 0.135
_ARROW = {"arrowstyle": "-|>,head_width=0.32,head_length=0.7", "linewidth": 0, "shrinkA": 0, "shrinkB": 0}
#: Ground shown around the walks, metres.
_MARGIN_M = 1.2


def walk_pages(walks: OptionWalks) -> list[tuple[tuple[str, WalkResult], ...]]:
    """The walks of an option with their letters, page by page."""
    named = [(_letter(k), walk) for k, walk in enumerate(walks.walks)]
    return [tuple(named[k : k + PER_PAGE]) for k in range(0, len(named), PER_PAGE)]


def walks_sheet(
    outcome: Outcome,
    option: OptionResult,
    walks: tuple[tuple[str, WalkResult], ...],
    base: Base,
    size: Size = SCREEN,
    date: str = "",
) -> Sheet:
    """A page of walks through one option.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    walks : tuple of (letter, WalkResult)
        One page of `walk_pages`.
    base : Base
        What all plans of the site share.
    size : Size
    date : str
    """
    lines = [walk.line for _, walk in walks]
    shared = plan_with(outcome, lines, base, size, _PLAN[2:])
    view = "walks, plan north up"
    if shared.scale is not None:
        view += f", {scale_words(shared.scale, size)}"
    place = words.place_in_ranking(outcome, option)
    sentence = walks_sentence(tuple(walk for _, walk in walks))
    page = plain_sheet(outcome, option.name, view, sentence, place, size, date)
    axes, heights = begin_plan(page, outcome, option, shared, _PLAN, "W")
    finish_plan(page, axes, outcome, option, shared, heights, _draw_walks(axes, walks))
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
    page.key(walk_signs(outcome))
    return page


def plan_with(
    outcome: Outcome, lines: list[Floats], base: Base, size: Size, place: tuple[float, float]
) -> Base:
    """What a plan shows that must hold some lines too: to scale on paper, filling its place on a screen."""
    tight, ground = site_extent(outcome), outcome.terrain.ground
    walked = np.vstack(lines)
    low = np.minimum([tight.west, tight.south], walked.min(axis=0) - _MARGIN_M)
    high = np.maximum([tight.east, tight.north], walked.max(axis=0) + _MARGIN_M)
    floor, ceiling = np.reshape(ground.bounds, (2, 2))
    low, high = np.maximum(low, floor), np.minimum(high, ceiling)
    wide, deep = high - low
    if size.width_mm is None:
        scale, aspect = None, place[0] * WIDTH_PX / (place[1] * HEIGHT_PX)
        wanted = np.array([max(wide, aspect * deep), max(deep, wide / aspect)])
    else:
        paper = size.paper_m(place[0]), size.paper_m(place[1] * size.height_px / size.width_px)
        scale = scale_for((wide + ground.cell_m, deep + ground.cell_m), paper)
        # A cell less, or the whole cells of the extent would not fit on the paper.
        wanted = np.maximum(scale * np.array(paper) - 2 * ground.cell_m, [wide, deep])
    room = (wanted - [wide, deep]) / 2
    low, high = np.maximum(low - room, floor), np.minimum(high + room, ceiling)
    # A hair less, or rounding would take in one more row of cells.
    extent = whole_cells(ground, *(low + 1e-6), *(high - 1e-6))
    return replace(base, extent=extent, scale=scale)


def begin_plan(
    page: Sheet,
    outcome: Outcome,
    option: OptionResult,
    base: Base,
    place: tuple[float, float, float, float],
    anchor: Literal["W", "NW"],
) -> tuple[Axes, list[Text]]:
    """Draw an option's plan into a part of a page, at its scale; returns it and the heights on contours."""
    axes = page.picture_axes(place)
    if base.scale is not None:
        page.set_to_scale(axes, base.extent.width_m, base.extent.depth_m, base.scale)
    heights = paint_map(axes, outcome, option, base)
    axes.set_anchor(anchor)
    # What is drawn next asks where things are on the page.
    axes.apply_aspect()
    return axes, heights


def finish_plan(
    page: Sheet,
    axes: Axes,
    outcome: Outcome,
    option: OptionResult,
    base: Base,
    heights: list[Text],
    taken: list[Bbox],
) -> None:
    """Write on a plan what is not yet named, units and protected ground, and add its arrow and scale bar.

    Heights on contours give way to names, chips and what else is `taken`.
    """
    axes.set(xticks=[], yticks=[])
    busy = busy_places(axes, outcome, base.extent)
    # A mark under a chip is worse than any ground under it.
    marks = np.reshape([np.mean(box.get_points(), axis=0) for box in taken], (-1, 2))
    busy = np.vstack([busy, np.repeat(marks, len(busy) + 1, axis=0)])
    taken = [*taken, north_arrow(axes, busy)]
    taken.append(scale_bar(axes, base.extent, busy, taken[-1]))
    labels = [
        _label(axes, unit.x, unit.y, page.lines(unit.name, 0.1, 7.5, 1, "bold")[0], (0, -1), "bold")
        for unit in option.detectors
    ]
    for area in outcome.terrain.protect:
        spot = spot_within(area)
        if spot is not None:
            labels.append(_label(axes, *spot, page.lines(area.name, 0.12, 7.5, 1)[0], (0, 0)))
    taken += place_labels(axes, labels, taken)
    for text in heights:
        text.set_visible(not any(boxes_meet(text.get_window_extent(), box) for box in taken))


def _label(
    axes: Axes, x: float, y: float, text: str, prefer: tuple[float, float], weight: str = "normal"
) -> Label:
    box = axes.get_window_extent()
    px, py = axes.transData.transform((x, y))
    return Label(text, px - box.x0, py - box.y0, prefer, 7.5, weight)


def _draw_walks(axes: Axes, walks: tuple[tuple[str, WalkResult], ...]) -> list[Bbox]:
    """Paths with their letters, pulses and alarms; returns where they start and end, page pixels."""
    boxes = []
    for letter, walk in walks:
        x, y = walk.line.T
        axes.plot(x, y, color="white", linewidth=4.2, zorder=10, solid_capstyle="round")
        axes.plot(x, y, color=palette.FIGURE, linewidth=1.9, zorder=11, solid_capstyle="round")
        axes.annotate(
            "", walk.line[-1], walk.line[-2], zorder=13,
            arrowprops={"color": palette.FIGURE, **_ARROW},
        )  # fmt: skip
        axes.plot(
            [p.x for p in walk.pulses], [p.y for p in walk.pulses], "o", ms=3.8, mfc="white",
            mec=palette.INK, mew=0.9, zorder=12,
        )  # fmt: skip
        if walk.alarm is not None:
            axes.plot(
                walk.alarm.x, walk.alarm.y, "*", ms=15, mfc=palette.ALARM, mec=palette.INK, mew=1.1, zorder=14
            )
        axes.plot(*walk.line[0], "o", ms=13, mfc="white", mec=palette.FIGURE, mew=1.6, zorder=13)
        axes.annotate(
            letter, walk.line[0], fontsize=7.5, weight="bold", ha="center", va="center_baseline", zorder=15
        )
        for spot, half in ((walk.line[0], 16), (walk.line[-1], 8)):
            middle = axes.transData.transform(spot)
            boxes.append(Bbox([middle - half, middle + half]))
    return boxes


def _walk_rows(page: Sheet, option: OptionResult, walks: tuple[tuple[str, WalkResult], ...]) -> None:
    page.begin_column(_TEXT_LEFT, COLUMN_RIGHT, _PLAN[1] + _PLAN[3], _PLAN[1])
    for letter, walk in walks:
        page.heading(f"{letter}: {walk.name}")
        page.paragraph(walk_words(walk), 2, size=8.5)
        page.paragraph(how_walked(walk), 2, color=palette.QUIET_INK)
        page.gap(0.008)
    page.heading("Units, and what counts")
    compact_unit_rows(page, option)
    page.paragraph(counting_words(option), 4, color=palette.QUIET_INK)


def compact_unit_rows(page: Sheet, option: OptionResult) -> None:
    """Each unit in a line or two."""
    for shown, unit in enumerate(option.detectors):
        if shown == 2 and len(option.detectors) > 3:
            page.row(f"and {len(option.detectors) - shown} more: see results.json", size=7.5)
            break
        setting = ", ".join(words.unit_lines(unit))
        page.paragraph(f"{words.unit_title(unit)}, {setting}", 1)


def walk_signs(outcome: Outcome) -> list[Sign]:
    """What the marks and colours of a page of walks mean."""
    signs = [
        Sign("both layers", fill=palette.VERDICT_COLOURS[Verdict.BOTH], line=palette.BOTH_EDGE),
        Sign("upper only", fill=palette.VERDICT_COLOURS[Verdict.UPPER_ONLY]),
        Sign("lower only", fill=palette.VERDICT_COLOURS[Verdict.LOWER_ONLY]),
        Sign("dead ground", fill=palette.VERDICT_COLOURS[Verdict.DEAD]),
        Sign("outside", fill=palette.VERDICT_COLOURS[Verdict.OUTSIDE]),
        Sign("walk and its pulses", line=palette.FIGURE, width=1.9, marker="o"),
        Sign("alarm", line=palette.INK, width=1.6, marker="*"),
    ]
    if outcome.terrain.protect:
        signs.append(Sign("protected ground", line=palette.PROTECTED, width=1.5, dashes=(0, (5, 2.2))))
    return signs


def _letter(k: int) -> str:
    """A, B, ... Z, AA, AB and so on."""
    return ("" if k < 26 else _letter(k // 26 - 1)) + ascii_uppercase[k % 26]

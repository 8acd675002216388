"""The page of the ways in to one protected area: plan, numbers, and the ground along the walk."""

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.job import Outcome
from terrain3d.lengths import length, speed
from terrain3d.sentences.routes import percent, routes_words, start_words, trust_words
from terrain3d.show.blocks import Gap, Paragraph, Row, Section, fill
from terrain3d.show.extent import Extent, site_extent
from terrain3d.show.legend import ALARM, APPROACH, CLEAR, LEAST_HELD, WALK, Sign, verdict_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import boxes_meet, haloed, marked
from terrain3d.show.pages.plan import Plan, begin_plan, few_labels
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet
from terrain3d.show.pages.walk_profile import draw_walk_profile
from terrain3d.show.pages.walks import sensed_signs, walk_signs
from terrain3d.show.ways import Drawn, drawn_routes, fine_line, same_line, starts_of
from terrain3d.units import Floats
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import ClearRoute, Crossing, WayIn

_PLAN = (PICTURE[0], 0.4, 0.5, 0.475)
#: What a line of a letter is to be read as.
_KIND = {"A": "least likely", "B": "least likely", "D": "much shorter", "E": "much shorter"}
#: Width of the figures of a walk beside those of another, as a share of the column.
_BESIDE = 0.32
_PROFILE = (PICTURE[0] + 0.03, 0.148, COLUMN_RIGHT - PICTURE[0] - 0.06, 0.192)


def pages(context: PageContext) -> list[Page]:
    """The ways in to each protected area under each option."""
    return context.pages_of_options(
        "routes",
        lambda option: [
            partial(routes_sheet, context, option, route) for route in context.studied(option).routes or ()
        ],
    )


def routes_sheet(context: PageContext, option: OptionResult, route: OpenRoutes) -> Sheet:
    """The page of the ways in to one protected area under one option."""
    drawn, outcome = drawn_routes(route), context.outcome
    base = context.base_in(_PLAN[2:], lines_shown(outcome, drawn))
    view = f"ways in to {route.area}, plan north up"
    page = context.begin_option(option, view, routes_words(route), base.scale)
    page.of = route.area
    plan = begin_plan(page, outcome, option, base, _PLAN, "W", is_ruled=False)
    _finish(plan, drawn)
    axes = plan.axes
    page.begin_column(axes.get_position().x1 + 0.035, COLUMN_RIGHT, _PLAN[1] + _PLAN[3], _PLAN[1])
    fill(page, route_sections(option, route, beside=True))
    strip: Codes = np.zeros(0, np.uint8)
    if drawn:
        letter, telling = telling_walk(route)
        strip = telling.walked.strip
        heading = f"{letter}: {_ends_words(route, letter)}"
        page.text(PICTURE[0], 0.371, heading, 9, weight="bold", va="baseline")
        draw_walk_profile(page, outcome.terrain, telling, _PROFILE)
    told = [way.walked for way in (route.least, route.inner) if way is not None]
    page.key([*route_signs(outcome, option, drawn, base.extent, strip), *sensed_signs(told)])
    return page


def lines_shown(outcome: Outcome, drawn: list[Drawn]) -> list[Floats]:
    """What a picture must hold besides the site: the lines, or nothing more."""
    return [one.line for one in drawn] or [np.array([site_extent(outcome).centre])]


def telling_walk(route: OpenRoutes) -> tuple[str, WayIn]:
    """The walk whose ground is drawn: the first that may raise an alarm, else the farthest in."""
    assert route.least is not None
    assert route.inner is not None
    if route.least.pulses > 0:
        return "A", route.least
    if route.shorter is not None:
        return "D", route.shorter
    if same_line(route.inner.line, route.least.line):
        return "A", route.least
    return "B", route.inner


def _ends_words(route: OpenRoutes, letter: str) -> str:
    where, how = ("middle" if letter == "B" else "edge"), ("much shorter " if letter == "D" else "")
    return f"along the {how}walk to the {where} of {route.area}"


def _finish(plan: Plan, drawn: list[Drawn]) -> None:
    """Draw the lines, then write on the plan where they leave room."""
    approaches = plan.outcome.terrain.approaches
    for approach in approaches:
        haloed(plan.axes, approach.line, APPROACH, 9.5, 4.4)
    taken = _draw(plan, drawn)
    # An arrow over the start of a line is worse than one over any ground.
    marks = [plan.pixels(fine_line(one.line)) for one in drawn] + [box.get_points() for box in taken]
    labels = [
        plan.label(
            approach.line.mean(axis=0), plan.page.lines(approach.name, 0.1, 7, 1), 7.0, (0, 1),
            colour=palette.QUIET_INK,
        )
        for approach in approaches
    ]  # fmt: skip
    plan.finish([*few_labels(plan), *labels], taken, np.vstack(marks) if marks else None)


def _draw(plan: Plan, drawn: list[Drawn]) -> list[Bbox]:
    """The lines with their letters and alarms; returns the pixels that marks take."""
    boxes, axes = [], plan.axes
    for one in reversed(drawn):
        cap = "round" if one.sign in (CLEAR, LEAST_HELD) else "butt"
        haloed(axes, one.line, one.sign, 11, 4.6, solid_capstyle="round", dash_capstyle=cap)
        axes.plot(*one.line[-1], "s", ms=5, mfc=one.sign.line, mec="white", mew=0.8, zorder=12)
        boxes.append(plan.around(one.line[-1], 9))
        if one.alarm is not None:
            marked(axes, np.array(one.alarm), ALARM, 14)
            boxes.append(plan.around(one.alarm, 14))
    badges: list[tuple[Floats, str]] = []
    for start, letters in starts_of(drawn):
        (at,) = plan.pixels([start])
        met = [
            k
            for k, (spot, own) in enumerate(badges)
            if boxes_meet(_around(axes, spot, own), _around(axes, at, letters))
        ]
        if met:
            badges[met[0]] = (badges[met[0]][0], badges[met[0]][1] + letters)
        else:
            badges.append((at, letters))
    return boxes + [_badge(axes, at, "".join(sorted(letters))) for at, letters in badges]


def _around(axes: Any, at: Floats, letters: str) -> Bbox:
    """The box of a badge at a pixel, inside the picture."""
    frame = axes.get_window_extent()
    half = np.array([9.0 + 7.0 * len(letters), 15.0])
    middle = np.clip(at, frame.min + half, frame.max - half)
    return Bbox([middle - half, middle + half])


def _badge(axes: Any, at: Floats, letters: str) -> Bbox:
    """The letters of the lines that start at a pixel, in a box there."""
    box = _around(axes, at, letters)
    x, y = axes.transData.inverted().transform(np.mean([box.min, box.max], axis=0))
    axes.annotate(
        ", ".join(letters), (float(x), float(y)), fontsize=7.5, weight="bold",
        ha="center", va="center_baseline", zorder=16, annotation_clip=False,
        bbox={"boxstyle": "round,pad=0.28", "facecolor": "white", "edgecolor": palette.FIGURE,
              "linewidth": 1.4},
    )  # fmt: skip
    return box


def route_sections(option: OptionResult, route: OpenRoutes, beside: bool = False) -> list[Section]:
    """The numbers of every line; those of two walks side by side where `beside` says that there is room."""
    letters = {one.letter for one in drawn_routes(route)}
    trust = Paragraph(trust_words(option), 5, "note", is_quiet=True)
    if route.least is None or route.inner is None:
        return [Section("No way in", (Paragraph(routes_words(route), 4, "row"), trust))]
    to_edge = [("A", route.least), ("D", route.shorter)]
    to_middle = [("B", route.inner), ("E", route.inner_shorter)]
    sections = []
    for where, walks in (("edge", to_edge), ("middle", to_middle)):
        told = [(letter, way) for letter, way in walks if way is not None and letter in letters]
        if beside and len(told) == 2:
            sections.append(_beside(f"To its {where}", told))
            continue
        for letter, way in told:
            # Where the way to the middle starts is on the picture.
            is_new = way is told[0][1] or way.start != told[0][1].start
            start = (f"from {start_words(way.start)}",) if where == "edge" and is_new else ()
            rows = (*_rows(_figures(way)), *(Row(text, size="small", is_quiet=True) for text in start))
            sections.append(Section(f"{letter}: to its {where}, {_KIND[letter]}", rows))
    if route.clear is not None:
        heading = f"{'C' if 'C' in letters else 'A'}: clear, never on held ground"
        sections.append(Section(heading, _rows(_clear_figures(route.clear))))
    if route.crossing is not None:
        figures = _crossing_figures(route.crossing)
        sections.append(Section("C: no way is clear; least held", _rows(figures)))
    last = sections.pop()
    return [*sections, replace(last, blocks=(*last.blocks, Gap(), trust))]


def _rows(figures: list[tuple[str, ...]]) -> tuple[Row, ...]:
    """Rows of a text and its figures, the first of them the one that counts."""
    first, *others = (Row(text, tuple(told), column=_BESIDE) for text, *told in figures)
    return (replace(first, size="large", is_bold=True), *others)


def _beside(heading: str, told: list[tuple[str, WayIn]]) -> Section:
    """The numbers of the least likely walk, and at its right those of the much shorter one."""
    letters = tuple(f"{letter}: {_KIND[letter]}" for letter, _ in told)
    starts = [f"{letter} from {start_words(way.start)}" for letter, way in told]
    first_start, other_start = (way.start for _, way in told)
    start = f"from {start_words(first_start)}" if first_start == other_start else ", ".join(starts)
    pairs = zip(*(_figures(way) for _, way in told), strict=True)
    rows = _rows([(text, first, second) for (text, first), (_, second) in pairs])
    return Section(heading, (Row(start, letters, size="small", is_quiet=True, column=_BESIDE), *rows))


def _figures(way: WayIn) -> list[tuple[str, ...]]:
    left = way.left_m
    return [
        ("chance of alarm", percent(way.chance)),
        (f"length, time at {speed(1.0)}", f"{length(way.length_m)}, {way.time_s:.0f} s"),
        ("alarm, zones as set", "none" if left is None else f"{length(left)} to go"),
    ]


def _clear_figures(clear: ClearRoute) -> list[tuple[str, ...]]:
    return [
        ("keeps from held ground", "none is held" if clear.berth_m is None else length(clear.berth_m)),
        ("length, shortest clear", f"{length(clear.length_m)}, {length(clear.shortest_m)}"),
        ("clear ground goes on inside", length(clear.into_m)),
    ]


def _crossing_figures(crossing: Crossing) -> list[tuple[str, ...]]:
    return [
        ("touching held ground", length(crossing.held_m)),
        ("length", length(crossing.length_m)),
        ("clear ground ends short by", length(crossing.unseen_to_m)),
    ]


def route_signs(
    outcome: Outcome, option: OptionResult, drawn: list[Drawn], extent: Extent, strip: Codes
) -> list[Sign]:
    """What the marks and colours of a page of routes mean; of the verdicts those on its plan or strip."""
    there = set(np.unique(option.verdicts)) | set(np.unique(strip))
    absent = {verdict_sign(code) for code in Verdict if code not in there}
    absent.add(WALK)
    if all(one.alarm is None for one in drawn):
        absent.add(ALARM)
    return line_signs(drawn) + [sign for sign in walk_signs(outcome, option, extent) if sign not in absent]


def line_signs(drawn: list[Drawn]) -> list[Sign]:
    """What each kind of line is."""
    by_word: dict[str, Sign] = {}
    for one in drawn:
        by_word.setdefault(one.sign.text, one.sign)
    return list(by_word.values())

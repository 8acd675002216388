"""What of a study is written in a column: legends of its ground, signs of its lines, its findings."""

from dataclasses import replace

import numpy as np

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.lengths import area_words, length
from terrain3d.sentences.close_in import close_in_figures
from terrain3d.sentences.heat import silent_words
from terrain3d.sentences.routes import percent
from terrain3d.sentences.sun import sun_lines
from terrain3d.sentences.uncertainty import amount_words
from terrain3d.sentences.words import NO_FIGURE
from terrain3d.show.blocks import Paragraph, Row, Section
from terrain3d.show.legend import (
    ALARM,
    BOUNDARY,
    CLEAR,
    CRAWLING,
    LEAST_LIKELY,
    MUCH_SHORTER,
    SPILT_ON,
    SPILT_WITHIN,
    Sign,
)
from terrain3d.show.live.state import ANIMALS, BEYOND, CHANCE, WAYS, WindowState, uncertainty_of
from terrain3d.show.sections import animal_section, ground_section
from terrain3d.study import OptionStudy
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import WayIn

#: Over what the colours of the chance are.
CHANCE_HEADING = "Both layers hold, of all draws"
_Options = tuple[OptionResult, ...]


def legend_sections(state: WindowState, options: _Options, sides: tuple[str, ...]) -> list[Section]:
    """What the colours on the ground are.

    Parameters
    ----------
    state : WindowState
    options : tuple of OptionResult
        In view.
    sides : tuple of str
        Over the figures of each; empty for one option alone.
    """
    if state.ground_shown == CHANCE:
        signs = [Row(f"{share:.0%}", sign=_chance_sign(share)) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
        return [Section(CHANCE_HEADING, (*signs, *chance_rows(state, options)), sides)]
    if state.ground_shown == ANIMALS:
        grounds = [found.animals for found in _studies(state, options) if found.animals is not None]
        section = animal_section(grounds, sides)
        areas = tuple(area_words(ground.crawling.area_m2) for ground in grounds)
        return [replace(section, blocks=(*section.blocks, Row(CRAWLING.text, areas, CRAWLING)))]
    return [ground_section(options, sides)]


def chance_rows(state: WindowState, options: _Options) -> tuple[Row, ...]:
    """How much ground is held in half of the draws, and in nearly all."""
    cell_m2 = state.outcome.terrain.ground.cell_m**2
    doubts = [uncertainty for option in options if (uncertainty := uncertainty_of(state, option)) is not None]
    return tuple(
        Row(text, tuple(area_words(float((d.chance >= least).sum()) * cell_m2) for d in doubts))
        for text, least in (("in half or more", 0.5), ("in 95% or more", 0.95))
    )


def _chance_sign(share: float) -> Sign:
    red, green, blue = (int(v) for v in palette.chance_rgb(np.array([share]))[0])
    return Sign("", fill=f"#{red:02x}{green:02x}{blue:02x}", line=palette.QUIET_INK)


def study_signs(state: WindowState, options: _Options) -> list[Sign]:
    """What the lines and pins of the study are, as far as they are shown."""
    studies, signs = _studies(state, options), []
    if WAYS in state.extras and studies:
        has_walks = any(found.walks is not None and found.walks.walks for found in studies)
        has_routes = any(found.routes for found in studies)
        if has_walks or has_routes:
            signs.append(replace(LEAST_LIKELY, text=_way_words(has_walks, has_routes)))
        if has_routes:
            signs.append(replace(CLEAR, text="C: clear way, or the least held"))
        if any(_is_much_shorter(route) for found in studies for route in found.routes or ()):
            signs.append(replace(MUCH_SHORTER, text="D, E: much shorter"))
        if has_walks or has_routes:
            signs.append(replace(ALARM, text="an alarm is raised"))
    if BEYOND in state.extras and studies:
        spilt = [found.spill for found in studies if found.spill is not None]
        if state.outcome.terrain.boundary is not None:
            signs.append(replace(BOUNDARY, text="boundary of own land"))
        if any(one.past_within.any() for one in spilt):
            signs.append(replace(SPILT_WITHIN, text="spill, a person in range"))
        if any(one.past_on.any() for one in spilt):
            signs.append(replace(SPILT_ON, text="spill, a vehicle past it"))
    return signs


def finding_sections(state: WindowState, options: _Options, sides: tuple[str, ...]) -> list[Section]:
    """What was found out, the shortest first; what finds no room is left out."""
    rows = [Row(text, figures) for text, figures in finding_rows(state, options)]
    if not rows:
        return []
    lines = []
    for found, side in zip((state.studied(option) for option in options), sides or ("",), strict=True):
        told = sun_lines(found.sun) if found is not None and found.sun is not None else []
        lines += [Paragraph(f"{side.capitalize()}: {text}" if side else text, 3) for text in told]
    return [Section("Studied", (*rows, *lines), sides)]


def finding_rows(state: WindowState, options: _Options) -> list[tuple[str, tuple[str, ...]]]:
    """Rows of a text and a figure for each option; a dash for one that is set otherwise than studied."""
    studies = [state.studied(option) for option in options]
    known = [found for found in studies if found is not None]
    if not known:
        return []
    rows: list[tuple[str, tuple[str, ...]]] = []

    def add(text: str, figures: list[str]) -> None:
        rows.append((text, tuple(figures)))

    for k, route in enumerate(known[0].routes or ()):
        ways = [None if found is None or found.routes is None else found.routes[k] for found in studies]
        add(f"Alarm, way to {route.area}", [_chance(None if way is None else way.least) for way in ways])
        if any(way is not None and way.shorter is not None for way in ways):
            add(
                f"Much shorter to {route.area}",
                [_chance(None if way is None else way.shorter) for way in ways],
            )
    close_in = [None if found is None else found.close_in for found in studies]
    shown = next((one for one in close_in if one is not None), None)
    for k, (text, _) in enumerate(() if shown is None else close_in_figures(shown)):
        add(text, [NO_FIGURE if one is None else close_in_figures(one)[k][1] for one in close_in])
    if any(found.heat is not None for found in known):
        add("Silent on ground, \u00b0C", [_silent_of(found) for found in studies])
    doubts = [
        uncertainty_of(state, option) if found else None
        for option, found in zip(options, studies, strict=True)
    ]
    if any(doubts):
        add(
            "Held in half of the draws",
            [NO_FIGURE if d is None else amount_words(d, d.middle) for d in doubts],
        )
        add("Held, worst 20th", [NO_FIGURE if d is None else amount_words(d, d.worst) for d in doubts])
    if any(found.spill is not None and found.spill.has_boundary for found in known):
        add("Past boundary, in range", [_past_words(found) for found in studies])
    return rows


def _studies(state: WindowState, options: _Options) -> list[OptionStudy]:
    return [found for option in options if (found := state.studied(option)) is not None]


def _way_words(has_walks: bool, has_routes: bool) -> str:
    if not has_routes:
        return "walk"
    return "A, B: least likely alarm; walks" if has_walks else "A, B: least likely alarm"


def _chance(way: WayIn | None) -> str:
    return NO_FIGURE if way is None else percent(way.chance).replace(" %", "%")


def _is_much_shorter(route: OpenRoutes) -> bool:
    return route.shorter is not None or route.inner_shorter is not None


def _past_words(found: OptionStudy | None) -> str:
    past = None if found is None or found.spill is None else found.spill.farthest_within_m
    return NO_FIGURE if past is None else length(past)


def _silent_of(found: OptionStudy | None) -> str:
    return NO_FIGURE if found is None or found.heat is None else silent_words(found.heat)

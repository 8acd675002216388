"""What of a study is written in the column: legends of its ground, signs of its lines, its findings."""

from functools import lru_cache

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.sentences import words
from terrain3d.sentences.animals import LOWEST_COLOUR_SHORT, animal_words
from terrain3d.sentences.heat import silent_words
from terrain3d.sentences.routes import percent
from terrain3d.sentences.sun import sun_lines
from terrain3d.sentences.uncertainty import amount_words
from terrain3d.sentences.words import NO_FIGURE
from terrain3d.show import palette
from terrain3d.show.palette import Rgb
from terrain3d.show.window.canvas import LINE, Canvas
from terrain3d.show.window.ground_colours import CRAWLING, SPILT_ON, SPILT_WITHIN, GroundColours, paint_ground
from terrain3d.show.window.state import ANIMALS, BEYOND, CHANCE, VERDICTS, WAYS, WindowState, uncertainty_of
from terrain3d.study import OptionStudy
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import WayIn

GROUND_WORDS = {VERDICTS: "verdicts", ANIMALS: "animals", CHANCE: "chance"}
_INDENT, _SWATCH_PX = 28, 21
#: Where the dashes of a line's sign begin and end, pixels.
_WHOLE: tuple[tuple[int, int], ...] = ((0, _SWATCH_PX),)
_DASHED = ((0, 5), (8, 13), (16, 21))
_DOTTED = ((0, 3), (6, 9), (12, 15), (18, 21))
_DASH_DOT = ((0, 8), (11, 13), (16, 21))
_Options = tuple[OptionResult, ...]


def draw_legend(canvas: Canvas, state: WindowState, options: _Options, sides: tuple[str, ...]) -> None:
    """What the colours on the ground are, where they are not verdicts.

    Parameters
    ----------
    ink : Ink
    desk : Desk
    options : tuple of OptionResult
        In view; all set as they were studied.
    sides : tuple of str
        Over the figures of each; empty for one option alone.
    """
    (_animal_legend if state.ground_shown == ANIMALS else _chance_legend)(canvas, state, options, sides)


def draw_signs(canvas: Canvas, state: WindowState, options: _Options) -> None:
    """What the lines and pins of the study are, as far as they are shown."""
    studies = _studies(state, options)
    if WAYS in state.extras and studies:
        has_walks = any(found.walks is not None and found.walks.walks for found in studies)
        has_routes = any(found.routes for found in studies)
        if has_walks or has_routes:
            _line_sign(canvas, _way_words(has_walks, has_routes), palette.FIGURE)
        if has_routes:
            _line_sign(canvas, "C: clear way, or the least held", palette.INK, _DOTTED)
        if any(_is_much_shorter(route) for found in studies for route in found.routes or ()):
            _line_sign(canvas, "D, E: much shorter", palette.MUCH_SHORTER, _DASH_DOT)
        if has_walks or has_routes:
            top = canvas.y
            if canvas.line("an alarm is raised", 13, indent=_INDENT):
                canvas.disc(canvas.margin + 10, top + 9, 5, palette.ALARM, palette.INK)
    if BEYOND in state.extras and studies:
        _beyond_signs(canvas, state, studies)


def draw_findings(canvas: Canvas, state: WindowState, options: _Options, sides: tuple[str, ...]) -> None:
    """What was found out, the shortest first; what finds no room is left out."""
    rows = finding_rows(state, options)
    if not rows:
        return
    if not canvas.heading("Studied", sides):
        return
    for text, figures in rows:
        if not canvas.line(text, 13, figures):
            return
    for found, side in zip((state.studied(option) for option in options), sides or ("",), strict=True):
        if found is None or found.sun is None:
            continue
        for text in sun_lines(found.sun):
            told = f"{side.capitalize()}: {text}" if side else text
            if canvas.y + canvas.height_of(told, 12, 3) > canvas.bottom:
                return
            canvas.text(told, 12, 3)


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
    if any(found.heat is not None for found in known):
        add("Silent on ground, \u00b0C", [_silent_of(found) for found in studies])
    doubts = [
        uncertainty_of(state, option) if found else None
        for option, found in zip(options, studies, strict=True)
    ]
    if any(doubts):
        add("Held, middle draw", [NO_FIGURE if d is None else amount_words(d, d.middle) for d in doubts])
        add("Held, worst 20th", [NO_FIGURE if d is None else amount_words(d, d.worst) for d in doubts])
    if any(found.spill is not None and found.spill.has_boundary for found in known):
        add("Past boundary, in range", [_past_words(found) for found in studies])
    return rows


def _animal_legend(canvas: Canvas, state: WindowState, options: _Options, sides: tuple[str, ...]) -> None:
    grounds = [found.animals for found in _studies(state, options) if found.animals is not None]
    if not canvas.heading("Animals raise alarm" if sides else "Animals that raise the alarm", sides):
        return
    count = len(grounds[0].animals)
    for rank, animal in enumerate(grounds[0].animals):
        top = canvas.y
        areas = tuple(words.square_metres(ground.animals[rank].area_m2) for ground in grounds)
        if canvas.line(animal_words(animal), 13, areas, _INDENT):
            _swatch(canvas, top, _plain(palette.animal_colour(rank, count)))
    top = canvas.y
    areas = tuple(words.square_metres(ground.crawling.area_m2) for ground in grounds)
    if canvas.line("silent for a crawler", 13, areas, _INDENT):
        _swatch(canvas, top, _pattern(CRAWLING))
    if canvas.y + canvas.height_of(LOWEST_COLOUR_SHORT, 11, 3) <= canvas.bottom:
        canvas.text(LOWEST_COLOUR_SHORT, 11, 3, colour=palette.QUIET_INK)


def _chance_legend(canvas: Canvas, state: WindowState, options: _Options, sides: tuple[str, ...]) -> None:
    if not canvas.heading("Both layers hold, of all draws"):
        return
    width, top = canvas.room, round(canvas.y) + 3
    if canvas.y + 18 + LINE * 12 > canvas.bottom:
        return
    canvas.rectangle(
        (canvas.margin - 1, top - 1, canvas.margin + width, top + 14), palette.PAPER, palette.QUIET_INK
    )
    bar = palette.chance_rgb(np.linspace(0, 1, width))
    canvas.paste(canvas.margin, top, np.repeat(bar[None], 14, axis=0))
    canvas.y += 20
    for share, align in ((0.0, "l"), (0.5, "m"), (1.0, "r")):
        canvas.write(canvas.margin + share * width, canvas.y, f"{share:.0%}", 12, align=align)
    canvas.y += LINE * 12 + 2
    cell_m2 = state.outcome.terrain.ground.cell_m**2
    doubts = [uncertainty for option in options if (uncertainty := uncertainty_of(state, option)) is not None]
    if sides:
        canvas.line("", 12, sides, bold=True)
    for text, least in (("in half or more", 0.5), ("in 95% or more", 0.95)):
        areas = tuple(words.square_metres(float((d.chance >= least).sum()) * cell_m2) for d in doubts)
        canvas.line(text, 13, areas)


def _beyond_signs(canvas: Canvas, state: WindowState, studies: list[OptionStudy]) -> None:
    terrain = state.outcome.terrain
    if terrain.boundary is not None:
        _line_sign(canvas, "boundary of own land", palette.BOUNDARY, _DASHED)
    for code, text in ((SPILT_WITHIN, "spill, a person in range"), (SPILT_ON, "spill, a vehicle past it")):
        if any(found.spill is not None and _spilt(found, code) for found in studies):
            top = canvas.y
            if canvas.line(text, 13, indent=_INDENT):
                _swatch(canvas, top, _pattern(code))


def _spilt(found: OptionStudy, code: int) -> bool:
    spilt = found.spill
    return spilt is not None and bool((spilt.past_on if code == SPILT_ON else spilt.past_within).any())


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
    return NO_FIGURE if past is None else f"{past:.1f} m"


def _silent_of(found: OptionStudy | None) -> str:
    return NO_FIGURE if found is None or found.heat is None else silent_words(found.heat)


def _line_sign(canvas: Canvas, text: str, colour: str, dashes: tuple[tuple[int, int], ...] = _WHOLE) -> None:
    top = canvas.y
    if canvas.line(text, 13, indent=_INDENT):
        for begin, end in dashes:
            canvas.rectangle((canvas.margin + begin, top + 8, canvas.margin + end, top + 10), colour)


def _swatch(canvas: Canvas, top: float, pattern: Rgb) -> None:
    top = round(top)
    canvas.rectangle(
        (canvas.margin, top + 3, canvas.margin + _SWATCH_PX, top + 15), palette.PAPER, palette.QUIET_INK
    )
    canvas.paste(canvas.margin + 1, top + 4, pattern)


@lru_cache(maxsize=32)
def _plain(colour: str) -> Rgb:
    return np.full((11, 20, 3), palette.rgb(colour), np.uint8)


@lru_cache(maxsize=4)
def _pattern(code: int) -> Rgb:
    """A small piece of ground with something laid over it, as the view draws it."""
    colours = np.full((256, 3), palette.rgb(palette.PAPER), np.uint8)
    nothing = np.zeros((11, 20), np.uint8)
    return paint_ground(GroundColours(nothing, colours, nothing + np.uint8(code)), 20)[:11, :20]

"""The page of what lies beyond: the upper layer past the boundary, whose ground is in it, nuisance things."""

from dataclasses import replace
from functools import lru_cache, partial

from terrain3d.cover.option import OptionResult
from terrain3d.nuisance.spill import Spill, landing_words
from terrain3d.nuisance.things import InLayer
from terrain3d.show import palette, words
from terrain3d.show.legend import (
    BOUNDARY,
    LANDS_ON_GROUND,
    NUISANCE,
    NUISANCE_HIDDEN,
    OUT_OF_SIGHT,
    SPILT_ON,
    SPILT_OVER,
    SPILT_WITHIN,
    UNIT,
    Sign,
    piece_sign,
    site_signs,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import Page, Sheet, share_of_page
from terrain3d.show.pages.spill_plan import draw_spill, on_wider_ground, wide_base
from terrain3d.terrain import Terrain

_INDENT = 0.033


def pages(context: PageContext) -> list[Page]:
    """A page of each option, on the ground that its upper layers are followed over."""

    @lru_cache(maxsize=1)
    def wider() -> PageContext:
        assert context.study is not None
        return replace(context, outcome=on_wider_ground(context.outcome, context.study.surroundings))

    def sheet(option: OptionResult) -> Sheet:
        same = next(one for one in wider().outcome.options if one.name == option.name)
        return spill_sheet(wider(), same)

    return context.pages_of_options("beyond", lambda option: [partial(sheet, option)])


def spill_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option, on ground that holds all of its spill."""
    outcome, found = context.outcome, context.studied(option)
    spilt, things = found.spill, found.nuisances or ()
    assert spilt is not None
    base = wide_base(context, spilt)
    view = "beyond the boundary, plan, north up"
    page = context.begin_option(option, view, spill_line(spilt, things), base.scale)
    draw_spill(page, outcome, option, spilt, things, base)
    page.key(_signs(outcome.terrain, spilt))
    _past_rows(page, spilt)
    _piece_rows(page, spilt)
    _thing_rows(page, outcome.terrain, things)
    _note_rows(page, spilt)
    return page


def spill_line(spilt: Spill, things: tuple[InLayer, ...]) -> str:
    """What to take from the page.

    >>> import numpy as np
    >>> from terrain3d.terrain import Ground
    >>> none = np.zeros((2, 2), bool)
    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((2, 2)))
    >>> spill_line(Spill((), (), False, ground, none, none, 0.0, 0.0, (), ()), ())
    'No boundary is drawn, so nothing is said of how far the upper layer runs past it.'
    """
    within, on = spilt.farthest_within_m, spilt.farthest_on_m
    if within is None or on is None:
        past = "No boundary is drawn, so nothing is said of how far the upper layer runs past it."
    elif within < 0.05 and on < 0.05:
        past = "The upper layer ends on own land."
    elif within < 0.05:
        past = (
            "Within its range the upper layer stays on own land;"
            f" on past its range it runs over up to {on:.0f} m of others' ground."
        )
    elif on < 0.05:
        past = f"The upper layer runs up to {within:.1f} m past the boundary, all of it within its range."
    else:
        past = (
            f"The upper layer runs up to {within:.1f} m past the boundary within its range,"
            f" and up to {on:.0f} m on past its range."
        )
    return f"{past} {_worst_line(things)}".rstrip()


def _worst_line(things: tuple[InLayer, ...]) -> str:
    seen = [thing for thing in things if thing.is_seen]
    near = [thing for thing in seen if thing.is_within_range]
    if not seen:
        return ""
    if not near:
        return "Nuisance things show in a layer only past its range."
    worst = max(near, key=lambda thing: thing.seen_fill)
    return (
        f"{_capital(worst.thing)} fills {worst.seen_fill:.0%} of a zone of the {worst.layer} layer of"
        f" {worst.unit}, {worst.distance_m:.1f} m off. {worst.advice}"
    )


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _signs(terrain: Terrain, spilt: Spill) -> list[Sign]:
    """What the marks of the plan mean; colours of areas stand in the column."""
    boundary = [BOUNDARY] if spilt.has_boundary else []
    return [UNIT, *boundary, LANDS_ON_GROUND, OUT_OF_SIGHT, *site_signs(terrain)]


def _row(page: Sheet, text: str, figure: str = "", indent: float = 0.0, quiet: bool = False) -> float:
    """A row whose text may come from a file: cut to the room that its figure leaves."""
    size = 7.5 if quiet else 8
    room = page.right - page.left - indent - share_of_page(figure, size) - 0.01
    look = {"color": palette.QUIET_INK} if quiet else {}
    return page.row(page.lines(text, room, size, 1)[0], figure, size, indent, **look)


def _past_rows(page: Sheet, spilt: Spill) -> None:
    page.heading("Upper layer past the boundary")
    for fan, rows in zip(spilt.fans, spilt.landings, strict=True):
        if not page.room_for(16):
            _row(page, "more: see results.json", quiet=True)
            break
        if spilt.has_boundary:
            within, on = float(fan.past_within_m.max()), float(fan.past_on_m.max())
            _row(page, f"{fan.unit}, head {fan.head}, within {fan.range_m:g} m", _length(within))
            _row(page, f"on from there to {fan.follow_m:g} m", _length(on), 0.012, quiet=True)
        else:
            _row(page, f"{fan.unit}, head {fan.head}: no boundary is drawn")
        for landing in rows[:3]:
            span = _span(landing.nearest_m, landing.farthest_m)
            _row(
                page,
                f"{landing.arc_deg:.0f}°: {landing_words(landing, fan.follow_m)}",
                span,
                0.012,
                quiet=True,
            )
    if spilt.has_boundary:
        page.gap(0.004)
        _row(page, "Beyond the boundary it is broken by", quiet=True)
        baseline = _row(page, "a person, within range", _area(spilt.past_within_m2), _INDENT)
        page.swatch(baseline, SPILT_WITHIN)
        baseline = _row(page, "a vehicle, past its range", _area(spilt.past_on_m2), _INDENT)
        page.swatch(baseline, SPILT_ON)
        baseline = _row(page, "nothing: it passes over", "", _INDENT)
        page.swatch(baseline, SPILT_OVER)
    page.gap()


def _piece_rows(page: Sheet, spilt: Spill) -> None:
    if not spilt.pieces:
        return
    page.heading("Others' ground in it")
    _row(page, "", "within range / on past it", quiet=True)
    for shown, piece in enumerate(spilt.pieces):
        if not page.room_for(10):
            _row(page, f"and {len(spilt.pieces) - shown} more: see results.json", quiet=True)
            break
        name = f"{piece.name} (keep out)" if piece.keep_out else piece.name
        figure = f"{_area(piece.within_m2)} / {_area(piece.on_past_m2)}"
        baseline = _row(page, name, figure, _INDENT)
        page.swatch(baseline, piece_sign(piece.name, piece.kind))
    page.gap()


def _thing_rows(page: Sheet, terrain: Terrain, things: tuple[InLayer, ...]) -> None:
    if not terrain.nuisances:
        return
    page.heading("Nuisance things in a layer")
    if not things:
        _row(page, "none of those drawn")
    for shown, thing in enumerate(things):
        if not page.room_for(5):
            _row(page, f"and {len(things) - shown} more: see results.json", quiet=True)
            break
        figure = f"{thing.seen_fill:.0%} of a zone" if thing.is_seen else "hidden"
        baseline = _row(page, thing.thing, figure, _INDENT)
        page.swatch(baseline, NUISANCE if thing.is_seen else NUISANCE_HIDDEN)
        where = f"{thing.unit}, {thing.layer}, {thing.distance_m:.1f} m"
        _row(page, where if thing.is_within_range else f"{where}, past its range", "", _INDENT, quiet=True)
    page.gap()


def _note_rows(page: Sheet, spilt: Spill) -> None:
    if not spilt.notes or not page.room_for(4):
        return
    page.heading("Mind")
    for note in spilt.notes:
        lines = page.lines(_capital(note), page.right - page.left, 7.5, 4)
        if not page.room_for(len(lines)):
            _row(page, "more: see results.json", quiet=True)
            break
        for line in lines:
            page.row(line, size=7.5)


def _span(nearest_m: float, farthest_m: float) -> str:
    """Two distances as one figure.

    >>> _span(9.9, 10.1), _span(21.5, 28.3)
    ('10 m', '22 to 28 m')
    """
    low, high = f"{nearest_m:.0f}", f"{farthest_m:.0f}"
    return f"{low} m" if low == high else f"{low} to {high} m"


def _length(metres: float) -> str:
    return f"{metres:.1f} m" if metres >= 0.05 else "none"


def _area(area_m2: float) -> str:
    return words.square_metres(area_m2) if area_m2 > 0 else "none"

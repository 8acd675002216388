"""The page of what lies beyond: the upper layer past the boundary, whose ground is in it, nuisance things."""

from dataclasses import replace
from functools import lru_cache, partial

from terrain3d.cover.option import OptionResult
from terrain3d.nuisance.spill import Fan, Landing, PieceSpill, Spill, landing_words
from terrain3d.nuisance.things import InLayer
from terrain3d.show import words
from terrain3d.show.blocks import Gap, Listing, Paragraph, Row, Section, fill
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
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.pages.spill_plan import draw_spill, on_wider_ground, wide_base
from terrain3d.terrain import Terrain


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
    fill(page, _sections(outcome.terrain, spilt, things))
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


def _sections(terrain: Terrain, spilt: Spill, things: tuple[InLayer, ...]) -> list[Section]:
    """The upper layer past the boundary, whose ground is in it, nuisance things, and what to mind."""
    fans = zip(spilt.fans, spilt.landings, strict=True)
    past = [Listing(tuple(_fan_rows(fan, rows, spilt.has_boundary) for fan, rows in fans), spare=9)]
    broken = (
        Gap(),
        Row("Beyond the boundary it is broken by", size="small", is_quiet=True),
        Row(SPILT_WITHIN.text, (words.area_or_none(spilt.past_within_m2),), SPILT_WITHIN),
        Row(SPILT_ON.text, (words.area_or_none(spilt.past_on_m2),), SPILT_ON),
        Row(SPILT_OVER.text, (), SPILT_OVER),
    )
    sections = [Section("Upper layer past the boundary", (*past, *(broken if spilt.has_boundary else ())))]
    if spilt.pieces:
        pieces = Listing(tuple((_piece_row(piece),) for piece in spilt.pieces), spare=8)
        sections.append(Section("Others' ground in it", (pieces,), ("within range", "on past it")))
    if terrain.nuisances:
        found = Listing(tuple(_thing_rows(thing) for thing in things), spare=2)
        sections.append(
            Section("Nuisance things in a layer", (found if things else Row("none of those drawn"),))
        )
    notes = tuple((Paragraph(_capital(note), 4),) for note in spilt.notes)
    return [*sections, Section("Mind", (Listing(notes, noun="note"),))] if notes else sections


def _fan_rows(fan: Fan, landings: tuple[Landing, ...], has_boundary: bool) -> tuple[Row, ...]:
    rows = [Row(f"{fan.unit}, head {fan.head}: no boundary is drawn")]
    if has_boundary:
        within, on = _length(float(fan.past_within_m.max())), _length(float(fan.past_on_m.max()))
        rows = [
            Row(f"{fan.unit}, head {fan.head}, within {fan.range_m:g} m", (within,)),
            Row(f"on from there to {fan.follow_m:g} m", (on,), size="small", is_quiet=True),
        ]
    for landing in landings[:3]:
        span = _span(landing.nearest_m, landing.farthest_m)
        text = f"{landing.arc_deg:.0f}°: {landing_words(landing, fan.follow_m)}"
        rows.append(Row(text, (span,), size="small", is_quiet=True))
    return tuple(rows)


def _piece_row(piece: PieceSpill) -> Row:
    name = f"{piece.name} (keep out)" if piece.keep_out else piece.name
    areas = words.area_or_none(piece.within_m2), words.area_or_none(piece.on_past_m2)
    return Row(name, areas, piece_sign(piece.name, piece.kind))


def _thing_rows(thing: InLayer) -> tuple[Row, Row]:
    figure = f"{thing.seen_fill:.0%} of a zone" if thing.is_seen else "hidden"
    where = f"{thing.unit}, {thing.layer}, {thing.distance_m:.1f} m"
    where += "" if thing.is_within_range else ", past its range"
    sign = NUISANCE if thing.is_seen else NUISANCE_HIDDEN
    return Row(thing.thing, (figure,), sign), Row(where, size="small", is_quiet=True, is_inset=True)


def _span(nearest_m: float, farthest_m: float) -> str:
    """Two distances as one figure.

    >>> _span(9.9, 10.1), _span(21.5, 28.3)
    ('10 m', '22 to 28 m')
    """
    low, high = f"{nearest_m:.0f}", f"{farthest_m:.0f}"
    return f"{low} m" if low == high else f"{low} to {high} m"


def _length(metres: float) -> str:
    return f"{metres:.1f} m" if metres >= 0.05 else "none"

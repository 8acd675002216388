"""The page of what lies beyond: the upper layer past the boundary, whose ground is in it, nuisance things."""

from dataclasses import replace
from functools import lru_cache, partial

from terrain3d.cover.option import OptionResult
from terrain3d.lengths import given
from terrain3d.nuisance.spill import Fan, Landing, PieceSpill, Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.sentences import words
from terrain3d.sentences.beyond import (
    area_or_none,
    beyond_line,
    beyond_notes,
    landing_words,
    length_words,
    loss_words,
    masks_words,
    span_words,
)
from terrain3d.sentences.nuisances import fill_words, where_words
from terrain3d.show.blocks import Gap, Listing, Paragraph, Row, Section, fill
from terrain3d.show.extent import Extent
from terrain3d.show.legend import (
    BOUNDARY,
    LANDS_ON_GROUND,
    NUISANCE,
    NUISANCE_HIDDEN,
    NUISANCE_UNSEEN,
    OUT_OF_SIGHT,
    SPILT_MICROWAVE,
    SPILT_ON,
    SPILT_OVER,
    SPILT_WITHIN,
    UNIT,
    Sign,
    masked_signs,
    piece_sign,
    site_signs,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import unknown_signs
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.pages.spill_plan import draw_spill, on_wider_ground, wide_base
from terrain3d.terrain import Terrain

#: Grounds to keep out of that the page tells; the rest is in results.json.
_MOST_KEPT_OFF = 2
#: Things that a layer lands on, of each.
_MOST_LANDINGS = 3


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
    page = context.begin_option(option, view, beyond_line(spilt, things), base.scale)
    draw_spill(page, outcome, option, spilt, things, base)
    unknown = unknown_signs(outcome.terrain.ground, base.extent)
    page.key(
        [
            *_signs(outcome.terrain, option, spilt, base.extent),
            *_thing_signs(outcome.terrain, things),
            *unknown,
        ]
    )
    fill(page, _sections(outcome.terrain, spilt, things))
    return page


def _signs(terrain: Terrain, option: OptionResult, spilt: Spill, extent: Extent) -> list[Sign]:
    """What the marks of the plan mean; colours of areas stand in the column."""
    boundary = [BOUNDARY] if spilt.has_boundary else []
    return [
        UNIT,
        *masked_signs(option.detectors),
        *boundary,
        LANDS_ON_GROUND,
        OUT_OF_SIGHT,
        *site_signs(terrain, terrain.ground.z[extent.rows, extent.columns]),
    ]


def _thing_signs(terrain: Terrain, things: tuple[InLayer, ...]) -> list[Sign]:
    """The signs of things that may trouble a unit: of those a layer sees, and of the others."""
    seen = {thing.thing for thing in things if thing.is_seen}
    are_seen = [thing.name in seen for thing in terrain.nuisances]
    return [NUISANCE] * any(are_seen) + [NUISANCE_UNSEEN] * (not all(are_seen))


def _sections(terrain: Terrain, spilt: Spill, things: tuple[InLayer, ...]) -> list[Section]:
    """The upper layer past the boundary, whose ground is in it, nuisance things, and what to mind."""
    keep = _keep_off_sections(spilt)
    # Small lines that the last section takes, with its heading.
    kept = 0 if not keep else 4 + 2 * min(len(spilt.keep_off), _MOST_KEPT_OFF)
    # Where much is to be said what a layer lands on is in the picture and in results.json.
    most = 0 if keep and len(spilt.fans) > 2 else _MOST_LANDINGS
    fans = tuple(
        _fan_rows(fan, rows[:most], spilt.has_boundary)
        for fan, rows in zip(spilt.fans, spilt.landings, strict=True)
    )
    past = [Listing(fans, spare=9 + kept)]
    broken: tuple[Gap | Row, ...] = (
        Gap(),
        Row("Beyond the boundary it is broken by", size="small", is_quiet=True),
        Row(SPILT_WITHIN.text, (area_or_none(spilt.past_within_m2),), SPILT_WITHIN),
        Row(SPILT_ON.text, (area_or_none(spilt.past_on_m2),), SPILT_ON),
        Row(SPILT_OVER.text, (), SPILT_OVER),
    )
    if spilt.past_microwave_m2 is not None:
        broken += (Row(SPILT_MICROWAVE.text, (area_or_none(spilt.past_microwave_m2),), SPILT_MICROWAVE),)
    sections = [Section("Upper layer past the boundary", (*past, *(broken if spilt.has_boundary else ())))]
    if spilt.pieces:
        pieces = Listing(tuple((_piece_row(piece),) for piece in spilt.pieces), spare=8 + max(kept - 2, 0))
        sections.append(Section("Others' ground in it", (pieces,), ("within range", "on past it")))
    if terrain.nuisances:
        found = Listing(tuple(_thing_rows(thing) for thing in things), spare=2 + (kept and kept + 1))
        sections.append(
            Section("Nuisance things in a layer", (found if things else Row("none of those drawn"),))
        )
    sections += keep
    notes = tuple((Paragraph(words.capital(note), 4),) for note in beyond_notes(spilt, terrain.doubts))
    return [*sections, Section("Note", (Listing(notes, noun="note"),))] if notes else sections


def _keep_off_sections(spilt: Spill) -> list[Section]:
    """What would have to be masked, and what that costs."""
    items = tuple(
        (
            Row(one.ground or "all past the boundary", (loss_words(one),)),
            Row(masks_words(one), size="small", is_quiet=True, is_inset=True),
        )
        for one in spilt.keep_off
    )
    if not items:
        return []
    listing = Listing(items, most=_MOST_KEPT_OFF, noun="mask")
    return [Section("To keep out by masking", (listing,), ("lost of what is held",))]


def _fan_rows(fan: Fan, landings: tuple[Landing, ...], has_boundary: bool) -> tuple[Row, ...]:
    rows = [Row(f"{fan.unit}, head {fan.head}: no boundary is drawn")]
    if has_boundary:
        within, on = length_words(float(fan.past_within_m.max())), length_words(float(fan.past_on_m.max()))
        rows = [
            Row(f"{fan.unit}, head {fan.head}, within {given(fan.range_m)}", (within,)),
            Row(f"on from there to {given(fan.follow_m)}", (on,), size="small", is_quiet=True, is_inset=True),
        ]
    for landing in landings:
        span = span_words(landing.nearest_m, landing.farthest_m)
        text = f"{landing.arc_deg:.0f}°: {landing_words(landing, fan.follow_m)}"
        rows.append(Row(text, (span,), size="small", is_quiet=True, is_inset=True))
    return tuple(rows)


def _piece_row(piece: PieceSpill) -> Row:
    name = f"{piece.name} (keep out)" if piece.keep_out else piece.name
    areas = area_or_none(piece.within_m2), area_or_none(piece.on_past_m2)
    return Row(name, areas, piece_sign(piece.name, piece.kind))


def _thing_rows(thing: InLayer) -> tuple[Row, Row]:
    sign = NUISANCE if thing.is_seen else NUISANCE_HIDDEN
    where = Row(where_words(thing), size="small", is_quiet=True, is_inset=True)
    return Row(thing.thing, (fill_words(thing),), sign), where

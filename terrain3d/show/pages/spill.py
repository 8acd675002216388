"""The page of what lies beyond: the upper layer past the boundary, whose ground is in it, nuisance things."""

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.nuisance.spill import Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.sentences import words
from terrain3d.sentences.beyond import (
    area_words,
    beyond_line,
    beyond_notes,
    landing_words,
    length_words,
    span_words,
)
from terrain3d.sentences.nuisances import fill_words, where_words
from terrain3d.show import palette
from terrain3d.show.pages.sheet import Sheet, Sign, Stripe, plain_sheet, share_of_page
from terrain3d.show.pages.size import SCREEN, Size, scale_words
from terrain3d.show.pages.spill_plan import paint_spill, wide_base
from terrain3d.terrain import Terrain

_ON = Stripe("\\\\\\\\", palette.SPILT)
_INDENT = 0.033
#: The boundary's dashes, short enough for a line of the key.
_SIGN_DASHES = (0, (4, 1.2, 1, 1.2))


def spill_sheet(
    outcome: Outcome,
    option: OptionResult,
    spilt: Spill,
    things: tuple[InLayer, ...],
    size: Size = SCREEN,
    date: str = "",
) -> Sheet:
    """The page of one option.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    spilt : Spill
        Of this option.
    things : tuple of InLayer
        Likewise.
    size : Size
    date : str
        Printed as it is; empty for none.
    """
    base = wide_base(outcome, spilt, size)
    view = "beyond the boundary, plan, north up"
    if base.scale is not None:
        view += f", {scale_words(base.scale, size)}"
    place = words.place_in_ranking(outcome, option)
    page = plain_sheet(outcome, option.name, view, beyond_line(spilt, things), place, size, date)
    paint_spill(page, page.picture_axes(), outcome, option, spilt, things, base)
    page.key(_signs(outcome.terrain, spilt))
    _past_rows(page, spilt)
    _piece_rows(page, spilt)
    _thing_rows(page, outcome.terrain, things)
    _note_rows(page, outcome.terrain, spilt)
    return page


def _signs(terrain: Terrain, spilt: Spill) -> list[Sign]:
    """What the marks of the plan mean; colours of areas stand in the column."""
    signs = [Sign("unit, its arc and maximum range", marker="o")]
    if spilt.has_boundary:
        signs.append(Sign("boundary", line=palette.BOUNDARY, width=1.6, dashes=_SIGN_DASHES))
    if terrain.protect:
        signs.append(Sign("protected", line=palette.PROTECTED, width=1.5, dashes=(0, (5, 2.2))))
    signs.append(Sign("upper layer lands", line=palette.LANDING, width=1.7))
    signs.append(Sign("it runs out of sight", line=palette.QUIET_INK, width=1.7, dashes=(0, (1, 1.5))))
    if len(terrain.solids.names):
        signs.append(Sign("solid", fill=palette.SOLID, line=palette.SOLID_EDGE))
    if (terrain.foliage.column >= 0).any():
        signs.append(Sign("foliage", fill=palette.FOLIAGE_LIGHT, line=palette.FOLIAGE_EDGE))
    return signs


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
            _row(page, f"{fan.unit}, head {fan.head}, within {fan.range_m:g} m", length_words(within))
            _row(page, f"on from there to {fan.follow_m:g} m", length_words(on), 0.012, quiet=True)
        else:
            _row(page, f"{fan.unit}, head {fan.head}: no boundary is drawn")
        for landing in rows[:3]:
            span = span_words(landing.nearest_m, landing.farthest_m)
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
        baseline = _row(page, "a person, within range", area_words(spilt.past_within_m2), _INDENT)
        page.swatch(baseline, palette.SPILT, Stripe())
        baseline = _row(page, "a vehicle, past its range", area_words(spilt.past_on_m2), _INDENT)
        page.swatch(baseline, palette.PAPER, _ON)
        baseline = _row(page, "nothing: it passes over", "", _INDENT)
        page.swatch(baseline, palette.mixed(palette.SPILT, 0.4), Stripe())
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
        figure = f"{area_words(piece.within_m2)} / {area_words(piece.on_past_m2)}"
        baseline = _row(page, name, figure, _INDENT)
        page.swatch(
            baseline,
            palette.mixed(palette.piece_colour(piece.kind), 0.5),
            Stripe(),
            palette.piece_colour(piece.kind),
        )
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
        figure = fill_words(thing)
        baseline = _row(page, thing.thing, figure, _INDENT)
        page.swatch(
            baseline, palette.NUISANCE if thing.is_seen else palette.PAPER, Stripe(), palette.NUISANCE
        )
        _row(page, where_words(thing), "", _INDENT, quiet=True)
    page.gap()


def _note_rows(page: Sheet, terrain: Terrain, spilt: Spill) -> None:
    notes = beyond_notes(spilt, terrain.doubts)
    if not notes or not page.room_for(4):
        return
    page.heading("Mind")
    for note in notes:
        lines = page.lines(words.capital(note), page.right - page.left, 7.5, 4)
        if not page.room_for(len(lines)):
            _row(page, "more: see results.json", quiet=True)
            break
        for line in lines:
            page.row(line, size=7.5)

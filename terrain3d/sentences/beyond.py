"""How far the upper layer runs past the boundary, on what it lands, and what of that is not known."""

from collections.abc import Sequence

from terrain3d.lengths import area_words, given, length, plain_area, plain_area_figure, retold, span
from terrain3d.nuisance.sight_lines import Lands
from terrain3d.nuisance.spill import KeepOff, Landing, PieceSpill, Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.sentences.heads import zones_words
from terrain3d.sentences.nuisances import cost_words, nuisance_line, worst_line
from terrain3d.sentences.words import capital
from terrain3d.wording import listed

#: What an axis ends on, as results have it.
LANDS_WORDS = {
    Lands.NOTHING: "nothing",
    Lands.GROUND: "ground",
    Lands.SOLID: "solid",
    Lands.FOLIAGE: "foliage",
    Lands.UNSURVEYED: "end of the known ground",
}


def beyond_lines(spilt: Spill, things: tuple[InLayer, ...], doubts: Sequence[str]) -> list[str]:
    """All that is to say: what to know first, then whose ground lies in the layer, then nuisance things."""
    pieces = [
        _piece_line(piece)
        for piece in spilt.pieces
        if piece.within_m2 or piece.on_past_m2 or piece.microwave_m2
    ]
    return [
        *beyond_notes(spilt, doubts),
        *([microwave_words(spilt)] if spilt.past_microwave_m2 else []),
        *pieces,
        *(keep_off_words(one) for one in spilt.keep_off),
        *(nuisance_line(thing) for thing in things if thing.is_seen),
    ]


def beyond_notes(spilt: Spill, doubts: Sequence[str]) -> list[str]:
    """What a reader has to know besides; `doubts` are those of the ground that was looked at."""
    notes = [retold(doubt) for doubt in doubts]
    if not spilt.has_boundary:
        notes.append("no boundary is drawn, so nothing is said of how far the layers run past it")
    notes += [f"{unit} stands off own land" for unit in spilt.off_own_land]
    notes += [
        f"the upper layer of {unit} leaves the known ground from {length(from_m, 0)} on;"
        " what lies beyond is not known"
        for unit, from_m in spilt.known_until_m.items()
    ]
    return notes


def keep_off_words(one: KeepOff) -> str:
    """Which zones to mask to keep upper layers off some ground, and what that costs.

    >>> from terrain3d.nuisance.masking import MaskCost, ZoneMask
    >>> one = KeepOff("lawn", (ZoneMask("D1", 1, (8, 9)),), MaskCost(60.0, 12.5, True))
    >>> for part in keep_off_words(one).split(": "):
    ...     print(part)
    to keep off "lawn" within range, mask zones 8 and 9 of head 1 of D1
    loses 12 m² of the 60 m² of protected ground held
    """
    off = "keep within the boundary" if one.ground is None else f'keep off "{one.ground}" within range'
    masks = [f"{zones_words(mask.zones)} of head {mask.head} of {mask.unit}" for mask in one.masks]
    cost = "" if one.cost is None else f": {cost_words(one.cost)}"
    return f"to {off}, mask {listed(masks, len(masks))}{cost}"


def masks_words(one: KeepOff) -> str:
    """The same zones, short.

    >>> from terrain3d.nuisance.masking import ZoneMask
    >>> masks_words(KeepOff(None, (ZoneMask("D1", 1, (8, 9)), ZoneMask("D1", 2, (1,)))))
    'D1, head 1: zones 8 and 9; head 2: zone 1'
    """
    told: dict[str, list[str]] = {}
    for mask in one.masks:
        told.setdefault(mask.unit, []).append(f"head {mask.head}: {zones_words(mask.zones)}")
    return "; ".join(f"{unit}, {'; '.join(heads)}" for unit, heads in told.items())


def loss_words(one: KeepOff) -> str:
    """What masking them loses, as a figure; empty where nobody has judged it."""
    if one.cost is None:
        return ""
    return f"{plain_area_figure(one.cost.lost_m2, 0)} of {area_words(one.cost.held_m2)}"


def _piece_line(piece: PieceSpill) -> str:
    text = (
        f"{piece.name} ({piece.kind}): {plain_area(piece.within_m2)} in the upper layer within its range, "
        f"{plain_area(piece.on_past_m2)} on past it"
    )
    if piece.microwave_m2 is None:
        return text
    return f"{text}; the microwave reaches {plain_area(piece.microwave_m2)}"


def beyond_line(spilt: Spill, things: tuple[InLayer, ...]) -> str:
    """What to take from the page.

    >>> import numpy as np
    >>> from terrain3d.terrain import Ground
    >>> none = np.zeros((2, 2), bool)
    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((2, 2)))
    >>> beyond_line(Spill((), (), False, ground, none, none, 0.0, 0.0, (), ()), ())
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
            f" on past its range it runs over up to {length(on, 0)} of others' ground."
        )
    elif on < 0.05:
        past = f"The upper layer runs up to {length(within)} past the boundary, all of it within its range."
    else:
        past = (
            f"The upper layer runs up to {length(within)} past the boundary within its range,"
            f" and up to {length(on, 0)} on past its range."
        )
    if spilt.has_boundary and spilt.past_microwave_m2 is not None:
        past += f" {capital(microwave_words(spilt))}."
    return f"{past} {worst_line(things)}".rstrip()


def microwave_words(spilt: Spill) -> str:
    """How much ground past the boundary microwaves reach, whatever hides it from the layers."""
    reached = spilt.past_microwave_m2 or 0.0
    over = f"reaches {area_words(reached)} past the boundary" if reached else "stays on own land"
    return f"the microwave {over}"


def landing_words(landing: Landing, follow_m: float) -> str:
    """What an axis lands on, short; `follow_m` is how far it was followed.

    >>> landing_words(Landing(Lands.NOTHING, None, 90.0, 36.0, 36.0), 36.0)
    'nothing within 36 m'
    """
    return {
        Lands.NOTHING: f"nothing within {given(follow_m)}",
        Lands.GROUND: "ground",
        Lands.SOLID: landing.solid or "a solid",
        Lands.FOLIAGE: "foliage",
        Lands.UNSURVEYED: "known ground ends",
    }[landing.lands]


def span_words(nearest_m: float, farthest_m: float) -> str:
    """Two distances as one figure.

    >>> span_words(9.9, 10.1), span_words(21.5, 28.3)
    ('10 m', '22 to 28 m')
    """
    low, high = length(nearest_m, 0), length(farthest_m, 0)
    return low if low == high else span(nearest_m, farthest_m, 0)


def length_words(metres: float) -> str:
    """How far a layer runs; nothing to speak of is none."""
    return length(metres) if metres >= 0.05 else "none"


def area_or_none(area_m2: float) -> str:
    """How much ground lies in it; none where there is none."""
    return area_words(area_m2) if area_m2 > 0 else "none"

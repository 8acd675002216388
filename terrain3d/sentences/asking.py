"""What is answered to whoever points at the ground and asks why."""

from collections.abc import Sequence

from terrain3d.cover.at_point import LayerAt, PlaceAt, UnitAt
from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BROKEN,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    LANDS_SHORT,
    PASSES_ABOVE,
)
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.lengths import area_words, given, half_up, length
from terrain3d.search.would_hold import Change
from terrain3d.sentences.verdicts import UNKNOWN_WORDS, VERDICT_WORDS, cause_words
from terrain3d.sentences.words import capital


def verdict_at(code: int) -> str:
    """The verdict of a place."""
    return UNKNOWN_WORDS if code == UNKNOWN else VERDICT_WORDS[Verdict(code)]


def place_lines(place: PlaceAt, figure: str) -> list[str]:
    """What the units of an option do at a place, a line each, the verdict first.

    Parameters
    ----------
    place : PlaceAt
    figure : str
        Whom the verdicts are for.
    """
    lines = [f"{capital(verdict_at(place.code))} here."]
    if place.code == UNKNOWN:
        return lines
    if not place.units:
        return ["No unit looks here yet."]
    if place.code_without_leaves != place.code:
        bare = verdict_at(place.code_without_leaves)
        lines.append(f"It hangs on leaves: with none it is {bare}.")
    for unit in place.units:
        lines += unit_lines(unit, figure)
    return lines


def unit_lines(unit: UnitAt, figure: str) -> list[str]:
    """What one unit does at a place, a line a head.

    >>> from terrain3d.cover.at_point import HeadAt
    >>> lower = LayerAt("lower", BY_SOLID, "garden wall", 4.0, 0.2, 0.0, 0.4, 1.0)
    >>> upper = LayerAt("upper", BROKEN, "", None, 1.01, 0.8, 1.2, 1.0)
    >>> unit = UnitAt("D1", 6.0, 10.0, 5.0, 3, 3, (HeadAt(0, (upper, lower)),), 12.0)
    >>> for part in unit_lines(unit, "person")[0].split("; "):
    ...     print(part)
    D1, 6.0 m away: the upper layer passes 1.01 m up and is broken
    the lower layer is hidden by "garden wall" 4.0 m away.
    """
    if not unit.heads:
        side = "right" if unit.off_deg > 0 else "left"
        off = f"{abs(unit.off_deg):.0f}° to the {side} of where it faces"
        return [f"{unit.unit}, {half_up(unit.distance_m)} away: outside its arc, {off}."]
    lines = []
    for head in unit.heads:
        who = unit.unit if len(unit.heads) == 1 and head.head == 0 else f"{unit.unit}, head {head.head + 1}"
        told = [layer_words(layer, unit, figure) for layer in head.layers]
        lines.append(f"{who}, {half_up(unit.distance_m)} away: {'; '.join(told)}.")
    if unit.has_microwave:
        does = "reaches" if unit.is_reached else "does not reach"
        lines.append(f"The microwave of {unit.unit} {does} a {figure} here.")
    return lines


def layer_words(layer: LayerAt, unit: UnitAt, figure: str) -> str:
    """What one layer does at a place.

    >>> unit = UnitAt("D1", 6.0, 10.0, 5.0, 0, 0, (), 12.0)
    >>> layer_words(LayerAt("upper", PASSES_ABOVE, "", None, 2.104, 1.9, 2.3, 1.0), unit, "person")
    'the upper layer passes 2.10 m up, over the person'
    >>> layer_words(LayerAt("lower", BY_FOLIAGE, "hedge", 3.5, 0.4, 0.2, 0.6, 0.2), unit, "person")
    'the lower layer is taken by "hedge" from 3.5 m on, which lets 20% through'
    """
    who = f"the {layer.layer} layer"
    if layer.outcome == BROKEN:
        return f"{who} passes {length(layer.passes_m, 2)} up and is broken"
    if layer.outcome == BEYOND:
        return f"{who} ends at {given(unit.max_range_m)}, before it"
    if layer.outcome in (PASSES_ABOVE, CLOSE_IN):
        aside = ", close in" if layer.outcome == CLOSE_IN else ""
        if layer.passes_m > 0:
            return f"{who} passes {length(layer.passes_m, 2)} up, over the {figure}{aside}"
    at = f" {half_up(layer.met_m)} away" if layer.met_m is not None else ""
    if layer.outcome == LANDS_SHORT:
        return f"{who} lands{at or ' before it'}"
    if layer.outcome == BY_GROUND:
        return f"{who} is hidden by the ground{at}"
    if layer.outcome == BY_SOLID:
        return f"{who} is hidden by {_named(layer.taker, 'a solid')}{at}"
    if layer.outcome == BY_FOLIAGE:
        since = f" from {half_up(layer.met_m)} on" if layer.met_m is not None else ""
        return (
            f"{who} is taken by {_named(layer.taker, 'leaves')}{since}, which lets {layer.light:.0%} through"
        )
    return f"{who} {cause_words(CAUSE_KEYS[layer.outcome]).does}"


def _named(name: str, kind: str) -> str:
    return f'"{name}"' if name else kind


def change_words(change: Change, is_protected: bool) -> str:
    """A change that would hold a place, and what it costs elsewhere.

    >>> from dataclasses import replace
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 90.0)
    >>> change_words(Change("bearing", unit, replace(unit, bearing_deg=80.0), 4.0, 0.0), True)
    'Turn D1 10° to the left, to 80°: it gains 4.0 m² of protected ground and loses none'
    """
    before, unit = change.before, change.unit
    of = " of protected ground" if is_protected else ""
    if max(change.gained_m2, change.lost_m2) < 0.05:
        cost = f"nothing else{of} changes"
    else:
        gained = f"gains {area_words(change.gained_m2)}" if change.gained_m2 >= 0.05 else "gains nothing"
        lost = f"loses {area_words(change.lost_m2)}" if change.lost_m2 >= 0.05 else "loses none"
        cost = f"it {gained}{of} and {lost}"
    return f"{_done(change.what, before, unit)}: {cost}"


def _done(what: str, before: Detector, unit: Detector) -> str:
    turned = (unit.bearing_deg - before.bearing_deg + 180) % 360 - 180
    side = "right" if turned > 0 else "left"
    turn = f"{abs(turned):g}° to the {side}, to {unit.bearing_deg:g}°"
    nose = "down" if unit.tilt_deg > before.tilt_deg else "up"
    tilt = f"nose {nose} to a tilt of {unit.tilt_deg:g}°"
    if what == "bearing":
        return f"Turn {unit.name} {turn}"
    if what == "tilt":
        return f"Tilt {unit.name} {tilt}"
    if what == "aim":
        return f"Turn {unit.name} {turn}, and tilt it {tilt}"
    if what == "range":
        return f"Set {unit.name} to the range of {given(unit.range_m)}"
    if what == "height":
        way = "Raise" if unit.height_m > before.height_m else "Lower"
        return f"{way} {unit.name} to {length(unit.height_m, 2)}"
    tilted = f", tilt {unit.tilt_deg:g}°" if unit.tilt_deg != before.tilt_deg else ""
    return f"Move {unit.name} to {unit.mount}, facing {unit.bearing_deg:g}°{tilted}"


def no_change_words(code: int, units: Sequence[str]) -> str:
    """Where no change would hold a place, or none is needed.

    >>> no_change_words(Verdict.DEAD, ["D1", "D2"])
    'No other setting of D1 or D2, and no other mount, would hold it.'
    """
    if code == Verdict.BOTH:
        return "Both layers hold this ground already."
    if code == UNKNOWN:
        return "No ground is known here: nothing can be said of it."
    if not units:
        return "Put a unit on a mount first."
    return f"No other setting of {' or '.join(units)}, and no other mount, would hold it."

"""Things that may trouble a unit, where they lie in a layer, and what to do about them."""

from dataclasses import replace

from terrain3d.lengths import area_words, length
from terrain3d.nuisance.masking import MaskCost
from terrain3d.nuisance.things import InLayer
from terrain3d.sentences.heads import zones_words
from terrain3d.sentences.words import capital

#: What to do about each kind (common practice, no source); `{mask}` is the zones to mask.
ADVICE = {
    "vent": "Warm air comes in gusts: turn or pan the head away from it, or {mask}.",
    "flue": "It warms and cools within minutes: turn or pan the head away from it, or {mask}.",
    "window": "It glints in the sun and warms and cools with every cloud: turn away, or {mask}.",
    "road": "Vehicles are large and hot and are sensed past the rated range: nose down, turn, or {mask}.",
    "water": "It mirrors sun and sky and moves in the wind: keep the layer off it, or {mask}.",
    "foliage": "Loose leaves move before warmer ground: cut them back, and again in summer.",
    "other": "Watch it with the walk-test light on a warm, windy day before you rely on the unit.",
}


def advice(thing: InLayer) -> str:
    """What to do about a thing, with the zones to mask as the site file's `masked` takes them."""
    zones = (
        f"mask {zones_words(thing.mask)} of head {thing.head}" if thing.mask else "mask the zone it lies in"
    )
    cost = f", which {cost_words(thing.cost)}" if thing.cost is not None else ""
    return ADVICE[thing.kind].format(mask=zones + cost)


def cost_words(cost: MaskCost) -> str:
    """What a mask costs.

    >>> cost_words(MaskCost(60.0, 12.5, True)), cost_words(MaskCost(60.0, 0.0, False))
    ('loses 12 m² of the 60 m² of protected ground held', 'loses none of the ground held')
    """
    of = "protected ground held" if cost.is_protected else "ground held"
    if not cost.lost_m2:
        return f"loses none of the {of}"
    return f"loses {area_words(cost.lost_m2)} of the {area_words(cost.held_m2)} of {of}"


def nuisance_line(thing: InLayer) -> str:
    """One thing that shows in a layer, and what to do about it."""
    where = f"{thing.unit}, {thing.layer} layer of head {thing.head}, {length(thing.distance_m)} away"
    fills = f"fills {thing.seen_fill:.0%} of a zone"
    return f"{thing.thing} ({thing.kind}) lies in {where}, {fills}: {advice(thing)}"


def worst_line(things: tuple[InLayer, ...]) -> str:
    """The thing that troubles most, in its range; empty where none shows."""
    seen = [thing for thing in things if thing.is_seen]
    near = [thing for thing in seen if thing.is_within_range]
    if not seen:
        return ""
    if not near:
        return "Nuisance things show in a layer only past its range."
    worst = max(near, key=lambda thing: thing.seen_fill)
    return (
        f"{capital(worst.thing)} fills {worst.seen_fill:.0%} of a zone of the {worst.layer} layer of"
        f" {worst.unit}, {length(worst.distance_m)} off. {advice(replace(worst, cost=None))}"
    )


def fill_words(thing: InLayer) -> str:
    """How much of a zone it takes."""
    return f"{thing.seen_fill:.0%} of a zone" if thing.is_seen else "hidden"


def where_words(thing: InLayer) -> str:
    """In which layer, and how far off."""
    where = f"{thing.unit}, {thing.layer}, {length(thing.distance_m)}"
    return where if thing.is_within_range else f"{where}, past its range"

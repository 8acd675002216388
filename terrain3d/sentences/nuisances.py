"""Things that may trouble a unit, where they lie in a layer, and what to do about them."""

from terrain3d.nuisance.things import InLayer
from terrain3d.sentences.words import capital

#: What to do about each kind (common practice, no source).
ADVICE = {
    "vent": "Warm air comes in gusts: turn or pan the head away from it, or mask the zone it lies in.",
    "flue": "It warms and cools within minutes: turn or pan the head away from it, or mask the zone.",
    "window": "It glints in the sun and warms and cools with every cloud: turn away, or mask the zone.",
    "road": "Vehicles are large and hot and are sensed past the rated range: nose down, turn, or mask.",
    "water": "It mirrors sun and sky and moves in the wind: keep the layer off it, or mask the zone.",
    "foliage": "Loose leaves move before warmer ground: cut them back, and again in summer.",
    "other": "Watch it with the walk-test light on a warm, windy day before you rely on the unit.",
}


def nuisance_line(thing: InLayer) -> str:
    """One thing that shows in a layer, and what to do about it."""
    where = f"{thing.unit}, {thing.layer} layer of head {thing.head}, {thing.distance_m:.1f} m away"
    return (
        f"{thing.thing} ({thing.kind}) lies in {where}, fills {thing.seen_fill:.0%} of a zone: "
        f"{ADVICE[thing.kind]}"
    )


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
        f" {worst.unit}, {worst.distance_m:.1f} m off. {ADVICE[worst.kind]}"
    )


def fill_words(thing: InLayer) -> str:
    """How much of a zone it takes."""
    return f"{thing.seen_fill:.0%} of a zone" if thing.is_seen else "hidden"


def where_words(thing: InLayer) -> str:
    """In which layer, and how far off."""
    where = f"{thing.unit}, {thing.layer}, {thing.distance_m:.1f} m"
    return where if thing.is_within_range else f"{where}, past its range"

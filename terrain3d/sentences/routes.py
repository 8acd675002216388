"""The ways in to protected ground, as a client reads them."""

from terrain3d.cover.option import OptionResult
from terrain3d.lengths import length
from terrain3d.sentences.heads import pulse_words
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import ALIKE, ClearRoute, Crossing, Start, WayIn

#: Where a picture of the walk would be.
NO_WALK = "No walk is needed: the area lies at the start."


def profile_words(stretch: float) -> str:
    """What the profile of a walk is; `stretch` is how many times larger heights are drawn than distances.

    >>> profile_words(8.74)[:54], profile_words(1.0)[:19]
    ('ground, heights at 8.7 times the scale of distances; u', 'ground, true scale;')
    """
    scale = (
        "true scale" if abs(stretch - 1) < 0.05 else f"heights at {stretch:.2g} times the scale of distances"
    )
    return f"ground, {scale}; under it verdicts, pulses of each layer and protected ground"


def routes_words(route: OpenRoutes) -> str:
    """All that is to say of the ways to an area."""
    least, inner = route.least, route.inner
    if least is None or inner is None:
        return _nobody_words(route)
    told = [likely_words(route.area, least)]
    if route.shorter is not None:
        told.append(shorter_words("A much shorter way", route.shorter, least))
    told.append(inner_words(inner))
    if route.inner_shorter is not None:
        told.append(shorter_words("A much shorter way there", route.inner_shorter, inner))
    told.append(clear_words(route.clear, route.crossing))
    return " ".join(words for words in told if words)


def start_words(start: Start) -> str:
    """Where a walk starts.

    >>> start_words(Start(True, "gate")), start_words(Start(False, "north"))
    ('gate', 'the north edge of the known ground')
    """
    if start.is_approach:
        return start.name or "the drawn approaches"
    return f"the {start.name} edge of the known ground" if start.name else "the edge of the known ground"


def _nobody_words(route: OpenRoutes) -> str:
    """Why nobody can walk to an area."""
    why = "no ground of it is known"
    if route.is_known:
        why = f"no walkable ground leads there from {start_words(route.start)}"
    return f"Nobody walks to {route.area}: {why}."


def likely_words(area: str, least: WayIn) -> str:
    """The least likely walk to an area's edge, as a client reads it."""
    if least.length_m == 0.0:
        return f"{area} lies at {start_words(least.start)}: whoever comes from there needs no walk."
    way = f"from {start_words(least.start)}, {_metres(least.length_m)} in {least.time_s:.0f} s"
    if least.pulses == 0.0:
        return f"Someone can walk to {area} without an alarm: {way}."
    if least.chance <= ALIKE:
        return (
            f"Someone can walk to {area} with a chance of an alarm of 0.1 % at most: {way}{_as_set(least)}."
        )
    return (
        f"Even the walk to {area} least likely to raise the alarm ({way}) has a chance of"
        f" {percent(least.chance)} to raise it{_as_set(least)}."
    )


def shorter_words(which: str, shorter: WayIn, least: WayIn) -> str:
    """A much shorter walk beside the least likely one, as what it is."""
    where = "" if shorter.start == least.start else f"from {start_words(shorter.start)}, "
    left = shorter.left_m
    as_set = "no alarm" if left is None else f"alarm {length(left)} before the end"
    return (
        f"{which}, {where}{_metres(shorter.length_m)} instead of {_metres(least.length_m)}, has a chance of"
        f" {percent(shorter.chance)} (zones as set: {as_set})."
    )


def inner_words(inner: WayIn) -> str:
    """The same of the least likely walk to the middle of an area."""
    if inner.pulses == 0.0:
        return "Its middle can be reached without an alarm too."
    chance = percent(inner.chance)
    if inner.chance <= ALIKE:
        chance = "0.1 % at most"
    elif 0.01 <= inner.chance <= 0.99:
        chance += " or more"
    return f"On the way to its middle the chance is {chance}{_as_set(inner)}."


def _metres(length_m: float) -> str:
    return length(length_m, 0) if length_m >= 1.0 else length(length_m)


def _as_set(way: WayIn) -> str:
    """What the units do with their zones exactly as they are set."""
    left = way.left_m
    if left is None:
        return "; with the zones exactly as set there is none"
    return f"; with the zones exactly as set it comes {length(left)} before the end"


def clear_words(clear: ClearRoute | None, crossing: Crossing | None) -> str:
    """What is to say of a clear route, or of the lack of one."""
    if clear is not None:
        if clear.berth_m is None:
            return "No ground is held by both layers, so every way is clear."
        return f"A clear route keeps {length(clear.berth_m)} from all ground held by both layers."
    if crossing is None:
        return ""
    if crossing.held_m < 0.05:
        return "No way is clear, yet one touches ground held by both layers in a single spot alone."
    return f"No way is clear: each touches ground held by both layers for {length(crossing.held_m)} or more."


def percent(share: float) -> str:
    """A chance as a client reads it: never nothing where there is some, never certain.

    >>> percent(0.0), percent(0.002), percent(0.123), percent(0.999)
    ('0 %', 'under 1 %', '12 %', 'over 99 %')
    """
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"


def trust_words(option: OptionResult) -> str:
    """What the chance is, and what nobody walks over."""
    several = pulse_words(option.detectors)
    return (
        f"The chance is a model's, not measured: the alarm takes {several}, and a zone's edge may lie"
        " anywhere on its arc. Known ground is walked, slopes to the limit, and foliage; no solid is climbed."
    )

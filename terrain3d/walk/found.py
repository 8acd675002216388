"""What is found of the ways in to protected ground, and how a client reads it."""

from dataclasses import dataclass

from terrain3d.units import Floats
from terrain3d.walk.pulses import WalkResult


@dataclass(frozen=True, eq=False)
class LeastLikely:
    """The walk least likely to raise an alarm.

    Parameters
    ----------
    line : (n, 2) float
        Local metres, from its start to the protected area's edge.
    length_m, time_s : float
    pulses : float
        To be expected along it.
    chance : float
        That it raises the alarm, of the model; not measured.
    along_m, chance_along : (m,) float
        The chance that the alarm has been raised by then.
    walked : WalkResult
        The same walk with the zones exactly as they are set: its pulses, and where the alarm is raised.
    """

    line: Floats
    length_m: float
    time_s: float
    pulses: float
    chance: float
    along_m: Floats
    chance_along: Floats
    walked: WalkResult


@dataclass(frozen=True, eq=False)
class ClearRoute:
    """A route that never touches ground held by both layers: the shortest of those farthest from it.

    Parameters
    ----------
    line : (n, 2) float
        To the area's edge.
    length_m : float
    berth_m : float or None
        How far its middle keeps from the nearest such ground; None where there is none at all.
    shortest : (m, 2) float
        The shortest clear line of any, which may run close by it.
    shortest_m : float
    into_m : float
        How deep into the area clear ground can be followed, from its outline.
    """

    line: Floats
    length_m: float
    berth_m: float | None
    shortest: Floats
    shortest_m: float
    into_m: float


@dataclass(frozen=True, eq=False)
class Crossing:
    """Where no route is clear: the one over the least ground held by both layers.

    Parameters
    ----------
    line : (n, 2) float
    length_m, held_m : float
        Of all of it, and of what is walked touching held ground.
    first_held : (x, y)
        Where it first touches held ground.
    unseen_to_m : float
        How near to the area clear ground can be followed from outside, straight across.
    """

    line: Floats
    length_m: float
    held_m: float
    first_held: tuple[float, float]
    unseen_to_m: float


def likely_words(area: str, start: str, least: LeastLikely) -> str:
    """The least likely walk to an area's edge, as a client reads it."""
    if least.length_m == 0.0:
        return f"{area} lies at {start}: whoever comes from there needs no walk."
    way = f"from {start}, {least.length_m:.0f} m in {least.time_s:.0f} s"
    if least.pulses == 0.0:
        return f"Someone can walk to {area} without an alarm: {way}."
    return (
        f"Even the walk to {area} least likely to raise the alarm ({way}) has a chance of"
        f" {percent(least.chance)} to raise it{_as_set(least)}."
    )


def inner_words(inner: LeastLikely) -> str:
    """The same of the walk to the middle of an area."""
    if inner.pulses == 0.0:
        return "Its middle can be reached without an alarm too."
    return f"On the way to its middle the chance is {percent(inner.chance)} or more{_as_set(inner)}."


def _as_set(least: LeastLikely) -> str:
    """What the units do with their zones exactly as they are set."""
    alarm = least.walked.alarm
    if alarm is None:
        return "; with the zones exactly as set there is none"
    left = max(least.length_m - alarm.along_m, 0.0)
    return f"; with the zones exactly as set it comes {left:.1f} m before the end"


def clear_words(clear: ClearRoute | None, crossing: Crossing | None) -> str:
    """What is to say of a clear route, or of the lack of one."""
    if clear is not None:
        if clear.berth_m is None:
            return "No ground is held by both layers, so every way is clear."
        return f"A clear route keeps {clear.berth_m:.1f} m from all ground held by both layers."
    if crossing is None:
        return ""
    return f"No way is clear: each touches ground held by both layers for {crossing.held_m:.1f} m or more."


def percent(share: float) -> str:
    """A chance as a client reads it: never nothing where there is some, never certain.

    >>> percent(0.0), percent(0.002), percent(0.123), percent(0.999)
    ('0 %', 'under 1 %', '12 %', 'over 99 %')
    """
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"

"""What is found of the ways in to protected ground, and how a client reads it."""

from dataclasses import dataclass

from terrain3d.units import Floats
from terrain3d.walk.pulses import WalkResult

#: Walks whose chances differ by no more than this are alike: no figure that is told tells them apart.
ALIKE = 0.001
#: A walk is much shorter than another with this share of its length at most, and this many metres less.
MUCH_SHARE, MUCH_M = 2 / 3, 10.0


@dataclass(frozen=True, eq=False)
class WayIn:
    """A walk to a protected area, and how likely it is to raise an alarm.

    Parameters
    ----------
    start : str
        An approach, or a side of the known ground.
    line : (n, 2) float
        Local metres, from its start to its end.
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

    start: str
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


def much_shorter_m(length_m: float) -> float:
    """The greatest length of a walk that is much shorter than another, metres; negative where none is.

    >>> much_shorter_m(60.0), much_shorter_m(24.0)
    (40.0, 14.0)
    """
    return min(length_m * MUCH_SHARE, length_m - MUCH_M)


def ways_words(
    area: str,
    least: WayIn,
    shorter: WayIn | None,
    inner: WayIn,
    inner_shorter: WayIn | None,
    clear: ClearRoute | None,
    crossing: Crossing | None,
) -> str:
    """All that is to say of the ways to an area."""
    told = [likely_words(area, least)]
    if shorter is not None:
        told.append(shorter_words("A much shorter way", shorter, least))
    told.append(inner_words(inner))
    if inner_shorter is not None:
        told.append(shorter_words("A much shorter way there", inner_shorter, inner))
    told.append(clear_words(clear, crossing))
    return " ".join(words for words in told if words)


def nobody_words(area: str, where: str, is_known: bool) -> str:
    """Why nobody can walk to an area."""
    why = f"no walkable ground leads there from {where}" if is_known else "no ground of it is known"
    return f"Nobody walks to {area}: {why}."


def likely_words(area: str, least: WayIn) -> str:
    """The least likely walk to an area's edge, as a client reads it."""
    if least.length_m == 0.0:
        return f"{area} lies at {least.start}: whoever comes from there needs no walk."
    way = f"from {least.start}, {_metres(least.length_m)} in {least.time_s:.0f} s"
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
    where = "" if shorter.start == least.start else f"from {shorter.start}, "
    left = left_m(shorter)
    as_set = "no alarm" if left is None else f"alarm {left:.1f} m before the end"
    return (
        f"{which}, {where}{_metres(shorter.length_m)} instead of {_metres(least.length_m)}, has a chance of"
        f" {percent(shorter.chance)} (zones as set: {as_set})."
    )


def inner_words(inner: WayIn) -> str:
    """The same of the least likely walk to the middle of an area."""
    if inner.pulses == 0.0:
        return "Its middle can be reached without an alarm too."
    chance = "0.1 % at most" if inner.chance <= ALIKE else f"{percent(inner.chance)} or more"
    return f"On the way to its middle the chance is {chance}{_as_set(inner)}."


def _metres(length_m: float) -> str:
    return f"{length_m:.0f} m" if length_m >= 1.0 else f"{length_m:.1f} m"


def _as_set(way: WayIn) -> str:
    """What the units do with their zones exactly as they are set."""
    left = left_m(way)
    if left is None:
        return "; with the zones exactly as set there is none"
    return f"; with the zones exactly as set it comes {left:.1f} m before the end"


def left_m(way: WayIn) -> float | None:
    """What is left to walk when the alarm is raised with the zones exactly as set; None without an alarm."""
    alarm = way.walked.alarm
    return None if alarm is None else max(way.length_m - alarm.along_m, 0.0)


def clear_words(clear: ClearRoute | None, crossing: Crossing | None) -> str:
    """What is to say of a clear route, or of the lack of one."""
    if clear is not None:
        if clear.berth_m is None:
            return "No ground is held by both layers, so every way is clear."
        return f"A clear route keeps {clear.berth_m:.1f} m from all ground held by both layers."
    if crossing is None:
        return ""
    if crossing.held_m < 0.05:
        return "No way is clear, yet one touches ground held by both layers in a single spot alone."
    return f"No way is clear: each touches ground held by both layers for {crossing.held_m:.1f} m or more."


def percent(share: float) -> str:
    """A chance as a client reads it: never nothing where there is some, never certain.

    >>> percent(0.0), percent(0.002), percent(0.123), percent(0.999)
    ('0 %', 'under 1 %', '12 %', 'over 99 %')
    """
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"

"""What is found of the ways in to protected ground."""

from dataclasses import dataclass

from terrain3d.units import Floats
from terrain3d.walk.pulses import WalkResult

#: Walks whose chances differ by no more than this are alike: no figure that is told tells them apart.
ALIKE = 0.001
#: A walk is much shorter than another with this share of its length at most, and this many metres less.
MUCH_SHARE, MUCH_M = 2 / 3, 10.0


@dataclass(frozen=True)
class Start:
    """Where a walk starts: on an approach, or at a side of the known ground.

    `name` is the approach's, or the compass point of the side; None for any of them.
    """

    is_approach: bool
    name: str | None = None


@dataclass(frozen=True, eq=False)
class WayIn:
    """A walk to a protected area, and how likely it is to raise an alarm.

    Parameters
    ----------
    start : Start
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

    start: Start
    line: Floats
    length_m: float
    time_s: float
    pulses: float
    chance: float
    along_m: Floats
    chance_along: Floats
    walked: WalkResult

    @property
    def left_m(self) -> float | None:
        """What is left to walk when the alarm is raised, zones exactly as set; None without an alarm."""
        alarm = self.walked.alarm
        return None if alarm is None else max(self.length_m - alarm.along_m, 0.0)


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

"""One walk against an option: pulses along it, where and when the alarm is raised, and what is left then."""

import math
from dataclasses import dataclass

import numpy as np

from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Terrain, Walk
from terrain3d.units import Floats
from terrain3d.walk.alarm import alarm_times, first_alarm
from terrain3d.walk.along import verdicts_along
from terrain3d.walk.bodies import Body, body_of
from terrain3d.walk.crossings import Crossings, pulses_of
from terrain3d.walk.microwave import SensedWalk, sensed_times, sensed_walk, sensing
from terrain3d.walk.reach import Reached, headline, reached
from terrain3d.walk.track import line_length_m, spots_at, track
from terrain3d.walk.zones import zoned_layers

#: Step in which the verdicts along a walk are told, metres.
STRIP_M = 0.1
#: An alarm this little after protected ground is entered is told as one at its edge, metres.
LATE_M = 0.05


@dataclass(frozen=True)
class Pulse:
    """One zone entered or left while the layers are broken together.

    `x`, `y` is the middle of the figure; `zone` counts from 1 at the head's left; `head` from 1.
    """

    x: float
    y: float
    along_m: float
    time_s: float
    unit: str
    head: int
    layer: str
    zone: int
    entered: bool


@dataclass(frozen=True)
class Alarm:
    """Where and when the alarm is raised; `units` are those that had raised theirs by then."""

    x: float
    y: float
    along_m: float
    time_s: float
    units: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class WalkResult:
    """What becomes of one walk under one option.

    Parameters
    ----------
    name : str
    line : (n, 2) float
        The path, local metres, from its start to its end.
    speed_mps : float
    figure : Figure
    body : Body
    length_m, time_s : float
        Of the whole path, in plan.
    strip_m : float
        Length of each piece of the strip.
    strip : (m,) uint8
        Verdict in the middle of each piece, codes of `Verdict`, 255 where no ground is known.
    both_m : float
        Length walked under both layers.
    pulses : tuple of Pulse
    alarm : Alarm or None
    reached : tuple of Reached
        Each protected area.
    unit_count : int
        Of the option.
    sensed : tuple of SensedWalk
        Of each unit that has a microwave.
    layers_alone_s : float or None
        When the layers alone would raise the alarm, seconds; None when they never would, or where no unit has
        a microwave.
    """

    name: str
    line: Floats
    speed_mps: float
    figure: Figure
    body: Body
    length_m: float
    time_s: float
    strip_m: float
    strip: Codes
    both_m: float
    pulses: tuple[Pulse, ...]
    alarm: Alarm | None
    reached: tuple[Reached, ...]
    unit_count: int
    sensed: tuple[SensedWalk, ...] = ()
    layers_alone_s: float | None = None

    @property
    def goal(self) -> Reached | None:
        """The protected area that the walk is about."""
        return headline(self.reached)

    @property
    def is_late(self) -> bool:
        """Whether the alarm comes after the path has entered protected ground, to the decimetre."""
        goal = self.goal
        return goal is not None and goal.left_m is not None and goal.left_m < -LATE_M


def try_walk(
    terrain: Terrain,
    units: tuple[Detector, ...],
    combine: str,
    walk: Walk,
    figure: Figure,
    body: Body | None = None,
) -> WalkResult:
    """Walk a path through an option's layers.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
    combine : {"any", "all"}
    walk : Walk
        Its path and speed; who walks is told apart, as figures have sizes.
    figure : Figure
    body : Body, optional
        Width of the figure; that of its name where it is not given.

    Examples
    --------
    Across a unit on level ground, 6 m off: the third pulse in both layers raises the alarm.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> ground = Ground(-12.0, -2.0, 1.0, np.zeros((20, 25)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0, pulses=3)
    >>> across = Walk("across", np.array([[-9.0, 6.0], [9.0, 6.0]]))
    >>> result = try_walk(flat, (unit,), "any", across, Figure("person", 1.7, "invented"))
    >>> round(result.alarm.along_m, 2), round(result.alarm.time_s, 2), len(result.pulses)
    (5.0, 5.0, 36)
    """
    body = body or body_of(figure)
    length = line_length_m(walk.line)
    way = track([walk.line])
    found = [pulses_of(terrain, unit, figure.height_m, body, way) for unit in units]
    outcomes = {
        k: sensing(terrain, unit, figure.height_m, way, walk.speed_mps)
        for k, unit in enumerate(units)
        if unit.type.microwave is not None
    }
    moments = [
        alarm_times(
            unit, pulses, walk.speed_mps,
            sensed_times(way, outcomes[k], 0, walk.speed_mps) if k in outcomes else None,
        )
        for k, (unit, pulses) in enumerate(zip(units, found, strict=True))
    ]  # fmt: skip
    alarm = _alarm(walk, units, moments, first_alarm(units, moments, combine))
    strip, piece_m = _strip(terrain, units, combine, walk.line, length, figure.height_m)
    at = (alarm.along_m, (alarm.x, alarm.y)) if alarm else (None, None)
    areas = tuple(reached(area, walk.line, *at) for area in terrain.protect)
    both_m = piece_m * int((strip == Verdict.BOTH).sum())
    pulses = _told(units, found, walk.speed_mps)
    sensed = tuple(
        sensed_walk(units[k], way, own, walk.speed_mps, len(strip), piece_m) for k, own in outcomes.items()
    )
    alone = None
    if sensed:
        by_layers = [alarm_times(unit, own, walk.speed_mps) for unit, own in zip(units, found, strict=True)]
        alone = first_alarm(units, by_layers, combine)
    return WalkResult(
        walk.name, walk.line, walk.speed_mps, figure, body, length, length / walk.speed_mps,
        piece_m, strip, both_m, pulses, alarm, areas, len(units), sensed, alone,
    )  # fmt: skip


def _alarm(
    walk: Walk, units: tuple[Detector, ...], moments: list[Floats], time_s: float | None
) -> Alarm | None:
    if time_s is None:
        return None
    along = time_s * walk.speed_mps
    x, y = spots_at(walk.line, np.array([along]))
    by_then = tuple(
        unit.name for unit, own in zip(units, moments, strict=True) if len(own) and own[0] <= time_s + 1e-9
    )
    return Alarm(float(x[0]), float(y[0]), along, time_s, by_then)


def _strip(
    terrain: Terrain,
    units: tuple[Detector, ...],
    combine: str,
    line: Floats,
    length: float,
    figure_height_m: float,
) -> tuple[Codes, float]:
    """Verdict of an option in the middle of each piece of a walk, and the length of a piece."""
    n = max(math.ceil(length / STRIP_M), 1)
    x, y = spots_at(line, (np.arange(n) + 0.5) * length / n)
    return verdicts_along(terrain, units, combine, x, y, figure_height_m), length / n


def _told(units: tuple[Detector, ...], found: list[Crossings], speed_mps: float) -> tuple[Pulse, ...]:
    pulses = []
    for unit, own in zip(units, found, strict=True):
        layers = zoned_layers(unit)
        for i in range(len(own.along_m)):
            layer = layers[own.layer[i]]
            along = float(own.along_m[i])
            pulses.append(
                Pulse(
                    float(own.x[i]), float(own.y[i]), along, along / speed_mps,
                    unit.name, layer.head + 1, layer.name, int(own.zone[i]) + 1, bool(own.entered[i]),
                )
            )  # fmt: skip
    return tuple(sorted(pulses, key=lambda pulse: pulse.along_m))

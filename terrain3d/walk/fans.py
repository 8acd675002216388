"""Fans of straight walks to a unit and across it: how far a walker comes, bearing by bearing.

Straight at a unit a figure stays in one zone, and only what it grows in width as it comes nearer, or
swerves, crosses an edge: the weak direction. Across, it crosses zone after zone.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector, is_open, posed_heads
from terrain3d.terrain import Terrain
from terrain3d.units import Floats, direction
from terrain3d.walk.alarm import alarm_times
from terrain3d.walk.bodies import Body, body_of
from terrain3d.walk.crossings import pulses_of
from terrain3d.walk.microwave import sensed_times, sensing
from terrain3d.walk.track import spots_at, track

#: Degrees from one walk of a fan to the next.
FAN_STEP_DEG = 5.0
#: A walk to the unit starts this far beyond what any sense of it reaches and ends this near to it, metres.
LEAD_IN_M, LAST_M = 1.0, 0.3
#: A walker nearer than this to the unit is noticed late, metres (choice of this project).
NEAR_M = 3.0
#: Length of a walk across the unit, metres, half of it on either side of its bearing.
ACROSS_M = 6.0
#: Length of a swerve, from one side to the other and back: two steps of a person (from memory).
SWERVE_LENGTH_M = 1.4


@dataclass(frozen=True, eq=False)
class Fan:
    """Straight walks against one unit alone.

    Parameters
    ----------
    unit : str
    kind : {"to", "across"}
    figure : Figure
    speed_mps : float
    pulses_needed : int
    bearing_deg : (n,) float
        Bearing from the unit of each walk, or of its middle where it goes across.
    distance_m : (n,) float
        Plan distance from the unit at which a walk across passes it; where a walk to the unit starts.
    lines : (n, 2, 2) float
        Start and end, local metres.
    walked_m : (n,) float
        Length walked when the alarm is raised; NaN where it never is.
    left_m : (n,) float
        Distance from the unit when the alarm is raised; NaN where it never is.
    pulses_by_head : tuple of int
        Pulses that the alarm of each head takes, where one is set by itself; else empty.
    microwave : {"also", "either"} or None
        How the unit's microwave counts; None where it has none.
    """

    unit: str
    kind: str
    figure: Figure
    speed_mps: float
    pulses_needed: int
    bearing_deg: Floats
    distance_m: Floats
    lines: Floats
    walked_m: Floats
    left_m: Floats
    pulses_by_head: tuple[int, ...] = ()
    microwave: Literal["also", "either"] | None = None

    @property
    def raised(self) -> NDArray[np.bool_]:
        return np.isfinite(self.walked_m)

    @property
    def early(self) -> NDArray[np.bool_]:
        """Walks noticed while the walker is still farther than NEAR_M from the unit."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.left_m > NEAR_M)

    @property
    def weakest(self) -> int | None:
        """Which walk is noticed latest: nearest to the unit, or after most of the way across."""
        if not self.raised.any():
            return None
        return int(np.nanargmin(self.left_m) if self.kind == "to" else np.nanargmax(self.walked_m))


def fan_to(
    terrain: Terrain,
    unit: Detector,
    figure: Figure,
    speed_mps: float = 1.0,
    swerve_m: float = 0.0,
    body: Body | None = None,
) -> Fan:
    """Walks straight at a unit, every few degrees of its arcs: the weak direction.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    figure : Figure
    speed_mps : float
    swerve_m : float
        How far a walker sways to either side of the line; 0 is dead straight, the hardest to notice.
    body : Body, optional
        Width of the figure; that of its name where it is not given.

    Examples
    --------
    One pulse is needed. On level ground nobody on the middle of a zone is noticed before a width of
    0.48 m fills its 10 degrees, 2.74 m from the unit.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> ground = Ground(-14.0, -14.0, 1.0, np.zeros((29, 29)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> fan = fan_to(flat, unit, Figure("person", 1.7, "invented"))
    >>> round(float(fan.left_m[fan.bearing_deg == 0.0][0]), 2)
    2.74
    """
    bearings = arc_bearings(unit)
    start_m = unit.type.reach_m + LEAD_IN_M
    out = np.array([direction(bearing) for bearing in bearings]).reshape(-1, 2)
    eye = np.array([unit.x, unit.y])
    lines = np.stack([eye + start_m * out, eye + LAST_M * out], axis=1)
    distances = np.full(len(bearings), start_m)
    return _fan(terrain, unit, "to", figure, speed_mps, swerve_m, body, bearings, distances, lines)


def fan_across(
    terrain: Terrain,
    unit: Detector,
    figure: Figure,
    speed_mps: float = 1.0,
    distances_m: tuple[float, ...] = (),
    body: Body | None = None,
) -> Fan:
    """Walks across a unit: square to every few degrees of its arcs, at several distances.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    figure : Figure
    speed_mps : float
    distances_m : tuple of float
        From the unit to the middle of each walk; quarters of the maximum range where none is given.
    body : Body, optional
    """
    quarters = tuple(unit.type.max_range * share for share in (0.25, 0.5, 0.75))
    pairs = [(d, bearing) for d in distances_m or quarters for bearing in arc_bearings(unit)]
    distances, bearings = (np.array(column, float) for column in zip(*pairs, strict=True))
    out = np.array([direction(bearing) for bearing in bearings])
    right = np.column_stack([out[:, 1], -out[:, 0]])
    middle = np.array([unit.x, unit.y]) + distances[:, None] * out
    lines = np.stack([middle - right * ACROSS_M / 2, middle + right * ACROSS_M / 2], axis=1)
    return _fan(terrain, unit, "across", figure, speed_mps, 0.0, body, bearings, distances, lines)


def arc_bearings(unit: Detector) -> Floats:
    """Bearings every few degrees over the arcs of a unit's heads, within half a step of their ends.

    Straight ahead is one of them, however small the arc.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 10.0)
    >>> arc_bearings(unit)[[0, -1]], len(arc_bearings(unit))
    (array([330.,  50.]), 17)
    """
    bearings = []
    for head in posed_heads(unit):
        ahead = math.degrees(math.atan2(head.forward[0], head.forward[1]))
        reach = max(1, math.ceil((head.arc_deg / 2 - FAN_STEP_DEG / 2) / FAN_STEP_DEG))
        found = [FAN_STEP_DEG * k for k in range(1 - reach, reach) if is_open(head, FAN_STEP_DEG * k)]
        bearings += [round((ahead + off) % 360.0, 6) % 360.0 for off in found]
    return np.array(list(dict.fromkeys(bearings)))


def share_alarmed(fan: Fan, within_m: float) -> float:
    """Share of a fan's walks noticed in time.

    Parameters
    ----------
    fan : Fan
    within_m : float
        To the unit: the alarm is raised while the walker is still farther from it than this. Across:
        before more than this is walked.
    """
    with np.errstate(invalid="ignore"):
        in_time = fan.left_m > within_m if fan.kind == "to" else fan.walked_m < within_m
    return float(np.mean(in_time)) if len(in_time) else 0.0


def swerved(line: Floats, swerve_m: float) -> Floats:
    """A straight line as a walker sways along it, (n, 2) float: a sine of `swerve_m` to either side.

    >>> float(swerved(np.array([[0.0, 0.0], [0.0, 1.4]]), 0.03)[:, 0].max().round(3))
    0.03
    """
    if swerve_m == 0.0:
        return line
    length = float(np.hypot(*(line[1] - line[0])))
    along = np.linspace(0.0, length, max(math.ceil(length / 0.05), 1) + 1)
    ahead = (line[1] - line[0]) / length
    aside = swerve_m * np.sin(2 * math.pi * along / SWERVE_LENGTH_M)
    return np.asarray(line[0] + along[:, None] * ahead + aside[:, None] * np.array([ahead[1], -ahead[0]]))


def _fan(
    terrain: Terrain,
    unit: Detector,
    kind: str,
    figure: Figure,
    speed_mps: float,
    swerve_m: float,
    body: Body | None,
    bearings: Floats,
    distances: Floats,
    lines: Floats,
) -> Fan:
    paths = [swerved(line, swerve_m) for line in lines]
    way = track(paths)
    pulses = pulses_of(terrain, unit, figure.height_m, body or body_of(figure), way)
    outcomes = None
    if unit.type.microwave is not None:
        outcomes = sensing(terrain, unit, figure.height_m, way, speed_mps)
    walked, left = np.full(len(lines), np.nan), np.full(len(lines), np.nan)
    for w, path in enumerate(paths):
        sensed = None if outcomes is None else sensed_times(way, outcomes, w, speed_mps)
        moments = alarm_times(unit, pulses.those(pulses.walk == w), speed_mps, sensed)
        if len(moments):
            walked[w] = moments[0] * speed_mps
            x, y = spots_at(path, walked[w : w + 1])
            left[w] = math.hypot(x[0] - unit.x, y[0] - unit.y)
    return Fan(
        unit.name,
        kind,
        figure,
        speed_mps,
        unit.pulses_needed,
        bearings,
        distances,
        lines,
        walked,
        left,
        _pulses_by_head(unit),
        None if unit.type.microwave is None else unit.type.microwave.needs,
    )


def _pulses_by_head(unit: Detector) -> tuple[int, ...]:
    is_set = any(own.pulses is not None for own in unit.heads)
    return tuple(unit.pulses_of(head) for head in range(len(unit.type.head))) if is_set else ()

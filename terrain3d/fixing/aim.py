"""Where the layers of a unit point, as somebody can see and measure it on the ground."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.sighted import sighted_over
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector, PosedHead, posed_heads
from terrain3d.fixing.places import Known
from terrain3d.terrain import Terrain
from terrain3d.units import Floats, direction, wrap_deg

#: A mark nearer than this to a unit tells no direction, metres.
_NEAREST_MARK_M = 3.0
#: An angle that is laid off by eye or by a tape across errs by this share of it (common practice, no source).
_LAID_OFF = 0.1
#: A mark farther to the side than this is no help to aim by, degrees.
_AHEAD_DEG = 30.0
#: Where a staff is stood, the first at which it meets the lower axis well, metres; and what is well.
_STAFF_AT_M, _ON_STAFF_M = (5.0, 4.0, 3.0, 6.0, 2.0, 8.0, 10.0), (0.15, 2.2)
#: Steps in which ground is asked for along a bearing, metres.
_STEP_M = 0.05
#: A stretch shorter than this is not told, metres.
_SHORTEST_M = 0.5


@dataclass(frozen=True)
class AimMark:
    """A mark, mount or corner beside which the middle of a unit looks.

    `part` says which corner of what is called so; it is empty of a mark or mount. `right_deg` is how far the
    unit's facing is to the right of it as the unit looks out; negative is left.
    `distance_m` is its own, in plan.
    """

    name: str
    distance_m: float
    bearing_deg: float
    right_deg: float
    part: str = ""

    @property
    def right_m(self) -> float:
        """The same at the mark, across the line to it."""
        return self.distance_m * math.tan(math.radians(self.right_deg))


@dataclass(frozen=True)
class HeadAim:
    """Where one head looks, at the middle of its arc.

    Parameters
    ----------
    head : int
        From 1.
    bearing_deg : float
        Clockwise from true north.
    staff_m : float or None
        Plan distance of a staff along that bearing; None where no staff meets the lower axis well.
    lower_m, upper_m : float or None
        How high above the ground there the axes of the lowest and the uppermost layer meet the staff.
    lands_m : float or None
        Plan distance at which the lowest axis comes to the ground; None where it does not within the range.
    lights_m : tuple of (from, to)
        Stretches along that bearing, plan metres, on which a figure is held by this unit.
    """

    head: int
    bearing_deg: float
    staff_m: float | None
    lower_m: float | None
    upper_m: float | None
    lands_m: float | None
    lights_m: tuple[tuple[float, float], ...]


def aim_mark(places: tuple[Known, ...], unit: Detector) -> AimMark | None:
    """The place by which a unit is aimed best; None where none ahead is far enough off.

    That is the one by which its facing comes out least wrong: near by angle, for angles are laid off with an
    error, and far away, for there what the place and the unit err by is a smaller angle.

    Parameters
    ----------
    places : tuple of Known
        That are seen from it.
    unit : Detector

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> north = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> gate, house = Known("gate", 1.0, 10.0, 0.0), Known("house", -5.0, 5.0, 0.0)
    >>> found = aim_mark((house, gate), north)
    >>> found.name, round(found.right_deg, 1), round(found.right_m, 2)
    ('gate', -5.7, -1.0)

    Four metres off and straight ahead, a place tells less well than one far off and a little aside:

    >>> aim_mark((Known("post", 0.0, 4.0, 0.0), gate), north).name
    'gate'
    """
    found = []
    for place in places:
        dx, dy = place.x - unit.x, place.y - unit.y
        if math.hypot(dx, dy) >= _NEAREST_MARK_M:
            bearing = math.degrees(math.atan2(dx, dy)) % 360
            right = (unit.bearing_deg - bearing + 180) % 360 - 180
            if abs(right) <= _AHEAD_DEG:
                mark = AimMark(place.name, math.hypot(dx, dy), bearing, right, place.part)
                found.append((_off_by_deg(mark, place.vague_m), mark))
    best = min(found, key=lambda one: (one[0], one[1].name, one[1].part), default=None)
    return None if best is None else best[1]


def _off_by_deg(mark: AimMark, vague_m: float) -> float:
    """How far a unit that is aimed by a mark may look wrong."""
    aside_deg = _LAID_OFF * abs(mark.right_deg)
    return math.hypot(aside_deg, math.degrees(math.atan2(vague_m, mark.distance_m)))


def head_aims(terrain: Terrain, unit: Detector, figure_height_m: float) -> tuple[HeadAim, ...]:
    """Where each head of a unit looks; how high its axes pass a staff, and where a figure is held.

    Examples
    --------
    A unit 1 m up, set to 12 m on level ground: five metres off, the lower axis is 1 - 5/12 m high.

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = terrain_from_heights(np.zeros((121, 121)), 0.25)
    >>> aim, = head_aims(flat, Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0), 1.7)
    >>> aim.staff_m, round(aim.lower_m, 3), round(aim.upper_m, 3), round(aim.lands_m, 1)
    (5.0, 0.583, 1.0, 12.0)
    """
    return tuple(
        _head_aim(terrain, unit, number, posed, figure_height_m)
        for number, posed in enumerate(posed_heads(unit), 1)
    )


def _head_aim(
    terrain: Terrain, unit: Detector, number: int, posed: PosedHead, figure_height_m: float
) -> HeadAim:
    bearing = wrap_deg(math.degrees(math.atan2(posed.forward[0], posed.forward[1])))
    angles = [layer.elevation_deg for layer in posed.layers]
    lower, upper = (_slope(posed, angle) for angle in (min(angles), max(angles)))
    east, north = direction(bearing)

    def above(slope: float, away_m: float) -> float:
        z = float(terrain.ground.height_at(unit.x + away_m * east, unit.y + away_m * north))
        return unit.eye[2] + slope * away_m - z

    staff = next(
        (away for away in _STAFF_AT_M if _ON_STAFF_M[0] <= above(lower, away) <= _ON_STAFF_M[1]), None
    )
    reach = np.arange(_STEP_M, unit.type.max_range + _STEP_M / 2, _STEP_M)
    x, y = unit.x + reach * east, unit.y + reach * north
    clear = unit.eye[2] + lower * reach - terrain.ground.height_at(x, y)
    landed = np.flatnonzero(clear <= 1e-9)
    seen = sighted_over(terrain, unit, x, y)
    held = np.zeros(len(reach), bool)
    held[seen.seen.cells] = seen.codes(figure_height_m) == Verdict.BOTH
    return HeadAim(
        number, bearing, staff, None if staff is None else above(lower, staff),
        None if staff is None else above(upper, staff),
        float(reach[landed[0]]) if len(landed) else None, _stretches(held, reach),
    )  # fmt: skip


def _slope(posed: PosedHead, elevation_deg: float) -> float:
    """Rise to a metre of plan distance of an axis in the middle of a head."""
    e = math.radians(elevation_deg)
    ray = math.cos(e) * posed.forward + math.sin(e) * posed.up
    return float(ray[2] / math.hypot(ray[0], ray[1]))


def _stretches(held: NDArray[np.bool_], reach: Floats) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(np.int8)))
    pairs = edges.reshape(-1, 2)
    return tuple(
        (float(reach[start]), float(reach[end - 1]))
        for start, end in pairs
        if reach[end - 1] - reach[start] >= _SHORTEST_M
    )

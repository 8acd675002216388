"""What would hold a piece of ground that is not held: the nearest change of one setting, or another mount.

Where the pole stays nothing is cast: what a unit sees over one cell is cut exactly, for as many heights as
are tried, and bearing, tilt and range are arithmetic on that.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import Look, SightedUnit, sighted, sighted_over
from terrain3d.cover.verdict import Codes, Verdict, combined
from terrain3d.detector.fixing import can_turn, fixing_of
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.sight.panorama import eye_over
from terrain3d.terrain import Mount, Terrain

#: As fine as a hand sets them (common practice, no source); a mount is told once, tilted as little as holds.
BEARING_STEP_DEG, TILT_STEP_DEG, HEIGHT_STEP_M = 2.5, 1.0, 0.05
_STEEPEST_DEG = 30.0


@dataclass(frozen=True)
class Change:
    """One unit set otherwise, so that it holds the place, and what that costs elsewhere.

    Parameters
    ----------
    what : {"bearing", "tilt", "range", "height", "aim", "mount"}
        What is changed; "aim" is bearing and tilt together.
    before, unit : Detector
        As it is set, and as it would be.
    gained_m2, lost_m2 : float
        Of protected ground held with both layers; of all ground where none is protected.
    """

    what: str
    before: Detector
    unit: Detector
    gained_m2: float
    lost_m2: float


def would_hold(outcome: Outcome, option: OptionResult, x: float, y: float, look: Look) -> tuple[Change, ...]:
    """The nearest change of each kind that would hold a place, cheapest first.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
        One of its options, which does not hold the place.
    x, y : float
        Local metres; the cell there is what has to be held.
    look : callable
        What sees the panorama of an eye, and remembers.

    Returns
    -------
    tuple of Change
        None where the place is held already, has no known ground, or nothing would hold it.

    Examples
    --------
    A unit that faces north holds nothing 6 m to the east of it. Its arc ends 45 degrees to the right, so
    turned to 45 degrees it does:

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.job import judge_units
    >>> from terrain3d.opened import site_of
    >>> from terrain3d.sight.panorama import remembered
    >>> from terrain3d.terrain import terrain_from_heights
    >>> level = site_of(terrain_from_heights(np.zeros((121, 121)), 0.25))
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> outcome = judge_units(level, {"north": (unit,)})
    >>> found = would_hold(outcome, outcome.options[0], 6.0, 0.1, remembered())
    >>> [(change.what, change.unit.bearing_deg) for change in found if change.what == "bearing"]
    [('bearing', 45.0)]
    """
    ground = outcome.terrain.ground
    ny, nx = ground.z.shape
    i, j = round((x - ground.x0) / ground.cell_m), round((y - ground.y0) / ground.cell_m)
    if not (0 <= i < nx and 0 <= j < ny and math.isfinite(ground.z[j, i])):
        return ()
    place = float(ground.xs[i]), float(ground.ys[j])
    asked = _Asked(outcome.terrain, option, place, outcome.figure.height_m)
    if asked.code_with({}) == Verdict.BOTH:
        return ()
    found = []
    for number, unit in enumerate(option.detectors):
        for changed in _nearest(asked, number, unit):
            found.append(_costed(outcome, option, number, *changed, look))
    return tuple(sorted(found, key=lambda one: (one.lost_m2 - one.gained_m2, one.what)))


class _Asked:
    """One cell, and the verdict of an option on it for units set otherwise."""

    def __init__(
        self, terrain: Terrain, option: OptionResult, place: tuple[float, float], figure_m: float
    ) -> None:
        self.terrain, self.option, self.place, self._figure_m = terrain, option, place, figure_m
        self._seen: dict[tuple[float, float, float], SightedUnit] = {}
        self._codes = [self.code_of(unit) for unit in option.detectors]

    def code_of(self, unit: Detector) -> int:
        """The verdict of a unit alone."""
        if unit.eye not in self._seen:
            x, y = self.place
            self._seen[unit.eye] = sighted_over(self.terrain, unit, [x], [y])
        seeing = self._seen[unit.eye].set_to(unit)
        return int(seeing.codes(self._figure_m)[0]) if len(seeing.seen.cells) else int(Verdict.OUTSIDE)

    def code_with(self, changed: dict[int, Detector]) -> int:
        """The verdict of the option with some of its units set otherwise."""
        codes = [self.code_of(changed[k]) if k in changed else code for k, code in enumerate(self._codes)]
        maps: list[Codes] = [np.array([code], np.uint8) for code in codes]
        return int(combined(maps, self.option.combine)[0])

    def first_held(self, number: int, tried: Iterator[Detector]) -> Detector | None:
        """The first of some settings of a unit with which the option holds the cell."""
        return next((unit for unit in tried if self.code_with({number: unit}) == Verdict.BOTH), None)


def _nearest(asked: _Asked, number: int, unit: Detector) -> Iterator[tuple[str, Detector]]:
    """The nearest change of each kind of one unit that holds the cell."""
    limits = fixing_of(unit.type, unit.bracket)
    wall = asked.terrain.wall_of(unit.mount)

    def turns(tried: Iterator[Detector]) -> Iterator[Detector]:
        return (one for one in tried if bool(can_turn(limits, wall, one.bearing_deg, one.tilt_deg)))

    kinds: tuple[tuple[str, Callable[[Detector], Iterator[Detector]]], ...] = (
        ("bearing", _bearings), ("tilt", _tilts), ("range", _ranges), ("height", _heights),
    )  # fmt: skip
    is_found = False
    for what, tried in kinds:
        found = asked.first_held(number, turns(tried(unit)))
        if found is not None:
            is_found = True
            yield what, found
    if not is_found:
        both = (tilted for turned in _bearings(unit) for tilted in _tilts(turned))
        near = sorted(both, key=lambda one: _steps_off(one, unit))
        found = asked.first_held(number, turns(iter(near)))
        if found is not None:
            yield "aim", found
    for mount in asked.terrain.mounts:
        if mount.name != unit.mount and unit.type.name not in mount.not_for:
            found = asked.first_held(number, _on_mount(asked, unit, mount))
            if found is not None:
                yield "mount", found


def _steps_off(one: Detector, unit: Detector) -> float:
    turned = abs((one.bearing_deg - unit.bearing_deg + 180) % 360 - 180) / BEARING_STEP_DEG
    return turned + abs(one.tilt_deg - unit.tilt_deg) / TILT_STEP_DEG


def _bearings(unit: Detector) -> Iterator[Detector]:
    for step in range(1, round(180 / BEARING_STEP_DEG) + 1):
        for side in (1, -1):
            turned = (unit.bearing_deg + side * step * BEARING_STEP_DEG) % 360
            yield replace(unit, bearing_deg=round(turned, 4))


def _tilts(unit: Detector) -> Iterator[Detector]:
    for step in range(1, round(2 * _STEEPEST_DEG / TILT_STEP_DEG) + 1):
        for side in (1, -1):
            tilt = round(unit.tilt_deg + side * step * TILT_STEP_DEG, 4)
            if abs(tilt) <= _STEEPEST_DEG:
                yield replace(unit, tilt_deg=tilt)


def _ranges(unit: Detector) -> Iterator[Detector]:
    """Of the unit as a whole; a head with a range of its own keeps it."""
    following = [h for h in range(len(unit.type.head)) if unit.head(h).range_m is None]
    offered = set(unit.type.range_settings).intersection(*(unit.type.ranges_of(h) for h in following))
    for range_m in sorted(offered - {unit.range_m}, key=lambda one: abs(one - unit.range_m)):
        if following:
            yield replace(unit, range_m=range_m)


def _heights(unit: Detector) -> Iterator[Detector]:
    """Within what the type allows, however far from it the unit is."""
    low, high = unit.type.mount_height
    farthest = max(abs(unit.height_m - low), abs(unit.height_m - high))
    for step in range(1, round(farthest / HEIGHT_STEP_M) + 2):
        for side in (1, -1):
            height = round(unit.height_m + side * step * HEIGHT_STEP_M, 4)
            if low - 1e-9 <= height <= high + 1e-9:
                yield replace(unit, height_m=height)


def _on_mount(asked: _Asked, unit: Detector, mount: Mount) -> Iterator[Detector]:
    """The unit on another mount at its height, faced to the place as nearly as its housing turns there."""
    x, y, ground_z = eye_over(asked.terrain.ground, mount.x, mount.y, 0.0)
    if not math.isfinite(ground_z):
        return
    east, north = asked.place[0] - x, asked.place[1] - y
    towards = math.degrees(math.atan2(east, north)) % 360
    limits = fixing_of(unit.type, unit.bracket)
    base = replace(unit, mount=mount.name, x=x, y=y, ground_z=ground_z)
    heads = [unit.pan_of(head) for head in range(len(unit.type.head))]
    for tilt in (unit.tilt_deg, *(one.tilt_deg for one in _tilts(unit))):
        for pan in heads:
            bearing = round((towards - pan) / BEARING_STEP_DEG) * BEARING_STEP_DEG % 360
            if bool(can_turn(limits, mount.wall_deg, bearing, tilt)):
                yield replace(base, bearing_deg=bearing, tilt_deg=tilt)


def _costed(
    outcome: Outcome, option: OptionResult, number: int, what: str, unit: Detector, look: Look
) -> Change:
    """A change with what the option gains and loses by it on the ground that counts."""
    terrain, ground = outcome.terrain, outcome.terrain.ground
    maps = [
        (sighted(terrain, unit, look=look) if k == number else one).verdicts(ground, outcome.figure.height_m)
        for k, one in enumerate(option.units)
    ]
    new: NDArray[np.bool_] = combined(maps, option.combine) == Verdict.BOTH
    old = option.verdicts == Verdict.BOTH
    counts = protected_weight(ground, terrain.protect) > 0
    counts = counts if counts.any() else np.ones(counts.shape, bool)
    cell_m2 = ground.cell_m**2
    gained, lost = (float(where.sum()) * cell_m2 for where in (new & ~old & counts, old & ~new & counts))
    return Change(what, option.detectors[number], unit, gained, lost)

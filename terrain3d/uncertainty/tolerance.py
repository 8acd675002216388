"""How far a setting may be off before a twentieth of the held ground is lost.

Lost is ground that is held as the unit is set and no longer when it is off; what another setting would
win elsewhere does not make up for it. Bearing, tilt, roll and range are arithmetic on one panorama;
height looks around anew.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import SightedUnit, sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Terrain
from terrain3d.uncertainty.monte_carlo import LOWEST_M, MOST_TILT_DEG, protected_count
from terrain3d.units import Floats

#: Share of the held ground that may be lost.
LOSS = 0.05


@dataclass(frozen=True)
class _Walk:
    """How a setting is moved until too much is lost: in steps, then halved; never beyond the limit.

    `moved` is a unit with the setting off by so much, `room` how far it can go down and up at all.
    """

    unit: str
    step: float
    near: float
    limit: float
    moved: Callable[[Detector, float], Detector]
    room: Callable[[Detector], tuple[float, float]]


_WALKS = {
    "height": _Walk(
        "m", 0.05, 0.002, 0.30,
        lambda unit, by: replace(unit, height_m=unit.height_m + by),
        lambda unit: (unit.height_m - LOWEST_M, math.inf),
    ),
    "bearing": _Walk(
        "deg", 1.0, 0.05, 45.0,
        lambda unit, by: replace(unit, bearing_deg=unit.bearing_deg + by),
        lambda _unit: (math.inf, math.inf),
    ),
    "tilt": _Walk(
        "deg", 0.5, 0.02, 10.0,
        lambda unit, by: replace(unit, tilt_deg=unit.tilt_deg + by),
        lambda unit: (MOST_TILT_DEG + unit.tilt_deg, MOST_TILT_DEG - unit.tilt_deg),
    ),
    "roll": _Walk(
        "deg", 0.5, 0.02, 10.0,
        lambda unit, by: replace(unit, roll_deg=unit.roll_deg + by),
        lambda unit: (MOST_TILT_DEG + unit.roll_deg, MOST_TILT_DEG - unit.roll_deg),
    ),
}  # fmt: skip
#: How far off each setting is looked at, in its unit.
LIMITS = {setting: walk.limit for setting, walk in _WALKS.items()}


@dataclass(frozen=True, eq=False)
class _Held:
    """The cells that a unit holds as it is set, seen from its place, and the weight of each."""

    cells: SightedUnit
    weight: Floats


@dataclass(frozen=True)
class Slack:
    """How far one setting may be off to each side.

    Parameters
    ----------
    setting : str
        "height", "bearing", "tilt", "roll" or "range".
    unit : {"m", "deg"}
    less, more : float
        Lower or to the left; higher or to the right. Not negative.
    less_open, more_open : bool
        True where no more was looked at: the limit, or for range the last setting of the type.
    head : int, optional
        From 1, where it is the range of one head that has its own.
    """

    setting: str
    unit: str
    less: float
    more: float
    less_open: bool = False
    more_open: bool = False
    head: int | None = None


@dataclass(frozen=True)
class UnitTolerance:
    """The tolerances of one unit of an option; none where it holds nothing to lose.

    `held_m2` is the ground counted, of the whole option.
    """

    unit: str
    held_m2: float
    slacks: tuple[Slack, ...]


def option_tolerances(
    terrain: Terrain, option: OptionResult, figure_height_m: float
) -> tuple[UnitTolerance, ...]:
    """How far each setting of each unit of an option may be off, the others as they are.

    Protected ground counts, or all ground where none is protected. Ground that another unit of the
    option holds as well is not lost.

    Parameters
    ----------
    terrain : Terrain
    option : OptionResult
    figure_height_m : float
        Height of the figure.
    """
    ground = terrain.ground
    counts = protected_count(terrain) if terrain.protect else np.ones(ground.z.shape)
    held = []
    for one in option.units:
        own = np.zeros(ground.z.size, bool)
        own[one.seen.cells] = one.codes(figure_height_m) == Verdict.BOTH
        held.append(own)
    by_many = np.sum(held, axis=0)
    whole_held = by_many == len(held) if option.combine == "all" else by_many > 0
    whole = float(counts.ravel()[whole_held].sum())
    results = []
    for one in option.units:
        # Only ground that depends on this unit can be lost by it.
        alone = whole_held if option.combine == "all" else by_many == 1
        weight = np.where(alone, counts.ravel(), 0.0)[one.seen.cells]
        slacks: tuple[Slack, ...] = ()
        if whole > 0:
            slacks = (
                height_tolerance(terrain, one, figure_height_m, weight, whole),
                *aim_tolerance(one, figure_height_m, weight, whole, ("bearing", "tilt", "roll")),
                *range_tolerances(one, figure_height_m, weight, whole),
            )
        results.append(UnitTolerance(one.unit.name, whole * ground.cell_m**2, slacks))
    return tuple(results)


def aim_tolerance(
    one: SightedUnit,
    figure_height_m: float,
    weight: Floats,
    whole: float | None = None,
    settings: tuple[str, ...] = ("bearing", "tilt"),
) -> tuple[Slack, ...]:
    """How far a unit's bearing and tilt may be off: arithmetic on one panorama, no ray.

    Parameters
    ----------
    one : SightedUnit
        As it is set.
    figure_height_m : float
        Height of the figure.
    weight : (n,) float
        Of each cell of the panorama; 0 for ground that does not count. Of these the cells that the unit
        holds as it is set can be lost.
    whole : float, optional
        The weight that a share may be lost of; of the ground the unit holds where not given.
    settings : tuple of str
        Of "bearing", "tilt" and "roll", in the order wanted.

    Returns
    -------
    tuple of Slack
        One for each of `settings`; without held ground, none.

    Examples
    --------
    On level ground a unit of 90 degrees loses a twentieth of its fan when it is turned by 4.5 degrees:

    >>> from pathlib import Path
    >>> from terrain3d.cover.sighted import sighted
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = terrain_from_heights(np.zeros((121, 121)), 0.25)
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0.0, 0.0, 0.0, 1.0, 20.0)
    >>> seen = sighted(flat, unit)
    >>> bearing, tilt = aim_tolerance(seen, 1.7, np.ones(len(seen.seen.cells)))
    >>> round(bearing.less), round(bearing.more), bearing.more_open
    (4, 4, False)
    """
    held = _held(one, figure_height_m, weight)
    allowed = LOSS * (float(held.weight.sum()) if whole is None else whole)
    if not allowed > 0:
        return ()
    return tuple(
        _slack(setting, one.unit, lambda moved: _lost(held, moved, figure_height_m) > allowed)
        for setting in settings
    )


def height_tolerance(
    terrain: Terrain, one: SightedUnit, figure_height_m: float, weight: Floats, whole: float
) -> Slack:
    """How far a unit's height may be off; `weight` and `whole` as for `aim_tolerance`."""
    held = (one.codes(figure_height_m) == Verdict.BOTH) & (weight > 0)

    def too_much(moved: Detector) -> bool:
        # The cells in reach, and their order, do not depend on the height of the eye.
        again = sighted(terrain, moved, one.seen.reach_m)
        lost = held & (again.codes(figure_height_m) != Verdict.BOTH)
        return float(weight[lost].sum()) > LOSS * whole

    return _slack("height", one.unit, too_much)


def range_tolerances(
    one: SightedUnit, figure_height_m: float, weight: Floats, whole: float
) -> tuple[Slack, ...]:
    """By how many metres the range setting may be off, in the settings that there are.

    Of a unit whose heads follow it one; else one of those that do, and one of each head with its own range.
    """
    held, unit = _held(one, figure_height_m, weight), one.unit
    heads = range(len(unit.type.head))
    own = [head for head in heads if unit.head(head).range_m is not None]
    slacks = []
    following = [unit.type.ranges_of(head) for head in heads if head not in own]
    if following:
        # A step of the unit's range has to be a setting of every head that follows it.
        shared = set(following[0]).intersection(*following[1:]) | {unit.range_m}

        def at(range_m: float) -> Detector:
            return replace(unit, range_m=range_m)

        slacks.append(_range_slack(held, unit.range_m, shared, at, figure_height_m, whole))
    for head in own:

        def at_head(range_m: float, head: int = head) -> Detector:
            changed = replace(unit.heads[head], range_m=range_m)
            return replace(unit, heads=(*unit.heads[:head], changed, *unit.heads[head + 1 :]))

        settings = set(unit.type.ranges_of(head))
        found = _range_slack(held, unit.range_of(head), settings, at_head, figure_height_m, whole)
        slacks.append(replace(found, head=head + 1))
    return tuple(slacks)


def _range_slack(
    held: _Held,
    as_set: float,
    offered: set[float],
    moved: Callable[[float], Detector],
    figure_height_m: float,
    whole: float,
) -> Slack:
    shorter = [r for r in sorted(offered, reverse=True) if r < as_set]
    longer = [r for r in sorted(offered) if r > as_set]
    ends = []
    for settings in (shorter, longer):
        reached, is_open = as_set, True
        for range_m in settings:
            if _lost(held, moved(range_m), figure_height_m) > LOSS * whole:
                is_open = False
                break
            reached = range_m
        ends.append((abs(reached - as_set), is_open))
    (less, less_open), (more, more_open) = ends
    return Slack("range", "m", less, more, less_open, more_open)


def _slack(setting: str, unit: Detector, too_much: Callable[[Detector], bool]) -> Slack:
    walk = _WALKS[setting]
    low, high = (max(min(walk.limit, room), 0.0) for room in walk.room(unit))
    less, less_open = _first_crossing(lambda off: too_much(walk.moved(unit, -off)), low, walk)
    more, more_open = _first_crossing(lambda off: too_much(walk.moved(unit, off)), high, walk)
    return Slack(setting, walk.unit, less, more, less_open, more_open)


def _first_crossing(too_much: Callable[[float], bool], limit: float, walk: _Walk) -> tuple[float, bool]:
    """How far one can go before it is too much, and whether the limit came first."""
    safe = 0.0
    while safe < limit:
        step = min(safe + walk.step, limit)
        if too_much(step):
            while step - safe > walk.near:
                middle = (safe + step) / 2
                safe, step = (safe, middle) if too_much(middle) else (middle, step)
            return safe, False
        safe = step
    return safe, True


def _held(one: SightedUnit, figure_height_m: float, weight: Floats) -> _Held:
    keep = (weight > 0) & (one.codes(figure_height_m) == Verdict.BOTH)
    return _Held(one.among(keep), weight[keep])


def _lost(held: _Held, moved: Detector, figure_height_m: float) -> float:
    """Weight of held ground that is lost when the unit is set otherwise, from its place."""
    codes = held.cells.set_to(moved).codes(figure_height_m)
    return float(held.weight[codes != Verdict.BOTH].sum())

"""How far a setting may be off before a twentieth of the held ground is lost.

Lost is ground that is held as the unit is set and no longer when it is off; what another setting would
win elsewhere does not make up for it. Bearing, tilt, roll and range are arithmetic on one panorama;
height looks around anew.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import HeadTable, head_table
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import Panorama, panorama
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

    seen: Panorama
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
    """

    setting: str
    unit: str
    less: float
    more: float
    less_open: bool = False
    more_open: bool = False


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
    views = [panorama(terrain, unit.eye, unit.type.max_range) for unit in option.detectors]
    tables = [head_table(unit.type, unit.pan_deg) for unit in option.detectors]
    held = []
    for unit, seen, table in zip(option.detectors, views, tables, strict=True):
        own = np.zeros(ground.z.size, bool)
        own[seen.cells] = _codes(seen, table, unit, figure_height_m) == Verdict.BOTH
        held.append(own)
    by_many = np.sum(held, axis=0)
    whole_held = by_many == len(held) if option.combine == "all" else by_many > 0
    whole = float(counts.ravel()[whole_held].sum())
    results = []
    for unit, seen, table in zip(option.detectors, views, tables, strict=True):
        # Only ground that depends on this unit can be lost by it.
        alone = whole_held if option.combine == "all" else by_many == 1
        weight = np.where(alone, counts.ravel(), 0.0)[seen.cells]
        slacks: tuple[Slack, ...] = ()
        if whole > 0:
            slacks = (
                height_tolerance(terrain, seen, table, unit, figure_height_m, weight, whole),
                *aim_tolerance(
                    seen, table, unit, figure_height_m, weight, whole, ("bearing", "tilt", "roll")
                ),
                range_tolerance(seen, table, unit, figure_height_m, weight, whole),
            )
        results.append(UnitTolerance(unit.name, whole * ground.cell_m**2, slacks))
    return tuple(results)


def aim_tolerance(
    seen: Panorama,
    table: HeadTable,
    unit: Detector,
    figure_height_m: float,
    weight: Floats,
    whole: float | None = None,
    settings: tuple[str, ...] = ("bearing", "tilt"),
) -> tuple[Slack, ...]:
    """How far a unit's bearing and tilt may be off: arithmetic on one panorama, no ray.

    Parameters
    ----------
    seen : Panorama
        From the unit's mount and height.
    table : HeadTable
    unit : Detector
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
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> ground = Ground(-15.0, -15.0, 0.25, np.zeros((121, 121)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> detector_type = load_type("one-head-90", Path())
    >>> unit = Detector("D1", detector_type, "pole", 0.0, 0.0, 0.0, 1.0, 20.0)
    >>> seen = panorama(flat, unit.eye, 12.0)
    >>> bearing, tilt = aim_tolerance(seen, head_table(detector_type), unit, 1.7, np.ones(len(seen.cells)))
    >>> round(bearing.less), round(bearing.more), bearing.more_open
    (4, 4, False)
    """
    held = _held(seen, table, unit, figure_height_m, weight)
    allowed = LOSS * (float(held.weight.sum()) if whole is None else whole)
    if not allowed > 0:
        return ()
    return tuple(
        _slack(setting, unit, lambda moved: _lost(held, table, moved, figure_height_m) > allowed)
        for setting in settings
    )


def height_tolerance(
    terrain: Terrain,
    seen: Panorama,
    table: HeadTable,
    unit: Detector,
    figure_height_m: float,
    weight: Floats,
    whole: float,
) -> Slack:
    """How far a unit's height may be off; `seen` and `weight` as for `aim_tolerance`."""
    held = (_codes(seen, table, unit, figure_height_m) == Verdict.BOTH) & (weight > 0)

    def too_much(moved: Detector) -> bool:
        # The cells in reach, and their order, do not depend on the height of the eye.
        view = panorama(terrain, moved.eye, seen.reach_m)
        lost = held & (_codes(view, table, moved, figure_height_m) != Verdict.BOTH)
        return float(weight[lost].sum()) > LOSS * whole

    return _slack("height", unit, too_much)


def range_tolerance(
    seen: Panorama, table: HeadTable, unit: Detector, figure_height_m: float, weight: Floats, whole: float
) -> Slack:
    """By how many metres the range setting may be off, in the settings of the type."""
    held = _held(seen, table, unit, figure_height_m, weight)
    offered = sorted(unit.type.range_settings)
    shorter = [r for r in reversed(offered) if r < unit.range_m]
    longer = [r for r in offered if r > unit.range_m]
    ends = []
    for settings in (shorter, longer):
        reached, is_open = unit.range_m, True
        for range_m in settings:
            if _lost(held, table, replace(unit, range_m=range_m), figure_height_m) > LOSS * whole:
                is_open = False
                break
            reached = range_m
        ends.append((abs(reached - unit.range_m), is_open))
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


def _held(seen: Panorama, table: HeadTable, unit: Detector, figure_height_m: float, weight: Floats) -> _Held:
    keep = (weight > 0) & (_codes(seen, table, unit, figure_height_m) == Verdict.BOTH)
    return _Held(thinned(seen, keep), weight[keep])


def _lost(held: _Held, table: HeadTable, moved: Detector, figure_height_m: float) -> float:
    """Weight of held ground that is lost when the unit is set otherwise, from its place."""
    return float(held.weight[_codes(held.seen, table, moved, figure_height_m) != Verdict.BOTH].sum())


def thinned(seen: Panorama, keep: NDArray[np.bool_]) -> Panorama:
    """A panorama of some of its cells, in the same order.

    Parameters
    ----------
    seen : Panorama
    keep : (n,) bool
    """
    n_pieces = np.diff(seen.piece_start)
    counts = n_pieces[keep]
    return Panorama(
        seen.eye,
        seen.reach_m,
        seen.cells[keep],
        np.concatenate([[0], np.cumsum(keep)])[seen.bin_start],
        seen.east[keep],
        seen.north[keep],
        seen.distance[keep],
        seen.foot[keep],
        seen.lowest[keep],
        np.concatenate([[0], np.cumsum(counts)]),
        seen.pieces[np.repeat(keep, n_pieces)],
        np.ascontiguousarray(seen.main[:, keep]),
        np.flatnonzero(counts > 1),
        seen.across_unknown[keep],
    )


def _codes(seen: Panorama, table: HeadTable, unit: Detector, figure_height_m: float) -> NDArray[np.uint8]:
    return verdict_codes(
        seen,
        table,
        unit.bearing_deg,
        unit.tilt_deg,
        unit.roll_deg,
        unit.range_m,
        figure_height_m,
        unit.fill_needed,
    )

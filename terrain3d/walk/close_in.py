"""What an option leaves open close to its units: between heads, under a unit, along the wall it is fixed to.

Three numbers, each the least good of the option's units:

- *between heads*: known ground within the maximum range, in plan, in a wedge between heads on a mount
  (`cover/wedges.py`), not held and in the arc and range of none: under `any` of no unit at all, under `all`
  of none there;
- *under a unit*: how far out, over the bearings of its open arcs, the option does not hold ground that a
  layer passes over close in. A unit no higher than the figure's head has none;
- *along a wall*: how near somebody comes to units on a wall who walks along it, half a body's breadth
  from where they are, from past their reach up to them, before the option raises the alarm. What stands in
  the way is walked through: what hides the walk hides it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.layer_outcomes import BEYOND, CLOSE_IN
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import band_slopes
from terrain3d.cover.sighted import SightedUnit, sighted_over
from terrain3d.cover.verdict import Verdict, combined
from terrain3d.cover.wedges import heads_on_a_mount, wedges_of
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.terrain import Ground, Terrain, Walk
from terrain3d.units import Floats, direction
from terrain3d.walk.bodies import body_of
from terrain3d.walk.pulses import try_walk

#: Bearings, degrees apart, and steps, metres, at which ground under a unit is asked for.
_BEARING_DEG, _STEP_M = 2.0, 0.05
#: How fast somebody walks along a wall, metres a second: the usual walk test.
SPEED_MPS = 1.0
#: A walk along a wall starts this far past the reach of its unit, metres.
_LEAD_IN_M = 1.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class AlongWall:
    """A walk along the wall of a mount, from one side.

    Parameters
    ----------
    units : tuple of str
        Those on the mount.
    from_deg : float
        Bearing from the mount to where the walk comes from.
    line : (2, 2) float
        Its start, and its end abreast of the mount, local metres.
    near_m : float
        How far along the wall from the mount the alarm is raised; 0 where none is.
    is_noticed : bool
        Whether it is raised at all.
    """

    units: tuple[str, ...]
    from_deg: float
    line: Floats
    near_m: float
    is_noticed: bool


@dataclass(frozen=True, eq=False)
class CloseIn:
    """What an option leaves open close to its units.

    Parameters
    ----------
    wedge_m2 : float or None
        Ground between neighbouring heads that no arc holds; None where no mount has two heads.
    wedge : (ny, nx) bool
        Its cells.
    under_m : float
        Out to how far from a unit ground is not held that a layer passes over, close in; 0 is nowhere.
    under_unit : str or None
        The unit that is so; None where none is.
    along_wall : tuple of AlongWall
        From both sides along the wall of each mount that is on one.
    """

    wedge_m2: float | None
    wedge: Mask
    under_m: float
    under_unit: str | None
    along_wall: tuple[AlongWall, ...]

    @property
    def nearest(self) -> AlongWall | None:
        """The walk along a wall that comes nearest to its unit; None where no unit is on a wall."""
        return min(self.along_wall, key=lambda walk: walk.near_m, default=None)


def close_in(terrain: Terrain, option: OptionResult, figure: Figure) -> CloseIn:
    """What an option leaves open close to its units.

    Parameters
    ----------
    terrain : Terrain
        That the option was judged on.
    option : OptionResult
    figure : Figure
        Who walks.

    Examples
    --------
    Two heads of 84 degrees turned 45 to either side leave 6 degrees open between them, out to 12 m.

    >>> from terrain3d.cover.option import judge_option
    >>> from terrain3d.cover.sighted import sighted
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = terrain_from_heights(np.zeros((120, 120)), 0.25)
    >>> unit = Detector("D1", load_type("two-head-180"), "pole", 0.0, 0.0, 0.0, 1.0, 20.0)
    >>> option = judge_option(flat, "one", (sighted(flat, unit),), "any", 1.7)
    >>> found = close_in(flat, option, Figure("person", 1.7, "invented"))
    >>> abs(found.wedge_m2 - math.radians(6) / 2 * 12**2) < 0.4, found.under_m, found.along_wall
    (True, 0.0, ())
    """
    wedge = _wedge(terrain.ground, option, figure.height_m)
    under = [(_under_m(terrain, option, unit, figure.height_m), unit.name) for unit in option.detectors]
    under_m, under_unit = max(under, key=lambda one: one[0], default=(0.0, ""))
    walks = [
        _along_wall(terrain, option, mount, float(wall_deg), side, figure)
        for mount in dict.fromkeys(unit.mount for unit in option.detectors)
        if (wall_deg := terrain.wall_of(mount)) is not None
        for side in (-1, 1)
    ]
    return CloseIn(
        float(wedge.sum()) * terrain.ground.cell_m**2 if heads_on_a_mount(option.detectors) > 1 else None,
        wedge,
        under_m,
        under_unit if under_m else None,
        tuple(walks),
    )


def _wedge(ground: Ground, option: OptionResult, figure_height_m: float) -> Mask:
    """(ny, nx) bool: cells in a wedge between heads on a mount that no arc and range there holds.

    Under `any` of no unit at all, under `all` of none on that mount.
    """
    reached = np.zeros((len(option.units), ground.z.size), bool)
    for own, one in zip(reached, option.units, strict=True):
        own[one.seen.cells] = (one.outcomes(figure_height_m) < BEYOND).any(axis=0)
    found = np.zeros(ground.z.size, bool)
    for wedge in wedges_of(option.detectors):
        on_mount = [k for k, unit in enumerate(option.detectors) if unit.mount == wedge.mount]
        unit = option.detectors[on_mount[0]]
        reach_m = max(option.detectors[k].type.max_range for k in on_mount)
        dx, dy = ground.xs - unit.x, (ground.ys - unit.y)[:, None]
        off_deg = (np.degrees(np.arctan2(dx, dy)) - wedge.bearing_deg + 180.0) % 360.0 - 180.0
        inside = (np.abs(off_deg) <= wedge.width_deg / 2) & (np.hypot(dx, dy) <= reach_m)
        counts = reached[on_mount] if option.combine == "all" else reached
        found |= inside.ravel() & ~counts.any(axis=0)
    # A microwave that is enough by itself may hold what lies in no arc.
    is_open = ground.known & (option.verdicts != Verdict.BOTH)
    return np.asarray(found.reshape(ground.z.shape) & is_open)


def _under_m(terrain: Terrain, option: OptionResult, unit: Detector, figure_height_m: float) -> float:
    """Out to how far from a unit ground is not held that a layer of it passes over, close in."""
    if unit.height_m <= figure_height_m:
        return 0.0
    x, y, far = _spots_under(unit, figure_height_m)
    if not len(far):
        return 0.0
    own, maps = np.zeros(len(far), bool), []
    for one in option.detectors:
        seeing = sighted_over(terrain, one, x, y)
        codes = np.full(len(far), Verdict.OUTSIDE, np.uint8)
        codes[seeing.seen.cells] = seeing.codes(figure_height_m)
        maps.append(codes)
        if one is unit:
            own[seeing.seen.cells] = _is_close_in(seeing, figure_height_m)
    is_open = own & (combined(maps, option.combine) != Verdict.BOTH)
    return float(far[is_open].max()) if is_open.any() else 0.0


def _is_close_in(seeing: SightedUnit, figure_height_m: float) -> Mask:
    return np.asarray((seeing.outcomes(figure_height_m) == CLOSE_IN).any(axis=0))


def _spots_under(unit: Detector, figure_height_m: float) -> tuple[Floats, Floats, Floats]:
    """East, north and distance of places out to where each layer comes down to a head on the level."""
    over_m = unit.height_m - figure_height_m
    xs, ys, far = [], [], []
    for h, head in enumerate(posed_heads(unit)):
        fills = unit.fills_of(h) or (unit.fill_needed,) * len(head.layers)
        for low, high in head.open_deg:
            n = max(2, math.ceil((high - low) / _BEARING_DEG) + 1)
            # A hair within the stretch: its very end may fall to either side.
            turns = np.linspace(low + 1e-3, high - 1e-3, n)
            for bearing in (unit.bearing_deg + unit.pan_of(h) + turns).tolist():
                east, north = direction(bearing)
                bands = [band_slopes(head, layer, bearing) for layer in head.layers]
                # Where its axis comes down to a head, and where the head comes up to the share of the band.
                slopes = [axis for _, axis, _ in bands]
                slopes += [a + fill * (b - a) for (a, _, b), fill in zip(bands, fills, strict=True)]
                ends = [min(over_m / -slope, unit.type.max_range) for slope in slopes if slope < 0]
                steps = np.arange(_STEP_M, max(ends, default=0.0), _STEP_M)
                # Just short of each, so that the end is exact to a millionth.
                at = np.unique([*steps, *(end * (1 - 1e-6) for end in ends)])
                xs.append(unit.x + east * at)
                ys.append(unit.y + north * at)
                far.append(at)
    if not far:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    return np.concatenate(xs), np.concatenate(ys), np.concatenate(far)


def _along_wall(
    terrain: Terrain, option: OptionResult, mount: str, wall_deg: float, side: int, figure: Figure
) -> AlongWall:
    """One walk along a wall; `side` is 1 from the right of what the wall faces, -1 from its left."""
    body, on_mount = body_of(figure), [unit for unit in option.detectors if unit.mount == mount]
    from_deg = (wall_deg + side * 90.0) % 360.0
    out, away = np.array(direction(wall_deg)), np.array(direction(from_deg))
    abreast = np.array([on_mount[0].x, on_mount[0].y]) + body.breadth_m / 2 * out
    length_m = max(unit.type.reach_m for unit in on_mount) + _LEAD_IN_M
    line = np.array([abreast + length_m * away, abreast])
    walk = Walk("along the wall", line, SPEED_MPS)
    alarm = try_walk(terrain, option.detectors, option.combine, walk, figure, body).alarm
    near_m = 0.0 if alarm is None else max(length_m - alarm.along_m, 0.0)
    return AlongWall(tuple(unit.name for unit in on_mount), from_deg, line, near_m, alarm is not None)

"""Candidate mounts where none are named: at corners, on walls, along boundaries, on free ground."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely

from terrain3d.detector.types import DetectorType
from terrain3d.search.fixing_places import FixingPlaces, slope_percent
from terrain3d.search.wall_sides import Side, fixing_plans, sides
from terrain3d.terrain import Mount, Terrain
from terrain3d.units import Floats, compass_point

Kind = Literal["corner", "wall", "boundary", "edge"]

#: A unit on its bracket stands this far off the face (common practice, no source).
STANDOFF_M = 0.1
#: A wall has to go on this much above and below the middle of its unit (common practice, no source).
HOUSING_M = 0.05
#: A pole stands this far inside a boundary, and outside protected ground (common practice, no source).
POLE_ASIDE_M = 0.3
#: Faces shorter than this are posts, steps and the ends of walls.
SHORTEST_FACE_M = 1.0
#: A corner turns by at least this much; less is a bend in a wall.
_CORNER_DEG = 30.0
#: A survey from the air often sees no ground right under eaves, and its columns stick out of a wall: a unit
#: is moved out to where it hangs free over known ground by so much at most.
_MOVED_OUT_M = 0.5
#: How far behind and before the line of a face that is built of steps the steps may lie.
_BEHIND_M, _BEFORE_M = 1.5, 0.5
#: A face is the same one at another height when it lies this near.
_SAME_FACE_M = 0.05
#: A unit's heights are tried this far apart, as finely as a bracket is fixed by hand.
_HEIGHT_STEP_M = 0.1
#: Names may be 300 characters long, and ours add some.
_LONGEST_NAME = 270


@dataclass(frozen=True)
class Proposal:
    """A mount that could be, and why there.

    Parameters
    ----------
    mount : Mount
    kind : Kind
    side : str
        The compass point of its corner, face or side.
    of : str
        The name of the solid or of the protected ground that it is at; empty at the boundary.
    group : str
        What mounts of its kind share of their names: all corners of a shed, all mounts of a wall.
    """

    mount: Mount
    kind: Kind
    side: str
    of: str
    group: str


@dataclass(frozen=True, eq=False)
class _Spot:
    """A place before it has its name: `stem` is the name without a number."""

    stem: str
    kind: Kind
    side: str
    of: str
    at: Floats
    heights_m: tuple[float, ...]


#: Ways to place the mounts of one run, the more welcome first.
_Ways = tuple[list[_Spot], ...]


@dataclass(frozen=True, eq=False)
class _Wanted:
    """What is asked for, and what can hold it."""

    terrain: Terrain
    free: FixingPlaces
    every_m: float
    steepest_percent: float

    @cached_property
    def fixing(self) -> list[list[Any]]:
        """For each height, the plan of each solid that would hold a unit there."""
        terrain = self.terrain
        return [fixing_plans(terrain.solids, terrain.ground, h, HOUSING_M) for h in self.free.heights_m]

    def pole_heights(self, at: Floats) -> tuple[float, ...]:
        if not slope_percent(self.terrain.ground, at) <= self.steepest_percent:
            return ()
        return self.free.heights_at(at)


def type_heights(types: Iterable[DetectorType]) -> tuple[float, ...]:
    """The heights worth trying for some types: from each one's lowest to its highest, every 0.1 m.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> type_heights([load_type("one-head-90", Path())])
    (0.8, 0.9, 1.0, 1.1, 1.2)
    """
    heights = set()
    for kind in types:
        low, high = kind.mount_height
        steps = max(1, math.ceil((high - low) / _HEIGHT_STEP_M - 1e-9))
        heights |= {round(low + (high - low) * k / steps, 3) for k in range(steps + 1)}
    return tuple(sorted(heights))


def propose(
    terrain: Terrain,
    heights_m: tuple[float, ...],
    reach_m: float,
    every_m: float = 5.0,
    steepest_percent: float = 100.0,
) -> tuple[Proposal, ...]:
    """Mounts worth judging, apart from each other and from those the site names.

    Parameters
    ----------
    terrain : Terrain
        Its ground has to reach as far as mounts are wanted.
    heights_m : tuple of float
        Above the ground; a mount keeps those at which a unit can hang there.
    reach_m : float
        How far the farthest-reaching unit senses: a mount farther from all protected ground is left out.
    every_m : float
        Spacing along walls and boundaries; no two mounts are nearer than half of it.
    steepest_percent : float
        The steepest ground that a pole is set on.

    Returns
    -------
    tuple of Proposal
        Corners first, then faces of walls, then the boundary, then edges of protected ground; names are
        new ones. The same terrain gives the same mounts.

    Examples
    --------
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Area, Foliage, Ground, Solids
    >>> yard = Area("yard", np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]]))
    >>> ground = Ground(-10.0, -10.0, 1.0, np.zeros((31, 31)))
    >>> site = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), (yard,))
    >>> for found in propose(site, (1.0,), 12.0, every_m=20.0):
    ...     print(f"{found.mount.name} ({found.mount.x:.1f}, {found.mount.y:.1f}): {found.side}")
    yard edge 1 (-0.3, 10.3): north-west
    yard edge 2 (10.3, -0.3): south-east
    """
    wanted = _Wanted(
        terrain, FixingPlaces(terrain, tuple(sorted(heights_m)), reach_m), every_m, steepest_percent
    )
    taken = [np.array([mount.x, mount.y]) for mount in terrain.mounts]
    spots: list[_Spot] = []
    for runs in (_corners(wanted), _faces(wanted), _boundary(wanted), _edges(wanted)):
        for ways in runs:
            kept = _best_way(ways, taken, every_m / 2)
            taken += [spot.at for spot in kept]
            spots += kept
    return _named(spots, {mount.name for mount in terrain.mounts})


def _best_way(ways: _Ways, taken: list[Floats], apart_m: float) -> list[_Spot]:
    """The first way, unless places taken cost it mounts and another keeps more."""
    kept = _apart(ways[0], taken, apart_m)
    if len(kept) == len(ways[0]):
        return kept
    return max([kept, *(_apart(way, taken, apart_m) for way in ways[1:])], key=len)


def _apart(spots: list[_Spot], taken: list[Floats], apart_m: float) -> list[_Spot]:
    """Those that keep their distance from places taken and from each other, the first ones first."""
    kept: list[_Spot] = []
    for spot in spots:
        others = np.array([*taken, *(other.at for other in kept)]).reshape(-1, 2)
        if np.hypot(*(others - spot.at).T).min(initial=np.inf) >= apart_m - 1e-9:
            kept.append(spot)
    return kept


def _named(spots: list[_Spot], used: set[str]) -> tuple[Proposal, ...]:
    """Spots with names of their own: numbered where several share one, in the order they come."""
    alike: dict[str, list[_Spot]] = {}
    for spot in spots:
        alike.setdefault(spot.stem, []).append(spot)
    names: dict[int, str] = {}
    for stem, group in alike.items():
        digits, number = len(str(len(group))), 1
        if group[0].kind == "corner" and len(group) == 1 and stem not in used:
            names[id(group[0])] = stem
            continue
        for spot in group:
            while {f"{stem} {number}", f"{stem} {number:0{digits}d}"} & used:
                number += 1
            names[id(spot)] = f"{stem} {number:0{digits}d}"
            number += 1
    return tuple(
        Proposal(
            Mount(names[id(spot)], float(spot.at[0]), float(spot.at[1]), spot.heights_m),
            spot.kind,
            spot.side,
            spot.of,
            spot.of if spot.kind == "corner" else spot.stem,
        )
        for spot in spots
    )


def _corners(wanted: _Wanted) -> Iterator[_Ways]:
    """Corners of buildings and of walls that stick out."""
    for index, name, plan, rings in _standing(wanted):
        middle = shapely.get_coordinates(shapely.centroid(plan))[0]
        for ring in rings:
            for before, after in zip([ring[-1], *ring[:-1]], ring, strict=True):
                if _is_corner(before, after):
                    outward = before.outward + after.outward
                    point = _compass(after.start - middle)
                    letters = "".join(word[0].upper() for word in point.split("-"))
                    spot = _Spot(f"{name} corner {letters}", "corner", point, name, after.start, ())
                    yield (_fixed(wanted, index, spot, outward / np.hypot(*outward)),)


def _is_corner(before: Side, after: Side) -> bool:
    """Whether two sides that follow each other meet in a corner that sticks out."""
    if min(before.length_m, after.length_m) < SHORTEST_FACE_M:
        return False
    a, b = before.end - before.start, after.end - after.start
    # Clockwise round what stands there, a corner that sticks out turns right.
    return math.degrees(math.atan2(a[1] * b[0] - a[0] * b[1], a @ b)) >= _CORNER_DEG


def _faces(wanted: _Wanted) -> Iterator[_Ways]:
    """Straight faces of walls and buildings."""
    for index, name, _, rings in _standing(wanted):
        is_wall = name.split()[-1].lower() in ("wall", "fence")
        stem = name if is_wall else f"{name} face"
        for side in (side for ring in rings for side in ring if side.length_m >= SHORTEST_FACE_M):
            point = _compass(side.outward)
            # On a thin wall the mounts of one face go between those of the other.
            yield tuple(
                [
                    spot
                    for along in along_side(side.length_m, wanted.every_m, is_between)
                    for spot in _fixed(
                        wanted, index, _Spot(stem, "wall", point, name, side.at(along), ()), side.outward
                    )
                ]
                for is_between in (False, True)
            )


def along_side(length_m: float, every_m: float, is_between: bool) -> list[float]:
    """Where along a side mounts stand, at equal steps no shorter than the spacing.

    >>> along_side(10.0, 4.0, False), along_side(10.0, 4.0, True)
    ([2.5, 7.5], [0.3, 5.0, 9.7])
    """
    count = max(1, math.floor(length_m / every_m))
    step = length_m / count
    if not is_between:
        return [step * (k + 0.5) for k in range(count)]
    aside = POLE_ASIDE_M
    return [min(max(step * k, aside), length_m - aside) for k in range(count + 1)]


def _standing(wanted: _Wanted) -> Iterator[tuple[int, str, Any, list[list[Side]]]]:
    """Each solid that a unit can be fixed to: its index, name, plan and sides."""
    names = wanted.terrain.solids.names
    for index, (name, plan) in enumerate(zip(names, wanted.fixing[0], strict=True)):
        if not plan.is_empty:
            yield index, name[:_LONGEST_NAME], plan, sides(plan, index in wanted.terrain.solids.surveyed)


def _fixed(wanted: _Wanted, index: int, spot: _Spot, outward: Floats) -> list[_Spot]:
    """The spot moved to where a line outward leaves its solid; none where no unit can hang there."""
    across = shapely.LineString([spot.at - _BEHIND_M * outward, spot.at + _BEFORE_M * outward])
    inside = shapely.intersection(wanted.fixing[0][index], across)
    if inside.is_empty:
        return []
    leaving = max(shapely.get_coordinates(inside), key=lambda point: float((point - spot.at) @ outward))
    place = shapely.Point(leaving)
    pairs = zip(wanted.free.heights_m, wanted.fixing, strict=True)
    holding = [height for height, plans in pairs if shapely.distance(plans[index], place) < _SAME_FACE_M]
    for moved in np.arange(0.0, _MOVED_OUT_M + 1e-9, 0.05):
        at = leaving + (STANDOFF_M + moved) * outward
        free = wanted.free.heights_at(at)
        if heights := tuple(height for height in holding if height in free):
            return [replace(spot, at=at, heights_m=heights)]
    return []


def _boundary(wanted: _Wanted) -> Iterator[_Ways]:
    """Poles just inside the boundary of the site's own land."""
    if wanted.terrain.boundary is None:
        return
    own = shapely.Polygon(wanted.terrain.boundary)
    for part in shapely.get_parts(shapely.buffer(own, -POLE_ASIDE_M, join_style="mitre")):
        if not part.is_empty:
            yield (_poles(wanted, part, "boundary", "boundary", ""),)


def _edges(wanted: _Wanted) -> Iterator[_Ways]:
    """Poles just outside protected ground, where they stand on no other protected ground."""
    areas = wanted.terrain.protect
    plans = [shapely.Polygon(area.outline) for area in areas]
    for area, own in zip(areas, plans, strict=True):
        name = area.name[:_LONGEST_NAME]
        others = shapely.union_all([plan for plan in plans if plan is not own])
        around = shapely.buffer(own, POLE_ASIDE_M, join_style="mitre")
        spots = _poles(wanted, around, f"{name} edge", "edge", name)
        yield ([spot for spot in spots if not shapely.contains_xy(others, *spot.at)],)


def _poles(wanted: _Wanted, around: Any, stem: str, kind: Kind, of: str) -> list[_Spot]:
    """Poles along a ring, from its northernmost corner clockwise at equal steps."""
    corners = shapely.get_coordinates(around.normalize().exterior)[:-1]
    first = int(np.lexsort((corners[:, 0], -corners[:, 1]))[0])
    corners = np.roll(corners, -first, axis=0)
    ring = shapely.LineString(np.vstack([corners, corners[:1]]))
    count = max(1, math.floor(ring.length / wanted.every_m))
    along = ring.length / count * np.arange(count)
    middle = shapely.get_coordinates(shapely.centroid(around))[0]
    spots = []
    for at in shapely.get_coordinates(shapely.line_interpolate_point(ring, along)):
        if heights := wanted.pole_heights(at):
            spots.append(_Spot(stem, kind, _compass(at - middle), of, at, heights))
    return spots


def _compass(towards: Floats) -> str:
    """The compass point of a direction (east, north), of eight.

    >>> _compass(np.array([1.0, 1.0])), _compass(np.array([-0.1, -1.0]))
    ('north-east', 'south')
    """
    return compass_point(math.degrees(math.atan2(towards[0], towards[1])))

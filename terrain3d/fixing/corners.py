"""Corners and ends of what is drawn: places that somebody can find where no mark is, and what a unit sees of
them."""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike

from terrain3d.fixing.places import Known
from terrain3d.nuisance.sight_lines import follow
from terrain3d.survey.solids import footprints
from terrain3d.terrain import SURVEYED_LEAVES, Foliage, Ground, Terrain
from terrain3d.units import Floats, compass_point, direction

#: Two corners nearer than this are one end, as of a wall; a thing no wider is a post: metres.
_ONE_M = 0.6
#: What turns by less than this is no corner that anybody would point at, degrees.
_LEAST_TURN_DEG = 30.0
#: A drawn outline may wander this far off a straight line, metres.
_STRAIGHT_M = 0.05
#: How well the end of a hedge is known: leaves have no edge (common practice, no source).
_LEAVES_VAGUE_M = 0.4
#: A hedge is so many times longer than wide, and fills so much of the box about it.
_LONG, _FILLED = 2.0, 0.7
#: A place is looked at this far outside of it, or it would hide itself; and so near it is seen: metres.
_OUTSIDE_M, _SEEN_WITHIN_M = 0.15, 0.5
#: Heights above the ground at which a place is looked for, metres; those up to its own top.
_LOOKED_FOR_M = (0.2, 0.6, 1.0, 1.4, 1.7, 2.4, 3.2)


def corner_places(terrain: Terrain) -> tuple[Known, ...]:
    """Corners and ends of the solids and hedges that are drawn, each with what it is called by.

    Those of one thing that would be called alike are left out, and so is what a survey shows: it has but a
    number for a name.

    Examples
    --------
    >>> from terrain3d.survey.solids import block
    >>> from terrain3d.terrain import terrain_from_heights
    >>> barn = block(np.array([[0, 4], [9, 4], [9, 7], [0, 7]]), 3.0, 0.0, lambda x, y: 0 * x, "barn", 0.5)
    >>> found = corner_places(terrain_from_heights(np.zeros((41, 41)), 0.5, solids=barn))
    >>> sorted((place.part, place.x, place.y) for place in found)[:2]
    [('north-east corner', 9.0, 7.0), ('north-west corner', 0.0, 7.0)]
    """
    solids, ground = terrain.solids, terrain.ground
    found: list[Known] = []
    for place, plan in enumerate(footprints(solids)):
        if place in solids.surveyed or plan.geom_type != "Polygon" or plan.is_empty:
            continue
        corners = solids.vertices[solids.triangles[solids.owners == place].ravel()]
        for x, y, part, outward in _called_apart(_corners(plan)):
            near = np.hypot(corners[:, 0] - x, corners[:, 1] - y)
            top_z = float(corners[near <= near.min() + _ONE_M, 2].max())
            found.append(_known(solids.names[place], x, y, part, outward, top_z, 0.1, ground))
    return (*found, *_hedge_ends(terrain.foliage, ground))


def seen_from(
    terrain: Terrain, eye: tuple[float, float, float], places: Sequence[Known]
) -> tuple[Known, ...]:
    """Those places of which anything is seen from an eye, local metres; of unknown ground all.

    Examples
    --------
    From south of a barn its northern corners are hidden.

    >>> from terrain3d.survey.solids import block
    >>> from terrain3d.terrain import terrain_from_heights
    >>> barn = block(np.array([[0, 4], [9, 4], [9, 7], [0, 7]]), 3.0, 0.0, lambda x, y: 0 * x, "barn", 0.5)
    >>> site = terrain_from_heights(np.zeros((41, 41)), 0.5, solids=barn)
    >>> sorted(place.part for place in seen_from(site, (4.0, 0.0, 1.0), corner_places(site)))
    ['south-east corner', 'south-west corner']
    """
    return tuple(place for place in places if _is_seen(terrain, eye, place))


def _is_seen(terrain: Terrain, eye: tuple[float, float, float], place: Known) -> bool:
    x, y = place.x, place.y
    if place.outward_deg is not None:
        east, north = direction(place.outward_deg)
        x, y = x + (place.vague_m + _OUTSIDE_M) * east, y + (place.vague_m + _OUTSIDE_M) * north
    foot = float(terrain.ground.height_at(x, y))
    if math.isnan(foot):
        return math.isnan(place.ground_z)
    heights = [height for height in _LOOKED_FOR_M if height <= place.top_m] or [place.top_m / 2]
    ends = np.array([(x, y, foot + height) for height in heights]) - np.array(eye)
    away = np.linalg.norm(ends, axis=1)
    if away.min() < _SEEN_WITHIN_M:
        return True
    end_m, _, _ = follow(terrain, eye, ends / away[:, None], float(away.max()))
    return bool((end_m >= away - _SEEN_WITHIN_M).any())


#: A place in plan, what it is called, and where it points away from the thing.
_Corner = tuple[float, float, str, float | None]


def _known(
    name: str, x: float, y: float, part: str, outward: float | None, top_z: float, vague_m: float,
    ground: Ground,
) -> Known:  # fmt: skip
    ground_z = float(ground.height_at(x, y))
    top_m = 1.0 if math.isnan(ground_z) else max(top_z - ground_z, 0.1)
    return Known(name, x, y, ground_z, part, vague_m, top_m, outward)


def _called_apart(corners: Iterable[_Corner]) -> list[_Corner]:
    """Without those that are called as another is: nobody could tell them apart."""
    kept = list(corners)
    counts = Counter(part for _, _, part, _ in kept)
    return [corner for corner in kept if counts[corner[2]] == 1]


def _corners(plan: shapely.Polygon) -> Iterator[_Corner]:
    """The corners of a plan; two close by are the end of a wall, a thing without width is itself one."""
    if math.dist(plan.bounds[:2], plan.bounds[2:]) < _ONE_M:
        yield plan.centroid.x, plan.centroid.y, "", None
        return
    outline = shapely.orient_polygons(plan.simplify(_STRAIGHT_M))
    ring = shapely.get_coordinates(outline.exterior)[:-1]
    there = np.roll(ring, -1, axis=0) - ring
    lengths = np.hypot(*there.T)
    there /= lengths[:, None]
    here = np.roll(there, 1, axis=0)
    turns = np.degrees(np.arctan2(here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0], (here * there).sum(1)))
    is_corner = turns >= _LEAST_TURN_DEG
    following = np.roll(is_corner, -1)
    is_end = is_corner & following & (lengths < _ONE_M)
    for k in np.flatnonzero(is_end):
        x, y = (ring[k] + ring[(k + 1) % len(ring)]) / 2
        yield _pointing((x, y), (there[k, 1], -there[k, 0]), "end")
    for k in np.flatnonzero(is_corner & ~is_end & ~np.roll(is_end, 1)):
        yield _pointing(ring[k], here[k] - there[k], "corner")


def _pointing(at: ArrayLike, away: ArrayLike, kind: str) -> _Corner:
    x, y = np.asarray(at, float).tolist()
    east, north = np.asarray(away, float).tolist()
    outward = math.degrees(math.atan2(east, north)) % 360
    return x, y, f"{compass_point(outward)} {kind}", outward


def _hedge_ends(foliage: Foliage, ground: Ground) -> Iterator[Known]:
    """The two ends of each drawn hedge that is long and straight."""
    for name in dict.fromkeys(foliage.names):
        if name == SURVEYED_LEAVES:
            continue
        rows, columns = np.nonzero(foliage.columns_of(name))
        if len(rows) < 2:
            continue
        x, y = foliage.x0 + foliage.cell_m * columns, foliage.y0 + foliage.cell_m * rows
        box = shapely.MultiPoint(np.column_stack([x, y])).minimum_rotated_rectangle
        box = box.buffer(foliage.cell_m / 2, cap_style="square", join_style="mitre")
        sides = shapely.get_coordinates(box.exterior if box.geom_type == "Polygon" else box)
        lengths = np.hypot(*np.diff(sides, axis=0).T)
        if len(lengths) != 4 or lengths.max() < _LONG * lengths.min():
            continue
        if len(rows) * foliage.cell_m**2 < _FILLED * lengths[0] * lengths[1]:
            continue
        stored = foliage.column[rows, columns]
        top_z = foliage.base_z[stored] + foliage.step_m * (foliage.above.shape[1] - 1)
        middle = sides[:-1].mean(axis=0)
        short = int(lengths.argmin())
        ends = [_middle_of(sides, short), _middle_of(sides, (short + 2) % 4)]
        named = [_pointing(end, end - middle, "end") for end in ends]
        for east, north, part, outward in _called_apart(named):
            near = int(np.hypot(x - east, y - north).argmin())
            yield _known(name, east, north, part, outward, float(top_z[near]), _LEAVES_VAGUE_M, ground)


def _middle_of(ring: Floats, side: int) -> Floats:
    return np.asarray((ring[side] + ring[side + 1]) / 2)

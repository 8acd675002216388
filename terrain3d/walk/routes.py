"""Open routes: how whoever knows the layout would come in, from the edge of the site to what is protected.

Two answers for each protected area. The walk least likely to raise an alarm: `walk.chance` tells the pulses
to be expected of every metre in every direction, and pulses add up along a walk, so the cheapest path is
the least likely one; its chance is that of so many pulses when edges come at random at that rate, and
`walk.pulses` counts along it with the zones exactly as they are set. And the clear route, which never
touches ground held by both layers, as far from it as can be.

A body is as wide as it is: it touches held ground when that lies within half its breadth of its middle.
What the chance leaves out: the time within which an alarm's pulses must fall, so where more than one pulse
is needed it is too high rather than too low; and that several units count apart from each other.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.ndimage import distance_transform_edt, maximum_filter
from scipy.special import gammainc

from terrain3d.cover.areas import cells_within
from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.option import verdict_map
from terrain3d.cover.verdict import Codes, Verdict, combined
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import Panorama
from terrain3d.terrain import Approach, Area, Terrain, Walk
from terrain3d.units import Floats
from terrain3d.walk.bodies import body_of
from terrain3d.walk.chance import option_pulses_needed, step_pulses
from terrain3d.walk.found import (
    ClearRoute,
    Crossing,
    LeastLikely,
    clear_words,
    inner_words,
    likely_words,
)
from terrain3d.walk.ground import cells_on, firm_ground, open_ways, rim
from terrain3d.walk.paths import (
    Explored,
    Mask,
    Path,
    explored,
    least_exposed,
    path_to,
    step_bearings,
    widest_berth,
)
from terrain3d.walk.pulses import try_walk

#: Directions of a step: with straight lines pulled, the cost of a turning path is within 0.2 % of the true.
DIRECTIONS = 16
#: How fast a route is walked, metres a second: the usual walk test.
SPEED_MPS = 1.0
#: A metre more is walked where it saves this many pulses: less is the grid's noise, and no walk people take.
DETOUR_PER_M = 0.01
#: Step in which the chance along a walk is told, metres.
_CHANCE_STEP_M = 0.1
EDGE = "the edge of the known ground"


@dataclass(frozen=True, eq=False)
class OpenRoutes:
    """The ways to one protected area; all are None where nobody can walk there.

    Parameters
    ----------
    area : str
    start : str
        Where the least likely walk starts: an approach, or a side of the known ground.
    least : LeastLikely or None
        To the area's edge.
    inner : LeastLikely or None
        To the ground farthest within it that can be walked to.
    clear : ClearRoute or None
    crossing : Crossing or None
        Where no route is clear.
    words : str
    """

    area: str
    start: str
    least: LeastLikely | None
    inner: LeastLikely | None
    clear: ClearRoute | None
    crossing: Crossing | None
    words: str


def open_routes(
    terrain: Terrain,
    units: tuple[Detector, ...],
    views: tuple[Panorama, ...],
    combine: str,
    figure: Figure,
    steepest_percent: float = 100.0,
) -> tuple[OpenRoutes, ...]:
    """The ways to each protected area, from the drawn approaches or else the edge of the known ground.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
    views : tuple of Panorama
        What each unit sees, in the same order, to its maximum range.
    combine : {"any", "all"}
    figure : Figure
        Who walks.
    steepest_percent : float
        Rise or fall that they walk.

    Examples
    --------
    One unit looks north over level ground; a yard lies at its back, so the south is open.

    >>> from pathlib import Path as File
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.sight.panorama import panorama
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> ground = Ground(-15.0, -15.0, 0.5, np.zeros((61, 61)))
    >>> yard = Area("yard", np.array([[-2.0, -4.0], [2.0, -4.0], [2.0, -1.0], [-2.0, -1.0]]))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), (yard,))
    >>> unit = Detector("D1", load_type("one-head-90", File()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> view = panorama(flat, unit.eye, 12.0)
    >>> (routes,) = open_routes(flat, (unit,), (view,), "any", Figure("person", 1.7, "invented"))
    >>> routes.least.chance, routes.least.length_m, routes.clear.berth_m > 1
    (0.0, 11.0, True)
    """
    ways = _ways_of(terrain, figure, steepest_percent)
    starts = _starts(terrain)
    room, touched = room_to_held(
        held_ground(terrain, units, views, combine, figure) == Verdict.BOTH, terrain.ground.cell_m, figure
    )
    rates = touching_pulses(terrain, units, views, combine, figure)
    cell = terrain.ground.cell_m
    likely = explored(np.where(ways, rates + DETOUR_PER_M, np.inf), np.any(ways, axis=0), cell, starts)
    clear = explored(np.where(ways & ~touched, 0.0, np.inf), ~touched, cell, starts)
    site = _Searched(terrain, units, combine, figure, ways, starts, room, touched, rates, likely, clear)
    return tuple(_to_area(site, area) for area in terrain.protect)


@lru_cache(maxsize=2)
def _ways_of(terrain: Terrain, figure: Figure, steepest_percent: float) -> Mask:
    """Which way each cell can be walked over: remembered, as it is the same for every option of a site."""
    ways = open_ways(terrain, figure, steepest_percent, step_bearings(DIRECTIONS))
    ways.flags.writeable = False
    return ways


def held_ground(
    terrain: Terrain,
    units: tuple[Detector, ...],
    views: tuple[Panorama, ...],
    combine: str,
    figure: Figure,
) -> Codes:
    """(ny, nx) verdicts of an option for a figure that may be another than the site's."""
    maps = []
    for unit, seen in zip(units, views, strict=True):
        codes = verdict_codes(
            seen, head_table(unit.type, unit.pan_deg), unit.bearing_deg, unit.tilt_deg, unit.roll_deg,
            unit.range_m, figure.height_m, unit.fill_needed,
        )  # fmt: skip
        maps.append(verdict_map(terrain.ground, seen, codes))
    return combined(maps, combine)


def room_to_held(held: Mask, cell_m: float, figure: Figure) -> tuple[Floats, Mask]:
    """How far each cell's middle lies from held ground, and where a body there touches it.

    Parameters
    ----------
    held : (ny, nx) bool
    cell_m : float
    figure : Figure

    Returns
    -------
    room_m : (ny, nx) float
        To the nearest edge of a held cell, as near as a grid tells it: within 0.2 of a cell. Infinite
        where nothing is held.
    touched : (ny, nx) bool

    Examples
    --------
    >>> person = Figure("person", 1.7, "invented")           # 0.48 m broad
    >>> room, touched = room_to_held(np.arange(5)[None, :] == 0, 0.25, person)
    >>> room[0, 1:], touched[0]
    (array([0.125, 0.375, 0.625, 0.875]), array([ True,  True, False, False, False]))
    """
    if not held.any():
        return np.full(held.shape, np.inf), np.zeros(held.shape, bool)
    room = (distance_transform_edt(~held) - 0.5) * cell_m
    return room, room < body_of(figure).breadth_m / 2


def touching_pulses(
    terrain: Terrain,
    units: tuple[Detector, ...],
    views: tuple[Panorama, ...],
    combine: str,
    figure: Figure,
) -> Floats:
    """(k, ny, nx) pulses per metre in each of `DIRECTIONS`, where only a side of the body is held too.

    There the most of the held cells that it touches is taken.
    """
    reach = body_of(figure).breadth_m / 2 / terrain.ground.cell_m + 0.5
    span = np.arange(-int(reach), int(reach) + 1)
    touching = (np.hypot(*np.meshgrid(span, span)) < reach)[None]
    combined_by = np.minimum if combine == "all" else np.maximum
    whole = []
    for unit, seen in zip(units, views, strict=True):
        rates = step_pulses(terrain, (unit,), (seen,), "any", figure, step_bearings(DIRECTIONS))
        beside = maximum_filter(rates, footprint=touching)
        whole.append(np.where(rates.any(axis=0), rates, beside))
    return np.asarray(combined_by.reduce(whole))


@dataclass(frozen=True, eq=False)
class _Searched:
    """What the routes to all areas start from."""

    terrain: Terrain
    units: tuple[Detector, ...]
    combine: str
    figure: Figure
    ways: Mask
    starts: Mask
    room: Floats
    touched: Mask
    rates: Floats
    likely: Explored
    clear: Explored

    def local(self, line: Floats) -> Floats:
        """A line of the grid in the site's local metres."""
        return np.asarray(line + np.array([self.terrain.ground.x0, self.terrain.ground.y0]))


def _starts(terrain: Terrain) -> Mask:
    if not terrain.approaches:
        return rim(firm_ground(terrain.ground))
    lines = [cells_on(terrain.ground, approach.line) for approach in terrain.approaches]
    return np.asarray(np.any(lines, axis=0))


def _to_area(site: _Searched, area: Area) -> OpenRoutes:
    goals = cells_within(site.terrain.ground, area)
    path = path_to(site.likely, goals)
    if path is None:
        where = "the drawn approaches" if site.terrain.approaches else EDGE
        why = (
            "no ground of it is known" if not goals.any() else f"no walkable ground leads there from {where}"
        )
        return OpenRoutes(area.name, where, None, None, None, None, f"Nobody walks to {area.name}: {why}.")
    depth = _depth(goals) * site.terrain.ground.cell_m
    inner = path_to(site.likely, depth == depth[np.isfinite(site.likely.total)].max())
    assert inner is not None
    least, to_inner = _least_likely(site, area, path), _least_likely(site, area, inner)
    clear = _clear(site, goals, depth)
    crossing = None if clear else _crossing(site, goals)
    start = start_words(site.terrain.approaches, area, least.line[0])
    words = " ".join(
        [
            likely_words(area.name, start, least),
            inner_words(to_inner),
            clear_words(clear, crossing),
        ]
    )
    return OpenRoutes(area.name, start, least, to_inner, clear, crossing, words)


def _depth(goals: Mask) -> Floats:
    """How many cells deep each lies within an area; 0 outside it."""
    depth = distance_transform_edt(np.pad(goals, 1))[1:-1, 1:-1] - 0.5
    return np.asarray(np.maximum(depth, 0.0))


def _least_likely(site: _Searched, area: Area, path: Path) -> LeastLikely:
    line = site.local(path.line)
    needed = option_pulses_needed(site.units, site.combine)
    along, pulses = _pulses_along(site, path.line)
    walk = Walk(f"to {area.name}", line if len(line) > 1 else np.repeat(line, 2, axis=0), SPEED_MPS)
    return LeastLikely(
        line,
        path.length_m,
        path.length_m / SPEED_MPS,
        float(pulses[-1]),
        chance_of(float(pulses[-1]), needed),
        along,
        np.asarray(gammainc(needed, pulses)),
        try_walk(site.terrain, site.units, site.combine, walk, site.figure),
    )


def chance_of(pulses: float, needed: int) -> float:
    """Chance of so many pulses at least, where they come at random and so many are to be expected.

    The tail of a Poisson count; it rises with the pulses, so the walk with the fewest is the least likely.

    >>> chance_of(0.0, 1), round(chance_of(1.0, 1), 4), round(chance_of(1.0, 3), 4)
    (0.0, 0.6321, 0.0803)
    """
    return float(gammainc(needed, pulses))


def _pulses_along(site: _Searched, line: Floats) -> tuple[Floats, Floats]:
    """Distances along a line of the grid, and the pulses to be expected up to there."""
    bearings = step_bearings(DIRECTIONS)
    cell = site.terrain.ground.cell_m
    lengths, rates = [np.zeros(1)], []
    for a, b in pairwise(line):
        east, north = b - a
        length = float(np.hypot(east, north))
        count = max(int(np.ceil(length / _CHANCE_STEP_M)), 1)
        at = a + (np.arange(count) + 0.5)[:, None] / count * (b - a)
        i, j = np.rint(at / cell).astype(int).T
        bearing = np.degrees(np.arctan2(east, north)) % 360
        left = int(np.searchsorted(bearings, bearing + 1e-9)) - 1
        right = (left + 1) % DIRECTIONS
        share = (bearing - bearings[left]) / ((bearings[right] - bearings[left]) % 360)
        rates.append((1 - share) * site.rates[left, j, i] + share * site.rates[right, j, i])
        lengths.append(np.full(count, length / count))
    steps_m = np.concatenate(lengths)
    return np.cumsum(steps_m), np.cumsum(np.concatenate([[0.0], *rates]) * steps_m)


def _clear(site: _Searched, goals: Mask, depth_m: Floats) -> ClearRoute | None:
    shortest = path_to(site.clear, goals)
    if shortest is None:
        return None
    widest, berth = shortest, None
    if site.touched.any():
        cell = site.terrain.ground.cell_m
        berth = widest_berth(site.room, site.ways & ~site.touched, site.starts, goals)
        assert berth is not None
        roomy = site.room >= berth
        found = least_exposed(np.where(site.ways, 0.0, np.inf), roomy, cell, site.starts, goals)
        assert found is not None
        widest = found
    into = float(depth_m[np.isfinite(site.clear.total)].max())
    return ClearRoute(
        site.local(widest.line), widest.length_m, berth, site.local(shortest.line), shortest.length_m, into
    )


def _crossing(site: _Searched, goals: Mask) -> Crossing | None:
    cell = site.terrain.ground.cell_m
    cost = np.where(site.ways, site.touched.astype(float), np.inf)
    path = least_exposed(cost, np.any(site.ways, axis=0), cell, site.starts, goals)
    assert path is not None
    first = _first_touch(site.touched, path.line, cell)
    # How far each cell lies from the area, edge to edge.
    away = np.maximum(distance_transform_edt(~goals) - 1.0, 0.0) * cell
    followed = np.isfinite(site.clear.total)
    unseen = float(away[followed].min()) if followed.any() else float(away[site.starts].min())
    x, y = site.local(first)
    return Crossing(site.local(path.line), path.length_m, path.cost, (float(x), float(y)), unseen)


def _first_touch(touched: Mask, line: Floats, cell_m: float) -> Floats:
    """Where a line of the grid first touches held ground."""
    for a, b in pairwise(line):
        count = max(int(np.ceil(float(np.hypot(*(b - a))) / (cell_m / 10))), 1)
        at = a + np.arange(count + 1)[:, None] / count * (b - a)
        i, j = np.rint(at / cell_m).astype(int).T
        on = np.flatnonzero(touched[j, i])
        if on.size:
            return np.asarray(at[on[0]])
    return np.asarray(line[0])


def start_words(approaches: tuple[Approach, ...], area: Area, start: Floats) -> str:
    """Where a route starts: the approach it starts on, or the side of the known ground."""
    if approaches:
        return min(approaches, key=lambda approach: _distance(approach.line, start)).name
    east, north = start - area.outline.mean(axis=0)
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    side = names[round(float(np.degrees(np.arctan2(east, north))) / 45) % 8]
    return f"the {side} edge of the known ground"


def _distance(line: Floats, point: Floats) -> float:
    """Plan distance from a point to a line."""
    least = np.inf
    for a, b in pairwise(line):
        square = float((b - a) @ (b - a))
        share = 0.0 if square == 0 else min(max(float((point - a) @ (b - a)) / square, 0.0), 1.0)
        least = min(least, float(np.hypot(*(a + share * (b - a) - point))))
    return least

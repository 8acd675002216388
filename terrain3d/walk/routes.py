"""Open routes: how whoever knows the layout would come in, from the edge of the site to what is protected.

Two answers for each protected area. The walk least likely to raise an alarm: `walk.chance` tells the pulses
to be expected of every metre in every direction, they add up along a walk, and its chance is that of so many
when edges come at random at that rate; so the walk with the fewest is the least likely one. No price is put
on its length: of walks whose chances are alike to a thousandth the shorter is taken, and where a much shorter
one has another chance, it is told beside it as what it is. `walk.pulses` counts along both with the zones
exactly as they are set. And the clear route, which never touches ground held by both layers, as far from it
as can be.

A body is as wide as it is: it touches held ground when that lies within half its breadth of its middle.
What the chance leaves out: the time within which an alarm's pulses must fall, so where more than one pulse
is needed it is too high rather than too low; and that several units count apart from each other.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.sparse import csr_array

from terrain3d.cover.areas import cells_within
from terrain3d.cover.option import OptionResult, option_verdicts
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure
from terrain3d.terrain import Approach, Area, Terrain, Walk
from terrain3d.units import Floats, compass_point
from terrain3d.walk.bodies import body_of
from terrain3d.walk.chance import (
    SPEED_MPS,
    chance_of,
    option_pulses_needed,
    pulse_field,
    pulses_of_chance,
    touched,
)
from terrain3d.walk.ground import cells_on, firm_ground, open_ways, rim
from terrain3d.walk.least import LeastWays, Way, least_ways
from terrain3d.walk.lines import pulses_along
from terrain3d.walk.network import Network, network
from terrain3d.walk.paths import (
    Explored,
    Mask,
    explored,
    least_exposed,
    open_steps,
    path_to,
    step_bearings,
    widest_berth,
)
from terrain3d.walk.pulses import try_walk
from terrain3d.walk.ways_in import (
    ALIKE,
    ClearRoute,
    Crossing,
    Start,
    WayIn,
    much_shorter_m,
)

#: Directions of a step in the open: with straight lines pulled, a turning path is within 0.2 % of the true.
DIRECTIONS = 16


@dataclass(frozen=True, eq=False)
class OpenRoutes:
    """The ways to one protected area; all are None where nobody can walk there.

    Parameters
    ----------
    area : str
    start : Start
        Of the least likely walk.
    least : WayIn or None
        Least likely to raise the alarm, to the area's edge; of walks alike to a thousandth the shortest.
    shorter : WayIn or None
        Least likely of all that are much shorter, where there are such.
    inner, inner_shorter : WayIn or None
        The same to the ground farthest within it that can be walked to.
    clear : ClearRoute or None
    crossing : Crossing or None
        Where no route is clear.
    is_known : bool
        Whether any ground of the area is known.
    """

    area: str
    start: Start
    least: WayIn | None
    shorter: WayIn | None
    inner: WayIn | None
    inner_shorter: WayIn | None
    clear: ClearRoute | None
    crossing: Crossing | None
    is_known: bool


def open_routes(
    terrain: Terrain, option: OptionResult, figure: Figure, steepest_percent: float = 100.0
) -> tuple[OpenRoutes, ...]:
    """The ways to each protected area, from the drawn approaches or else the edge of the known ground.

    Parameters
    ----------
    terrain : Terrain
    option : OptionResult
    figure : Figure
        Who walks.
    steepest_percent : float
        Rise or fall that they walk.

    Examples
    --------
    One unit looks north over level ground; a yard lies at its back, so the south is open.

    >>> from pathlib import Path as File
    >>> from terrain3d.cover.option import judge_option
    >>> from terrain3d.cover.sighted import sighted
    >>> from terrain3d.detector.pose import Detector
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> yard = Area("yard", np.array([[-2.0, -4.0], [2.0, -4.0], [2.0, -1.0], [-2.0, -1.0]]))
    >>> flat = terrain_from_heights(np.zeros((61, 61)), 0.5, protect=(yard,))
    >>> unit = Detector("D1", load_type("one-head-90", File()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> option = judge_option(flat, "pole", (sighted(flat, unit),), "any", 1.7)
    >>> (routes,) = open_routes(flat, option, Figure("person", 1.7, "invented"))
    >>> routes.least.chance, routes.least.length_m, routes.clear.berth_m > 1
    (0.0, 11.0, True)
    """
    walked = _walked(terrain, figure, steepest_percent)
    held = option_verdicts(terrain.ground, option, figure.height_m) == Verdict.BOTH
    room, hit = room_to_held(held, terrain.ground.cell_m, figure)
    ways, starts = walked.ways, walked.starts
    field = touched(pulse_field(terrain.ground, option, figure))
    clear = explored(np.where(ways & ~hit, 0.0, np.inf), ~hit, terrain.ground.cell_m, starts)
    likely = network(field, ways, walked.lengths, starts)
    site = _Searched(terrain, option, figure, ways, starts, room, hit, likely, clear)
    return tuple(_to_area(site, area) for area in terrain.protect)


@dataclass(frozen=True, eq=False)
class _Walked:
    """Which way each cell can be walked over, the steps between them, and where a walk starts."""

    ways: Mask
    lengths: csr_array
    starts: Mask


@lru_cache(maxsize=2)
def _walked(terrain: Terrain, figure: Figure, steepest_percent: float) -> _Walked:
    """Where a figure walks: remembered, as it is the same for every option of a site."""
    ways = open_ways(terrain, figure, steepest_percent, step_bearings(DIRECTIONS))
    ways.flags.writeable = False
    return _Walked(ways, open_steps(ways, terrain.ground.cell_m), _starts(terrain))


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


@dataclass(frozen=True, eq=False)
class _Searched:
    """What the routes to all areas start from."""

    terrain: Terrain
    option: OptionResult
    figure: Figure
    ways: Mask
    starts: Mask
    room: Floats
    touched: Mask
    likely: Network
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
    found = _least_ways(site, goals)
    if found is None:
        anywhere = Start(bool(site.terrain.approaches))
        return OpenRoutes(area.name, anywhere, None, None, None, None, None, None, bool(goals.any()))
    depth = _depth(goals) * site.terrain.ground.cell_m
    followed = np.isfinite(site.likely.least.total).reshape(depth.shape)
    within = _least_ways(site, depth == depth[followed].max())
    assert within is not None
    least, shorter = _ways_in(site, area, found)
    inner, inner_shorter = _ways_in(site, area, within)
    clear = _clear(site, goals, depth)
    crossing = None if clear else _crossing(site, goals)
    return OpenRoutes(area.name, least.start, least, shorter, inner, inner_shorter, clear, crossing, True)


def _least_ways(site: _Searched, goals: Mask) -> LeastWays | None:
    needed = option_pulses_needed(site.option)

    def alike(pulses: float) -> float:
        return pulses_of_chance(float(chance_of(pulses, needed)) + ALIKE, needed)

    return least_ways(site.likely, goals, alike, much_shorter_m)


def _depth(goals: Mask) -> Floats:
    """How many cells deep each lies within an area; 0 outside it."""
    depth = distance_transform_edt(np.pad(goals, 1))[1:-1, 1:-1] - 0.5
    return np.asarray(np.maximum(depth, 0.0))


def _ways_in(site: _Searched, area: Area, found: LeastWays) -> tuple[WayIn, WayIn | None]:
    shorter = None if found.shorter is None else _way_in(site, area, found.shorter)
    return _way_in(site, area, found.least), shorter


def _way_in(site: _Searched, area: Area, way: Way) -> WayIn:
    line = site.local(np.asarray(way.corners * site.terrain.ground.cell_m, float))
    along, pulses = pulses_along(site.likely.lines.field, way.corners)
    chance = chance_of(pulses, option_pulses_needed(site.option))
    walk = Walk(f"to {area.name}", line if len(line) > 1 else np.repeat(line, 2, axis=0), SPEED_MPS)
    return WayIn(
        _start(site.terrain.approaches, area, line[0]),
        line,
        way.length_m,
        way.length_m / SPEED_MPS,
        way.pulses,
        float(chance[-1]),
        along,
        chance,
        try_walk(site.terrain, site.option.detectors, site.option.combine, walk, site.figure),
    )


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


def _start(approaches: tuple[Approach, ...], area: Area, start: Floats) -> Start:
    """Where a route starts: the approach it starts on, or the side of the known ground."""
    if approaches:
        return Start(True, min(approaches, key=lambda approach: _distance(approach.line, start)).name)
    east, north = start - area.outline.mean(axis=0)
    return Start(False, compass_point(float(np.degrees(np.arctan2(east, north)))))


def _distance(line: Floats, point: Floats) -> float:
    """Plan distance from a point to a line."""
    least = np.inf
    for a, b in pairwise(line):
        square = float((b - a) @ (b - a))
        share = 0.0 if square == 0 else min(max(float((point - a) @ (b - a)) / square, 0.0), 1.0)
        least = min(least, float(np.hypot(*(a + share * (b - a) - point))))
    return least

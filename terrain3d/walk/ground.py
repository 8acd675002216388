"""Where a person can walk: known ground, clear of solids at body height, no steeper than they climb.

Foliage never stops a walk: whoever means to come in unseen pushes through a hedge. What nobody gets
through has to be drawn as a solid. Nobody climbs a solid or crawls under one either: it stops a walk
where it fills any of the height between a step up and the figure's head.
"""

import math

import numpy as np
import shapely
from numba import njit
from scipy.ndimage import binary_dilation, label

from terrain3d.detector.figures import Figure
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.units import Floats, direction
from terrain3d.walk.bodies import body_of
from terrain3d.walk.paths import Mask

#: What a person steps over or up on without climbing, metres (from memory: a high step of a stair twice).
STEP_UP_M = 0.3
#: Over which a rise is measured: a long step, so that a kerb is no cliff (from memory: 0.42 of stature).
STRIDE_M = 0.75
#: A direction that leads less than this aside is along the grid: rounding alone brings as much.
_STRAIGHT = 1e-9


def open_ways(terrain: Terrain, figure: Figure, steepest_percent: float, bearings_deg: Floats) -> Mask:
    """Which way each cell can be walked over.

    Parameters
    ----------
    terrain : Terrain
    figure : Figure
        Whoever walks.
    steepest_percent : float
        Rise or fall over a stride, in percent, that they still walk.
    bearings_deg : (k,) float
        Directions, clockwise from north.

    Returns
    -------
    (k, ny, nx) bool

    Examples
    --------
    A bank of 120 % stops who goes straight up, not who goes along it:

    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage
    >>> bank = Ground(0.0, 0.0, 0.5, 0.6 * np.add.outer(np.arange(9.0), np.zeros(9)))
    >>> site = Terrain(site_frame(None, 0, 0), bank, Solids.none(), Foliage.none(), (), ())
    >>> open_ways(site, Figure("person", 1.7, "invented"), 100.0, np.array([0.0, 90.0])).all(axis=(1, 2))
    array([False,  True])
    """
    free = walkable(terrain, figure)
    over_east, over_north = (~blocked for blocked in _blocked(terrain, figure))
    ways = []
    for bearing in bearings_deg:
        east, north = direction(bearing)
        is_open = free & (_rise(terrain.ground, bearing) <= steepest_percent / 100 + 1e-9)
        if abs(east) > _STRAIGHT:
            is_open &= over_east
        if abs(north) > _STRAIGHT:
            is_open &= over_north
        ways.append(is_open)
    return np.array(ways)


def walkable(terrain: Terrain, figure: Figure) -> Mask:
    """(ny, nx) bool: known ground where a figure has room to stand between solids.

    A figure turns its narrow side to a gap.
    """
    return firm_ground(terrain.ground) & ~stood_on(
        terrain.ground, terrain.solids, figure.height_m, _half_body(figure)
    )


def _half_body(figure: Figure) -> float:
    body = body_of(figure)
    return min(body.breadth_m, body.length_m) / 2


def _blocked(terrain: Terrain, figure: Figure) -> tuple[Mask, Mask]:
    """Cells that a solid closes between their centres and their edges: east and west, north and south.

    Where cells are broader than a body, a wall may stand between two of them and leave room on the centres of
    both. A line from cell to cell is followed by one that runs from centre to edge to centre, so no wall
    without a gap lets one through, whatever way it leads.
    """
    margin_m = _half_body(figure)
    reach_m = terrain.ground.cell_m / 2 - margin_m
    if reach_m <= 0.0:
        none = np.zeros(terrain.ground.z.shape, bool)
        return none, none
    east, north = (
        stood_on(terrain.ground, terrain.solids, figure.height_m, margin_m, line_m)
        for line_m in ((reach_m, 0.0), (0.0, reach_m))
    )
    return east, north


def firm_ground(ground: Ground) -> Mask:
    """(ny, nx) bool: cells whose ground is known in every place, which a neighbour that is not may spoil.

    >>> z = np.zeros((5, 5))
    >>> z[0, 4] = np.nan
    >>> firm_ground(Ground(0.0, 0.0, 1.0, z)).astype(int)[:3]
    array([[1, 1, 1, 0, 0],
           [1, 1, 1, 0, 0],
           [1, 1, 1, 1, 1]])
    """
    return np.asarray(~binary_dilation(~ground.known, np.ones((3, 3), bool)))


def stood_on(
    ground: Ground,
    solids: Solids,
    height_m: float,
    margin_m: float,
    reach_m: tuple[float, float] = (0.0, 0.0),
) -> Mask:
    """(ny, nx) bool: where a solid comes within a margin of an upright line on a cell's centre.

    Or of such lines all along a level one through the centre.

    Parameters
    ----------
    ground : Ground
    solids : Solids
    height_m : float
        Of the line; its lowest `STEP_UP_M` do not count.
    margin_m : float
        Plan distance.
    reach_m : (east, north)
        From the centre to one end of the level line; it ends as far on the other side.
    """
    taken = np.zeros(ground.z.shape, bool)
    corners = solids.vertices[solids.triangles] - np.array([ground.x0, ground.y0, 0.0])
    _mark_solids(taken, ground.z, ground.cell_m, corners, STEP_UP_M, height_m, margin_m, *reach_m)
    return taken


def rim(known: Mask) -> Mask:
    """(ny, nx) bool: known cells at the outer edge of known ground; those around a gap in it are not.

    >>> known = np.ones((5, 5), bool)
    >>> known[2, 2] = known[0, 4] = False
    >>> rim(known).astype(int)
    array([[1, 1, 1, 1, 0],
           [1, 0, 0, 0, 1],
           [1, 0, 0, 0, 1],
           [1, 0, 0, 0, 1],
           [1, 1, 1, 1, 1]])
    """
    unknown, _ = label(np.pad(~known, 1, constant_values=True))
    outside = binary_dilation(unknown == unknown[0, 0])[1:-1, 1:-1]
    return np.asarray(known & outside)


def cells_on(ground: Ground, line: Floats) -> Mask:
    """(ny, nx) bool: the cells that a line (n, 2) runs over, local metres.

    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((2, 4)))
    >>> cells_on(ground, np.array([[0.0, 0.0], [2.4, 0.0]])).astype(int)
    array([[1, 1, 1, 0],
           [0, 0, 0, 0]])
    """
    x, y = np.meshgrid(ground.xs, ground.ys)
    half = ground.cell_m / 2
    cells = shapely.box(x - half, y - half, x + half, y + half)
    drawn = shapely.LineString(line)
    shapely.prepare(drawn)
    return np.asarray(shapely.intersects(drawn, cells))


def _rise(ground: Ground, bearing_deg: float) -> Floats:
    """Metres up or down to a metre over a stride about each cell; by half a stride beside unknown ground."""
    east, north = direction(bearing_deg)
    half = STRIDE_M / 2
    x, y = np.meshgrid(ground.xs, ground.ys)
    # The ends of a stride may lie past the grid's edge, where nothing is known: half of it tells then.
    ahead = ground.height_at(x + half * east, y + half * north)
    behind = ground.height_at(x - half * east, y - half * north)
    run = half * (np.isfinite(ahead).astype(float) + np.isfinite(behind))
    climb = np.where(np.isfinite(ahead), ahead, ground.z) - np.where(np.isfinite(behind), behind, ground.z)
    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.abs(climb) / run
    return np.where(ground.known & (run == 0), 0.0, rise)


@njit(cache=True, nogil=True)
def _mark_solids(
    taken: Mask,
    z: Floats,
    cell: float,
    corners: Floats,
    step_up: float,
    height: float,
    margin: float,
    east: float,
    north: float,
) -> None:
    """Mark the cells where any triangle comes within the margin between a step up and the head."""
    ny, nx = z.shape
    for t in range(len(corners)):
        tri = corners[t]
        first_i = max(math.ceil((tri[:, 0].min() - margin - east) / cell), 0)
        last_i = min(math.floor((tri[:, 0].max() + margin + east) / cell), nx - 1)
        first_j = max(math.ceil((tri[:, 1].min() - margin - north) / cell), 0)
        last_j = min(math.floor((tri[:, 1].max() + margin + north) / cell), ny - 1)
        low, high = tri[:, 2].min(), tri[:, 2].max()
        for j in range(first_j, last_j + 1):
            for i in range(first_i, last_i + 1):
                floor = z[j, i] + step_up
                ceiling = z[j, i] + height
                # Comparisons with unknown ground are false: it is closed anyway.
                if taken[j, i] or not (high > floor and low < ceiling):
                    continue
                if _plan_distance(tri, floor, ceiling, i * cell, j * cell, east, north) <= margin:
                    taken[j, i] = True


@njit(cache=True, nogil=True)
def _plan_distance(
    tri: Floats, floor: float, ceiling: float, x: float, y: float, east: float, north: float
) -> float:
    """Plan distance from a line about a point to the part of a triangle between two heights; inf without."""
    part = _cut(_cut(tri, floor, 1.0), ceiling, -1.0)
    count = len(part)
    if count == 0:
        return np.inf
    least = np.inf
    left = 0
    right = 0
    for k in range(count):
        ax, ay = part[k, 0] - x, part[k, 1] - y
        bx, by = part[(k + 1) % count, 0] - x, part[(k + 1) % count, 1] - y
        least = min(least, _line_distance(ax, ay, bx, by, east, north))
        side = ax * (by - ay) - ay * (bx - ax)
        left += side > 0.0
        right += side < 0.0
    # All on one side of every edge: the point lies within. An upright triangle has no inside in plan.
    return 0.0 if (left == count or right == count) else least


@njit(cache=True, nogil=True)
def _line_distance(ax: float, ay: float, bx: float, by: float, east: float, north: float) -> float:
    """Distance from the line between two points to that between (-east, -north) and (east, north)."""
    if east == 0.0 and north == 0.0:
        return float(_distance(0.0, 0.0, ax, ay, bx, by))
    over_a, over_b = east * ay - north * ax, east * by - north * bx
    beside_one = (bx - ax) * (-north - ay) - (by - ay) * (-east - ax)
    beside_other = (bx - ax) * (north - ay) - (by - ay) * (east - ax)
    if over_a * over_b < 0.0 and beside_one * beside_other < 0.0:
        return 0.0
    at_ends = min(_distance(-east, -north, ax, ay, bx, by), _distance(east, north, ax, ay, bx, by))
    between = min(
        _distance(ax, ay, -east, -north, east, north), _distance(bx, by, -east, -north, east, north)
    )
    return float(min(at_ends, between))


@njit(cache=True, nogil=True)
def _distance(x: float, y: float, ax: float, ay: float, bx: float, by: float) -> float:
    """Distance from a point to the line between two."""
    ex, ey = bx - ax, by - ay
    square = ex * ex + ey * ey
    at = 0.0 if square == 0.0 else min(max(((x - ax) * ex + (y - ay) * ey) / square, 0.0), 1.0)
    return math.hypot(ax + at * ex - x, ay + at * ey - y)


@njit(cache=True, nogil=True)
def _cut(part: Floats, level: float, keep: float) -> Floats:
    """What of a convex polygon lies over a level (keep 1) or under it (keep -1)."""
    count = len(part)
    kept = np.empty((count + 2, 3))
    n = 0
    for k in range(count):
        a = part[k]
        b = part[(k + 1) % count]
        above = keep * (a[2] - level)
        next_above = keep * (b[2] - level)
        if above >= 0.0:
            kept[n] = a
            n += 1
        if above * next_above < 0.0:
            kept[n] = a + (b - a) * (above / (above - next_above))
            n += 1
    return kept[:n]

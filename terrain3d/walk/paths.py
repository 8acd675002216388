"""Paths over a grid of cells: the cheapest, by scipy's Dijkstra, pulled straight; and the roomiest.

A step leads from the centre of a cell to that of another near by. It costs, for each cell it runs over,
its length there times the cell's cost of a metre walked that way, so a straight line costs the same
whether it is walked in one step or in many. Costs may differ with the direction of the step; a cell is
closed to a direction where the cost is infinite. A step that touches the corner between two cells needs
both of them open: nobody slips between two cells that meet at a corner.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra

from terrain3d.units import Floats

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]
#: A cell as columns east and rows north of another; shares of a step's length in each cell under it.
Cell = tuple[int, int]
Shares = dict[Cell, Fraction]

#: What a metre costs besides, so that of two paths that cost alike the shorter one is taken.
TIE_PER_M = 1e-6
#: Steps of a path that is to be pulled straight, at most; longer ones are pulled straight in pieces.
_PIECE = 600


@dataclass(frozen=True, eq=False)
class Path:
    """A path over the grid.

    Parameters
    ----------
    line : (n, 2) float
        East and north of its corners, metres from the centre of the south-west cell.
    cost : float
        Along all of it.
    """

    line: Floats
    cost: float

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


@dataclass(frozen=True, eq=False)
class Explored:
    """The cheapest way to every cell from the nearest of some starts.

    `cost` is (k, ny, nx); `total` is (ny, nx), infinite where no path leads; `before` is the cell
    before each on its path, as a flat index, negative at the starts.
    """

    cost: Floats
    cell_m: float
    total: Floats
    before: Ints


def steps(count: int) -> Ints:
    """The steps of a grid with 8, 16 or 32 directions, clockwise from north: (count, 2) east, north.

    Step by step the way over open ground is at most 8.3, 2.8 or 1.4 % too long, 1 / cos of half the widest
    gap between two directions; straight lines pulled afterwards take most of that back.

    >>> steps(8).tolist()
    [[0, 1], [1, 1], [1, 0], [1, -1], [0, -1], [-1, -1], [-1, 0], [-1, 1]]
    """
    reach = {8: 1, 16: 2, 32: 3}[count]
    span = range(-reach, reach + 1)
    pairs = [(i, j) for i in span for j in span if math.gcd(i, j) == 1]
    return np.array(sorted(pairs, key=lambda pair: math.atan2(*pair) % (2 * math.pi)), np.int64)


def step_bearings(count: int) -> Floats:
    """(count,) where the steps of a grid lead, degrees clockwise from north.

    >>> step_bearings(8)
    array([  0.,  45.,  90., 135., 180., 225., 270., 315.])
    """
    east, north = steps(count).T
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360)


def least_exposed(
    cost_per_metre: Floats, walkable: Mask, cell_m: float, starts: Mask, goals: Mask
) -> Path | None:
    """The path from any start to any goal that costs least; of equals the shorter.

    Parameters
    ----------
    cost_per_metre : (k, ny, nx) float
        Cost of a metre walked in each of k = 8, 16 or 32 directions (`step_bearings`) on each cell;
        infinite where nobody walks that way.
    walkable, starts, goals : (ny, nx) bool
    cell_m : float

    Returns
    -------
    Path or None
        None where no path leads.

    Examples
    --------
    >>> cost = np.ones((8, 1, 5))
    >>> at = np.arange(5)[None, :]
    >>> path = least_exposed(cost, at >= 0, 0.5, at == 0, at == 4)
    >>> path.line.tolist(), round(path.cost, 6)
    ([[0.0, 0.0], [2.0, 0.0]], 2.0)
    >>> least_exposed(cost, at != 2, 0.5, at == 0, at == 4) is None
    True
    """
    return path_to(explored(cost_per_metre, walkable, cell_m, starts), goals)


def explored(cost_per_metre: Floats, walkable: Mask, cell_m: float, starts: Mask) -> Explored:
    """The cheapest way to every cell from some starts; arguments as for `least_exposed`."""
    cost = np.where(walkable, cost_per_metre, np.inf)
    indices = np.flatnonzero(starts & walkable)
    if not indices.size:
        return Explored(cost, cell_m, np.full(walkable.shape, np.inf), np.full(walkable.shape, -1))
    graph = _graph(cost_per_metre + TIE_PER_M, np.isfinite(cost), cell_m)
    total, before, _ = dijkstra(graph, indices=indices, min_only=True, return_predecessors=True)
    return Explored(
        cost, cell_m, total.reshape(walkable.shape), before.astype(np.int64).reshape(walkable.shape)
    )


def path_to(reached: Explored, goals: Mask) -> Path | None:
    """The cheapest path to any of some goals, pulled straight where that costs no more."""
    total = np.where(goals, reached.total, np.inf)
    cell = int(np.argmin(total))
    if not np.isfinite(total.flat[cell]):
        return None
    cells = [cell]
    while (cell := int(reached.before.flat[cell])) >= 0:
        cells.append(cell)
    rows, columns = np.unravel_index(cells[::-1], goals.shape)
    corners = pulled_straight(reached.cost, np.column_stack([columns, rows]))
    return Path(np.asarray(corners * reached.cell_m), line_cost(reached.cost, corners, reached.cell_m))


def line_cost(cost: Floats, corners: Ints, cell_m: float) -> float:
    """What a line over the grid costs; its corners are (n, 2) column and row of cells."""
    bearings, room = np.radians(step_bearings(len(cost))), piece_room(cost.shape[1:])
    return cell_m * float(sum(_straight_cost(cost, bearings, *a, *b, *room) for a, b in pairwise(corners)))


def pulled_straight(cost: Floats, cells: Ints) -> Ints:
    """The corners that are left of a path when straight lines take the place of steps.

    Of all lines whose corners are cells of the path it is the cheapest, and so never costs more.

    Parameters
    ----------
    cost : (k, ny, nx) float
        Of a metre; infinite where closed.
    cells : (n, 2) int
        Column and row of each cell of the path.

    Examples
    --------
    >>> stairs = np.array([[0, 0], [1, 0], [2, 1], [3, 1], [4, 2]])
    >>> pulled_straight(np.ones((8, 3, 5)), stairs).tolist()
    [[0, 0], [4, 2]]
    """
    bearings, room = np.radians(step_bearings(len(cost))), piece_room(cost.shape[1:])
    return drawn_taut(cells, lambda piece: _straight_costs(cost, bearings, piece, *room), TIE_PER_M)


def drawn_taut(cells: Ints, lines: Callable[[Ints], Floats], per_cell: float) -> Ints:
    """The corners of the cheapest line that has its corners on cells of a path.

    Parameters
    ----------
    cells : (n, 2) int
        Column and row of each cell of the path.
    lines : callable
        Costs of the straight lines between all of some cells: [a, b] from the first to a later one, (n, n).
    per_cell : float
        What a line as long as a cell costs besides.
    """
    kept = [cells[:1]]
    for first in range(0, len(cells) - 1, _PIECE):
        piece = cells[first : first + _PIECE + 1]
        kept.append(piece[_least_corners(lines(piece), piece, per_cell)][1:])
    return np.vstack(kept)


def widest_berth(room_m: Floats, open_ways: Mask, starts: Mask, goals: Mask) -> float | None:
    """The most room that a path from a start to a goal can keep all along it (maximal breach).

    Parameters
    ----------
    room_m : (ny, nx) float
        Of each cell, such as its distance from what is to be kept away from.
    open_ways : (k, ny, nx) bool
        Whether each cell can be walked over in each direction; a way back is as open as the way there.
    starts, goals : (ny, nx) bool

    Returns
    -------
    float or None
        None where no path leads at all.

    Examples
    --------
    >>> room = np.array([[1.0, 2, 9, 2, 1], [9, 3, 0, 9, 9], [9, 1, 9, 9, 9]])
    >>> row = np.arange(3)[:, None] * np.ones(5)
    >>> widest_berth(room, np.ones((8, 3, 5), bool), row == 0, row == 2)
    2.0
    """

    def narrowest(_d: int, _east: int, _north: int, shares: Shares, touched: list[Cell]) -> Floats:
        return np.asarray(np.min([_moved(room_m, *cell) for cell in (*shares, *touched)], axis=0))

    ways = _ways(open_ways, narrowest).tocoo()
    # A way back is the same as the way there.
    once = ways.row < ways.col
    rows, columns, narrow, room = ways.row[once], ways.col[once], ways.data[once], room_m.ravel()
    start, goal = np.flatnonzero(starts), np.flatnonzero(goals)

    def leads(least: float) -> bool:
        kept = narrow >= least
        graph = csr_array((np.ones(kept.sum()), (rows[kept], columns[kept])), ways.shape)
        _, parts = connected_components(graph, directed=False)
        wide = room >= least
        return bool(np.isin(parts[start[wide[start]]], parts[goal[wide[goal]]]).any())

    levels = np.unique(room[open_ways.any(axis=0).ravel()])
    low, high = -1, len(levels) - 1
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if leads(float(levels[middle])) else (low, middle - 1)
    return float(levels[low]) if low >= 0 else None


def open_steps(ways: Mask, cell_m: float) -> csr_array:
    """Every step between cells that can be walked over, with its length in metres.

    Parameters
    ----------
    ways : (k, ny, nx) bool
        Whether each cell can be walked over in each of k = 8, 16 or 32 directions.
    cell_m : float

    Examples
    --------
    >>> open_steps(np.ones((8, 1, 3), bool), 0.5).toarray()
    array([[0. , 0.5, 0. ],
           [0.5, 0. , 0.5],
           [0. , 0.5, 0. ]])
    """

    def length(_d: int, east: int, north: int, _shares: Shares, _touched: list[Cell]) -> Floats:
        return np.full(ways.shape[1:], cell_m * math.hypot(east, north))

    return _ways(ways, length)


def _graph(cost: Floats, is_open: Mask, cell_m: float) -> csr_array:
    """Every step between open cells and what it costs."""
    price = np.where(is_open, cost, 0.0)

    def step_cost(d: int, east: int, north: int, shares: Shares, _touched: list[Cell]) -> Floats:
        parts = [float(share) * _moved(price[d], *cell) for cell, share in shares.items()]
        return np.asarray(cell_m * math.hypot(east, north) * np.sum(parts, axis=0))

    return _ways(is_open, step_cost)


def _ways(is_open: Mask, value: Callable[[int, int, int, Shares, list[Cell]], Floats]) -> csr_array:
    """A sparse matrix with one value for every step between open cells, of none that is closed."""
    k, ny, nx = is_open.shape
    offsets = steps(k)
    # In the order of their targets, as a sparse matrix wants its columns.
    order = sorted(range(k), key=lambda d: (offsets[d, 1], offsets[d, 0]))
    data, there = np.zeros((ny, nx, k)), np.zeros((ny, nx, k), bool)
    for place, d in enumerate(order):
        east, north = (int(v) for v in offsets[d])
        shares, touched = _cells_under(east, north)
        there[..., place] = np.all([_moved(is_open[d], *cell) for cell in (*shares, *touched)], axis=0)
        data[..., place] = value(d, east, north, shares, touched)
    ahead = np.array([offsets[d, 1] * nx + offsets[d, 0] for d in order])
    targets = np.arange(ny * nx).reshape(ny, nx, 1) + ahead
    counts = there.sum(axis=2).ravel()
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    return csr_array((data[there], targets[there].astype(np.int32), starts), (ny * nx, ny * nx))


def _moved(values: NDArray[Any], east: int, north: int) -> NDArray[Any]:
    """For each cell the value of the one so many columns east and rows north of it; zero off the grid.

    >>> _moved(np.array([[1, 2, 3]]), 1, 0)
    array([[2, 3, 0]])
    """
    ny, nx = values.shape
    reach = max(abs(east), abs(north))
    padded = np.pad(values, reach)
    return padded[reach + north : reach + north + ny, reach + east : reach + east + nx]


def _cells_under(di: int, dj: int) -> tuple[Shares, list[Cell]]:
    """The cells a step runs over with the share of its length in each, and those it touches at a corner.

    >>> shares, touched = _cells_under(2, 1)
    >>> {cell: float(share) for cell, share in shares.items()}, touched
    ({(0, 0): 0.25, (1, 0): 0.25, (1, 1): 0.25, (2, 1): 0.25}, [])
    >>> _cells_under(1, 1)[1]
    [(1, 0), (0, 1)]
    """
    east = {Fraction(2 * m + 1, 2 * abs(di)) for m in range(abs(di))}
    north = {Fraction(2 * m + 1, 2 * abs(dj)) for m in range(abs(dj))}
    i = j = 0
    at = Fraction(0)
    shares: Shares = {}
    touched: list[Cell] = []
    for cut in [*sorted(east | north), Fraction(1)]:
        shares[i, j] = cut - at
        at = cut
        ahead = (i + int(math.copysign(1, di)), j + int(math.copysign(1, dj)))
        if cut in east and cut in north:
            touched += [(ahead[0], j), (i, ahead[1])]
        i, j = (ahead[0] if cut in east else i), (ahead[1] if cut in north else j)
    return shares, touched


def piece_room(shape: tuple[int, ...]) -> tuple[Ints, Ints, Floats]:
    """Arrays long enough for the pieces of any line over a grid, to be passed to `line_pieces`."""
    most = 3 * sum(shape) + 4
    return np.empty(most, np.int64), np.empty(most, np.int64), np.empty(most)


@njit(cache=True, nogil=True)
def line_pieces(ai: int, aj: int, bi: int, bj: int, columns: Ints, rows: Ints, shares: Floats) -> int:
    """The cells under the straight line between two, in order, with the share of its length in each.

    A line that runs through the corner between four cells needs all of them open: the two beside it are
    listed with no share. Returns how many there are.
    """
    wide, tall = abs(bi - ai), abs(bj - aj)
    step_i = 1 if bi > ai else -1
    step_j = 1 if bj > aj else -1
    i, j, m, n, count, at = ai, aj, 0, 0, 0, 0.0
    while True:
        # The cuts with the edges of columns and rows lie at odd halves of the line's width and height.
        cut_i = (2 * m + 1) / (2.0 * wide) if m < wide else 2.0
        cut_j = (2 * n + 1) / (2.0 * tall) if n < tall else 2.0
        cut = min(cut_i, cut_j, 1.0)
        columns[count], rows[count], shares[count] = i, j, cut - at
        count += 1
        at = cut
        if m >= wide and n >= tall:
            return count
        if m < wide and n < tall and (2 * m + 1) * tall == (2 * n + 1) * wide:
            columns[count], rows[count], shares[count] = i + step_i, j, 0.0
            columns[count + 1], rows[count + 1], shares[count + 1] = i, j + step_j, 0.0
            count += 2
            m += 1
            n += 1
            i += step_i
            j += step_j
        elif cut_i < cut_j:
            m += 1
            i += step_i
        else:
            n += 1
            j += step_j


@njit(cache=True, nogil=True)
def between_bearings(bearings: Floats, east: int, north: int) -> tuple[int, int, float]:
    """The two directions of the grid that a line runs between, and how far from the first to the second."""
    k = len(bearings)
    bearing = math.atan2(east, north) % (2.0 * math.pi)
    left = k - 1
    for d in range(k):
        if bearings[d] <= bearing + 1e-9:
            left = d
    right = (left + 1) % k
    share = (bearing - bearings[left]) / ((bearings[right] - bearings[left]) % (2.0 * math.pi))
    return (left, left, 0.0) if share < 1e-7 else (left, right, share)


@njit(cache=True, nogil=True)
def _straight_cost(
    cost: Floats,
    bearings: Floats,
    ai: int,
    aj: int,
    bi: int,
    bj: int,
    columns: Ints,
    rows: Ints,
    shares: Floats,
) -> float:
    """Cost of the straight line between two cells, in cells; infinite where it is closed.

    Between two directions of the grid the cost of a metre is taken between theirs.
    """
    if ai == bi and aj == bj:
        return 0.0
    left, right, share = between_bearings(bearings, bi - ai, bj - aj)
    total = 0.0
    for piece in range(line_pieces(ai, aj, bi, bj, columns, rows, shares)):
        a = cost[left, rows[piece], columns[piece]]
        b = cost[right, rows[piece], columns[piece]]
        if not (a < np.inf and b < np.inf):
            return np.inf
        total += shares[piece] * ((1.0 - share) * a + share * b)
    return float(total * math.hypot(bi - ai, bj - aj))


@njit(cache=True, nogil=True)
def _straight_costs(
    cost: Floats, bearings: Floats, cells: Ints, columns: Ints, rows: Ints, shares: Floats
) -> Floats:
    """Costs of the straight lines from each cell of a path to every later one."""
    costs = np.full((len(cells), len(cells)), np.inf)
    for a in range(len(cells)):
        for b in range(a + 1, len(cells)):
            costs[a, b] = _straight_cost(
                cost, bearings, cells[a, 0], cells[a, 1], cells[b, 0], cells[b, 1], columns, rows, shares
            )
    return costs


@njit(cache=True, nogil=True)
def _least_corners(lines: Floats, cells: Ints, per_cell: float) -> Ints:
    """Indices of the cells that the cheapest line with corners on a path keeps as its corners."""
    count = len(cells)
    best = np.full(count, np.inf)
    came = np.zeros(count, np.int64)
    best[0] = 0.0
    for end in range(1, count):
        for start in range(end):
            long = math.hypot(cells[end, 0] - cells[start, 0], cells[end, 1] - cells[start, 1])
            line = best[start] + lines[start, end] + per_cell * long
            # Of lines that cost alike the longest straight piece comes first and stays.
            if line < best[end] * (1.0 - 1e-12):
                best[end] = line
                came[end] = start
    kept = [count - 1]
    while kept[-1] > 0:
        kept.append(came[kept[-1]])
    return np.array(kept[::-1])

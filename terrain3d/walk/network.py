"""The steps that a walk over a field of pulses can take, and the ways that cost least at a price of a metre.

In the open a step leads in one of 16 directions. On held ground these are too few: straight at a unit
hardly a pulse is to be expected, and stairs to the left and right of that line bring many. There 16 more
directions can be stepped in, and for each unit the two that its own bearing lies between, of all up to
`REACH` cells long.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from terrain3d.units import Floats
from terrain3d.walk.chance import PulseField
from terrain3d.walk.lines import Lines, line_pulses, lines_over
from terrain3d.walk.paths import Ints, Mask, steps

Indices = NDArray[np.int32]

#: Longest step straight at a unit, cells: finer directions change what is found by less than a percent.
REACH = 8
#: Pulses a metre: a price that is none, and only tells apart what brings the same to the last digits; and one
#: beside which pulses are none, and only tell apart what is as long.
FREE, DEAR = 1e-12, 1e6


@dataclass(frozen=True, eq=False)
class Network:
    """Every step, from cell to cell by flat index.

    Parameters
    ----------
    lines : Lines
    starts : (ny, nx) bool
        Open cells that a walk may start from.
    first, to : (n + 1,), (m,) int32
        The steps from cell c lead to the cells to[first[c]:first[c + 1]].
    pulses, length_m : (m,) float
        Of each step.
    """

    lines: Lines
    starts: Mask
    first: Indices
    to: Indices
    pulses: Floats
    length_m: Floats

    @cached_property
    def least(self) -> "Reached":
        """The ways with the fewest pulses, whatever their length."""
        return reached(self, FREE)

    @cached_property
    def shortest(self) -> "Reached":
        """The shortest ways, whatever their pulses; of equals the one with fewer."""
        return reached(self, DEAR)


@dataclass(frozen=True, eq=False)
class Reached:
    """The best way from the starts to every cell at a price.

    `total` is (n,), infinite where no way leads; `before` is the cell before each, negative at the starts.
    """

    price: float
    total: Floats
    before: Indices


def network(field: PulseField, ways: Mask, lengths: csr_array, starts: Mask) -> Network:
    """The steps over a field.

    Parameters
    ----------
    field : PulseField
    ways : (16, ny, nx) bool
        Whether each cell can be walked over in each direction.
    lengths : csr_array
        Of the steps in those directions, as `paths.open_steps` tells them.
    starts : (ny, nx) bool

    Examples
    --------
    Three cells in a row: to the next, to both sides, and back.

    >>> from terrain3d.walk.paths import open_steps
    >>> field = PulseField(np.ones((1, 1, 3)), np.array([[1.0, -4.0]]), 1.0, 0.4, 0.4, False)
    >>> ways = np.ones((16, 1, 3), bool)
    >>> net = network(field, ways, open_steps(ways, 1.0), np.array([[True, False, False]]))
    >>> net.to.tolist(), net.length_m.tolist(), net.pulses.round(2).tolist()
    ([1, 0, 2, 1], [1.0, 1.0, 1.0, 1.0], [0.49, 0.49, 0.49, 0.49])
    >>> net.least.total.round(2).tolist(), net.least.before.tolist()
    ([0.0, 0.49, 0.98], [-9999, 0, 1])
    """
    lines = lines_over(field, ways)
    # Two cells are the longest step in the open, so one from farther off does not reach held ground.
    held = (field.density > 0) | field.sure if len(field.sure) else field.density > 0
    near = maximum_filter(held, size=(1, 5, 5))
    sixteen = {tuple(step) for step in steps(16).tolist()}
    more = np.array([step for step in steps(32).tolist() if tuple(step) not in sixteen], np.int64)
    first, to, pulses, length_m = _steps(lines, near, lengths.indptr, lengths.indices, lengths.data, more)
    return Network(lines, starts & ways.any(axis=0), first, to, pulses, length_m)


def reached(network: Network, price: float) -> Reached:
    """The best way to every cell where a metre costs so many pulses."""
    count = network.starts.size
    indices = np.flatnonzero(network.starts)
    if not indices.size:
        return Reached(price, np.full(count, np.inf), np.full(count, -1, np.int32))
    weights = network.pulses + price * network.length_m
    graph = csr_array((weights, network.to, network.first), (count, count))
    total, before, _ = dijkstra(graph, indices=indices, min_only=True, return_predecessors=True)
    return Reached(price, total, before)


def cells_to(found: Reached, goals: Mask) -> Ints | None:
    """Column and row of the cells of the best way to any of some goals, (n, 2); None where none leads."""
    total = np.where(goals.ravel(), found.total, np.inf)
    cell = int(np.argmin(total))
    if not np.isfinite(total[cell]):
        return None
    cells = [cell]
    while (cell := int(found.before[cell])) >= 0:
        cells.append(cell)
    rows, columns = np.unravel_index(cells[::-1], goals.shape)
    return np.column_stack([columns, rows])


@njit(cache=True, nogil=True)
def _steps(
    lines: Lines, near: Mask, first: Indices, to: Indices, length_m: Floats, more: Ints
) -> tuple[Indices, Indices, Floats, Floats]:
    """The steps of the grid with their pulses, and on and near held ground more of them."""
    units, ny, nx = near.shape
    most = len(to) + int(near.sum()) * (len(more) + 4)
    firsts, tos = np.zeros(ny * nx + 1, np.int32), np.empty(most, np.int32)
    pulses, lengths = np.empty(most), np.empty(most)
    extra = np.empty((len(more) + 4 * units, 2), np.int64)
    extra[: len(more)] = more
    n = 0
    for cell in range(ny * nx):
        i, j = cell % nx, cell // nx
        is_near = near[:, j, i].any()
        for k in range(first[cell], first[cell + 1]):
            tos[n], lengths[n] = to[k], length_m[k]
            pulses[n] = line_pulses(lines, (i, j), (to[k] % nx, to[k] // nx)) if is_near else 0.0
            n += 1
        if is_near:
            for k in range(_at_units(lines.field, near[:, j, i], i, j, extra, len(more))):
                a, b = i + extra[k, 0], j + extra[k, 1]
                if 0 <= a < nx and 0 <= b < ny:
                    brought = line_pulses(lines, (i, j), (a, b))
                    if brought < np.inf:
                        tos[n], pulses[n] = b * nx + a, brought
                        lengths[n] = lines.field.cell_m * math.hypot(extra[k, 0], extra[k, 1])
                        n += 1
        firsts[cell + 1] = n
    return firsts, tos[:n].copy(), pulses[:n].copy(), lengths[:n].copy()


@njit(cache=True, nogil=True)
def _at_units(field: PulseField, near: Mask, i: int, j: int, extra: Ints, count: int) -> int:
    """Add the steps nearest to straight at each unit from a cell, and back; tells how many there are then."""
    for u in range(len(field.density)):
        east, north = field.units[u, 0] / field.cell_m - i, field.units[u, 1] / field.cell_m - j
        away = math.hypot(east, north)
        if near[u] and away >= 3.0:
            for wide, tall in _either_side(east, north, min(REACH, int(away))):
                known = max(abs(wide), abs(tall)) <= 2
                for k in range(count):
                    known = known or (extra[k, 0] == wide and extra[k, 1] == tall)
                if not known:
                    extra[count], extra[count + 1] = (wide, tall), (-wide, -tall)
                    count += 2
    return count


@njit(cache=True, nogil=True)
def _either_side(east: float, north: float, longest: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """The two steps nearest to a direction on either side of it: neighbours in the Farey sequence.

    >>> _either_side(3.0, 1.0, 2), _either_side(-1.0, 6.5, 8)
    (((1, 0), (2, 1)), ((-1, 7), (-1, 6)))
    """
    slope = min(abs(east), abs(north)) / max(abs(east), abs(north))
    low_p, low_q, high_p, high_q = 0, 1, 1, 1
    while low_q + high_q <= longest:
        p, q = low_p + high_p, low_q + high_q
        if slope * q >= p:
            low_p, low_q = p, q
        else:
            high_p, high_q = p, q
    to_east, to_north = (1 if east >= 0 else -1), (1 if north >= 0 else -1)
    if abs(north) > abs(east):
        return (to_east * low_p, to_north * low_q), (to_east * high_p, to_north * high_q)
    return (to_east * low_q, to_north * low_p), (to_east * high_q, to_north * high_p)

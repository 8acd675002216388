"""Straight lines over a field of pulses: what each brings; and a walk's corners moved where that brings less.

A line may lead from the centre of any cell to that of any other. What it brings is summed over the cells
that it runs over, each judged in the middle of its piece of the line, with the line's own direction: the
bearing of a unit from there is exact, so a walk straight at a unit is one whatever way it leads.
"""

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numba import njit

from terrain3d.units import Floats
from terrain3d.walk.chance import PulseField, metre_pulses
from terrain3d.walk.paths import Ints, Mask, between_bearings, line_pieces, piece_room, step_bearings

#: How far a corner is moved at a time, cells each way.
_MOVED = 2
#: Less than this share of what a line costs is no gain: rounding alone can bring it.
_GAIN = 1e-9
#: Rounds of moves at most; a walk comes to rest within a handful.
_ROUNDS = 40

#: Column and row of a cell.
Cell = tuple[int, int]


class Lines(NamedTuple):
    """What lines over a site's ground are judged by; kernels take it as it is.

    Parameters
    ----------
    field : PulseField
    ways : (k, ny, nx) bool
        Whether each cell can be walked over in each direction of the grid; a line between two directions
        needs both.
    bearings : (k,) float
        Those directions, radians clockwise from north.
    columns, rows, shares
        Room for the pieces of a line, as `line_pieces` fills it.
    """

    field: PulseField
    ways: Mask
    bearings: Floats
    columns: Ints
    rows: Ints
    shares: Floats


def lines_over(field: PulseField, ways: Mask) -> Lines:
    """What lines over a field of pulses are judged by; `ways` is (k, ny, nx) for k = 8, 16 or 32."""
    return Lines(field, ways, np.radians(step_bearings(len(ways))), *piece_room(ways.shape[1:]))


@njit(cache=True, nogil=True)
def line_pulses(lines: Lines, a: Cell, b: Cell) -> float:
    """Pulses to be expected of the straight line between two cells; infinite where it is closed."""
    if a == b:
        return 0.0
    wide, tall, cell_m = b[0] - a[0], b[1] - a[1], lines.field.cell_m
    left, right, _ = between_bearings(lines.bearings, wide, tall)
    length = math.hypot(wide, tall)
    total, at = 0.0, 0.0
    for piece in range(line_pieces(a[0], a[1], b[0], b[1], lines.columns, lines.rows, lines.shares)):
        i, j, share = lines.columns[piece], lines.rows[piece], lines.shares[piece]
        if not (lines.ways[left, j, i] and lines.ways[right, j, i]):
            return np.inf
        if share > 0.0:
            middle = at + share / 2
            x, y = (a[0] + middle * wide) * cell_m, (a[1] + middle * tall) * cell_m
            total += share * metre_pulses(lines.field, i, j, x, y, wide / length, tall / length)
            at += share
    return total * length * cell_m


@njit(cache=True, nogil=True)
def lines_pulses(lines: Lines, cells: Ints) -> Floats:
    """Pulses of the straight lines from each cell of a path to every later one, (n, n); else infinite."""
    pulses = np.full((len(cells), len(cells)), np.inf)
    for a in range(len(cells)):
        for b in range(a + 1, len(cells)):
            pulses[a, b] = line_pulses(lines, (cells[a, 0], cells[a, 1]), (cells[b, 0], cells[b, 1]))
    return pulses


def pulses_along(field: PulseField, corners: Ints) -> tuple[Floats, Floats]:
    """Distances along a line over the grid, and the pulses to be expected up to there.

    Parameters
    ----------
    field : PulseField
    corners : (n, 2) int
        Column and row of its corners.

    Returns
    -------
    along_m, pulses : (m,) float
        From 0 on, one more for each cell that it runs over.

    Examples
    --------
    Over four cells of 1 m due east, 4 m north of a unit with 2 edges to the radian: 2 x 2 / d across it.

    >>> row = PulseField(np.full((1, 1, 4), 2.0), np.array([[1.5, -4.0]]), 1.0, 0.4, 0.4, False)
    >>> along, pulses = pulses_along(row, np.array([[0, 0], [3, 0]]))
    >>> along, pulses.round(2)
    (array([0. , 0.5, 1.5, 2.5, 3. ]), array([0.  , 0.46, 1.44, 2.42, 2.88]))
    """
    columns, rows, shares = piece_room(field.density.shape[1:])
    lengths, pulses = [0.0], [0.0]
    for a, b in pairwise(np.asarray(corners)):
        length = math.hypot(*(b - a))
        if length == 0.0:
            continue
        count, at = line_pieces(*a, *b, columns, rows, shares), 0.0
        for i, j, share in zip(columns[:count], rows[:count], shares[:count], strict=True):
            if share > 0.0:
                x, y = (a + (at + share / 2) * (b - a)) * field.cell_m
                lengths.append(share * length * field.cell_m)
                pulses.append(lengths[-1] * metre_pulses(field, i, j, x, y, *((b - a) / length)))
                at += share
    return np.cumsum(lengths), np.cumsum(pulses)


@njit(cache=True, nogil=True)
def come_to_rest(lines: Lines, corners: Ints, starts: Mask, goals: Mask, per_m: float) -> Ints:
    """The corners of a line moved, taken out and put in for as long as it brings less.

    Steps over a grid lead in a few directions, and a path of them is drawn taut between its own cells;
    here it finds the rest of its way. It ends where no corner moved by two cells, none taken out and none
    put in lowers its pulses and its price.

    Parameters
    ----------
    lines : Lines
    corners : (n, 2) int
        Column and row of each.
    starts, goals : (ny, nx) bool
        Where its ends may lie.
    per_m : float
        Price of a metre, in pulses.

    Returns
    -------
    (m, 2) int
    """
    kept = [(corners[k, 0], corners[k, 1]) for k in range(len(corners))]
    for _ in range(_ROUNDS):
        before = kept.copy()
        k = 0
        while k < len(kept):
            if 0 < k < len(kept) - 1 and _is_idle(lines, kept[k - 1], kept[k], kept[k + 1], per_m):
                kept.pop(k)
                continue
            kept[k] = _moved_corner(lines, kept, k, starts, goals, per_m)
            k += 1
        k = 1
        while k < len(kept):
            new = _new_corner(lines, kept[k - 1], kept[k], per_m)
            if new != kept[k]:
                kept.insert(k, new)
                k += 1
            k += 1
        if kept == before:
            break
    rested = np.empty((len(kept), 2), np.int64)
    for k in range(len(kept)):
        rested[k, 0], rested[k, 1] = kept[k]
    return rested


@njit(cache=True, nogil=True)
def _cost(lines: Lines, a: Cell, b: Cell, per_m: float) -> float:
    length = lines.field.cell_m * math.hypot(b[0] - a[0], b[1] - a[1])
    return float(line_pulses(lines, a, b) + per_m * length)


@njit(cache=True, nogil=True)
def _is_idle(lines: Lines, a: Cell, corner: Cell, b: Cell, per_m: float) -> bool:
    """Whether a line does as well without a corner."""
    by_way = _cost(lines, a, corner, per_m) + _cost(lines, corner, b, per_m)
    return bool(_cost(lines, a, b, per_m) <= by_way)


@njit(cache=True, nogil=True)
def _moved_corner(lines: Lines, kept: list[Cell], k: int, starts: Mask, goals: Mask, per_m: float) -> Cell:
    """Where near by corner k of a line is best."""
    _, ny, nx = lines.ways.shape
    here, first, last = kept[k], k == 0, k == len(kept) - 1
    a, b = kept[max(k - 1, 0)], kept[min(k + 1, len(kept) - 1)]
    best = here
    least = (0.0 if first else _cost(lines, a, here, per_m)) + (0.0 if last else _cost(lines, here, b, per_m))
    least *= 1.0 - _GAIN
    for i in range(max(here[0] - _MOVED, 0), min(here[0] + _MOVED + 1, nx)):
        for j in range(max(here[1] - _MOVED, 0), min(here[1] + _MOVED + 1, ny)):
            if (first and not starts[j, i]) or (last and not goals[j, i]):
                continue
            cost = 0.0 if first else _cost(lines, a, (i, j), per_m)
            if cost < least and not last:
                cost += _cost(lines, (i, j), b, per_m)
            if cost < least:
                least = cost
                best = (i, j)
    return best


@njit(cache=True, nogil=True)
def _new_corner(lines: Lines, a: Cell, b: Cell, per_m: float) -> Cell:
    """Where beside the line between two corners a third does better; the second where none does."""
    _, ny, nx = lines.ways.shape
    best = b
    # Lines no longer than a move or two bend at the corners they have.
    if max(abs(b[0] - a[0]), abs(b[1] - a[1])) < 2 * _MOVED:
        return best
    least = _cost(lines, a, b, per_m) * (1.0 - _GAIN)
    for quarter in range(1, 4):
        at_i = a[0] + round((b[0] - a[0]) * quarter / 4)
        at_j = a[1] + round((b[1] - a[1]) * quarter / 4)
        for i in range(max(at_i - _MOVED, 0), min(at_i + _MOVED + 1, nx)):
            for j in range(max(at_j - _MOVED, 0), min(at_j + _MOVED + 1, ny)):
                cost = _cost(lines, a, (i, j), per_m)
                if cost < least:
                    cost += _cost(lines, (i, j), b, per_m)
                if cost < least:
                    least = cost
                    best = (i, j)
    return best

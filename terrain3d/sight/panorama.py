"""One mount and height: for every cell in reach, which heights above it can be seen, and how well.

A panorama answers every bearing, tilt, range, figure and unit type tried at its mount and height:
what changes is arithmetic on it. Each cell keeps the heights over its centre as pieces (from, to,
share of sight that foliage lets through), cut exactly by the ground and by every solid.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.detector.figures import TALLEST_M
from terrain3d.sight.foliage import leaf_depths, near_leaves
from terrain3d.sight.march import steepest_view
from terrain3d.sight.met import Met, first_met
from terrain3d.sight.microwave import MicrowaveSight, microwave_sight
from terrain3d.sight.parts import in_parts
from terrain3d.sight.slices import N_BINS, azimuth_bin, hidden_heights, sorted_triangles
from terrain3d.terrain import Foliage, Ground, Terrain
from terrain3d.units import Floats
from terrain3d.wording import counted, in_brief, plain

#: Step of height in which the light through foliage is told apart, metres.
LEAF_SLAB_M = 0.1
#: Steps lighter or darker than each other by less than this are one piece.
SAME_SHARE = 0.004
#: Intervals of height hidden by solids that one cell can tell apart.
MOST_HIDDEN = 24

_N_SLABS = math.ceil(TALLEST_M / LEAF_SLAB_M)
_MOST_PIECES = _N_SLABS + 2 * MOST_HIDDEN + 2


@dataclass(frozen=True, eq=False)
class Panorama:
    """What is seen from one eye; cells sorted by bearing, in bins of half a degree.

    Parameters
    ----------
    eye : (x, y, z)
        Local metres.
    reach_m : float
        Plan distance up to which cells are kept.
    cells : (n,) int64
        Flat indices into the ground grid.
    bin_start : (N_BINS + 1,) int64
        First cell of each bin of azimuth.
    east, north : (n,) float
        Unit bearing of each cell; (0, 1) at the foot of the mount.
    distance : (n,) float
        Plan distance, metres.
    foot : (n,) float
        Height of the ground relative to the eye, metres.
    lowest : (n,) float
        Least height over the cell that the ground leaves visible, relative to the eye.
    piece_start : (n + 1,) int64
        Pieces of cell k are rows piece_start[k] to piece_start[k + 1].
    pieces : (m, 3) float
        From, to (relative to the eye, metres) and share of sight that foliage lets through.
    main : (3, n) float
        The first piece of each cell, laid out for fast reading; all zero where there is none.
    many : (k,) int64
        Cells with more than one piece, ascending.
    across_unknown : (n,) bool
        True where the sight line crosses ground that is not known.
    terrain : Terrain
        What is looked at.
    """

    eye: tuple[float, float, float]
    reach_m: float
    cells: NDArray[np.int64]
    bin_start: NDArray[np.int64]
    east: Floats
    north: Floats
    distance: Floats
    foot: Floats
    lowest: Floats
    piece_start: NDArray[np.int64]
    pieces: Floats
    main: Floats
    many: NDArray[np.int64]
    across_unknown: NDArray[np.bool_]
    terrain: Terrain

    def __repr__(self) -> str:
        eye = ", ".join(f"{value:.2f}" for value in self.eye)
        return in_brief(
            self, f"eye ({eye})", f"reach {plain(self.reach_m)} m", counted(len(self.cells), "cell")
        )

    def among(self, keep: NDArray[np.bool_]) -> "Panorama":
        """The same of some of its cells alone, in the same order; `keep` is (n,) bool."""
        n_pieces = np.diff(self.piece_start)
        counts = n_pieces[keep]
        some = Panorama(
            self.eye,
            self.reach_m,
            self.cells[keep],
            np.concatenate([[0], np.cumsum(keep)])[self.bin_start],
            self.east[keep],
            self.north[keep],
            self.distance[keep],
            self.foot[keep],
            self.lowest[keep],
            np.concatenate([[0], np.cumsum(counts)]),
            self.pieces[np.repeat(keep, n_pieces)],
            np.ascontiguousarray(self.main[:, keep]),
            np.flatnonzero(counts > 1),
            self.across_unknown[keep],
            self.terrain,
        )
        if "microwave" in vars(self):
            vars(some)["microwave"] = self.microwave.among(keep)
        return some

    @cached_property
    def met(self) -> Met:
        """What is met first on the way to each cell; worked out when it is first asked for."""
        return first_met(self.terrain, self.eye, self.reach_m, *self._places())

    @cached_property
    def microwave(self) -> MicrowaveSight:
        """What comes back of microwaves from each cell; worked out when it is first asked for."""
        return microwave_sight(self.terrain, self.eye, self.reach_m, *self._places())

    def _places(self) -> tuple[NDArray[np.int64], Floats, Floats, Floats, Floats, Floats]:
        """Bin of azimuth, bearing, distance and heights of each cell, for what follows lines there."""
        bins = np.repeat(np.arange(N_BINS), np.diff(self.bin_start))
        return bins, self.east, self.north, self.distance, self.foot, self.lowest

    @cached_property
    def without_leaves(self) -> "Panorama":
        """The same with all foliage gone: all that ground and solids leave is in full light; casts no ray."""
        if not len(self.terrain.foliage.base_z):
            return self
        n = len(self.cells)
        cell = np.repeat(np.arange(n), np.diff(self.piece_start))
        is_first = np.ones(len(cell), bool)
        is_first[1:] = (cell[1:] != cell[:-1]) | (self.pieces[1:, 0] != self.pieces[:-1, 1])
        firsts = np.flatnonzero(is_first)
        lasts = np.append(firsts[1:], len(cell))[: len(firsts)] - 1
        pieces = np.column_stack([self.pieces[firsts, 0], self.pieces[lasts, 1], np.ones(len(firsts))])
        counts = np.bincount(cell[firsts], minlength=n)
        piece_start = np.concatenate([[0], np.cumsum(counts)])
        return replace(
            self,
            piece_start=piece_start,
            pieces=pieces,
            main=_main_pieces(piece_start, pieces),
            many=np.flatnonzero(counts > 1),
            terrain=replace(self.terrain, foliage=Foliage.none()),
        )


def panorama(terrain: Terrain, eye: tuple[float, float, float], reach_m: float) -> Panorama:
    """Look around from `eye`; no setting of the unit is needed yet.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
        Local metres.
    reach_m : float
        Greatest plan distance of interest, metres.

    Examples
    --------
    On level ground everything from the feet up is seen:

    >>> from terrain3d.terrain import Foliage, Ground, Solids, Terrain
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> seen = panorama(flat, (0.0, 0.0, 1.0), 3.0)
    >>> len(seen.cells), float(seen.lowest.max()), float(seen.pieces[:, 1].min())
    (29, -1.0, 1.5)
    """
    ground, solids, foliage = terrain.ground, terrain.solids, terrain.foliage
    ex, ey, ez = (float(v) for v in eye)
    cells, bin_start, east, north, distance, foot = _cells_in_reach(
        ground.z, ground.x0, ground.y0, ground.cell_m, ex, ey, ez, float(reach_m)
    )
    shadows = sorted_triangles(solids, (ex, ey, ez), float(reach_m))
    has_leaves = len(foliage.base_z) > 0
    leaves_from = (
        near_leaves(foliage.column, foliage.x0, foliage.y0, foliage.cell_m, ex, ey, float(reach_m))
        if has_leaves
        else _NO_LEAVES
    )
    hidden_from = _first_shadow(*shadows[1:])
    bins = np.repeat(np.arange(N_BINS), np.diff(bin_start))

    def part(first: int, last: int) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.bool_]]:
        part_result: tuple[Floats, Floats, NDArray[np.int64], NDArray[np.bool_]] = _seen_heights(
            ground.z, ground.patch_top, ground.block_top, ground.x0, ground.y0, ground.cell_m, ex, ey, ez,
            bins[first:last], east[first:last], north[first:last], distance[first:last], foot[first:last],
            *shadows, hidden_from, foliage.column, foliage.base_z, foliage.step_m, foliage.above,
            foliage.x0, foliage.y0, foliage.cell_m, leaves_from,
        )  # fmt: skip
        return part_result

    n = len(cells)
    parts = in_parts(n, part)
    counts = np.concatenate([p[2] for p in parts])
    piece_start = np.zeros(n + 1, np.int64)
    np.cumsum(counts, out=piece_start[1:])
    pieces = np.concatenate([p[1] for p in parts])
    return Panorama(
        (ex, ey, ez),
        float(reach_m),
        cells,
        bin_start,
        east,
        north,
        distance,
        foot,
        np.concatenate([p[0] for p in parts]),
        piece_start,
        pieces,
        _main_pieces(piece_start, pieces),
        np.flatnonzero(counts > 1),
        np.concatenate([p[3] for p in parts]),
        terrain,
    )


def remembered(most: int = 120) -> Callable[[Terrain, tuple[float, float, float], float], Panorama]:
    """`panorama` with the last `most` kept: turning a unit, or trying another there, casts no ray."""
    return lru_cache(maxsize=most)(panorama)


def eye_over(ground: Ground, x: float, y: float, height_m: float) -> tuple[float, float, float]:
    """The point `height_m` above the ground at (x, y); its z is NaN where no ground is known."""
    return x, y, float(ground.height_at(x, y)) + height_m


def _main_pieces(piece_start: NDArray[np.int64], pieces: Floats) -> Floats:
    """(3, n) first piece of each cell; all zero where there is none."""
    main = np.zeros((3, len(piece_start) - 1))
    seen = np.diff(piece_start) > 0
    main[:, seen] = pieces[piece_start[:-1][seen]].T
    return main


_NO_LEAVES = np.full(N_BINS, np.inf)


@njit(cache=True, nogil=True)
def _cells_in_reach(z, x0, y0, cell, ex, ey, ez, reach):
    """Known cells within reach, sorted into bins of azimuth."""
    ny, nx = z.shape
    i0 = max(math.ceil((ex - reach - x0) / cell), 0)
    i1 = min(math.floor((ex + reach - x0) / cell) + 1, nx)
    j0 = max(math.ceil((ey - reach - y0) / cell), 0)
    j1 = min(math.floor((ey + reach - y0) / cell) + 1, ny)
    most = max(i1 - i0, 0) * max(j1 - j0, 0)
    raw = np.empty(most, np.int64)
    bins = np.empty(most, np.int64)
    bin_start = np.zeros(N_BINS + 1, np.int64)
    n = 0
    for j in range(j0, j1):
        dy = y0 + j * cell - ey
        for i in range(i0, i1):
            dx = x0 + i * cell - ex
            if dx * dx + dy * dy <= reach * reach and z[j, i] == z[j, i]:
                raw[n] = j * nx + i
                bins[n] = azimuth_bin(dx, dy)
                bin_start[bins[n] + 1] += 1
                n += 1
    for b in range(N_BINS):
        bin_start[b + 1] += bin_start[b]
    fill = bin_start[:-1].copy()
    cells = np.empty(n, np.int64)
    east = np.empty(n)
    north = np.empty(n)
    distance = np.empty(n)
    foot = np.empty(n)
    for k in range(n):
        row = fill[bins[k]]
        fill[bins[k]] += 1
        j = raw[k] // nx
        i = raw[k] - j * nx
        dx = x0 + i * cell - ex
        dy = y0 + j * cell - ey
        d = math.sqrt(dx * dx + dy * dy)
        cells[row] = raw[k]
        distance[row] = d
        east[row] = dx / d if d > 0.0 else 0.0
        north[row] = dy / d if d > 0.0 else 1.0
        foot[row] = z[j, i] - ez
    return cells, bin_start, east, north, distance, foot


@njit(cache=True, nogil=True)
def _first_shadow(near, start, order):
    """(N_BINS,) float: plan distance of the nearest solid in each bin; inf for none."""
    nearest = np.full(N_BINS, np.inf)
    for b in range(N_BINS):
        if start[b + 1] > start[b]:
            nearest[b] = near[order[start[b]]]
    return nearest


@njit(cache=True, nogil=True)
def _seen_heights(
    z, patch_top, block_top, x0, y0, cell, ex, ey, ez, bins, east, north, distance, foot,
    corners, near, start, order, hidden_from,
    column, base_z, step, above, fx0, fy0, fcell, leaves_from,
):  # fmt: skip
    """Lowest visible height, pieces and their number for a run of cells."""
    n = len(distance)
    lowest = np.empty(n)
    counts = np.zeros(n, np.int64)
    unknown = np.zeros(n, np.bool_)
    pieces = np.empty((2 * n + _MOST_PIECES, 3))
    used = 0
    lows = np.empty(MOST_HIDDEN)
    highs = np.empty(MOST_HIDDEN)
    slopes = np.empty(_N_SLABS)
    depths = np.empty(_N_SLABS)
    u0 = (ex - x0) / cell
    v0 = (ey - y0) / cell
    for k in range(n):
        d = distance[k]
        ux = east[k]
        uy = north[k]
        top = foot[k] + TALLEST_M
        low = foot[k]
        if d > 1e-9:
            length = d / cell
            own = foot[k] / length
            slope, unknown[k] = steepest_view(z, patch_top, block_top, u0, v0, ez, ux, uy, length, own)
            if slope > own:
                low = slope * length
        lowest[k] = low
        if low >= top:
            continue
        b = bins[k]
        hidden = 0
        if hidden_from[b] < d:
            hidden = hidden_heights(corners, near, start, order, b, ux, uy, d, low, top, lows, highs)
        leafy = False
        if leaves_from[b] < d and d > 1e-9:
            for s in range(_N_SLABS):
                slopes[s] = (foot[k] + (s + 0.5) * LEAF_SLAB_M) / d
            leafy = leaf_depths(
                column,
                base_z,
                step,
                above,
                fx0,
                fy0,
                fcell,
                ex,
                ey,
                ez,
                ux,
                uy,
                leaves_from[b],
                d,
                slopes,
                depths,
            )
        if used + _MOST_PIECES > len(pieces):
            pieces = _grown(pieces, used)
        before = used
        bottom = low
        for h in range(hidden + 1):
            ceiling = min(lows[h], top) if h < hidden else top
            if ceiling > bottom:
                used = _add_piece(pieces, used, bottom, ceiling, foot[k], leafy, depths)
            if h < hidden:
                bottom = max(bottom, highs[h])
        counts[k] = used - before
    return lowest, pieces[:used].copy(), counts, unknown


@njit(cache=True, nogil=True)
def _grown(pieces, used):
    """Room for twice as many pieces. (Assigning slices would compile numpy's shape messages in.)"""
    grown = np.empty((2 * len(pieces), 3))
    for p in range(used):
        for k in range(3):
            grown[p, k] = pieces[p, k]
    return grown


@njit(cache=True, nogil=True)
def _add_piece(pieces, used, bottom, ceiling, foot, leafy, depths):
    """Append one visible piece, cut wherever foliage lets another share through."""
    if not leafy:
        pieces[used, 0] = bottom
        pieces[used, 1] = ceiling
        pieces[used, 2] = 1.0
        return used + 1
    s = min(max(int((bottom - foot) / LEAF_SLAB_M), 0), _N_SLABS - 1)
    low = bottom
    share = math.exp(-depths[s])
    while True:
        s += 1
        edge = foot + s * LEAF_SLAB_M
        ends = s >= _N_SLABS or edge >= ceiling
        ahead = share if ends else math.exp(-depths[s])
        if ends or abs(ahead - share) > SAME_SHARE:
            high = ceiling if ends else edge
            if high > low:
                pieces[used, 0] = low
                pieces[used, 1] = high
                pieces[used, 2] = share
                used += 1
            if ends:
                return used
            low = edge
            share = ahead

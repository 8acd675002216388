"""What lines from one eye meet first on their way to each cell: ground, which solid, which leaves.

A panorama says which heights over a cell are seen; this says what takes the others. It is worked out when
causes are first asked for, once for an eye, for verdicts and searches never need it. As a panorama it knows
no setting: over each cell it holds, whatever the slope of a line that is carried on to there, the solid that
the line meets before any ground, and what leaves let through before the line meets anything else.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.sight.foliage import leaves_below, near_leaves
from terrain3d.sight.march import crossings, steepest_view
from terrain3d.sight.parts import in_parts
from terrain3d.sight.slices import N_BINS, owned_triangles, slice_triangle
from terrain3d.terrain import LEAF_PROJECTION, Terrain
from terrain3d.units import Floats

#: Pieces of solids that the lines of one bearing can tell apart; of more the uppermost are left out.
MOST_MET = 64
#: Step of height over a cell at which the light up to what is met is known, metres: as in a panorama within
#: the height of a figure, and coarser where a line passes under a cell's ground or high above it.
STEP_M, _N_STEPS = 0.1, 25
_BELOW_M = (-6.0, -4.0, -2.5, -1.5, -0.75, -0.25)
_ABOVE_M = (2.75, 3.5, 4.5, 6.0, 8.0, 10.5)
#: Heights over a cell's ground, ascending, at which lines end whose light is known.
LINES_M = np.array([*_BELOW_M, *(STEP_M * (np.arange(_N_STEPS) + 0.5)), *_ABOVE_M])
_N_BELOW = len(_BELOW_M)
#: How far past the outermost of them the light of that one is taken, metres.
_PAST_M = 1.0


@dataclass(frozen=True, eq=False)
class Met:
    """What is met on the way to the cells of a panorama, in their order.

    Parameters
    ----------
    solid_start : (n + 1,) int64
        Solids met on the way to cell k are rows solid_start[k] to solid_start[k + 1].
    solid_heights : (m, 2) float
        From and to: lines that end at such heights over the cell, relative to the eye, metres, meet the solid
        first, before any ground. Ascending for each cell.
    solid : (m,) int32
        Its place in the names of the solids.
    leaf_row : (n,) int32
        Row of `light` of each cell; -1 where no line to it meets leaves.
    light : (k, len(LINES_M)) float
        Share that leaves let through on lines that end at LINES_M over the cell's ground, up to the solid or
        ground that they meet first.
    leaf : (k, len(LINES_M)) int32
        Place in the names of the foliage of that which takes most of each line; -1 for none.
    """

    solid_start: NDArray[np.int64]
    solid_heights: Floats
    solid: NDArray[np.int32]
    leaf_row: NDArray[np.int32]
    light: Floats
    leaf: NDArray[np.int32]


def nothing_met(n: int) -> Met:
    """For n cells: what nobody asks about, or where nothing stands."""
    return Met(
        np.zeros(n + 1, np.int64), np.zeros((0, 2)), np.zeros(0, np.int32), np.full(n, -1, np.int32),
        np.ones((0, len(LINES_M))), np.zeros((0, len(LINES_M)), np.int32),
    )  # fmt: skip


def first_met(
    terrain: Terrain,
    eye: tuple[float, float, float],
    reach_m: float,
    bins: NDArray[np.int64],
    east: Floats,
    north: Floats,
    distance: Floats,
    foot: Floats,
    lowest: Floats,
) -> Met:
    """What is met on the way to cells; arrays as those of their `Panorama`, `bins` their bins of azimuth.

    Examples
    --------
    A wall of 1.2 m stands 4 m north of an eye 1 m above level ground: 8 m away it meets whatever ends
    lower than 1.4 m above the ground, down to lines that meet the ground before the wall.

    >>> from terrain3d.survey.solids import block
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = lambda x, y: np.zeros(np.shape(x))
    >>> wall = block(np.array([[-1, 4], [1, 4], [1, 4.2], [-1, 4.2]]), 1.2, 0.0, flat, "wall", 0.25)
    >>> site = terrain_from_heights(np.zeros((41, 41)), 0.5, solids=wall)
    >>> one, up = np.ones(1), np.zeros(1)
    >>> met = first_met(site, (0.0, 0.0, 1.0), 9.0, np.zeros(1, int), up, one, 8 * one, -one, -one)
    >>> met.solid_heights.round(3) + 0.0, met.solid
    (array([[-2. ,  0.4]]), array([0], dtype=int32))
    """
    n = len(distance)
    ground, solids, foliage = terrain.ground, terrain.solids, terrain.foliage
    has_leaves = len(foliage.base_z) > 0
    if not len(solids.triangles) and not has_leaves:
        return nothing_met(n)
    ex, ey, ez = eye
    corners, near, start, order, owners = owned_triangles(solids, eye, reach_m)
    leaves_from = np.full(N_BINS, np.inf)
    if has_leaves:
        leaves_from = near_leaves(foliage.column, foliage.x0, foliage.y0, foliage.cell_m, ex, ey, reach_m)

    def part(first: int, last: int) -> tuple[NDArray[Any], ...]:
        here = slice(first, last)
        found: tuple[NDArray[Any], ...] = _meet(
            ground.z, ground.patch_top, ground.block_top, ground.x0, ground.y0, ground.cell_m, ex, ey, ez,
            bins[here], east[here], north[here], distance[here], foot[here], lowest[here],
            corners, near, start, order, owners, foliage.column, foliage.base_z, foliage.step_m,
            foliage.above, foliage.owners, max(len(foliage.names), 1), foliage.x0, foliage.y0,
            foliage.cell_m, leaves_from, LINES_M,
        )  # fmt: skip
        return found

    parts = in_parts(n, part)
    counts, heights, solid, leafy, light, leaf = (np.concatenate(rows) for rows in zip(*parts, strict=True))
    leaf_row = np.where(leafy, np.cumsum(leafy) - 1, -1).astype(np.int32)
    return Met(np.concatenate([[0], np.cumsum(counts)]), heights, solid, leaf_row, light, leaf)


@njit(cache=True, nogil=True)
def line_over(height):
    """Row of LINES_M that stands for a line ending `height` over a cell's ground; -1 for none."""
    if 0.0 <= height < _N_STEPS * STEP_M:
        return _N_BELOW + min(int(height / STEP_M), _N_STEPS - 1)
    if height < LINES_M[0] - _PAST_M or height > LINES_M[-1] + _PAST_M:
        return -1
    first = 0 if height < 0.0 else _N_BELOW + _N_STEPS
    last = _N_BELOW - 1 if height < 0.0 else len(LINES_M) - 1
    best = first
    for k in range(first + 1, last + 1):
        if abs(LINES_M[k] - height) < abs(LINES_M[best] - height):
            best = k
    return best


@njit(cache=True, nogil=True)
def _meet(
    z, patch_top, block_top, x0, y0, cell, ex, ey, ez, bins, east, north, distance, foot, lowest,
    corners, near, start, order, owners,
    column, base_z, step, above, leaf_owners, n_leaves, fx0, fy0, fcell, leaves_from, lines,
):  # fmt: skip
    """Of a run of cells: how many solids each meets, they, whether each meets leaves, and the light there."""
    n = len(distance)
    u0, v0 = (ex - x0) / cell, (ey - y0) / cell
    counts = np.zeros(n, np.int64)
    leafy = np.zeros(n, np.bool_)
    rows = np.empty((2 * n + MOST_MET, 2))
    who = np.empty(len(rows), np.int32)
    n_leafy = 0
    for k in range(n):
        n_leafy += 1 if leaves_from[bins[k]] < distance[k] else 0
    light = np.ones((n_leafy, len(lines)))
    leaf = np.full((n_leafy, len(lines)), -1, np.int32)
    # Of the segments that lines of one bearing meet first, by slope: from, to, and the segment's ends.
    met = np.empty((MOST_MET, 6))
    owner = np.empty(MOST_MET, np.int64)
    spare, spare_owner = met.copy(), owner.copy()
    slopes, stops = np.empty(len(lines)), np.empty(len(lines))
    depths = np.empty((n_leaves, len(lines)))
    used, n_lit = 0, 0
    for k in range(n):
        d = distance[k]
        b = bins[k]
        n_met = 0
        if d > 1e-9 and start[b + 1] > start[b] and near[order[start[b]]] < d:
            n_met = _segments_met(
                corners, near, start, order, owners, b, east[k], north[k], d, met, owner, spare, spare_owner
            )
            n_met = _above_ground(
                z, patch_top, block_top, u0, v0, ez, cell, east[k], north[k], lowest[k] / d, met, owner, n_met
            )
        if used + MOST_MET > len(rows):
            rows, who = _with_room(rows, who, used)
        first = used
        for m in range(n_met):
            low, high = met[m, 0] * d, met[m, 1] * d
            if used > first and who[used - 1] == owner[m] and low - rows[used - 1, 1] < 1e-9 * d:
                rows[used - 1, 1] = high
            else:
                rows[used, 0] = low
                rows[used, 1] = high
                who[used] = owner[m]
                used += 1
        counts[k] = used - first
        if leaves_from[b] < d and d > 1e-9:
            for s in range(len(lines)):
                slopes[s] = (foot[k] + lines[s]) / d
                stops[s] = d
                for m in range(n_met):
                    if met[m, 0] <= slopes[s] < met[m, 1]:
                        stops[s] = min(d, _met_at(met[m], slopes[s]))
            if _leaf_depths_met(
                z, patch_top, block_top, x0, y0, cell, ex, ey, ez, east[k], north[k], lowest[k] / d,
                column, base_z, step, above, leaf_owners, fx0, fy0, fcell, leaves_from[b], d,
                slopes, stops, depths,
            ):  # fmt: skip
                _light_of(depths, slopes, step, light[n_lit], leaf[n_lit])
                leafy[k] = True
                n_lit += 1
    return counts, rows[:used].copy(), who[:used].copy(), leafy, light[:n_lit].copy(), leaf[:n_lit].copy()


@njit(cache=True, nogil=True)
def _with_room(rows, who, used):
    """Room for twice as many rows."""
    more_rows = np.empty((2 * len(rows), 2))
    more_who = np.empty(len(more_rows), np.int32)
    for r in range(used):
        more_rows[r, 0] = rows[r, 0]
        more_rows[r, 1] = rows[r, 1]
        more_who[r] = who[r]
    return more_rows, more_who


@njit(cache=True, nogil=True)
def _met_at(segment, slope):
    """Plan distance at which a line of a slope meets a segment: rows of `met`."""
    run = segment[4] - segment[2]
    rise = segment[5] - segment[3]
    room = slope * run - rise
    if room == 0.0:
        return segment[2]
    return (segment[3] * run - segment[2] * rise) / room


@njit(cache=True, nogil=True)
def _segments_met(corners, near, start, order, owners, b, ux, uy, far, met, owner, spare, spare_owner):
    """Cut the triangles of a bearing, and keep of each the slopes at which lines meet it first."""
    n = 0
    new = np.empty(6)
    for row in range(start[b], start[b + 1]):
        f = order[row]
        if near[f] >= far:
            break
        hit, t1, z1, t2, z2 = slice_triangle(corners[f], ux, uy, far)
        if not hit:
            continue
        new[0] = min(z1 / t1, z2 / t2)
        new[1] = max(z1 / t1, z2 / t2)
        new[2], new[3], new[4], new[5] = t1, z1, t2, z2
        if new[1] - new[0] > 1e-12 and not _is_behind(met, n, new):
            n = _put(met, owner, n, new, owners[f], spare, spare_owner)
    return n


@njit(cache=True, nogil=True)
def _is_behind(met, n, new):
    """Whether all of a segment lies behind others that are wholly nearer."""
    reached = new[0]
    for m in range(n):
        if met[m, 1] <= reached:
            continue
        if met[m, 0] > reached + 1e-12 or met[m, 4] > new[2]:
            return False
        reached = met[m, 1]
        if reached >= new[1]:
            return True
    return False


@njit(cache=True, nogil=True)
def _put(met, owner, n, new, who, spare, spare_owner):
    """Put a segment among those kept, where it is the nearer one; gives their new number."""
    used = 0
    reached = new[0]
    for m in range(n):
        low, high = met[m, 0], met[m, 1]
        if low >= new[1] and reached < new[1]:
            used = _append(spare, spare_owner, used, reached, new[1], new, who)
            reached = new[1]
        if high <= new[0] or low >= new[1]:
            used = _append(spare, spare_owner, used, low, high, met[m], owner[m])
            continue
        if low > reached:
            used = _append(spare, spare_owner, used, reached, low, new, who)
        if low < new[0]:
            used = _append(spare, spare_owner, used, low, new[0], met[m], owner[m])
        first, last = max(low, new[0]), min(high, new[1])
        middle = 0.5 * (first + last)
        if _met_at(new, middle) < _met_at(met[m], middle):
            used = _append(spare, spare_owner, used, first, last, new, who)
        else:
            used = _append(spare, spare_owner, used, first, last, met[m], owner[m])
        if high > new[1]:
            used = _append(spare, spare_owner, used, new[1], high, met[m], owner[m])
        reached = max(reached, last)
    if reached < new[1]:
        used = _append(spare, spare_owner, used, reached, new[1], new, who)
    for m in range(used):
        for c in range(6):
            met[m, c] = spare[m, c]
        owner[m] = spare_owner[m]
    return used


@njit(cache=True, nogil=True)
def _append(met, owner, used, low, high, segment, who):
    """Append the slopes from `low` to `high` of a segment, where there is room and anything of them."""
    if high - low <= 1e-12 or used == len(met):
        return used
    met[used, 0] = low
    met[used, 1] = high
    for c in range(2, 6):
        met[used, c] = segment[c]
    owner[used] = who
    return used + 1


@njit(cache=True, nogil=True)
def _above_ground(z, patch_top, block_top, u0, v0, ez, cell, ux, uy, steepest, met, owner, n):
    """Leave of the segments what lines meet before any ground; gives their new number.

    `steepest` is the slope of the line that just clears all ground before the cell.
    """
    used = 0
    last_at, view = -1.0, 0.0
    for m in range(n):
        low = met[m, 0]
        if low < steepest:
            at = min(_met_at(met[m], low), _met_at(met[m], met[m, 1]))
            if at != last_at or view < low:
                seen, _ = steepest_view(z, patch_top, block_top, u0, v0, ez, ux, uy, at / cell, low * cell)
                last_at, view = at, seen / cell
            low = max(low, view)
        if low < met[m, 1]:
            for c in range(6):
                met[used, c] = met[m, c]
            met[used, 0] = low
            owner[used] = owner[m]
            used += 1
    return used


@njit(cache=True, nogil=True)
def _leaf_depths_met(
    z, patch_top, block_top, x0, y0, cell, ex, ey, ez, ux, uy, steepest,
    column, base_z, step, above, owners, fx0, fy0, fcell, begin, far, slopes, stops, depths,
):  # fmt: skip
    """Optical depth by thing of lines up to where they stop; as `foliage.leaf_depths`, line by line.

    `depths` is (things, lines), in steps of leaf area density; gives whether any line meets any leaf.
    """
    ny, nx = column.shape
    n_lines = len(slopes)
    depths[:, :] = 0.0
    seen, _ = steepest_view(
        z,
        patch_top,
        block_top,
        (ex - x0) / cell,
        (ey - y0) / cell,
        ez,
        ux,
        uy,
        begin / cell,
        slopes[0] * cell,
    )
    view = seen / cell
    u = (ex - fx0) / fcell + 0.5
    v = (ey - fy0) / fcell + 0.5
    i = math.floor(u + ux * begin / fcell)
    j = math.floor(v + uy * begin / fcell)
    step_i, pitch_u, next_u = crossings(u * fcell, ux, i, fcell)
    step_j, pitch_v, next_v = crossings(v * fcell, uy, j, fcell)
    n_steps = above.shape[1] - 1
    per_step = 1.0 / step
    met = False
    alive = 0
    t = begin
    while t < far:
        t_out = min(next_u, next_v, far)
        while alive < n_lines and slopes[alive] < min(view, steepest):
            alive += 1  # this line and all that are lower have met ground
        row = column[j, i] if 0 <= i < nx and 0 <= j < ny else -1
        if row >= 0 and t_out > t:
            base = (base_z[row] - ez) * per_step
            for k in range(alive, n_lines):
                out = min(t_out, stops[k])
                if out <= t:
                    continue
                s_in = slopes[k] * t * per_step - base
                s_out = slopes[k] * out * per_step - base
                low = min(s_in, s_out)
                high = max(s_in, s_out)
                if high <= 0.0:
                    continue
                if low >= n_steps:
                    break  # the lines rise with k
                if high - low > 1e-6:
                    area = leaves_below(above, row, high) - leaves_below(above, row, low)
                    depth = area / (high - low) * (out - t)
                else:
                    at = min(int(low), n_steps - 1)
                    depth = (above[row, at + 1] - above[row, at]) * (out - t)
                if depth > 0.0:
                    depths[owners[row], k] += depth
                    met = True
        t = t_out
        view = max(view, _ground_view(z, x0, y0, cell, ex, ey, ez, ux, uy, t, view))
        if next_u <= next_v:
            next_u += pitch_u
            i += step_i
        else:
            next_v += pitch_v
            j += step_j
    return met


@njit(cache=True, nogil=True)
def _ground_view(z, x0, y0, cell, ex, ey, ez, ux, uy, t, otherwise):
    """Slope from the eye to the ground `t` metres away; `otherwise` where none is known."""
    ny, nx = z.shape
    u = (ex + ux * t - x0) / cell
    v = (ey + uy * t - y0) / cell
    i = min(max(math.floor(u), 0), nx - 2)
    j = min(max(math.floor(v), 0), ny - 2)
    fu = u - i
    fv = v - j
    if t <= 0.0 or not (-0.5 <= fu <= 1.5 and -0.5 <= fv <= 1.5):
        return otherwise
    low = z[j, i] * (1.0 - fu) + z[j, i + 1] * fu
    high = z[j + 1, i] * (1.0 - fu) + z[j + 1, i + 1] * fu
    slope = (low * (1.0 - fv) + high * fv - ez) / t
    return slope if slope == slope else otherwise


@njit(cache=True, nogil=True)
def _light_of(depths, slopes, step, light, leaf):
    """Light on each line, and the thing that takes most of it."""
    for k in range(len(slopes)):
        total, most = 0.0, 0.0
        for thing in range(len(depths)):
            total += depths[thing, k]
            if depths[thing, k] > most:
                most = depths[thing, k]
                leaf[k] = thing
        light[k] = math.exp(-total * LEAF_PROJECTION / step * math.sqrt(1.0 + slopes[k] * slopes[k]))

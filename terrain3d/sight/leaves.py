"""What foliage lets through along straight lines: Beer-Lambert over upright columns of leaves."""

import math

import numpy as np
from numba import njit

from terrain3d.sight.slices import N_BINS, azimuth_bin
from terrain3d.terrain import LEAF_PROJECTION


@njit(cache=True, nogil=True)
def near_leaves(column, x0, y0, cell, ex, ey, reach):
    """(N_BINS,) float: plan distance of the first leaves in each bin of azimuth; inf for none."""
    ny, nx = column.shape
    nearest = np.full(N_BINS, np.inf)
    half_diagonal = cell * math.sqrt(0.5)
    i0 = max(int((ex - reach - x0) / cell) - 1, 0)
    i1 = min(int((ex + reach - x0) / cell) + 2, nx)
    j0 = max(int((ey - reach - y0) / cell) - 1, 0)
    j1 = min(int((ey + reach - y0) / cell) + 2, ny)
    for j in range(j0, j1):
        for i in range(i0, i1):
            if column[j, i] < 0:
                continue
            dx = x0 + i * cell - ex
            dy = y0 + j * cell - ey
            d = math.hypot(dx, dy)
            if d > reach + half_diagonal:
                continue
            gap = max(d - half_diagonal, 0.0)
            if d <= half_diagonal * 1.001:
                for b in range(N_BINS):
                    nearest[b] = 0.0
                continue
            spread = int(math.asin(half_diagonal / d) / (2.0 * math.pi) * N_BINS) + 1
            middle = azimuth_bin(dx, dy)
            for k in range(-spread, spread + 1):
                b = (middle + k) % N_BINS
                nearest[b] = min(nearest[b], gap)
    return nearest


@njit(cache=True, nogil=True, inline="always")
def _leaves_below(above, row, steps):
    """Running leaf area up to a height given in steps above the column's base."""
    n = above.shape[1] - 1
    if steps <= 0.0:
        return 0.0
    if steps >= n:
        return above[row, n]
    k = int(steps)
    return above[row, k] + (steps - k) * (above[row, k + 1] - above[row, k])


@njit(cache=True, nogil=True)
def leaf_depths(column, base_z, step, above, x0, y0, cell, ex, ey, ez, ux, uy, far, slopes, depths):
    """Optical depth along lines of one bearing that end `far` metres away in plan.

    Parameters
    ----------
    slopes : (k,) float
        Rise per metre of plan distance of each line, ascending.
    depths : (k,) float
        Filled with the optical depths: LEAF_PROJECTION times leaf area density along the path.

    Returns
    -------
    bool
        Whether any line meets any leaf.
    """
    ny, nx = column.shape
    n_lines = len(slopes)
    depths[:] = 0.0
    u = (ex - x0) / cell + 0.5
    v = (ey - y0) / cell + 0.5
    i = math.floor(u)
    j = math.floor(v)
    step_i = 1 if ux > 0 else -1
    step_j = 1 if uy > 0 else -1
    inv_u = cell / abs(ux) if ux != 0 else math.inf
    inv_v = cell / abs(uy) if uy != 0 else math.inf
    next_u = ((i + 1 - u) if ux > 0 else (u - i)) * inv_u if ux != 0 else math.inf
    next_v = ((j + 1 - v) if uy > 0 else (v - j)) * inv_v if uy != 0 else math.inf
    n_steps = above.shape[1] - 1
    tall = step * n_steps
    t = 0.0
    while t < far:
        t_out = min(next_u, next_v, far)
        row = column[j, i] if 0 <= i < nx and 0 <= j < ny else -1
        if row >= 0 and t_out > t:
            base = base_z[row] - ez
            lowest = min(slopes[0] * t, slopes[0] * t_out)
            highest = max(slopes[n_lines - 1] * t, slopes[n_lines - 1] * t_out)
            if highest > base and lowest < base + tall:
                for k in range(n_lines):
                    s_in = (slopes[k] * t - base) / step
                    s_out = (slopes[k] * t_out - base) / step
                    if max(s_in, s_out) <= 0.0 or min(s_in, s_out) >= n_steps:
                        continue
                    rise = abs(s_out - s_in)
                    if rise > 1e-6:
                        leaves = abs(_leaves_below(above, row, s_out) - _leaves_below(above, row, s_in))
                        per_metre = leaves / (rise * step)
                    else:
                        at = min(int(s_in), n_steps - 1)
                        per_metre = (above[row, at + 1] - above[row, at]) / step
                    depths[k] += per_metre * (t_out - t)
        t = t_out
        if next_u <= next_v:
            next_u += inv_u
            i += step_i
        else:
            next_v += inv_v
            j += step_j
    met = False
    for k in range(n_lines):
        if depths[k] > 0.0:
            met = True
            depths[k] *= LEAF_PROJECTION * math.sqrt(1.0 + slopes[k] * slopes[k])
    return met

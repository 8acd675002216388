"""What foliage lets through along straight lines: Beer-Lambert over upright columns of leaves."""

import math

import numpy as np
from numba import njit

from terrain3d.sight.march import crossings
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


@njit(cache=True, nogil=True)
def leaves_below(above, row, steps):
    """Running leaf area up to a height given in steps above the column's base."""
    n = above.shape[1] - 1
    if steps <= 0.0:
        return 0.0
    if steps >= n:
        return above[row, n]
    k = int(steps)
    return above[row, k] + (steps - k) * (above[row, k + 1] - above[row, k])


@njit(cache=True, nogil=True)
def leaf_depths(column, base_z, step, above, x0, y0, cell, ex, ey, ez, ux, uy, begin, far, slopes, depths):
    """Optical depth along lines of one bearing that end `far` metres away in plan.

    Parameters
    ----------
    begin, far : float
        Plan distance before which there are no leaves, and at which the lines end.
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
    for k in range(n_lines):
        depths[k] = 0.0
    u = (ex - x0) / cell + 0.5
    v = (ey - y0) / cell + 0.5
    i = math.floor(u + ux * begin / cell)
    j = math.floor(v + uy * begin / cell)
    step_i, pitch_u, next_u = crossings(u * cell, ux, i, cell)
    step_j, pitch_v, next_v = crossings(v * cell, uy, j, cell)
    n_steps = above.shape[1] - 1
    per_step = 1.0 / step
    t = begin
    while t < far:
        t_out = min(next_u, next_v, far)
        row = column[j, i] if 0 <= i < nx and 0 <= j < ny else -1
        if row >= 0 and t_out > t:
            base = (base_z[row] - ez) * per_step
            # Heights in steps above the column's base, linear in the slope at either end.
            at_in = t * per_step
            at_out = t_out * per_step
            inside = t_out - t
            for k in range(n_lines):
                s_in = slopes[k] * at_in - base
                s_out = slopes[k] * at_out - base
                low = min(s_in, s_out)
                high = max(s_in, s_out)
                if high <= 0.0:
                    continue
                if low >= n_steps:
                    break  # the lines rise with k: those above pass over these leaves as well
                if high - low > 1e-6:
                    leaves = leaves_below(above, row, high) - leaves_below(above, row, low)
                    depths[k] += leaves / (high - low) * inside
                else:
                    at = min(int(low), n_steps - 1)
                    depths[k] += (above[row, at + 1] - above[row, at]) * inside
        t = t_out
        if next_u <= next_v:
            next_u += pitch_u
            i += step_i
        else:
            next_v += pitch_v
            j += step_j
    met = False
    for k in range(n_lines):
        if depths[k] > 0.0:
            met = True
            depths[k] *= LEAF_PROJECTION * per_step * math.sqrt(1.0 + slopes[k] * slopes[k])
    return met

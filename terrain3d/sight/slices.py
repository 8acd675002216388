"""What triangles hide along one bearing: exact shadows instead of sampled rays.

An upright half-plane through the eye cuts each triangle in a straight segment. Seen from the eye the
segment covers everything between the views to its two ends, so the heights it hides over any point
behind it are one interval, and all that solids hide there is the union of such intervals.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.terrain import Solids
from terrain3d.units import Floats

#: Bins of azimuth in which triangles and foliage columns are sorted.
N_BINS = 720
#: Nothing nearer to the eye than this counts, metres: the wall a unit is fixed to starts there.
NEAR_M = 1e-3


@njit(cache=True, nogil=True)
def azimuth_bin(x, y):
    """Bin of the bearing of (x east, y north), clockwise from north."""
    turn = math.atan2(x, y) / (2.0 * math.pi)
    if turn < 0.0:
        turn += 1.0
    return min(int(turn * N_BINS), N_BINS - 1)


@njit(cache=True, nogil=True)
def _bins_spanned(tri):
    """First bin and number of bins that a triangle seen from the origin spans (all, overhead)."""
    angles = np.empty(3)
    for k in range(3):
        angles[k] = math.atan2(tri[k, 0], tri[k, 1])
    low = 0.0
    high = 0.0
    for k in range(1, 3):
        turn = angles[k] - angles[0]
        if turn > math.pi:
            turn -= 2.0 * math.pi
        elif turn < -math.pi:
            turn += 2.0 * math.pi
        low = min(low, turn)
        high = max(high, turn)
    if _around_origin(tri) or high - low > math.pi - 1e-6:
        return 0, N_BINS
    per_bin = 2.0 * math.pi / N_BINS
    first = math.floor((angles[0] + low) / per_bin - 1e-9)
    last = math.floor((angles[0] + high) / per_bin + 1e-9)
    return first, min(last - first + 1, N_BINS)


@njit(cache=True, nogil=True)
def _around_origin(tri):
    """True where the triangle's plan holds the origin, its edges included."""
    sides = 0
    for k in range(3):
        n = (k + 1) % 3
        cross = tri[k, 0] * tri[n, 1] - tri[k, 1] * tri[n, 0]
        sides += 1 if cross > 1e-12 else (-1 if cross < -1e-12 else 0)
    near = min(
        math.hypot(tri[0, 0], tri[0, 1]), math.hypot(tri[1, 0], tri[1, 1]), math.hypot(tri[2, 0], tri[2, 1])
    )
    return abs(sides) == 3 or near < NEAR_M


@njit(cache=True, nogil=True)
def _plan_distance(tri):
    """Least plan distance from the origin to the triangle's edges; 0 when it stands overhead."""
    if _around_origin(tri):
        return 0.0
    least = math.inf
    for k in range(3):
        n = (k + 1) % 3
        ex = tri[n, 0] - tri[k, 0]
        ey = tri[n, 1] - tri[k, 1]
        square = ex * ex + ey * ey
        s = 0.0
        if square > 0.0:
            s = min(max(-(tri[k, 0] * ex + tri[k, 1] * ey) / square, 0.0), 1.0)
        least = min(least, math.hypot(tri[k, 0] + s * ex, tri[k, 1] + s * ey))
    return least


def sorted_triangles(
    solids: Solids, eye: tuple[float, float, float], reach_m: float
) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Triangles within reach, seen from the eye, sorted into bins of azimuth, nearest first.

    Returns
    -------
    corners : (k, 3, 3) float
        Relative to the eye, metres.
    near : (k,) float
        Plan distance at which each starts.
    start : (N_BINS + 1,) int64
        Where each bin starts in `order`.
    order : (m,) int64
        Rows of `corners`.
    """
    corners, near, start, order, _ = owned_triangles(solids, eye, reach_m)
    return corners, near, start, order


def owned_triangles(
    solids: Solids, eye: tuple[float, float, float], reach_m: float
) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """The same, and for each row of `corners` the place in their names of the solid it belongs to."""
    corners = solids.vertices[solids.triangles] - np.asarray(eye)
    near = _plan_distances(corners)
    nearest_first = np.argsort(near, kind="stable")
    nearest_first = nearest_first[near[nearest_first] < reach_m]
    corners, near = corners[nearest_first], near[nearest_first]
    start, order = _binned(corners)
    return corners, near, start, order, solids.owners[nearest_first]


@njit(cache=True, nogil=True)
def _plan_distances(corners):
    """(n,) float: plan distance at which each triangle starts, seen from the origin."""
    near = np.empty(len(corners))
    for f in range(len(corners)):
        near[f] = _plan_distance(corners[f])
    return near


@njit(cache=True, nogil=True)
def _binned(corners):
    """Start of each bin of azimuth, and the triangles in it, in the order they come."""
    n = len(corners)
    start = np.zeros(N_BINS + 1, np.int64)
    spans = np.empty((n, 2), np.int64)
    for f in range(n):
        first, count = _bins_spanned(corners[f])
        spans[f, 0] = first
        spans[f, 1] = count
        for k in range(count):
            start[(first + k) % N_BINS + 1] += 1
    for b in range(N_BINS):
        start[b + 1] += start[b]
    fill = start[:-1].copy()
    order = np.empty(start[-1], np.int64)
    for f in range(n):
        for k in range(spans[f, 1]):
            b = (spans[f, 0] + k) % N_BINS
            order[fill[b]] = f
            fill[b] += 1
    return start, order


@njit(cache=True, nogil=True)
def slice_triangle(tri, ux, uy, far):
    """The segment in which the half-plane of bearing (ux, uy) cuts a triangle, up to `far`.

    Returns
    -------
    hit : bool
    t1, z1, t2, z2 : float
        Plan distance and height of its ends, relative to the eye.
    """
    t1 = 0.0
    z1 = 0.0
    t2 = 0.0
    z2 = 0.0
    found = 0
    for k in range(3):
        n = k + 1 if k < 2 else 0
        s_k = tri[k, 0] * uy - tri[k, 1] * ux
        s_n = tri[n, 0] * uy - tri[n, 1] * ux
        if (s_k >= 0.0) != (s_n >= 0.0):
            w = s_k / (s_k - s_n)
            t_k = tri[k, 0] * ux + tri[k, 1] * uy
            t_n = tri[n, 0] * ux + tri[n, 1] * uy
            t = t_k + w * (t_n - t_k)
            z = tri[k, 2] + w * (tri[n, 2] - tri[k, 2])
            if found == 0:
                t1, z1 = t, z
            else:
                t2, z2 = t, z
            found += 1
    if found < 2:
        return False, t1, z1, t2, z2
    if t1 > t2:
        t1, z1, t2, z2 = t2, z2, t1, z1
    if t2 <= NEAR_M or t1 >= far:
        return False, t1, z1, t2, z2
    if t1 < NEAR_M:
        z1 += (z2 - z1) * (NEAR_M - t1) / (t2 - t1)
        t1 = NEAR_M
    if t2 > far:
        z2 = z1 + (z2 - z1) * (far - t1) / (t2 - t1)
        t2 = far
    return True, t1, z1, t2, z2


@njit(cache=True, nogil=True)
def add_interval(lows, highs, n, low, high):
    """Put [low, high] into a union of intervals kept apart and in order; gives their new number.

    A full list swallows the gap below the new interval: it may hide more than it should, never less.
    """
    seam = 1e-7  # two triangles that share an edge are cut within rounding of each other
    first = 0
    while first < n and highs[first] < low - seam:
        first += 1
    last = first
    while last < n and lows[last] <= high + seam:
        low = min(low, lows[last])
        high = max(high, highs[last])
        last += 1
    if last == first:
        if n == len(lows):
            row = max(first - 1, 0)
            lows[row] = min(lows[row], low)
            highs[row] = max(highs[row], high)
            return n
        for k in range(n, first, -1):
            lows[k] = lows[k - 1]
            highs[k] = highs[k - 1]
        lows[first] = low
        highs[first] = high
        return n + 1
    lows[first] = low
    highs[first] = high
    removed = last - first - 1
    for k in range(first + 1, n - removed):
        lows[k] = lows[k + removed]
        highs[k] = highs[k + removed]
    return n - removed


@njit(cache=True, nogil=True)
def hidden_heights(corners, near, start, order, b, ux, uy, far, low, high, lows, highs):
    """Heights over a point `far` metres away that solids hide, relative to the eye.

    Parameters
    ----------
    b : int
        Bin of the point's azimuth.
    ux, uy : float
        Unit bearing of the point.
    low, high : float
        Only heights between these matter; once all are hidden, the search ends.
    lows, highs : (k,) float
        Filled with the union of intervals, in order.

    Returns
    -------
    int
        How many intervals there are.
    """
    n = 0
    for row in range(start[b], start[b + 1]):
        f = order[row]
        if near[f] >= far:
            break
        hit, t1, z1, t2, z2 = slice_triangle(corners[f], ux, uy, far)
        if hit:
            first = z1 / t1 * far
            second = z2 / t2 * far
            bottom = min(first, second)
            top = max(first, second)
            if bottom < high and top > low:
                n = add_interval(lows, highs, n, bottom, top)
                if n == 1 and lows[0] <= low and highs[0] >= high:
                    break
    return n

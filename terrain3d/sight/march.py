"""A straight sight line over the bilinear ground, exactly: no sampling between nodes.

Within one patch of four nodes the ground under a straight line is a parabola, so the steepest view
onto it and the first meeting with a ray have closed forms; the line walks from patch to patch
(Amanatides and Woo, "A fast voxel traversal algorithm for ray tracing", Eurographics 1987).
Distances here are in cells, heights in metres; callers scale once.
"""

import math

from numba import njit

from terrain3d.terrain import BLOCK
from terrain3d.units import Floats


@njit(cache=True, nogil=True)
def _parabola(z, i, j, u0, v0, du, dv):
    """Coefficients a, b, c of the ground height a t^2 + b t + c along the line, in patch (i, j)."""
    z00 = z[j, i]
    p = z[j, i + 1] - z00
    q = z[j + 1, i] - z00
    k = z[j + 1, i + 1] - z00 - p - q
    fu = u0 - i
    fv = v0 - j
    return k * du * dv, p * du + q * dv + k * (fu * dv + fv * du), z00 + p * fu + q * fv + k * fu * fv


@njit(cache=True, nogil=True)
def _clamped_patch(value, n):
    """Patch index of a node coordinate; the outermost patches reach to the edges of the cells."""
    return min(max(math.floor(value), 0), n - 2)


@njit(cache=True, nogil=True)
def crossings(start, along, index, size):
    """How a line walks over one axis of a grid of squares.

    Parameters
    ----------
    start : float
        Where the line starts on this axis.
    along : float
        Part of its unit direction along it.
    index : int
        Square it starts in, whose near edge is at index * size.
    size : float
        Side of a square.

    Returns
    -------
    step : int
        Change of index at each edge.
    pitch, first : float
        Distance along the line from edge to edge, and to the first one; inf when it never meets any.
    """
    if along == 0.0:
        return 1, math.inf, math.inf
    if along > 0.0:
        return 1, size / along, ((index + 1) * size - start) / along
    return -1, -size / along, (index * size - start) / along


@njit(cache=True, nogil=True)
def steepest_view(z, patch_top, block_top, u0, v0, eye_z, du, dv, length, best):
    """Greatest slope from the eye to the ground between it and a point `length` cells away.

    Parameters
    ----------
    z : (ny, nx) float
        Node heights, metres; NaN patches neither block nor count.
    patch_top, block_top : 2-D float
        Highest node of each patch, and of each block of patches, as `Ground` has them.
    u0, v0 : float
        The eye in node coordinates (columns, rows).
    eye_z : float
        Metres.
    du, dv : float
        Unit direction, cells.
    length : float
        Cells.
    best : float
        A slope known to be seen, to start from: blocks and patches below that view are passed over
        unread, which on smooth ground is nearly all of them.

    Returns
    -------
    slope : float
        Metres per cell, at least `best`.
    crosses_unknown : bool
    """
    n_rows, n_columns = block_top.shape
    unknown = False
    i = min(max(math.floor(u0 / BLOCK), 0), n_columns - 1)
    j = min(max(math.floor(v0 / BLOCK), 0), n_rows - 1)
    step_i, pitch_u, next_u = crossings(u0, du, i, BLOCK)
    step_j, pitch_v, next_v = crossings(v0, dv, j, BLOCK)
    t = 0.0
    while True:
        t_out = min(next_u, next_v, length)
        # Written so that a block that is not known (NaN) goes the long way and is noticed.
        if not block_top[j, i] - eye_z <= best * (t if best > 0.0 else t_out):
            best, blind = _steepest_in_patches(z, patch_top, u0, v0, eye_z, du, dv, t, t_out, best)
            unknown = unknown or blind
        t = t_out
        if t >= length:
            return best, unknown
        if next_u <= next_v:
            next_u += pitch_u
            i += step_i
            if i < 0 or i >= n_columns:
                i -= step_i
                next_u = math.inf
        else:
            next_v += pitch_v
            j += step_j
            if j < 0 or j >= n_rows:
                j -= step_j
                next_v = math.inf


@njit(cache=True, nogil=True)
def _steepest_in_patches(z, patch_top, u0, v0, eye_z, du, dv, begin, length, best):
    """The same between two distances along the line, patch by patch."""
    ny, nx = z.shape
    unknown = False
    i = _clamped_patch(u0 + du * begin, nx)
    j = _clamped_patch(v0 + dv * begin, ny)
    step_i, pitch_u, next_u = crossings(u0, du, i, 1)
    step_j, pitch_v, next_v = crossings(v0, dv, j, 1)
    t = begin
    while True:
        # Beginning in a strip outside the nodes, the edge of its patch lies behind.
        t_out = max(min(next_u, next_v, length), t)
        if not patch_top[j, i] - eye_z <= best * (t if best > 0.0 else t_out):
            a, b, c = _parabola(z, i, j, u0, v0, du, dv)
            drop = c - eye_z
            if t_out > 0.0:
                slope = a * t_out + b + drop / t_out
                if slope > best:
                    best = slope
                elif slope != slope:
                    unknown = True
            if t > 0.0:
                slope = a * t + b + drop / t
                if slope > best:
                    best = slope
            if a < 0.0 and drop < 0.0:
                # The parabola bulges upwards: its tangent from the eye may touch inside the patch.
                touch = math.sqrt(drop / a)
                if t < touch < t_out:
                    slope = a * touch + b + drop / touch
                    if slope > best:
                        best = slope
        t = t_out
        if t >= length:
            return best, unknown
        if next_u <= next_v:
            next_u += pitch_u
            i += step_i
            if i < 0 or i > nx - 2:
                i -= step_i
                next_u = math.inf
        else:
            next_v += pitch_v
            j += step_j
            if j < 0 or j > ny - 2:
                j -= step_j
                next_v = math.inf


@njit(cache=True, nogil=True)
def first_ground(z, u0, v0, eye_z, du, dv, rise, length):
    """Distance in cells at which a ray first meets the ground; inf when it does not by `length`.

    `rise` is the ray's own climb, metres per cell of plan distance. Patches that are not known
    are passed through; a ray that leaves the grid meets nothing.
    """
    ny, nx = z.shape
    i = _clamped_patch(u0, nx)
    j = _clamped_patch(v0, ny)
    step_i, pitch_u, next_u = crossings(u0, du, i, 1)
    step_j, pitch_v, next_v = crossings(v0, dv, j, 1)
    t = 0.0
    while t < length:
        t_out = min(next_u, next_v, length)
        if t_out > t:
            a, b, c = _parabola(z, i, j, u0, v0, du, dv)
            hit = _first_root(a, b - rise, c - eye_z, t, t_out)
            if hit < math.inf:
                return hit
            t = t_out
        if next_u <= next_v:
            next_u += pitch_u
            i += step_i
            if i < 0 or i > nx - 2:
                return math.inf
        else:
            next_v += pitch_v
            j += step_j
            if j < 0 or j > ny - 2:
                return math.inf
    return math.inf


@njit(cache=True, nogil=True)
def _first_root(a, b, c, t_in, t_out):
    """First t in [t_in, t_out] where a t^2 + b t + c rises to zero or above; inf for none."""
    if a * t_in * t_in + b * t_in + c >= 0.0:
        return t_in
    if a == 0.0:
        root = -c / b if b != 0.0 else math.inf
        return root if t_in <= root <= t_out else math.inf
    disc = b * b - 4.0 * a * c
    if disc < 0.0 or disc != disc:
        return math.inf
    # The stable pair: no two nearly equal numbers are subtracted.
    q = -0.5 * (b + math.copysign(math.sqrt(disc), b))
    first = q / a
    second = c / q if q != 0.0 else math.inf
    low = min(first, second)
    high = max(first, second)
    if t_in <= low <= t_out:
        return low
    if t_in <= high <= t_out:
        return high
    return math.inf


def height_along(z: Floats, u: float, v: float) -> float:
    """Plain bilinear height at node coordinates, the slow twin that tests compare with."""
    ny, nx = z.shape
    i, j = min(max(math.floor(u), 0), nx - 2), min(max(math.floor(v), 0), ny - 2)
    fu, fv = u - i, v - j
    return float(
        z[j, i] * (1 - fu) * (1 - fv)
        + z[j, i + 1] * fu * (1 - fv)
        + z[j + 1, i] * (1 - fu) * fv
        + z[j + 1, i + 1] * fu * fv
    )

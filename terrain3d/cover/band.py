"""A layer along one bearing: the kernels that verdicts, causes and the search share.

In a head's frame a layer is a band of elevations. Along a bearing a world direction of slope t has the sine
(lean + up_z t) / sqrt(1 + t^2) of elevation in the head, so the band's edges cost one square root each.
"""

import math

import numpy as np
from numba import njit

#: Share of a band's length that rounding may take from a figure that just reaches its middle.
ROUNDING = 1e-9


@njit(cache=True, nogil=True)
def axes_of(bearing, tilt, roll):
    """Rows right, forward and up of a head; the twin of `detector.pose.head_axes`."""
    b = math.radians(bearing)
    t = math.radians(tilt)
    r = math.radians(roll)
    right = (math.cos(b), -math.sin(b), 0.0)
    up = (math.sin(t) * math.sin(b), math.sin(t) * math.cos(b), math.cos(t))
    axes = np.empty((3, 3))
    for k in range(3):
        axes[0, k] = math.cos(r) * right[k] - math.sin(r) * up[k]
        axes[2, k] = math.sin(r) * right[k] + math.cos(r) * up[k]
    axes[1, 0] = math.cos(t) * math.sin(b)
    axes[1, 1] = math.cos(t) * math.cos(b)
    axes[1, 2] = -math.sin(t)
    return axes


@njit(cache=True, nogil=True)
def layer_sines(elevation, half_thickness, nominal_height, range_m):
    """(l, 3) sines of the lower edge, axis and upper edge of each layer in the head's frame."""
    sines = np.empty((len(elevation), 3))
    for k in range(len(elevation)):
        middle = elevation[k]
        if middle != middle:
            middle = -math.degrees(math.atan(nominal_height / range_m))
        for edge in range(3):
            sines[k, edge] = math.sin(math.radians(middle + (edge - 1) * half_thickness[k]))
    return sines


@njit(cache=True, nogil=True)
def slope_at(lean, up_z, sine):
    """Rise per metre of plan distance at which a bearing meets a given elevation of the head.

    With `lean` the part of the head's up axis along the bearing, a direction (bearing, slope t) has
    the sine (lean + up_z t) / sqrt(1 + t^2); this is its inverse.
    """
    room = up_z * up_z - sine * sine
    # One division that a loop over cells can keep outside: only `lean` changes from cell to cell.
    return (sine * math.sqrt(lean * lean + room) - lean * up_z) * (1.0 / room)


@njit(cache=True, nogil=True)
def in_arc(side, ahead, tangent, is_wide):
    """Whether a direction, so far to the side and so far ahead, lies within the arc."""
    narrow = (ahead > 0.0) & (side <= ahead * tangent * (1.0 + 1e-9) + 1e-12)
    wide = (ahead >= 0.0) | (side >= -ahead * tangent * (1.0 - 1e-9))
    return (narrow & (not is_wide)) | (wide & is_wide)


@njit(cache=True, nogil=True)
def arc_tangent(half_arc):
    """Tangent that bounds the arc, and whether it is wider than 180 degrees."""
    if half_arc > 90.0:
        return math.tan(math.radians(180.0 - half_arc)), True
    return math.tan(math.radians(min(half_arc, 90.0 - 1e-9))), False


@njit(cache=True, nogil=True)
def filled_length(pieces, first, last, z_low, z_high):
    """Length of [z_low, z_high] that can be seen, weighted by what foliage lets through."""
    total = 0.0
    for p in range(first, last):
        low = max(z_low, pieces[p, 0])
        high = min(z_high, pieces[p, 1])
        if high > low:
            total += (high - low) * pieces[p, 2]
    return total

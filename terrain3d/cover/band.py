"""The law: a layer over a cell, once and for all. Verdicts, causes, walks, the search and sections call it.

In a head's frame a layer is a band of elevations. Along a bearing a world direction of slope t has the sine
(lean + up_z t) / sqrt(1 + t^2) of elevation in the head, so the band's edges cost one square root each.
Whether arc and range hold the layer there is judged on its axis. A layer is broken where the part of its band
that a figure fills, in sight, comes to the share that the unit needs.

Kernels are small and without branches: where they are called in a loop over cells, or over bearings, they are
inlined, and the loop runs on the processor's vector units.
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
def turned(axes, degrees):
    """The axes turned to the right about the head's own up: ahead is the middle of a stretch of its arc."""
    c = math.cos(math.radians(degrees))
    s = math.sin(math.radians(degrees))
    about = np.empty((3, 3))
    for k in range(3):
        about[0, k] = c * axes[0, k] - s * axes[1, k]
        about[1, k] = s * axes[0, k] + c * axes[1, k]
        about[2, k] = axes[2, k]
    return about


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
def axis_over(
    east, north, right_x, right_y, right_z, ahead_x, ahead_y, ahead_z, up_x, up_y, up_z, sine
):  # fmt: skip
    """Where a layer's axis, or either of its edges, passes over a bearing.

    Returns
    -------
    lean, slope, side, ahead : float
        The part of the head's up axis along the bearing; rise per metre of plan distance; and how far to the
        right and ahead in the head's frame the direction points, for a metre of plan distance.
    """
    lean = east * up_x + north * up_y
    slope = slope_at(lean, up_z, sine)
    side = east * right_x + north * right_y + slope * right_z
    ahead = east * ahead_x + north * ahead_y + slope * ahead_z
    return lean, slope, side, ahead


@njit(cache=True, nogil=True)
def band_over(
    east, north, d, right_x, right_y, right_z, ahead_x, ahead_y, ahead_z, up_x, up_y, up_z,
    sine_low, sine, sine_high, tangent, is_wide, reach_squared,
):  # fmt: skip
    """One layer over one cell.

    Parameters
    ----------
    east, north, d
        Unit bearing of the cell and its plan distance, metres.
    right_x, ... up_z
        Of the head, from `axes_of`.
    sine_low, sine, sine_high
        Lower edge, axis and upper edge, from `layer_sines`.
    tangent, is_wide
        From `arc_tangent`.
    reach_squared
        From `squared_reach`.

    Returns
    -------
    is_in_arc, is_in_reach : bool
        Of the layer's axis there.
    slope : float
        Of the axis.
    z_low, z_high : float
        Heights of the band's edges over the cell, relative to the eye, metres.
    """
    lean, slope, side, ahead = axis_over(
        east, north, right_x, right_y, right_z, ahead_x, ahead_y, ahead_z, up_x, up_y, up_z, sine
    )
    return (
        in_arc(abs(side), ahead, tangent, is_wide),
        d * d * (1.0 + slope * slope) <= reach_squared,
        slope,
        d * slope_at(lean, up_z, sine_low),
        d * slope_at(lean, up_z, sine_high),
    )


@njit(cache=True, nogil=True)
def squared_reach(max_range):
    """The square of a slant range, and a hair more."""
    return max_range * max_range * (1.0 + 1e-12)


@njit(cache=True, nogil=True)
def needed_share(fill_needed):
    """The share of a band that breaks its layer, and a hair less: a figure may just reach its middle."""
    return fill_needed - ROUNDING


@njit(cache=True, nogil=True)
def filled_by(z_low, roof, low, share):
    """Length of a band, from its lower edge up to `roof`, that is seen above `low`, weighted by its light.

    `roof` is the least of the band's upper edge, the figure's head and the upper end of what is seen.
    """
    return max(roof - max(z_low, low), 0.0) * share


@njit(cache=True, nogil=True)
def filled_length(pieces, first, last, z_low, roof):
    """The same by all pieces of sight over a cell, rows `first` to `last`."""
    total = 0.0
    for p in range(first, last):
        total += filled_by(z_low, min(roof, pieces[p, 1]), pieces[p, 0], pieces[p, 2])
    return total


@njit(cache=True, nogil=True)
def azimuths_over(east, north, axes, sine, azimuths):
    """Azimuth in the head's frame, degrees, at which a layer's axis passes over bearings; into `azimuths`."""
    for k in range(len(east)):
        _, _, side, ahead = axis_over(
            east[k], north[k], axes[0, 0], axes[0, 1], axes[0, 2], axes[1, 0], axes[1, 1], axes[1, 2],
            axes[2, 0], axes[2, 1], axes[2, 2], sine,
        )  # fmt: skip
        azimuths[k] = math.degrees(math.atan2(side, ahead))

"""The microwave of a unit over each cell, for one setting: whether it reaches a figure there.

Its lobe is an arc about the unit's bearing and a band of elevations, turned, tilted and rolled with the unit;
its edges over a cell follow the law of `cover.band`, and its arc is judged on its axis, as a layer's is.
What comes back of a figure falls with the fourth power of the distance and with twice what is lost on the way
(the radar equation), and is that of the share of the figure that is lit. A whole person in the open is sensed
out to the range, so ground is reached where

    sum over the lit heights of 10^(-2 L / 10) / R^4  >=  all heights of the figure / range^4

with L dB lost one way and R the slant distance to the nearest point of the figure. Nothing here casts a ray.
"""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.cover.band import arc_tangent, axes_of, axis_over, in_arc, slope_at, squared_reach
from terrain3d.cover.fill import bins_of_arc
from terrain3d.cover.layer_outcomes import BEYOND, BROKEN, NO_TAKER, NOT_REACHED, OUTSIDE_ARC
from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import Microwave
from terrain3d.sight.met import LINES_M
from terrain3d.sight.microwave import N_STEPS, STEP_M
from terrain3d.sight.panorama import Panorama
from terrain3d.sight.slices import N_BINS, NEAR_M

_UPPER, _BOTH = int(Verdict.UPPER_ONLY), int(Verdict.BOTH)
_NONE = np.zeros(0, np.uint8)
#: What may be lacking of what has to come back before it counts: rounding.
_HAIR = 1e-9
_PER_STEP = 1.0 / STEP_M
#: Share of the sine of straight up in a leaning unit beyond which an edge of the lobe points past it.
_STEEPEST = 1.0 - 1e-9


def with_microwave(
    codes: Codes,
    seen: Panorama,
    microwave: Microwave,
    bearing_deg: float,
    tilt_deg: float,
    roll_deg: float,
    figure_height_m: float,
    lacking: Codes | None = None,
) -> Codes:
    """Verdicts of the layers with the microwave's word, in place.

    Parameters
    ----------
    codes : (n,) uint8
        Of the layers, in the panorama's order; they are changed.
    seen : Panorama
    microwave : Microwave
    bearing_deg, tilt_deg, roll_deg, figure_height_m : float
    lacking : (n,) uint8, optional
        What cells are that the layers hold and only the microwave lacks; upper only where it is not given.

    Returns
    -------
    (n,) uint8
        `codes`.
    """
    _say(
        seen.bin_start, seen.east, seen.north, seen.distance, seen.foot, seen.microwave.back_m,
        axes_of(bearing_deg, tilt_deg, roll_deg), microwave.elevation, microwave.thickness / 2,
        microwave.arc / 2, microwave.range, figure_height_m, microwave.needs == "either", codes,
        _NONE if lacking is None else lacking,
    )  # fmt: skip
    return codes


def microwave_reached(seen: Panorama, unit: Detector, figure_height_m: float) -> NDArray[np.bool_]:
    """(n,) bool: whether a unit's microwave reaches a figure on each cell of a panorama."""
    return np.asarray(_outcomes_of(seen, unit, figure_height_m)[0] == BROKEN)


def microwave_outcomes(
    seen: Panorama, unit: Detector, figure_height_m: float
) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
    """What became of a unit's microwave on each cell of a panorama, and the thing that takes it.

    Returns
    -------
    outcomes : (n,) uint8
        BROKEN where it reaches, OUTSIDE_ARC, BEYOND, else NOT_REACHED.
    takers : (n,) int32
        Where nothing in the way would let it reach: what takes most on the way to there, by its place in
        `taker_names`; NO_TAKER for ground, or where it would not reach all the same.
    """
    outcomes, is_taken = _outcomes_of(seen, unit, figure_height_m)
    takers = np.full(len(outcomes), NO_TAKER, np.int32)
    rows = np.flatnonzero(is_taken)
    if len(rows):
        sight, met = seen.microwave, seen.met
        most = sight.lost_db[rows].argmax(axis=1)
        takers[rows] = np.where(most == 1, sight.solid[rows], NO_TAKER)
        leafy = rows[(most == 2) & (met.leaf_row[rows] >= 0)]
        # Of the foliage that the lines to a figure meet, that which takes most of most of them.
        lines = (LINES_M > 0.0) & (figure_height_m > LINES_M)
        for cell in leafy:
            leaves = met.leaf[met.leaf_row[cell], lines]
            if (leaves >= 0).any():
                takers[cell] = len(seen.terrain.solids.names) + np.bincount(leaves[leaves >= 0]).argmax()
    return outcomes, takers


def _outcomes_of(
    seen: Panorama, unit: Detector, figure_height_m: float
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """What became of the microwave on each cell, and whether what lies in the way is what takes it."""
    microwave = unit.type.microwave
    if microwave is None:
        raise ValueError(f"{unit.type.name} has no microwave")
    outcomes = np.full(len(seen.cells), OUTSIDE_ARC, np.uint8)
    is_taken = np.zeros(len(seen.cells), bool)
    _tell(
        seen.east, seen.north, seen.distance, seen.foot, seen.microwave.back_m,
        axes_of(unit.bearing_deg, unit.tilt_deg, unit.roll_deg), microwave.elevation,
        microwave.thickness / 2, microwave.arc / 2, microwave.range, figure_height_m, outcomes, is_taken,
    )  # fmt: skip
    return outcomes, is_taken


@njit(cache=True, nogil=True)
def _edges(axes, elevation, half_thickness):
    """Sines of the lobe's lower edge, axis and upper edge, held to what a bearing of the unit meets."""
    most = axes[2, 2] * _STEEPEST
    sines = np.empty((1, 3))
    for edge in range(3):
        angle = min(max(elevation + (edge - 1) * half_thickness, -90.0), 90.0)
        sines[0, edge] = min(max(math.sin(math.radians(angle)), -most), most)
    return sines


@njit(cache=True, nogil=True)
def _over(
    east, north, distance, foot, axes, sines, half_arc, range_m, figure, lows, highs, needed, is_in_arc
):  # fmt: skip
    """The lobe over a run of cells: the heights of the figure in it, and what has to come back of them.

    What is needed is infinite beyond the range. No branch, no call that is not inlined: the loop runs on the
    processor's vector units.
    """
    right_x, right_y, right_z = axes[0, 0], axes[0, 1], axes[0, 2]
    ahead_x, ahead_y, ahead_z = axes[1, 0], axes[1, 1], axes[1, 2]
    up_x, up_y, up_z = axes[2, 0], axes[2, 1], axes[2, 2]
    sine_low, sine, sine_high = sines[0, 0], sines[0, 1], sines[0, 2]
    tangent, is_wide = arc_tangent(half_arc)
    range_squared = squared_reach(range_m)
    per_square = 1.0 / (range_m * range_m)
    for c in range(len(lows)):
        lean, _, side, ahead = axis_over(
            east[c], north[c], right_x, right_y, right_z, ahead_x, ahead_y, ahead_z, up_x, up_y, up_z, sine
        )
        d = distance[c]
        # The point of the figure that is nearest to the eye's own height.
        z = min(max(0.0, foot[c]), foot[c] + figure)
        square = d * d + z * z
        share = square * per_square
        whole = figure * share * share * (1.0 - _HAIR)
        needed[c] = whole if square <= range_squared else math.inf
        is_in_arc[c] = in_arc(abs(side), ahead, tangent, is_wide) & (d > NEAR_M)
        lows[c] = min(max(d * slope_at(lean, up_z, sine_low) - foot[c], 0.0), figure)
        highs[c] = min(max(d * slope_at(lean, up_z, sine_high) - foot[c], 0.0), figure)


@njit(cache=True, nogil=True)
def _back_between(back, low, high):
    """What comes back from between two heights over the feet, metres: `back` is the running sum of a cell."""
    first, last = low * _PER_STEP, high * _PER_STEP
    f, e = min(int(first), N_STEPS - 1), min(int(last), N_STEPS - 1)
    return back[e] + (last - e) * (back[e + 1] - back[e]) - back[f] - (first - f) * (back[f + 1] - back[f])


@njit(cache=True, nogil=True)
def _tell(
    east, north, distance, foot, back, axes, elevation, half_thickness, half_arc, range_m, figure, outcomes,
    is_taken,
):  # fmt: skip
    """What becomes of the microwave on every cell, and whether what lies in the way is what takes it."""
    n = len(outcomes)
    lows, highs, needed, is_in_arc = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.bool_)
    sines = _edges(axes, elevation, half_thickness)
    _over(east, north, distance, foot, axes, sines, half_arc, range_m, figure, lows, highs, needed, is_in_arc)
    for c in range(n):
        if distance[c] <= NEAR_M:
            outcomes[c] = NOT_REACHED
        elif not is_in_arc[c]:
            outcomes[c] = OUTSIDE_ARC
        elif needed[c] == math.inf:
            outcomes[c] = BEYOND
        elif highs[c] > lows[c] and _back_between(back[c], lows[c], highs[c]) >= needed[c]:
            outcomes[c] = BROKEN
        else:
            outcomes[c] = NOT_REACHED
            is_taken[c] = highs[c] > lows[c] and highs[c] - lows[c] >= needed[c]


@njit(cache=True, nogil=True)
def _say(
    bin_start, east, north, distance, foot, back, axes, elevation, half_thickness, half_arc, range_m, figure,
    either, codes, lacking,
):  # fmt: skip
    """The microwave's word on the cells that wait for it."""
    sines = _edges(axes, elevation, half_thickness)
    first_bin, n_bins = bins_of_arc(axes, half_arc, sines)
    stop_bin = first_bin + n_bins
    reached = np.zeros(len(codes), np.bool_)
    # The bins of an arc are at most two runs of cells, before and after due north.
    for run in range(2):
        low = bin_start[first_bin] if run == 0 else 0
        high = bin_start[min(stop_bin, N_BINS)] if run == 0 else bin_start[max(stop_bin - N_BINS, 0)]
        n = high - low
        if n <= 0:
            continue
        lows, highs, needed, is_in_arc = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.bool_)
        _over(
            east[low:high], north[low:high], distance[low:high], foot[low:high], axes, sines, half_arc,
            range_m, figure, lows, highs, needed, is_in_arc,
        )  # fmt: skip
        for k in range(n):
            c = low + k
            if (codes[c] == _BOTH) != either and is_in_arc[k] and needed[k] <= highs[k] - lows[k]:
                reached[c] = _back_between(back[c], lows[k], highs[k]) >= needed[k]
    for c in range(len(codes)):
        if either:
            codes[c] = np.uint8(_BOTH) if reached[c] else codes[c]
        elif codes[c] == _BOTH and not reached[c]:
            codes[c] = lacking[c] if len(lacking) else np.uint8(_UPPER)

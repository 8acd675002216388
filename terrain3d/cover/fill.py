"""How much of each layer a figure fills, cell by cell, for one setting of a unit.

Along a cell's bearing a layer is an upright band over the cell's centre. `fill` is the length of the
band that meets the visible part of the figure, weighted by what foliage lets through, divided by the
band's length; a layer is broken when fill reaches the share the type needs. Nothing here casts a
ray: a panorama holds the visible heights, and a setting is arithmetic on them.

The arc and the range are judged where the layer's axis passes over the cell. With the head level
that is exact; tilted, the band's edges leave the arc a few tenths of a degree apart.
"""

import math

import numpy as np
from numba import njit

from terrain3d.cover.band import (
    arc_tangent,
    axes_of,
    band_over,
    filled_by,
    filled_length,
    layer_sines,
    needed_share,
    squared_reach,
    turned,
)
from terrain3d.cover.heads import HeadTable
from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.sight.panorama import Panorama
from terrain3d.sight.slices import N_BINS, NEAR_M

_OUTSIDE, _DEAD = int(Verdict.OUTSIDE), int(Verdict.DEAD)
_LOWER, _UPPER, _BOTH = int(Verdict.LOWER_ONLY), int(Verdict.UPPER_ONLY), int(Verdict.BOTH)


def verdict_codes(
    seen: Panorama,
    table: HeadTable,
    bearing_deg: float,
    tilt_deg: float,
    roll_deg: float,
    range_m: float,
    figure_height_m: float,
    fill_needed: float,
    contrast: float = 1.0,
) -> Codes:
    """Verdict of one unit on every cell of a panorama, in the panorama's order.

    Parameters
    ----------
    seen : Panorama
        From the unit's mount and height.
    table : HeadTable
    bearing_deg, tilt_deg, roll_deg : float
        Nose down and right side down are positive.
    range_m : float
        Range setting, of heads that have none of their own.
    figure_height_m : float
        Height of the figure, metres.
    fill_needed : float
        Share of a layer that breaks it, of heads that have none of their own.
    contrast : float
        What every such share is divided by: a faint figure has to fill more.

    Returns
    -------
    (n,) uint8
        Codes of `Verdict`.
    """
    codes = np.zeros(len(seen.cells), np.uint8)
    _judge(
        seen.bin_start, seen.east, seen.north, seen.distance, seen.foot,
        seen.main, seen.many, seen.piece_start, seen.pieces,
        table.pan_deg, table.turn_deg, table.half_arc_deg, table.elevation_deg, table.half_thickness_deg,
        table.range_m, table.fill, table.upper, table.nominal_height_m, table.max_range_m, table.any_layer,
        bearing_deg, tilt_deg, roll_deg, range_m, figure_height_m, fill_needed, contrast, codes,
    )  # fmt: skip
    return codes


#: What a layer makes of a cell while verdicts are put together.
_ABSENT, _MISSED, _MET = 0, 1, 2


@njit(cache=True, nogil=True)
def _judge(
    bin_start, east, north, distance, foot, main, many, piece_start, pieces,
    pans, turns, half_arcs, elevations, half_thicknesses, ranges, fills, uppers, nominal_height, max_range,
    any_layer, bearing, tilt, roll, range_m, figure, fill_needed, contrast, codes,
):  # fmt: skip
    """Best verdict over the heads, written into `codes`."""
    for h in range(len(pans)):
        n_layers = 0
        for k in range(half_thicknesses.shape[1]):
            if half_thicknesses[h, k] == half_thicknesses[h, k]:
                n_layers += 1
        axes = turned(axes_of(bearing + pans[h], tilt, roll), turns[h])
        own_range = ranges[h] if ranges[h] == ranges[h] else range_m
        sines = layer_sines(elevations[h, :n_layers], half_thicknesses[h], nominal_height, own_range)
        first_bin, n_bins = bins_of_arc(axes, half_arcs[h], sines)
        # The bins of an arc are at most two runs of cells, before and after due north.
        stop_bin = first_bin + n_bins
        for run in range(2):
            low = bin_start[first_bin] if run == 0 else 0
            high = bin_start[min(stop_bin, N_BINS)] if run == 0 else bin_start[max(stop_bin - N_BINS, 0)]
            if high <= low:
                continue
            states = np.empty((n_layers, high - low), np.uint8)
            edges = np.empty((2, high - low))
            for k in range(n_layers):
                own_fill = (fills[h, k] if fills[h, k] == fills[h, k] else fill_needed) / contrast
                if own_fill > 1.0:
                    own_fill = 2.0  # more than the whole layer would have to be filled, be it by a hair
                _states_of_layer(
                    east[low:high], north[low:high], distance[low:high], foot[low:high],
                    main[0, low:high], main[1, low:high], main[2, low:high],
                    axes, sines[k], half_arcs[h], max_range, figure, own_fill,
                    edges[0], edges[1], states[k],
                )  # fmt: skip
                _states_through_gaps(
                    foot, many, piece_start, pieces, figure, own_fill, edges[0], edges[1], low, states[k]
                )
            _raise_codes(states, uppers[h], any_layer, codes[low:high])


@njit(cache=True, nogil=True)
def _states_of_layer(
    east, north, distance, foot, seen_low, seen_high, seen_share,
    axes, sines, half_arc, max_range, figure, fill_needed, low_edges, high_edges, states,
):  # fmt: skip
    """State of one layer on a run of cells, by the first piece that each cell shows, and its edges there.

    No branch, no call that is not inlined: the loop runs on the processor's vector units.
    """
    right_x, right_y, right_z = axes[0, 0], axes[0, 1], axes[0, 2]
    ahead_x, ahead_y, ahead_z = axes[1, 0], axes[1, 1], axes[1, 2]
    up_x, up_y, up_z = axes[2, 0], axes[2, 1], axes[2, 2]
    sine_low, sine, sine_high = sines[0], sines[1], sines[2]
    tangent, is_wide = arc_tangent(half_arc)
    share = needed_share(fill_needed)
    reach_squared = squared_reach(max_range)
    for c in range(len(states)):
        is_in_arc, is_in_reach, _, z_low, z_high = band_over(
            east[c], north[c], distance[c], right_x, right_y, right_z, ahead_x, ahead_y, ahead_z,
            up_x, up_y, up_z, sine_low, sine, sine_high, tangent, is_wide, reach_squared,
        )  # fmt: skip
        held = is_in_arc & is_in_reach & (distance[c] > NEAR_M)
        roof = min(z_high, foot[c] + figure, seen_high[c])
        met = filled_by(z_low, roof, seen_low[c], seen_share[c]) >= share * (z_high - z_low)
        low_edges[c] = z_low
        high_edges[c] = z_high
        states[c] = held * (1 + met)


@njit(cache=True, nogil=True)
def _states_through_gaps(
    foot, many, piece_start, pieces, figure, fill_needed, low_edges, high_edges, low, states
):
    """Raise the state of those cells of the run that show more than one piece."""
    share = needed_share(fill_needed)
    first = np.searchsorted(many, low)
    for m in range(first, len(many)):
        c = many[m]
        if c >= low + len(states):
            break
        if states[c - low] == _MISSED:
            z_low = low_edges[c - low]
            z_high = high_edges[c - low]
            roof = min(z_high, foot[c] + figure)
            if filled_length(pieces, piece_start[c], piece_start[c + 1], z_low, roof) >= share * (
                z_high - z_low
            ):
                states[c - low] = _MET


@njit(cache=True, nogil=True)
def _raise_codes(states, upper, any_layer, codes):
    """Turn the states of a head's layers into verdicts, where they better those in `codes`."""
    n_layers = len(states)
    needed = 1 if any_layer else n_layers
    n_held = np.zeros(len(codes), np.uint8)
    n_met = np.zeros(len(codes), np.uint8)
    # Layer by layer, so that each of these loops runs on the vector units as well.
    for k in range(n_layers):
        state = states[k]
        for c in range(len(codes)):
            n_held[c] += np.uint8(state[c] > _ABSENT)
            n_met[c] += np.uint8(state[c] == _MET)
    upper_state = states[upper]
    for c in range(len(codes)):
        code = np.uint8(_DEAD) if n_held[c] > 0 else np.uint8(_OUTSIDE)
        code = np.uint8(_LOWER) if n_met[c] > 0 else code
        code = np.uint8(_UPPER) if upper_state[c] == _MET else code
        code = np.uint8(_BOTH) if n_met[c] >= needed else code
        codes[c] = max(codes[c], code)


@njit(cache=True, nogil=True)
def bins_of_arc(axes, half_arc, sines):
    """First bin and number of bins that hold the cells of an arc; the exact test follows.

    Along a layer's axis the bearing turns steadily with the azimuth in the head, so the corners of
    the arc bound it; half a bin more guards against rounding.
    """
    if half_arc > 170.0:
        return 0, N_BINS
    right, forward, up = axes[0], axes[1], axes[2]
    ahead = math.atan2(forward[0], forward[1])
    low = 0.0
    high = 0.0
    for k in range(len(sines)):
        flat = math.sqrt(1.0 - sines[k, 1] * sines[k, 1])
        for side in (-1.0, 1.0):
            angle = math.radians(side * half_arc)
            x = flat * (math.sin(angle) * right[0] + math.cos(angle) * forward[0]) + sines[k, 1] * up[0]
            y = flat * (math.sin(angle) * right[1] + math.cos(angle) * forward[1]) + sines[k, 1] * up[1]
            turn = (math.atan2(x, y) - ahead) % (2.0 * math.pi)
            if side < 0.0:
                low = min(low, turn - 2.0 * math.pi)
            else:
                high = max(high, turn)
    per_bin = 2.0 * math.pi / N_BINS
    first = math.floor((ahead + low) / per_bin - 0.5)
    last = math.floor((ahead + high) / per_bin + 0.5)
    return first % N_BINS, min(last - first + 1, N_BINS)

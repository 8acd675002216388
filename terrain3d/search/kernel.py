"""All bearings of a head at once: on which of them it holds each cell.

`cover.fill` judges one setting on all cells; here every cell is judged on all bearings, with the same
arithmetic. Without roll, what a layer makes of a cell depends on the bearing only through the offset
between the two, so a cell is sorted out by the two ends of its arc: where the layer is broken at both,
or missed at both on the same side, it is so in between, and only what is left is judged bearing by
bearing.
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
    needed_share,
    slope_at,
    squared_reach,
)
from terrain3d.sight.slices import NEAR_M

#: Metres, slopes and radians within which the two ends of an arc do not settle a cell.
_GUARD = 1e-8
#: Share of a band by which a visible part has to be larger than needed, as the band's length changes a
#: little between the ends.
_THIN = 0.02
#: What the two ends of an arc say of a cell.
_NOWHERE, _SOMEWHERE, _ALL_OVER = 0, 1, 2
#: Bytes of a word, in which masks are counted.
WORD = 8


@njit(cache=True, nogil=True)
def fan_axes(start_deg, step_deg, n_bearings, tilt_deg):
    """(6, 2 n_bearings) x and y of right, forward and up of a head at every bearing, twice around."""
    axes = np.empty((6, 2 * n_bearings))
    for b in range(n_bearings):
        own = axes_of(start_deg + b * step_deg, tilt_deg, 0.0)
        for row in range(3):
            for k in range(2):
                axes[2 * row + k, b] = own[row, k]
                axes[2 * row + k, n_bearings + b] = own[row, k]
    return axes


@njit(cache=True, nogil=True)
def _mark_broken(
    east, north, d, foot, low_seen, high_seen, share_seen, right_x, right_y, ahead_x, ahead_y, up_x, up_y,
    ahead_z, up_z, sines, tangent, is_wide, reach_squared, figure, share, bit, own,
):  # fmt: skip
    """Set a bit where one layer is broken over a cell that shows one piece: `cover.fill` to the letter.

    No branch: the loop over the bearings runs on the processor's vector units.
    """
    sine_low, sine, sine_high = sines[0], sines[1], sines[2]
    top = min(foot + figure, high_seen)
    for j in range(len(own)):
        is_in_arc, is_in_reach, _, z_low, z_high = band_over(
            east, north, d, right_x[j], right_y[j], 0.0, ahead_x[j], ahead_y[j], ahead_z,
            up_x[j], up_y[j], up_z, sine_low, sine, sine_high, tangent, is_wide, reach_squared,
        )  # fmt: skip
        filled = filled_by(z_low, min(z_high, top), low_seen, share_seen)
        own[j] |= bit * np.uint8(is_in_arc & is_in_reach & (filled >= share * (z_high - z_low)))


@njit(cache=True, nogil=True)
def _mark_through_gaps(
    east, north, d, foot, pieces, first_piece, last_piece, axes, ahead_z, up_z, sines, tangent, is_wide,
    reach_squared, figure, share, bit, first, last, own,
):  # fmt: skip
    """The same by all pieces that a cell shows."""
    for j in range(first, last):
        is_in_arc, is_in_reach, _, z_low, z_high = band_over(
            east, north, d, axes[0, j], axes[1, j], 0.0, axes[2, j], axes[3, j], ahead_z,
            axes[4, j], axes[5, j], up_z, sines[0], sines[1], sines[2], tangent, is_wide, reach_squared,
        )  # fmt: skip
        if is_in_arc and is_in_reach:
            roof = min(z_high, foot + figure)
            if filled_length(pieces, first_piece, last_piece, z_low, roof) >= share * (z_high - z_low):
                own[j - first] |= bit


@njit(cache=True, nogil=True)
def _sort_out(
    distance, foot, low, high, light, hull_high, most_light, near_lean, far_lean, up_z, sines, reach_squared,
    figure, share, said,
):  # fmt: skip
    """Whether a layer is broken all over the arc, nowhere in it, or has to be looked at.

    Over the arc the lean runs from `near_lean` (straight ahead) to `far_lean`; every slope of the layer
    falls steadily as the lean grows, and so do the heights of the band's edges. What asks the band to be
    low enough, or high enough, is therefore so in between where it is so at both ends, or fails there.
    """
    near_axis, far_axis = slope_at(near_lean, up_z, sines[1]), slope_at(far_lean, up_z, sines[1])
    near_low, far_low = slope_at(near_lean, up_z, sines[0]), slope_at(far_lean, up_z, sines[0])
    near_high, far_high = slope_at(near_lean, up_z, sines[2]), slope_at(far_lean, up_z, sines[2])
    near_needed, far_needed = share * (near_high - near_low), share * (far_high - far_low)
    # Where the axis passes level between the ends it is nowhere as steep as at them.
    flattest = 0.0 if near_axis * far_axis <= 0.0 else min(abs(near_axis), abs(far_axis))
    least_slant = (1.0 + flattest * flattest) * (1.0 - _GUARD)
    most_slant = (1.0 + max(near_axis * near_axis, far_axis * far_axis)) * (1.0 + _GUARD)
    most_needed = (1.0 + _THIN) * max(near_needed, far_needed)
    for c in range(len(distance)):
        d = distance[c]
        top = foot[c] + figure
        roof = min(high[c], top)
        hull = min(hull_high[c], top)
        own, most, bottom = light[c], most_light[c], low[c]
        over = (most * (hull - d * near_low) < d * near_needed - _GUARD) & (
            most * (hull - d * far_low) < d * far_needed - _GUARD
        )
        under = (most * (d * near_high - bottom) < d * near_needed - _GUARD) & (
            most * (d * far_high - bottom) < d * far_needed - _GUARD
        )
        nowhere = over | under | (d * d * least_slant > reach_squared) | (most < share)
        all_over = (
            (own >= share)
            & (own * (roof - d * near_low) > d * near_needed + _GUARD)
            & (own * (roof - d * far_low) > d * far_needed + _GUARD)
            & (own * (d * near_high - bottom) > d * near_needed + _GUARD)
            & (own * (d * far_high - bottom) > d * far_needed + _GUARD)
            & (own * (roof - bottom) > d * most_needed)
            & (d * d * most_slant < reach_squared)
        )
        said[c] = np.uint8(not nowhere) * np.uint8(1 + all_over)


@njit(cache=True, nogil=True)
def _arc_bounds(half_arc, tilt_deg, sine):
    """Offsets up to which a layer's axis is surely within the arc, and beyond which surely not, radians."""
    if half_arc >= 90.0:
        return -1.0, math.pi
    t = math.radians(tilt_deg)
    up_z = math.cos(t)
    steep = max(abs(slope_at(math.sin(t), up_z, sine)), abs(slope_at(-math.sin(t), up_z, sine)))
    tangent, _ = arc_tangent(half_arc)
    level = math.atan(tangent * up_z)
    swing = tangent * steep * abs(math.sin(t)) * math.cos(level)
    turn = math.asin(swing) if swing < 1.0 else math.pi
    return level - turn - _GUARD, min(level + turn + _GUARD, math.pi)


@njit(cache=True, nogil=True)
def _set(bits, bit):
    for j in range(len(bits)):
        bits[j] |= bit


@njit(cache=True, nogil=True)
def _add(bits, others):
    for j in range(len(bits)):
        bits[j] |= others[j]


@njit(cache=True, nogil=True)
def _keep(bits, others):
    for j in range(len(bits)):
        bits[j] &= others[j]


@njit(cache=True, nogil=True)
def held_bearings(
    east, north, distance, foot, low, high, light, hull_high, most_light, piece_first, piece_last, pieces,
    axes, start_deg, step_deg, tilt_deg, half_arc, sines, follows, any_layer, max_range, figure, fill_needed,
    shifts, masks,
):  # fmt: skip
    """Mark the bearings of a unit at which a head of it raises the alarm on each cell.

    Parameters
    ----------
    east, north, distance, foot, low, high, light, hull_high, most_light, piece_first, piece_last, pieces
        Of the cells, each of which shows something: `low`, `high` and `light` of its first piece,
        `hull_high` the top of its last, `most_light` the lightest of all; its pieces are rows
        piece_first to piece_last.
    axes : (6, 2 b) float
        Of the head at start_deg + k step_deg, from `fan_axes`.
    sines : (r, l, 3) float
        Lower edge, axis and upper edge of each layer at each range setting; at most eight settings.
    follows : (l,) bool
        Whether a layer follows the range setting.
    shifts : (s,) int
        Steps from a unit's bearing to that of each of its heads that are made like this one.
    masks : (n, at least b) uint8
        Bit r of [c, k]: at range setting r a unit with bearing k holds cell c. Bits are only added.
    """
    n_bearings = axes.shape[1] // 2
    n_ranges, n_layers = sines.shape[:2]
    step = math.radians(step_deg)
    start = math.radians(start_deg)
    sin_tilt = math.sin(math.radians(tilt_deg))
    up_z = math.cos(math.radians(tilt_deg))
    tangent, is_wide = arc_tangent(half_arc)
    reach_squared = squared_reach(max_range)
    share = needed_share(fill_needed)
    full = np.uint8((1 << n_ranges) - 1)
    held = np.empty(n_bearings, np.uint8)
    own = np.empty(n_bearings, np.uint8)
    sure = np.empty((n_ranges, n_layers))
    widest = np.empty((n_ranges, n_layers))
    for r in range(n_ranges):
        for k in range(n_layers):
            sure[r, k], widest[r, k] = _arc_bounds(half_arc, tilt_deg, sines[r, k, 1])
    outermost = widest.max()
    right_x, right_y, ahead_x, ahead_y, up_x, up_y = axes[0], axes[1], axes[2], axes[3], axes[4], axes[5]
    said = np.empty((n_layers, n_ranges, len(distance)), np.uint8)
    for k in range(n_layers):
        for r in range(n_ranges if follows[k] else 1):
            _sort_out(
                distance, foot, low, high, light, hull_high, most_light, sin_tilt,
                sin_tilt * math.cos(outermost), up_z, sines[r, k], reach_squared, figure, share,
                said[k, r],
            )  # fmt: skip
    for c in range(len(distance)):
        if distance[c] <= NEAR_M:
            continue
        azimuth = math.atan2(east[c], north[c])
        from_azimuth = (azimuth - start) / step
        j0 = math.ceil(from_azimuth - outermost / step)
        n = min(math.floor(from_azimuth + outermost / step) - j0 + 1, n_bearings)
        at = j0 % n_bearings
        held[:n] = np.uint8(0) if any_layer else full
        for k in range(n_layers):
            found = False
            own[:n] = np.uint8(0)
            for r in range(n_ranges if follows[k] else 1):
                if said[k, r, c] == _NOWHERE:
                    continue
                found = True
                bit = np.uint8(1 << r) if follows[k] else full
                lo, hi, sure_lo, sure_hi = 0, n, n, n
                if n < n_bearings:
                    reach = widest[r, k] / step
                    lo = max(math.ceil(from_azimuth - reach) - j0, 0)
                    hi = min(math.floor(from_azimuth + reach) - j0 + 1, n)
                    sure_lo, sure_hi = hi, hi
                    if said[k, r, c] == _ALL_OVER and sure[r, k] > 0.0:
                        reach = sure[r, k] / step
                        sure_lo = math.ceil(from_azimuth - reach) - j0
                        sure_hi = max(math.floor(from_azimuth + reach) - j0 + 1, sure_lo)
                _set(own[sure_lo:sure_hi], bit)
                for part in range(2):
                    a = lo if part == 0 else sure_hi
                    b = sure_lo if part == 0 else hi
                    if b <= a:
                        continue
                    if piece_last[c] - piece_first[c] == 1:
                        _mark_broken(
                            east[c], north[c], distance[c], foot[c], low[c], high[c], light[c],
                            right_x[at + a : at + b], right_y[at + a : at + b],
                            ahead_x[at + a : at + b], ahead_y[at + a : at + b],
                            up_x[at + a : at + b], up_y[at + a : at + b], -sin_tilt, up_z,
                            sines[r, k], tangent, is_wide, reach_squared, figure, share, bit, own[a:b],
                        )  # fmt: skip
                    else:
                        _mark_through_gaps(
                            east[c], north[c], distance[c], foot[c], pieces, piece_first[c], piece_last[c],
                            axes, -sin_tilt, up_z, sines[r, k], tangent, is_wide, reach_squared, figure,
                            share, bit, at + a, at + b, own[a:],
                        )  # fmt: skip
            if any_layer:
                _add(held[:n], own[:n])
            else:
                _keep(held[:n], own[:n])
                if not found:
                    break
        for s in range(len(shifts)):
            place = (j0 - shifts[s]) % n_bearings
            before = min(n, n_bearings - place)
            _add(masks[c, place : place + before], held[:before])
            _add(masks[c, : n - before], held[before:n])


@njit(cache=True, nogil=True)
def counted(words, first, last, n_ranges, counts):
    """Add to (r, b) int64 `counts` how many of the cells first to last have each bit set.

    Parameters
    ----------
    words : (n, w) uint64
        Masks, eight bearings a word.
    """
    n_words = words.shape[1]
    ones = np.uint64(0x0101010101010101)
    tally = np.zeros((n_ranges, n_words), np.uint64)
    for block in range(first, last, 255):
        tally[:] = np.uint64(0)
        for c in range(block, min(block + 255, last)):
            for r in range(n_ranges):
                for w in range(n_words):
                    tally[r, w] += (words[c, w] >> np.uint64(r)) & ones
        for r in range(n_ranges):
            for b in range(counts.shape[1]):
                counts[r, b] += (tally[r, b // WORD] >> np.uint64(8 * (b % WORD))) & np.uint64(255)


@njit(cache=True, nogil=True)
def weighed(masks, weight, n_ranges, sums):
    """Add to (r, b) float `sums` the weight of the cells that have each bit set."""
    for c in range(len(masks)):
        if weight[c] > 0.0:
            for r in range(n_ranges):
                for b in range(sums.shape[1]):
                    sums[r, b] += weight[c] * ((masks[c, b] >> np.uint8(r)) & np.uint8(1))


@njit(cache=True, nogil=True)
def row_sums(starts, cells, price, sums):
    """For each row, cells[starts[k] : starts[k + 1]], what its cells come to; written into `sums`."""
    for k in range(len(sums)):
        total = 0.0
        for at in range(starts[k], starts[k + 1]):
            total += price[cells[at]]
        sums[k] = total

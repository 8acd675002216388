"""How much of each layer a figure fills, cell by cell, for one setting of a unit.

Along a cell's bearing a layer is an upright band over the cell's centre. `fill` is the length of the
band that meets the visible part of the figure, weighted by what foliage lets through, divided by the
band's length; a layer is broken when fill reaches the share the type needs. Nothing here casts a
ray: a panorama holds the visible heights, and a setting is arithmetic on them.

The arc and the range are judged where the layer's axis passes over the cell. With the head level
that is exact; tilted, the band's edges leave the arc a few tenths of a degree apart.
"""

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import DetectorType
from terrain3d.sight.panorama import Panorama
from terrain3d.sight.slices import N_BINS, NEAR_M
from terrain3d.units import Floats

_OUTSIDE, _DEAD = int(Verdict.OUTSIDE), int(Verdict.DEAD)
_LOWER, _UPPER, _BOTH = int(Verdict.LOWER_ONLY), int(Verdict.UPPER_ONLY), int(Verdict.BOTH)

#: What became of a layer over a cell; other than BROKEN they are in the order in which a cause is
#: preferred when several heads or units miss a cell: the nearer to success, the earlier.
BROKEN, BY_FOLIAGE, BY_SOLID, BY_GROUND, PASSES_ABOVE, LANDS_SHORT, CLOSE_IN, BEYOND, OUTSIDE_ARC = range(9)

#: Share of a band's length that rounding may take from a figure that just reaches its middle.
ROUNDING = 1e-9


@dataclass(frozen=True)
class HeadTable:
    """A detector type as arrays, packed once so that a setting costs no packing.

    Parameters
    ----------
    pan_deg, half_arc_deg : (h,) float
    elevation_deg, half_thickness_deg : (h, l) float
        NaN elevation follows the range setting; NaN thickness is no layer.
    upper : (h,) int64
        Which layer of each head is the upper one: by its name, else the highest.
    name : (h, l) int64
        Row of `layer_names` of each layer; -1 is no layer.
    layer_names : tuple of str
        Uppermost first.
    """

    pan_deg: Floats
    half_arc_deg: Floats
    elevation_deg: Floats
    half_thickness_deg: Floats
    upper: NDArray[np.int64]
    name: NDArray[np.int64]
    layer_names: tuple[str, ...]
    nominal_height_m: float
    max_range_m: float
    any_layer: bool


def head_table(kind: DetectorType, pan_deg: tuple[float, ...] | None = None) -> HeadTable:
    """Pack a detector type; `pan_deg` overrides the pan of each head.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> head_table(load_type("one-head-90", Path())).layer_names
    ('upper', 'lower')
    """
    n_heads, n_layers = len(kind.head), max(len(head.layer) for head in kind.head)
    elevation = np.full((n_heads, n_layers), np.nan)
    half_thickness = np.full((n_heads, n_layers), np.nan)
    name = np.full((n_heads, n_layers), -1, np.int64)
    steepest = -math.degrees(math.atan(kind.nominal_height / min(kind.range_settings)))
    height_of: dict[str, float] = {}
    for head in kind.head:
        for layer in head.layer:
            angle = steepest if layer.elevation == "range" else layer.elevation
            height_of[layer.name] = max(height_of.get(layer.name, -90.0), angle)
    names = sorted(height_of, key=lambda layer_name: -height_of[layer_name])
    upper = np.zeros(n_heads, np.int64)
    for h, head in enumerate(kind.head):
        for k, layer in enumerate(head.layer):
            elevation[h, k] = math.nan if layer.elevation == "range" else layer.elevation
            half_thickness[h, k] = layer.thickness / 2
            name[h, k] = names.index(layer.name)
        own = [layer.name for layer in head.layer]
        upper[h] = own.index("upper" if "upper" in own else min(own, key=names.index))
    pans = [head.pan for head in kind.head] if pan_deg is None else list(pan_deg)
    return HeadTable(
        np.array(pans, float),
        np.array([head.arc / 2 for head in kind.head]),
        elevation,
        half_thickness,
        upper,
        name,
        tuple(names),
        kind.nominal_height,
        kind.max_range,
        kind.alarm == "any",
    )


def verdict_codes(
    seen: Panorama,
    table: HeadTable,
    bearing_deg: float,
    tilt_deg: float,
    roll_deg: float,
    range_m: float,
    figure_m: float,
    fill_needed: float,
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
        Range setting.
    figure_m : float
        Height of the figure, metres.
    fill_needed : float
        Share of a layer that breaks it.

    Returns
    -------
    (n,) uint8
        Codes of `Verdict`.
    """
    codes = np.zeros(len(seen.cells), np.uint8)
    _judge(
        seen.bin_start, seen.east, seen.north, seen.distance, seen.foot,
        seen.main, seen.many, seen.piece_start, seen.pieces,
        table.pan_deg, table.half_arc_deg, table.elevation_deg, table.half_thickness_deg, table.upper,
        table.nominal_height_m, table.max_range_m, table.any_layer,
        bearing_deg, tilt_deg, roll_deg, range_m, figure_m, fill_needed, codes,
    )  # fmt: skip
    return codes


def layer_fates(seen: Panorama, table: HeadTable, detector: Detector, figure_m: float) -> NDArray[np.uint8]:
    """What became of each layer of one unit on every cell of a panorama.

    Returns
    -------
    (l, n) uint8
        BROKEN or the cause, rows as `table.layer_names`; those of the cell's best head, and
        OUTSIDE_ARC for a layer that no head there has.
    """
    fates = np.full((len(table.layer_names), len(seen.cells)), OUTSIDE_ARC, np.uint8)
    _explain(
        seen.east, seen.north, seen.distance, seen.foot, seen.lowest, seen.piece_start, seen.pieces,
        table.pan_deg, table.half_arc_deg, table.elevation_deg, table.half_thickness_deg, table.name,
        table.upper, table.nominal_height_m, table.max_range_m,
        detector.bearing_deg, detector.tilt_deg, detector.roll_deg, detector.range_m, detector.height_m,
        figure_m, detector.fill_needed, fates,
    )  # fmt: skip
    return fates


@njit(cache=True, nogil=True)
def _axes(bearing, tilt, roll):
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
def _layer_sines(elevation, half_thickness, nominal_height, range_m):
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
def _slope(lean, up_z, sine):
    """Rise per metre of plan distance at which a bearing meets a given elevation of the head.

    With `lean` the part of the head's up axis along the bearing, a direction (bearing, slope t) has
    the sine (lean + up_z t) / sqrt(1 + t^2); this is its inverse.
    """
    room = up_z * up_z - sine * sine
    # One division that a loop over cells can keep outside: only `lean` changes from cell to cell.
    return (sine * math.sqrt(lean * lean + room) - lean * up_z) * (1.0 / room)


@njit(cache=True, nogil=True)
def _in_arc(side, ahead, tangent, is_wide):
    """Whether a direction, so far to the side and so far ahead, lies within the arc."""
    narrow = (ahead > 0.0) & (side <= ahead * tangent * (1.0 + 1e-9) + 1e-12)
    wide = (ahead >= 0.0) | (side >= -ahead * tangent * (1.0 - 1e-9))
    return (narrow & (not is_wide)) | (wide & is_wide)


@njit(cache=True, nogil=True)
def _arc_tangent(half_arc):
    """Tangent that bounds the arc, and whether it is wider than 180 degrees."""
    if half_arc > 90.0:
        return math.tan(math.radians(180.0 - half_arc)), True
    return math.tan(math.radians(min(half_arc, 90.0 - 1e-9))), False


@njit(cache=True, nogil=True)
def _filled(pieces, first, last, z_low, z_high):
    """Length of [z_low, z_high] that can be seen, weighted by what foliage lets through."""
    total = 0.0
    for p in range(first, last):
        low = max(z_low, pieces[p, 0])
        high = min(z_high, pieces[p, 1])
        if high > low:
            total += (high - low) * pieces[p, 2]
    return total


#: What a layer makes of a cell while verdicts are put together.
_ABSENT, _MISSED, _MET = 0, 1, 2


@njit(cache=True, nogil=True)
def _judge(
    bin_start, east, north, distance, foot, main, many, piece_start, pieces,
    pans, half_arcs, elevations, half_thicknesses, uppers, nominal_height, max_range, any_layer,
    bearing, tilt, roll, range_m, figure, fill_needed, codes,
):  # fmt: skip
    """Best verdict over the heads, written into `codes`."""
    for h in range(len(pans)):
        n_layers = 0
        for k in range(half_thicknesses.shape[1]):
            if half_thicknesses[h, k] == half_thicknesses[h, k]:
                n_layers += 1
        axes = _axes(bearing + pans[h], tilt, roll)
        sines = _layer_sines(elevations[h, :n_layers], half_thicknesses[h], nominal_height, range_m)
        first_bin, n_bins = _bins_of_arc(axes, half_arcs[h], sines)
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
                _states_of_layer(
                    east[low:high], north[low:high], distance[low:high], foot[low:high],
                    main[0, low:high], main[1, low:high], main[2, low:high],
                    axes, sines[k], half_arcs[h], max_range, figure, fill_needed,
                    edges[0], edges[1], states[k],
                )  # fmt: skip
                _states_through_gaps(
                    foot, many, piece_start, pieces, figure, fill_needed, edges[0], edges[1], low, states[k]
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
    tangent, is_wide = _arc_tangent(half_arc)
    share = fill_needed - ROUNDING
    reach_squared = max_range * max_range * (1.0 + 1e-12)
    for c in range(len(states)):
        d = distance[c]
        lean = east[c] * up_x + north[c] * up_y
        axis = _slope(lean, up_z, sine)
        side = abs(east[c] * right_x + north[c] * right_y + axis * right_z)
        ahead = east[c] * ahead_x + north[c] * ahead_y + axis * ahead_z
        held = (
            _in_arc(side, ahead, tangent, is_wide)
            & (d * d * (1.0 + axis * axis) <= reach_squared)
            & (d > NEAR_M)
        )
        z_low = d * _slope(lean, up_z, sine_low)
        z_high = d * _slope(lean, up_z, sine_high)
        roof = min(z_high, foot[c] + figure, seen_high[c])
        filled = max(roof - max(z_low, seen_low[c]), 0.0) * seen_share[c]
        met = filled >= share * (z_high - z_low)
        low_edges[c] = z_low
        high_edges[c] = z_high
        states[c] = held * (1 + met)


@njit(cache=True, nogil=True)
def _states_through_gaps(
    foot, many, piece_start, pieces, figure, fill_needed, low_edges, high_edges, low, states
):
    """Raise the state of those cells of the run that show more than one piece."""
    share = fill_needed - ROUNDING
    first = np.searchsorted(many, low)
    for m in range(first, len(many)):
        c = many[m]
        if c >= low + len(states):
            break
        if states[c - low] == _MISSED:
            z_low = low_edges[c - low]
            z_high = high_edges[c - low]
            roof = min(z_high, foot[c] + figure)
            if _filled(pieces, piece_start[c], piece_start[c + 1], z_low, roof) >= share * (z_high - z_low):
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
def _bins_of_arc(axes, half_arc, sines):
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


@njit(cache=True, nogil=True)
def _explain(
    east, north, distance, foot, lowest, piece_start, pieces,
    pans, half_arcs, elevations, half_thicknesses, names, uppers, nominal_height, max_range,
    bearing, tilt, roll, range_m, mount_height, figure, fill_needed, fates,
):  # fmt: skip
    """The fates of the layers of each cell's best head, by name.

    Heads are told apart as for verdicts; of equals the one whose layers come nearer to success.
    """
    n_layers = names.shape[1]
    best = np.full(len(distance), -1_000_000, np.int64)
    own = np.empty(n_layers, np.uint8)
    for h in range(len(pans)):
        axes = _axes(bearing + pans[h], tilt, roll)
        sines = _layer_sines(elevations[h], half_thicknesses[h], nominal_height, range_m)
        tangent, is_wide = _arc_tangent(half_arcs[h])
        for c in range(len(distance)):
            ux = east[c]
            uy = north[c]
            lean = ux * axes[2, 0] + uy * axes[2, 1]
            n_broken = 0
            misses = 0
            for k in range(n_layers):
                if names[h, k] < 0:
                    continue
                axis = _slope(lean, axes[2, 2], sines[k, 1])
                side = abs(ux * axes[0, 0] + uy * axes[0, 1] + axis * axes[0, 2])
                ahead = ux * axes[1, 0] + uy * axes[1, 1] + axis * axes[1, 2]
                if distance[c] <= NEAR_M:
                    own[k] = CLOSE_IN
                elif not _in_arc(side, ahead, tangent, is_wide):
                    own[k] = OUTSIDE_ARC
                elif distance[c] ** 2 * (1.0 + axis * axis) > max_range * max_range * (1.0 + 1e-12):
                    own[k] = BEYOND
                else:
                    own[k] = _fate_in_band(
                        distance[c], axis,
                        _slope(lean, axes[2, 2], sines[k, 0]), _slope(lean, axes[2, 2], sines[k, 2]),
                        foot[c], lowest[c], pieces[piece_start[c] : piece_start[c + 1]],
                        mount_height, figure, fill_needed,
                    )  # fmt: skip
                # The upper layer alone is a better verdict than the lower one alone.
                n_broken += (2 if k == uppers[h] else 1) if own[k] == BROKEN else 0
                misses += own[k]
            score = 1000 * n_broken - misses
            if score > best[c]:
                best[c] = score
                for k in range(n_layers):
                    if names[h, k] >= 0:
                        fates[names[h, k], c] = own[k]


@njit(cache=True, nogil=True)
def _fate_in_band(
    d, axis, low, high, foot, lowest, pieces, mount_height, figure, fill_needed
):  # fmt: skip
    """What became of a layer whose band stands over a cell: taken away one obstacle at a time."""
    z_low = d * low
    z_high = d * high
    top = foot + figure
    needed = (fill_needed - ROUNDING) * (z_high - z_low)
    roof = min(z_high, top)
    if roof - max(z_low, foot) < needed:
        if foot - z_low > z_high - top:
            return LANDS_SHORT
        # A layer that slopes down passes over whatever is close to the unit, on the level too.
        if axis < 0.0 and d * axis > figure - mount_height:
            return CLOSE_IN
        return PASSES_ABOVE
    if roof - max(z_low, lowest) < needed:
        return BY_GROUND
    unweighted = 0.0
    for p in range(len(pieces)):
        unweighted += max(min(roof, pieces[p, 1]) - max(z_low, pieces[p, 0]), 0.0)
    if unweighted < needed:
        return BY_SOLID
    if _filled(pieces, 0, len(pieces), z_low, roof) < needed:
        return BY_FOLIAGE
    return BROKEN

"""What became of each layer over each cell: broken, or the cause that took it."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.cover.band import (
    arc_tangent,
    axes_of,
    band_over,
    filled_by,
    filled_length,
    layer_sines,
    needed_share,
    squared_reach,
)
from terrain3d.cover.heads import HeadTable
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import Panorama
from terrain3d.sight.slices import NEAR_M

#: What became of a layer over a cell; other than BROKEN they are in the order in which a cause is
#: preferred when several heads or units miss a cell: the nearer to success, the earlier.
BROKEN, BY_FOLIAGE, BY_SOLID, BY_GROUND, PASSES_ABOVE, LANDS_SHORT, CLOSE_IN, BEYOND, OUTSIDE_ARC = range(9)


def layer_outcomes(
    seen: Panorama, table: HeadTable, detector: Detector, figure_height_m: float
) -> NDArray[np.uint8]:
    """What became of each layer of one unit on every cell of a panorama.

    Returns
    -------
    (l, n) uint8
        BROKEN or the cause, rows as `table.layer_names`; those of the cell's best head, and
        OUTSIDE_ARC for a layer that no head there has.
    """
    outcomes = np.full((len(table.layer_names), len(seen.cells)), OUTSIDE_ARC, np.uint8)
    _explain(
        seen.east, seen.north, seen.distance, seen.foot, seen.lowest, seen.piece_start, seen.pieces,
        table.pan_deg, table.half_arc_deg, table.elevation_deg, table.half_thickness_deg, table.name,
        table.upper, table.nominal_height_m, table.max_range_m,
        detector.bearing_deg, detector.tilt_deg, detector.roll_deg, detector.range_m, detector.height_m,
        figure_height_m, detector.fill_needed, outcomes,
    )  # fmt: skip
    return outcomes


@njit(cache=True, nogil=True)
def _explain(
    east, north, distance, foot, lowest, piece_start, pieces,
    pans, half_arcs, elevations, half_thicknesses, names, uppers, nominal_height, max_range,
    bearing, tilt, roll, range_m, mount_height, figure, fill_needed, outcomes,
):  # fmt: skip
    """The outcomes of the layers of each cell's best head, by name.

    Heads are told apart as for verdicts; of equals the one whose layers come nearer to success.
    """
    n_layers = names.shape[1]
    best = np.full(len(distance), -1_000_000, np.int64)
    own = np.empty(n_layers, np.uint8)
    share = needed_share(fill_needed)
    reach_squared = squared_reach(max_range)
    for h in range(len(pans)):
        axes = axes_of(bearing + pans[h], tilt, roll)
        sines = layer_sines(elevations[h], half_thicknesses[h], nominal_height, range_m)
        tangent, is_wide = arc_tangent(half_arcs[h])
        right_x, right_y, right_z = axes[0, 0], axes[0, 1], axes[0, 2]
        ahead_x, ahead_y, ahead_z = axes[1, 0], axes[1, 1], axes[1, 2]
        up_x, up_y, up_z = axes[2, 0], axes[2, 1], axes[2, 2]
        for c in range(len(distance)):
            n_broken = 0
            misses = 0
            for k in range(n_layers):
                if names[h, k] < 0:
                    continue
                is_in_arc, is_in_reach, slope, z_low, z_high = band_over(
                    east[c], north[c], distance[c], right_x, right_y, right_z, ahead_x, ahead_y, ahead_z,
                    up_x, up_y, up_z, sines[k, 0], sines[k, 1], sines[k, 2], tangent, is_wide, reach_squared,
                )  # fmt: skip
                if distance[c] <= NEAR_M:
                    own[k] = CLOSE_IN
                elif not is_in_arc:
                    own[k] = OUTSIDE_ARC
                elif not is_in_reach:
                    own[k] = BEYOND
                else:
                    own[k] = _outcome_in_band(
                        distance[c] * slope, z_low, z_high, foot[c], lowest[c], pieces, piece_start[c],
                        piece_start[c + 1], mount_height, figure, share,
                    )  # fmt: skip
                # The upper layer alone is a better verdict than the lower one alone.
                n_broken += (2 if k == uppers[h] else 1) if own[k] == BROKEN else 0
                misses += own[k]
            score = 1000 * n_broken - misses
            if score > best[c]:
                best[c] = score
                for k in range(n_layers):
                    if names[h, k] >= 0:
                        outcomes[names[h, k], c] = own[k]


@njit(cache=True, nogil=True)
def _outcome_in_band(
    z_axis, z_low, z_high, foot, lowest, pieces, first, last, mount_height, figure, share
):  # fmt: skip
    """What became of a layer whose band stands over a cell: taken away one obstacle at a time."""
    top = foot + figure
    needed = share * (z_high - z_low)
    roof = min(z_high, top)
    if filled_by(z_low, roof, foot, 1.0) < needed:
        if foot - z_low > z_high - top:
            return LANDS_SHORT
        # A layer that slopes down passes over whatever is close to the unit, on the level too.
        if z_axis < 0.0 and z_axis > figure - mount_height:
            return CLOSE_IN
        return PASSES_ABOVE
    if filled_by(z_low, roof, lowest, 1.0) < needed:
        return BY_GROUND
    unweighted = 0.0
    for p in range(first, last):
        unweighted += filled_by(z_low, min(roof, pieces[p, 1]), pieces[p, 0], 1.0)
    if unweighted < needed:
        return BY_SOLID
    if filled_length(pieces, first, last, z_low, roof) < needed:
        return BY_FOLIAGE
    return BROKEN

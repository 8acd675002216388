"""What became of each layer over each cell: broken, or the cause that took it, and which thing that was.

A layer that is not broken is charged to what its axis meets first on its way from the unit: to leaves where
so little light is left that they alone take it, to a solid, or to the ground. Where the axis comes to the
figure free, and yet too little of the band does, it is charged to what takes most of the band.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from terrain3d.cover.band import (
    arc_tangent,
    axes_of,
    band_over,
    filled_length,
    layer_sines,
    needed_share,
    squared_reach,
    turned,
)
from terrain3d.cover.heads import HeadTable
from terrain3d.detector.pose import Detector
from terrain3d.sight.met import LINES_M, STEP_M, Met, line_over, nothing_met
from terrain3d.sight.panorama import Panorama
from terrain3d.sight.slices import NEAR_M
from terrain3d.terrain import SURVEYED_LEAVES, Terrain

#: What became of a layer over a cell; other than BROKEN they are in the order in which a cause is
#: preferred when several heads or units miss a cell: the nearer to success, the earlier.
BROKEN, BY_FOLIAGE, BY_SOLID, BY_GROUND, PASSES_ABOVE, LANDS_SHORT, CLOSE_IN, BEYOND, OUTSIDE_ARC = range(9)
#: What becomes of the microwave besides: it does not reach the figure; along a walk, the figure moves too
#: much across. They stand outside that order.
NOT_REACHED, MOVES_ACROSS = 9, 10

#: In place of a thing that takes a layer, where none does.
NO_TAKER = -1


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
    return outcomes_and_takers(seen, table, detector, figure_height_m)[0]


def outcomes_and_takers(
    seen: Panorama, table: HeadTable, detector: Detector, figure_height_m: float
) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
    """The same, and the thing that takes each layer.

    Returns
    -------
    outcomes : (l, n) uint8
    takers : (l, n) int32
        By its place in `taker_names`; NO_TAKER where it is none of them.
    """
    return _explained(seen, seen.met, table, detector, figure_height_m)


def layers_broken(
    seen: Panorama, table: HeadTable, detector: Detector, figure_height_m: float
) -> NDArray[np.bool_]:
    """Which layers are broken, (l, n) bool: nobody has to know what is met on the way."""
    outcomes, _ = _explained(seen, nothing_met(len(seen.cells)), table, detector, figure_height_m)
    return np.asarray(outcomes == BROKEN)


def taker_names(terrain: Terrain) -> tuple[str, ...]:
    """What may take a layer: the solids of a site, then its foliage."""
    return terrain.solids.names + terrain.foliage.names


def _explained(
    seen: Panorama, met: Met, table: HeadTable, detector: Detector, figure_height_m: float
) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
    shape = len(table.layer_names), len(seen.cells)
    outcomes = np.full(shape, OUTSIDE_ARC, np.uint8)
    takers = np.full(shape, NO_TAKER, np.int32)
    _explain(
        seen.east, seen.north, seen.distance, seen.foot, seen.lowest, seen.piece_start, seen.pieces,
        met.solid_start, met.solid_heights, met.solid, met.leaf_row, met.light, met.leaf,
        len(seen.terrain.solids.names),
        table.pan_deg, table.turn_deg, table.half_arc_deg, table.elevation_deg, table.half_thickness_deg,
        table.range_m, table.fill, table.name, table.upper, table.nominal_height_m, table.max_range_m,
        detector.bearing_deg, detector.tilt_deg, detector.roll_deg, detector.range_m, detector.height_m,
        figure_height_m, detector.fill_needed, outcomes, takers,
    )  # fmt: skip
    return outcomes, takers


def drawn_names(terrain: Terrain) -> tuple[str, ...]:
    """The same, empty where a survey shows the thing: whoever reads of it knows it by no number."""
    solids, foliage = terrain.solids, terrain.foliage
    own = tuple("" if place in solids.surveyed else name for place, name in enumerate(solids.names))
    return own + tuple("" if name == SURVEYED_LEAVES else name for name in foliage.names)


@njit(cache=True, nogil=True)
def _explain(
    east, north, distance, foot, lowest, piece_start, pieces,
    solid_start, solid_heights, solid, leaf_row, light, leaf, n_solids,
    pans, turns, half_arcs, elevations, half_thicknesses, ranges, fills, names, uppers, nominal_height,
    max_range, bearing, tilt, roll, range_m, mount_height, figure, fill_needed, outcomes, takers,
):  # fmt: skip
    """The outcomes of the layers of each cell's best head, by name.

    Heads are told apart as for verdicts; of equals the one whose layers come nearer to success.
    """
    n_layers = names.shape[1]
    best = np.full(len(distance), -1_000_000, np.int64)
    own = np.empty(n_layers, np.uint8)
    own_takers = np.empty(n_layers, np.int32)
    shares = np.empty(n_layers)
    reach_squared = squared_reach(max_range)
    for h in range(len(pans)):
        axes = turned(axes_of(bearing + pans[h], tilt, roll), turns[h])
        own_range = ranges[h] if ranges[h] == ranges[h] else range_m
        sines = layer_sines(elevations[h], half_thicknesses[h], nominal_height, own_range)
        for k in range(n_layers):
            shares[k] = needed_share(fills[h, k] if fills[h, k] == fills[h, k] else fill_needed)
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
                own_takers[k] = NO_TAKER
                if distance[c] <= NEAR_M:
                    own[k] = CLOSE_IN
                elif not is_in_arc:
                    own[k] = OUTSIDE_ARC
                elif not is_in_reach:
                    own[k] = BEYOND
                else:
                    roof = min(z_high, foot[c] + figure)
                    filled = filled_length(pieces, piece_start[c], piece_start[c + 1], z_low, roof)
                    if filled >= shares[k] * (z_high - z_low):
                        own[k] = BROKEN
                    else:
                        z_axis = distance[c] * slope
                        who = NO_TAKER
                        if leaf_row[c] >= 0:
                            line = line_over(z_axis - foot[c])
                            if line >= 0 and light[leaf_row[c], line] < shares[k]:
                                own[k] = BY_FOLIAGE
                                who = n_solids + leaf[leaf_row[c], line]
                        if who == NO_TAKER:
                            for r in range(solid_start[c], solid_start[c + 1]):
                                if solid_heights[r, 0] <= z_axis < solid_heights[r, 1]:
                                    own[k] = BY_SOLID
                                    who = solid[r]
                        if who != NO_TAKER:
                            own_takers[k] = who
                        elif z_axis < foot[c]:
                            own[k] = LANDS_SHORT
                        elif z_axis < lowest[c]:
                            own[k] = BY_GROUND
                        elif z_axis > foot[c] + figure:
                            # A layer that slopes down passes over whatever is close to the unit, on the
                            # level too.
                            is_close_in = z_axis < 0.0 and z_axis > figure - mount_height
                            own[k] = CLOSE_IN if is_close_in else PASSES_ABOVE
                        else:
                            own[k], own_takers[k] = _most_taken(
                                z_low, z_high, foot[c], lowest[c], figure, pieces, piece_start[c],
                                piece_start[c + 1], solid_heights, solid, solid_start[c], solid_start[c + 1],
                                leaf_row[c], light, leaf, n_solids,
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
                        takers[names[h, k], c] = own_takers[k]


@njit(cache=True, nogil=True)
def _most_taken(
    z_low, z_high, foot, lowest, figure, pieces, piece, last_piece, solid_heights, solid, first, last,
    lit, light, leaf, n_solids,
):  # fmt: skip
    """Of a band whose axis comes to the figure free, what takes most."""
    top = foot + figure
    bottom, roof = max(z_low, foot), min(z_high, top)
    cause, taker, most = PASSES_ABOVE, NO_TAKER, z_high - top
    if foot - z_low > most:
        cause, most = LANDS_SHORT, foot - z_low
    if min(lowest, roof) - bottom > most:
        cause, most = BY_GROUND, min(lowest, roof) - bottom
    for r in range(first, last):
        # One solid may take several stretches: each counts with all of its own.
        taken = 0.0
        for other in range(first, last):
            if solid[other] == solid[r]:
                low, high = solid_heights[other, 0], solid_heights[other, 1]
                taken += max(min(high, roof) - max(low, lowest, bottom), 0.0)
        if taken > most:
            cause, taker, most = BY_SOLID, int(solid[r]), taken
    dimmed = 0.0
    for p in range(piece, last_piece):
        dimmed += max(min(pieces[p, 1], roof) - max(pieces[p, 0], bottom), 0.0) * (1.0 - pieces[p, 2])
    if dimmed > most and lit >= 0:
        cause, darkest = BY_FOLIAGE, 1.0
        for k in range(len(LINES_M)):
            at = foot + LINES_M[k]
            is_in_band = bottom - STEP_M / 2 <= at <= roof + STEP_M / 2
            if is_in_band and leaf[lit, k] >= 0 and light[lit, k] < darkest:
                taker, darkest = n_solids + leaf[lit, k], light[lit, k]
    return cause, taker

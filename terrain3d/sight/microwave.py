"""What microwaves from one eye lose on the way to each height over each cell, and what comes back from there.

Microwaves pass leaves and thin walls, so what they reach is more than what is seen. As a panorama this knows
no setting: over each cell it holds, from the feet up, the running sum of what comes back from a figure, of
which a lobe, a range and a figure's height take their part by arithmetic.

Leaves take A = Am (1 - exp(-d g / Am)) decibels one way, with d metres of the way in leaves, g decibels a
metre and Am decibels at most: the form of Recommendation ITU-R P.833-10 section 2.1 (from memory; its scope,
30 MHz to 100 GHz, was read). It is Am that keeps far leaves from taking what scattering brings round.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from terrain3d.sight.foliage import leaf_depths, near_leaves
from terrain3d.sight.parts import in_parts
from terrain3d.sight.slices import N_BINS, owned_triangles, slice_triangle
from terrain3d.terrain import LEAF_PROJECTION, Foliage, Terrain
from terrain3d.units import Floats

#: Step of height over a cell, metres, and how many: up to the tallest figure.
STEP_M, N_STEPS = 0.1, 25
#: What leaves take at most, dB one way (Am): tens of decibels near 10 GHz (from memory, C); ours is a choice.
LEAF_MOST_DB = 60.0
#: What counts for a line that is stopped, where it is asked what takes most, dB.
_STOPPED_DB = 60.0


@dataclass(frozen=True, eq=False)
class MicrowaveSight:
    """What comes back to one eye from the cells of its panorama, in their order.

    Parameters
    ----------
    back_m : (n, N_STEPS + 1) float
        Metres of a figure, from its feet up to each step, that would send as much back were nothing in the
        way: the running sum over steps of 10^(-2 L / 10), with L dB lost one way.
    solid : (n,) int32
        Place in the names of the solids of the one that takes most on the way to a cell; -1 for none.
    lost_db : (n, 3) float
        Mean over the heights of what ground, that solid and leaves take, dB one way.
    """

    back_m: Floats
    solid: NDArray[np.int32]
    lost_db: Floats

    def among(self, keep: NDArray[np.bool_]) -> "MicrowaveSight":
        """The same of some of the cells alone, in the same order; `keep` is (n,) bool."""
        return MicrowaveSight(self.back_m[keep], self.solid[keep], self.lost_db[keep])


def leaf_loss_db(metres: ArrayLike, db_per_m: ArrayLike) -> Floats:
    """What leaves take of a way through them, dB one way.

    >>> leaf_loss_db([0.0, 1.0, 100.0], 4.0).round(2)
    array([ 0.  ,  3.87, 59.92])
    """
    straight = np.asarray(metres, float) * np.asarray(db_per_m, float)
    return np.asarray(LEAF_MOST_DB * (1.0 - np.exp(-straight / LEAF_MOST_DB)))


def microwave_sight(
    terrain: Terrain,
    eye: tuple[float, float, float],
    reach_m: float,
    bins: NDArray[np.int64],
    east: Floats,
    north: Floats,
    distance: Floats,
    foot: Floats,
    lowest: Floats,
) -> MicrowaveSight:
    """What comes back from cells; arrays as those of their `Panorama`, `bins` their bins of azimuth.

    Examples
    --------
    A fence of 6 dB and 1.2 m stands 4 m north of an eye 1 m above level ground: 8 m away it is in the way up
    to 1.4 m, and of what goes there and comes back 12 dB are lost.

    >>> from dataclasses import replace
    >>> from terrain3d.survey.solids import block
    >>> from terrain3d.terrain import terrain_from_heights
    >>> flat = lambda x, y: np.zeros(np.shape(x))
    >>> fence = block(np.array([[-1, 4], [1, 4], [1, 4.1], [-1, 4.1]]), 1.2, 0.0, flat, "fence", 0.25)
    >>> site = terrain_from_heights(np.zeros((41, 41)), 0.5, solids=replace(fence, microwave_db={0: 6.0}))
    >>> one, up = np.ones(1), np.zeros(1)
    >>> sight = microwave_sight(site, (0.0, 0.0, 1.0), 9.0, np.zeros(1, int), up, one, 8 * one, -one, -one)
    >>> sight.back_m[0, [14, 17]].round(4), round(1.4 * 10**-1.2, 4), round(1.4 * 10**-1.2 + 0.3, 4)
    (array([0.0883, 0.3883]), 0.0883, 0.3883)
    """
    n = len(distance)
    solids, foliage = terrain.solids, terrain.foliage
    ex, ey, _ = eye
    corners, near, start, order, owners = owned_triangles(solids, eye, reach_m)
    db = np.full(len(solids.names) + 1, np.inf)
    for place, lost in solids.microwave_db.items():
        db[place] = lost
    leaves_from = np.full(N_BINS, np.inf)
    if len(foliage.base_z):
        leaves_from = near_leaves(foliage.column, foliage.x0, foliage.y0, foliage.cell_m, ex, ey, reach_m)
    leaf_db = _running_db(foliage)

    def part(first: int, last: int) -> tuple[NDArray[Any], ...]:
        here = slice(first, last)
        found: tuple[NDArray[Any], ...] = _come_back(
            bins[here], east[here], north[here], distance[here], foot[here], lowest[here],
            corners, near, start, order, owners, db, foliage.column, foliage.base_z, foliage.step_m, leaf_db,
            foliage.x0, foliage.y0, foliage.cell_m, *eye, leaves_from,
        )  # fmt: skip
        return found

    return MicrowaveSight(*(np.concatenate(rows) for rows in zip(*in_parts(n, part), strict=True)))


def _running_db(foliage: Foliage) -> Floats:
    """(k, nz + 1) dB a metre wherever leaves stand, summed up over each column's height from its base."""
    there = (foliage.density > 1e-9) * foliage.db_per_m[:, None]
    return np.pad(np.cumsum(there, axis=1) * foliage.step_m, ((0, 0), (1, 0)))


@njit(cache=True, nogil=True)
def _come_back(
    bins, east, north, distance, foot, lowest, corners, near, start, order, owners, db,
    column, base_z, step, leaf_db, fx0, fy0, fcell, ex, ey, ez, leaves_from,
):  # fmt: skip
    """`MicrowaveSight` of a run of cells."""
    n = len(distance)
    back = np.zeros((n, N_STEPS + 1))
    who = np.full(n, -1, np.int32)
    lost = np.zeros((n, 3))
    slopes = np.empty(N_STEPS)
    depths = np.empty(N_STEPS)
    stopped = np.empty(N_STEPS, np.bool_)
    # How often each line meets the surface of each solid on its way; two meetings are one crossing.
    n_solids = len(db)
    meets = np.zeros((n_solids, N_STEPS), np.int64)
    met = np.empty(n_solids, np.int64)
    for k in range(n):
        d = distance[k]
        if d <= 1e-9:
            for s in range(N_STEPS):
                back[k, s + 1] = (s + 1) * STEP_M
            continue
        b = bins[k]
        n_stopped = 0
        for s in range(N_STEPS):
            slopes[s] = (foot[k] + (s + 0.5) * STEP_M) / d
            stopped[s] = slopes[s] * d < lowest[k]
            depths[s] = 0.0
            if stopped[s]:
                n_stopped += 1
        lost[k, 0] = n_stopped * _STOPPED_DB / N_STEPS
        n_met = 0
        for row in range(start[b], start[b + 1]):
            f = order[row]
            if near[f] >= d:
                break
            hit, t1, z1, t2, z2 = slice_triangle(corners[f], east[k], north[k], d)
            if not hit:
                continue
            low, high = min(z1 / t1, z2 / t2), max(z1 / t1, z2 / t2)
            first = max(math.ceil((low * d - foot[k]) / STEP_M - 0.5), 0)
            is_new = True
            for s in range(first, N_STEPS):
                if slopes[s] >= high:
                    break
                if slopes[s] < low:
                    continue
                meets[owners[f], s] += 1
                if is_new:
                    is_new = False
                    for m in range(n_met):
                        if met[m] == owners[f]:
                            break
                    else:
                        met[n_met] = owners[f]
                        n_met += 1
        through_leaves = leaves_from[b] < d and leaf_depths(
            column, base_z, step, leaf_db, fx0, fy0, fcell, ex, ey, ez, east[k], north[k], leaves_from[b], d,
            slopes, depths,
        )  # fmt: skip
        most = 0.0
        for m in range(n_met):
            owner = met[m]
            own = 0.0
            for s in range(N_STEPS):
                if not stopped[s] and meets[owner, s] > 0:
                    taken = db[owner] * ((meets[owner, s] + 1) // 2)
                    own += min(taken, _STOPPED_DB)
            if own > most:
                most = own
                who[k] = owner
        lost[k, 1] = most / N_STEPS
        total = 0.0
        for s in range(N_STEPS):
            if not stopped[s]:
                taken = 0.0
                if through_leaves:
                    # `leaf_depths` counts LEAF_PROJECTION of what stands along a line.
                    taken = LEAF_MOST_DB * (1.0 - math.exp(-depths[s] / LEAF_PROJECTION / LEAF_MOST_DB))
                    lost[k, 2] += taken / N_STEPS
                for m in range(n_met):
                    if meets[met[m], s] > 0:
                        taken += db[met[m]] * ((meets[met[m], s] + 1) // 2)
                total += STEP_M * 10.0 ** (-0.2 * taken)
            back[k, s + 1] = total
        for m in range(n_met):
            for s in range(N_STEPS):
                meets[met[m], s] = 0
    return back, who, lost

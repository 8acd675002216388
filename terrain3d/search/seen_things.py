"""Nuisance things as an eye sees them, once for all settings, and the zones that they then lie in.

A thing is looked at along directions FINENESS_DEG apart, and each of them stands for what lies around it, up
to half of that every way: what is told to lie in a zone may lie beside it by as much, never the other way
round.
"""

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from terrain3d.cover.band import slope_at
from terrain3d.nuisance.things import clear_until, first_met
from terrain3d.terrain import Nuisance, Terrain
from terrain3d.units import Floats

#: Directions in which a thing is looked at, degrees apart at most; a small one is looked at in more.
FINENESS_DEG = 0.2
_LEAST_COLUMNS = 8
#: Tilted, a layer leaves its arc in plan by no more than this, degrees.
_SWAY_DEG = 45.0


@dataclass(frozen=True, eq=False)
class SeenThings:
    """Upright runs of directions in which nuisance things are seen, one row each.

    Parameters
    ----------
    bearing_deg : (n,) float
        Of the middle of each.
    half_width_deg : (n,) float
    low, high : (n,) float
        Slopes, rise per metre of plan distance, from where to where.
    """

    bearing_deg: Floats
    half_width_deg: Floats
    low: Floats
    high: Floats


def seen_things(
    terrain: Terrain, eye: tuple[float, float, float], reach_m: float, low_deg: float, high_deg: float
) -> SeenThings:
    """Look for every nuisance thing of a site.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
    reach_m : float
        Slant distance up to which a thing counts.
    low_deg, high_deg : float
        Elevations between which it counts.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from terrain3d.terrain import terrain_from_heights
    >>> land = terrain_from_heights(np.zeros((80, 80)), 0.5)
    >>> vent = Nuisance("vent", "vent", np.array([[-1.0, 5], [1, 5], [1, 6], [-1, 6]]), 0.0, 1.0)
    >>> seen = seen_things(replace(land, nuisances=(vent,)), (0.0, 0.0, 1.0), 12.0, -20.0, 20.0)
    >>> round(float(np.ptp(seen.bearing_deg)), 0), round(float(seen.high.max()), 2)
    (22.0, 0.0)
    """
    rows = [_runs(terrain, eye, thing, reach_m, low_deg, high_deg) for thing in terrain.nuisances]
    table = np.concatenate([np.zeros((0, 4)), *rows])
    return SeenThings(*np.ascontiguousarray(table.T))


def _runs(
    terrain: Terrain, eye: tuple[float, float, float], thing: Nuisance, reach_m: float, low_deg: float,
    high_deg: float,
) -> Floats:  # fmt: skip
    """(n, 4) rows of `SeenThings` for one thing."""
    first, last = _bearings_of(thing, eye)
    columns = max(_LEAST_COLUMNS, math.ceil((last - first) / FINENESS_DEG))
    n_rows = max(2, math.ceil((high_deg - low_deg) / FINENESS_DEG))
    width, step = (last - first) / columns, (high_deg - low_deg) / n_rows
    bearing = first + (np.arange(columns) + 0.5) * width
    elevation = low_deg + (np.arange(n_rows) + 0.5) * step
    b, e = np.radians(bearing)[:, None], np.radians(elevation)[None, :]
    rays = np.stack(
        np.broadcast_arrays(np.sin(b) * np.cos(e), np.cos(b) * np.cos(e), np.sin(e)), axis=-1
    ).reshape(-1, 3)
    met = np.isfinite(first_met(terrain, eye, rays, thing, np.full(len(rays), reach_m)))
    if not met.any():
        return np.zeros((0, 4))
    until = clear_until(terrain, eye, rays[met], reach_m)
    seen = np.zeros(len(rays), bool)
    seen[np.flatnonzero(met)] = np.isfinite(first_met(terrain, eye, rays[met], thing, until))
    padded = np.pad(seen.reshape(columns, n_rows), ((0, 0), (1, 1))).astype(np.int8)
    column, start = np.nonzero(np.diff(padded, axis=1) == 1)
    _, stop = np.nonzero(np.diff(padded, axis=1) == -1)
    lower, upper = (np.tan(np.radians(low_deg + at * step)) for at in (start, stop))
    return np.column_stack([bearing[column], np.full(len(column), width / 2), lower, upper])


def _bearings_of(thing: Nuisance, eye: tuple[float, float, float]) -> tuple[float, float]:
    """Bearings from the left edge of a thing to its right one; the whole circle where it is all around."""
    closed = np.vstack([thing.outline, thing.outline[:1]]) - eye[:2]
    turned = np.degrees(np.unwrap(np.arctan2(closed[:, 0], closed[:, 1])))
    if abs(turned[-1] - turned[0]) > 180.0 or np.ptp(turned) >= 360.0:
        return 0.0, 360.0
    return float(turned.min()), float(turned.max())


@njit(cache=True, nogil=True)
def zones_lain_in(
    bearing_deg, half_width_deg, low, high, start_deg, step_deg, tilt_deg, half_arc_deg, n_zones, sines,
    shift, reached,
):  # fmt: skip
    """Add to `reached`, (b,) uint64 bits of zones, those of a head that things lie in at each bearing.

    Parameters
    ----------
    bearing_deg, half_width_deg, low, high
        Of `SeenThings`.
    start_deg, step_deg : float
        Of the head's bearings.
    sines : (l, 3) float
        Of its layers, from `cover.band.layer_sines`.
    shift : int
        Steps from a unit's bearing to the head's.
    """
    n_bearings = len(reached)
    tilt = math.radians(tilt_deg)
    sin_tilt, up_z = math.sin(tilt), math.cos(tilt)
    zone_deg = 2.0 * half_arc_deg / n_zones
    for d in range(len(bearing_deg)):
        for b in range(n_bearings):
            offset = (bearing_deg[d] - start_deg - (b + shift) * step_deg + 180.0) % 360.0 - 180.0
            if abs(offset) > half_arc_deg + _SWAY_DEG:
                continue
            aside, along = math.sin(math.radians(offset)), math.cos(math.radians(offset))
            for k in range(len(sines)):
                lean = sin_tilt * along
                lower = max(low[d], slope_at(lean, up_z, sines[k, 0]))
                upper = min(high[d], slope_at(lean, up_z, sines[k, 2]))
                if lower > upper:
                    continue
                one = math.degrees(math.atan2(aside, along * up_z - lower * sin_tilt))
                other = math.degrees(math.atan2(aside, along * up_z - upper * sin_tilt))
                # Of a head that leans, what is a degree in plan is a little more.
                room = 1.5 * half_width_deg[d]
                left, right = min(one, other) - room, max(one, other) + room
                if right < -half_arc_deg or left > half_arc_deg:
                    continue
                first = max(math.floor((left + half_arc_deg) / zone_deg), 0)
                last = min(math.floor((right + half_arc_deg) / zone_deg), n_zones - 1)
                for zone in range(first, last + 1):
                    reached[b] |= np.uint64(1) << np.uint64(zone)

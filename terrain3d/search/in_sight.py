"""Units that must not see each other: which settings look at which other mounts."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.pose import Detector, in_head, is_open, posed_heads
from terrain3d.search.columns import Columns, heads_of
from terrain3d.search.settings import Space
from terrain3d.sight.hits import Hit, first_hits
from terrain3d.sight.panorama import eye_over
from terrain3d.terrain import Mount, Terrain

#: What is nearer than this to a unit's eye is the unit itself, metres.
_OWN_M = 0.05


def clashes(
    terrain: Terrain, mounts: Sequence[Mount], columns: Columns, space: Space
) -> tuple[tuple[NDArray[np.int64], int], ...]:
    """Settings that exclude each other, because one unit would be in the other's layers.

    A unit is there when its eye is in sight and within arc, range and a layer of the other, aimed off by
    the tolerance or not.

    Returns
    -------
    tuple of ((k,) int, 1)
        For every place that units of another mount see: they and the units at that place, of which at
        most one may be taken.
    """
    places = np.column_stack([columns.mount, columns.height_m])
    stands, place = np.unique(places, axis=0, return_inverse=True)
    place = place.ravel()
    eyes = np.array(
        [eye_over(terrain.ground, mounts[int(m)].x, mounts[int(m)].y, float(h)) for m, h in stands]
    ).reshape(-1, 3)
    found = []
    for own in range(len(eyes)):
        rays = eyes - eyes[own]
        away = np.linalg.norm(rays, axis=1)
        near = np.flatnonzero((stands[:, 0] != stands[own, 0]) & (away <= space.reach_m) & (away > _OWN_M))
        near = np.array([n for n in near if _in_sight(terrain, eyes[own], rays[n], away[n])], np.int64)
        units = np.flatnonzero(place == own)
        if not len(near) or not len(units):
            continue
        looks = np.array([_looks_at(columns, space, int(u), rays[near], away[near]) for u in units])
        for n, seen_by in zip(near, looks.T, strict=True):
            if seen_by.any():
                both = np.concatenate([units[seen_by], np.flatnonzero(place == n)])
                found.append((np.sort(both), 1))
    return tuple(found)


def _in_sight(terrain: Terrain, eye: NDArray[np.float64], ray: NDArray[np.float64], away: float) -> bool:
    x, y, z = (float(v) for v in eye)
    hits = first_hits(terrain, (x, y, z), ray[None, :], away - _OWN_M)
    return bool(hits.what[0] == Hit.NOTHING)


def _looks_at(
    columns: Columns, space: Space, row: int, rays: NDArray[np.float64], away: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether some points are within the layers of a unit, wherever within its tolerance it is aimed."""
    detector_type = space.detector_types[int(columns.type_index[row])]
    unit = Detector(
        "", detector_type, "", 0.0, 0.0, 0.0, float(columns.height_m[row]), float(columns.bearing_deg[row]),
        float(columns.tilt_deg[row]), 0.0, float(columns.range_m[row]), heads=heads_of(columns, space, row),
    )  # fmt: skip
    inside = np.zeros(len(rays), bool)
    for head in posed_heads(unit):
        azimuth, elevation = in_head(head, rays)
        in_arc = is_open(head, azimuth, space.bearing_step_deg)
        for layer in head.layers:
            spread = layer.thickness_deg / 2 + space.tilt_slip_deg
            inside |= in_arc & (np.abs(elevation - layer.elevation_deg) <= spread)
    return inside & (away <= detector_type.max_range)

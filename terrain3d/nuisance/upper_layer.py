"""The upper layer of each head by itself: which cells' figures break it, and where its ends point."""

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import HeadTable, head_table
from terrain3d.cover.verdict import Codes, Verdict
from terrain3d.detector.pose import Detector, PosedHead, PosedLayer
from terrain3d.detector.types import DetectorType
from terrain3d.sight.panorama import Panorama
from terrain3d.terrain import Ground
from terrain3d.units import Floats


@lru_cache(maxsize=64)
def upper_tables(
    detector_type: DetectorType, pan_deg: tuple[float, ...] | None = None
) -> tuple[HeadTable, ...]:
    """For each head of a type a table of its upper layer alone, so that its verdict is that layer's.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> [table.layer_names for table in upper_tables(load_type("two-head-180", Path()))]
    [('upper',), ('upper',)]
    """
    whole = head_table(detector_type, pan_deg)
    tables = []
    for head, layer in enumerate(whole.upper):
        one, upper = slice(head, head + 1), slice(layer, layer + 1)
        tables.append(
            replace(
                whole,
                pan_deg=whole.pan_deg[one],
                half_arc_deg=whole.half_arc_deg[one],
                elevation_deg=whole.elevation_deg[one, upper],
                half_thickness_deg=whole.half_thickness_deg[one, upper],
                upper=np.zeros(1, np.int64),
                name=np.zeros((1, 1), np.int64),
                layer_names=(whole.layer_names[whole.name[head, layer]],),
            )
        )
    return tuple(tables)


def upper_broken(
    ground: Ground, unit: Detector, seen: Panorama, figure_height_m: float, reach_m: float | None = None
) -> NDArray[np.bool_]:
    """(ny, nx) bool: cells on which a figure breaks the upper layer of any head of a unit.

    Parameters
    ----------
    ground : Ground
    unit : Detector
    seen : Panorama
        From the unit's eye, at least as far as `reach_m`.
    figure_height_m : float
        Height of what stands there, metres.
    reach_m : float, optional
        Slant distance up to which cells count; the type's maximum range without it.
    """
    broken = np.zeros(ground.z.shape, bool)
    for codes in upper_codes(unit, seen, figure_height_m, reach_m):
        broken.ravel()[seen.cells[codes == Verdict.BOTH]] = True
    return broken


def upper_codes(
    unit: Detector, seen: Panorama, figure_height_m: float, reach_m: float | None = None
) -> Iterator[Codes]:
    """For each head (n,) uint8 in the panorama's order: BOTH where a figure breaks its upper layer.

    The arguments are those of `upper_broken`.
    """
    for table in upper_tables(unit.type, unit.pan_deg):
        yield verdict_codes(
            seen,
            table if reach_m is None else replace(table, max_range_m=reach_m),
            unit.bearing_deg,
            unit.tilt_deg,
            unit.roll_deg,
            unit.range_m,
            figure_height_m,
            unit.fill_needed,
        )


def upper_layer(head: PosedHead) -> PosedLayer:
    """The layer named `upper`, or the highest where none is."""
    named = [layer for layer in head.layers if layer.name == "upper"]
    return named[0] if named else max(head.layers, key=lambda layer: layer.elevation_deg)


def head_rays(head: PosedHead, azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Unit vectors of the world at azimuths and elevations of a head, (..., 3) float.

    >>> from terrain3d.detector.pose import head_axes
    >>> head = PosedHead(*head_axes(90, 0, 0), 90.0, ())
    >>> head_rays(head, np.array([0.0]), np.array([0.0])).round(9) + 0.0
    array([[1., 0., 0.]])
    """
    a, e = np.radians(azimuth_deg)[..., None], np.radians(elevation_deg)[..., None]
    rays: Floats = np.cos(e) * (np.sin(a) * head.right + np.cos(a) * head.forward) + np.sin(e) * head.up
    return rays

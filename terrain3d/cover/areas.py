"""Square metres: of each verdict, and of protected ground."""

from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.verdict import VERDICT_KEYS, Codes
from terrain3d.terrain import Area, Ground
from terrain3d.units import Floats


def verdict_areas(codes: Codes, cell_m2: float) -> dict[str, float]:
    """Area of each verdict, best first, keyed as in `results.json`.

    >>> verdict_areas(np.array([[4, 4], [0, 255]], np.uint8), 0.25)["both"]
    0.5
    """
    counts = np.bincount(codes.ravel(), minlength=256)
    return {key: float(counts[verdict]) * cell_m2 for verdict, key in VERDICT_KEYS.items()}


@lru_cache(maxsize=64)
def cells_within(ground: Ground, area: Area) -> NDArray[np.bool_]:
    """(ny, nx) bool: cells whose centre lies within an outline, its south and west edges included.

    Remembered for the same ground and area: whoever turns a unit asks again and again.
    """
    polygon = shapely.Polygon(area.outline)
    shapely.prepare(polygon)
    x, y = np.meshgrid(ground.xs, ground.ys)
    # A centre on an edge must fall to one of two neighbouring areas, never to both or none.
    nudge = ground.cell_m * 1e-6
    within = np.asarray(shapely.contains_xy(polygon, x + nudge, y + nudge))
    within.flags.writeable = False
    return within


def protected_weight(ground: Ground, protect: tuple[Area, ...]) -> Floats:
    """(ny, nx) weight of each cell: of every protected area it lies in, summed; 0 elsewhere."""
    weight = np.zeros(ground.z.shape)
    for area in protect:
        weight += area.weight * cells_within(ground, area)
    return weight

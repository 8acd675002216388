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


def off_grid_m2(ground: Ground, area: Area) -> float:
    """Of an outline what lies off the grid altogether, where no ground is known either, m2.

    >>> strip = Area("strip", np.array([[-4.0, 0.0], [1.0, 0.0], [1.0, 1.0], [-4.0, 1.0]]))
    >>> off_grid_m2(Ground(0.5, 0.5, 1.0, np.zeros((3, 3))), strip)
    4.0
    """
    west, south, east, north = ground.bounds
    x, y = area.outline.T
    if x.min() >= west and x.max() <= east and y.min() >= south and y.max() <= north:
        return 0.0
    return float(shapely.difference(shapely.Polygon(area.outline), shapely.box(*ground.bounds)).area)


def all_protected_m2(ground: Ground, protect: tuple[Area, ...]) -> float:
    """All protected ground, known or not: what shares are of, m2; ground in two areas counts twice."""
    return sum(
        float(np.count_nonzero(cells_within(ground, area))) * ground.cell_m**2 + off_grid_m2(ground, area)
        for area in protect
    )


def protected_weight(ground: Ground, protect: tuple[Area, ...]) -> Floats:
    """(ny, nx) weight of each cell: of every protected area it lies in, summed; 0 elsewhere."""
    weight = np.zeros(ground.z.shape)
    for area in protect:
        weight += area.weight * cells_within(ground, area)
    return weight

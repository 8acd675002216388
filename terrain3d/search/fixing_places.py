"""Where a unit can hang: off every solid, out of the leaves, over known ground, on the site's own land."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from terrain3d.search.wall_sides import plans_at
from terrain3d.terrain import Foliage, Ground, Terrain
from terrain3d.units import Floats

#: Leaves denser than this, m2/m3, take a tenth of the light in less than half a metre (Beer-Lambert, leaves
#: that hang at every angle): a unit hung among them looks at leaves.
DENSE = 0.5
#: A unit closer to a solid than this is in it, or its back is.
CLEAR_M = 0.05
#: What stands lower than this at its foot is no hindrance.
_FOOT_M = 0.05
#: The slope under a pole is taken over this much to either side.
_SLOPE_OVER_M = 0.5


@dataclass(frozen=True, eq=False)
class FixingPlaces:
    """Which heights are free at a place.

    Parameters
    ----------
    terrain : Terrain
    heights_m : tuple of float
        Those of interest, above the ground.
    reach_m : float
        A unit farther from all protected ground than this is of no use.
    """

    terrain: Terrain
    heights_m: tuple[float, ...]
    reach_m: float

    @cached_property
    def blocked(self) -> list[Any]:
        """For each height, all ground where something opaque stands at that height or at its foot."""
        solids, ground = self.terrain.solids, self.terrain.ground
        foot = plans_at(solids, ground, _FOOT_M)
        plans = [shapely.union_all([*foot, *plans_at(solids, ground, height)]) for height in self.heights_m]
        for plan in plans:
            shapely.prepare(plan)
        return plans

    @cached_property
    def allowed(self) -> Any:
        """The site's own land, as far as a unit there reaches protected ground; None: everywhere."""
        regions = []
        if self.terrain.protect:
            areas = [shapely.Polygon(area.outline) for area in self.terrain.protect]
            regions.append(shapely.union_all(shapely.buffer(areas, self.reach_m)))
        if self.terrain.boundary is not None:
            regions.append(shapely.Polygon(self.terrain.boundary))
        if not regions:
            return None
        region = shapely.intersection_all(regions)
        shapely.prepare(region)
        return region

    def heights_at(self, at: Floats) -> tuple[float, ...]:
        """The heights at which a unit at (x, y) hangs free; none where no ground is known."""
        place = shapely.Point(at)
        if self.allowed is not None and not shapely.covers(self.allowed, place):
            return ()
        ground_z = float(self.terrain.ground.height_at(*at))
        if not math.isfinite(ground_z):
            return ()
        return tuple(
            height
            for height, plan in zip(self.heights_m, self.blocked, strict=True)
            # The distance from nothing at all is no number.
            if not shapely.distance(plan, place) <= CLEAR_M
            and leaf_density(self.terrain.foliage, at, ground_z + height) <= DENSE
        )


def slope_percent(ground: Ground, at: Floats) -> float:
    """Steepest rise of the ground around (x, y), over a metre; NaN where some of it is not known.

    >>> ground = Ground(0.0, 0.0, 1.0, np.add.outer(np.zeros(5), 0.5 * np.arange(5.0)))
    >>> slope_percent(ground, np.array([2.0, 2.0]))
    50.0
    """
    step = _SLOPE_OVER_M
    x, y = at[0] + step * np.array([-1, 1, 0, 0]), at[1] + step * np.array([0, 0, -1, 1])
    west, east, south, north = ground.height_at(x, y)
    return 100 * math.hypot(east - west, north - south) / (2 * step)


def leaf_density(foliage: Foliage, at: Floats, z: float) -> float:
    """Leaf area density at a place, m2/m3; 0 where nothing grows.

    >>> leaves = np.array([[0.0, 0.0, 1.0]])
    >>> hedge = Foliage(0.0, 0.0, 1.0, np.array([[-1, 0]], np.int32), np.zeros(1), 0.5, leaves)
    >>> [leaf_density(hedge, np.array([x, 0.0]), z) for x, z in ((0.0, 0.7), (1.2, 0.2), (1.2, 0.7))]
    [0.0, 0.0, 2.0]
    """
    i = math.floor((at[0] - foliage.x0) / foliage.cell_m + 0.5)
    j = math.floor((at[1] - foliage.y0) / foliage.cell_m + 0.5)
    ny, nx = foliage.column.shape
    k = int(foliage.column[j, i]) if 0 <= j < ny and 0 <= i < nx else -1
    if k < 0:
        return 0.0
    step = math.floor((z - foliage.base_z[k]) / foliage.step_m)
    if not 0 <= step < foliage.above.shape[1] - 1:
        return 0.0
    return float(foliage.above[k, step + 1] - foliage.above[k, step]) / foliage.step_m

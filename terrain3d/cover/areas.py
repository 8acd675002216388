"""Square metres: of each verdict, of protected ground, and of what a survey measured of either."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.verdict import VERDICT_KEYS, Codes
from terrain3d.terrain import SURVEYED_LEAVES, Area, Ground, Terrain
from terrain3d.units import Floats

#: Ground returns a square metre that tell one survey from another: what quality levels 3, 2 and 1 ask of the
#: pulses of a survey from the air (USGS lidar base specification), and four times the last.
RETURN_STEPS = (0.5, 2.0, 8.0, 32.0)


def verdict_areas(codes: Codes, cell_m2: float) -> dict[str, float]:
    """Area of each verdict, best first, keyed as in `results.json`.

    >>> verdict_areas(np.array([[4, 4], [0, 255]], np.uint8), 0.25)["both"]
    0.5
    """
    counts = np.bincount(codes.ravel(), minlength=256)
    return {key: float(counts[verdict]) * cell_m2 for verdict, key in VERDICT_KEYS.items()}


@dataclass(frozen=True)
class KnownGround:
    """How a piece of ground is known, m2: by measuring, across a gap that was bridged, or not at all."""

    measured_m2: float
    bridged_m2: float
    unknown_m2: float

    @property
    def all_m2(self) -> float:
        return self.measured_m2 + self.bridged_m2 + self.unknown_m2


def known_ground(ground: Ground, area: Area | None = None) -> KnownGround:
    """How the ground is known, all that is worked on or that of an area.

    Of an area what lies off the grid is not known either.

    >>> z, filled = np.array([[0.0, 0.0], [np.nan, 0.0]]), np.array([[False, True], [False, False]])
    >>> known_ground(Ground(0.0, 0.0, 1.0, z, filled))
    KnownGround(measured_m2=2.0, bridged_m2=1.0, unknown_m2=1.0)
    """
    within = np.ones(ground.z.shape, bool) if area is None else cells_within(ground, area)
    off_m2 = 0.0 if area is None else off_grid_m2(ground, area)
    bridged = ground.known & ground.filled
    parts = (ground.known & ~bridged, bridged, ~ground.known)
    measured, over_gaps, unknown = (
        float(np.count_nonzero(part & within)) * ground.cell_m**2 for part in parts
    )
    return KnownGround(measured, over_gaps, unknown + off_m2)


@dataclass(frozen=True)
class Measured:
    """How densely the ground that was measured was measured.

    Parameters
    ----------
    area_m2 : tuple of float
        Measured ground with fewer ground returns a square metre than the first of `RETURN_STEPS`, with as
        many or more and fewer than the next, and so on.
    median_per_m2 : float
        Ground returns a square metre that half of it has, or more.
    guessed_m2 : float
        Ground on which what is said of leaves is a guess.
    """

    area_m2: tuple[float, ...]
    median_per_m2: float
    guessed_m2: float


def measured_by(terrain: Terrain) -> Measured | None:
    """How densely the ground was measured; None where nobody counted returns, or none was measured.

    Bridged gaps are left out: in them nothing was measured.
    """
    ground, returns = terrain.ground, terrain.returns
    own = ground.known & ~ground.filled
    if returns is None or not own.any():
        return None
    per_m2 = returns.per_m2[own]
    counts = np.bincount(return_steps(per_m2), minlength=len(RETURN_STEPS) + 1)
    cell_m2 = ground.cell_m**2
    guessed_m2 = float(np.count_nonzero(returns.leaves_guessed)) * cell_m2
    return Measured(tuple(float(n) * cell_m2 for n in counts), float(np.median(per_m2)), guessed_m2)


def return_steps(per_m2: NDArray[np.floating]) -> NDArray[np.int64]:
    """How many of `RETURN_STEPS` each number of returns a square metre reaches.

    >>> return_steps(np.array([0.0, 0.5, 7.9, 8.0, 100.0]))
    array([0, 1, 2, 3, 4])
    """
    return np.asarray(np.searchsorted(RETURN_STEPS, per_m2, side="right"), np.int64)


@dataclass(frozen=True)
class Standing:
    """What stands on a site, by where it comes from: solids, and m2 of ground under leaves.

    Ground under leaves of both kinds counts with both.
    """

    solids_found: int
    solids_drawn: int
    leaves_found_m2: float
    leaves_drawn_m2: float


def standing_by_source(terrain: Terrain) -> Standing:
    """What a survey shows standing, and what is drawn in the site file."""
    solids, foliage = terrain.solids, terrain.foliage
    found = foliage.columns_of(SURVEYED_LEAVES)
    # All at once: for each of ten thousand hedges the names of all would be gone through.
    drawn = foliage.columns_of(*(name for name in foliage.names if name != SURVEYED_LEAVES))
    leaves_found, leaves_drawn = (float(part.sum()) * foliage.cell_m**2 for part in (found, drawn))
    surveyed = len(solids.surveyed)
    return Standing(surveyed, len(solids.names) - surveyed, leaves_found, leaves_drawn)


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

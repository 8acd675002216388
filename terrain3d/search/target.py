"""What a search is after: the cells that count, and those to keep out of."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within, off_grid_m2, protected_weight
from terrain3d.detector.figures import find_figure
from terrain3d.nuisance.spill import counted_height_m
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

Cells = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Target:
    """What the search is after.

    Parameters
    ----------
    cells : (p,) int64
        Flat indices into the ground of the cells that count: protected, or all known where none is.
    weight : (p,) float
        Of each of them.
    keep_out : tuple of (float, (q,) int64)
        Flat indices of the cells into which no upper layer may reach, by the height in metres of what
        counts there.
    figure_height_m, animal_m : float
        Heights of the figure that is to be held, and of the animal that is better not.
    whole : float
        What shares are of, in cells by weight: all that is protected, also where no ground is known.
    """

    cells: Cells
    weight: Floats
    keep_out: tuple[tuple[float, Cells], ...]
    figure_height_m: float
    animal_m: float
    whole: float


def target_of(terrain: Terrain, figure_height_m: float) -> Target:
    """The cells that count on a site, and those to keep out of.

    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> target = target_of(flat, 1.7)
    >>> len(target.cells), len(target.keep_out), target.animal_m
    (121, 0, 0.6)
    """
    ground = terrain.ground
    weight = protected_weight(ground, terrain.protect) if terrain.protect else np.ones(ground.z.shape)
    off = sum(area.weight * off_grid_m2(ground, area) for area in terrain.protect) / ground.cell_m**2
    whole = float(weight.sum()) + off if terrain.protect else float(ground.known.sum())
    weight = np.where(ground.known, weight, 0.0).ravel()
    cells = np.flatnonzero(weight)
    kept_out: dict[float, NDArray[np.bool_]] = {}
    for piece in terrain.beyond:
        if piece.keep_out:
            height_m = counted_height_m(piece.kind, figure_height_m)
            kept_out[height_m] = kept_out.get(height_m, False) | (cells_within(ground, piece) & ground.known)
    animal = find_figure("dog", []).height_m
    keep_out = tuple((height_m, np.flatnonzero(kept_out[height_m])) for height_m in sorted(kept_out))
    return Target(cells, weight[cells], keep_out, figure_height_m, animal, whole)

"""Where leaves grow in a strip, as in a hedge: which way it runs, and means along it.

A hedge varies less along its run than across its edge. A mean along the run takes in more pulses than one all
around, and leaves the edge where it is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, uniform_filter
from scipy.sparse import csr_array, diags_array

from terrain3d.survey.gaps import Mask
from terrain3d.survey.lattice import Lattice
from terrain3d.units import Floats

Indices = NDArray[np.int64]

#: Half the length of a mean along a strip, in spacings of the returns, and the shortest and longest.
_HALF, _HALF_M = 6.0, (1.0, 3.0)
#: Half the side of the window in which a run is looked for, at least; it is as long as the means are.
_WINDOW_M = 2.0
#: A strip's standard deviations across and along its run, within the window: one of 0.45 m is 1.6 m wide.
_WIDEST_M, _SHORTEST_M = 0.45, 0.8
#: Fewer returns of leaves than this in the window show no run.
_LEAST = 8
#: The means take in what lies so far across from a strip's returns, where it may end.
_EDGE_M = 0.5
#: What lies a cell aside of a line has less weight on it than this.
_BESIDE_LINE = 0.3
#: A strip goes on where it has no return, for as long as half a mean, where fewer pulses came through than
#: this, or than this share of those there are on open ground: with more an opening is the likelier.
_ALWAYS, _THROUGH = 2.0, 0.5
#: A mean has no more steps to either side than this.
_MOST_STEPS = 8


@dataclass(frozen=True, eq=False)
class Strips:
    """Cells of strips, and what is added up for the mean along the strip at each.

    Parameters
    ----------
    rows, columns : (n,) int
        Of the cells.
    weights : (n, ny * nx) sparse array of float
        Each row sums to 1.
    """

    rows: Indices
    columns: Indices
    weights: csr_array

    def means(self, field: Floats) -> Floats:
        """A field (ny, nx), in strips its means along them.

        >>> field = np.array([[1.0, 3.0]])
        >>> Strips(np.array([0]), np.array([1]), csr_array([[0.5, 0.5]])).means(field)
        array([[1., 2.]])
        """
        smooth = field.copy()
        smooth[self.rows, self.columns] = self.weights @ field.ravel()
        return smooth


def strips(cell: Indices, is_leaf: Mask, part: Floats, lattice: Lattice, apart_m: float) -> Strips | None:
    """Where leaves grow in strips; None where they do nowhere.

    Parameters
    ----------
    cell : (n,) int
        Of each return, counted row by row.
    is_leaf : (n,) bool
        Those of leaves as low as the strips that are looked for.
    part : (n,) float
        Of a pulse, that each return is. Means count each cell by the pulses around it: where chance let none
        in, what grows on both sides is carried on; where they came through, it is not.
    lattice : Lattice
    apart_m : float
        Spacing of the returns.

    Examples
    --------
    >>> lattice = Lattice(0.0, 0.0, 0.25, 40, 20)
    >>> hedge = np.array([[i, 10] for i in range(40) if not 15 <= i < 20])
    >>> cell = hedge[:, 1] * 40 + hedge[:, 0]
    >>> found = strips(cell, np.ones(len(cell), bool), np.ones(len(cell)), lattice, 0.25)
    >>> row = np.where(np.isin(np.arange(40), hedge[:, 0]), 2.0, 0.0)
    >>> field = np.zeros((20, 40))
    >>> field[10] = row
    >>> found.means(field)[10, 17].round(1)
    np.float64(2.0)
    """
    if apart_m <= 0:
        return None
    shape, n_cells = (lattice.ny, lattice.nx), lattice.ny * lattice.nx
    leaves = np.bincount(cell[is_leaf], minlength=n_cells).astype(float).reshape(shape)
    half_m = float(np.clip(_HALF * apart_m, *_HALF_M))
    half = half_m / lattice.cell_m
    thin, run = _runs(leaves, lattice.cell_m, max(_WINDOW_M, half_m))
    near = np.zeros(shape, bool)
    rows, columns = np.nonzero(thin)
    across = _along(rows, columns, run[thin] + np.pi / 2, shape, _EDGE_M / lattice.cell_m, (-1, 0, 1))
    near[thin] = across @ (leaves > 0).ravel().astype(float) > _BESIDE_LINE
    through = np.bincount(cell[~is_leaf], part[~is_leaf], minlength=n_cells).astype(float).reshape(shape)
    holes = _chance_holes(thin & ~near, leaves > 0, run, through, half, (lattice.cell_m / apart_m) ** 2)
    near |= holes
    rows, columns = np.nonzero(near)
    if not len(rows):
        return None
    pulses = np.bincount(cell, part, minlength=n_cells).reshape(shape)
    # What holes tell is what came through them; a little for each cell, so that all have a mean.
    around = np.where(holes, through, uniform_filter(pulses, 5, mode="constant"))
    counted = np.where(near, around + 1e-6, 0.0)
    weights = _along(rows, columns, run[near], shape, half, (-1, 0, 1)) @ diags_array(counted.ravel())
    return Strips(rows, columns, csr_array(diags_array(1 / weights.sum(axis=1)) @ weights))


def _chance_holes(beside: Mask, hit: Mask, run: Floats, through: Floats, half: float, a_cell: float) -> Mask:
    """Cells between two parts of a strip through which fewer pulses came than through an opening.

    Of `beside`, cells without returns of the strip; `through` is how many pulses came through each, `a_cell`
    how many there are in one on average.
    """
    rows, columns = np.nonzero(beside)
    lines = [_along(rows, columns, run[beside], hit.shape, half, (way,)) for way in (-1, 1)]
    ahead = [line @ hit.ravel().astype(float) / np.maximum(line.sum(axis=1), 1e-9) for line in lines]
    # Open ground along the strip's edge tells little of it: lines there meet few returns of leaves.
    weight = np.zeros(hit.shape)
    weight[beside] = np.sqrt(ahead[0] * ahead[1])
    hole, n = label(weight > 0)
    came, of_cells, cells = (
        np.bincount(hole.ravel(), of.ravel(), minlength=n + 1)
        for of in (weight * through, weight, np.ones(hit.shape))
    )
    came_through = came * cells / np.maximum(of_cells, 1e-9)
    return np.asarray((weight > 0) & (came_through < np.maximum(_ALWAYS, _THROUGH * a_cell * cells))[hole])


def _runs(leaves: Floats, cell_m: float, window_m: float) -> tuple[Mask, Floats]:
    """Where returns lie in a strip, and which way it runs there, radians from x towards y."""
    y, x = (np.arange(n) * cell_m - n * cell_m / 2 for n in leaves.shape)
    x, y = x[None, :], y[:, None]
    width = 2 * round(window_m / cell_m) + 1

    def mean_of(field: Floats) -> Floats:
        return uniform_filter(field, width, mode="constant")

    some = mean_of(leaves)
    n = np.maximum(some, 1e-9)
    mean_x, mean_y = mean_of(leaves * x) / n, mean_of(leaves * y) / n
    xx, yy = mean_of(leaves * x**2) / n - mean_x**2, mean_of(leaves * y**2) / n - mean_y**2
    xy = mean_of(leaves * x * y) / n - mean_x * mean_y
    middle, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    thin = (middle - apart < _WIDEST_M**2) & (middle + apart > _SHORTEST_M**2)
    return thin & (some * width**2 >= _LEAST), np.arctan2(2 * xy, xx - yy) / 2


def _along(
    rows: Indices, columns: Indices, run: Floats, shape: tuple[int, int], half: float, ways: tuple[int, ...]
) -> csr_array:
    """Weights of the cells on a line through each cell, as long as `half` cells to either side, less at its
    ends; `ways` are the halves of it that count, 0 the cell itself."""
    n = min(_MOST_STEPS, max(1, round(half)))
    steps = [(way * step * half / n, 1 - step / (n + 1)) for way in ways if way for step in range(1, n + 1)]
    if 0 in ways:
        steps.append((0.0, 1.0))
    which, cells, weights = [], [], []
    for off, weight in steps:
        x, y = columns + off * np.cos(run), rows + off * np.sin(run)
        left, low = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            share = np.abs(1 - i - (x - left)) * np.abs(1 - j - (y - low))
            on = (share > 0) & (left + i >= 0) & (left + i < shape[1]) & (low + j >= 0) & (low + j < shape[0])
            which.append(np.flatnonzero(on))
            cells.append(((low + j) * shape[1] + left + i)[on])
            weights.append(weight * share[on])
    at = (np.concatenate(which), np.concatenate(cells))
    return csr_array((np.concatenate(weights), at), shape=(len(rows), shape[0] * shape[1]))

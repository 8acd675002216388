"""The square grid of nodes that heights are laid on, and the heights at its feet without gaps."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.errors import InputError
from terrain3d.readers.source import Box
from terrain3d.terrain import Ground
from terrain3d.units import Floats

#: More nodes than this do not fit the memory of an ordinary machine with everything built on them.
MAX_NODES = 25_000_000


@dataclass(frozen=True)
class Lattice:
    """Cell centres: `x0`, `y0` is the south-west one, `nx` by `ny` of them, `cell_m` apart."""

    x0: float
    y0: float
    cell_m: float
    nx: int
    ny: int

    @property
    def xs(self) -> Floats:
        return self.x0 + self.cell_m * np.arange(self.nx, dtype=float)

    @property
    def ys(self) -> Floats:
        return self.y0 + self.cell_m * np.arange(self.ny, dtype=float)

    def nodes(self) -> tuple[Floats, Floats]:
        """Two (ny, nx) arrays: eastings and northings of all nodes."""
        x, y = np.meshgrid(self.xs, self.ys)
        return x, y

    def cell_of(self, x: Floats, y: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Column and row of the cell each point lies in, and whether it lies in any."""
        i = np.floor((x - self.x0) / self.cell_m + 0.5).astype(np.int64)
        j = np.floor((y - self.y0) / self.cell_m + 0.5).astype(np.int64)
        return i, j, (i >= 0) & (j >= 0) & (i < self.nx) & (j < self.ny)

    def grown(self, cells: int) -> "Lattice":
        """The same grid with this many more cells on every side."""
        shift = cells * self.cell_m
        return Lattice(
            self.x0 - shift, self.y0 - shift, self.cell_m, self.nx + 2 * cells, self.ny + 2 * cells
        )


def lattice_over(bounds: Box, cell_m: float) -> Lattice:
    """The cells that cover a box, with edges at whole multiples of the cell.

    The alignment does not depend on the box, so a stray point moves no node.

    Raises
    ------
    InputError
        Where the grid would be too large to hold.

    Examples
    --------
    >>> lattice_over((0.1, -0.2, 1.0, 1.0), 0.5)
    Lattice(x0=0.25, y0=-0.25, cell_m=0.5, nx=2, ny=3)
    """
    west, south, east, north = (edge / cell_m for edge in bounds)
    # A box edge on a cell edge, give or take a rounding, adds no row of cells.
    i0, j0 = math.floor(west + 1e-6), math.floor(south + 1e-6)
    nx, ny = max(2, math.ceil(east - 1e-6) - i0), max(2, math.ceil(north - 1e-6) - j0)
    check_size(nx, ny, cell_m)
    return Lattice((i0 + 0.5) * cell_m, (j0 + 0.5) * cell_m, cell_m, nx, ny)


def n_cells(bounds: Box, cell_m: float) -> float:
    """About how many cells cover a box.

    >>> n_cells((0, 0, 10, 5), 0.5)
    200.0
    """
    return (bounds[2] - bounds[0]) * (bounds[3] - bounds[1]) / cell_m**2


def check_size(nx: int, ny: int, cell_m: float) -> None:
    """Refuse a grid that would not fit the memory."""
    if nx * ny > MAX_NODES:
        raise InputError(
            f"the ground would be {nx * cell_m:.0f} x {ny * cell_m:.0f} m, "
            f"that is {nx} x {ny} cells of {cell_m:g} m; {MAX_NODES} is the most",
            "site.toml: site.cell",
            "take a larger cell, or check for a mount or a protect outline far from the others",
        )


@dataclass(frozen=True, eq=False)
class Relief:
    """The ground as it is known, and as feet need it.

    Parameters
    ----------
    ground : Ground
        NaN where no ground is known.
    feet_z : (ny, nx) float
        The same heights with every gap bridged and carried on: only to stand things on.
    spacing_m : float or None
        Typical distance between measured points.
    """

    ground: Ground
    feet_z: Floats
    spacing_m: float | None = None

    def foot_at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height to stand something on, at any place; beside the grid the nearest edge's."""
        west, south, east, north = self.ground.bounds
        feet = Ground(self.ground.x0, self.ground.y0, self.ground.cell_m, self.feet_z)
        return feet.height_at(
            np.clip(np.asarray(x, float), west, east), np.clip(np.asarray(y, float), south, north)
        )

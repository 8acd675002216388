"""Bare ground as a grid: a drawn plane, spot levels, or the ground points of a survey."""

import numpy as np
import shapely

from terrain3d.errors import InputError
from terrain3d.survey.gaps import Mask, carried_on, distance_to, linear, spacing, wide_gaps
from terrain3d.survey.lattice import Lattice, Relief, check_size, lattice_over
from terrain3d.terrain import Ground
from terrain3d.units import Floats, direction

#: A node is measured when a point lies within so many spacings. Of points strewn at random
#: (Poisson), exp(-pi 1.5^2) = 0.09 % of the ground is farther than that from any; on a square grid none.
MEASURED_SPACINGS = 1.5


def plane(fall_percent: float, towards_deg: float, extent_m: float, cell_m: float) -> Relief:
    """A tilted square about (0, 0), z = 0 there, of whole cells.

    Parameters
    ----------
    fall_percent : float
        Fall of 100 m of plan, towards the bearing `towards_deg`.
    extent_m : float
        Side of the square; rounded to whole cells.

    Examples
    --------
    >>> relief = plane(10, 90, 4, 0.5)        # falls 10 % eastward
    >>> relief.ground.height_at([1.0, -1.5], [0.0, 1.0])
    array([-0.1 ,  0.15])
    """
    n = round(extent_m / cell_m)
    if n < 2:
        raise InputError(
            f"a square of {extent_m:g} m holds less than two cells of {cell_m:g} m",
            "site.toml: ground.plane.extent",
            "take a larger extent or a smaller site.cell",
        )
    check_size(n, n, cell_m)
    lattice = Lattice(-(n - 1) / 2 * cell_m, -(n - 1) / 2 * cell_m, cell_m, n, n)
    x, y = lattice.nodes()
    east, north = direction(towards_deg)
    z = -fall_percent / 100 * (east * x + north * y)
    return Relief(_ground(lattice, z), z)


def spot_levels(x: Floats, y: Floats, z: Floats, cell_m: float, key: str = "points") -> Relief:
    """Levels taken by hand, triangulated: the ground is known within their hull.

    Parameters
    ----------
    x, y, z : (n,) float
        Local metres.
    cell_m : float
    key : str
        Of the site file's [ground], for messages.

    Examples
    --------
    >>> x, y, z = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 1], [4, 4, 1]], float).T
    >>> relief = spot_levels(x, y, z, 0.5)
    >>> relief.ground.height_at([2.0], [1.0])
    array([0.25])
    """
    points, first, inverse = np.unique(
        np.column_stack([x, y]), axis=0, return_index=True, return_inverse=True
    )
    twin = np.flatnonzero(np.abs(z - z[first][inverse.ravel()]) > 1e-6)
    if twin.size:
        k = int(twin[0])
        raise InputError(
            f"two spot levels at local ({x[k]:.3f}, {y[k]:.3f}) differ: "
            f"{z[first][inverse.ravel()][k]:g} and {z[k]:g} m",
            f"site.toml: ground.{key}",
            "keep one of them",
        )
    lattice = lattice_over((x.min(), y.min(), x.max(), y.max()), cell_m)
    heights = linear(points, z[first], *lattice.nodes())
    if not np.isfinite(heights).any():
        raise InputError(
            f"the spot levels span no cell of {cell_m:g} m",
            f"site.toml: ground.{key}",
            "give levels that surround the mounts, or take a smaller site.cell",
        )
    return Relief(_ground(lattice, heights), carried_on(heights))


def surveyed(xyz: Floats, lattice: Lattice, hole_limit_m: float) -> Relief:
    """Ground points as heights at the nodes of a grid.

    Parameters
    ----------
    xyz : (n, 3) float
        Ground points, local metres; those around the grid help at its edge.
    lattice : Lattice
    hole_limit_m : float
        Gaps up to this width are bridged and marked; wider ones are NaN, and nothing is known
        outside the hull of the points.

    Raises
    ------
    InputError
        Where the points do not span any ground.

    Notes
    -----
    Where points are denser than cells, each cell's points are taken together (mean place, mean
    height), which also takes the noise down. Heights are linear on the Delaunay triangles of
    these, so points on a plane give that plane.

    Examples
    --------
    >>> x, y = np.meshgrid(np.arange(0, 10, 0.5), np.arange(0, 10, 0.5))
    >>> xyz = np.column_stack([x.ravel(), y.ravel(), 0.2 * x.ravel()])
    >>> relief = surveyed(xyz, lattice_over((0, 0, 9.5, 9.5), 0.5), 3.0)
    >>> relief.ground.height_at([3.3], [4.0])
    array([0.66])
    """
    cell = lattice.cell_m
    thin = thinned(xyz, lattice)
    between = max(spacing(thin[:, :2]), cell) if len(thin) > 1 else cell
    measured_m = MEASURED_SPACINGS * between
    pad = int(np.ceil((hole_limit_m + measured_m) / cell)) + 1
    wider = lattice.grown(pad)
    i, j, inside = wider.cell_of(thin[:, 0], thin[:, 1])
    occupied = np.zeros((wider.ny, wider.nx), bool)
    occupied[j[inside], i[inside]] = True
    own = (slice(pad, -pad), slice(pad, -pad))
    measured = distance_to(occupied, (cell, cell))[own] <= measured_m + 1e-9
    unknown = wide_gaps(occupied, (cell, cell), hole_limit_m)[own] & ~measured
    across = linear(thin[:, :2], thin[:, 2], *lattice.nodes())
    z = np.where(unknown, np.nan, across)
    ground = _ground(lattice, z, ~measured & np.isfinite(z))
    return Relief(ground, carried_on(across), spacing(xyz[:, :2]))


def thinned(xyz: Floats, lattice: Lattice) -> Floats:
    """At most one point a cell: the mean of the points in it, ordered by cell.

    >>> thinned(np.array([[0.1, 0.1, 1.0], [0.3, 0.1, 3.0], [1.5, 0.5, 7.0]]), Lattice(0.5, 0.5, 1.0, 2, 1))
    array([[0.2, 0.1, 2. ],
           [1.5, 0.5, 7. ]])
    """
    if not len(xyz):
        return xyz
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    i, j = i - i.min(), j - j.min()
    _, cell, n = np.unique(j * (i.max() + 1) + i, return_inverse=True, return_counts=True)
    return np.column_stack([np.bincount(cell, column) / n for column in xyz.T])


def within(outline: Floats, x: Floats, y: Floats) -> Mask:
    """Which points lie inside an outline."""
    polygon = shapely.Polygon(outline)
    shapely.prepare(polygon)
    return np.asarray(shapely.contains_xy(polygon, x, y))


def _ground(lattice: Lattice, z: Floats, filled: Mask | None = None) -> Ground:
    marks = np.zeros(z.shape, bool) if filled is None else filled
    return Ground(lattice.x0, lattice.y0, lattice.cell_m, z, marks)

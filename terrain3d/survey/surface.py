"""Bare ground as a grid: a drawn plane, spot levels, or the ground points of a survey."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from terrain3d.errors import InputError
from terrain3d.survey.gaps import Mask, carried_on, distance_to, linear, spacing, wide_gaps
from terrain3d.survey.lattice import Lattice, Relief, check_size, lattice_over
from terrain3d.survey.quality import roughness
from terrain3d.terrain import Ground
from terrain3d.units import Floats, direction

#: A node is measured when a point lies within so many spacings. Of points strewn at random
#: (Poisson), exp(-pi 1.5^2) = 0.09 % of the ground is farther than that from any; on a square grid none.
MEASURED_SPACINGS = 1.5
#: Ground points are counted over a square of this side at most, or of so many spacings where that is wider.
_COUNTED_M, _COUNTED_SPACINGS = 2.0, 3.0
#: Points on whose plane one is put, itself among them: as many as lie on one.
_AROUNDS = (9, 18, 36)
#: Points moved at a time: their neighbours stay in the processor's own memory.
_AT_A_TIME = 20_000
#: Planes agree where their heights lie within so many of their standard errors, and their scatter is that of
#: noise within so many of its own.
_AGREE, _CHANCE = 2.0, 1.3
#: Points whose plane is carried on into a gap: more, for what lies outside them has their noise threefold.
_AT_RIM = (24, 48, 96)
#: Their scatter, and how far the point lies off, at most, in standard errors of a height; a height's error is
#: no larger than what QL2 allows (0.10 m, USGS lidar base specification): more is rough ground.
_EVEN, _MOVED, _MOST_NOISE_M = 1.5, 2.75, 0.10


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
    single, returns = thinned(xyz, lattice)
    sigma = _noise(single, returns)
    thin = levelled(single, returns)
    between = max(spacing(thin[:, :2]), cell) if len(thin) > 1 else cell
    measured_m = MEASURED_SPACINGS * between
    pad = int(np.ceil((hole_limit_m + measured_m) / cell)) + 1
    wider = lattice.grown(pad)
    i, j, inside = wider.cell_of(thin[:, 0], thin[:, 1])
    occupied = np.zeros((wider.ny, wider.nx), bool)
    occupied[j[inside], i[inside]] = True
    own = (slice(pad, -pad), slice(pad, -pad))
    measured = distance_to(occupied, (cell, cell))[own] <= measured_m + 1e-9
    gaps = wide_gaps(occupied, (cell, cell), hole_limit_m)[own]
    unknown = gaps & ~measured
    x, y = lattice.nodes()
    across = linear(thin[:, :2], thin[:, 2], x, y)
    # At the rim of a wide gap triangles reach across it, and what lies on its other side has no say here.
    rim = gaps & measured & np.isfinite(across)
    across[rim] = _on_planes(thin, returns, sigma, x[rim], y[rim], across[rim])
    z = np.where(unknown, np.nan, across)
    ground = _ground(lattice, z, ~measured & np.isfinite(z))
    return Relief(ground, carried_on(across), spacing(xyz[:, :2]))


def ground_returns(xyz: Floats, lattice: Lattice, spacing_m: float) -> tuple[NDArray[np.float32], float]:
    """How many ground points lie on a square metre, about each node of a grid.

    Parameters
    ----------
    xyz : (n, 3) float
        Ground points, local metres; those around the grid count at its edge.
    lattice : Lattice
    spacing_m : float
        Between neighbouring points.

    Returns
    -------
    per_m2 : (ny, nx) float32
    square_m : float
        Side of the square about a node that is counted over: under two metres, and wider where so few points
        lie on one that chance alone would tell.

    Examples
    --------
    >>> x, y = np.meshgrid(np.arange(0.1, 10, 0.2), np.arange(0.1, 10, 0.2))
    >>> xyz = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    >>> per_m2, square_m = ground_returns(xyz[x.ravel() < 5], lattice_over((2, 2, 8, 8), 1.0), 0.2)
    >>> per_m2[2].round(1).tolist(), square_m
    ([25.0, 25.0, 25.0, 0.0, 0.0, 0.0], 1.0)
    """
    wanted = max(_COUNTED_M, _COUNTED_SPACINGS * spacing_m)
    pad = max(0, int((wanted / lattice.cell_m - 1) / 2))
    wider = lattice.grown(pad)
    i, j, inside = wider.cell_of(xyz[:, 0], xyz[:, 1])
    count = np.bincount(j[inside] * wider.nx + i[inside], minlength=wider.nx * wider.ny)
    sums = np.pad(count.reshape(wider.ny, wider.nx), ((1, 0), (1, 0))).astype(np.int32)
    sums = sums.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)
    side = 2 * pad + 1
    within = sums[side:, side:] - sums[:-side, side:] - sums[side:, :-side] + sums[:-side, :-side]
    square_m = side * lattice.cell_m
    return (within / square_m**2).astype(np.float32), square_m


def thinned(xyz: Floats, lattice: Lattice) -> tuple[Floats, Floats]:
    """At most one point a cell: the mean of the points in it, ordered by cell, and how many these are.

    >>> thinned(np.array([[0.1, 0.1, 1.0], [0.3, 0.1, 3.0], [1.5, 0.5, 7.0]]), Lattice(0.5, 0.5, 1.0, 2, 1))
    (array([[0.2, 0.1, 2. ],
           [1.5, 0.5, 7. ]]), array([2., 1.]))
    """
    if not len(xyz):
        return xyz, np.zeros(0)
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    i, j = i - i.min(), j - j.min()
    _, cell, n = np.unique(j * (i.max() + 1) + i, return_inverse=True, return_counts=True)
    return np.column_stack([np.bincount(cell, column) / n for column in xyz.T]), n.astype(float)


def levelled(xyz: Floats, returns: Floats | None = None) -> Floats:
    """The same points with the noise taken down where the ground around them is even.

    Each is put on the plane of its neighbours and itself where it lies off it by no more than noise does, and
    so do they: a kerb, the edge of a bank and a boulder stay as they were measured.

    Parameters
    ----------
    xyz : (n, 3) float
    returns : (n,) float, optional
        Of how many returns each point is the mean; of one where it is left out.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> xy = rng.uniform(0, 20, (4000, 2))
    >>> noisy = np.column_stack([xy, 0.1 * xy[:, 0] + rng.normal(0, 0.03, 4000)])
    >>> float((levelled(noisy)[:, 2] - 0.1 * xy[:, 0]).std().round(2))
    0.01
    >>> step = np.column_stack([xy, xy[:, 0] > 10])
    >>> bool((levelled(step) == step).all())
    True
    """
    if len(xyz) <= 2 * _AROUNDS[0]:
        return xyz
    returns = np.ones(len(xyz)) if returns is None else returns
    sigma = _noise(xyz, returns)
    if sigma == 0:
        return xyz
    tree, k = cKDTree(xyz[:, :2]), min(_AROUNDS[-1], len(xyz))
    z = xyz[:, 2].copy()
    for start in range(0, len(xyz), _AT_A_TIME):
        part = slice(start, start + _AT_A_TIME)
        near: Any = tree.query(xyz[part, :2], k=k)[1]
        z[part] += _moved(xyz[near] - xyz[part, None], returns[near], sigma)
    return np.column_stack([xyz[:, :2], z])


def _moved(around: Floats, returns: Floats, sigma: float) -> Floats:
    """How far a point is moved, from the places around it, itself first, nearest to farthest (n, k, 3)."""
    level, even = _borne_out(around, returns, sigma, _AROUNDS)
    return np.where(even & (np.abs(level) < _MOVED * sigma / np.sqrt(returns[:, 0])), level, 0.0)


def _borne_out(around: Floats, returns: Floats, sigma: float, counts: tuple[int, ...]) -> tuple[Floats, Mask]:
    """Heights at the origin on planes through places (n, k, 3), nearest first, and whether the places lie on
    one within their noise: the fewest, or else twice as many, of which a few stand off by chance.

    Each is of as many places as lie on one plane by all that their noise tells: a wider one must bear out
    the narrower ones (intersection of confidence intervals, Goldenshluger & Nemirovski 1997, Math. Methods
    Statist. 6:135). `returns` (n, k) is of how many returns each place is the mean, `sigma` the standard
    error of one.
    """
    found, scatter, error = _levels(around[:, : counts[0]], returns[:, : counts[0]])
    even = scatter < _EVEN * sigma
    open_ = np.ones(len(even), bool)
    low, high = found - _AGREE * sigma * error, found + _AGREE * sigma * error
    low[~even], high[~even] = -np.inf, np.inf
    for n in counts[1:]:
        which = np.flatnonzero(open_)
        if n > around.shape[1] or not len(which):
            break
        level, scatter, error = _levels(around[which, :n], returns[which, :n])
        low[which] = np.maximum(low[which], level - _AGREE * sigma * error)
        high[which] = np.minimum(high[which], level + _AGREE * sigma * error)
        agree = (scatter < (1 + _CHANCE / np.sqrt(2 * (n - 3))) * sigma) & (low[which] <= high[which])
        found[which[agree]] = level[agree]
        even[which[agree]] = True
        open_ = np.zeros(len(open_), bool)
        open_[which[agree]] = True
    return found, even


def _levels(around: Floats, returns: Floats) -> tuple[Floats, Floats, Floats]:
    """Of planes through places (n, k, 3), which are means of so many returns (n, k): their heights at the
    origin, what a return scatters about them, and the standard error of the height in those of a return."""
    k = around.shape[1]
    weight = returns / returns.sum(axis=1, keepdims=True)
    centre = np.einsum("nk,nki->ni", weight, around)
    off = around - centre[:, None]
    flat = off[..., :2] * weight[..., None]
    moments = np.einsum("nki,nkj->nij", flat, off[..., :2])
    right = np.einsum("nki,nk->ni", flat, off[..., 2])
    # A pinch of stiffness: neighbours on one line get no slope across it.
    stiff = 1e-11 * np.trace(moments, axis1=1, axis2=2)[:, None, None] * np.eye(2) + 1e-12 * np.eye(2)
    both = np.linalg.solve(moments + stiff, np.stack([right, centre[:, :2]], axis=-1))
    slope, lever = both[..., 0], both[..., 1]
    rest = off[..., 2] - np.einsum("nki,ni->nk", off[..., :2], slope)
    level = centre[:, 2] - (centre[:, :2] * slope).sum(axis=1)
    error = np.sqrt((1 + (centre[:, :2] * lever).sum(axis=1)) / returns.sum(axis=1))
    return level, np.sqrt((returns * rest**2).sum(axis=1) / (k - 3)), error


def _on_planes(xyz: Floats, returns: Floats, sigma: float, x: Floats, y: Floats, otherwise: Floats) -> Floats:
    """Heights on the planes of the points nearest to each place; otherwise where those span none."""
    if len(xyz) < _AT_RIM[0] or not len(x):
        return otherwise
    near: Any = cKDTree(xyz[:, :2]).query(np.column_stack([x, y]), k=min(_AT_RIM[-1], len(xyz)))[1]
    around = xyz[near] - np.stack([x, y, np.zeros_like(x)], axis=-1)[:, None]
    least = around[:, : _AT_RIM[0]]
    # Points on one line span no plane.
    off = least[..., :2] - least[..., :2].mean(axis=1, keepdims=True)
    spread = np.linalg.eigvalsh(np.einsum("nki,nkj->nij", off, off))
    sound = spread[:, 0] > 0.02 * spread[:, 1]
    z = otherwise.copy()
    z[sound] = _borne_out(around[sound], returns[near[sound]], sigma, _AT_RIM)[0]
    return z


def _noise(xyz: Floats, returns: Floats) -> float:
    """Standard error of one return, from how points, means of so many, scatter about planes."""
    found = roughness(xyz)
    if found is None:
        return 0.0
    return float(min(found.sigma_m / np.sqrt((1 / returns).mean()), _MOST_NOISE_M))


def within(outline: Floats, x: Floats, y: Floats) -> Mask:
    """Which points lie inside an outline."""
    polygon = shapely.Polygon(outline)
    shapely.prepare(polygon)
    return np.asarray(shapely.contains_xy(polygon, x, y))


def _ground(lattice: Lattice, z: Floats, filled: Mask | None = None) -> Ground:
    marks = np.zeros(z.shape, bool) if filled is None else filled
    return Ground(lattice.x0, lattice.y0, lattice.cell_m, z, marks)

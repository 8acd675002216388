"""Gaps of a survey: how wide they are, which may be bridged, and how."""

import contextlib

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import binary_dilation, distance_transform_edt, label
from scipy.spatial import Delaunay, QhullError, cKDTree

from terrain3d.errors import InputError
from terrain3d.units import Floats

Mask = NDArray[np.bool_]

#: How far what gave returns goes on past the outermost, on average, in their spacings.
_PAST_LAST = 0.5


def distance_to(occupied: Mask, sampling_m: tuple[float, float]) -> Floats:
    """Metres from each cell to the nearest occupied cell, centre to centre; inf without any."""
    if not occupied.any():
        return np.full(occupied.shape, np.inf)
    return np.asarray(distance_transform_edt(~occupied, sampling=sampling_m))


def wide_gaps(occupied: Mask, sampling_m: tuple[float, float], limit_m: float) -> Mask:
    """Cells of gaps wider than `limit_m`: all that a disc of that width reaches without a point.

    This is the opening of the empty ground by a disc, so a narrow arm of a wide gap counts by its
    own width. Widths are true to a cell, and never taken for wider than they are.

    Examples
    --------
    >>> row = np.array([[True, False, False, False, True, False, False, False, False, False, True]])
    >>> wide_gaps(row, (1.0, 1.0), 3.0).astype(int)
    array([[0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 0]])
    """
    # A run of n empty cells is n cells wide; its middle is half a cell farther from the centres.
    half = min(sampling_m) / 2
    centres = distance_to(occupied, sampling_m) - half > limit_m / 2 + 1e-9
    if not centres.any():
        return centres
    reached = distance_to(centres, sampling_m)
    # The disc just touches the points at the rim of the gap, so it reaches all cells between.
    return np.asarray((reached < limit_m / 2 + max(sampling_m)) & ~occupied)


def covered(hit: Mask, apart: float, bridge: float = 1.2) -> Mask:
    """The plan of what gave some returns, from the cells that they fell in.

    Parameters
    ----------
    hit : (ny, nx) bool
        Cells with a return of it.
    apart : float
        Spacing of the returns, in cells.
    bridge : float
        A place belongs to it where a return lies within so many spacings: of returns strewn at random
        (Poisson) one place in ninety has none within 1.2.

    Notes
    -----
    Holes that are no wider than that are chance. The rim is then taken back to half a spacing past the
    outermost returns.

    Examples
    --------
    >>> row = np.array([[False, True, False, True, True, False, False, False]])
    >>> covered(np.repeat(row, 5, axis=0), 1.5)[2].astype(int)
    array([1, 1, 1, 1, 1, 0, 0, 0])
    """
    # Distances run from middle to middle, so that the next cell is one away.
    reach = max(bridge * apart, 1.0)
    near = distance_transform_edt(~hit) <= reach + 1e-9
    holes, _ = label(~near)
    size = np.bincount(holes.ravel())
    size[0] = size.max() + 1
    at_rim = np.unique(np.concatenate([holes[0], holes[-1], holes[:, 0], holes[:, -1]]))
    size[at_rim] = size.max()
    near |= size[holes] <= np.pi * reach**2
    return np.asarray((distance_transform_edt(near) > reach - _PAST_LAST * apart + 0.5) | hit)


def linear(points: Floats, values: Floats, x: Floats, y: Floats) -> Floats:
    """Heights at (x, y) on the Delaunay triangles of the points; NaN outside their hull."""
    try:
        triangles = Delaunay(points)
    except (QhullError, ValueError):
        raise InputError(
            f"{len(points)} ground points do not span any ground: they are too few, or lie on one line",
            "site.toml: ground",
            "give ground that surrounds the mounts and the protect outlines",
        ) from None
    return np.asarray(LinearNDInterpolator(triangles, values)(x, y))


def bridged(z: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Heights across all gaps of a grid: NaN outside the hull, and the same carried on everywhere.

    Only the rim of the gaps is triangulated; cells that are known keep their value.
    """
    known = np.isfinite(z)
    if known.all() or not known.any():
        return z, z
    rim = known & binary_dilation(~known, np.ones((3, 3), bool))
    across = z.copy()
    points = np.column_stack([x[rim], y[rim]])
    # A rim on one line spans nothing: the gap lies at the edge, and is only carried on.
    with contextlib.suppress(InputError):
        across[~known] = linear(points, z[rim], x[~known], y[~known])
    return across, carried_on(across)


def carried_on(z: Floats) -> Floats:
    """The height of the nearest known cell wherever none is known."""
    known = np.isfinite(z)
    if known.all() or not known.any():
        return z
    nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(z[tuple(nearest)])


def spacing(points: Floats) -> float:
    """Typical distance between neighbouring points in plan, metres.

    From the median distance to the sixth neighbour: n points in a circle of radius r are spaced
    r sqrt(pi / n). A square grid gives 1.02 of its spacing.

    >>> x, y = np.meshgrid(np.arange(20.0), np.arange(20.0))
    >>> spacing(np.column_stack([x.ravel(), y.ravel()]))
    1.02
    """
    k = min(6, len(points) - 1)
    if k < 1:
        return float("inf")
    sample = points[:: max(1, len(points) // 20_000)]
    # Distances are the same whatever the tree, and one that is quick to plant will do for so few questions.
    tree = cKDTree(points, balanced_tree=False, compact_nodes=False)
    distance, _ = tree.query(sample, k=[k + 1])
    return float(np.median(distance) * np.sqrt(np.pi / k))

"""What is seen from one eye over any points, not only over the centres of cells."""

import numpy as np
from numpy.typing import ArrayLike

from terrain3d.sight.foliage import near_leaves
from terrain3d.sight.panorama import _NO_LEAVES, Panorama, _first_shadow, _seen_heights
from terrain3d.sight.slices import N_BINS, sorted_triangles
from terrain3d.terrain import Terrain


def look_at(terrain: Terrain, eye: tuple[float, float, float], x: ArrayLike, y: ArrayLike) -> Panorama:
    """The heights that can be seen over some points, exactly as over the cells of a panorama.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
        Local metres.
    x, y : (n,) float
        The points, local metres.

    Returns
    -------
    Panorama
        Its `cells` are rows of x and y instead of cells of the ground; points over ground that is not
        known are left out.

    Examples
    --------
    >>> from terrain3d.terrain import Foliage, Ground, Solids, Terrain
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> seen = look_at(flat, (0.0, 0.0, 1.0), [0.3, -9.0, 2.5], [0.4, 0.0, 0.0])
    >>> seen.cells, seen.distance
    (array([0, 2]), array([0.5, 2.5]))
    """
    ground, foliage = terrain.ground, terrain.foliage
    ex, ey, ez = (float(v) for v in eye)
    x, y = np.asarray(x, float), np.asarray(y, float)
    height = ground.height_at(x, y)
    known = np.flatnonzero(np.isfinite(height))
    dx, dy = x[known] - ex, y[known] - ey
    turn = np.arctan2(dx, dy) / (2 * np.pi) % 1.0
    bins = np.minimum((turn * N_BINS).astype(np.int64), N_BINS - 1)
    order = np.argsort(bins, kind="stable")
    rows, bins, dx, dy = known[order], bins[order], dx[order], dy[order]
    foot = height[rows] - ez
    distance = np.hypot(dx, dy)
    far = np.maximum(distance, 1e-300)
    east, north = np.where(distance > 0, dx / far, 0.0), np.where(distance > 0, dy / far, 1.0)
    reach_m = float(distance.max(initial=0.0)) + ground.cell_m
    shadows = sorted_triangles(terrain.solids, (ex, ey, ez), reach_m)
    leaves_from = _NO_LEAVES
    if len(foliage.base_z):
        leaves_from = near_leaves(foliage.column, foliage.x0, foliage.y0, foliage.cell_m, ex, ey, reach_m)
    lowest, pieces, counts, unknown = _seen_heights(
        ground.z, ground.patch_top, ground.block_top, ground.x0, ground.y0, ground.cell_m, ex, ey, ez,
        bins, east, north, distance, foot, *shadows, _first_shadow(*shadows[1:]),
        foliage.column, foliage.base_z, foliage.step_m, foliage.above,
        foliage.x0, foliage.y0, foliage.cell_m, leaves_from,
    )  # fmt: skip
    bin_start = np.searchsorted(bins, np.arange(N_BINS + 1)).astype(np.int64)
    piece_start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    main = np.zeros((3, len(rows)))
    main[:, counts > 0] = pieces[piece_start[:-1][counts > 0]].T
    return Panorama(
        (ex, ey, ez), reach_m, rows, bin_start, east, north, distance, foot, lowest, piece_start, pieces,
        main, np.flatnonzero(counts > 1), unknown, terrain,
    )  # fmt: skip

"""A large invented site, to see how long a search takes: a farm on a hillside, every thing of it made up."""

from dataclasses import replace

import numpy as np
import shapely

from terrain3d.frame import site_frame
from terrain3d.search.fixing_places import FixingPlaces
from terrain3d.search.mounts import propose
from terrain3d.survey.solids import block, wall
from terrain3d.terrain import Area, Foliage, Ground, Mount, Solids, Terrain

#: Five heights within what the built-in types allow.
HEIGHTS_M = (0.8, 0.9, 1.0, 1.1, 1.2)
_STEP_M = 0.25
#: West and south end, width, depth and height in metres, turned anticlockwise by degrees.
_BUILDINGS = (
    (-26, -6, 12, 8, 5.0, 10), (4, 14, 14, 7, 6.0, -5), (24, 4, 9, 6, 3.5, 20), (-4, -22, 16, 6, 4.0, 0),
    (-34, 8, 6, 5, 2.8, 35), (30, -24, 8, 8, 4.5, 15), (-30, -46, 7, 4, 2.6, -12), (42, 28, 5, 5, 2.6, 40),
)  # fmt: skip


def large_site(extent_m: float = 100.0, cell_m: float = 0.25, n_mounts: int = 200, seed: int = 0) -> Terrain:
    """A square of land with a yard among buildings, walls, hedges and trees, and mounts all over it.

    Parameters
    ----------
    extent_m, cell_m : float
        Side of the square, and of its cells.
    n_mounts : int
        Mounts proposed on walls and edges first, then poles at random places that are free.
    seed : int
        Of the random draws.
    """
    ground = _hillside(extent_m, cell_m)
    unit = extent_m / 100
    solids = _built(ground, unit)
    protect = tuple(
        Area(name, unit * np.array(corners, float), weight)
        for name, corners, weight in (
            ("yard", [(-18, -14), (14, -14), (14, 10), (-18, 10)], 3.0),
            ("drive", [(14, -6), (48, -10), (48, -4), (14, 0)], 1.0),
            ("orchard", [(-40, 14), (-8, 14), (-8, 40), (-40, 40)], 1.0),
            ("paddock", [(8, 16), (40, 16), (40, 42), (8, 42)], 2.0),
            ("garden", [(-42, -40), (-14, -40), (-14, -20), (-42, -20)], 2.0),
        )
    )
    half = extent_m / 2
    boundary = np.array([[-half, -half], [half, -half], [half, half], [-half, half]]) * 0.98
    terrain = Terrain(
        site_frame(None, 0, 0), ground, solids, _planted(ground, unit), (), protect, boundary=boundary
    )
    return _with_mounts(terrain, n_mounts, seed)


def _hillside(extent_m: float, cell_m: float) -> Ground:
    n = round(extent_m / cell_m)
    axis = -extent_m / 2 + cell_m / 2 + cell_m * np.arange(n)
    x, y = np.meshgrid(axis, axis)
    rolling = 1.2 * np.sin(x / 17) * np.cos(y / 13) + 0.5 * np.sin(x / 6 + y / 9)
    bank = 1.5 / (1 + np.exp(-(y - 12 - 2 * np.sin(x / 10)) / 0.6))
    return Ground(float(axis[0]), float(axis[0]), cell_m, 0.08 * x + 0.05 * y + rolling + bank)


def _built(ground: Ground, unit: float) -> Solids:
    solids = Solids.none()
    for number, (x, y, width, depth, height, turn) in enumerate(_BUILDINGS, 1):
        plan = shapely.affinity.rotate(shapely.box(x, y, x + width, y + depth), turn)
        corners = unit * shapely.get_coordinates(plan)[:4]
        solids = solids.joined(block(corners, height, 0.0, ground.height_at, f"building {number}", 0.25))
    for number, path in enumerate(
        ([(-44, -18), (-12, -18)], [(16, -14), (16, 8), (20, 12)], [(-8, 12), (-8, 42)], [(42, 14), (6, 14)]),
        1,
    ):
        line = unit * np.array(path, float)
        solids = solids.joined(wall(line, 0.3, 1.3, 0.0, ground.height_at, f"wall {number}", 0.25))
    return solids


def _planted(ground: Ground, unit: float) -> Foliage:
    """Hedges from the ground up, and crowns of trees over head height."""
    x, y = np.meshgrid(ground.xs / unit, ground.ys / unit)
    hedge = (np.abs(y - 0.1 * x + 44) < 0.6) & (np.abs(x) < 40)
    hedge |= (np.abs(x + 45 - 0.05 * y) < 0.6) & (np.abs(y) < 38)
    crown = np.zeros_like(hedge)
    for cx, cy in ((-30, 22), (-22, 30), (-34, 34), (-14, 22), (20, 30), (34, 22), (-36, -30), (40, -14)):
        crown |= np.hypot(x - cx, y - cy) < 2.5
    grown = hedge | crown
    column = np.full(grown.shape, -1, np.int32)
    column[grown] = np.arange(grown.sum())
    edges = _STEP_M * np.arange(21)
    low = 1.5 * np.clip(edges, 0, 1.8)
    high = 0.8 * np.clip(edges - 2.2, 0, 2.5)
    above = np.where(hedge[grown][:, None], low, high)
    return Foliage(ground.x0, ground.y0, ground.cell_m, column, ground.z[grown], _STEP_M, above)


def _with_mounts(terrain: Terrain, n_mounts: int, seed: int) -> Terrain:
    found = [proposal.mount for proposal in propose(terrain, HEIGHTS_M, 12.0, every_m=5.0)][:n_mounts]
    draws = np.random.default_rng(seed)
    west, south, east, north = terrain.ground.bounds
    free = FixingPlaces(terrain, HEIGHTS_M, 12.0)
    while len(found) < n_mounts:
        x, y = draws.uniform((west + 1, south + 1), (east - 1, north - 1))
        is_apart = min((np.hypot(m.x - x, m.y - y) for m in found), default=9.0) > 1.0
        if is_apart and free.heights_at(np.array([x, y])) == HEIGHTS_M:
            found.append(Mount(f"pole {len(found) + 1}", float(x), float(y), HEIGHTS_M))
    return replace(terrain, mounts=tuple(found))

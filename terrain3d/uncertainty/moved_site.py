"""The same site on ground that lies otherwise: all that stands on it rides along.

Solids, foliage and mounts keep their heights above the ground beneath, as they are drawn and measured.
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.detector.pose import Detector
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.units import Floats, direction

#: A head tilted and rolled by no more than this spreads its arc by at most 7.5 degrees to either side; so
#: much ground is kept beside it, and this many cells about the unit, that no patch under a line is lost.
_LITTLE_DEG, _BESIDE_DEG, _AROUND_CELLS = 12.0, 15.0, 16


def moved(terrain: Terrain, error_m: Floats) -> Terrain:
    """A site whose ground is off by an error, and with it everything on the ground.

    Parameters
    ----------
    terrain : Terrain
    error_m : (ny, nx) float
        Added to the heights of the nodes, metres; finite everywhere, as buildings stand on ground that
        is not known as well.

    Examples
    --------
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage
    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((3, 3)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> moved(flat, np.full((3, 3), 0.1)).ground.height_at([1.0], [1.0])
    array([0.1])
    """
    ground, solids, foliage = terrain.ground, terrain.solids, terrain.foliage
    errors = Ground(ground.x0, ground.y0, ground.cell_m, error_m)
    vertices = solids.vertices
    if len(vertices):
        lift = _error_at(errors, vertices[:, 0], vertices[:, 1])
        vertices = np.column_stack([vertices[:, :2], vertices[:, 2] + lift])
    base_z = foliage.base_z
    if len(base_z):
        rows, columns = np.nonzero(foliage.column >= 0)
        x = foliage.x0 + foliage.cell_m * columns
        y = foliage.y0 + foliage.cell_m * rows
        base_z = base_z.copy()
        base_z[foliage.column[rows, columns]] += _error_at(errors, x, y)
    return replace(
        terrain,
        ground=replace(ground, z=ground.z + error_m),
        solids=replace(solids, vertices=vertices),
        foliage=replace(foliage, base_z=base_z),
    )


def finely(solids: Solids, longest_m: float) -> Solids:
    """The same solids cut so fine that they can follow ground that is moved.

    Edges longer than `longest_m` in plan are halved, in both triangles that share them, so a closed
    mesh stays closed.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    >>> wall = Solids(corners, np.array([[0, 1, 2]]), np.zeros(1, np.int64), ("wall",))
    >>> len(finely(wall, 1.0).triangles)
    9
    """
    vertices, triangles, owners = solids.vertices, solids.triangles, solids.owners
    while len(triangles):
        pairs = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        edges, index = np.unique(pairs, axis=0, return_inverse=True)
        of_triangle = index.reshape(-1, 3)
        ends = vertices[edges]
        length = np.hypot(*(ends[:, 1, :2] - ends[:, 0, :2]).T)
        is_long = length > longest_m
        if not is_long.any():
            break
        middle = np.full(len(edges), -1, np.int64)
        middle[is_long] = len(vertices) + np.arange(int(is_long.sum()))
        vertices = np.vstack([vertices, ends[is_long].mean(axis=1)])
        # The longest edge first: it is cut wherever another one is.
        order = (length[of_triangle].argmax(axis=1)[:, None] + np.arange(3)) % 3
        rows = np.arange(len(triangles))[:, None]
        triangles, source = _cut(triangles[rows, order], middle[of_triangle[rows, order]])
        owners = owners[source]
    return replace(solids, vertices=vertices, triangles=triangles, owners=owners)


def looked_at(ground: Ground, unit: Detector) -> Ground:
    """The ground in the arcs of a unit; elsewhere it is taken as unknown, which saves looking there.

    What the unit holds is the same: its lines of sight run within its arcs, and ground beside them, and
    all around the unit itself, is kept.
    """
    reaches = [abs(unit.pan_of(number)) + head.arc / 2 for number, head in enumerate(unit.type.head)]
    if unit.type.microwave is not None:
        reaches.append(unit.type.microwave.arc / 2)
    half_deg = _BESIDE_DEG + max(reaches)
    if half_deg >= 180 or max(abs(unit.tilt_deg), abs(unit.roll_deg)) > _LITTLE_DEG:
        return ground
    east, north = direction(unit.bearing_deg)
    dx, dy = ground.xs - unit.x, (ground.ys - unit.y)[:, None]
    away = np.hypot(dx, dy)
    kept = (dx * east + dy * north >= math.cos(math.radians(half_deg)) * away) | (
        away < _AROUND_CELLS * ground.cell_m
    )
    return replace(ground, z=np.where(kept, ground.z, np.nan))


def _cut(
    triangles: NDArray[np.int64], middles: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Triangles cut at the new vertices on their edges 01, 12, 20 (-1: none), and whose parts they are."""
    (a, b, c), (ab, bc, ca) = triangles.T, middles.T
    whole, by_bc, by_ca = ab < 0, bc >= 0, ca >= 0
    parts = (
        (whole, (a, b, c)),
        (~whole & ~by_ca, (a, ab, c)),
        (~whole & by_ca, (a, ab, ca)),
        (~whole & by_ca, (ab, c, ca)),
        (~whole & ~by_bc, (ab, b, c)),
        (~whole & by_bc, (ab, b, bc)),
        (~whole & by_bc, (ab, bc, c)),
    )
    cut = np.vstack([np.column_stack(corners)[mask] for mask, corners in parts])
    return cut, np.concatenate([np.flatnonzero(mask) for mask, _ in parts])


def _error_at(errors: Ground, x: ArrayLike, y: ArrayLike) -> Floats:
    """Errors at any place; beside the grid those of its nearest edge."""
    west, south, east, north = errors.bounds
    return errors.height_at(
        np.clip(np.asarray(x, float), west, east), np.clip(np.asarray(y, float), south, north)
    )

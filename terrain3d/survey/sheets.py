"""Elevation grids and triangle meshes as ground on the site's own grid."""

from collections.abc import Sequence

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.readers.source import Raster
from terrain3d.survey.classes import STANDS_ABOVE_M, Treatment
from terrain3d.survey.gaps import Mask, bridged, carried_on, wide_gaps
from terrain3d.survey.ground_points import filtered_ground
from terrain3d.survey.lattice import Lattice, Relief
from terrain3d.survey.solids import SURVEYED, Indices
from terrain3d.survey.surface import surveyed, within
from terrain3d.terrain import Ground, Solids
from terrain3d.units import Floats


def from_raster(raster: Raster, frame: Frame, lattice: Lattice, hole_limit_m: float) -> Relief:
    """Heights of an elevation grid at the nodes, bilinear between its cell centres.

    Gaps are measured and bridged on the raster's own grid; a node beside a cell that stays
    unknown is unknown, and so is one off the raster.
    """
    size_m = _pixel_m(raster, frame)
    known = np.isfinite(raster.z)
    rows, columns = np.mgrid[: raster.z.shape[0], : raster.z.shape[1]].astype(float)
    across, anywhere = bridged(raster.z, columns * size_m[1], rows * size_m[0])
    pad = int(np.ceil(hole_limit_m / min(size_m))) + 2
    wide = wide_gaps(np.pad(known, pad), size_m, hole_limit_m)[pad:-pad, pad:-pad]
    z = np.where(wide, np.nan, across)
    x, y = frame.from_local(*lattice.nodes(), raster.crs)
    inverse = ~raster.transform
    column = inverse.a * x + inverse.b * y + inverse.c - 0.5
    row = inverse.d * x + inverse.e * y + inverse.f - 0.5

    def at_nodes(values: Floats) -> Floats:
        return Ground(0.0, 0.0, 1.0, values).height_at(column, row)

    heights = at_nodes(z)
    filled = (at_nodes(np.where(known, 0.0, 1.0)) > 1e-9) & np.isfinite(heights)
    ground = Ground(lattice.x0, lattice.y0, lattice.cell_m, heights, filled)
    return Relief(ground, carried_on(at_nodes(anywhere)), float(np.sqrt(size_m[0] * size_m[1])))


def _pixel_m(raster: Raster, frame: Frame) -> tuple[float, float]:
    """Height and width of the raster's middle cell in local metres."""
    if min(raster.z.shape) < 2:
        raise InputError(
            f"the elevation grid has {raster.z.shape[1]} x {raster.z.shape[0]} cells where the site lies",
            "site.toml: ground.file",
            "name a grid that covers the site",
        )
    row, column = (n / 2 for n in raster.z.shape)
    steps = [raster.transform @ at for at in ((column, row), (column + 1, row), (column, row + 1))]
    x, y = frame.to_local([at[0] for at in steps], [at[1] for at in steps], raster.crs)
    return float(np.hypot(x[2] - x[0], y[2] - y[0])), float(np.hypot(x[1] - x[0], y[1] - y[0]))


def from_mesh(
    vertices: Floats,
    triangles: Indices,
    lattice: Lattice,
    hole_limit_m: float,
    treatments: Sequence[Treatment] = (),
    is_ground: bool = False,
) -> tuple[Relief, Solids, tuple[str, ...]]:
    """Ground and what stands on it from a mesh in local metres.

    Each node is sampled by an upright line: the lowest face turned upward is taken (undersides and
    floors of closed shapes are not ground), and ground is filtered from these samples. Triangles
    that reach clearly above it are solids, as they are. Of a surface that is said to be ground, all is.

    Returns
    -------
    Relief, Solids, doubts
    """
    if any(treatment.take_as == "foliage" for treatment in treatments):
        raise InputError(
            "a [[treat]] outline takes a mesh for foliage, and a mesh has no returns to tell its density",
            "site.toml: treat",
            'take it as "nothing" there and draw [[foliage]] instead',
        )
    samples = _samples(vertices, triangles, lattice)
    if is_ground:
        return surveyed(samples, lattice, hole_limit_m), Solids.none(), ()
    on_ground = filtered_ground(samples)
    for treatment in treatments:
        if treatment.take_as == "ground":
            on_ground |= within(treatment.outline, samples[:, 0], samples[:, 1])
    relief = surveyed(samples[on_ground], lattice, hole_limit_m)
    standing = _standing(vertices, triangles, relief)
    for treatment in treatments:
        if treatment.take_as in ("nothing", "ground"):
            middle = vertices[triangles].mean(axis=1)
            standing &= ~within(treatment.outline, middle[:, 0], middle[:, 1])
    doubts: tuple[str, ...] = (
        "the mesh does not say what is ground: it was filtered (cloth simulation), so check it where "
        "banks, walls or low growth stand",
    )
    if standing.any():
        doubts += ("everything that stands in the mesh is taken as solid, trees and hedges too",)
    return relief, _solids(vertices, triangles[standing]), doubts


def _samples(vertices: Floats, triangles: Indices, lattice: Lattice) -> Floats:
    """(n, 3) lowest upward face over each node that has one."""
    import trimesh

    # The rays are single precision: heights near zero keep a tenth of a millimetre.
    origin_z = float(np.median(vertices[:, 2]))
    mesh = trimesh.Trimesh(vertices - [0, 0, origin_z], triangles, process=False)
    x, y = (axis.ravel() for axis in lattice.nodes())
    # A node right on an edge of the mesh belongs to the face beside it.
    start = np.column_stack([x + 1e-5, y + 0.7e-5, np.full(x.size, mesh.vertices[:, 2].max() + 1.0)])
    down = np.tile([0.0, 0.0, -1.0], (x.size, 1))
    place, ray, face = mesh.ray.intersects_location(start, down, multiple_hits=True)
    if not len(ray):
        return np.zeros((0, 3))
    up = _normal_z(vertices, triangles)
    order = np.lexsort((place[:, 2], ray))
    last = np.concatenate([np.diff(ray[order]) > 0, [True]])
    # What is seen first from above is a top side; where most of it is wound downward, all of it is.
    if np.median(np.sign(up[face[order[last]]])) < 0:
        up = -up
    order = order[up[face[order]] > 0]
    first = np.concatenate([[True], np.diff(ray[order]) > 0]) if len(order) else np.zeros(0, bool)
    lowest = order[first]
    return np.column_stack([x[ray[lowest]], y[ray[lowest]], place[lowest, 2] + origin_z])


def _normal_z(vertices: Floats, triangles: Indices) -> Floats:
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    return np.asarray(np.cross(b - a, c - a)[:, 2])


def _standing(vertices: Floats, triangles: Indices, relief: Relief) -> Mask:
    """Triangles that reach clearly above the ground at a corner, an edge's middle or their own."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    west, south, east, north = relief.ground.bounds
    stands = np.zeros(len(triangles), bool)
    for spot in (a, b, c, (a + b) / 2, (b + c) / 2, (c + a) / 2, (a + b + c) / 3):
        on_grid = (spot[:, 0] >= west) & (spot[:, 0] <= east) & (spot[:, 1] >= south) & (spot[:, 1] <= north)
        stands |= on_grid & (spot[:, 2] - relief.foot_at(spot[:, 0], spot[:, 1]) > STANDS_ABOVE_M)
    return stands


def _solids(vertices: Floats, triangles: Indices) -> Solids:
    """The triangles as they are, those that hang together under one name."""
    if not len(triangles):
        return Solids.none()
    corners = np.round(vertices[triangles].reshape(-1, 3), 4)
    points, index = np.unique(corners, axis=0, return_inverse=True)
    tri = index.reshape(-1, 3).astype(np.int64)
    pairs = tri[:, [0, 1, 1, 2]].reshape(-1, 2)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    n, part = connected_components(graph, directed=False)
    names = tuple(f"{SURVEYED} {k + 1}" for k in range(n))
    return Solids(points, tri, part[tri[:, 0]].astype(np.int64), names, frozenset(range(n)))

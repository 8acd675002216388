"""Points of roofs and walls as closed blocks that keep the space under eaves open."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_closing, binary_dilation, binary_opening, label
from scipy.spatial import cKDTree

from terrain3d.survey.gaps import Mask, spacing
from terrain3d.survey.lattice import Lattice, Relief, lattice_over
from terrain3d.survey.solids import FOOTING_M, SURVEYED
from terrain3d.terrain import Solids
from terrain3d.units import Floats

#: Columns are no narrower than this: finer ones only model the noise of the points.
NARROWEST_M = 0.25
#: Spacings of points a column is wide: about three points each, and one in twenty missed by chance.
_POINTS_WIDE = 1.75
#: How thick a roof is where there is open space beneath it.
SLAB_M = 0.2
#: Points this far below a column's highest belong to the same roof.
_SAME_ROOF_M = 0.5
#: Neighbours carry one roof on when they differ by no more than this plus a slope of 50 degrees.
_STEP_M, _STEEPEST = 0.3, 1.2
#: Corners of a column in the order south-west, south-east, north-east, north-west: (column, row).
_CORNERS = ((0, 0), (1, 0), (1, 1), (0, 1))
#: Each side of a column: its neighbour's offset, its own two corners, the neighbour's same two.
_SIDES = (
    ((0, -1), (0, 1), (3, 2)),
    ((1, 0), (1, 2), (0, 3)),
    ((0, 1), (2, 3), (1, 0)),
    ((-1, 0), (3, 0), (2, 1)),
)


@dataclass(frozen=True, eq=False)
class _Columns:
    """Columns of one grid: where there are any, and the heights of their four corners."""

    lattice: Lattice
    some: Mask
    top: Floats
    bottom: Floats


def buildings(solid_xyz: Floats, ground_xyz: Floats, relief: Relief) -> Solids:
    """Blocks for the points of everything opaque.

    Parameters
    ----------
    solid_xyz : (n, 3) float
        Points on roofs, walls and the like, local metres.
    ground_xyz : (m, 3) float
        Ground points: those under a roof show that there is open space beneath it.
    relief : Relief

    Returns
    -------
    Solids
        One name for each thing that stands apart. Only faces that can be seen are there: what
        stands on the ground has no underside, and walls go into it by half a metre.

    Notes
    -----
    The plan is cut into columns of at least 0.25 m, wide enough for three points each. A column's
    top is a plane fitted to the points of its roof around it, so noise makes no combs; columns of
    one roof share their corners, others are joined by upright faces. A column is open beneath, a
    slab of 0.2 m, where ground was measured under it and no wall was; what was not seen from the
    air, the middle of a carport say, stays solid.
    """
    if len(solid_xyz) < 3:
        return Solids.none()
    cell = relief.ground.cell_m
    width = cell * max(1, np.ceil(max(NARROWEST_M, _POINTS_WIDE * spacing(solid_xyz[:, :2])) / cell - 1e-9))
    west, south = solid_xyz[:, :2].min(axis=0) - 2 * width
    east, north = solid_xyz[:, :2].max(axis=0) + 2 * width
    lattice = lattice_over((west, south, east, north), float(width))
    some, mean = _roof_points(solid_xyz, lattice)
    top = _joined(_corner_heights(mean, some, lattice), some)
    open_below = _open_below(solid_xyz, ground_xyz, lattice, some, top.mean(axis=2), relief)
    x, y = _corner_places(lattice)
    footing = relief.foot_at(x, y) - FOOTING_M
    # A roof that comes down to the ground still stands on it.
    bottom = np.where(open_below[..., None], top - SLAB_M, np.minimum(footing, top - SLAB_M))
    return _faces(_Columns(lattice, some, top, bottom), open_below)


def _roof_points(xyz: Floats, lattice: Lattice) -> tuple[Mask, Floats]:
    """Columns that hold a roof, and the mean place (3) of its points in each."""
    shape = (lattice.ny, lattice.nx)
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    flat = j * lattice.nx + i
    highest = np.full(lattice.nx * lattice.ny, -np.inf)
    np.maximum.at(highest, flat, xyz[:, 2])
    roof = xyz[:, 2] > highest[flat] - _SAME_ROOF_M
    n = np.bincount(flat[roof], minlength=highest.size)
    with np.errstate(invalid="ignore"):
        mean = np.stack([np.bincount(flat[roof], v, highest.size) / n for v in xyz[roof].T], axis=-1)
    mean, n = mean.reshape(*shape, 3), n.reshape(shape)
    around = _around(n.astype(float))
    neighbours = (around > 0).sum(axis=0)
    # A column at the rim that a roof only clips holds few points: it would widen the building.
    usual = around.sum(axis=0) / np.maximum(neighbours, 1)
    clipped = (neighbours < 8) & (usual >= 3) & (n < 0.4 * usual)
    some = (n > 0) & ~clipped & ((n > 1) | (neighbours > 0))
    # A column missed by chance within a roof takes its neighbours' height.
    beside = _around(np.where(some, mean[..., 2], np.nan), np.nan)
    missed = ~some & (np.isfinite(beside).sum(axis=0) >= 6)
    x, y = lattice.nodes()
    mean[missed] = np.column_stack([x[missed], y[missed], np.nanmean(beside[:, missed], axis=0)])
    some |= missed
    plan = _straightened(some)
    notch = plan & ~some
    beside = _around(np.where(some, mean[..., 2], np.nan), np.nan)
    mean[notch] = np.column_stack([x[notch], y[notch], np.nanmean(beside[:, notch], axis=0)])
    return plan, mean


def _straightened(some: Mask) -> Mask:
    """A plan without the teeth and notches that chance leaves along its edges.

    A straight eave cuts its columns at random: some hold enough points, some do not. What is up to
    two columns wide and three in all, on an edge of something wider, is such a tooth or notch;
    longer things are walls or gaps and stay.

    >>> plan = np.zeros((7, 9), bool)
    >>> plan[1:5, 1:8] = True
    >>> plan[5, 3], plan[1, 5] = True, False
    >>> _straightened(plan)[1:6, [3, 5]].T.astype(int)
    array([[1, 1, 1, 1, 0],
           [1, 1, 1, 1, 0]])
    """
    square = np.ones((3, 3), bool)
    for changed in (some & ~binary_opening(some, square), binary_closing(some, square) & ~some):
        parts, _ = label(changed, square)
        size = np.bincount(parts.ravel())
        size[0] = 0
        some = some ^ (changed & (size[parts] <= 3) & _beside_core(some, changed))
    return some


def _beside_core(some: Mask, changed: Mask) -> Mask:
    """Cells that touch the part of a plan that does not change."""
    return binary_dilation(some & ~changed, np.ones((3, 3), bool))


def _around(values: Floats, outside: float = 0) -> Floats:
    """(8, ny, nx) values of the eight neighbours."""
    padded = np.pad(values, 1, constant_values=outside)
    ny, nx = values.shape
    steps = [(dj, di) for dj in range(3) for di in range(3) if (dj, di) != (1, 1)]
    return np.stack([padded[dj : dj + ny, di : di + nx] for dj, di in steps])


def _corner_heights(mean: Floats, some: Mask, lattice: Lattice) -> Floats:
    """(ny, nx, 4) heights of a plane fitted around each column, at its corners."""
    ny, nx = some.shape
    reach = 2
    rim = ((reach, reach), (reach, reach), (0, 0))
    padded = np.pad(np.where(some[..., None], mean, np.nan), rim, constant_values=np.nan)
    x, y = lattice.nodes()
    moments, right = np.zeros((ny, nx, 3, 3)), np.zeros((ny, nx, 3))
    own_z = mean[..., 2]
    lowest, highest = own_z.copy(), own_z.copy()
    for dj in range(2 * reach + 1):
        for di in range(2 * reach + 1):
            near = padded[dj : dj + ny, di : di + nx]
            dx, dy, dz = near[..., 0] - x, near[..., 1] - y, near[..., 2] - own_z
            away = lattice.cell_m * np.hypot(dj - reach, di - reach)
            with np.errstate(invalid="ignore"):
                same = np.abs(dz) < _STEP_M + _STEEPEST * away
            row = np.where(same[..., None], np.stack([dx, dy, np.ones_like(dx)], axis=-1), 0.0)
            dz = np.where(same, dz, 0.0)
            moments += row[..., :, None] * row[..., None, :]
            right += row * dz[..., None]
            lowest, highest = np.fmin(lowest, own_z + dz), np.fmax(highest, own_z + dz)
    # A pinch of stiffness: columns alone, or in one row, get no slope that nothing holds.
    moments += np.diag([1.0, 1.0, 1e-9]) * (0.1 * lattice.cell_m) ** 2
    fit = np.linalg.solve(moments, right[..., None])[..., 0]
    half = lattice.cell_m / 2
    ends = np.array([[(2 * di - 1) * half, (2 * dj - 1) * half, 1.0] for di, dj in _CORNERS])
    heights = own_z[..., None] + fit @ ends.T
    return np.asarray(np.clip(heights, lowest[..., None], highest[..., None]))


def _joined(heights: Floats, some: Mask) -> Floats:
    """Corner heights with those of one roof made equal where columns meet."""
    ny, nx = some.shape
    meeting = np.full((ny + 1, nx + 1, 4), np.nan)
    for k, (di, dj) in enumerate(_CORNERS):
        meeting[dj : dj + ny, di : di + nx, k] = np.where(some, heights[..., k], np.nan)
    order = np.argsort(meeting, axis=2)
    ranked = np.take_along_axis(meeting, order, axis=2)
    with np.errstate(invalid="ignore"):
        step = np.diff(ranked, axis=2) > _STEP_M
    group = np.concatenate([np.zeros((ny + 1, nx + 1, 1), int), np.cumsum(step, axis=2)], axis=2)
    for g in range(4):
        member = (group == g) & np.isfinite(ranked)
        n = member.sum(axis=2, keepdims=True)
        mean = np.where(member, ranked, 0.0).sum(axis=2, keepdims=True) / np.maximum(n, 1)
        ranked = np.where(member, mean, ranked)
    np.put_along_axis(meeting, order, ranked, axis=2)
    return np.stack([meeting[dj : dj + ny, di : di + nx, k] for k, (di, dj) in enumerate(_CORNERS)], axis=-1)


def _open_below(
    solid_xyz: Floats, ground_xyz: Floats, lattice: Lattice, some: Mask, top: Floats, relief: Relief
) -> Mask:
    """Columns under whose roof ground was measured, and in which no wall was."""
    i, j, inside = lattice.cell_of(ground_xyz[:, 0], ground_xyz[:, 1])
    inside[inside] &= some[j[inside], i[inside]]
    inside[inside] &= top[j[inside], i[inside]] - ground_xyz[inside, 2] > 2 * SLAB_M + _STEP_M
    seen = np.zeros(some.shape, bool)
    below = np.flatnonzero(inside)
    if below.size:
        # Beside a roof its points lie on one side; under it, on at least three quarters of the way round.
        tree = cKDTree(solid_xyz[:, :2])
        place = ground_xyz[below, :2]
        nearest = list(range(1, min(16, len(solid_xyz)) + 1))
        away, near = tree.query(place, k=nearest, distance_upper_bound=2 * lattice.cell_m)
        valid = np.isfinite(away)
        off = solid_xyz[np.where(valid, near, 0), :2] - place[:, None]
        quarter = 2 * (off[..., 0] > 0) + (off[..., 1] > 0)
        quarters = sum((valid & (quarter == q)).any(axis=1).astype(int) for q in range(4))
        under = below[np.asarray(quarters) >= 3]
        seen[j[under], i[under]] = True
    i, j, _ = lattice.cell_of(solid_xyz[:, 0], solid_xyz[:, 1])
    foot = relief.foot_at(solid_xyz[:, 0], solid_xyz[:, 1])
    low = (solid_xyz[:, 2] > foot + _STEP_M) & (solid_xyz[:, 2] < top[j, i] - 2 * _STEP_M)
    walled = np.zeros(some.shape, bool)
    walled[j[low], i[low]] = True
    return np.asarray((seen | binary_closing(seen, np.ones((3, 3), bool))) & some & ~walled)


def _corner_places(lattice: Lattice) -> tuple[Floats, Floats]:
    x, y = lattice.nodes()
    half = lattice.cell_m / 2
    return (
        np.stack([x + (2 * di - 1) * half for di, _ in _CORNERS], axis=-1),
        np.stack([y + (2 * dj - 1) * half for _, dj in _CORNERS], axis=-1),
    )


def _faces(columns: _Columns, open_below: Mask) -> Solids:
    """Quads of all faces that can be seen, cut into triangles, outward."""
    x, y = _corner_places(columns.lattice)
    top, bottom, some = columns.top, columns.bottom, columns.some
    things, n_things = label(some, np.ones((3, 3)))
    quads = [np.stack([x, y, top], axis=-1)[some], np.stack([x, y, bottom], axis=-1)[open_below][:, ::-1]]
    owners = [things[some] - 1, things[open_below] - 1]
    for (di, dj), own, other in _SIDES:
        a, b = own
        beside_top = _shifted(np.where(some[..., None], top, -np.inf), di, dj)[..., list(other)]
        beside_bottom = _shifted(np.where(some[..., None], bottom, -np.inf), di, dj)[..., list(other)]
        own_top, own_bottom = top[..., list(own)], bottom[..., list(own)]
        for low, high in (
            (np.maximum(own_bottom, beside_top), own_top),
            (own_bottom, np.minimum(own_top, beside_bottom)),
        ):
            seen = some & (np.max(high - low, axis=-1, initial=-np.inf) > 1e-6)
            low = np.minimum(low, high)
            corners = [(a, low[..., 0]), (b, low[..., 1]), (b, high[..., 1]), (a, high[..., 0])]
            quads.append(
                np.stack([np.stack([x[..., k], y[..., k], z], axis=-1)[seen] for k, z in corners], axis=1)
            )
            owners.append(things[seen] - 1)
    vertices, index = np.unique(np.concatenate(quads).reshape(-1, 3), axis=0, return_inverse=True)
    quad = index.reshape(-1, 4)
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]).astype(np.int64)
    owner = np.tile(np.concatenate(owners), 2).astype(np.int64)
    # A side that comes to a point at one end is one triangle, not two.
    real = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    names = tuple(f"{SURVEYED} {k + 1}" for k in range(n_things))
    return Solids(vertices, triangles[real], owner[real], names, frozenset(range(n_things)))


def _shifted(values: Floats, di: int, dj: int) -> Floats:
    """At each column the value of its neighbour; the lattice has an empty rim, so none is lost."""
    return np.roll(values, (-dj, -di), axis=(0, 1))

"""Points of roofs and walls as closed blocks that keep the space under eaves open."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import (
    binary_closing,
    binary_dilation,
    binary_opening,
    distance_transform_edt,
    label,
    maximum_filter,
    uniform_filter,
)
from scipy.spatial import cKDTree

from terrain3d.survey.gaps import Mask, covered, spacing
from terrain3d.survey.lattice import Lattice, Relief, lattice_over
from terrain3d.survey.quality import MAD_TO_SIGMA
from terrain3d.survey.solids import FOOTING_M, SURVEYED
from terrain3d.survey.surface import within
from terrain3d.terrain import Solids
from terrain3d.units import Floats, direction

#: Columns are no narrower than this: finer ones only model the noise of the points.
NARROWEST_M = 0.25
#: Columns around one that tell of its slope, at least, and in spacings of the points.
_LEAST_REACH, _REACH = 2, 1.5
#: A bite of an edge that chance leaves is no wider than so many spacings each way.
_BITE = 2.0
#: Plans of at least so many points and so large that fill this much of the rectangle around them are
#: rectangles; of its points one in two hundred may lie outside on each side.
_SQUARE_POINTS, _SQUARE_M2, _SQUARE_FILLED, _SQUARE_STRAY = 24, 4.0, 0.9, 0.005
#: Roofs at least this high above the ground have eaves, where what is left within them is at least this
#: large.
_EAVES_ABOVE_M, _EAVES_AROUND_M2 = 1.8, 3.0
#: How far roofs stand out over their walls where nobody says (common practice, no source: 0.3 to 0.6 m).
EAVES_M = 0.5
#: Before the wall of a mount eaves stand out by no more than this; the mount is so near to its wall, and the
#: wall is looked at so far along.
_FARTHEST_EAVES_M, _AT_WALL_M, _FACADE_M = 1.2, 0.1, 15.0
#: A mount whose wall nobody names stands within a building, as it was read, by eaves and this much at most;
#: its wall is opened so far to either side, for its bearing is rough.
_READ_OFF_M, _BESIDE_MOUNT_M = 0.6, 1.5
#: Low points that show a wall beneath a roof, in a column and those beside it.
_SHOW_WALL = 3
#: How thick a roof is where there is open space beneath it.
SLAB_M = 0.2
#: Points this far below a column's highest belong to the same roof.
_SAME_ROOF_M = 0.5
#: A point that lies below the top by more than so many times its noise, and by this, is not on it; so
#: often the top is fitted anew.
_BELOW, _LEAST_BELOW_M, _ROUNDS = 3.0, 0.1, 3
#: Neighbours carry one roof on when they differ by no more than this plus a slope of 50 degrees.
_STEP_M, _STEEPEST = 0.3, 1.2
#: Where columns lie off one plane by more than noise does, those within this plus a slope of 25 degrees.
_EVEN_M, _LEVEL_M, _LEVEL_SLOPE = 0.08, 0.12, 0.45
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


@dataclass(frozen=True)
class WallMount:
    """A mount that may be on a wall: where, and the bearing that its wall faces, degrees (None: not said)."""

    x: float
    y: float
    faces_deg: float | None
    name: str = ""


def buildings(
    solid_xyz: Floats,
    ground_xyz: Floats,
    relief: Relief,
    eaves_m: float = EAVES_M,
    wall_mounts: Sequence[WallMount] = (),
    plans: Sequence[Floats] = (),
) -> tuple[Solids, int, tuple[int, ...]]:
    """Blocks for the points of everything opaque.

    Parameters
    ----------
    solid_xyz : (n, 3) float
        Points on roofs, walls and the like, local metres.
    ground_xyz : (m, 3) float
        Ground points: those under a roof show that there is open space beneath it.
    relief : Relief
    eaves_m : float
        How far roofs stand out over their walls, where the points show no wall.
    wall_mounts : sequence of WallMount
        Each stands before its wall, under the eaves, whatever the roof's edge says. One whose wall is not
        said stands before the nearest one where it would be within a building, by no more than eaves and
        noise.
    plans : sequence of (k, 2) float
        Outlines that are known to be full, such as those of vehicles.

    Returns
    -------
    Solids
        One name for each thing that stands apart. Only faces that can be seen are there: what
        stands on the ground has no underside, and walls go into it by half a metre.
    int
        How many columns are open beneath for no other reason than that eaves usually are.
    tuple of int
        Which of the mounts were taken to be on a wall that nobody named.

    Notes
    -----
    The plan is cut into columns of 0.25 m, or of a cell where that is wider. A column's
    top is a plane fitted to the points of its roof around it, so noise makes no combs; columns of
    one roof share their corners, others are joined by upright faces. A column is open beneath, a
    slab of 0.2 m, where ground was measured under it, within the eaves, and before the wall of a
    mount, unless points on a wall were in it; what was not seen from the
    air, the middle of a carport say, stays solid.
    """
    if len(solid_xyz) < 3:
        return Solids.none(), 0, ()
    width = relief.ground.cell_m * max(1, np.ceil(NARROWEST_M / relief.ground.cell_m - 1e-9))
    apart = spacing(solid_xyz[:, :2]) / width
    beside = 4 + 2 * np.ceil(apart)
    west, south = solid_xyz[:, :2].min(axis=0) - beside * width
    east, north = solid_xyz[:, :2].max(axis=0) + beside * width
    lattice = lattice_over((west, south, east, north), float(width))
    some, roof = _roof_points(solid_xyz, ground_xyz, lattice, apart, plans)
    top = _tops(solid_xyz[roof], some, lattice, int(np.clip(np.ceil(_REACH * apart), _LEAST_REACH, 5)))
    height = top.mean(axis=2)
    walled = _walled(solid_xyz, lattice, height, relief)
    x, y = lattice.nodes()
    high = some & (height - relief.foot_at(x, y) > _EAVES_ABOVE_M)
    seen = _seen_under(solid_xyz, ground_xyz, lattice, some, height) & ~walled
    eaves = _eaves(high, lattice, eaves_m) & ~walled & ~seen
    before, taken = np.zeros(some.shape, bool), []
    for k, mount in enumerate(wall_mounts):
        if mount.faces_deg is not None:
            before |= _before_wall(some, high, lattice, mount, mount.faces_deg, _FACADE_M)
        elif (faces_deg := _nearest_wall(high & ~seen & ~eaves, some, lattice, mount, eaves_m)) is not None:
            before |= _before_wall(some, high, lattice, mount, faces_deg, _BESIDE_MOUNT_M)
            taken.append(k)
    open_below = seen | eaves | before
    x, y = _corner_places(lattice)
    footing = relief.foot_at(x, y) - FOOTING_M
    # A roof that comes down to the ground still stands on it.
    bottom = np.where(open_below[..., None], top - SLAB_M, np.minimum(footing, top - SLAB_M))
    solids = _faces(_Columns(lattice, some, top, bottom), open_below)
    return solids, int((eaves & ~before).sum()), tuple(taken)


def _roof_points(
    xyz: Floats, ground_xyz: Floats, lattice: Lattice, apart: float, plans: Sequence[Floats]
) -> tuple[Mask, Mask]:
    """Columns under a roof, and which points lie on it.

    `apart` is the spacing of the points in columns.
    """
    shape = (lattice.ny, lattice.nx)
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    flat = j * lattice.nx + i
    highest = np.full(shape, -np.inf)
    np.maximum.at(highest, (j, i), xyz[:, 2])
    # A wall's point is no roof because chance left the column without one of the roof above.
    around = maximum_filter(highest, 3)
    roof = xyz[:, 2] > np.where(apart > 0.7, around, highest)[j, i] - _SAME_ROOF_M
    n = np.bincount(flat[roof], minlength=highest.size).reshape(shape)
    hit = n > 0
    # A column at the rim that a roof only clips holds few points: it would widen the building.
    beside = _around(n.astype(float))
    neighbours = (beside > 0).sum(axis=0)
    usual = beside.sum(axis=0) / np.maximum(neighbours, 1)
    hit &= ~((neighbours < 8) & (usual >= 3) & (n < 0.4 * usual))
    some = covered(hit, apart)
    x, y = lattice.nodes()
    for plan in plans:
        some |= within(plan, x, y)
    # Bites that chance leaves in an edge; where ground was seen they are none.
    i, j, inside = lattice.cell_of(ground_xyz[:, 0], ground_xyz[:, 1])
    bare = np.zeros(shape, bool)
    bare[j[inside], i[inside]] = True
    reach = max(_BITE * apart, 1.0)
    some |= (distance_transform_edt(distance_transform_edt(~some) <= reach + 1e-9) > reach) & ~bare
    some = _straightened(_squared(_straightened(some), xyz[roof, :2], lattice) & ~(bare & ~some))
    # Points alone are no roof.
    things, n_things = label(some, np.ones((3, 3)))
    points = np.bincount(things.ravel(), n.ravel(), minlength=n_things + 1)
    some &= points[things] >= 3
    return some, roof


def _tops(xyz: Floats, some: Mask, lattice: Lattice, reach: int) -> Floats:
    """(ny, nx, 4) heights of the corners of each column's top, from the points of a roof.

    A pulse at the edge of a roof is sent back in part by what is lower, and its return lies between the two:
    those lower than the top by more than noise have no say in it.
    """
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    own = np.ones(len(xyz), bool)
    for left in reversed(range(_ROUNDS)):
        top = _joined(_corner_heights(_mean_places(xyz[own], lattice), some, lattice, reach), some)
        if left:
            x, y = lattice.nodes()
            east, north = ((v - n[j, i]) / lattice.cell_m + 0.5 for v, n in ((xyz[:, 0], x), (xyz[:, 1], y)))
            south_west, south_east, north_east, north_west = top[j, i].T
            level = (south_west * (1 - east) + south_east * east) * (1 - north)
            level += (north_west * (1 - east) + north_east * east) * north
            off = xyz[:, 2] - level
            higher = off[off > 0]
            noise = MAD_TO_SIGMA * float(np.median(higher)) if higher.size else 0.0
            own = ~(off < -max(_BELOW * noise, _LEAST_BELOW_M))
    return top


def _mean_places(xyz: Floats, lattice: Lattice) -> Floats:
    """(ny, nx, 3) the mean place of the points in each column, or the height of those nearest to it."""
    i, j, _ = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    shape, flat = (lattice.ny, lattice.nx), j * lattice.nx + i
    n = np.bincount(flat, minlength=lattice.ny * lattice.nx).reshape(shape)
    with np.errstate(invalid="ignore"):
        mean = np.stack([np.bincount(flat, v, n.size).reshape(shape) / n for v in xyz.T], -1)
    row, column = distance_transform_edt(n == 0, return_distances=False, return_indices=True)
    x, y = lattice.nodes()
    filled = np.stack([x, y, mean[row, column, 2]], axis=-1)
    return np.where((n > 0)[..., None], mean, filled)


def _straightened(some: Mask) -> Mask:
    """A plan without the teeth and notches that chance leaves along its edges.

    A straight eave cuts its columns at random: some hold points, some do not. What is up to
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


def _squared(some: Mask, xy: Floats, lattice: Lattice) -> Mask:
    """Plans with those made rectangles that are nearly one: sheds, halls, most houses."""
    x, y = lattice.nodes()
    i, j, _ = lattice.cell_of(xy[:, 0], xy[:, 1])
    things, n_things = label(some, np.ones((3, 3)))
    of_point = things[j, i]
    squared = some.copy()
    n_points = np.bincount(of_point, minlength=n_things + 1)
    areas = np.bincount(things.ravel(), minlength=n_things + 1) * lattice.cell_m**2
    for k in range(1, n_things + 1):
        if n_points[k] < _SQUARE_POINTS or areas[k] < _SQUARE_M2:
            continue
        own, plan, area = xy[of_point == k], things == k, float(areas[k])
        # Turned so that the box around all of them is smallest; single points outside do not widen it.
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.MultiPoint(own)))
        ahead = corners[1] - corners[0]
        ahead /= np.hypot(*ahead)
        axes = np.stack([ahead, [-ahead[1], ahead[0]]])
        stray = _SQUARE_STRAY if len(own) * _SQUARE_STRAY > 1 else 0.0
        low, high = np.quantile(own @ axes.T, (stray, 1 - stray), axis=0)
        if area < _SQUARE_FILLED * np.prod(high - low):
            continue
        u, v = x * axes[0, 0] + y * axes[0, 1], x * axes[1, 0] + y * axes[1, 1]
        inside = (u >= low[0]) & (u <= high[0]) & (v >= low[1]) & (v <= high[1])
        squared = np.where(plan, inside, squared | inside)
    return np.asarray(squared)


def _eaves(high: Mask, lattice: Lattice, eaves_m: float) -> Mask:
    """Columns of high roofs that lie within the eaves of their edge."""
    inner = distance_transform_edt(high) * lattice.cell_m > eaves_m + lattice.cell_m / 2 + 1e-9
    parts, _ = label(inner, np.ones((3, 3)))
    area = np.bincount(parts.ravel()) * lattice.cell_m**2
    area[0] = 0.0
    inner &= area[parts] >= _EAVES_AROUND_M2
    # To the corners of an eave, and not to what is nothing but narrow.
    near = distance_transform_edt(~inner) * lattice.cell_m <= np.sqrt(2) * eaves_m + lattice.cell_m
    return np.asarray(high & ~inner & near)


def _before_wall(
    some: Mask, high: Mask, lattice: Lattice, mount: WallMount, faces_deg: float, along_m: float
) -> Mask:
    """Columns that stand out before the wall of a mount, where they do so no farther than eaves do.

    `along_m` is how far to either side the wall is looked at.
    """
    x, y = lattice.nodes()
    things, _ = label(some, np.ones((3, 3)))
    east, north = direction(faces_deg)
    out = (x - mount.x) * east + (y - mount.y) * north
    along = (x - mount.x) * north - (y - mount.y) * east
    # What stands before the house is no part of it, nor what is lower than eaves.
    beside = high & (np.hypot(x - mount.x, y - mount.y) < _FARTHEST_EAVES_M)
    own = high & np.isin(things, things[beside])
    near = own & (np.abs(along) < along_m) & (np.abs(out) < _FACADE_M)
    # Where the plan goes on farther out it is a wing of the house and no eave.
    strip = np.round(along / lattice.cell_m).astype(np.int64)
    first = strip.min()
    farthest = np.full(strip.max() - first + 1, -np.inf)
    np.maximum.at(farthest, strip[near] - first, out[near])
    return np.asarray(near & (out > -_AT_WALL_M) & (farthest[strip - first] < _FARTHEST_EAVES_M))


def _nearest_wall(
    closed: Mask, some: Mask, lattice: Lattice, mount: WallMount, eaves_m: float
) -> float | None:
    """The bearing towards the nearest edge of the building that a mount would be in.

    None where it is in none, or so deep within that something else is wrong.
    """
    i, j, inside = lattice.cell_of(np.array([mount.x]), np.array([mount.y]))
    if not inside[0] or not closed[j[0], i[0]]:
        return None
    row, column = distance_transform_edt(some, return_distances=False, return_indices=True)
    east = lattice.x0 + lattice.cell_m * column[j[0], i[0]] - mount.x
    north = lattice.y0 + lattice.cell_m * row[j[0], i[0]] - mount.y
    if np.hypot(east, north) > eaves_m + _READ_OFF_M:
        return None
    return float(np.degrees(np.arctan2(east, north)) % 360)


def _around(values: Floats, outside: float = 0) -> Floats:
    """(8, ny, nx) values of the eight neighbours."""
    padded = np.pad(values, 1, constant_values=outside)
    ny, nx = values.shape
    steps = [(dj, di) for dj in range(3) for di in range(3) if (dj, di) != (1, 1)]
    return np.stack([padded[dj : dj + ny, di : di + nx] for dj, di in steps])


def _corner_heights(mean: Floats, some: Mask, lattice: Lattice, reach: int) -> Floats:
    """(ny, nx, 4) heights of a plane fitted around each column, at its corners.

    Where one plane does not carry the columns around, there is a step in them, and only those as high as the
    column itself tell of it.
    """
    heights, off = _planes(mean, some, lattice, reach, _STEP_M, _STEEPEST)
    stepped = off > _EVEN_M
    if stepped.any():
        level, _ = _planes(mean, some, lattice, reach, _LEVEL_M, _LEVEL_SLOPE)
        heights = np.where(stepped[..., None], level, heights)
    return heights


def _planes(
    mean: Floats, some: Mask, lattice: Lattice, reach: int, step_m: float, steepest: float
) -> tuple[Floats, Floats]:
    """Heights at the corners, and how far the columns around lie off the plane (root mean square, metres)."""
    ny, nx = some.shape
    rim = ((reach, reach), (reach, reach), (0, 0))
    padded = np.pad(np.where(some[..., None], mean, np.nan), rim, constant_values=np.nan)
    x, y = lattice.nodes()
    moments, right, square = np.zeros((ny, nx, 3, 3)), np.zeros((ny, nx, 3)), np.zeros((ny, nx))
    own_z = mean[..., 2]
    lowest, highest = own_z.copy(), own_z.copy()
    for dj in range(2 * reach + 1):
        for di in range(2 * reach + 1):
            near = padded[dj : dj + ny, di : di + nx]
            dx, dy, dz = near[..., 0] - x, near[..., 1] - y, near[..., 2] - own_z
            away = lattice.cell_m * np.hypot(dj - reach, di - reach)
            with np.errstate(invalid="ignore"):
                same = np.abs(dz) < step_m + steepest * away
            row = np.where(same[..., None], np.stack([dx, dy, np.ones_like(dx)], axis=-1), 0.0)
            dz = np.where(same, dz, 0.0)
            moments += row[..., :, None] * row[..., None, :]
            right += row * dz[..., None]
            square += dz**2
            lowest, highest = np.fmin(lowest, own_z + dz), np.fmax(highest, own_z + dz)
    n = np.maximum(moments[..., 2, 2], 1)
    # A pinch of stiffness: columns alone, or in one row, get no slope that nothing holds.
    moments += np.diag([1.0, 1.0, 1e-9]) * (0.1 * lattice.cell_m) ** 2
    fit = np.linalg.solve(moments, right[..., None])[..., 0]
    off = np.sqrt(np.maximum(square - (fit * right).sum(axis=-1), 0.0) / n)
    half = lattice.cell_m / 2
    ends = np.array([[(2 * di - 1) * half, (2 * dj - 1) * half, 1.0] for di, dj in _CORNERS])
    heights = own_z[..., None] + fit @ ends.T
    return np.asarray(np.clip(heights, lowest[..., None], highest[..., None])), off


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


def _seen_under(solid_xyz: Floats, ground_xyz: Floats, lattice: Lattice, some: Mask, top: Floats) -> Mask:
    """Columns under whose roof ground was measured."""
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
        away, near = tree.query(place, k=nearest, distance_upper_bound=max(2 * lattice.cell_m, 1.0))
        valid = np.isfinite(away)
        off = solid_xyz[np.where(valid, near, 0), :2] - place[:, None]
        quarter = 2 * (off[..., 0] > 0) + (off[..., 1] > 0)
        quarters = sum((valid & (quarter == q)).any(axis=1).astype(int) for q in range(4))
        under = below[np.asarray(quarters) >= 3]
        seen[j[under], i[under]] = True
    return np.asarray((seen | binary_closing(seen, np.ones((3, 3), bool))) & some)


def _walled(solid_xyz: Floats, lattice: Lattice, top: Floats, relief: Relief) -> Mask:
    """Columns in which points on a wall lie below the roof, a few of them together."""
    i, j, _ = lattice.cell_of(solid_xyz[:, 0], solid_xyz[:, 1])
    foot = relief.foot_at(solid_xyz[:, 0], solid_xyz[:, 1])
    low = (solid_xyz[:, 2] > foot + _STEP_M) & (solid_xyz[:, 2] < top[j, i] - 2 * _STEP_M)
    n = np.zeros(top.shape)
    np.add.at(n, (j[low], i[low]), 1.0)
    together = uniform_filter(n, 3, mode="constant") * 9 > _SHOW_WALL - 0.5
    return np.asarray((n > 0) & together)


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

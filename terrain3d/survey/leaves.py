"""Foliage columns: drawn prisms, and what a survey shows of leaves, on the grid of the ground."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.survey.lattice import Relief
from terrain3d.survey.leaf_field import SLICE_M, Profiles
from terrain3d.terrain import LEAF_DB_PER_M, SURVEYED_LEAVES, Foliage
from terrain3d.units import Floats

#: Steps of height, finest first; a coarser one is taken where the columns would fill the memory.
_STEPS_M = (0.1, 0.25, 0.5, 1.0)
_MOST_STEPS = 20_000_000

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Prism:
    """Drawn foliage: outline, heights above the ground beneath, m2 of leaf per m3, what microwaves lose."""

    outline: Floats
    base_m: float
    height_m: float
    density: float
    name: str = "foliage"
    db_per_m: float = LEAF_DB_PER_M


def foliage(relief: Relief, prisms: Sequence[Prism], profiles: Profiles | None = None) -> Foliage:
    """All foliage of a site on the ground's grid; densities add where things overlap.

    Examples
    --------
    >>> from terrain3d.survey.surface import plane
    >>> hedge = Prism(np.array([[0.0, -1], [0.5, -1], [0.5, 1], [0, 1]]), 0.0, 1.5, 2.0)
    >>> leaves = foliage(plane(0, 0, 4, 0.25), [hedge])
    >>> leaves.column[8, 6:12], leaves.density[:, 0].max()
    (array([-1, -1,  8,  9, -1, -1], dtype=int32), np.float64(2.0))
    """
    ground = relief.ground
    known = profiles or Profiles.none(ground.z.shape)
    drawn = [(prism, *_shares(relief, prism.outline)) for prism in prisms if prism.density > 0]
    column, base_z, source, lift = _rows(relief, known, [(j, i) for _, j, i, _ in drawn])
    if not len(base_z):
        return Foliage.none()
    foot = [relief.feet_z[j, i] - base_z[column[j, i]] for _, j, i, _ in drawn]
    tops = [prism.height_m + up.max(initial=0.0) for (prism, *_), up in zip(drawn, foot, strict=True)]
    if len(known.base_z):
        tops.append(known.density.shape[1] * SLICE_M + lift.max())
    top = float(max(tops))
    step = next((s for s in _STEPS_M if len(base_z) * top / s <= _MOST_STEPS), _STEPS_M[-1])
    edges = step * np.arange(int(np.ceil(top / step - 1e-9)) + 1, dtype=float)
    above = _summed(known.density, source, edges, lift)
    read = np.flatnonzero(source >= 0)
    surveyed_db = np.full(len(read), LEAF_DB_PER_M)
    grown = [(SURVEYED_LEAVES, read, above[read], surveyed_db)] if len(known.base_z) else []
    for (prism, j, i, share), up in zip(drawn, foot, strict=True):
        met = np.clip(edges - up[:, None] - prism.base_m, 0, prism.height_m - prism.base_m)
        rows = column[j, i].astype(np.int64)
        grown.append((prism.name, rows, prism.density * share[:, None] * met, prism.db_per_m * share))
        above[column[j, i]] += grown[-1][2]
    owners, row, owner, part = _owners(len(base_z), [(rows, own) for _, rows, own, _ in grown])
    db_per_m = np.zeros(len(base_z))
    for _, rows, _, own_db in grown:
        np.maximum.at(db_per_m, rows, own_db)
    names = tuple(name for name, *_ in grown)
    return Foliage(
        ground.x0, ground.y0, ground.cell_m, column, base_z, step, above, owners, names, row, owner, part,
        db_per_m, _mixed(len(base_z), [(rows, own_db) for _, rows, _, own_db in grown]),
    )  # fmt: skip


def _mixed(n: int, grown: Sequence[tuple[Indices, Floats]]) -> Floats:
    """What each thing has in columns of several, in the order of `_owners`."""
    count = np.zeros(n, np.int64)
    for rows, _ in grown:
        count[rows] += 1
    return np.concatenate([own[count[rows] > 1] for rows, own in grown])


def _owners(
    n: int, grown: Sequence[tuple[Indices, Floats]]
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32], Floats]:
    """The thing with most leaves in each of n columns, and what each has in columns of several.

    `grown` gives of each thing its columns and the running leaf area there.
    """
    most, count, owners = np.zeros(n), np.zeros(n, np.int64), np.zeros(n, np.int32)
    for thing, (rows, own) in enumerate(grown):
        count[rows] += 1
        more = own[:, -1] > most[rows]
        owners[rows[more]], most[rows[more]] = thing, own[more, -1]
    shared = [(rows[count[rows] > 1], own[count[rows] > 1]) for rows, own in grown]
    mixed_row = np.concatenate([rows for rows, _ in shared]).astype(np.int32)
    mixed_owner = np.repeat(np.arange(len(shared)), [len(rows) for rows, _ in shared]).astype(np.int32)
    return owners, mixed_row, mixed_owner, np.vstack([own for _, own in shared])


def _rows(
    relief: Relief, known: Profiles, drawn: Sequence[tuple[Indices, Indices]]
) -> tuple[NDArray[np.int32], Floats, Indices, Floats]:
    """The row of each cell and, for each row, its base, the profile in it, and that profile's lift.

    Rows of returns stay shared; a cell with something drawn on it gets a row of its own, which
    starts at the lower of its ground and its profile.
    """
    some = np.zeros(known.row.shape, bool)
    for cells in drawn:
        some[cells] = True
    column = known.row.astype(np.int32)
    n = len(known.base_z)
    source = np.concatenate([np.arange(n), known.row[some]])
    column[some] = n + np.arange(some.sum(), dtype=np.int32)
    feet = np.concatenate([known.base_z, relief.feet_z[some]])
    profile_z = np.where(source >= 0, np.append(known.base_z, 0.0)[source], feet)
    base_z = np.minimum(feet, profile_z)
    return column, base_z, source, profile_z - base_z


def _summed(density: Floats, source: Indices, edges: Floats, lift: Floats) -> Floats:
    """Running leaf area of each row's profile at the edges of the steps; nothing for source -1."""
    if not len(density):
        return np.zeros((len(source), len(edges)))
    sums = np.pad(np.cumsum(density, axis=1) * SLICE_M, ((0, 0), (1, 0)))
    n = density.shape[1]
    at = np.clip((edges[None, :] - lift[:, None]) / SLICE_M, 0, n)
    low = np.minimum(at.astype(np.int64), n - 1)
    rows = np.maximum(source, 0)[:, None]
    value = sums[rows, low] + (at - low) * (sums[rows, low + 1] - sums[rows, low])
    return np.where(source[:, None] >= 0, value, 0.0)


def _shares(relief: Relief, outline: Floats) -> tuple[Indices, Indices, Floats]:
    """Rows and columns of the cells an outline touches, and the share of each that it covers."""
    ground = relief.ground
    cell, (ny, nx) = ground.cell_m, ground.z.shape
    polygon = shapely.Polygon(outline)
    shapely.prepare(polygon)
    west, south, east, north = polygon.bounds
    i0, i1 = (int(np.floor((x - ground.x0) / cell + 0.5)) for x in (west, east))
    j0, j1 = (int(np.floor((y - ground.y0) / cell + 0.5)) for y in (south, north))
    i, j = np.meshgrid(np.arange(max(i0, 0), min(i1, nx - 1) + 1), np.arange(max(j0, 0), min(j1, ny - 1) + 1))
    x, y = ground.x0 + cell * i, ground.y0 + cell * j
    cells = shapely.box(x - cell / 2, y - cell / 2, x + cell / 2, y + cell / 2)
    share = np.where(shapely.contains(polygon, cells), 1.0, 0.0)
    rim = (share == 0) & shapely.intersects(polygon, cells)
    share[rim] = shapely.area(shapely.intersection(polygon, cells[rim])) / cell**2
    some = share > 1e-9
    return j[some], i[some], share[some]

"""Leaf area density from the returns of a survey, as a field without block edges.

As fine as the returns allow, coarser where they are few: each place is judged by the returns closest to it,
and what those are too few to say is taken from wider and wider rings around.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain, repeat

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from terrain3d.survey.gaps import Mask, covered, spacing
from terrain3d.survey.lattice import Lattice, Relief
from terrain3d.survey.leaf_strips import Strips, strips
from terrain3d.terrain import LEAF_PROJECTION
from terrain3d.units import Floats

Indices = NDArray[np.int64]

#: Slices in which leaf area density is estimated; lidR's `LAD()` takes 1 m, hedges ask for less.
SLICE_M = 0.25
#: Densest foliage believed, m2/m3: a slice that no return passed says only "dense". Upper end of
#: hedges in microclimate models (from memory; no measured figure found).
MOST_DENSE = 5.0
#: Leaves higher than this above the ground play no part for a unit of 100 m range at most.
HIGHEST_M = 50.0
#: Half the width of the ring that each judgement looks at, in spacings of the returns, finest first.
_RINGS = (2.0, 5.0, 10.0)
#: What a wider ring says weighs as much as so many pulses of the finer one.
_WEIGHT_OF_WIDER = 20.0
#: So many slices above and below have a say too, with the weight of so many pulses at most, where they and it
#: stop more than this share: one without leaves lies beyond the edge of a plant.
_BESIDE, _WEIGHT_OF_BESIDE, _LEAVES = 3, 120.0, 0.03
#: A hedge goes on where chance left no return of it for so many spacings: whether it does is judged by what
#: came through there.
_BRIDGE = 2.2
#: By so much, over the root of the pulses that tell of it, a share of pulses stopped is taken for larger.
_SURE = 1.2
#: The mean along a strip tells of so many times the pulses.
_MORE_IN_STRIPS = 5.0
#: With fewer returns than this around a place, what is said of its leaves is a guess.
_FEW = 4.0
#: In a scan from the ground, or where each pulse gave one return, how many passed cannot be told from what
#: they met: leaves are then taken for medium ones at least, m2/m3 (`density = "medium"`), and hollows as wide
#: as two of their shells for full.
UNTOLD, _SHELL_M = 2.0, 0.3
#: Leaves above this height are no guess that a person would look at.
_LOOKED_AT_M = 2.5


@dataclass(frozen=True, eq=False)
class Profiles:
    """Estimated foliage: each cell's row (-1: none), and per row its base, its slices of `SLICE_M`, and
    whether they are a guess: few returns tell of its leaves up to the height of a person.

    Several cells may share a row.
    """

    row: Indices
    base_z: Floats
    density: Floats
    guessed: Mask

    @property
    def guessed_cells(self) -> Mask:
        """(ny, nx) cells whose leaves are a guess."""
        return np.asarray(np.append(self.guessed, False)[self.row])

    @staticmethod
    def none(shape: tuple[int, int]) -> "Profiles":
        return Profiles(np.full(shape, -1, np.int64), np.zeros(0), np.zeros((0, 1)), np.zeros(0, bool))


def estimated(
    xyz: Floats,
    is_leaf: Mask,
    is_low: Mask,
    n_returns: NDArray[np.uint8],
    is_flown: bool,
    relief: Relief,
    bare: Mask | None = None,
) -> Profiles:
    """Leaf area density from the share of returns that each slice stops.

    Parameters
    ----------
    xyz : (n, 3) float
        All returns of the survey, ground and solids too, local metres; no noise. Those around the grid help
        at its edge.
    is_leaf : (n,) bool
        Those that vegetation gave.
    is_low : (n,) bool
        Those too low to stand on their own: they count as leaves where leaves stand over them.
    n_returns : (n,) uint8
        Of the pulse that each is of: one that came back in three parts counts once, a third each.
    is_flown : bool
        Taken from above, with pulses of several returns: how many passed leaves can then be told.
    relief : Relief
    bare : (ny, nx) bool, optional
        Cells that are known to have no leaves, whatever grows around them.

    Notes
    -----
    Slice by slice: LAD = -ln(1 - V / N) / (k dz), with N the returns below the slice's top and V those of
    vegetation within it. Where only vegetation and ground returned, this is lidR's `LAD()`, -ln(N below
    bottom / N below top) / (k dz), k = 0.5, after Bouvier et al. 2015 (MacArthur & Horn 1969). A slice that
    nothing passed gives the cap, 5 m2/m3.

    Counted are returns under leaves alone, so that the open ground beside a hedge does not thin it. V and N
    are sums over rings around each cell that lie upon each other: what the finest says counts by the returns
    in it, and the next wider one is added with the weight of twenty. So the field is as fine as the returns
    are many, and nowhere has a step that is not in them. Slices up to 0.75 m above and below that have leaves
    are added likewise: a plant varies less upwards than the few pulses that a slice of it meets. Under leaves
    that nothing passed, those above are carried on down. Where leaves grow in strips, as in hedges, the field
    is its mean along the strip (`leaf_strips`).
    """
    ground = relief.ground
    shape = ground.z.shape
    if not is_leaf.any():
        return Profiles.none(shape)
    apart_m = spacing(xyz[:, :2])
    pad = int(np.ceil(min(2 * _RINGS[-1] * apart_m, 4.0) / ground.cell_m))
    lattice = Lattice(ground.x0, ground.y0, ground.cell_m, shape[1], shape[0]).grown(pad)
    i, j, use = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    i, j, leaf, low = i[use], j[use], is_leaf[use], is_low[use]
    part = np.where(leaf | low, 1.0, 1.0 / np.maximum(n_returns[use], 1))
    height = xyz[use, 2] - relief.foot_at(*(lattice.x0 + lattice.cell_m * i, lattice.y0 + lattice.cell_m * j))
    leaf &= (height > 0) & (height < HIGHEST_M)
    if not leaf.any():
        return Profiles.none(shape)
    own = (slice(pad, -pad or None), slice(pad, -pad or None))
    density, guessed = [], np.zeros(shape, bool)
    cell = j * lattice.nx + i
    at_least, in_strips = None, None
    if is_flown:
        beside = height < _LOOKED_AT_M
        in_strips = strips(cell[beside], leaf[beside], part[beside], lattice, apart_m)
    else:
        at_least = _where_hit(j, i, height, leaf, lattice, apart_m)
    for top_m, of_slice, few in _slices(cell, height, part, leaf, low, lattice, apart_m, in_strips):
        if at_least is not None:
            of_slice = np.maximum(of_slice, np.where(at_least(top_m), UNTOLD, 0.0))
        density.append(of_slice[own].astype(np.float32))
        if top_m <= _LOOKED_AT_M:
            guessed |= few[own]
    column = np.stack(density[::-1], axis=-1)
    if bare is not None:
        column[bare], guessed[bare] = 0.0, False
    some = column.any(axis=-1)
    row = np.full(shape, -1, np.int64)
    row[some] = np.arange(some.sum())
    return Profiles(row, relief.feet_z[some], column[some].astype(np.float64), guessed[some])


def _where_hit(
    j: Indices, i: Indices, height: Floats, leaf: Mask, lattice: Lattice, apart_m: float
) -> Callable[[float], Mask]:
    """What tells, by the top of a slice, where leaves were hit in it and beside it, hollows closed.

    A scan from the ground hits the faces of a hedge and not what is within.
    """
    apart = max(apart_m, _SHELL_M) / lattice.cell_m

    def hit(top_m: float) -> Mask:
        own = leaf & (np.abs(height - (top_m - SLICE_M / 2)) <= 1.5 * SLICE_M)
        there = np.zeros((lattice.ny, lattice.nx), bool)
        there[j[own], i[own]] = True
        return covered(there, apart, _BRIDGE) if own.any() else there

    return hit


def _slices(
    cell: Indices,
    height: Floats,
    part: Floats,
    leaf: Mask,
    low: Mask,
    lattice: Lattice,
    apart_m: float,
    in_strips: Strips | None,
) -> Iterator[tuple[float, Floats, Mask]]:
    """From the highest down: each slice's top, the density in it (ny, nx), where few tell of its leaves."""
    above = np.zeros((lattice.ny, lattice.nx))
    told = _with_those_beside(_told(cell, height, part, leaf, low, lattice, apart_m))
    more = np.ones(above.shape)
    if in_strips is not None:
        more[in_strips.rows, in_strips.columns] = _MORE_IN_STRIPS
    for one, share in told:
        # Where few pulses tell of it, it may be denser by chance than they say, and the error that costs most
        # is ground told held behind leaves.
        told_by = np.maximum(one.told_by * more, 1.0)
        sure = np.minimum(share * (1.0 + _SURE / np.sqrt(told_by)), 1.0)
        with np.errstate(divide="ignore"):
            density = np.minimum(-np.log(1.0 - sure) / (LEAF_PROJECTION * SLICE_M), MOST_DENSE)
        # Where nothing came so far down, nothing is known but what lies above.
        known = np.minimum(one.told_by, 1.0)
        density = np.where(one.under, known * density + (1 - known) * above, 0.0)
        above = density
        if in_strips is not None and one.top_m <= _LOOKED_AT_M:
            density = in_strips.means(density)
        yield one.top_m, density, (one.close_by < _FEW) & (above > 0)


@dataclass(frozen=True, eq=False)
class _Slice:
    """What its own pulses tell of a slice, (ny, nx) each.

    The share of them that it stopped; by how many that is told, the weight of wider rings with them; how many
    of them are close by; and what lies under leaves.
    """

    top_m: float
    share: Floats
    told_by: Floats
    close_by: Floats
    under: Mask


def _told(
    cell: Indices, height: Floats, part: Floats, leaf: Mask, low: Mask, lattice: Lattice, apart_m: float
) -> Iterator[_Slice]:
    """What each slice's own pulses tell of it, from the highest down."""
    shape = (lattice.ny, lattice.nx)
    n = int(np.floor(height[leaf].max() / SLICE_M)) + 1
    # Slice -1 is all that lies below the foot.
    which = np.clip(np.floor(height / SLICE_M).astype(np.int64), -1, n)
    order = np.argsort(which, kind="stable")
    ends = np.searchsorted(which[order], np.arange(-1, n + 1))
    passed = _sums(cell, part, order[: ends[-1]], shape)
    met = np.zeros(shape, bool)
    for k in range(n - 1, -1, -1):
        own = order[ends[k + 1] : ends[k + 2]]
        is_leaf = leaf[own] | (low[own] & met.ravel()[cell[own]] if k < n - 1 else False)
        stopped = _sums(cell, part, own[is_leaf], shape)
        if stopped.any():
            met |= stopped > 0
            under = covered(met, apart_m / lattice.cell_m, _BRIDGE)
        told = _share(stopped, np.where(under, passed, 0.0), apart_m / lattice.cell_m)
        yield _Slice((k + 1) * SLICE_M, *told, under)
        passed = passed - _sums(cell, part, own, shape)


def _with_those_beside(slices: Iterator[_Slice]) -> Iterator[tuple[_Slice, Floats]]:
    """Each slice with the share it stops when those above and below it that have leaves have their say."""
    near: deque[_Slice | None] = deque(maxlen=2 * _BESIDE + 1)
    for one in chain(repeat(None, _BESIDE), slices, repeat(None, _BESIDE)):
        near.append(one)
        middle = near[_BESIDE] if len(near) == near.maxlen else None
        if middle is None:
            continue
        stopped, told_by = np.zeros(middle.share.shape), np.zeros(middle.share.shape)
        for other in near:
            if other is not None and other is not middle:
                some = np.where(other.share > _LEAVES, other.told_by, 0.0)
                stopped += other.share * some
                told_by += some
        weight = np.where(
            middle.share > _LEAVES, np.minimum(_WEIGHT_OF_BESIDE / np.maximum(told_by, 1e-6), 1), 0
        )
        of_all = middle.told_by + weight * told_by
        yield middle, (middle.share * middle.told_by + weight * stopped) / np.maximum(of_all, 1e-6)


def _sums(cell: Indices, part: Floats, which: Indices, shape: tuple[int, int]) -> Floats:
    """What some returns make together in each cell."""
    sums = np.bincount(cell[which], part[which], minlength=shape[0] * shape[1])
    return sums.astype(np.float64).reshape(shape)


def _share(stopped: Floats, passed: Floats, apart: float) -> tuple[Floats, Floats, Floats]:
    """Share of what came so low that was stopped; by how many pulses that is told, the weight of wider rings
    with them; and how many of them are close by."""
    share, told_by = np.zeros(stopped.shape), np.zeros(stopped.shape)
    for ring in reversed(_RINGS):
        width = max(3, 2 * round(ring * apart / 2) + 1)
        v, n = _around(stopped, width), _around(passed, width)
        weight = np.minimum(_WEIGHT_OF_WIDER, told_by)
        share = (v + weight * share) / np.maximum(n + weight, 1e-6)
        told_by = n + weight
        if ring > _RINGS[0]:
            close_by = n
    return np.clip(share, 0.0, 1.0), told_by, close_by


def _around(field: Floats, width: int) -> Floats:
    """Sums over a square of so many cells, less at its edge: a tent, so that no return counts suddenly."""
    once = uniform_filter(field, width, mode="constant")
    return np.maximum(uniform_filter(once, width, mode="constant") * width**2, 0.0)

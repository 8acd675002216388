"""What a report needs of a survey's points, noted as they pass: counts, ends, a map and a sample."""

import math

import numpy as np
from numpy.typing import NDArray

from terrain3d.readers.source import Box, Cloud
from terrain3d.survey.quality import (
    Coverage,
    Mask,
    Roughness,
    cell_for_map,
    coverage,
    roughness,
)
from terrain3d.units import Floats

#: Classes that lie on bare ground: ground, rail and road surface (LAS 1.4 R15, table 17).
GROUND_CLASSES = (2, 10, 11)
_IS_GROUND = np.isin(np.arange(256), GROUND_CLASSES)
#: Ground points kept for the roughness, at most, and the number of patches they come from.
MOST_KEPT, _N_PATCHES = 500_000, 16
#: A patch narrower than this holds a single place, metres.
_LEAST_PATCH_M = 0.001

Indices = NDArray[np.int64]


class Tally:
    """Counts, ends, a map of occupied cells and a sample of ground points; the points are not kept.

    Parameters
    ----------
    bounds : (west, south, east, north)
        Where the points are expected, in the units of the survey's CRS.
    scale : (float, float)
        Metres on the ground in one unit of x and of y.

    Notes
    -----
    Points outside the bounds are counted but not mapped. `fits` then says so, and a second tally over
    `bounds` of the first takes them all.

    Examples
    --------
    >>> xyz = np.array([[0.0, 0, 5], [10, 10, 6], [4, 4, 7]])
    >>> ones = np.ones(3, np.uint8)
    >>> tally = Tally((0, 0, 10, 10), (1.0, 1.0))
    >>> tally.take(Cloud(xyz, np.array([2, 2, 6], np.uint8), ones, ones, None))
    >>> tally.fits, tally.counts[[2, 6]].tolist(), tally.bounds
    (True, [2, 1], (0.0, 0.0, 10.0, 10.0))
    """

    def __init__(self, bounds: Box, scale: tuple[float, float]) -> None:
        self._origin, self._scale = np.array(bounds[:2]), np.array(scale)
        self._size_m = (np.array(bounds[2:]) - self._origin) * self._scale
        self._cell_m = cell_for_map(*self._size_m)
        shape = tuple(int(n / self._cell_m) + 1 for n in self._size_m[::-1])
        self._outside = False
        self._surveyed = np.zeros(shape, bool)
        self._on_ground, self._last = (_Standard(shape, self._size_m) for _ in range(2))
        self.counts = np.zeros(256, np.int64)
        self.low, self.high = np.full(3, np.inf), np.full(3, -np.inf)

    def take(self, cloud: Cloud) -> None:
        """Note some points; quickest where the columns of `xyz` lie side by side in memory."""
        self.counts += np.bincount(cloud.classes, minlength=256)
        low, high = (np.array([end(column) for column in cloud.xyz.T]) for end in (np.min, np.max))
        self.low, self.high = np.minimum(self.low, low), np.maximum(self.high, high)
        slack = self._cell_m / self._scale
        far = self._origin + self._size_m / self._scale + slack
        self._outside |= bool(np.any(low[:2] < self._origin - slack) or np.any(high[:2] > far))
        if self._outside:
            return
        metres = np.empty((3, len(cloud.xyz)))
        for axis in (0, 1):
            np.subtract(cloud.xyz[:, axis], self._origin[axis], out=metres[axis])
            metres[axis] *= self._scale[axis]
        metres[2] = cloud.xyz[:, 2]
        cells = self._cells(metres)
        self._surveyed.reshape(-1)[cells] = True
        ground = np.flatnonzero(_IS_GROUND[cloud.classes])
        self._on_ground.take(cells, metres, ground)
        if not self.has_ground_class:
            self._last.take(cells, metres, np.flatnonzero(cloud.return_number >= cloud.n_returns))

    def _cells(self, metres: Floats) -> Indices:
        """Flat index of the cell each point lies in; those on the edge in the cell inside it."""
        ny, nx = self._surveyed.shape
        column, row = (
            np.clip((metres[axis] / self._cell_m).astype(np.int64), 0, n - 1)
            for axis, n in enumerate((nx, ny))
        )
        cells: Indices = row * nx + column
        return cells

    @property
    def n_points(self) -> int:
        return int(self.counts.sum())

    @property
    def bounds(self) -> Box:
        """Of the points taken, exactly."""
        return float(self.low[0]), float(self.low[1]), float(self.high[0]), float(self.high[1])

    @property
    def extent_m(self) -> tuple[float, float, float, float]:
        """Width, depth, least and greatest height, metres."""
        width_m, depth_m = (self.high - self.low)[:2] * self._scale
        return float(width_m), float(depth_m), float(self.low[2]), float(self.high[2])

    @property
    def fits(self) -> bool:
        """Whether the bounds held every point, and no more than the map can tell apart."""
        width_m, depth_m, _, _ = self.extent_m
        return not self._outside and self._cell_m < 1.5 * cell_for_map(width_m, depth_m)

    @property
    def has_ground_class(self) -> bool:
        return bool(self.counts[list(GROUND_CLASSES)].any())

    @property
    def _ground(self) -> "_Standard":
        """The points classed as ground, or last returns where none is."""
        return self._on_ground if self.has_ground_class else self._last

    @property
    def n_ground(self) -> int:
        return self._ground.n_points

    def coverage(self) -> Coverage:
        width_m, depth_m, _, _ = self.extent_m
        apart_m = math.sqrt(max(width_m, 1.0) * max(depth_m, 1.0) / self.n_points)
        return coverage(self._surveyed, self._ground.marked, self._cell_m, apart_m)

    def sample(self) -> Floats:
        """(n, 3) ground points, metres from the south-west corner: all, or those of whole patches."""
        return self._ground.sample.points()

    def in_file(self, metres: Floats) -> Floats:
        """Coordinates of the survey of places (n, 2) that are metres from its south-west corner."""
        return np.asarray(self._origin + metres / self._scale)

    def roughness(self) -> Roughness | None:
        return roughness(self.sample())


class _Standard:
    """One reading of which points are ground: how many, in which cells, and a sample of them."""

    def __init__(self, shape: tuple[int, ...], size_m: Floats) -> None:
        self.n_points = 0
        self.marked: Mask = np.zeros(shape, bool)
        self.sample = Sample(size_m, MOST_KEPT)

    def take(self, cells: Indices, metres: Floats, which: NDArray[np.intp]) -> None:
        self.n_points += len(which)
        self.marked.reshape(-1)[cells[which]] = True
        self.sample.take(metres, which)


class Sample:
    """Every point of a survey until they are too many; then those of patches that shrink, whole.

    Parameters
    ----------
    size_m : (2,) float
        Width and depth of the survey, whose south-west corner is the origin.
    most : int
        Points held, at most.

    Notes
    -----
    Each patch is a square that shrinks about a place drawn once and lies in all it was before, so
    that in the end every point of the last patches is there, in whatever order the points came.
    """

    def __init__(self, size_m: Floats, most: int, seed: int = 0) -> None:
        self._size_m, self._most = size_m, most
        self._places = np.random.default_rng(seed).uniform(size=(_N_PATCHES, 2))
        self._patches = _Patches(self._places, size_m, float(max(size_m)))
        self._parts: list[Floats] = []
        self._n = 0
        self._whole = True

    def take(self, metres: Floats, which: NDArray[np.intp]) -> None:
        """Points of (3, n) `metres`, those that `which` names."""
        if not self._whole:
            which = which[self._patches.hold(metres[0, which], metres[1, which])]
        if len(which):
            self._parts.append(metres[:, which])
            self._n += len(which)
        while self._n > self._most:
            self._shrink()

    def points(self) -> Floats:
        """(n, 3) metres, in the order they came."""
        return np.concatenate([np.empty((3, 0)), *self._parts], axis=1).T

    def _shrink(self) -> None:
        self._whole = False
        self._patches = _Patches(self._places, self._size_m, 0.8 * self._patches.side_m)
        held = self.points().T
        held = held[:, self._patches.hold(held[0], held[1])]
        if self._patches.side_m < _LEAST_PATCH_M:
            # One place measured over and over: any of its points are as good.
            held = held[:, : self._most]
        self._parts, self._n = [held], held.shape[1]


class _Patches:
    """Squares over a survey; which points they hold is looked up in the strips between their edges."""

    def __init__(self, places: Floats, size_m: Floats, side_m: float) -> None:
        self.side_m = side_m
        sides = np.minimum(side_m, size_m)
        low = places * (size_m - sides)
        # Their far edges belong to them, also where a patch has no width.
        high = np.nextafter(low + sides, np.inf)
        self._edges = np.sort(np.concatenate([low, high]), axis=0)
        self._held = np.zeros((2 * len(places) + 1,) * 2, bool)
        for (west, south), (east, north) in zip(self._strips(low).T, self._strips(high).T, strict=True):
            self._held[west:east, south:north] = True

    def hold(self, x: Floats, y: Floats) -> Mask:
        column, row = self._strips(np.stack([x, y]).T)
        held: Mask = self._held[column, row]
        return held

    def _strips(self, xy: Floats) -> Indices:
        """(2, n) the strip that each coordinate lies in."""
        return np.stack([np.searchsorted(self._edges[:, axis], xy[:, axis], "right") for axis in (0, 1)])

"""What an eye saw stays true where nothing near it changed: panoramas carried on to a terrain drawn anew."""

from collections import OrderedDict
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.sight.panorama import Panorama, panorama
from terrain3d.terrain import Foliage, Ground, Solids, Terrain
from terrain3d.units import Floats


def carried(seen: Panorama, terrain: Terrain) -> Panorama | None:
    """The same on another terrain; None where that differs within its reach, and one has to look anew.

    Parameters
    ----------
    seen : Panorama
    terrain : Terrain
        Mounts, areas and names may be others: sight is told by ground, solids and leaves alone.

    Examples
    --------
    >>> from terrain3d.terrain import terrain_from_heights, Mount
    >>> flat = terrain_from_heights(np.zeros((20, 20)), 1.0)
    >>> seen = panorama(flat, (0.0, 0.0, 1.0), 5.0)
    >>> carried(seen, replace(flat, mounts=(Mount("pole", 1.0, 1.0),))).cells is seen.cells
    True
    >>> carried(seen, terrain_from_heights(np.ones((20, 20)), 1.0)) is None
    True
    """
    old, eye, reach_m = seen.terrain, seen.eye, seen.reach_m
    if terrain is old:
        return seen
    if not (
        _same_ground(old.ground, terrain.ground, eye, reach_m)
        and _same_solids(old.solids, terrain.solids, eye, reach_m)
        and _same_leaves(old.foliage, terrain.foliage, eye, reach_m)
    ):
        return None
    again = replace(seen, terrain=terrain)
    # What is met is told by places among the names.
    if old.solids.names == terrain.solids.names and old.foliage.names == terrain.foliage.names:
        for worked_out in ("met", "microwave"):
            if worked_out in vars(seen):
                vars(again)[worked_out] = vars(seen)[worked_out]
    return again


class KeptLooks:
    """`panorama` with the last `most` kept, those that are still true on a terrain drawn anew as well.

    Parameters
    ----------
    most : int
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[tuple[Terrain, tuple[float, float, float], float], Panorama] = OrderedDict()
        #: How often somebody had to look.
        self.looked = 0

    def __call__(self, terrain: Terrain, eye: tuple[float, float, float], reach_m: float) -> Panorama:
        key = (terrain, eye, reach_m)
        found = self._kept.get(key)
        if found is None:
            found = self._carried(terrain, eye, reach_m)
        if found is None:
            found = panorama(terrain, eye, reach_m)
            self.looked += 1
        self._kept[key] = found
        self._kept.move_to_end(key)
        while len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return found

    def _carried(self, terrain: Terrain, eye: tuple[float, float, float], reach_m: float) -> Panorama | None:
        for (_, old_eye, old_reach), seen in reversed(self._kept.items()):
            if (old_eye, old_reach) == (eye, reach_m):
                again = carried(seen, terrain)
                if again is not None:
                    return again
        return None


def _same_ground(old: Ground, new: Ground, eye: tuple[float, float, float], reach_m: float) -> bool:
    if new is old:
        return True
    # Cells are counted on the whole grid.
    if (old.x0, old.y0, old.cell_m, old.z.shape) != (new.x0, new.y0, new.cell_m, new.z.shape):
        return False
    near = _window(old.x0, old.y0, old.cell_m, eye, reach_m)
    return bool(np.array_equal(old.z[near], new.z[near], equal_nan=True))


def _same_solids(old: Solids, new: Solids, eye: tuple[float, float, float], reach_m: float) -> bool:
    if new is old:
        return True
    (a, own_a), (b, own_b) = (_triangles_near(solids, eye, reach_m) for solids in (old, new))
    if a.shape != b.shape or not np.array_equal(a, b):
        return False
    # A thing may have another place among the names, and be as opaque to microwaves as it was.
    lost = [
        [solids.microwave_db.get(int(one)) for one in own] for solids, own in ((old, own_a), (new, own_b))
    ]
    return lost[0] == lost[1] and bool(np.array_equal(_in_order(own_a), _in_order(own_b)))


def _same_leaves(old: Foliage, new: Foliage, eye: tuple[float, float, float], reach_m: float) -> bool:
    if new is old:
        return True
    a, b = (_leaves_near(foliage, eye, reach_m) for foliage in (old, new))
    if not len(a[0]) and not len(b[0]):
        return True
    if (old.cell_m, old.step_m) != (new.cell_m, new.step_m) or len(a[0]) != len(b[0]):
        return False
    if not all(np.array_equal(mine, other) for mine, other in zip(a[:3], b[:3], strict=True)):
        return False
    tall = max(a[3].shape[1], b[3].shape[1])
    # Above the top of what grows the running sum stays as it is.
    up = [np.pad(above, ((0, 0), (0, tall - above.shape[1])), mode="edge") for above in (a[3], b[3])]
    return bool(np.array_equal(up[0], up[1])) and bool(np.array_equal(_in_order(a[4]), _in_order(b[4])))


def _in_order(owners: NDArray[np.int64] | NDArray[np.int32]) -> NDArray[np.int64]:
    """Things numbered in the order in which they first come: whose is what, whatever their places are."""
    _, first, numbers = np.unique(owners, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[numbers]


def _triangles_near(
    solids: Solids, eye: tuple[float, float, float], reach_m: float
) -> tuple[Floats, NDArray[np.int64]]:
    """(k, 3, 3) corners of the triangles whose box comes within reach, and whose they are."""
    corners = solids.vertices[solids.triangles]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    away = np.maximum(np.maximum(low - eye[:2], eye[:2] - high), 0.0)
    near = np.hypot(away[:, 0], away[:, 1]) <= reach_m
    return corners[near], solids.owners[near]


def _leaves_near(
    foliage: Foliage, eye: tuple[float, float, float], reach_m: float
) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.int32]]:
    """Of the columns around an eye: where they stand, their base, what microwaves lose, leaves and owners."""
    rows, columns = _window(foliage.x0, foliage.y0, foliage.cell_m, eye, reach_m)
    part = foliage.column[rows, columns]
    j, i = np.nonzero(part >= 0)
    row = part[j, i]
    at = np.column_stack(
        [
            foliage.x0 + foliage.cell_m * (i + (columns.start or 0)),
            foliage.y0 + foliage.cell_m * (j + (rows.start or 0)),
        ]
    )
    return at, foliage.base_z[row], foliage.db_per_m[row], foliage.above[row], foliage.owners[row]


def _window(
    x0: float, y0: float, cell_m: float, eye: tuple[float, float, float], reach_m: float
) -> tuple[slice, slice]:
    """Rows and columns of a grid around an eye, with two cells to spare: patches between nodes count."""
    spans = []
    for at, first in ((eye[1], y0), (eye[0], x0)):
        low = int(np.floor((at - reach_m - first) / cell_m)) - 2
        high = int(np.ceil((at + reach_m - first) / cell_m)) + 3
        spans.append(slice(max(low, 0), max(high, 0)))
    return spans[0], spans[1]

"""What is seen from a height of a mount, once for every setting tried there."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.search.settings import Space, raises_alone
from terrain3d.search.target import Cells, Target
from terrain3d.sight.panorama import Panorama, eye_over, panorama
from terrain3d.terrain import Mount, Terrain
from terrain3d.units import Floats


@dataclass(frozen=True, eq=False)
class View:
    """The cells of a panorama that count and may be held, sorted by weight.

    `row` is the place in the panorama, `place` that in `Target.cells`; `blocks` are runs of cells of one
    weight: from, to, weight.
    """

    row: Cells
    place: Cells
    east: Floats
    north: Floats
    distance: Floats
    foot: Floats
    low: Floats
    high: Floats
    light: Floats
    hull_high: Floats
    most_light: Floats
    piece_first: Cells
    piece_last: Cells
    pieces: Floats
    blocks: list[tuple[int, int, float]]


@dataclass(frozen=True, eq=False)
class Look:
    """What is seen from one height of a mount, and what of it counts.

    `rows` are the cells of the panorama that count, `place` their places in `Target.cells`;
    `near` are these places ascending, the same at every height;
    `spot` is where in it each cell of `view` is. `spill` are the cells to keep out of, by the height of what
    counts there.
    """

    seen: Panorama
    rows: Cells
    place: Cells
    near: Cells
    view: View
    spot: Cells
    spill: tuple[tuple[float, View], ...]


def places_of(terrain: Terrain, target: Target) -> NDArray[np.int64]:
    place = np.full(terrain.ground.z.size, -1, np.int64)
    place[target.cells] = np.arange(len(target.cells))
    return place


def look_around(
    terrain: Terrain, mount: Mount, height_m: float, space: Space, place: Cells, target: Target
) -> Look | None:
    """Look around from a height of a mount; None over ground that is not known."""
    eye = eye_over(terrain.ground, mount.x, mount.y, height_m)
    if not np.isfinite(eye[2]):
        return None
    seen = panorama(terrain, eye, space.reach_m)
    places = place[seen.cells]
    rows = np.flatnonzero(places >= 0)
    near = np.sort(places[rows])
    every = any(raises_alone(kind) for kind in space.detector_types)
    view = _view(seen, place, target, every)
    spill = []
    for height_of_it_m, cells in target.keep_out:
        outside = np.full(len(place), -1, np.int64)
        outside[cells] = np.arange(len(cells))
        spill.append((height_of_it_m, _view(seen, outside, None, every)))
    return Look(seen, rows, places[rows], near, view, np.searchsorted(near, view.place), tuple(spill))


def _view(seen: Panorama, place: Cells, target: Target | None, every: bool) -> View:
    """The cells that `place` knows and that show something, or all. Without a target they weigh the same."""
    rows = np.flatnonzero((place[seen.cells] >= 0) & (every | (np.diff(seen.piece_start) > 0)))
    weight = np.ones(len(rows)) if target is None else target.weight[place[seen.cells[rows]]]
    order = np.argsort(weight, kind="stable")
    rows, weight = rows[order], weight[order]
    edges = [0, *(np.flatnonzero(np.diff(weight)) + 1).tolist(), len(weight)]
    blocks = [(a, b, float(weight[a])) for a, b in itertools.pairwise(edges) if b > a]
    first, last = seen.piece_start[rows], seen.piece_start[rows + 1]
    lightest = seen.main[2, rows]
    for c in np.flatnonzero(last - first > 1):
        lightest[c] = seen.pieces[first[c] : last[c], 2].max()
    # Of a cell that shows nothing no light comes, whatever its top is said to be.
    top = np.append(seen.pieces[:, 1], 0.0)[last - 1]
    return View(
        rows, place[seen.cells[rows]],
        seen.east[rows], seen.north[rows], seen.distance[rows], seen.foot[rows],
        seen.main[0, rows], seen.main[1, rows], seen.main[2, rows], top, lightest,
        first, last, seen.pieces, blocks,
    )  # fmt: skip

"""Short walks that could be made, each past one place: where it lies, which way it goes, what it would prove.

Every walk goes across the line from the unit, which is what a unit of layers senses best; past one with a
microwave it goes at half a right angle to it, which both senses feel. It is as long as the pulses of an
alarm take.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, label

from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.verdict import Verdict
from terrain3d.cover.wedges import wedges_of
from terrain3d.detector.figures import Figure, find_figure, own_figure
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats, direction
from terrain3d.walk.ground import walkable

#: Places on a walk that are looked at: at both thirds and in the middle.
SAMPLES = 3
#: Walks are at least and at most so long, metres; nobody walks nearer to the pole than this.
_SHORTEST_M, _LONGEST_M, _NEAREST_M = 1.5, 6.0, 0.8
#: So much longer than the zones of its pulses take.
_SPARE = 1.3
#: How far past the reach of the layers a walk may be, metres.
_PAST_M = 1.0
#: Most places that are looked at for one posture.
_MOST_PLACES = 100
#: What a posture between upright and crawling is called, with the height of the back after it.
BENT = "person bent to"
#: Somebody bends to so far above and below a unit, and to no more than that height, metres.
_ABOVE_M, _BELOW_M, _MOST_BENT_M = 0.15, 0.1, 1.4
#: Ground that counts as a piece of its own, m2; nearer than this to an edge of held ground is beside it,
#: metres.
_PIECE_M2, _BESIDE_M = 1.0, 1.0
#: How far from a wall somebody walks along it, metres.
_ALONG_WALL_M = 0.4

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Proof:
    """What a walk is there for: `kind` is "held", "edge", "dead", "way in", "wedge", "wall", "leaves", "open"
    or, of a low posture, "hangs".

    `name` is that of the way in or the mount; of other kinds empty. `is_must` says that the map has to be
    proved there, whatever the walk tells of the unit.
    """

    kind: str
    name: str = ""
    is_must: bool = False


@dataclass(frozen=True, eq=False)
class Spots:
    """Walks, m of them.

    Parameters
    ----------
    x, y : (m,) float
        Their middles, local metres.
    towards_deg : (m,) float
        Which way they go, clockwise from true north.
    length_m : (m,) float
    figure : (m,) int64
        Row of `figures`.
    figures : tuple of Figure
        Postures: who walks, the site's figure first.
    proves : tuple of Proof
    """

    x: Floats
    y: Floats
    towards_deg: Floats
    length_m: Floats
    figure: Ints
    figures: tuple[Figure, ...]
    proves: tuple[Proof, ...]

    def __len__(self) -> int:
        return len(self.x)

    def places(self) -> tuple[Floats, Floats]:
        """(SAMPLES * m,) places that are looked at, walk by walk."""
        east, north = np.sin(np.radians(self.towards_deg)), np.cos(np.radians(self.towards_deg))
        along = self.length_m[:, None] * np.array([-1 / 3, 0.0, 1 / 3])
        return (
            (self.x[:, None] + along * east[:, None]).ravel(),
            (self.y[:, None] + along * north[:, None]).ravel(),
        )

    def only(self, rows: Ints | list[int]) -> "Spots":
        """Some of them, in the order given."""
        rows = np.asarray(rows, np.int64)
        return Spots(
            self.x[rows], self.y[rows], self.towards_deg[rows], self.length_m[rows], self.figure[rows],
            self.figures, tuple(self.proves[row] for row in rows),
        )  # fmt: skip


def postures(figure: Figure, unit_height_m: float) -> tuple[Figure, ...]:
    """Who walks past a unit: the site's figure, somebody bent to just above and just below it, one who
    crawls.

    Where a back that is a little higher or lower than the unit begins or ends to break its upper layer tells
    the tilt, as nothing does that goes upright; how far somebody has to bend is measured with a staff.

    >>> who = postures(find_figure("person", ()), 1.0)
    >>> [(one.name, one.height_m) for one in who[1:]]
    [('person bent to 1.15 m', 1.15), ('person bent to 0.90 m', 0.9), ('person crawling', 0.7)]
    """
    crawling = find_figure("person crawling", ())
    backs = (round(unit_height_m + by_m, 2) for by_m in (_ABOVE_M, -_BELOW_M))
    bent = [
        own_figure(f"{BENT} {back_m:.2f} m", back_m)
        for back_m in backs
        if crawling.height_m + _BELOW_M <= back_m <= _MOST_BENT_M
    ]
    return (figure, *(one for one in (*bent, crawling) if one.height_m < figure.height_m - _BELOW_M))


def walks_past(
    unit: Detector,
    x: Floats,
    y: Floats,
    figure: Ints,
    figures: tuple[Figure, ...],
    proves: tuple[Proof, ...],
) -> Spots:
    """Walks past places, (m,) local metres, across the line from a unit from its left to its right.

    Examples
    --------
    Ten metres to the north of a unit of nine zones of 10 degrees, one pulse: 1.3 times 1.75 m, due east.

    >>> from terrain3d.detector.types import load_type
    >>> who = (Figure("person", 1.7, "invented"),)
    >>> north = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> found = walks_past(north, np.zeros(1), np.array([10.0]), np.zeros(1, np.int64), who, (Proof("held"),))
    >>> found.length_m.round(2), found.towards_deg
    (array([2.27]), array([90.]))
    """
    away = np.hypot(x - unit.x, y - unit.y)
    bearing = np.degrees(np.arctan2(x - unit.x, y - unit.y)) % 360
    across = 90.0 if unit.type.microwave is None else 45.0
    zone_deg = max(head.arc / min(layer.zones for layer in head.layer) for head in unit.type.head)
    pulses = max(unit.pulses_of(head) for head in range(len(unit.type.head)))
    length = np.clip(_SPARE * pulses * away * math.radians(zone_deg), _SHORTEST_M, _LONGEST_M)
    return Spots(x, y, (bearing + across) % 360, length, figure, figures, proves)


def candidate_spots(terrain: Terrain, one: SightedUnit, figures: tuple[Figure, ...]) -> Spots:
    """Walks that may tell something of a unit, and those that prove its map piece by piece.

    Ground is sorted by what it would show under each setting that is a little off; of each kind of ground the
    middle is taken, so that a walk a step beside it says the same.

    Parameters
    ----------
    terrain : Terrain
    one : SightedUnit
        The unit as it is set, with all that it sees.
    figures : tuple of Figure
        Postures to be walked in, the site's figure first.
    """
    ground = terrain.ground
    free = walkable(terrain, figures[0]).ravel()[one.seen.cells]
    away = one.seen.distance
    open_ = free & (away >= _NEAREST_M) & (away <= one.unit.type.reach_m + _PAST_M)
    xs, ys, whose = [], [], []
    for number, figure in enumerate(figures):
        kinds = _kinds_of_ground(one, figure.height_m)
        for cell in _middles(ground, one, kinds, open_):
            xs.append(ground.xs[cell % ground.z.shape[1]])
            ys.append(ground.ys[cell // ground.z.shape[1]])
            whose.append(number)
    upright = _proofs(terrain, one, figures[0], np.array(xs), np.array(ys))
    proofs = [proof if low == 0 else Proof("hangs") for proof, low in zip(upright, whose, strict=True)]
    for x, y, proof in _must(terrain, one, figures[0], open_):
        xs.append(x)
        ys.append(y)
        whose.append(0)
        proofs.append(proof)
    return walks_past(
        one.unit, np.array(xs, float), np.array(ys, float), np.array(whose, np.int64), figures, tuple(proofs)
    )


def _set_otherwise(one: SightedUnit) -> Iterator[SightedUnit]:
    """The unit a little off in each setting that costs no look."""
    unit = one.unit
    for tilt in (-4.0, -3.0, -2.0, -1.0, -0.5, 0.5, 1.0, 2.0, 3.0, 4.0):
        yield one.set_to(replace(unit, tilt_deg=unit.tilt_deg + tilt))
    for bearing in (-8.0, -4.0, -2.0, 2.0, 4.0, 8.0):
        yield one.set_to(replace(unit, bearing_deg=unit.bearing_deg + bearing))
    for roll in (-4.0, -2.0, 2.0, 4.0):
        yield one.set_to(replace(unit, roll_deg=unit.roll_deg + roll))
    settings = sorted({r for head in range(len(unit.type.head)) for r in unit.type.ranges_of(head)})
    for range_m in settings:
        if range_m != unit.range_m:
            yield one.set_to(replace(unit, range_m=range_m))


def _kinds_of_ground(one: SightedUnit, height_m: float) -> Ints:
    """(n,) kind of each cell in reach: alike where a figure is held under the same settings."""
    rows = [one.codes(height_m) == Verdict.BOTH, one.without_leaves().codes(height_m) == Verdict.BOTH]
    rows += [other.codes(height_m) == Verdict.BOTH for other in _set_otherwise(one)]
    bits = np.array(rows)
    return np.asarray(np.unique(bits, axis=1, return_inverse=True)[1]).ravel().astype(np.int64)


def _middles(ground: Ground, one: SightedUnit, kinds: Ints, open_: Mask) -> list[int]:
    """Cells deepest in the largest kinds of ground; of a kind in several pieces the deepest of all."""
    grid = np.full(ground.z.shape, -1, np.int64)
    grid.ravel()[one.seen.cells] = np.where(open_, kinds, -1)
    count = np.bincount(kinds[open_], minlength=int(kinds.max(initial=0)) + 1)
    found = []
    for kind in np.argsort(-count, kind="stable")[:_MOST_PLACES]:
        if count[kind] == 0:
            break
        rows, columns = np.nonzero(grid == kind)
        top, left = max(rows.min() - 1, 0), max(columns.min() - 1, 0)
        box = grid[top : rows.max() + 2, left : columns.max() + 2] == kind
        depth = distance_transform_edt(np.pad(box, 1))[1:-1, 1:-1]
        row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
        found.append(int((row + top) * ground.z.shape[1] + column + left))
    return found


def _proofs(terrain: Terrain, one: SightedUnit, figure: Figure, x: Floats, y: Floats) -> Iterator[Proof]:
    """What walks past places prove of the map."""
    ground = terrain.ground
    verdicts = one.verdicts(ground, figure.height_m)
    held = verdicts == Verdict.BOTH
    inner = distance_transform_edt(held) * ground.cell_m if held.any() else np.zeros(held.shape)
    outer = distance_transform_edt(~held) * ground.cell_m
    columns = np.rint((x - ground.x0) / ground.cell_m).astype(int)
    rows = np.rint((y - ground.y0) / ground.cell_m).astype(int)
    for row, column in zip(rows, columns, strict=True):
        code = verdicts[row, column]
        if inner[row, column] + outer[row, column] <= _BESIDE_M:
            yield Proof("edge")
        elif code == Verdict.BOTH:
            yield Proof("held")
        else:
            yield Proof("open" if code == Verdict.OUTSIDE else "dead")


def _must(
    terrain: Terrain, one: SightedUnit, figure: Figure, open_: Mask
) -> Iterator[tuple[float, float, Proof]]:
    """Places that prove the map piece by piece, whatever they tell of the unit."""
    ground, unit = terrain.ground, one.unit
    nx = ground.z.shape[1]
    free = np.zeros(ground.z.shape, bool)
    free.ravel()[one.seen.cells] = open_
    verdicts = one.verdicts(ground, figure.height_m)
    bare = one.without_leaves().verdicts(ground, figure.height_m)
    hangs = (verdicts != bare) & free
    silent = np.isin(verdicts, (Verdict.DEAD, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY)) & free
    for mask, proof in (
        (silent & ~hangs, Proof("dead", is_must=True)),
        (hangs, Proof("leaves", is_must=True)),
    ):
        pieces, n = label(mask)
        for piece in range(1, n + 1):
            own = pieces == piece
            if own.sum() * ground.cell_m**2 < _PIECE_M2:
                continue
            cell = int(np.argmax(distance_transform_edt(np.pad(own, 1))[1:-1, 1:-1]))
            yield float(ground.xs[cell % nx]), float(ground.ys[cell // nx]), proof
    for approach in terrain.approaches:
        spot = _nearest_on(approach.line, unit)
        if spot is not None and _is_free(ground, free, *spot):
            yield *spot, Proof("way in", approach.name, is_must=True)
    for wedge in wedges_of((unit,)):
        east, north = direction(wedge.bearing_deg)
        x, y = unit.x + unit.range_m / 2 * east, unit.y + unit.range_m / 2 * north
        if _is_free(ground, free, x, y):
            yield x, y, Proof("wedge", is_must=True)
    wall = terrain.wall_of(unit.mount)
    if wall is not None:
        out_e, out_n = direction(wall)
        for side in (-1.0, 1.0):
            x = unit.x + _ALONG_WALL_M * out_e + side * 2.0 * out_n
            y = unit.y + _ALONG_WALL_M * out_n - side * 2.0 * out_e
            if _is_free(ground, free, x, y):
                yield x, y, Proof("wall", unit.mount, is_must=True)


def _nearest_on(line: Floats, unit: Detector) -> tuple[float, float] | None:
    """The place of a line that is nearest to a unit, where that is within its reach."""
    best, near = None, unit.type.reach_m
    for start, end in pairwise(line):
        along = end - start
        length2 = float((along * along).sum())
        offset = np.array([unit.x, unit.y]) - start
        share = min(max(float((offset * along).sum()) / length2, 0.0), 1.0) if length2 > 0 else 0.0
        x, y = start + share * along
        away = math.hypot(x - unit.x, y - unit.y)
        if away <= near:
            best, near = (float(x), float(y)), away
    return best


def _is_free(ground: Ground, free: Mask, x: float, y: float) -> bool:
    row, column = round((y - ground.y0) / ground.cell_m), round((x - ground.x0) / ground.cell_m)
    return 0 <= row < free.shape[0] and 0 <= column < free.shape[1] and bool(free[row, column])

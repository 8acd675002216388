"""Every setting of a mount judged, and the few that a set of units can be made of kept.

A setting is worth what it holds *after its tolerance*: the ground that stays held when the bearing is
off by one step either way and the tilt by one degree, wherever within that the hand ends. So what is
promised of several units is what all of them hold however each is off, and a knife edge is worth nothing.
"""

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within, off_grid_m2, protected_weight
from terrain3d.cover.band import layer_sines
from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import HeadTable, head_table
from terrain3d.cover.microwave import with_microwave
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import find_figure
from terrain3d.detector.types import DetectorType, Microwave, lower_elevation_deg
from terrain3d.nuisance.spill import counted_height_m
from terrain3d.search.kernel import WORD, counted, fan_axes, held_bearings, weighed
from terrain3d.search.masks import keep_unmasked, zone_edges, zone_spans, zones_reached
from terrain3d.search.seen_things import FINENESS_DEG, seen_things, zones_lain_in
from terrain3d.search.settings import Space
from terrain3d.sight.panorama import Panorama, eye_over, panorama
from terrain3d.terrain import Mount, Terrain
from terrain3d.units import Floats

#: Range settings that one byte of a mask holds.
_BITS = 8
#: Parts of the circle of each of which the best setting is kept, for every type and range setting.
SECTORS = 16
#: A bearing may be off for as long as no more than this share of what is held is lost.
SLACK_LOSS = 0.05
#: Steps of bearing up to which that is looked at.
_MOST_SLACK = 8

Cells = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Target:
    """What the search is after.

    Parameters
    ----------
    cells : (p,) int64
        Flat indices into the ground of the cells that count: protected, or all known where none is.
    weight : (p,) float
        Of each of them.
    keep_out : tuple of (float, (q,) int64)
        Flat indices of the cells into which no upper layer may reach, by the height in metres of what
        counts there.
    figure_height_m, animal_m : float
        Heights of the figure that is to be held, and of the animal that is better not.
    whole : float
        What shares are of, in cells by weight: all that is protected, also where no ground is known.
    """

    cells: Cells
    weight: Floats
    keep_out: tuple[tuple[float, Cells], ...]
    figure_height_m: float
    animal_m: float
    whole: float


@dataclass(frozen=True, eq=False)
class Judged:
    """The settings of one mount that are worth keeping, one row each.

    Parameters
    ----------
    mount : str
    n_settings : int
        How many were judged.
    cells : (n,) int32
        Places in `Target.cells` of the cells in reach of the mount.
    type_index, height_m, bearing_deg, tilt_deg, range_m : (k,)
        The settings; `type_index` is the place in `Space.detector_types`, `range_m` the longest of its heads.
    range_set : (k,) int64
        Place in `Space.range_sets_of` of the type.
    masked : (k, h) int64
        Bits of the zones of each head that are masked, the leftmost first; h is that of the type with most.
    value, nominal : (k,) float
        Weight of the cells held after the tolerance, and when aimed exactly.
    slack_deg : (k,) float
        How far the bearing may be off, beyond its tolerance, until more than SLACK_LOSS is lost.
    animal : (k,) int64
        Cells on which the animal breaks the layers as well.
    held : (k, ceil(n / 8)) uint8
        Bits of `cells` that are held after the tolerance.
    best : (h, t) float
        Greatest value of all settings of each height and type; -1 where there is none.
    """

    mount: str
    n_settings: int
    cells: NDArray[np.int32]
    type_index: Cells
    height_m: Floats
    bearing_deg: Floats
    tilt_deg: Floats
    range_m: Floats
    range_set: Cells
    masked: Cells
    value: Floats
    nominal: Floats
    slack_deg: Floats
    animal: Cells
    held: NDArray[np.uint8]
    best: Floats


def target_of(terrain: Terrain, figure_height_m: float) -> Target:
    """The cells that count on a site, and those to keep out of.

    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> from terrain3d.frame import site_frame
    >>> ground = Ground(-5.0, -5.0, 1.0, np.zeros((11, 11)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> target = target_of(flat, 1.7)
    >>> len(target.cells), len(target.keep_out), target.animal_m
    (121, 0, 0.6)
    """
    ground = terrain.ground
    weight = protected_weight(ground, terrain.protect) if terrain.protect else np.ones(ground.z.shape)
    off = sum(area.weight * off_grid_m2(ground, area) for area in terrain.protect) / ground.cell_m**2
    whole = float(weight.sum()) + off if terrain.protect else float(ground.known.sum())
    weight = np.where(ground.known, weight, 0.0).ravel()
    cells = np.flatnonzero(weight)
    kept_out: dict[float, NDArray[np.bool_]] = {}
    for piece in terrain.beyond:
        if piece.keep_out:
            height_m = counted_height_m(piece.kind, figure_height_m)
            kept_out[height_m] = kept_out.get(height_m, False) | (cells_within(ground, piece) & ground.known)
    animal = find_figure("dog", []).height_m
    keep_out = tuple((height_m, np.flatnonzero(kept_out[height_m])) for height_m in sorted(kept_out))
    return Target(cells, weight[cells], keep_out, figure_height_m, animal, whole)


def judge_mount(terrain: Terrain, mount: Mount, space: Space, target: Target) -> Judged:
    """Judge every setting of a mount.

    Parameters
    ----------
    terrain : Terrain
    mount : Mount
    space : Space
    target : Target
    """
    place = _places(terrain, target)
    looks: dict[float, _Look] = {}
    kept: list[_Kept] = []
    best = np.full((len(mount.heights_m), len(space.detector_types)), -1.0)
    for h, height in enumerate(mount.heights_m):
        look = _look(terrain, mount, height, space, place, target)
        if look is None:
            continue
        looks[height] = look
        for k in space.types_on(mount):
            for value, masks in _judge_type(look, mount, space, k, target):
                best[h, k] = max(best[h, k], value.max())
                kept += _best_of_sectors(look, space, k, height, value, masks)
    return _packed(mount, space, target, looks, _best_of_heights(kept), best)


def price_mount(
    terrain: Terrain, mount: Mount, space: Space, target: Target, price: Floats, least: float, most: int
) -> Judged:
    """All settings of a mount for which the cells held are worth at least so much at some prices.

    Parameters
    ----------
    price : (p,) float
        Of each cell of the target.
    least : float
        The settings that come to less are left out.
    most : int
        Of each height and type so many stay: those that are worth more first, of equals those with more
        slack.

    Returns
    -------
    Judged
        `best` has the greatest price of each height and type.
    """
    place = _places(terrain, target)
    looks: dict[float, _Look] = {}
    kept: list[_Kept] = []
    best = np.full((len(mount.heights_m), len(space.detector_types)), -1.0)
    for h, height in enumerate(mount.heights_m):
        look = _look(terrain, mount, height, space, place, target)
        if look is None:
            continue
        looks[height] = look
        for k in space.types_on(mount):
            for value, masks in _judge_type(look, mount, space, k, target):
                priced = masks.weighed(price[look.view.place])
                best[h, k] = max(best[h, k], priced.max())
                slack = _slack(value, masks.masked)
                rows = np.argwhere((priced >= least) & (value > 0))
                at = tuple(rows.T)
                order = np.lexsort((-slack[at], -priced[at].round(6)))[:most]
                for t, r, b in rows[order].tolist():
                    steps = int(slack[t, r, b])
                    kept.append(_kept(look, space, k, height, value, masks, (t, r, b), steps))
    return _packed(mount, space, target, looks, kept, best)


@dataclass(frozen=True, eq=False)
class _View:
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
class _Look:
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
    view: _View
    spot: Cells
    spill: tuple[tuple[float, _View], ...]


@dataclass(frozen=True, eq=False)
class _Masks:
    """What a type holds after the tolerance: bits of so many range sets, (t, n, b), b in whole words.

    `sets` are their places in `Space.range_sets_of`; `masked` (t, r, b, h) the zones masked at each setting,
    in bits, None where none is masked anywhere.
    """

    sure: NDArray[np.uint8]
    sets: range
    barred: NDArray[np.bool_]
    blocks: list[tuple[int, int, float]]
    masked: NDArray[np.uint64] | None

    @property
    def n_ranges(self) -> int:
        return len(self.sets)

    def values(self) -> Floats:
        """(t, r, b) weight of the cells held after the tolerance; -1 where a setting is barred."""
        sums = np.zeros(self.barred.shape)
        for first, last, weight in self.blocks:
            for t in range(len(self.sure)):
                counts = np.zeros(sums.shape[1:], np.int64)
                counted(self.sure[t].view(np.uint64), first, last, self.n_ranges, counts)
                sums[t] += weight * counts
        return np.where(self.barred, -1.0, sums)

    def weighed(self, weight: Floats) -> Floats:
        """The same for any weights."""
        sums = np.zeros(self.barred.shape)
        for t in range(len(self.sure)):
            weighed(self.sure[t], weight, self.n_ranges, sums[t])
        return np.where(self.barred, -1.0, sums)


@dataclass(frozen=True, eq=False)
class _Kept:
    """One setting on its way to `Judged`."""

    type_index: int
    height_m: float
    bearing_deg: float
    tilt_deg: float
    range_set: int
    masked: tuple[int, ...]
    value: float
    slack_deg: float
    held: NDArray[np.uint8]


def _places(terrain: Terrain, target: Target) -> NDArray[np.int64]:
    place = np.full(terrain.ground.z.size, -1, np.int64)
    place[target.cells] = np.arange(len(target.cells))
    return place


def _look(
    terrain: Terrain, mount: Mount, height_m: float, space: Space, place: Cells, target: Target
) -> _Look | None:
    """Look around from a height of a mount; None over ground that is not known."""
    eye = eye_over(terrain.ground, mount.x, mount.y, height_m)
    if not np.isfinite(eye[2]):
        return None
    seen = panorama(terrain, eye, space.reach_m)
    places = place[seen.cells]
    rows = np.flatnonzero(places >= 0)
    near = np.sort(places[rows])
    every = any(_alone(kind) for kind in space.detector_types)
    view = _view(seen, place, target, every)
    spill = []
    for height_of_it_m, cells in target.keep_out:
        outside = np.full(len(place), -1, np.int64)
        outside[cells] = np.arange(len(cells))
        spill.append((height_of_it_m, _view(seen, outside, None, every)))
    return _Look(seen, rows, places[rows], near, view, np.searchsorted(near, view.place), tuple(spill))


def _view(seen: Panorama, place: Cells, target: Target | None, every: bool) -> _View:
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
    return _View(
        rows, place[seen.cells[rows]],
        seen.east[rows], seen.north[rows], seen.distance[rows], seen.foot[rows],
        seen.main[0, rows], seen.main[1, rows], seen.main[2, rows], top, lightest,
        first, last, seen.pieces, blocks,
    )  # fmt: skip


def _judge_type(
    look: _Look, mount: Mount, space: Space, type_index: int, target: Target
) -> list[tuple[Floats, _Masks]]:
    """(t, r, b) values and masks of one type, for each eight of its range sets."""
    sets = space.range_sets_of(type_index)
    tilts = space.tilts_judged_deg
    rows = np.array(
        [
            [tilts.index(round(t + slip, 9)) for slip in (0.0, -space.tilt_slip_deg, space.tilt_slip_deg)]
            for t in space.tilts_deg
        ]
    )
    n = len(space.bearings_deg)
    unfit = ~space.aims_on(mount, type_index)[:, None, :]
    kind = space.detector_types[type_index]
    microwave = None
    if kind.microwave is not None:
        microwave = _reached(look.seen, look.view, space, kind.microwave, target.figure_height_m)
        for height_m, outside in look.spill if _alone(kind) else ():
            there = _reached(look.seen, outside, space, kind.microwave, height_m)[:, :, :n]
            unfit = unfit | _barred(there, rows, 1)
    results = []
    for first in range(0, len(sets), _BITS):
        some = sets[first : first + _BITS]
        places = range(first, first + len(some))
        if (space.masks and look.spill) or (space.mask_nuisances and look.seen.terrain.nuisances):
            sure, barred, masked = _masked(look, space, type_index, some, target, rows, microwave)
        else:
            aimed = _aimed(look.view, space, type_index, some, target.figure_height_m, upper_only=False)
            aimed = _both_senses(aimed, microwave, kind)
            sure = np.stack([_steady(aimed[row], n) for row in rows])
            barred, masked = np.zeros((len(rows), len(some), n), bool), None
            for height_m, outside in look.spill:
                upper = _aimed(outside, space, type_index, some, height_m, upper_only=True)[:, :, :n]
                barred |= _barred(upper, rows, len(some))
        masks = _Masks(sure, places, barred | unfit, look.view.blocks, masked)
        results.append((masks.values(), masks))
    return results


def _masked(
    look: _Look,
    space: Space,
    type_index: int,
    sets: tuple[tuple[float, ...], ...],
    target: Target,
    rows: Cells,
    microwave: NDArray[np.uint8] | None,
) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.uint64] | None]:
    """What is held with the zones masked that reach what they must not, aimed off or not.

    Returns
    -------
    sure : (t, n, b) uint8
    barred : (t, r, b) bool
        Settings that have no zone left, or reach ground to keep out of by one that is not masked.
    masked : (t, r, b, h) uint64, or None
        None where nothing has to be masked.
    """
    detector_type = space.detector_types[type_index]
    n = len(space.bearings_deg)
    upper = _senses(detector_type, upper_only=True)
    reached = np.zeros((len(space.tilts_judged_deg), len(sets), n, len(upper)), np.uint64)
    for height_m, outside in look.spill:
        there = _aimed_apart(outside, space, type_index, sets, height_m, upper)
        for s, sense in enumerate(upper):
            for t in range(len(reached)):
                spans = _Spans.of(outside, space, detector_type, sense, sets, t)
                for r in range(len(sets)):
                    zones_reached(
                        there[s, t], r, spans.shift, spans.starts[r], spans.first[r], spans.last[r],
                        reached[t, r, :, s],
                    )  # fmt: skip
    keeps_out = _aimed_off(reached, rows)
    masked = keeps_out if space.masks else np.zeros_like(keeps_out)
    if space.mask_nuisances and look.seen.terrain.nuisances:
        masked = masked | _aimed_off(_zones_of_things(look, space, type_index, sets), rows)
    senses = _senses(detector_type, upper_only=False)
    apart = _aimed_apart(look.view, space, type_index, sets, target.figure_height_m, senses)
    aimed = _both_senses(np.bitwise_or.reduce(apart, axis=0), microwave, detector_type)
    sure = np.stack([_steady(aimed[row], n) for row in rows])
    whole = np.array([(1 << head.zones) - 1 for head in detector_type.head], np.uint64)
    barred = (masked == whole).all(axis=-1) | (keeps_out & ~masked).any(axis=-1)
    if not masked.any():
        return sure, barred, None
    heads = [sense.head for sense in senses]
    nothing = np.zeros((0, 0, 0), np.uint8)
    for t, row in enumerate(rows):
        if masked[t].any():
            spans_of = [
                [_Spans.of(look.view, space, detector_type, sense, sets, at) for sense in senses]
                for at in row
            ]
            keep_unmasked(
                sure[t], np.ascontiguousarray(apart[:, row].swapaxes(0, 1)),
                np.array([spans.shift for spans in spans_of[0]]),
                *(_stacked(spans_of, name) for name in ("starts", "first", "last")),
                np.ascontiguousarray(masked[t][..., heads]),
                microwave[row] if microwave is not None and _alone(detector_type) else nothing,
            )  # fmt: skip
    return sure, barred, masked


def _aimed_off(reached: NDArray[np.uint64], rows: Cells) -> NDArray[np.uint64]:
    """(t, r, b, h) bits of zones that reach something at any aim within the tolerance, of those as aimed."""
    tilted = np.bitwise_or.reduce(reached[rows], axis=1)
    return np.asarray(tilted | np.roll(tilted, 1, axis=2) | np.roll(tilted, -1, axis=2))


def _zones_of_things(
    look: _Look, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...]
) -> NDArray[np.uint64]:
    """(t, r, b, h) bits of the zones in which a nuisance thing is seen within range, at every judged tilt."""
    kind, tilts, step = space.detector_types[type_index], space.tilts_judged_deg, space.bearing_step_deg
    table, n_bearings = head_table(kind), len(space.bearings_deg)
    sines = [
        [
            layer_sines(table.elevation_deg[h], table.half_thickness_deg[h], table.nominal_height_m, r)
            for r in ranges
        ]
        for h, ranges in enumerate(zip(*sets, strict=True))
    ]
    angles = np.degrees(np.arcsin(np.array(sines)))
    lean = max(abs(tilt) for tilt in tilts) + FINENESS_DEG
    seen = seen_things(
        look.seen.terrain, look.seen.eye, kind.max_range, np.nanmin(angles) - lean, np.nanmax(angles) + lean
    )
    found = np.zeros((len(tilts), len(sets), n_bearings, len(kind.head)), np.uint64)
    for h, head in enumerate(kind.head):
        shift, start = _whole_steps(float(table.pan_deg[h]), step)
        for t, tilt in enumerate(tilts):
            for r in range(len(sets)):
                zones_lain_in(
                    seen.bearing_deg, seen.half_width_deg, seen.low, seen.high, start, step, tilt,
                    float(table.half_arc_deg[h]), head.zones, sines[h][r][: len(head.layer)], shift,
                    found[t, r, :, h],
                )  # fmt: skip
    return found


@dataclass(frozen=True, eq=False)
class _Sense:
    """Layers of a head that raise the alarm together."""

    head: int
    layers: list[int]


def _senses(detector_type: DetectorType, *, upper_only: bool) -> list[_Sense]:
    """All that raises the alarm by itself: a head, or each layer of one; or the upper layers alone."""
    table = head_table(detector_type)
    found = []
    for h in range(len(table.head)):
        layers = [int(table.upper[h])] if upper_only else np.flatnonzero(table.name[h] >= 0).tolist()
        # Layers that stay where they are first: what they miss need not be judged at every range.
        layers.sort(key=lambda k: bool(np.isnan(table.elevation_deg[h, k])))
        found += [_Sense(h, [k]) for k in layers] if table.any_layer else [_Sense(h, layers)]
    return found


@dataclass(frozen=True, eq=False)
class _Spans:
    """What `zone_spans` says of a sense at one tilt, for each range set; `shift` is of its head."""

    shift: int
    starts: NDArray[np.int64]
    first: NDArray[np.uint8]
    last: NDArray[np.uint8]

    @staticmethod
    def of(
        view: _View, space: Space, detector_type: DetectorType, sense: _Sense,
        sets: tuple[tuple[float, ...], ...], tilt: int,
    ) -> "_Spans":  # fmt: skip
        step, table = space.bearing_step_deg, head_table(detector_type)
        shift, start_deg = _whole_steps(float(table.pan_deg[sense.head]), step)
        offset = (np.arctan2(view.east, view.north) - np.radians(start_deg)) / np.radians(step)
        found = []
        for own in sets:
            ranged = lower_elevation_deg(table.nominal_height_m, own[sense.head])
            elevation = table.elevation_deg[sense.head, sense.layers]
            edges = zone_edges(
                float(table.half_arc_deg[sense.head]), detector_type.head[sense.head].zones,
                np.where(np.isnan(elevation), ranged, elevation), space.tilts_judged_deg[tilt], step,
            )  # fmt: skip
            found.append(zone_spans(offset, edges, step, len(space.bearings_deg)))
        width = max(first.shape[1] for _, first, _ in found)
        wide = [[np.pad(each, ((0, 0), (0, width - each.shape[1]))) for each in one[1:]] for one in found]
        return _Spans(
            shift, np.stack([starts for starts, _, _ in found]), np.stack([first for first, _ in wide]),
            np.stack([last for _, last in wide]),
        )  # fmt: skip


def _alone(kind: DetectorType) -> bool:
    """Whether a type has a microwave that raises the alarm by itself."""
    return kind.microwave is not None and kind.microwave.needs == "either"


def _reached(
    seen: Panorama, view: _View, space: Space, microwave: Microwave, figure_height_m: float
) -> NDArray[np.uint8]:
    """(t, n, b) all bits where a microwave reaches a figure on each cell, at every judged tilt."""
    reached = _no_masks(view, space)
    by_itself = microwave.model_copy(update={"needs": "either"})
    for t, tilt in enumerate(space.tilts_judged_deg):
        for b, bearing in enumerate(space.bearings_deg.tolist()):
            none = np.zeros(len(seen.cells), np.uint8)
            codes = with_microwave(none, seen, by_itself, bearing, tilt, 0.0, figure_height_m)
            reached[t, :, b] = np.where(codes[view.row] == Verdict.BOTH, np.uint8(255), np.uint8(0))
    return reached


def _both_senses(
    aimed: NDArray[np.uint8], microwave: NDArray[np.uint8] | None, kind: DetectorType
) -> NDArray[np.uint8]:
    """What a unit holds as aimed, by what its layers hold and what its microwave reaches."""
    if microwave is None:
        return aimed
    return aimed | microwave if _alone(kind) else aimed & microwave


def _steady(masks: NDArray[np.uint8], n_bearings: int) -> NDArray[np.uint8]:
    """(n, b) bits that stay at all of some tilts, (t, n, b), and one bearing further either way."""
    kept: NDArray[np.uint8] = np.bitwise_and.reduce(masks, axis=0)
    out = kept.copy()
    flat, whole = kept.ravel(), out.ravel()
    whole[1:] &= flat[:-1]
    whole[:-1] &= flat[1:]
    # Rows follow each other there: at their ends the neighbour is the row's own other end.
    last = n_bearings - 1
    out[:, 0] = kept[:, 0] & kept[:, 1 % n_bearings] & kept[:, last]
    out[:, last] = kept[:, last] & kept[:, last - 1] & kept[:, 0]
    return out


def _barred(upper: NDArray[np.uint8], rows: Cells, n_ranges: int) -> NDArray[np.bool_]:
    """(t, r, b) settings whose upper layer reaches a cell to keep out of, aimed off or not."""
    reached = np.bitwise_or.reduce(upper, axis=1)
    bits = (reached[:, None, :] >> np.arange(n_ranges, dtype=np.uint8)[:, None]) & 1
    there = bits.astype(bool)[rows].any(axis=1)
    return np.asarray(there | np.roll(there, 1, axis=-1) | np.roll(there, -1, axis=-1))


def _aimed(
    view: _View,
    space: Space,
    type_index: int,
    sets: tuple[tuple[float, ...], ...],
    figure_height_m: float,
    *,
    upper_only: bool,
) -> NDArray[np.uint8]:
    """(t, n, b) bits of the range sets at which a unit holds each cell, at every judged tilt."""
    table = head_table(space.detector_types[type_index])
    masks = _no_masks(view, space)
    for h, start, shifts in _alike(table, space.bearing_step_deg, sets):
        layers = [int(table.upper[h])] if upper_only else np.flatnonzero(table.name[h] >= 0).tolist()
        # Layers that stay where they are first: what they miss need not be judged at every range.
        layers.sort(key=lambda k: bool(np.isnan(table.elevation_deg[h, k])))
        any_layer = table.any_layer and not upper_only
        _mark(view, space, type_index, sets, figure_height_m, h, layers, any_layer, start, shifts, masks)
    return masks


def _aimed_apart(
    view: _View, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...], figure_height_m: float,
    senses: list[_Sense],
) -> NDArray[np.uint8]:  # fmt: skip
    """(s, t, n, b) bits of the range sets at which each sense by itself holds each cell."""
    table = head_table(space.detector_types[type_index])
    apart = np.stack([_no_masks(view, space) for _ in senses])
    for masks, sense in zip(apart, senses, strict=True):
        shift, start = _whole_steps(float(table.pan_deg[sense.head]), space.bearing_step_deg)
        _mark(
            view, space, type_index, sets, figure_height_m, sense.head, sense.layers, False, start,
            np.array([shift]), masks,
        )  # fmt: skip
    return apart


def _no_masks(view: _View, space: Space) -> NDArray[np.uint8]:
    # Whole words: that is how they are counted.
    n_words = -(-len(space.bearings_deg) // WORD)
    return np.zeros((len(space.tilts_judged_deg), len(view.place), n_words * WORD), np.uint8)


def _mark(
    view: _View, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...], figure_height_m: float,
    head: int, layers: list[int], any_layer: bool, start: float, shifts: Cells, masks: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Add to (t, n, b) masks what heads made alike hold by some of their layers."""
    table, step = head_table(space.detector_types[type_index]), space.bearing_step_deg
    elevation, half = table.elevation_deg[head, layers], table.half_thickness_deg[head, layers]
    sines = np.stack([layer_sines(elevation, half, table.nominal_height_m, own[head]) for own in sets])
    for t, tilt in enumerate(space.tilts_judged_deg):
        held_bearings(
            view.east, view.north, view.distance, view.foot, view.low, view.high, view.light,
            view.hull_high, view.most_light, view.piece_first, view.piece_last, view.pieces,
            fan_axes(start, step, len(space.bearings_deg), tilt), start, step, tilt,
            float(table.half_arc_deg[head]), sines, np.isnan(elevation), any_layer, table.max_range_m,
            figure_height_m, space.detector_types[type_index].fill, shifts, masks[t],
        )  # fmt: skip


def _whole_steps(pan_deg: float, step_deg: float) -> tuple[int, float]:
    """A pan as whole steps of bearing, and what it goes past them, degrees."""
    shift = int(np.floor(pan_deg / step_deg + 1e-9))
    return shift, round(pan_deg - shift * step_deg, 9) + 0.0


def _alike(
    table: HeadTable, step_deg: float, sets: tuple[tuple[float, ...], ...]
) -> list[tuple[int, float, Cells]]:
    """Heads that differ by whole steps of bearing only: the first, its angle past a step, the steps."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for h, pan in enumerate(table.pan_deg):
        shift, start = _whole_steps(float(pan), step_deg)
        key = (
            start,
            float(table.half_arc_deg[h]),
            table.elevation_deg[h].tobytes(),
            table.half_thickness_deg[h].tobytes(),
            int(table.upper[h]),
            tuple(own[h] for own in sets),
        )
        groups.setdefault(key, [h]).append(shift)
    return [(found[0], float(key[0]), np.array(found[1:])) for key, found in groups.items()]  # type: ignore[arg-type]


def _slack(value: Floats, masked: NDArray[np.uint64] | None) -> NDArray[np.int64]:
    """(t, r, b) steps by which a bearing may be off either way until too much is lost.

    Where zones are masked, for as long as the same ones are: others would have to be.
    """
    enough = (1.0 - SLACK_LOSS) * value
    steps = np.zeros(value.shape, np.int64)
    still = value > 0
    for k in range(1, min(_MOST_SLACK, value.shape[2] // 2) + 1):
        for way in (k, -k):
            still = still & (np.roll(value, way, axis=2) >= enough)
            if masked is not None:
                still &= (np.roll(masked, way, axis=2) == masked).all(axis=-1)
        steps += still
    return steps


def _best_of_sectors(
    look: _Look, space: Space, type_index: int, height_m: float, value: Floats, masks: _Masks
) -> list[_Kept]:
    """The best setting of each range set and part of the circle; of equals the one with more slack."""
    slack = _slack(value, masks.masked)
    edges = np.linspace(0, value.shape[2], min(SECTORS, value.shape[2]) + 1).round().astype(int)
    kept = []
    for r in range(masks.n_ranges):
        for first, last in itertools.pairwise(edges):
            part = value[:, r, first:last]
            top = part.max()
            if top > 0:
                eased = np.where(part == top, slack[:, r, first:last], -1)
                t, b = np.unravel_index(int(eased.argmax()), part.shape)
                at = (int(t), r, int(first + b))
                kept.append(_kept(look, space, type_index, height_m, value, masks, at, int(slack[at])))
    return kept


def _kept(
    look: _Look, space: Space, type_index: int, height_m: float, value: Floats, masks: _Masks,
    at: tuple[int, int, int], slack: int,
) -> _Kept:  # fmt: skip
    t, r, b = at
    held = np.zeros(len(look.near), bool)
    held[look.spot] = (masks.sure[t, :, b] & np.uint8(1 << r)) > 0
    n_heads = len(space.detector_types[type_index].head)
    masked = (0,) * n_heads if masks.masked is None else tuple(masks.masked[t, r, b].tolist())
    return _Kept(
        type_index, height_m, float(space.bearings_deg[b]), space.tilts_deg[t], masks.sets[r], masked,
        float(value[at]), slack * space.bearing_step_deg, np.packbits(held),
    )  # fmt: skip


def _best_of_heights(kept: list[_Kept]) -> list[_Kept]:
    """Of each type, range set and part of the circle the best height; the best of each height as well."""
    chosen: dict[tuple[object, ...], _Kept] = {}
    for one in kept:
        sector = int(one.bearing_deg / 360 * SECTORS + 1e-9)
        for key in (
            ("sector", one.type_index, one.range_set, sector),
            ("height", one.type_index, one.height_m),
        ):
            other = chosen.get(key)
            if other is None or (one.value, one.slack_deg) > (other.value, other.slack_deg):
                chosen[key] = one
    return sorted(
        {id(one): one for one in chosen.values()}.values(),
        key=lambda s: (
            -s.value,
            -s.slack_deg,
            s.type_index,
            s.height_m,
            s.range_set,
            s.bearing_deg,
            s.tilt_deg,
        ),
    )


def _packed(
    mount: Mount, space: Space, target: Target, looks: dict[float, _Look], kept: list[_Kept], best: Floats
) -> Judged:
    near = next(iter(looks.values())).near if looks else np.zeros(0, np.int64)
    weights, rank = np.unique(target.weight, return_inverse=True)
    nominal, animal = [], []
    tables: dict[tuple[object, ...], HeadTable] = {}
    for one in kept:
        look = looks[one.height_m]
        detector_type = space.detector_types[one.type_index]
        heads = (one.type_index, one.range_set, one.masked)
        if heads not in tables:
            own = space.heads_set(one.type_index, one.range_set, zones_of(one.masked))
            tables[heads] = head_table(detector_type, heads=own)
        range_m = max(space.range_sets_of(one.type_index)[one.range_set])
        setting = (tables[heads], one.bearing_deg, one.tilt_deg, 0.0, range_m)
        person, dog = (
            _held_by(look.seen, detector_type, setting, height_m)
            for height_m in (target.figure_height_m, target.animal_m)
        )
        counts = np.bincount(rank[look.place[person[look.rows]]], minlength=len(weights))
        nominal.append(float((weights * counts).sum()))
        animal.append(int(dog.sum()))

    def column(name: str) -> Floats:
        return np.array([getattr(one, name) for one in kept], float)

    most_heads = max(len(detector_type.head) for detector_type in space.detector_types)
    masked = np.zeros((len(kept), most_heads), np.int64)
    for row, one in enumerate(kept):
        masked[row, : len(one.masked)] = one.masked
    ranges = [max(space.range_sets_of(one.type_index)[one.range_set]) for one in kept]
    return Judged(
        mount.name, space.settings_of(mount), near.astype(np.int32), column("type_index").astype(np.int64),
        column("height_m"), column("bearing_deg"), column("tilt_deg"), np.array(ranges, float),
        column("range_set").astype(np.int64), masked, column("value"),
        np.array(nominal), column("slack_deg"), np.array(animal, np.int64),
        np.array([one.held for one in kept], np.uint8).reshape(len(kept), -(-len(near) // 8)), best,
    )  # fmt: skip


def _held_by(
    seen: Panorama, kind: DetectorType, setting: tuple[HeadTable, float, float, float, float], height_m: float
) -> NDArray[np.bool_]:
    """(n,) bool: the cells of a panorama that one setting holds as aimed."""
    codes = verdict_codes(seen, *setting, height_m, kind.fill)
    if kind.microwave is not None:
        codes = with_microwave(codes, seen, kind.microwave, *setting[1:4], height_m)
    return np.asarray(codes == Verdict.BOTH)


def _stacked(spans: list[list[_Spans]], name: str) -> NDArray[Any]:
    """One array of the spans of all aims of tilt and senses, as wide as the widest."""
    arrays = [[getattr(one, name) for one in row] for row in spans]
    width = max(array.shape[-1] for row in arrays for array in row)
    return np.stack(
        [
            np.stack([np.pad(a, [(0, 0)] * (a.ndim - 1) + [(0, width - a.shape[-1])]) for a in row])
            for row in arrays
        ]
    )


def zones_of(masked: Iterable[int]) -> tuple[tuple[int, ...], ...]:
    """Bits of the masked zones of each head as the zones' numbers, from 1.

    >>> zones_of((0, 5))
    ((), (1, 3))
    """
    return tuple(tuple(k + 1 for k in range(bits.bit_length()) if bits >> k & 1) for bits in map(int, masked))

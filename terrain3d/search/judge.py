"""Every setting of a mount judged, and the few that a set of units can be made of kept.

A setting is worth what it holds *after its tolerance*: the ground that stays held when the bearing is
off by one step either way and the tilt by one degree, wherever within that the hand ends. So what is
promised of several units is what all of them hold however each is off, and a knife edge is worth nothing.
"""

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import HeadTable
from terrain3d.cover.microwave import with_microwave
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import DetectorType
from terrain3d.search.aims import aimed_settings, barred_settings, both_senses, reached_by_microwave, steady
from terrain3d.search.kernel import counted, weighed
from terrain3d.search.looks import Look, look_around, places_of
from terrain3d.search.masked import masked_settings
from terrain3d.search.settings import Space, raises_alone
from terrain3d.search.target import Cells, Target
from terrain3d.sight.panorama import Panorama
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


def judge_mount(terrain: Terrain, mount: Mount, space: Space, target: Target) -> Judged:
    """Judge every setting of a mount.

    Parameters
    ----------
    terrain : Terrain
    mount : Mount
    space : Space
    target : Target
    """
    place = places_of(terrain, target)
    looks: dict[float, Look] = {}
    kept: list[_Kept] = []
    best = np.full((len(mount.heights_m), len(space.detector_types)), -1.0)
    for h, height in enumerate(mount.heights_m):
        look = look_around(terrain, mount, height, space, place, target)
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
    place = places_of(terrain, target)
    looks: dict[float, Look] = {}
    kept: list[_Kept] = []
    best = np.full((len(mount.heights_m), len(space.detector_types)), -1.0)
    for h, height in enumerate(mount.heights_m):
        look = look_around(terrain, mount, height, space, place, target)
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
class _Masks:
    """What a type holds after the tolerance: bits of so many range sets, (t, n, b), b in whole words.

    `first_set` is the place of the first in `Space.range_sets_of`; `masked` (t, r, b, h) the zones masked at
    each setting, in bits, None where none is masked anywhere.
    """

    sure: NDArray[np.uint8]
    first_set: int
    sets: tuple[tuple[float, ...], ...]
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
    range_m: float
    range_set: int
    masked: tuple[int, ...]
    value: float
    slack_deg: float
    held: NDArray[np.uint8]


def _judge_type(
    look: Look, mount: Mount, space: Space, type_index: int, target: Target
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
        microwave = reached_by_microwave(look.seen, look.view, space, kind.microwave, target.figure_height_m)
        for height_m, outside in look.spill if raises_alone(kind) else ():
            there = reached_by_microwave(look.seen, outside, space, kind.microwave, height_m)[:, :, :n]
            unfit = unfit | barred_settings(there, rows, 1)
    results = []
    for first in range(0, len(sets), _BITS):
        some = sets[first : first + _BITS]
        if (space.masks and look.spill) or (space.mask_nuisances and look.seen.terrain.nuisances):
            sure, barred, masked = masked_settings(look, space, type_index, some, target, rows, microwave)
        else:
            aimed = aimed_settings(
                look.view, space, type_index, some, target.figure_height_m, upper_only=False
            )
            aimed = both_senses(aimed, microwave, kind)
            sure = np.stack([steady(aimed[row], n) for row in rows])
            barred, masked = np.zeros((len(rows), len(some), n), bool), None
            for height_m, outside in look.spill:
                upper = aimed_settings(outside, space, type_index, some, height_m, upper_only=True)[:, :, :n]
                barred |= barred_settings(upper, rows, len(some))
        masks = _Masks(sure, first, some, barred | unfit, look.view.blocks, masked)
        results.append((masks.values(), masks))
    return results


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
    look: Look, space: Space, type_index: int, height_m: float, value: Floats, masks: _Masks
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
    look: Look, space: Space, type_index: int, height_m: float, value: Floats, masks: _Masks,
    at: tuple[int, int, int], slack: int,
) -> _Kept:  # fmt: skip
    t, r, b = at
    held = np.zeros(len(look.near), bool)
    held[look.spot] = (masks.sure[t, :, b] & np.uint8(1 << r)) > 0
    n_heads = len(space.detector_types[type_index].head)
    masked = (0,) * n_heads if masks.masked is None else tuple(masks.masked[t, r, b].tolist())
    return _Kept(
        type_index, height_m, float(space.bearings_deg[b]), space.tilts_deg[t], max(masks.sets[r]),
        masks.first_set + r, masked,
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
    mount: Mount, space: Space, target: Target, looks: dict[float, Look], kept: list[_Kept], best: Floats
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
            tables[heads] = space.table_of(one.type_index, own)
        setting = (tables[heads], one.bearing_deg, one.tilt_deg, 0.0, one.range_m)
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
    return Judged(
        mount.name, space.settings_of(mount), near.astype(np.int32), column("type_index").astype(np.int64),
        column("height_m"), column("bearing_deg"), column("tilt_deg"), column("range_m"),
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


def zones_of(masked: Iterable[int]) -> tuple[tuple[int, ...], ...]:
    """Bits of the masked zones of each head as the zones' numbers, from 1.

    >>> zones_of((0, 5))
    ((), (1, 3))
    """
    return tuple(tuple(k + 1 for k in range(bits.bit_length()) if bits >> k & 1) for bits in map(int, masked))

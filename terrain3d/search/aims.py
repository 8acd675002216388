"""What every setting of a type holds from one place as aimed: bits of its range sets, all aims at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.band import layer_sines
from terrain3d.cover.heads import HeadTable
from terrain3d.cover.microwave import with_microwave
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import DetectorType, Microwave
from terrain3d.search.kernel import WORD, fan_axes, held_bearings
from terrain3d.search.looks import View
from terrain3d.search.settings import Space, raises_alone
from terrain3d.search.target import Cells
from terrain3d.sight.panorama import Panorama


def aimed_settings(
    view: View,
    space: Space,
    type_index: int,
    sets: tuple[tuple[float, ...], ...],
    figure_height_m: float,
    *,
    upper_only: bool,
) -> NDArray[np.uint8]:
    """(t, n, b) bits of the range sets at which a unit holds each cell, at every judged tilt."""
    table = space.table_of(type_index)
    masks = _no_masks(view, space)
    for h, start, shifts in _alike(table, space.bearing_step_deg, sets):
        layers = [int(table.upper[h])] if upper_only else np.flatnonzero(table.name[h] >= 0).tolist()
        # Layers that stay where they are first: what they miss need not be judged at every range.
        layers.sort(key=lambda k: bool(np.isnan(table.elevation_deg[h, k])))
        any_layer = table.any_layer and not upper_only
        _mark(view, space, type_index, sets, figure_height_m, h, layers, any_layer, start, shifts, masks)
    return masks


@dataclass(frozen=True, eq=False)
class Sense:
    """Layers of a head that raise the alarm together."""

    head: int
    layers: list[int]


def senses_of(space: Space, type_index: int, *, upper_only: bool) -> list[Sense]:
    """All that raises the alarm by itself: a head, or each layer of one; or the upper layers alone."""
    table = space.table_of(type_index)
    found = []
    for h in range(len(table.head)):
        layers = [int(table.upper[h])] if upper_only else np.flatnonzero(table.name[h] >= 0).tolist()
        # Layers that stay where they are first: what they miss need not be judged at every range.
        layers.sort(key=lambda k: bool(np.isnan(table.elevation_deg[h, k])))
        found += [Sense(h, [k]) for k in layers] if table.any_layer else [Sense(h, layers)]
    return found


def aimed_apart(
    view: View, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...], figure_height_m: float,
    senses: list[Sense],
) -> NDArray[np.uint8]:  # fmt: skip
    """(s, t, n, b) bits of the range sets at which each sense by itself holds each cell."""
    table = space.table_of(type_index)
    apart = np.stack([_no_masks(view, space) for _ in senses])
    for masks, sense in zip(apart, senses, strict=True):
        shift, start = whole_steps(float(table.pan_deg[sense.head]), space.bearing_step_deg)
        _mark(
            view, space, type_index, sets, figure_height_m, sense.head, sense.layers, False, start,
            np.array([shift]), masks,
        )  # fmt: skip
    return apart


def _no_masks(view: View, space: Space) -> NDArray[np.uint8]:
    # Whole words: that is how they are counted.
    n_words = -(-len(space.bearings_deg) // WORD)
    return np.zeros((len(space.tilts_judged_deg), len(view.place), n_words * WORD), np.uint8)


def _mark(
    view: View, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...], figure_height_m: float,
    head: int, layers: list[int], any_layer: bool, start: float, shifts: Cells, masks: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Add to (t, n, b) masks what heads made alike hold by some of their layers."""
    table, step = space.table_of(type_index), space.bearing_step_deg
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


def whole_steps(pan_deg: float, step_deg: float) -> tuple[int, float]:
    """A pan as whole steps of bearing, and what it goes past them, degrees."""
    shift = int(np.floor(pan_deg / step_deg + 1e-9))
    return shift, round(pan_deg - shift * step_deg, 9) + 0.0


def _alike(
    table: HeadTable, step_deg: float, sets: tuple[tuple[float, ...], ...]
) -> list[tuple[int, float, Cells]]:
    """Heads that differ by whole steps of bearing only: the first, its angle past a step, the steps."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for h, pan in enumerate(table.pan_deg):
        shift, start = whole_steps(float(pan), step_deg)
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


def reached_by_microwave(
    seen: Panorama, view: View, space: Space, microwave: Microwave, figure_height_m: float
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


def both_senses(
    aimed: NDArray[np.uint8], microwave: NDArray[np.uint8] | None, kind: DetectorType
) -> NDArray[np.uint8]:
    """What a unit holds as aimed, by what its layers hold and what its microwave reaches."""
    if microwave is None:
        return aimed
    return aimed | microwave if raises_alone(kind) else aimed & microwave


def steady(masks: NDArray[np.uint8], n_bearings: int) -> NDArray[np.uint8]:
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


def barred_settings(upper: NDArray[np.uint8], rows: Cells, n_ranges: int) -> NDArray[np.bool_]:
    """(t, r, b) settings whose upper layer reaches a cell to keep out of, aimed off or not."""
    reached = np.bitwise_or.reduce(upper, axis=1)
    bits = (reached[:, None, :] >> np.arange(n_ranges, dtype=np.uint8)[:, None]) & 1
    there = bits.astype(bool)[rows].any(axis=1)
    return np.asarray(there | np.roll(there, 1, axis=-1) | np.roll(there, -1, axis=-1))

"""Settings with zones masked where they would reach what they must not; `masks` has the arithmetic."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.band import layer_sines
from terrain3d.detector.types import lower_elevation_deg
from terrain3d.search.aims import Sense, aimed_apart, both_senses, senses_of, steady, whole_steps
from terrain3d.search.looks import Look, View
from terrain3d.search.masks import keep_unmasked, zone_edges, zone_spans, zones_reached
from terrain3d.search.seen_things import FINENESS_DEG, seen_things, zones_lain_in
from terrain3d.search.settings import Space, raises_alone
from terrain3d.search.target import Cells, Target


def masked_settings(
    look: Look,
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
    upper = senses_of(space, type_index, upper_only=True)
    reached = np.zeros((len(space.tilts_judged_deg), len(sets), n, len(upper)), np.uint64)
    for height_m, outside in look.spill:
        there = aimed_apart(outside, space, type_index, sets, height_m, upper)
        for s, sense in enumerate(upper):
            for t in range(len(reached)):
                spans = _Spans.of(outside, space, type_index, sense, sets, t)
                for r in range(len(sets)):
                    zones_reached(
                        there[s, t], r, spans.shift, spans.starts[r], spans.first[r], spans.last[r],
                        reached[t, r, :, s],
                    )  # fmt: skip
    keeps_out = _aimed_off(reached, rows)
    masked = keeps_out if space.masks else np.zeros_like(keeps_out)
    if space.mask_nuisances and look.seen.terrain.nuisances:
        masked = masked | _aimed_off(zones_of_things(look, space, type_index, sets), rows)
    senses = senses_of(space, type_index, upper_only=False)
    apart = aimed_apart(look.view, space, type_index, sets, target.figure_height_m, senses)
    aimed = both_senses(np.bitwise_or.reduce(apart, axis=0), microwave, detector_type)
    sure = np.stack([steady(aimed[row], n) for row in rows])
    whole = np.array([(1 << head.zones) - 1 for head in detector_type.head], np.uint64)
    barred = (masked == whole).all(axis=-1) | (keeps_out & ~masked).any(axis=-1)
    if not masked.any():
        return sure, barred, None
    heads = [sense.head for sense in senses]
    nothing = np.zeros((0, 0, 0), np.uint8)
    kept: dict[int, list[_Spans]] = {}
    for t, row in enumerate(rows):
        if masked[t].any():
            # Neighbours in tilt share two of their three aims.
            kept = {
                at: kept.get(at)
                or [_Spans.of(look.view, space, type_index, sense, sets, at) for sense in senses]
                for at in row.tolist()
            }
            spans_of = [kept[at] for at in row.tolist()]
            keep_unmasked(
                sure[t], np.ascontiguousarray(apart[:, row].swapaxes(0, 1)),
                np.array([spans.shift for spans in spans_of[0]]),
                *(_stacked(spans_of, name) for name in ("starts", "first", "last")),
                np.ascontiguousarray(masked[t][..., heads]),
                microwave[row] if microwave is not None and raises_alone(detector_type) else nothing,
            )  # fmt: skip
    return sure, barred, masked


def _aimed_off(reached: NDArray[np.uint64], rows: Cells) -> NDArray[np.uint64]:
    """(t, r, b, h) bits of zones that reach something at any aim within the tolerance, of those as aimed."""
    tilted = np.bitwise_or.reduce(reached[rows], axis=1)
    return np.asarray(tilted | np.roll(tilted, 1, axis=2) | np.roll(tilted, -1, axis=2))


def zones_of_things(
    look: Look, space: Space, type_index: int, sets: tuple[tuple[float, ...], ...]
) -> NDArray[np.uint64]:
    """(t, r, b, h) bits of the zones in which a nuisance thing is seen within range, at every judged tilt."""
    kind, tilts, step = space.detector_types[type_index], space.tilts_judged_deg, space.bearing_step_deg
    table, n_bearings = space.table_of(type_index), len(space.bearings_deg)
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
        shift, start = whole_steps(float(table.pan_deg[h]), step)
        for t, tilt in enumerate(tilts):
            for r in range(len(sets)):
                zones_lain_in(
                    seen.bearing_deg, seen.half_width_deg, seen.low, seen.high, start, step, tilt,
                    float(table.half_arc_deg[h]), head.zones, sines[h][r][: len(head.layer)], shift,
                    found[t, r, :, h],
                )  # fmt: skip
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
        view: View, space: Space, type_index: int, sense: Sense,
        sets: tuple[tuple[float, ...], ...], tilt: int,
    ) -> "_Spans":  # fmt: skip
        n_zones = space.detector_types[type_index].head[sense.head].zones
        step, table = space.bearing_step_deg, space.table_of(type_index)
        shift, start_deg = whole_steps(float(table.pan_deg[sense.head]), step)
        offset = (np.arctan2(view.east, view.north) - np.radians(start_deg)) / np.radians(step)
        ranges = [own[sense.head] for own in sets]
        by_range = {}
        for range_m in dict.fromkeys(ranges):
            ranged = lower_elevation_deg(table.nominal_height_m, range_m)
            elevation = table.elevation_deg[sense.head, sense.layers]
            edges = zone_edges(
                float(table.half_arc_deg[sense.head]), n_zones,
                np.where(np.isnan(elevation), ranged, elevation), space.tilts_judged_deg[tilt], step,
            )  # fmt: skip
            by_range[range_m] = zone_spans(offset, edges, step, len(space.bearings_deg))
        found = [by_range[range_m] for range_m in ranges]
        width = max(first.shape[1] for _, first, _ in found)
        wide = [[np.pad(each, ((0, 0), (0, width - each.shape[1]))) for each in one[1:]] for one in found]
        return _Spans(
            shift, np.stack([starts for starts, _, _ in found]), np.stack([first for first, _ in wide]),
            np.stack([last for _, last in wide]),
        )  # fmt: skip


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

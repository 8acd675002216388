"""Animals, what lies beyond the boundary and nuisance things, as plain values for `results.json`."""

from collections.abc import Sequence
from typing import Any

from terrain3d.frame import Frame
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.nuisance.masking import MaskCost
from terrain3d.nuisance.spill import Fan, KeepOff, Landing, Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.paper.results import figure_values, place
from terrain3d.paper.rounded import area, share, size
from terrain3d.sentences.beyond import LANDS_WORDS, beyond_notes, keep_off_words
from terrain3d.sentences.nuisances import advice
from terrain3d.terrain import Ground, Terrain


def animal_values(found: AnimalGround) -> dict[str, Any]:
    """What low figures make of one option, under the keys `animals` and `crawling`."""
    return {
        "animals": [
            {
                **figure_values(ground.figure),
                "alarm_m2": area(ground.area_m2),
                "nearest_m": size(ground.nearest_m),
            }
            for ground in found.animals
        ],
        "crawling": {
            **figure_values(found.crawling.figure),
            "upright": figure_values(found.upright),
            "unnoticed_m2": area(found.crawling.area_m2),
            "unnoticed_protected_m2": area(found.crawling_protected_m2),
            "nearest_m": size(found.crawling.nearest_m),
        },
    }


def beyond_values(spilt: Spill, things: tuple[InLayer, ...], doubts: Sequence[str]) -> dict[str, Any]:
    """What an option senses besides its own land, under the keys `beyond` and `nuisances`.

    `doubts` are those of the ground that was looked at.
    """
    return {"beyond": _spill(spilt, doubts), "nuisances": [_thing(thing) for thing in things]}


def surroundings_values(terrain: Terrain) -> dict[str, Any]:
    """What the parts that look past the reach of the units looked at, under the key `surroundings`."""
    return {
        "ground": _grid(terrain.ground, terrain.frame),
        "far": [_grid(ring, terrain.frame) for ring in terrain.far],
        "doubts": list(terrain.doubts),
    }


def _grid(ground: Ground, frame: Frame) -> dict[str, Any]:
    west, south, east, north = ground.bounds
    corners = (place(west, south, frame), place(east, north, frame))
    return {
        "cell_m": size(ground.cell_m),
        "bounds_m": [corner[axis] for corner in corners for axis in ("x", "y")],
    }


def _spill(spilt: Spill, doubts: Sequence[str]) -> dict[str, Any]:
    return {
        "has_boundary": spilt.has_boundary,
        "farthest_within_range_m": size(spilt.farthest_within_m),
        "farthest_on_past_range_m": size(spilt.farthest_on_m),
        "past_boundary_m2": {
            "within_range": area(spilt.past_within_m2),
            "on_past_range": area(spilt.past_on_m2),
            **_by_microwave("by_microwave", spilt.past_microwave_m2),
        }
        if spilt.has_boundary
        else None,
        "layers": [
            _fan(fan, rows, spilt.has_boundary) for fan, rows in zip(spilt.fans, spilt.landings, strict=True)
        ],
        "pieces": [
            {
                "name": piece.name,
                "kind": piece.kind,
                "keep_out": piece.keep_out,
                "within_range_m2": area(piece.within_m2),
                "on_past_range_m2": area(piece.on_past_m2),
                "nearest_m": size(piece.nearest_m),
                **_by_microwave("by_microwave_m2", piece.microwave_m2),
            }
            for piece in spilt.pieces
        ],
        "keep_off": [_keep_off(one) for one in spilt.keep_off],
        "notes": beyond_notes(spilt, doubts),
    }


def _keep_off(one: KeepOff) -> dict[str, Any]:
    return {
        "ground": one.ground,
        "masks": [{"unit": mask.unit, "head": mask.head, "masked": list(mask.zones)} for mask in one.masks],
        "cost": _cost(one.cost),
        "words": keep_off_words(one),
    }


def _cost(cost: MaskCost | None) -> dict[str, Any] | None:
    if cost is None:
        return None
    return {"held_m2": area(cost.held_m2), "lost_m2": area(cost.lost_m2)}


def _by_microwave(key: str, m2: float | None) -> dict[str, Any]:
    """A key that is there only where a unit has a microwave."""
    return {} if m2 is None else {key: area(m2)}


def _fan(fan: Fan, rows: tuple[Landing, ...], has_boundary: bool) -> dict[str, Any]:
    within, on = fan.past_within_m, fan.past_on_m
    return {
        "unit": fan.unit,
        "head": fan.head,
        "layer": fan.layer,
        "max_range_m": fan.range_m,
        "followed_to_m": fan.follow_m,
        "axis_past_within_range_m": size(float(within[1].max())) if has_boundary else None,
        "layer_past_within_range_m": size(float(within.max())) if has_boundary else None,
        "layer_past_on_past_range_m": size(float(on.max())) if has_boundary else None,
        "known_ground_ends_m": size(fan.known_until_m),
        "lands_on": [
            {
                "what": LANDS_WORDS[row.lands],
                "solid": row.solid,
                "arc_deg": size(row.arc_deg),
                "nearest_m": size(row.nearest_m),
                "farthest_m": size(row.farthest_m),
            }
            for row in rows
        ],
    }


def _thing(thing: InLayer) -> dict[str, Any]:
    return {
        "name": thing.thing,
        "kind": thing.kind,
        "unit": thing.unit,
        "head": thing.head,
        "layer": thing.layer,
        "distance_m": size(thing.distance_m),
        "bearing_deg": size(thing.bearing_deg),
        "is_within_range": thing.is_within_range,
        "is_seen": thing.is_seen,
        "zone": thing.zone,
        "zone_share": share(thing.fill),
        "zone_share_seen": share(thing.seen_fill),
        "mask": list(thing.mask),
        "mask_cost": _cost(thing.cost),
        "advice": advice(thing),
        "advice_source": "common practice, no source",
    }

"""Animals, what lies beyond the boundary and nuisance things, as plain values for `results.json`."""

from typing import Any

from terrain3d.around.animals import AnimalGround, FigureGround
from terrain3d.around.nuisance import InLayer
from terrain3d.around.spill import Fan, Landing, Spill
from terrain3d.terrain import Ground, Terrain


def animal_values(found: AnimalGround) -> dict[str, Any]:
    """What low figures make of one option, under the keys `animals` and `crawling`."""
    return {
        "animals": [_figure(ground) for ground in found.animals],
        "crawling": {
            **_figure(found.crawling),
            "upright": {"name": found.upright.name, "height_m": found.upright.height_m},
            "protected_m2": _m2(found.crawling_protected_m2),
        },
    }


def beyond_values(spilt: Spill, things: tuple[InLayer, ...]) -> dict[str, Any]:
    """What an option senses besides its own land, under the keys `beyond` and `nuisances`."""
    return {"beyond": _spill(spilt), "nuisances": [_thing(thing) for thing in things]}


def surroundings_values(terrain: Terrain) -> dict[str, Any]:
    """What the parts that look past the reach of the units looked at, under the key `surroundings`."""
    return {
        "ground": _grid(terrain.ground),
        "far": [_grid(ring) for ring in terrain.far],
        "doubts": list(terrain.doubts),
    }


def _grid(ground: Ground) -> dict[str, Any]:
    return {"cell_m": round(ground.cell_m, 6), "bounds_m": [_m(edge) for edge in ground.bounds]}


def _figure(ground: FigureGround) -> dict[str, Any]:
    return {
        "name": ground.figure.name,
        "height_m": ground.figure.height_m,
        "area_m2": _m2(ground.area_m2),
        "nearest_m": _m(ground.nearest_m),
    }


def _spill(spilt: Spill) -> dict[str, Any]:
    return {
        "has_boundary": spilt.has_boundary,
        "farthest_within_range_m": _m(spilt.farthest_within_m),
        "farthest_on_past_range_m": _m(spilt.farthest_on_m),
        "past_boundary_m2": {
            "within_range": _m2(spilt.past_within_m2),
            "on_past_range": _m2(spilt.past_on_m2),
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
                "within_range_m2": _m2(piece.within_m2),
                "on_past_range_m2": _m2(piece.on_past_m2),
                "nearest_m": _m(piece.nearest_m),
            }
            for piece in spilt.pieces
        ],
        "notes": list(spilt.notes),
    }


def _fan(fan: Fan, rows: tuple[Landing, ...], has_boundary: bool) -> dict[str, Any]:
    within, on = fan.past_within_m, fan.past_on_m
    return {
        "unit": fan.unit,
        "head": fan.head,
        "layer": fan.layer,
        "range_m": fan.range_m,
        "followed_to_m": fan.follow_m,
        "axis_past_within_range_m": _m(float(within[1].max())) if has_boundary else None,
        "layer_past_within_range_m": _m(float(within.max())) if has_boundary else None,
        "layer_past_on_past_range_m": _m(float(on.max())) if has_boundary else None,
        "lands_on": [
            {
                "what": row.what,
                "arc_deg": round(row.arc_deg, 3),
                "nearest_m": _m(row.nearest_m),
                "farthest_m": _m(row.farthest_m),
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
        "distance_m": _m(thing.distance_m),
        "bearing_deg": round(thing.bearing_deg, 2),
        "is_within_range": thing.is_within_range,
        "is_seen": thing.is_seen,
        "zone": thing.zone,
        "zone_share": round(thing.fill, 4),
        "zone_share_seen": round(thing.seen_fill, 4),
        "advice": thing.advice,
        "advice_source": "common practice, no source",
    }


def _m(metres: float | None) -> float | None:
    return None if metres is None else round(metres, 4)


def _m2(area: float) -> float:
    return round(area, 6)

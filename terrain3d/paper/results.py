"""An outcome as `results.json`: every number that a picture or a table shows.

What each key means is said in `results.schema.json` beside this file: a key more is a line here and one
there.
"""

import json
from typing import Any

import numpy as np
import pyproj

from terrain3d.caution import CAUTION
from terrain3d.cover.areas import (
    RETURN_STEPS,
    KnownGround,
    Standing,
    known_ground,
    measured_by,
    standing_by_source,
)
from terrain3d.cover.option import OptionResult, ProtectedResult, UnderScenario
from terrain3d.cover.profile import head_bearings
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.cover.wedges import wedges_of
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector, masked_arcs
from terrain3d.detector.types import Microwave
from terrain3d.frame import Frame
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in
from terrain3d.paper.pictured import (
    beside_best_values,
    in_reach_values,
    outlook_values,
    section_values,
    seen_from_values,
)
from terrain3d.paper.rounded import area, share, size
from terrain3d.paper.supply import supply_of, supply_values
from terrain3d.ranking.compare import held_share, weighted_share
from terrain3d.ranking.outlay import Outlay, outlay_of
from terrain3d.ranking.reasons import Reason
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import protected_words
from terrain3d.sentences.warnings import option_warnings
from terrain3d.sentences.why import why
from terrain3d.terrain import Area, Dated, Mark, Terrain

SCHEMA = "terrain3d/results/2"
#: Degrees of longitude and latitude to a millimetre.
_LONLAT_DECIMALS = 8


def results_json(outcome: Outcome) -> str:
    """The text of `results.json`; the same outcome gives the same text."""
    return json_text(results_values(outcome))


def json_text(document: dict[str, Any]) -> str:
    """Plain values as the text of `results.json`; nothing is "-0.0" in it.

    >>> print(json_text({"tilt_deg": -0.0}), end="")
    {
      "tilt_deg": 0.0
    }
    """
    return json.dumps(_plus_zero(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


@lengths_in("m")
def results_values(outcome: Outcome) -> dict[str, Any]:
    """What `results.json` says of an outcome, as plain values that other parts may grow."""
    return {
        "schema": SCHEMA,
        "caution": CAUTION,
        "site": _site(outcome),
        "options": [_option(outcome, option) for option in outcome.options],
        "ranking": list(outcome.ranking),
        "why": why(outcome),
        "reasons": [_reason(reason) for reason in outcome.reasons],
    }


def figure_values(figure: Figure) -> dict[str, Any]:
    """Who walks."""
    return {"name": figure.name, "height_m": figure.height_m}


def place(x: float, y: float, frame: Frame) -> dict[str, float]:
    """A place in the site's local metres, as those of the units are told."""
    east, north = frame.from_local(x, y, None)
    return {"x": round(float(east), 4), "y": round(float(north), 4)}


def _site(outcome: Outcome) -> dict[str, Any]:
    terrain = outcome.terrain
    return {
        "name": outcome.site_name,
        "cell_m": terrain.ground.cell_m,
        "figure": figure_values(outcome.figure),
        "frame_wkt": terrain.frame.wkt,
        "origin_lonlat": terrain.frame.origin_lonlat,
        "ground": _ground(terrain),
        "marks": [_mark(mark, terrain.frame) for mark in terrain.marks],
        "doubts": list(terrain.doubts),
    }


def _ground(terrain: Terrain) -> dict[str, Any]:
    ground = terrain.ground
    cell_m2 = ground.cell_m**2
    whole = known_ground(ground)
    return {
        "worked_on_m2": area(whole.all_m2),
        "measured_m2": area(whole.measured_m2),
        **{
            f"{word}_share": _part(m2, whole.all_m2)
            for word, m2 in (
                ("known", whole.measured_m2 + whole.bridged_m2),
                ("measured", whole.measured_m2),
                ("bridged", whole.bridged_m2),
                ("unknown", whole.unknown_m2),
            )
        },
        "known_m2": area(np.count_nonzero(ground.known) * cell_m2),
        "unknown_m2": area(np.count_nonzero(~ground.known) * cell_m2),
        "bridged_m2": area(np.count_nonzero(ground.filled) * cell_m2),
        "spacing_m": size(terrain.spacing_m),
        "dated": _dated(terrain.dated),
        "error_m": terrain.error_m,
        "error_from": terrain.error_from or None,
        "returns": _returns(terrain, whole),
        "standing": _standing(standing_by_source(terrain)),
        "protected": [_known(part, known_ground(ground, part)) for part in terrain.protect],
    }


def _part(m2: float, whole_m2: float) -> float | None:
    """A piece of ground as a share; 0 of none."""
    return share(m2 / whole_m2 if whole_m2 else 0.0)


def _returns(terrain: Terrain, whole: KnownGround) -> dict[str, Any] | None:
    found, returns = measured_by(terrain), terrain.returns
    if found is None or returns is None:
        return None
    edges = (0.0, *RETURN_STEPS, None)
    return {
        "median_per_m2": size(found.median_per_m2),
        "square_m": size(returns.square_m),
        "steps": [
            {
                "from_per_m2": least,
                "below_per_m2": below,
                "area_m2": area(m2),
                "share": _part(m2, whole.all_m2),
            }
            for least, below, m2 in zip(edges, edges[1:], found.area_m2, strict=False)
        ],
        "guessed_leaves_m2": area(found.guessed_m2),
    }


def _standing(there: Standing) -> dict[str, Any]:
    return {
        "solids_found": there.solids_found,
        "solids_drawn": there.solids_drawn,
        "leaves_found_m2": area(there.leaves_found_m2),
        "leaves_drawn_m2": area(there.leaves_drawn_m2),
    }


def _known(protected: Area, known: KnownGround) -> dict[str, Any]:
    return {
        "name": protected.name,
        "area_m2": area(known.all_m2),
        "measured_m2": area(known.measured_m2),
        "measured_share": _part(known.measured_m2, known.all_m2),
        "known_m2": area(known.measured_m2 + known.bridged_m2),
        "unknown_m2": area(known.unknown_m2),
        "bridged_m2": area(known.bridged_m2),
    }


def _dated(dated: Dated | None) -> dict[str, Any] | None:
    if dated is None:
        return None
    return {
        "first": dated.first.isoformat(),
        "last": dated.last.isoformat(),
        "from": dated.said_by,
        "is_flown": dated.is_flown,
    }


def _mark(mark: Mark, frame: Frame) -> dict[str, Any]:
    height = None if np.isnan(mark.ground_z) else mark.ground_z
    return {"name": mark.name, **place(mark.x, mark.y, frame), "ground_z": size(height)}


def _option(outcome: Outcome, option: OptionResult) -> dict[str, Any]:
    return {
        "name": option.name,
        "combine": option.combine,
        "detectors": [_detector(outcome, option, number) for number in range(len(option.detectors))],
        "protected_share": share(held_share(option)),
        "weighted_share": share(weighted_share(option)),
        "area_m2": {key: area(m2) for key, m2 in option.area_m2.items()},
        "protect": [_protected(part, has_masks(option.detectors)) for part in option.protect],
        "causes": _causes(option.causes),
        "protected_lost_m2": _causes(option.lost_m2) if option.protect else None,
        "taken_by": {
            layer: {name: area(m2) for name, m2 in by_name.items()}
            for layer, by_name in option.taken_by.items()
        },
        "in_reach": in_reach_values(option, outcome.terrain.ground),
        "beside_best": beside_best_values(outcome, option),
        "seen_from": seen_from_values(outcome, option),
        "hangs_on_leaves_m2": area(option.hangs_on_leaves_m2),
        "unknown_m2": area(option.unknown_m2),
        "scenarios": [_scenario(outcome, option, one) for one in option.scenarios],
        "warnings": option_warnings(option, outcome.terrain),
        **_outlay(outcome, option),
        **_walk_tested(outcome, option),
    }


def _outlay(outcome: Outcome, option: OptionResult) -> dict[str, Any]:
    """What the units cost and draw, how they are fed, and the wedges between their heads, where that is
    known."""
    told: dict[str, Any] = {}
    outlay, circuit = outlay_of(option.detectors), supply_of(outcome, option)
    if outlay is None and circuit is not None:
        outlay = Outlay(None, None, None)
    if outlay is not None:
        volts = None if outlay.volts is None else list(outlay.volts)
        told["supply"] = {"price": outlay.price, "milliamps": outlay.milliamps, "volts": volts}
    if circuit is not None:
        told["supply"]["circuit"] = supply_values(circuit)
    wedges = wedges_of(option.detectors)
    if wedges:
        told["wedges"] = [
            {"mount": wedge.mount, "bearing_deg": size(wedge.bearing_deg), "width_deg": size(wedge.width_deg)}
            for wedge in wedges
        ]
    return told


def _walk_tested(outcome: Outcome, option: OptionResult) -> dict[str, Any]:
    """The walk test of an option, where the site file tells of one."""
    tested = outcome.site.walk_tested(option.name)
    if tested is None:
        return {}
    counts = {"points_count": tested.points, "as_told_count": tested.as_told}
    return {"walk_tested": {"on": tested.on.isoformat(), **counts}}


def _protected(part: ProtectedResult, is_masked: bool) -> dict[str, Any]:
    whole_m2 = part.area_m2 or 1.0
    return {
        "name": part.name,
        "area_m2": area(part.area_m2),
        "both_fraction": share(part.both_fraction),
        "weight": part.weight,
        "out_of_reach_m2": area(part.out_of_reach_m2),
        "out_of_reach_share": share(part.out_of_reach_m2 / whole_m2),
        "unknown_m2": area(part.unknown_m2),
        "unknown_share": share(part.unknown_m2 / whole_m2),
        "hangs_on_leaves_m2": area(part.hangs_on_leaves_m2),
        "hangs_on_leaves_share": share(part.hangs_on_leaves_m2 / whole_m2),
        "lost_to": [
            {"cause": loss.cause, "name": loss.name, "area_m2": area(loss.area_m2)} for loss in part.lost_to
        ],
        "words": protected_words(part, is_masked),
    }


def _scenario(outcome: Outcome, option: OptionResult, one: UnderScenario) -> dict[str, Any]:
    cell_m2, then = outcome.terrain.ground.cell_m**2, one.option
    was, is_now = option.verdicts, then.verdicts
    known = was != UNKNOWN
    changes = {
        "better_m2": known & (is_now > was),
        "worse_m2": known & (is_now < was),
        "newly_held_m2": (is_now == Verdict.BOTH) & (was != Verdict.BOTH),
        "no_longer_held_m2": (was == Verdict.BOTH) & (is_now != Verdict.BOTH),
    }
    return {
        "name": one.name,
        "protected_share": share(held_share(then)),
        "weighted_share": share(weighted_share(then)),
        "area_m2": {key: area(m2) for key, m2 in then.area_m2.items()},
        "protect": [{"name": part.name, "both_fraction": share(part.both_fraction)} for part in then.protect],
        **{key: area(np.count_nonzero(where) * cell_m2) for key, where in changes.items()},
    }


def _causes(layers: dict[str, dict[str, float]]) -> dict[str, dict[str, Any]]:
    return {layer: {cause: area(m2) for cause, m2 in causes.items()} for layer, causes in layers.items()}


def _detector(outcome: Outcome, option: OptionResult, number: int) -> dict[str, Any]:
    unit, facts = option.detectors[number], option.facts[number]
    return {
        "name": unit.name,
        "type": unit.type.name,
        "mount": unit.mount,
        **place(unit.x, unit.y, outcome.terrain.frame),
        "lonlat": _lonlat(outcome, unit),
        "ground_z": size(unit.ground_z),
        "height_m": unit.height_m,
        "allowed_height_m": list(unit.type.mount_height),
        "bearing_deg": unit.bearing_deg,
        "tilt_deg": unit.tilt_deg,
        "roll_deg": unit.roll_deg,
        "pan_deg": [unit.pan_of(head) for head in range(len(unit.type.head))],
        "head_bearing_deg": [size(bearing) for bearing in head_bearings(unit)],
        "range_m": unit.range_m,
        "max_range_m": unit.type.max_range,
        "fill": unit.fill_needed,
        "pulses": unit.pulses_needed,
        "is_inside_solid": facts.is_inside_solid,
        "solid_ahead_m": size(facts.solid_ahead_m),
        "across_unknown_m2": area(facts.across_unknown_m2),
        "off_known_m2": area(facts.off_known_m2),
        "off_known_share": share(facts.off_known_share),
        "sections": section_values(outcome, unit),
        "outlook": outlook_values(outcome, unit),
        **_set_by_itself(unit),
        **_watch(option, number),
    }


def _microwave(microwave: Microwave) -> dict[str, Any]:
    return {
        "arc_deg": microwave.arc,
        "elevation_deg": microwave.elevation,
        "thickness_deg": microwave.thickness,
        "range_m": microwave.range,
        "frequency_ghz": microwave.frequency_ghz,
        "needs": microwave.needs,
        "slowest_mps": microwave.slowest_mps,
    }


def _set_by_itself(unit: Detector) -> dict[str, Any]:
    """Keys that are there only where a unit is set so, or has what they tell of."""
    told: dict[str, Any] = {}
    if unit.sensitivity is not None:
        told["sensitivity"] = unit.sensitivity
    if unit.bracket:
        told["bracket"] = True
    if unit.type.microwave is not None:
        told["microwave"] = _microwave(unit.type.microwave)
    if unit.heads:
        told["heads"] = [_head(unit, head) for head in range(len(unit.heads))]
    return told


def _watch(option: OptionResult, number: int) -> dict[str, Any]:
    """What stands in a unit's watch against covering, where its type has one."""
    watch = option.detectors[number].type.anti_masking
    if watch is None:
        return {}
    things = [
        {
            "what": thing.kind,
            "name": thing.name or None,
            "distance_m": size(thing.distance_m),
            "scenarios": [{"name": name, "distance_m": size(m)} for name, m in thing.under],
        }
        for thing in option.covering(number)
    ]
    return {"watch": {"reach_m": watch.reach, "arc_deg": watch.arc, "things": things}}


def _head(unit: Detector, head: int) -> dict[str, Any]:
    own, kind = unit.heads[head], unit.type.head[head]
    fills = unit.fills_of(head) or (unit.fill_needed,) * len(kind.layer)
    sensitivity = own.sensitivity
    if sensitivity is None and own.fill is None and unit.sensitivity is not None:
        sensitivity = (unit.sensitivity,)
    return {
        "pan_deg": unit.pan_of(head),
        "range_m": unit.range_of(head),
        "sensitivity": None if sensitivity is None else list(sensitivity),
        "fill": {layer.name: fill for layer, fill in zip(kind.layer, fills, strict=True)},
        "pulses": unit.pulses_of(head),
        "masked": list(own.masked),
        "masked_deg": [list(arc) for arc in masked_arcs(kind, own)],
        "open_deg": [list(arc) for arc in unit.open_arcs(head)],
    }


def _lonlat(outcome: Outcome, unit: Detector) -> tuple[float, float] | None:
    """Where a unit stands, WGS 84 degrees: what a person can type into a receiver; None without a CRS."""
    frame = outcome.terrain.frame
    if not frame.is_georeferenced:
        return None
    lon, lat = frame.from_local(unit.x, unit.y, pyproj.CRS("EPSG:4326"))
    return round(float(lon), _LONLAT_DECIMALS), round(float(lat), _LONLAT_DECIMALS)


def _reason(reason: Reason) -> dict[str, Any]:
    return {
        "option": reason.option,
        "layer": reason.layer,
        "cause": reason.cause,
        "lost_m2": area(reason.lost_m2),
        "name": reason.name,
        "of_m2": area(reason.of_m2),
    }


def _plus_zero(value: Any) -> Any:
    """The same values with every negative zero a plain one."""
    if isinstance(value, dict):
        return {key: _plus_zero(below) for key, below in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plus_zero(below) for below in value]
    return value + 0.0 if isinstance(value, float) else value

"""Walks and fans of one option as plain values for `results.json`."""

import math
from typing import Any

from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.frame import Frame
from terrain3d.paper.pictured import verdict_key
from terrain3d.paper.results import figure_values, place
from terrain3d.paper.rounded import share, size
from terrain3d.sentences.walks import BORROWED, MODEL, fan_words, walk_words
from terrain3d.units import Floats
from terrain3d.walk.fans import NEAR_M, Fan, share_alarmed
from terrain3d.walk.microwave import SensedWalk
from terrain3d.walk.moments import MOMENTS, Moment, moments_of
from terrain3d.walk.option import OptionWalks
from terrain3d.walk.pulses import Alarm, Pulse, WalkResult
from terrain3d.walk.reach import Reached

#: Distances of the shares told for a fan, metres: to the unit, or walked across it.
SHARES_M = (1.0, 2.0, 3.0, 4.0, 6.0)


def walk_values(walks: OptionWalks, frame: Frame) -> dict[str, Any]:
    """All walks through one option; the same result gives the same values.

    Parameters
    ----------
    walks : OptionWalks
    frame : Frame
        Of the site: places are told as those of the units are, in its local metres.
    """
    return {
        "paths": [_walk(walk, frame) for walk in walks.walks],
        "fans": [_fan(fan) for fan in walks.fans],
        "borrowed_walk_tests": [
            {"test": one.test, "grade": one.grade, "status": one.status, "note": BORROWED, **_fan(one.fan)}
            for one in walks.indoor_tests
        ],
        "note": MODEL,
    }


def _walk(walk: WalkResult, frame: Frame) -> dict[str, Any]:
    return {
        "name": walk.name,
        "figure": figure_values(walk.figure),
        "body": {
            "breadth_m": walk.body.breadth_m,
            "length_m": walk.body.length_m,
            "source": walk.body.source,
        },
        "speed_mps": walk.speed_mps,
        "length_m": size(walk.length_m),
        "time_s": size(walk.time_s),
        "both_m": size(walk.both_m),
        "alarm": None if walk.alarm is None else _alarm(walk.alarm, frame),
        "protect": [_reached(area) for area in walk.reached],
        "pulses": [_pulse(pulse, frame) for pulse in walk.pulses],
        "moments": [_moment(moment, frame) for moment in moments_of(walk, MOMENTS)] if walk.length_m else [],
        **_microwave(walk),
        "words": walk_words(walk),
    }


def _microwave(walk: WalkResult) -> dict[str, Any]:
    """A key that is there only where a unit has a microwave."""
    if not walk.sensed:
        return {}
    return {
        "microwave": {
            "layers_alone_s": size(walk.layers_alone_s),
            "units": [_sensed(own) for own in walk.sensed],
        }
    }


def _sensed(own: SensedWalk) -> dict[str, Any]:
    lost = {cause: own.length_m(code) for code, cause in CAUSE_KEYS.items()}
    return {
        "unit": own.unit.name,
        "sensed_m": size(own.sensed_m),
        "lost_m": {cause: size(metres) for cause, metres in lost.items() if metres > 0},
        "fastest_mps": size(own.fastest_mps),
        "shift_hz": size(own.shift_hz),
    }


def _alarm(alarm: Alarm, frame: Frame) -> dict[str, Any]:
    return {
        **place(alarm.x, alarm.y, frame),
        "along_m": size(alarm.along_m),
        "time_s": size(alarm.time_s),
        "units": list(alarm.units),
    }


def _pulse(pulse: Pulse, frame: Frame) -> dict[str, Any]:
    return {
        **place(pulse.x, pulse.y, frame),
        "along_m": size(pulse.along_m),
        "time_s": size(pulse.time_s),
        "unit": pulse.unit,
        "head": pulse.head,
        "layer": pulse.layer,
        "zone": pulse.zone,
        "entered": pulse.entered,
    }


def _moment(moment: Moment, frame: Frame) -> dict[str, Any]:
    layers = sorted({pulse.layer for pulse in moment.pulses})
    return {
        **place(moment.x, moment.y, frame),
        "along_m": size(moment.along_m),
        "time_s": size(moment.time_s),
        "verdict": verdict_key(moment.code),
        "pulses": {layer: sum(pulse.layer == layer for pulse in moment.pulses) for layer in layers},
        "has_alarm": moment.has_alarm,
    }


def _reached(area: Reached) -> dict[str, Any]:
    return {
        "name": area.name,
        "enters_m": size(area.enters_m),
        "left_along_m": size(area.left_m),
        "left_straight_m": size(area.straight_m),
    }


def _fan(fan: Fan) -> dict[str, Any]:
    walks = [_fan_walk(fan, k) for k in range(len(fan.bearing_deg))]
    is_to = fan.kind == "to"
    return {
        "unit": fan.unit,
        "kind": "straight at the unit" if is_to else "across the unit",
        "figure": figure_values(fan.figure),
        "speed_mps": fan.speed_mps,
        "pulses": fan.pulses_needed,
        **({"pulses_by_head": list(fan.pulses_by_head)} if fan.pulses_by_head else {}),
        "walk_length_m": size(math.hypot(*(fan.lines[0, 1] - fan.lines[0, 0]))),
        "walk_count": len(walks),
        "alarm_count": int(fan.raised.sum()),
        "alarm_share": share(float(fan.raised.mean()) if walks else 0.0),
        "early_m": NEAR_M if is_to else None,
        "early_count": int(fan.early.sum()) if is_to else None,
        "weakest": None if fan.weakest is None else walks[fan.weakest],
        "share_alarmed": [
            {
                "from_unit_m": metres if is_to else None,
                "walked_m": None if is_to else metres,
                "share": share(share_alarmed(fan, metres)),
            }
            for metres in SHARES_M
        ],
        "walks": walks,
        "words": fan_words(fan),
    }


def _fan_walk(fan: Fan, k: int) -> dict[str, Any]:
    distance_m = size(fan.distance_m[k])
    return {
        "bearing_deg": size(fan.bearing_deg[k]),
        "starts_at_m": distance_m if fan.kind == "to" else None,
        "passes_at_m": distance_m if fan.kind == "across" else None,
        "walked_m": _known(fan.walked_m, k),
        "from_unit_m": _known(fan.left_m, k),
    }


def _known(values: Floats, k: int) -> float | None:
    return size(values[k]) if values[k] == values[k] else None

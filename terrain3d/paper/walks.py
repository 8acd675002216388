"""Walks and fans of one option as plain values for `results.json`."""

from typing import Any

from terrain3d.frame import Frame
from terrain3d.units import Floats
from terrain3d.walk.fans import Fan, share_alarmed
from terrain3d.walk.option import OptionWalks
from terrain3d.walk.pulses import Alarm, Pulse, WalkResult
from terrain3d.walk.reach import Reached

#: Distances of the shares told for a fan, metres: to the unit, or walked across it.
SHARES_M = (1.0, 2.0, 3.0, 4.0, 6.0)

BORROWED = "conditions borrowed from an indoor standard; nothing is said to comply"


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
            for one in walks.borrowed
        ],
        "note": "a model of the zones, not a measured probability",
    }


def _walk(walk: WalkResult, frame: Frame) -> dict[str, Any]:
    return {
        "name": walk.name,
        "figure": {
            "name": walk.figure.name,
            "height_m": walk.figure.height_m,
            "breadth_m": walk.body.breadth_m,
            "length_m": walk.body.length_m,
            "source": walk.body.source,
        },
        "speed_mps": walk.speed_mps,
        "length_m": round(walk.length_m, 4),
        "time_s": round(walk.time_s, 4),
        "both_m": round(walk.both_m, 4),
        "alarm": None if walk.alarm is None else _alarm(walk.alarm, frame),
        "protect": [_reached(area) for area in walk.reached],
        "pulses": [_pulse(pulse, frame) for pulse in walk.pulses],
        "words": walk.words,
    }


def _alarm(alarm: Alarm, frame: Frame) -> dict[str, Any]:
    return {
        **_place(alarm.x, alarm.y, frame),
        "along_m": round(alarm.along_m, 4),
        "time_s": round(alarm.time_s, 4),
        "units": list(alarm.units),
    }


def _pulse(pulse: Pulse, frame: Frame) -> dict[str, Any]:
    return {
        **_place(pulse.x, pulse.y, frame),
        "along_m": round(pulse.along_m, 4),
        "time_s": round(pulse.time_s, 4),
        "unit": pulse.unit,
        "head": pulse.head,
        "layer": pulse.layer,
        "zone": pulse.zone,
        "entered": pulse.entered,
    }


def _place(x: float, y: float, frame: Frame) -> dict[str, float]:
    east, north = frame.from_local(x, y, None)
    return {"x": round(float(east), 3), "y": round(float(north), 3)}


def _reached(area: Reached) -> dict[str, Any]:
    return {
        "name": area.name,
        "enters_m": _metres(area.enters_m),
        "left_along_m": _metres(area.left_m),
        "left_straight_m": _metres(area.straight_m),
    }


def _metres(value: float | None) -> float | None:
    # Adding zero keeps "-0.0" out.
    return None if value is None else round(value, 4) + 0.0


def _fan(fan: Fan) -> dict[str, Any]:
    return {
        "unit": fan.unit,
        "kind": "straight at the unit" if fan.kind == "to" else "across the unit",
        "figure": fan.figure.name,
        "speed_mps": fan.speed_mps,
        "pulses_needed": fan.pulses_needed,
        "walks": [
            {
                "bearing_deg": float(fan.bearing_deg[k]),
                "distance_m": round(float(fan.distance_m[k]), 4),
                "walked_m": _known(fan.walked_m, k),
                "from_unit_m": _known(fan.left_m, k),
            }
            for k in range(len(fan.bearing_deg))
        ],
        "share_alarmed": {f"{metres:g}": round(share_alarmed(fan, metres), 6) for metres in SHARES_M},
        "words": fan.words,
    }


def _known(values: Floats, k: int) -> float | None:
    return round(float(values[k]), 4) if values[k] == values[k] else None

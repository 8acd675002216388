"""Open routes as plain values for `results.json`."""

from typing import Any

import numpy as np

from terrain3d.frame import Frame
from terrain3d.units import Floats
from terrain3d.walk.found import ClearRoute, Crossing, WayIn, left_m
from terrain3d.walk.routes import OpenRoutes


def routes_values(routes: tuple[OpenRoutes, ...], frame: Frame) -> list[dict[str, Any]]:
    """The ways to each protected area under one option; the same routes give the same values.

    Parameters
    ----------
    routes : tuple of OpenRoutes
    frame : Frame
        Lines are told as units are: in the site's metres.
    """
    return [
        {
            "area": route.area,
            "start": route.start,
            "least_likely": route.least and _way_in(route.least, frame),
            "much_shorter": route.shorter and _way_in(route.shorter, frame),
            "least_likely_to_middle": route.inner and _way_in(route.inner, frame),
            "much_shorter_to_middle": route.inner_shorter and _way_in(route.inner_shorter, frame),
            "clear": route.clear and _clear(route.clear, frame),
            "least_held": route.crossing and _crossing(route.crossing, frame),
            "words": route.words,
        }
        for route in routes
    ]


def _way_in(way: WayIn, frame: Frame) -> dict[str, Any]:
    alarm = way.walked.alarm
    return {
        "start": way.start,
        "length_m": _m(way.length_m),
        "time_s": _m(way.time_s),
        "expected_pulses": round(way.pulses, 6),
        "alarm_chance": round(way.chance, 6),
        "alarm_as_set": alarm
        and {
            "at": _points(np.array([[alarm.x, alarm.y]]), frame)[0],
            "along_m": _m(alarm.along_m),
            "time_s": _m(alarm.time_s),
            "left_m": _m(left_m(way) or 0.0),
            "units": list(alarm.units),
        },
        "line": _points(way.line, frame),
    }


def _clear(clear: ClearRoute, frame: Frame) -> dict[str, Any]:
    return {
        "length_m": _m(clear.length_m),
        "berth_m": None if clear.berth_m is None else _m(clear.berth_m),
        "into_m": _m(clear.into_m),
        "line": _points(clear.line, frame),
        "shortest_m": _m(clear.shortest_m),
        "shortest": _points(clear.shortest, frame),
    }


def _crossing(crossing: Crossing, frame: Frame) -> dict[str, Any]:
    return {
        "length_m": _m(crossing.length_m),
        "held_m": _m(crossing.held_m),
        "first_held": _points(np.array([crossing.first_held]), frame)[0],
        "unseen_to_m": _m(crossing.unseen_to_m),
        "line": _points(crossing.line, frame),
    }


def _m(value: float) -> float:
    return round(value, 3)


def _points(line: Floats, frame: Frame) -> list[list[float]]:
    x, y = frame.from_local(line[:, 0], line[:, 1], None)
    return [[round(float(a), 4), round(float(b), 4)] for a, b in zip(x, y, strict=True)]

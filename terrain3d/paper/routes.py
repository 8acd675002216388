"""Open routes as plain values for `results.json`."""

from typing import Any

from terrain3d.frame import Frame
from terrain3d.paper.results import figure_values, place
from terrain3d.paper.rounded import share, size
from terrain3d.sentences.routes import routes_words, start_words
from terrain3d.units import Floats
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import ClearRoute, Crossing, WayIn


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
            "start": start_words(route.start),
            "least_likely": route.least and _way_in(route.least, frame),
            "much_shorter": route.shorter and _way_in(route.shorter, frame),
            "least_likely_to_middle": route.inner and _way_in(route.inner, frame),
            "much_shorter_to_middle": route.inner_shorter and _way_in(route.inner_shorter, frame),
            "clear": route.clear and _clear(route.clear, frame),
            "least_held": route.crossing and _crossing(route.crossing, frame),
            "words": routes_words(route),
        }
        for route in routes
    ]


def _way_in(way: WayIn, frame: Frame) -> dict[str, Any]:
    alarm = way.walked.alarm
    return {
        "start": start_words(way.start),
        "figure": figure_values(way.walked.figure),
        "speed_mps": way.walked.speed_mps,
        "length_m": size(way.length_m),
        "time_s": size(way.time_s),
        "expected_pulses": share(way.pulses),
        "alarm_chance": share(way.chance),
        "alarm_as_set": alarm
        and {
            **place(alarm.x, alarm.y, frame),
            "along_m": size(alarm.along_m),
            "time_s": size(alarm.time_s),
            "left_m": size(way.left_m or 0.0),
            "units": list(alarm.units),
        },
        "line": _points(way.line, frame),
    }


def _clear(clear: ClearRoute, frame: Frame) -> dict[str, Any]:
    return {
        "length_m": size(clear.length_m),
        "berth_m": size(clear.berth_m),
        "into_m": size(clear.into_m),
        "line": _points(clear.line, frame),
        "shortest": {"length_m": size(clear.shortest_m), "line": _points(clear.shortest, frame)},
    }


def _crossing(crossing: Crossing, frame: Frame) -> dict[str, Any]:
    return {
        "length_m": size(crossing.length_m),
        "held_m": size(crossing.held_m),
        "first_held": place(*crossing.first_held, frame),
        "unseen_to_m": size(crossing.unseen_to_m),
        "line": _points(crossing.line, frame),
    }


def _points(line: Floats, frame: Frame) -> list[list[float]]:
    x, y = frame.from_local(line[:, 0], line[:, 1], None)
    return [[round(float(a), 4), round(float(b), 4)] for a, b in zip(x, y, strict=True)]

"""The ways in as lines of a scene, a little over the ground, and pins where the alarm is raised."""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pyvista as pv

from terrain3d import palette
from terrain3d.show.legend import (
    ALARM,
    CLEAR,
    LEAST_HELD,
    LEAST_LIKELY,
    LEAST_LIKELY_INSIDE,
    MUCH_SHORTER,
    Sign,
)
from terrain3d.show.parts import Part, Tag, drawn_line
from terrain3d.show.scene import Scene
from terrain3d.show.shapes import filled_heights
from terrain3d.terrain import Ground
from terrain3d.units import Floats
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import WayIn

#: Lines whose corners lie within this of each other are one to a reader, metres.
SAME_M = 0.5
#: Height of the pin over an alarm point, and the size of its head, metres.
_PIN_M, _HEAD_M = 1.0, 0.28


@dataclass(frozen=True, eq=False)
class Drawn:
    """One line of the page: its letter, what it is, and how it is drawn."""

    letter: str
    title: str
    line: Floats
    sign: Sign
    alarm: tuple[float, float] | None = None


def drawn_routes(route: OpenRoutes) -> list[Drawn]:
    """The lines of a page; none where nobody can walk there.

    A leads to the edge and B to the middle, least likely to raise the alarm; C is the clear route or the
    least held one; D and E lead to the edge and to the middle by much shorter ways.
    """
    least, inner = route.least, route.inner
    if least is None or inner is None:
        return []
    drawn = [Drawn("A", "to its edge, least likely", least.line, LEAST_LIKELY, _alarm(least))]
    if not same_line(inner.line, least.line):
        drawn.append(
            Drawn("B", "to its middle, least likely", inner.line, LEAST_LIKELY_INSIDE, _alarm(inner))
        )
    if route.clear is not None and not same_line(route.clear.line, least.line):
        drawn.append(Drawn("C", "clear, farthest off", route.clear.line, CLEAR))
    if route.crossing is not None:
        drawn.append(Drawn("C", "over the least held ground", route.crossing.line, LEAST_HELD))
    shorter, within = route.shorter, route.inner_shorter
    if shorter is not None:
        drawn.append(Drawn("D", "to its edge, much shorter", shorter.line, MUCH_SHORTER, _alarm(shorter)))
    if within is not None and (shorter is None or not same_line(within.line, shorter.line)):
        drawn.append(Drawn("E", "to its middle, much shorter", within.line, MUCH_SHORTER, _alarm(within)))
    return drawn


def route_scene(ground: Ground, route: OpenRoutes) -> Scene:
    """The ways in to one protected area, to be put together with the scene of an option.

    Parameters
    ----------
    ground : Ground
    route : OpenRoutes
        Empty where nobody can walk there.
    """
    if route.least is None:
        return Scene((), ())
    heights = filled_heights(ground)
    surface = Ground(ground.x0, ground.y0, ground.cell_m, heights)
    parts: list[Part] = []
    tags: list[Tag] = []

    def foot(x: float, y: float) -> tuple[float, float, float]:
        return x, y, float(surface.height_at([x], [y])[0])

    drawn = drawn_routes(route)
    for one in drawn:
        if len(one.line) > 1:
            parts += drawn_line(ground, heights, one.line, one.sign)
    for start, letters in starts_of(drawn):
        tags.append(Tag(", ".join(letters), foot(float(start[0]), float(start[1])), "unit"))
    pins = alarm_scene(surface, [one.alarm for one in drawn if one.alarm is not None])
    return Scene((*parts, *pins.parts), (*tags, *pins.tags))


def alarm_scene(ground: Ground, spots: list[tuple[float, float]]) -> Scene:
    """Pins where alarms are raised, with bright heads; none off the known ground."""
    parts: list[Part] = []
    tags: list[Tag] = []
    for x, y in apart(spots):
        z = float(ground.height_at([x], [y])[0])
        if math.isfinite(z):
            shaft: Any = pv.Cylinder(
                center=(x, y, z + _PIN_M / 2), direction=(0, 0, 1), radius=0.04, height=_PIN_M
            )
            head: Any = pv.Sphere(radius=_HEAD_M, center=(x, y, z + _PIN_M))
            parts += [Part("marks", shaft, palette.INK), Part("marks", head, ALARM.mark.fill)]
            tags.append(Tag("alarm", (x, y, z + _PIN_M + _HEAD_M), "figure"))
    return Scene(tuple(parts), tuple(tags))


def apart(spots: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Of spots that lie within half a metre the first alone: two pins there would be one to the eye.

    >>> apart([(0.0, 0.0), (0.3, 0.0), (2.0, 0.0)])
    [(0.0, 0.0), (2.0, 0.0)]
    """
    kept: list[tuple[float, float]] = []
    for x, y in spots:
        if all(math.hypot(x - a, y - b) > 0.5 for a, b in kept):
            kept.append((x, y))
    return kept


def same_line(a: Floats, b: Floats) -> bool:
    """Whether two lines are one to a reader.

    >>> same_line(np.array([[0.0, 0.0], [5.0, 0.0]]), np.array([[0.0, 0.2], [2.0, 0.1], [5.0, 0.0]]))
    True
    """
    fine = [fine_line(line) for line in (a, b)]
    apart = np.hypot(*(fine[0][:, None] - fine[1][None]).transpose(2, 0, 1))
    return bool(max(apart.min(axis=0).max(), apart.min(axis=1).max()) <= SAME_M)


def fine_line(line: Floats) -> Floats:
    """A line with a point every quarter of a metre at least, (n, 2) float."""
    pieces = [line[:1]]
    for a, b in pairwise(line):
        count = max(int(np.ceil(np.hypot(*(b - a)) / 0.25)), 1)
        pieces.append(a + np.arange(1, count + 1)[:, None] / count * (b - a))
    return np.vstack(pieces)


def starts_of(drawn: list[Drawn]) -> list[tuple[Floats, str]]:
    """Where the lines start, with the letters of those that start there together."""
    starts: list[tuple[Floats, str]] = []
    for one in drawn:
        for k, (start, letters) in enumerate(starts):
            if np.hypot(*(start - one.line[0])) <= 2 * SAME_M:
                starts[k] = (start, letters + one.letter)
                break
        else:
            starts.append((one.line[0], one.letter))
    return starts


def _alarm(least: WayIn) -> tuple[float, float] | None:
    alarm = least.walked.alarm
    return None if alarm is None else (alarm.x, alarm.y)

"""How far a walk still has to protected ground: along its path, and straight across."""

import itertools
from dataclasses import dataclass

import numpy as np
import shapely

from terrain3d.terrain import Area
from terrain3d.units import Floats


@dataclass(frozen=True)
class Reached:
    """One protected area and a walk.

    Parameters
    ----------
    name : str
    weight : float
    enters_m : float or None
        Distance along the path at which it first enters; None when it never does.
    left_m : float or None
        From the alarm on along the path until it enters: negative when the alarm comes that far after;
        None without an alarm, or when the path never enters.
    straight_m : float or None
        From the alarm point straight to the area, 0 within it; None without an alarm.
    """

    name: str
    weight: float
    enters_m: float | None
    left_m: float | None
    straight_m: float | None


def reached(area: Area, line: Floats, alarm_m: float | None, alarm_xy: tuple[float, float] | None) -> Reached:
    """Where a walk enters an area, and how far it has to go when the alarm is raised.

    >>> yard = Area("yard", np.array([[0.0, 6.0], [4.0, 6.0], [4.0, 9.0], [0.0, 9.0]]))
    >>> path = np.array([[1.0, 0.0], [1.0, 10.0]])
    >>> reached(yard, path, 2.0, (1.0, 2.0))
    Reached(name='yard', weight=1.0, enters_m=6.0, left_m=4.0, straight_m=4.0)
    """
    outline = shapely.Polygon(area.outline)
    enters = enters_at(area, line)
    left = None if enters is None or alarm_m is None else enters - alarm_m
    straight = None if alarm_xy is None else float(outline.distance(shapely.Point(alarm_xy)))
    return Reached(area.name, area.weight, enters, left, straight)


def enters_at(area: Area, line: Floats) -> float | None:
    """Distance along a line at which it first meets an area; None when it never does."""
    outline = shapely.Polygon(area.outline)
    walked = 0.0
    for a, b in itertools.pairwise(np.asarray(line, float)):
        shared = shapely.intersection(outline, shapely.LineString([a, b]))
        if not shared.is_empty:
            corners = shapely.get_coordinates(shared)
            return walked + float(np.hypot(*(corners - a).T).min())
        walked += float(np.hypot(*(b - a)))
    return None


def headline(areas: tuple[Reached, ...]) -> Reached | None:
    """The protected area that a walk is about: the weightiest it enters, else the nearest to the alarm.

    Of equal weights the one that is entered first.
    """
    entered = [area for area in areas if area.enters_m is not None]
    if entered:
        return min(entered, key=lambda area: (-area.weight, area.enters_m))
    near = [area for area in areas if area.straight_m is not None]
    return min(near, key=lambda area: area.straight_m or 0.0) if near else None

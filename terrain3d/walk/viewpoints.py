"""Where somebody stands and looks at a unit: on walks, in ways in, at marks; and what he sees of it."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from terrain3d.detector.figures import Figure, find_figure
from terrain3d.detector.pose import Detector
from terrain3d.sight.hits import Hit, first_hits
from terrain3d.sight.picture import light_along
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.track import line_length_m, spots_at

#: Height of the eye over the ground as a share of the figure's (standing eye height by stature, from memory).
EYE_SHARE = 0.93
#: What is met this little before a unit is what it is fixed to, metres.
_AT_THE_UNIT_M = 0.05


@dataclass(frozen=True)
class Viewpoint:
    """A place that somebody looks from: `where` is "start", "middle" or "end" of what is named, or "".

    `eye` is in local metres, as high over the ground as the eye of who stands there.
    """

    name: str
    where: str
    eye: tuple[float, float, float]


@dataclass(frozen=True)
class SeenUnit:
    """What is seen of a unit from a viewpoint.

    Parameters
    ----------
    unit : str
    distance_m : float
        Slant, from eye to unit.
    bearing_deg, elevation_deg : float
        Of the line to it: clockwise from north, and above level.
    met : Hit
        What hides it; NOTHING where it is in sight.
    solid : int
        Which solid that is, an index of `Solids.names`; -1 for none.
    through : float
        Share of sight that leaves let through on the way, as far as it goes.
    """

    unit: str
    distance_m: float
    bearing_deg: float
    elevation_deg: float
    met: Hit
    solid: int
    through: float

    @property
    def is_in_sight(self) -> bool:
        return self.met == Hit.NOTHING


def viewpoints(terrain: Terrain, figure: Figure, own: Iterable[Figure] = ()) -> list[tuple[Viewpoint, ...]]:
    """Where people look from, in groups: of each walk its start, middle and end; then ways in and marks.

    Parameters
    ----------
    terrain : Terrain
    figure : Figure
        The site's: who stands at marks and in ways in, and walks where a walk names nobody else.
    own : iterable of Figure
        The site's own figures.

    Returns
    -------
    list of tuple of Viewpoint
        Places off the known ground are left out, and groups of none.
    """
    groups = []
    known = tuple(own)
    for walk in terrain.walks:
        who = figure if walk.figure is None else find_figure(walk.figure, known)
        groups.append(_on_line(terrain, walk.name, walk.line, {"start": 0.0, "middle": 0.5, "end": 1.0}, who))
    ways = [
        point
        for way in terrain.approaches
        for point in _on_line(terrain, way.name, way.line, {"middle": 0.5}, figure)
    ]
    marks = [_at(terrain, mark.name, "", mark.x, mark.y, figure) for mark in terrain.marks]
    return [tuple(group) for group in (*groups, ways, [mark for mark in marks if mark is not None]) if group]


def _on_line(
    terrain: Terrain, name: str, line: Floats, shares: dict[str, float], figure: Figure
) -> list[Viewpoint]:
    length = line_length_m(line)
    if length == 0.0:
        shares = {"": 0.0}
    found = []
    for where, share in shares.items():
        x, y = line[0] if length == 0.0 else (float(v[0]) for v in spots_at(line, np.array([share * length])))
        point = _at(terrain, name, where, float(x), float(y), figure)
        if point is not None:
            found.append(point)
    return found


def _at(terrain: Terrain, name: str, where: str, x: float, y: float, figure: Figure) -> Viewpoint | None:
    z = float(terrain.ground.height_at(x, y))
    return Viewpoint(name, where, (x, y, z + EYE_SHARE * figure.height_m)) if math.isfinite(z) else None


def seen_unit(terrain: Terrain, point: Viewpoint, unit: Detector) -> SeenUnit:
    """Look from a viewpoint at a unit.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> land = terrain_from_heights(np.zeros((41, 41)), cell_m=0.5)
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 3.0, 0, 0, 1.58, 0.0)
    >>> seen = seen_unit(land, Viewpoint("gate", "", (-3.0, 0.0, 1.58)), unit)
    >>> seen.distance_m, seen.bearing_deg, seen.elevation_deg, seen.is_in_sight
    (6.0, 90.0, 0.0, True)
    """
    away = np.subtract(unit.eye, point.eye)
    flat, slant = float(np.hypot(away[0], away[1])), float(np.linalg.norm(away))
    towards = math.degrees(math.atan2(away[0], away[1])) % 360
    up = math.degrees(math.atan2(away[2], flat))
    if slant == 0.0:
        return SeenUnit(unit.name, 0.0, towards, up, Hit.NOTHING, -1, 1.0)
    hits = first_hits(terrain, point.eye, away[None], slant + 1.0)
    met_m = float(hits.distance[0])
    is_hidden = met_m < slant - _AT_THE_UNIT_M
    seen_m = flat * (met_m / slant if is_hidden else 1.0)
    through = 1.0
    if flat > 0.0:
        slope = np.array([away[2] / flat])
        through = float(light_along(terrain, point.eye, towards, slope, np.array([seen_m]))[0, 0])
    met, solid = (Hit(int(hits.what[0])), int(hits.solid[0])) if is_hidden else (Hit.NOTHING, -1)
    return SeenUnit(unit.name, slant, towards, up, met, solid, through)

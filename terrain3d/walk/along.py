"""A drawn line laid out straight: its ground, its verdicts, what stands on it, and the layers over it."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.profile import (
    FINE_M,
    CutSolid,
    Run,
    band_slopes,
    bridged_at,
    cut_solids,
    joined_runs,
    runs_of,
)
from terrain3d.cover.sighted import sighted_over
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict, combined
from terrain3d.detector.pose import Detector, PosedHead, PosedLayer, in_head, is_open, posed_heads
from terrain3d.sight.hits import first_hits
from terrain3d.sight.picture import light_along
from terrain3d.terrain import Solids, Terrain
from terrain3d.units import Floats
from terrain3d.walk.track import line_length_m, spots_at

#: Places along a line, at most.
_MOST_PLACES = 800
#: Lines of sight from a layer's lower edge to its upper one.
_BAND = 17
#: A line of sight that ends this little before a place gets there, metres.
_HAIR_M = 1e-6


@dataclass(frozen=True, eq=False)
class LayerOver:
    """One layer of a unit's head where it passes over the places of a line.

    Parameters
    ----------
    unit, layer : str
    z : (k, n) float
        Heights of its lines of sight over each place, from its lower edge to its upper one; NaN where the
        place is outside the head's arc or past the layer's range.
    light : (k, n) float
        Share of each that gets there: 0 where ground or a solid is met before, less than 1 behind leaves.
    """

    unit: str
    layer: str
    z: Floats
    light: Floats

    def over(self, place: int, ground_z: float) -> tuple[float, float] | None:
        """From and to which height over the ground it passes at a place, metres; None where it does not."""
        there = self.light[:, place] > 0
        if not there.any():
            return None
        heights = self.z[there, place] - ground_z
        return max(float(heights.min()), 0.0), float(heights.max())


@dataclass(frozen=True, eq=False)
class LineProfile:
    """All that a section along a drawn line shows.

    Parameters
    ----------
    name : str
    line : (m, 2) float
        Local metres.
    along : (n,) float
        Distances along it, evenly spaced, each in the middle of its step.
    ground : (n,) float
        Height of the ground; NaN where not known.
    bridged : (n,) bool
        True where that height bridges a gap of the survey.
    codes : (n,) uint8
        Verdict of the option, `UNKNOWN` where no ground is known.
    layers : tuple of LayerOver
    solids : tuple of CutSolid
    """

    name: str
    line: Floats
    along: Floats
    ground: Floats
    bridged: NDArray[np.bool_]
    codes: Codes
    layers: tuple[LayerOver, ...]
    solids: tuple[CutSolid, ...]

    @property
    def length_m(self) -> float:
        return line_length_m(self.line)

    @property
    def corners_m(self) -> Floats:
        """(m - 2,) distances at which it turns."""
        return np.asarray(np.cumsum(np.hypot(*np.diff(self.line, axis=0).T))[:-1])

    def places(self, along: Floats) -> tuple[Floats, Floats]:
        """Eastings and northings of points of the line; past its ends those of the ends."""
        return spots_at(self.line, np.clip(along, 0.0, self.length_m))

    def runs(self) -> list[Run]:
        """The line from end to end, cut where the verdict changes; short stretches go to their neighbours."""
        return joined_runs(runs_of(self.along, self.codes), np.zeros(0), float(self.along[1] - self.along[0]))


def verdicts_along(
    terrain: Terrain,
    units: tuple[Detector, ...],
    combine: str,
    x: Floats,
    y: Floats,
    figure_height_m: float,
) -> Codes:
    """(n,) verdict of an option at some places, exactly there and not cell by cell."""
    known = np.isfinite(terrain.ground.height_at(x, y))
    maps = []
    for unit in units:
        sighted = sighted_over(terrain, unit, x, y)
        codes = np.where(known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
        codes[sighted.seen.cells] = sighted.codes(figure_height_m)
        maps.append(codes)
    return combined(maps, combine)


def profile_along(
    terrain: Terrain,
    units: tuple[Detector, ...],
    combine: str,
    name: str,
    line: Floats,
    figure_height_m: float,
) -> LineProfile:
    """Cut the site along a drawn line.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
        Of an option.
    combine : {"any", "all"}
    name : str
        Of the line.
    line : (m, 2) float
        Local metres; of some length.
    figure_height_m : float

    Examples
    --------
    On the level a unit 1 m up looks north; 6 m off its axis of the upper layer still passes 1 m up:

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> land = terrain_from_heights(np.zeros((161, 161)), cell_m=0.25)
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> told = profile_along(land, (unit,), "any", "path", np.array([[-1.0, 6.0], [1.0, 6.0]]), 1.7)
    >>> upper = next(layer for layer in told.layers if layer.layer == "upper")
    >>> round(float(upper.z[len(upper.z) // 2, len(told.along) // 2]), 3)
    1.0
    """
    length = line_length_m(line)
    n = max(2, math.ceil(length / max(FINE_M, length / _MOST_PLACES)))
    along = (np.arange(n) + 0.5) * length / n
    x, y = spots_at(line, along)
    layers = [layer for unit in units for layer in layers_over(terrain, unit, x, y)]
    return LineProfile(
        name,
        np.asarray(line, float),
        along,
        terrain.ground.height_at(x, y),
        bridged_at(terrain.ground, x, y),
        verdicts_along(terrain, units, combine, x, y, figure_height_m),
        tuple(one for one in layers if (one.light > 0).any()),
        _cut_along(terrain.solids, line),
    )


def layers_over(terrain: Terrain, unit: Detector, x: Floats, y: Floats) -> tuple[LayerOver, ...]:
    """Each layer of a unit's heads over some places, local metres."""
    return tuple(
        _over(terrain, unit, head, layer, x, y) for head in posed_heads(unit) for layer in head.layers
    )


def _over(
    terrain: Terrain, unit: Detector, head: PosedHead, layer: PosedLayer, x: Floats, y: Floats
) -> LayerOver:
    """A layer over some places: each line of its band followed to where it passes over them."""
    dx, dy = x - unit.x, y - unit.y
    far, towards = np.hypot(dx, dy), np.degrees(np.arctan2(dx, dy))
    z, light = np.full((_BAND, len(x)), np.nan), np.zeros((_BAND, len(x)))
    slopes, is_over = np.zeros((_BAND, len(x))), np.zeros(len(x), bool)
    for k in np.flatnonzero((far > _HAIR_M) & (far <= unit.type.max_range)):
        low, axis, high = band_slopes(head, layer, float(towards[k]))
        azimuth, _ = in_head(head, [[dx[k] / far[k], dy[k] / far[k], axis]])
        is_over[k] = is_open(head, azimuth, 1e-9)[0]
        lower, upper = np.linspace(low, axis, _BAND // 2 + 1), np.linspace(axis, high, _BAND // 2 + 1)
        slopes[:, k] = np.concatenate([lower, upper[1:]])
    slant = far * np.sqrt(1 + slopes**2)
    # The range is judged on the layer's axis, as everywhere.
    within = np.tile(is_over & (slant[_BAND // 2] <= unit.type.max_range * (1 + 1e-9)), (_BAND, 1))
    z[within] = (unit.eye[2] + slopes * far)[within]
    if within.any():
        rows, columns = np.nonzero(within)
        rays = np.column_stack([dx[columns], dy[columns], (slopes * far)[within]])
        met = first_hits(terrain, unit.eye, rays, float(slant[within].max()) + 1.0).distance
        arrives = met >= slant[within] - _HAIR_M
        light[rows[arrives], columns[arrives]] = 1.0
    for k in np.flatnonzero(light.any(axis=0)):
        light[:, k] *= light_along(terrain, unit.eye, float(towards[k]), slopes[:, k], far[k : k + 1])[:, 0]
    return LayerOver(unit.name, layer.name, z, light)


def _cut_along(solids: Solids, line: Floats) -> tuple[CutSolid, ...]:
    """What stands on a line, piece by piece of it, by distance along it."""
    found: dict[tuple[str, bool], list[Floats]] = {}
    start_m = 0.0
    for a, b in pairwise(line):
        length = float(np.hypot(*(b - a)))
        if length == 0.0:
            continue
        towards = math.degrees(math.atan2(b[0] - a[0], b[1] - a[1]))
        for solid in cut_solids(solids, (float(a[0]), float(a[1])), towards, np.array([0.0, length])):
            for piece in solid.pieces:
                found.setdefault((solid.name, solid.is_surveyed), []).extend(
                    np.add(part, (start_m, 0.0)) for part in _within(piece, length)
                )
        start_m += length
    return tuple(
        CutSolid(name, tuple(pieces), surveyed) for (name, surveyed), pieces in found.items() if pieces
    )


def _within(piece: Floats, length_m: float) -> list[Floats]:
    """What of a cut piece, an outline or a line, lies between the ends of a straight stretch."""
    low, high = float(piece[:, 1].min()) - 1, float(piece[:, 1].max()) + 1
    box = shapely.box(0.0, low, length_m, high)
    if len(piece) < 4:
        parts = shapely.get_parts(shapely.intersection(shapely.LineString(piece), box))
        return [np.asarray(one.coords) for one in parts if one.geom_type == "LineString" and not one.is_empty]
    parts = shapely.get_parts(shapely.intersection(shapely.Polygon(piece).buffer(0), box))
    # Of what lies off the stretch there is a part still, an empty one.
    polygons = [one for one in parts if one.geom_type == "Polygon" and not one.is_empty]
    return [np.asarray(one.exterior.coords) for one in polygons]

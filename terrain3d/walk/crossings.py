"""Zones entered and left along walks: where a side of a figure crosses the edge of a zone.

A figure stands upright before the unit, as wide as it is seen. It is in a zone while any of its width
is. Its right side crossing an edge enters or leaves the zone to the right of that edge, its left side the
zone to the left; either is a pulse if the layers that the alarm rule needs are broken at that side of
the figure. That a pulse comes of a zone entered and of a zone left is common practice, no source.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.sighted import sighted_over
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.bodies import Body, seen_width_m
from terrain3d.walk.track import Track
from terrain3d.walk.zones import ZonedLayer, heads_hold, layer_azimuth_deg, zoned_layers

#: Halvings of a step in search of a crossing: 0.05 m to under a nanometre.
_HALVINGS = 26
#: How far inside its zone a crossing is judged, degrees: an arc's very end may fall to either side.
_INSIDE_DEG = 1e-5
#: Left and right of a figure.
_SIDES = (-1, 1)


@dataclass(frozen=True, eq=False)
class Crossings:
    """Edges crossed, in the order of their walks and of the distance along each.

    Parameters
    ----------
    walk : (n,) int64
    along_m : (n,) float
    x, y : (n,) float
        The middle of the figure, local metres.
    side_x, side_y : (n,) float
        The side that crosses, a hair inside the zone.
    layer : (n,) int64
        Index into `zoned_layers`.
    zone : (n,) int64
        Counted from the left, from 0.
    entered : (n,) bool
        False where the zone is left.
    """

    walk: NDArray[np.int64]
    along_m: Floats
    x: Floats
    y: Floats
    side_x: Floats
    side_y: Floats
    layer: NDArray[np.int64]
    zone: NDArray[np.int64]
    entered: NDArray[np.bool_]

    def those(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> "Crossings":
        """Some of them, in the order of `rows`."""
        return Crossings(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def pulses_of(terrain: Terrain, unit: Detector, figure_height_m: float, body: Body, way: Track) -> Crossings:
    """The crossings along walks that are pulses of a unit: its layers are broken there together."""
    crossed = zone_crossings(unit, body, way)
    if not len(crossed.along_m):
        return crossed
    sighted = sighted_over(terrain, unit, crossed.side_x, crossed.side_y)
    seen, broken = sighted.seen, sighted.broken(figure_height_m)
    holds = heads_hold(unit, broken)
    owner = np.array([layer.head for layer in zoned_layers(unit)])
    own = crossed.layer[seen.cells]
    spot = np.arange(len(seen.cells))
    counts = np.zeros(len(crossed.along_m), bool)
    counts[seen.cells] = broken[own, spot] & holds[owner[own], spot]
    return crossed.those(counts)


def zone_crossings(unit: Detector, body: Body, way: Track) -> Crossings:
    """Every edge that a side of a figure crosses, whether any layer is broken there or not.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.walk.track import track
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> way = track([np.array([[-20.0, 6.0], [20.0, 6.0]])])
    >>> crossed = zone_crossings(unit, Body(0.5, 0.5, "invented"), way)
    >>> upper = crossed.those(crossed.layer == 0)
    >>> len(upper.zone), int(upper.entered.sum())           # nine zones, entered and left
    (18, 9)
    """
    layers = zoned_layers(unit)
    bearings = {side: _side_bearing(unit, body, way.x, way.y, way.facing_deg, side)[:2] for side in _SIDES}
    found = [_crossed(layers, k, way, side, *bearings[side]) for k in range(len(layers)) for side in _SIDES]
    every = _within(unit, layers, body, way, _Steps(*map(np.concatenate, zip(*found, strict=True))))
    # Whoever stands over the foot of the mount is at every bearing at once.
    clear = np.hypot(every.x - unit.x, every.y - unit.y) > max(body.breadth_m, body.length_m) / 2
    order = np.lexsort((every.layer, every.along_m, every.walk))
    return every.those(order[clear[order]])


class _Steps(NamedTuple):
    """Steps of walks in which an edge is crossed, layer by layer."""

    #: Index into the points of the walks.
    i: NDArray[np.int64]
    layer: NDArray[np.int64]
    #: -1 left, 1 right.
    side: NDArray[np.int64]
    zone: NDArray[np.int64]
    edge_deg: Floats
    #: Whether the side comes to lie clockwise of the edge.
    is_rising: NDArray[np.bool_]


def _crossed(
    layers: tuple[ZonedLayer, ...], k: int, way: Track, side: int, east: Floats, north: Floats
) -> _Steps:
    """Steps in which a side of the figure, seen at these bearings, crosses edges of a layer."""
    # The right side is at home in the zone to the right of each edge but the last, the left likewise.
    edges = layers[k].edges_deg[:-1] if side > 0 else layers[k].edges_deg[1:]
    past = _past(layer_azimuth_deg(layers[k], east, north), edges[:, None])
    before, after = past[:, :-1], past[:, 1:]
    same_walk = way.walk[:-1] == way.walk[1:]
    # A jump of half a turn is the seam behind the head, not a crossing.
    crossed = ((before < 0) != (after < 0)) & (np.abs(after - before) < 180.0) & same_walk
    e, i = np.nonzero(crossed)
    return _Steps(i, np.full(len(i), k), np.full(len(i), side), e, edges[e], before[e, i] < 0)


def _within(
    unit: Detector, layers: tuple[ZonedLayer, ...], body: Body, way: Track, steps: _Steps
) -> Crossings:
    """Where within their steps the edges are crossed: of all layers and sides at once, for each has few."""
    i, side, rising = steps.i, steps.side, steps.is_rising
    ends = np.searchsorted(steps.layer, np.arange(len(layers) + 1))
    parts = [slice(*pair) for pair in pairwise(ends.tolist())]
    azimuth = np.empty(len(i))
    low, high = np.zeros(len(i)), np.ones(len(i))
    step_x, step_y = way.x[i + 1] - way.x[i], way.y[i + 1] - way.y[i]
    for _ in range(_HALVINGS if len(i) else 0):
        middle = (low + high) / 2
        x, y = way.x[i] + middle * step_x, way.y[i] + middle * step_y
        east, north, _far = _side_bearing(unit, body, x, y, way.facing_deg[i], side)
        for layer, part in zip(layers, parts, strict=True):
            azimuth[part] = layer_azimuth_deg(layer, east[part], north[part])
        is_past = (_past(azimuth, steps.edge_deg) < 0) != rising
        low, high = np.where(is_past, low, middle), np.where(is_past, middle, high)
    x, y = way.x[i] + high * step_x, way.y[i] + high * step_y
    entered = rising == (side > 0)
    # Turning on the spot is no step: the figure faces as it does while it is in the zone.
    facing = np.where(entered, way.facing_deg[i + 1], way.facing_deg[i])
    east, north, far = _side_bearing(unit, body, x, y, facing, side)
    along = way.along_m[i] + high * (way.along_m[i + 1] - way.along_m[i])
    # Along a bearing that turns clockwise the zone to the right lies ahead.
    hair = np.radians(side * _INSIDE_DEG)
    side_x = unit.x + far * (east + hair * north)
    side_y = unit.y + far * (north - hair * east)
    return Crossings(way.walk[i], along, x, y, side_x, side_y, steps.layer, steps.zone, entered)


def _side_bearing(
    unit: Detector, body: Body, x: Floats, y: Floats, facing_deg: Floats, side: int | NDArray[np.int64]
) -> tuple[Floats, Floats, Floats]:
    """Unit bearing (east, north) of a side of the figure, and its plan distance from the unit."""
    dx, dy = x - unit.x, y - unit.y
    half = seen_width_m(body, facing_deg - np.degrees(np.arctan2(dx, dy))) / 2
    d = np.hypot(dx, dy)
    # At the unit itself the figure is taken to stand a hair before it.
    ux, uy = (
        np.where(d > 0, dx / np.maximum(d, 1e-300), 0.0),
        np.where(d > 0, dy / np.maximum(d, 1e-300), 1.0),
    )
    side_x, side_y = dx + side * half * uy, dy - side * half * ux
    far = np.hypot(side_x, side_y)
    return side_x / far, side_y / far, far


def _past(azimuth_deg: Floats, edges_deg: Floats) -> Floats:
    """Degrees past each edge, clockwise, in [-180, 180)."""
    return (azimuth_deg - edges_deg + 180.0) % 360.0 - 180.0

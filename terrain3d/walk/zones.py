"""The zones of a layer: its fingers across the head's arc, and where their edges lie.

A type says how many zones a layer has and nothing of gaps between them, so the arc is cut into that
many zones of one width, side by side: `zones` + 1 edges, the outermost two at the arc's ends. With gaps
as wide as the fingers a small figure that crosses the arc would enter and leave as many zones; only the
places would shift. Side by side, every direction that a layer holds belongs to a zone, so ground that
the verdict map calls held is held here too. (Choice of this project; no source.)
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.cover.band import azimuths_over
from terrain3d.detector.pose import Detector, PosedHead, posed_heads
from terrain3d.units import Floats


@dataclass(frozen=True, eq=False)
class ZonedLayer:
    """One layer of a posed head with the edges of its zones.

    Parameters
    ----------
    head : int
        Which head of the unit.
    name : str
    axes : PosedHead
        The head as it points.
    elevation_deg : float
        The layer's axis in the head's frame.
    edges_deg : (zones + 1,) float
        Azimuths in the head's frame, from left to right.
    """

    head: int
    name: str
    axes: PosedHead
    elevation_deg: float
    edges_deg: Floats

    @property
    def zones(self) -> int:
        return len(self.edges_deg) - 1


def zone_edges_deg(arc_deg: float, zones: int) -> Floats:
    """Azimuths of the edges of a layer's zones in the head's frame, left to right, (zones + 1,) float.

    >>> zone_edges_deg(90, 9)
    array([-45., -35., -25., -15.,  -5.,   5.,  15.,  25.,  35.,  45.])
    """
    return np.linspace(-arc_deg / 2, arc_deg / 2, zones + 1)


def zoned_layers(unit: Detector) -> tuple[ZonedLayer, ...]:
    """The layers of all heads of a unit as they point, head by head.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("two-head-180", Path()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> [(layer.head, layer.name, layer.zones) for layer in zoned_layers(unit)]
    [(0, 'upper', 9), (0, 'lower', 9), (1, 'upper', 9), (1, 'lower', 9)]
    """
    return tuple(
        ZonedLayer(h, posed.name, axes, posed.elevation_deg, zone_edges_deg(axes.arc_deg, layer.zones))
        for h, (axes, head) in enumerate(zip(posed_heads(unit), unit.type.head, strict=True))
        for posed, layer in zip(axes.layers, head.layer, strict=True)
    )


def layer_azimuth_deg(layer: ZonedLayer, east: ArrayLike, north: ArrayLike) -> Floats:
    """Azimuth in the head's frame at which a layer's axis passes over a bearing, as verdicts have it.

    Parameters
    ----------
    layer : ZonedLayer
    east, north : (n,) float
        Unit vectors of the bearings.

    Returns
    -------
    (n,) float
        Degrees, positive to the right, in (-180, 180].
    """
    e, n = np.broadcast_arrays(np.asarray(east, float), np.asarray(north, float))
    azimuths = np.empty(e.shape)
    axes = np.array([layer.axes.right, layer.axes.forward, layer.axes.up])
    azimuths_over(
        e.ravel(), n.ravel(), axes, math.sin(math.radians(layer.elevation_deg)), azimuths.reshape(-1)
    )
    return azimuths


def heads_hold(unit: Detector, broken: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether each head's alarm rule is met: all of its layers broken, or any, as the type says.

    Parameters
    ----------
    unit : Detector
    broken : (l, n) bool
        As `SightedUnit.broken` gives it.

    Returns
    -------
    (h, n) bool
    """
    owner = np.array([layer.head for layer in zoned_layers(unit)])
    reduce = np.any if unit.type.alarm == "any" else np.all
    return np.array([reduce(broken[owner == h], axis=0) for h in range(len(unit.type.head))])

"""The layers of a unit as they stand in the world: lines over what it sees, and how much a picture holds."""

import math
from dataclasses import dataclass

import numpy as np

from terrain3d.detector.pose import Arc, Detector, PosedHead, PosedLayer, posed_heads
from terrain3d.units import Floats

#: Directions shown beyond the outermost arc, degrees.
_ASIDE_DEG = 14.0
#: Shown below and above level, degrees; a layer that points elsewhere widens this.
_LOW_DEG, _HIGH_DEG = -32.0, 14.0


@dataclass(frozen=True)
class Span:
    """What the picture holds: azimuths from the unit's facing (right positive) and elevations, degrees."""

    left: float
    right: float
    low: float
    high: float


def span_of(unit: Detector) -> Span:
    """The directions that a picture of a unit holds: its arcs and layers with some room."""
    heads = posed_heads(unit)
    outlines = [layer_outline(unit, head, layer) for head in heads for layer in head.layers]
    every = np.vstack(outlines)
    aside = min(max(float(np.abs(every[:, 0]).max()) + _ASIDE_DEG, 45.0), 180.0)
    low = min(_LOW_DEG, float(every[:, 1].min()) - 4)
    high = max(_HIGH_DEG, float(every[:, 1].max()) + 6)
    return Span(-aside, aside, max(low, -89.0), min(high, 89.0))


def layer_outline(unit: Detector, head: PosedHead, layer: PosedLayer, stretch: Arc | None = None) -> Floats:
    """The edge of a layer as it stands in the world, once around; of a stretch of its head's arc alone.

    Returns
    -------
    (n, 2) float
        Azimuth from the unit's facing, right positive, and elevation above level, degrees.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 30.0)
    >>> head = posed_heads(unit)[0]
    >>> layer_outline(unit, head, head.layers[0])[[0, 60]].round(3).tolist()
    [[-45.0, 1.5], [45.0, 1.5]]
    """
    side = np.linspace(*((-head.arc_deg / 2, head.arc_deg / 2) if stretch is None else stretch), 61)
    half = layer.thickness_deg / 2
    edges = [(side, layer.elevation_deg + half), (side[::-1], layer.elevation_deg - half)]
    outline = np.vstack([in_world(unit, head, azimuth, elevation) for azimuth, elevation in edges])
    return np.vstack([outline, outline[:1]])


def in_world(unit: Detector, head: PosedHead, azimuth_deg: Floats, elevation_deg: float) -> Floats:
    """Directions of a head's frame as (azimuth from the unit's facing, elevation), degrees.

    The inverse of `detector.pose.in_head`.
    """
    a, e = np.radians(azimuth_deg)[:, None], math.radians(elevation_deg)
    rays = math.cos(e) * (np.sin(a) * head.right + np.cos(a) * head.forward) + math.sin(e) * head.up
    bearing = np.degrees(np.arctan2(rays[:, 0], rays[:, 1]))
    turn = (bearing - unit.bearing_deg + 180) % 360 - 180
    # A fan across the back of the unit runs on past 180 degrees instead of jumping.
    turn = np.degrees(np.unwrap(np.radians(turn)))
    return np.column_stack([turn, np.degrees(np.arcsin(np.clip(rays[:, 2], -1, 1)))])

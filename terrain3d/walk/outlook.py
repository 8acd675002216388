"""What a unit sees, as numbers: what becomes of its layers, and how high they pass figures before it."""

import numpy as np

from terrain3d.cover.layer_shares import LayerShares, layer_shares
from terrain3d.detector.outline import in_world, layer_outline, span_of
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.sight.picture import picture
from terrain3d.terrain import Terrain
from terrain3d.units import direction

#: Figures stand so far away, metres.
FIGURES_M = (4.0, 8.0, 12.0)
#: Between the directions that are counted, degrees of azimuth and of elevation: layers are thin.
_ASIDE_DEG, _UP_DEG = 0.5, 0.1


def outlook_shares(terrain: Terrain, unit: Detector) -> tuple[LayerShares, ...]:
    """What becomes of each layer of a unit on its way, followed to its range in every direction of its arcs.

    Examples
    --------
    Level, 1 m up over the plane, no upper layer meets anything; of the lower one half lands:

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> land = terrain_from_heights(np.zeros((81, 81)), cell_m=0.5)
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> [(own.layer, round(own.ground, 1)) for own in outlook_shares(land, unit)]
    [('upper', 0.0), ('lower', 0.5)]
    """
    edges = np.vstack(
        [layer_outline(unit, head, layer) for head in posed_heads(unit) for layer in head.layers]
    )
    (left, low), (right, high) = edges.min(axis=0), edges.max(axis=0)
    azimuths = np.arange(left, min(right, left + 360.0), _ASIDE_DEG) + _ASIDE_DEG / 2
    elevations = np.arange(low, high, _UP_DEG) + _UP_DEG / 2
    seen = picture(terrain, unit.eye, unit.bearing_deg + azimuths, elevations, unit.type.max_range)
    return layer_shares(unit, seen, seen.solid)


def figure_places(unit: Detector) -> list[tuple[float, float]]:
    """Where figures stand within a unit's range: metres away, and degrees from its facing, right positive.

    Beside each other, so that none hides another, and within the arcs.
    """
    ends = [
        in_world(unit, head, np.array([-0.5, 0.5]) * head.arc_deg, 0.0)[:, 0] for head in posed_heads(unit)
    ]
    width, span = 2 * float(np.abs(ends).max()), span_of(unit)
    apart = min(0.28 * width, (span.right - span.left) / 9)
    return [
        (away, apart * place)
        for away, place in zip(FIGURES_M, (-1, 0, 1), strict=True)
        if away <= unit.type.max_range
    ]


def place_of(unit: Detector, away_m: float, turn_deg: float) -> tuple[float, float]:
    """A place before a unit, local metres: so far away, so many degrees right of its facing."""
    east, north = direction(unit.bearing_deg + turn_deg)
    return unit.x + away_m * east, unit.y + away_m * north

"""Plain outlines of what walks, for scale: a person upright, crouching or crawling, and an animal."""

import numpy as np
import shapely
from shapely import affinity

from terrain3d.detector.figures import Figure, Posture
from terrain3d.units import Floats


def silhouette(figure: Figure) -> list[Floats]:
    """Outlines of a figure standing at (0, 0).

    Returns
    -------
    list of (n, 2) float
        Closed outlines, metres; their top is the figure's height (an animal's head rises over it, as
        animals are measured at the shoulder).

    Examples
    --------
    >>> person = silhouette(Figure("person", 1.7, "invented"))
    >>> round(max(float(part[:, 1].max()) for part in person), 2)
    1.7
    """
    shape = affinity.scale(_shape(figure), figure.height_m, figure.height_m, origin=(0, 0))
    return [np.asarray(part.exterior.coords) for part in shapely.get_parts(shape)]


def _shape(figure: Figure) -> shapely.Geometry:
    shapes = {Posture.CRAWLING: _crawling, Posture.CROUCHING: _crouching, Posture.ANIMAL: _animal}
    return shapes.get(figure.posture, _upright)()


def _limb(points: list[tuple[float, float]], width: float) -> shapely.Geometry:
    return shapely.buffer(shapely.LineString(points), width / 2, quad_segs=6)


def _upright() -> shapely.Geometry:
    head = shapely.buffer(shapely.Point(0, 0.925), 0.075, quad_segs=12)
    trunk = _limb([(0, 0.52), (0, 0.77)], 0.15)
    legs = [_limb([(0, 0.5), (0.075 * side, 0.035)], 0.07) for side in (-1, 1)]
    arms = [_limb([(0.06 * side, 0.79), (0.115 * side, 0.49)], 0.055) for side in (-1, 1)]
    return shapely.union_all([head, trunk, *legs, *arms])


def _crouching() -> shapely.Geometry:
    head = shapely.buffer(shapely.Point(0.1, 0.9), 0.1, quad_segs=12)
    trunk = _limb([(-0.12, 0.36), (0.04, 0.72)], 0.2)
    legs = [_limb([(-0.12, 0.33), (0.2, 0.36), (0.1, 0.05)], 0.1), _limb([(-0.12, 0.3), (-0.1, 0.05)], 0.1)]
    arm = _limb([(0.06, 0.7), (0.24, 0.5)], 0.075)
    return shapely.union_all([head, trunk, *legs, arm])


def _crawling() -> shapely.Geometry:
    head = shapely.buffer(shapely.Point(0.75, 0.82), 0.18, quad_segs=12)
    trunk = _limb([(-0.5, 0.72), (0.52, 0.76)], 0.34)
    arm = _limb([(0.48, 0.7), (0.6, 0.08)], 0.15)
    legs = [_limb([(-0.5, 0.68), (-0.36, 0.1), (-0.85, 0.08)], 0.16)]
    return shapely.union_all([head, trunk, arm, *legs])


def _animal() -> shapely.Geometry:
    trunk = _limb([(-0.55, 0.76), (0.45, 0.77)], 0.45)
    legs = [_limb([(x, 0.6), (x + lean, 0.04)], 0.09) for x, lean in _LEGS]
    neck = _limb([(0.52, 0.85), (0.74, 1.08)], 0.2)
    head = _limb([(0.74, 1.1), (0.98, 1.02)], 0.16)
    tail = _limb([(-0.72, 0.82), (-0.92, 0.62)], 0.06)
    return shapely.union_all([trunk, *legs, neck, head, tail])


_LEGS = ((-0.64, -0.02), (-0.5, 0.04), (0.42, -0.03), (0.56, 0.03))

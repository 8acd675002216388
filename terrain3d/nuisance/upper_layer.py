"""The upper layer of each head by itself: which cells' figures break it, and where its ends point."""

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.sighted import SightedUnit
from terrain3d.detector.pose import PosedHead, PosedLayer
from terrain3d.terrain import Ground
from terrain3d.units import Floats


def upper_broken(
    ground: Ground, sighted: SightedUnit, figure_height_m: float, reach_m: float | None = None
) -> NDArray[np.bool_]:
    """(ny, nx) bool: cells on which a figure breaks the upper layer of any head of a unit.

    Parameters
    ----------
    ground : Ground
    sighted : SightedUnit
        Seen at least as far as `reach_m`.
    figure_height_m : float
        Height of what stands there.
    reach_m : float, optional
        Slant distance up to which cells count; the type's maximum range without it.
    """
    broken = np.zeros(ground.z.shape, bool)
    broken.ravel()[sighted.seen.cells] = sighted.upper_broken(figure_height_m, reach_m).any(axis=0)
    return broken


def upper_layer(head: PosedHead) -> PosedLayer:
    """The layer named `upper`, or the highest where none is."""
    named = [layer for layer in head.layers if layer.name == "upper"]
    return named[0] if named else max(head.layers, key=lambda layer: layer.elevation_deg)


def head_rays(head: PosedHead, azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Unit vectors of the world at azimuths and elevations of a head, (..., 3) float.

    >>> from terrain3d.detector.pose import head_axes
    >>> head = PosedHead(*head_axes(90, 0, 0), 90.0, (), ())
    >>> head_rays(head, np.array([0.0]), np.array([0.0])).round(9) + 0.0
    array([[1., 0., 0.]])
    """
    a, e = np.radians(azimuth_deg)[..., None], np.radians(elevation_deg)[..., None]
    rays: Floats = np.cos(e) * (np.sin(a) * head.right + np.cos(a) * head.forward) + np.sin(e) * head.up
    return rays

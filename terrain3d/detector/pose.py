"""Yaw, tilt and roll: where a posed head's axes point in the world."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from terrain3d.detector.types import DetectorType, lower_elevation_deg
from terrain3d.units import Floats


@dataclass(frozen=True)
class PosedLayer:
    """One layer of a posed head: angles in the head's frame, degrees."""

    name: str
    elevation_deg: float
    thickness_deg: float


@dataclass(frozen=True, eq=False)
class PosedHead:
    """One head as it points: unit vectors of the world frame, and its layers.

    Parameters
    ----------
    right, forward, up : (3,) float
        The head's axes in world directions (east, north, up).
    arc_deg : float
        Full plan angle.
    layers : tuple of PosedLayer
    """

    right: Floats
    forward: Floats
    up: Floats
    arc_deg: float
    layers: tuple[PosedLayer, ...]


@dataclass(frozen=True)
class Detector:
    """One unit of an option: its type, where it stands and how it is set.

    `x`, `y` are local metres, `ground_z` the height of the ground under it.
    """

    name: str
    type: DetectorType
    mount: str
    x: float
    y: float
    ground_z: float
    height_m: float
    bearing_deg: float
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    range_m: float = 12.0
    pan_deg: tuple[float, ...] | None = None
    fill: float | None = None
    pulses: int | None = None

    @property
    def eye(self) -> tuple[float, float, float]:
        """Where the unit senses from, local metres."""
        return self.x, self.y, self.ground_z + self.height_m

    @property
    def fill_needed(self) -> float:
        return self.type.fill if self.fill is None else self.fill

    @property
    def pulses_needed(self) -> int:
        """Pulses that make an alarm: as it is set, else the first setting its type offers."""
        return self.type.pulses[0] if self.pulses is None else self.pulses


def head_axes(bearing_deg: float, tilt_deg: float, roll_deg: float) -> Floats:
    """Rows right, forward, up of a head in world directions, (3, 3) float.

    The head is turned to its bearing (clockwise from north), then nose down by tilt about its
    right axis, then right side down by roll about its forward axis.

    Examples
    --------
    >>> head_axes(90, 0, 0).round(12) + 0.0
    array([[ 0., -1.,  0.],
           [ 1.,  0.,  0.],
           [ 0.,  0.,  1.]])
    >>> right, forward, up = head_axes(0, 10, 0)
    >>> round(math.degrees(math.asin(forward[2])), 9)      # nose down
    -10.0
    >>> right, forward, up = head_axes(0, 0, 10)
    >>> round(math.degrees(math.asin(right[2])), 9)        # right side down
    -10.0
    """
    b, t, r = (math.radians(v) for v in (bearing_deg, tilt_deg, roll_deg))
    right = np.array([math.cos(b), -math.sin(b), 0.0])
    level_forward = np.array([math.sin(b), math.cos(b), 0.0])
    zenith = np.array([0.0, 0.0, 1.0])
    forward = math.cos(t) * level_forward - math.sin(t) * zenith
    up = math.sin(t) * level_forward + math.cos(t) * zenith
    rolled_right = math.cos(r) * right - math.sin(r) * up
    rolled_up = math.sin(r) * right + math.cos(r) * up
    return np.array([rolled_right, forward, rolled_up])


def posed_heads(detector: Detector) -> tuple[PosedHead, ...]:
    """The heads of a detector as they point.

    Tilt and roll act on each head about its own axes, after the turn to bearing + pan.
    """
    detector_type = detector.type
    pans = detector.pan_deg or tuple(head.pan for head in detector_type.head)
    heads = []
    for head, pan in zip(detector_type.head, pans, strict=True):
        axes = head_axes(detector.bearing_deg + pan, detector.tilt_deg, detector.roll_deg)
        layers = tuple(
            PosedLayer(
                layer.name,
                lower_elevation_deg(detector_type.nominal_height, detector.range_m)
                if layer.elevation == "range"
                else layer.elevation,
                layer.thickness,
            )
            for layer in head.layer
        )
        heads.append(PosedHead(axes[0], axes[1], axes[2], head.arc, layers))
    return tuple(heads)


def in_head(head: PosedHead, directions: ArrayLike) -> tuple[Floats, Floats]:
    """Azimuth offset and elevation of world directions in a head's frame, degrees.

    Parameters
    ----------
    head : PosedHead
    directions : (n, 3) float
        World directions (east, north, up); need not be unit vectors.

    Returns
    -------
    azimuth_deg, elevation_deg : (n,) float
        Azimuth positive to the right, in (-180, 180].
    """
    vectors = np.asarray(directions, float)
    right, forward, up = vectors @ head.right, vectors @ head.forward, vectors @ head.up
    azimuth = np.degrees(np.arctan2(right, forward))
    return azimuth, np.degrees(np.arctan2(up, np.hypot(right, forward)))

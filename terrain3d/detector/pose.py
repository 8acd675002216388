"""Yaw, tilt and roll: where a posed head's axes point in the world."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.detector.types import DetectorType, Head, lower_elevation_deg
from terrain3d.units import Floats

#: From and to, degrees clockwise.
Arc = tuple[float, float]
#: A gap between masks narrower than this is none: where two of them meet, the last digits may leave one.
_LEAST_ARC_DEG = 1e-6


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
    open_deg : tuple of (from, to)
        What is left open of the arc where zones are masked, degrees right of straight ahead.
    """

    right: Floats
    forward: Floats
    up: Floats
    arc_deg: float
    layers: tuple[PosedLayer, ...]
    open_deg: tuple[Arc, ...]


@dataclass(frozen=True)
class HeadSetting:
    """One head set by itself; what is not given is as the unit's own setting has it.

    Parameters
    ----------
    pan_deg, range_m : float, optional
        Within the housing, clockwise; one of the head's range settings.
    sensitivity : tuple of str, optional
        Names of the type's settings: one for all layers, or one each.
    fill : tuple of float, optional
        Share of a layer that breaks it: one for all layers, or one each.
    pulses : int, optional
    masked : tuple of int
        Zones that are covered, counted from 1 at the left as the unit looks out, of the layer with most.
    masked_deg : tuple of (from, to)
        Arcs that are covered, degrees right of straight ahead of the head.
    """

    pan_deg: float | None = None
    range_m: float | None = None
    sensitivity: tuple[str, ...] | None = None
    fill: tuple[float, ...] | None = None
    pulses: int | None = None
    masked: tuple[int, ...] = ()
    masked_deg: tuple[Arc, ...] = ()


@dataclass(frozen=True)
class Detector:
    """One unit of an option: its type, where it stands and how it is set.

    `x`, `y` are local metres, `ground_z` the height of the ground under it. `heads` sets some of it head by
    head, in the type's order; `sensitivity` is a name of the type's; with `bracket` it is on
    its bracket.
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
    sensitivity: str | None = None
    heads: tuple[HeadSetting, ...] = ()
    bracket: bool = False

    @property
    def eye(self) -> tuple[float, float, float]:
        """Where the unit senses from, local metres."""
        return self.x, self.y, self.ground_z + self.height_m

    @property
    def fill_needed(self) -> float:
        """Share of a layer that breaks it, where its head says nothing else."""
        if self.fill is not None:
            return self.fill
        return self.type.fill if self.sensitivity is None else self.share_of(self.sensitivity)

    @property
    def pulses_needed(self) -> int:
        """Pulses that make an alarm, where its head says nothing else; else the first its type offers."""
        return self.type.pulses[0] if self.pulses is None else self.pulses

    def head(self, head: int) -> HeadSetting:
        """What a head, counted from 0, is set to by itself."""
        return self.heads[head] if self.heads else HeadSetting()

    def pan_of(self, head: int) -> float:
        """Degrees clockwise that a head is turned off the unit's bearing."""
        own = self.head(head).pan_deg
        if own is not None:
            return own
        return self.type.head[head].pan if self.pan_deg is None else self.pan_deg[head]

    def range_of(self, head: int) -> float:
        """Range setting of a head, metres."""
        own = self.head(head).range_m
        return self.range_m if own is None else own

    def pulses_of(self, head: int) -> int:
        """Pulses that a head's alarm takes."""
        own = self.head(head).pulses
        return self.pulses_needed if own is None else own

    def share_of(self, sensitivity: str) -> float:
        """Share of a layer that breaks it at a sensitivity setting of the type."""
        return (self.type.sensitivity or {})[sensitivity]

    def fills_of(self, head: int) -> tuple[float, ...] | None:
        """Share of each layer of a head that breaks it, where the head is set by itself; else None."""
        own = self.head(head)
        shares = own.fill
        if shares is None and own.sensitivity is not None:
            shares = tuple(self.share_of(name) for name in own.sensitivity)
        n_layers = len(self.type.head[head].layer)
        return shares * n_layers if shares is not None and len(shares) == 1 else shares

    def open_arcs(self, head: int) -> tuple[Arc, ...]:
        """What is left open of a head's arc, degrees right of straight ahead, from left to right."""
        return open_arcs(self.type.head[head], self.head(head))


def masked_arcs(head: Head, setting: HeadSetting) -> tuple[Arc, ...]:
    """What is covered of a head's arc, degrees right of straight ahead: zones and arcs as they were given.

    >>> from terrain3d.detector.types import load_type
    >>> masked_arcs(load_type("one-head-90").head[0], HeadSetting(masked=(1, 9)))
    ((-45.0, -35.0), (35.0, 45.0))
    """
    edges = np.linspace(-head.arc / 2, head.arc / 2, head.zones + 1).tolist()
    return tuple((edges[zone - 1], edges[zone]) for zone in setting.masked) + setting.masked_deg


def open_arcs(head: Head, setting: HeadSetting) -> tuple[Arc, ...]:
    """What is left open of a head's arc, degrees right of straight ahead, from left to right.

    >>> from terrain3d.detector.types import load_type
    >>> open_arcs(load_type("one-head-90").head[0], HeadSetting(masked=(1, 2, 5)))
    ((-25.0, -5.0), (5.0, 45.0))
    """
    left, end = -head.arc / 2, head.arc / 2
    found = []
    for low, high in sorted(masked_arcs(head, setting)):
        if low > left + _LEAST_ARC_DEG:
            found.append((left, min(low, end)))
        left = max(left, high)
    if end > left + _LEAST_ARC_DEG:
        found.append((left, end))
    return tuple(found)


def shut_arcs(head: Head, setting: HeadSetting) -> tuple[Arc, ...]:
    """What is covered of a head's arc, as `open_arcs` leaves it: masks that meet or overlap are one.

    >>> from terrain3d.detector.types import load_type
    >>> shut_arcs(load_type("one-head-90").head[0], HeadSetting(masked=(1, 2, 9), masked_deg=((30.0, 40.0),)))
    ((-45.0, -25.0), (30.0, 45.0))
    """
    edges = [-head.arc / 2, *(edge for arc in open_arcs(head, setting) for edge in arc), head.arc / 2]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((low, high) for low, high in pairs if high - low > _LEAST_ARC_DEG)


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
    heads = []
    for h, head in enumerate(detector_type.head):
        axes = head_axes(detector.bearing_deg + detector.pan_of(h), detector.tilt_deg, detector.roll_deg)
        layers = tuple(
            PosedLayer(
                layer.name,
                lower_elevation_deg(detector_type.nominal_height, detector.range_of(h))
                if layer.elevation == "range"
                else layer.elevation,
                layer.thickness,
            )
            for layer in head.layer
        )
        heads.append(PosedHead(axes[0], axes[1], axes[2], head.arc, layers, detector.open_arcs(h)))
    return tuple(heads)


def is_open(head: PosedHead, azimuth_deg: ArrayLike, more_deg: float = 0.0) -> NDArray[np.bool_]:
    """Whether azimuths in a head's frame lie in what is left open of its arc, or so much beside it.

    >>> from terrain3d.detector.types import load_type
    >>> own = (HeadSetting(masked=(1,)),)
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0, heads=own)
    >>> is_open(posed_heads(unit)[0], [-40.0, -30.0, 45.0, 46.0]).tolist()
    [False, True, True, False]
    """
    azimuth = np.asarray(azimuth_deg, float)
    inside = np.zeros(azimuth.shape, bool)
    for low, high in head.open_deg:
        inside |= np.abs(azimuth - (low + high) / 2) <= (high - low) / 2 + more_deg
    return inside


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

"""How a type's layers run over level ground, straight ahead of a head, as it is fixed and set."""

import math
from dataclasses import dataclass

from terrain3d.detector.types import DetectorType, lower_elevation_deg


@dataclass(frozen=True)
class LevelLayer:
    """One layer, or the microwave, over level ground.

    Parameters
    ----------
    name : str
    elevation_deg, thickness_deg : float
        Of its axis above level, and from its lower edge to its upper.
    height_m : float
        Of the unit above the ground.
    reach_m : float
        Slant distance out to which it senses.
    """

    name: str
    elevation_deg: float
    thickness_deg: float
    height_m: float
    reach_m: float

    def at(self, distance_m: float, share: float = 0.0) -> float:
        """Height over the ground of its axis, or, `share` of half its thickness off, of an edge; NaN past it.

        Examples
        --------
        >>> layer = LevelLayer("lower", lower_elevation_deg(1.0, 12.0), 3.0, 1.0, 12.0)
        >>> round(layer.at(6.0), 3), round(layer.at(6.0, 1.0), 3), layer.at(12.5)
        (0.5, 0.658, nan)
        """
        slope = math.tan(math.radians(self.elevation_deg + share * self.thickness_deg / 2))
        height = self.height_m + slope * distance_m
        return math.nan if self._is_past(distance_m) or height < -1e-9 else max(height, 0.0)

    def lands_m(self, share: float = 0.0) -> float:
        """How far out its axis, or an edge, comes to the ground within its reach; NaN where it does not.

        >>> round(LevelLayer("lower", lower_elevation_deg(1.0, 6.0), 3.0, 1.0, 12.0).lands_m(), 9)
        6.0
        """
        down = -math.radians(self.elevation_deg + share * self.thickness_deg / 2)
        if down <= 0:
            return math.nan
        out = self.height_m / math.tan(down)
        return math.nan if self._is_past(out) else out

    def _is_past(self, distance_m: float) -> bool:
        """Whether its range, which is along its axis, ends before; the last hundredth of it is still told."""
        return distance_m / math.cos(math.radians(self.elevation_deg)) > 1.01 * self.reach_m


def level_layers(detector_type: DetectorType, head: int, range_m: float) -> tuple[LevelLayer, ...]:
    """The layers of a head at a range setting and at the nominal height, uppermost first.

    >>> from terrain3d.detector.types import load_type
    >>> [layer.name for layer in level_layers(load_type("one-head-90"), 0, 12.0)]
    ['upper', 'lower']
    """
    height = detector_type.nominal_height
    found = [
        LevelLayer(
            layer.name,
            lower_elevation_deg(height, range_m) if layer.elevation == "range" else layer.elevation,
            layer.thickness,
            height,
            detector_type.max_range,
        )
        for layer in detector_type.head[head].layer
    ]
    return tuple(sorted(found, key=lambda layer: -layer.elevation_deg))


def level_lobe(detector_type: DetectorType) -> LevelLayer | None:
    """The microwave likewise; None where the type has none."""
    lobe = detector_type.microwave
    if lobe is None:
        return None
    return LevelLayer("microwave", lobe.elevation, lobe.thickness, detector_type.nominal_height, lobe.range)


def head_at(detector_type: DetectorType, range_m: float) -> int | None:
    """The first head, counted from 0, that has a range setting; None where none has.

    >>> from terrain3d.detector.types import load_type
    >>> head_at(load_type("two-head-180-fitted"), 2.5), head_at(load_type("two-head-180-fitted"), 3.0)
    (1, None)
    """
    heads = range(len(detector_type.head))
    return next((head for head in heads if range_m in detector_type.ranges_of(head)), None)

"""The space that is searched: every mount, height, type, bearing, tilt and range that a person can set."""

from dataclasses import dataclass

import numpy as np

from terrain3d.detector.types import DetectorType
from terrain3d.terrain import Mount
from terrain3d.units import Floats


@dataclass(frozen=True)
class Space:
    """What may be set on a mount; settings are only as fine as a person can set them.

    Parameters
    ----------
    detector_types : tuple of DetectorType
        The types on the van.
    labels : tuple of str
        Each type as the site file names it.
    bearing_step_deg : float
        Bearings are its multiples from north; it divides the circle.
    tilts_deg : tuple of float
        Nose down is positive.
    ranges_m : tuple of float, or None
        Only these range settings of a type; None takes all it has.
    tilt_slip_deg : float
        How far a tilt set by hand may be off; for bearings that is one step.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> space = Space((load_type("one-head-90", Path()),), ("one-head-90",))
    >>> len(space.bearings_deg), space.ranges_of(0), space.settings_of(Mount("pole", 0, 0, (0.8, 1.0)))
    (144, (4.0, 6.0, 8.0, 10.0, 12.0), 12960)
    """

    detector_types: tuple[DetectorType, ...]
    labels: tuple[str, ...]
    bearing_step_deg: float = 2.5
    tilts_deg: tuple[float, ...] = tuple(float(t) for t in range(-4, 5))
    ranges_m: tuple[float, ...] | None = None
    tilt_slip_deg: float = 1.0

    @property
    def bearings_deg(self) -> Floats:
        """(b,) float, from north clockwise."""
        return self.bearing_step_deg * np.arange(round(360 / self.bearing_step_deg), dtype=float)

    @property
    def tilts_judged_deg(self) -> tuple[float, ...]:
        """The tilts and those that a hand aiming at them may end at, ascending."""
        slips = (-self.tilt_slip_deg, 0.0, self.tilt_slip_deg)
        return tuple(sorted({round(tilt + slip, 9) for tilt in self.tilts_deg for slip in slips}))

    @property
    def reach_m(self) -> float:
        """How far any of the types senses, metres."""
        return max(detector_type.reach_m for detector_type in self.detector_types)

    def ranges_of(self, type_index: int) -> tuple[float, ...]:
        """The range settings of a type that are searched, ascending."""
        own = sorted(self.detector_types[type_index].range_settings)
        return tuple(r for r in own if self.ranges_m is None or r in self.ranges_m)

    def types_on(self, mount: Mount) -> tuple[int, ...]:
        """The types, by their place in `detector_types`, that may be fixed to a mount."""
        barred = getattr(mount, "not_for", ())
        return tuple(
            k
            for k, detector_type in enumerate(self.detector_types)
            if detector_type.name not in barred and self.labels[k] not in barred and self.ranges_of(k)
        )

    def settings_of(self, mount: Mount) -> int:
        """How many settings a mount has."""
        aims = len(self.bearings_deg) * len(self.tilts_deg)
        return len(mount.heights_m) * aims * sum(len(self.ranges_of(k)) for k in self.types_on(mount))


def count_settings(space: Space, mounts: tuple[Mount, ...]) -> int:
    """How many settings the whole search judges."""
    return sum(space.settings_of(mount) for mount in mounts)

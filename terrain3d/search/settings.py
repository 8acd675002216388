"""The space that is searched: every mount, height, type, bearing, tilt and range that a person can set."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.heads import HeadTable, head_table
from terrain3d.detector.fixing import can_turn, fixing_of
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import DetectorType
from terrain3d.terrain import Mount
from terrain3d.units import Floats

#: Zones of a head up to which masks are tried: so many bits a number of 64 bits holds exactly.
MOST_ZONES = 52
#: Ways to set the ranges of the heads of a type together that are searched at most.
MOST_RANGE_SETS = 64


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
    masks : bool
        Whether zones are masked where a setting would otherwise reach ground to keep out of.
    mask_nuisances : bool
        Whether zones are masked in which a nuisance thing is seen within range.

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
    masks: bool = False
    mask_nuisances: bool = False

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
        """The range settings that a type as a whole has of those that are searched, ascending."""
        return self._searched(self.detector_types[type_index].range_settings)

    def range_sets_of(self, type_index: int) -> tuple[tuple[float, ...], ...]:
        """What the heads of a type are set to together: a range setting of each head, metres.

        All heads alike, ascending; each by itself where the type says so of a head. Where zones are masked, a
        head whose upper layer follows its range may be set shorter than the others as well.

        >>> from pathlib import Path
        >>> from terrain3d.detector.types import load_type
        >>> two = load_type("two-head-180", Path())
        >>> Space((two,), ("two",), ranges_m=(8.0, 12.0)).range_sets_of(0)
        ((8.0, 8.0), (12.0, 12.0))
        >>> near = two.head[0].model_copy(update={"range_settings": (4.0, 8.0)})
        >>> own = two.model_copy(update={"head": (near, two.head[1])})
        >>> Space((own,), ("own",), ranges_m=(8.0, 12.0)).range_sets_of(0)
        ((8.0, 8.0), (8.0, 12.0))
        """
        sets = [own for ways in self._ranges_together(type_index) for own in itertools.product(*ways)]
        return tuple(sorted(dict.fromkeys(sets), key=lambda own: min(own) < max(own)))

    def count_range_sets(self, type_index: int) -> int:
        """How many these are at most, without making them."""
        return sum(math.prod(map(len, ways)) for ways in self._ranges_together(type_index))

    def _ranges_together(self, type_index: int) -> list[list[tuple[float, ...]]]:
        """Range settings of each head, any of which go together; several times over where not all do."""
        kind = self.detector_types[type_index]
        n_heads = len(kind.head)
        if sets_heads_apart(kind):
            return [[self._searched(kind.ranges_of(h)) for h in range(n_heads)]]
        ranges = self.ranges_of(type_index)
        if not self.masks:
            return [[(r,)] * n_heads for r in ranges]
        table = self.table_of(type_index)
        may_differ = np.isnan(table.elevation_deg[np.arange(n_heads), table.upper])
        return [
            [ranges[: k + 1] if may_differ[h] else (r,) for h in range(n_heads)] for k, r in enumerate(ranges)
        ]

    def heads_set(
        self, type_index: int, range_set: int, masked: tuple[tuple[int, ...], ...] = ()
    ) -> tuple[HeadSetting, ...]:
        """What is set head by head: ranges by their place in `range_sets_of`, and the masked zones of each.

        None where all heads are as the unit is set.
        """
        kind = self.detector_types[type_index]
        own = self.range_sets_of(type_index)[range_set]
        is_apart = sets_heads_apart(kind) or min(own) < max(own)
        if not is_apart and not any(masked):
            return ()
        zones = masked or ((),) * len(own)
        return tuple(
            HeadSetting(range_m=r if is_apart else None, masked=z) for r, z in zip(own, zones, strict=True)
        )

    def table_of(self, type_index: int, heads: tuple[HeadSetting, ...] = ()) -> HeadTable:
        """A type as arrays, its heads set by themselves where that is given."""
        return head_table(self.detector_types[type_index], heads=heads)

    def _searched(self, own: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(r for r in sorted(own) if self.ranges_m is None or r in self.ranges_m)

    @property
    def senses_as(self) -> NDArray[np.int64]:
        """(k,) for each type the first that senses and turns just as it does, as versions of a unit do."""
        beside = {"name", "about", "price", "supply", "anti_masking", "pulses", "pulse_window"}
        kinds = [kind.model_dump_json(exclude=beside) for kind in self.detector_types]
        return np.array([kinds.index(kind) for kind in kinds], np.int64)

    def aims_on(self, mount: Mount, type_index: int) -> NDArray[np.bool_]:
        """(t, b) bool: aims to which the housing of a type can be turned on a mount, flat or on a bracket."""
        aims = np.array(self.tilts_deg)[:, None], self.bearings_deg[None, :]
        return self._flat(mount, type_index, *aims) | self._on_bracket(mount, type_index, *aims)

    def takes_bracket(self, mount: Mount, type_index: int, bearing_deg: float, tilt_deg: float) -> bool:
        """Whether an aim that a housing can be turned to takes its bracket."""
        return not bool(self._flat(mount, type_index, np.array(tilt_deg), np.array(bearing_deg)))

    def _flat(self, mount: Mount, type_index: int, tilt: Floats, bearing: Floats) -> NDArray[np.bool_]:
        return can_turn(fixing_of(self.detector_types[type_index]), mount.wall_deg, bearing, tilt)

    def _on_bracket(self, mount: Mount, type_index: int, tilt: Floats, bearing: Floats) -> NDArray[np.bool_]:
        limits = fixing_of(self.detector_types[type_index], bracket=True)
        if limits is None:
            return np.zeros(np.broadcast(tilt, bearing).shape, bool)
        return can_turn(limits, mount.wall_deg, bearing, tilt)

    def types_on(self, mount: Mount) -> tuple[int, ...]:
        """The types, by their place in `detector_types`, that may be fixed to a mount."""
        barred = getattr(mount, "not_for", ())
        return tuple(
            k
            for k, detector_type in enumerate(self.detector_types)
            if detector_type.name not in barred and self.labels[k] not in barred and self.range_sets_of(k)
        )

    def settings_of(self, mount: Mount) -> int:
        """How many settings a mount has."""
        sets = sum(
            int(self.aims_on(mount, k).sum()) * len(self.range_sets_of(k)) for k in self.types_on(mount)
        )
        return len(mount.heights_m) * sets


def sets_heads_apart(detector_type: DetectorType) -> bool:
    """Whether any head of a type has range settings of its own."""
    return any(head.range_settings is not None for head in detector_type.head)


def raises_alone(detector_type: DetectorType) -> bool:
    """Whether a type has a microwave that raises the alarm by itself."""
    return detector_type.microwave is not None and detector_type.microwave.needs == "either"


def count_settings(space: Space, mounts: tuple[Mount, ...]) -> int:
    """How many settings the whole search judges."""
    return sum(space.settings_of(mount) for mount in mounts)

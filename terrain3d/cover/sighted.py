"""A unit with what it sees: one value that answers for every setting from the same eye, without a ray."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.cover.causes import (
    LayerMaps,
    LayerOutcomes,
    microwave_beyond_reach,
    outcomes_beyond_reach,
)
from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import HeadTable, head_table, one_head, upper_layer_of
from terrain3d.cover.layer_outcomes import NO_TAKER, layer_outcomes, layers_broken, outcomes_and_takers
from terrain3d.cover.microwave import microwave_outcomes, microwave_reached, with_microwave
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.detector.types import MICROWAVE, DetectorType
from terrain3d.sight.panorama import Panorama, eye_over, panorama
from terrain3d.sight.points import look_at
from terrain3d.terrain import Ground, Terrain
from terrain3d.wording import counted, in_brief

#: What sees the panorama of an eye: `panorama`, or one that remembers.
Look = Callable[[Terrain, tuple[float, float, float], float], Panorama]


@dataclass(frozen=True, eq=False)
class SightedUnit:
    """A unit with what it sees; from `sighted` or `sighted_over`.

    Parameters
    ----------
    unit : Detector
    seen : Panorama
        From the unit's eye.
    heads : HeadTable
        Of the unit's type and pans.

    Examples
    --------
    On level ground an alarm takes more than the feet: a unit turned away holds nothing to the north.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> north = sighted(terrain_from_heights(np.zeros((60, 60)), 0.5), unit)
    >>> south = north.set_to(replace(unit, bearing_deg=180.0))
    >>> ahead = (north.seen.north > 0.9) & (np.abs(north.seen.distance - 6) < 1)
    >>> set(north.codes(1.7)[ahead].tolist()), set(south.codes(1.7)[ahead].tolist())
    ({4}, {0})
    """

    unit: Detector
    seen: Panorama
    heads: HeadTable

    def __repr__(self) -> str:
        unit = self.unit
        return in_brief(
            self, f"{unit.name!r} on {unit.mount!r}", unit.type.name, counted(len(self.seen.cells), "cell")
        )

    def set_to(self, unit: Detector) -> "SightedUnit":
        """The same with the unit set otherwise, from the same eye.

        Raises
        ------
        ValueError
            When it looks from elsewhere: what it sees there is not known here.
        """
        if unit.eye != self.unit.eye:
            raise ValueError(f"{unit.name} looks from {unit.eye}, what is seen is from {self.unit.eye}")
        own = self.unit
        has_same_heads = (unit.type, unit.pan_deg, unit.heads) == (own.type, own.pan_deg, own.heads)
        return SightedUnit(unit, self.seen, self.heads if has_same_heads else _heads_of(unit))

    def among(self, keep: NDArray[np.bool_]) -> "SightedUnit":
        """The same with some of the cells it sees alone, in the same order; `keep` is (n,) bool."""
        return replace(self, seen=self.seen.among(keep))

    def without_leaves(self) -> "SightedUnit":
        """The same as if nothing grew there: casts no ray."""
        return replace(self, seen=self.seen.without_leaves)

    def codes(self, figure_height_m: float, contrast: float = 1.0) -> Codes:
        """Verdict on each cell in reach, (n,) uint8 codes of `Verdict` in the panorama's order.

        Parameters
        ----------
        figure_height_m : float
        contrast : float
            Share of the contrast that the marks of fill are for: a faint figure has to fill more.
        """
        codes, microwave = self._codes(self.heads, figure_height_m, contrast), self.unit.type.microwave
        if microwave is None:
            return codes
        lacking = None
        if self.heads.any_layer and microwave.needs == "also":
            # One layer alone may hold a cell: which it is, the rule of all layers tells.
            by_all = self._codes(replace(self.heads, any_layer=False), figure_height_m, contrast)
            lacking = np.minimum(by_all, np.uint8(Verdict.UPPER_ONLY))
        unit = self.unit
        return with_microwave(
            codes, self.seen, microwave, unit.bearing_deg, unit.tilt_deg, unit.roll_deg, figure_height_m,
            lacking,
        )  # fmt: skip

    def reached(self, figure_height_m: float) -> NDArray[np.bool_]:
        """Whether the unit's microwave reaches a figure on each cell in reach, (n,) bool."""
        return microwave_reached(self.seen, self.unit, figure_height_m)

    def verdicts(self, ground: Ground, figure_height_m: float) -> Codes:
        """The same on the whole ground, (ny, nx) uint8; `UNKNOWN` where no ground is known."""
        whole = np.where(ground.known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
        whole.ravel()[self.seen.cells] = self.codes(figure_height_m)
        return whole

    def outcomes(self, figure_height_m: float) -> NDArray[np.uint8]:
        """What became of each layer on each cell in reach, (l, n) uint8, rows as `heads.layer_names`."""
        return layer_outcomes(self.seen, self.heads, self.unit, figure_height_m)

    def outcome_maps(self, ground: Ground, figure_height_m: float) -> LayerOutcomes:
        """The same on the whole ground, by the layer's name; `NO_OUTCOME` where no ground is known."""
        return self.layer_maps(ground, figure_height_m).outcomes

    def layer_maps(self, ground: Ground, figure_height_m: float) -> LayerMaps:
        """The same with the things that take each layer; the microwave beside the layers by its name."""
        far = outcomes_beyond_reach(ground, self.unit)
        maps = LayerMaps({}, {})
        found = outcomes_and_takers(self.seen, self.heads, self.unit, figure_height_m)
        for name, outcomes, takers in zip(self.heads.layer_names, *found, strict=True):
            maps.outcomes[name] = far.copy()
            maps.outcomes[name].ravel()[self.seen.cells] = outcomes
            maps.takers[name] = np.full(far.shape, NO_TAKER, np.int32)
            maps.takers[name].ravel()[self.seen.cells] = takers
        if self.unit.type.microwave is not None:
            own, whose = microwave_outcomes(self.seen, self.unit, figure_height_m)
            maps.outcomes[MICROWAVE] = microwave_beyond_reach(ground, self.unit)
            maps.outcomes[MICROWAVE].ravel()[self.seen.cells] = own
            maps.takers[MICROWAVE] = np.full(far.shape, NO_TAKER, np.int32)
            maps.takers[MICROWAVE].ravel()[self.seen.cells] = whose
        return maps

    def broken(self, figure_height_m: float) -> NDArray[np.bool_]:
        """Which layers a figure breaks on each cell in reach, (l, n) bool: all layers, head by head."""
        rows = []
        for h, head in enumerate(self.unit.type.head):
            # A cell goes by the better of several heads; here each head answers for itself.
            own = layers_broken(self.seen, one_head(self.heads, h), self.unit, figure_height_m)
            rows += [own[self.heads.layer_names.index(layer.name)] for layer in head.layer]
        return np.array(rows)

    def upper_broken(self, figure_height_m: float, reach_m: float | None = None) -> NDArray[np.bool_]:
        """Whether a figure breaks the upper layer of each head on each cell in reach, (h, n) bool.

        Parameters
        ----------
        figure_height_m : float
        reach_m : float, optional
            Slant distance up to which cells count; the type's maximum range without it.
        """
        rows = []
        for h in range(len(self.unit.type.head)):
            upper = upper_layer_of(self.heads, h)
            upper = upper if reach_m is None else replace(upper, max_range_m=reach_m)
            rows.append(self._codes(upper, figure_height_m) == Verdict.BOTH)
        return np.array(rows)

    def _codes(self, heads: HeadTable, figure_height_m: float, contrast: float = 1.0) -> Codes:
        unit = self.unit
        return verdict_codes(
            self.seen, heads, unit.bearing_deg, unit.tilt_deg, unit.roll_deg, unit.range_m, figure_height_m,
            unit.fill_needed, contrast,
        )  # fmt: skip


def unit_on(
    terrain: Terrain,
    mount: str,
    detector_type: DetectorType,
    height_m: float,
    bearing_deg: float,
    tilt_deg: float = 0.0,
    roll_deg: float = 0.0,
    range_m: float = 12.0,
    pan_deg: tuple[float, ...] | None = None,
    fill: float | None = None,
    pulses: int | None = None,
    name: str = "D1",
    sensitivity: str | None = None,
    heads: tuple[HeadSetting, ...] = (),
    bracket: bool = False,
) -> Detector:
    """A unit on a mount, over the ground beneath it.

    Parameters
    ----------
    terrain : Terrain
    mount : str
        Its name.
    detector_type : DetectorType
    height_m : float
        Above the ground at the mount.
    bearing_deg, tilt_deg, roll_deg : float
        Clockwise from true north; nose down; right side down.
    range_m : float
        One of the range settings of its type.
    pan_deg : tuple of float, optional
        Of each head within the housing; as the type says where it is not given.
    fill : float, optional
        Share of a layer that breaks it; the type's where it is not given.
    pulses : int, optional
        Pulses of an alarm; the first setting of the type where it is not given.
    name : str
    sensitivity : str, optional
        A setting by the type's name for it, in place of `fill`.
    heads : tuple of HeadSetting
        What is set head by head, in the type's order.
    bracket : bool
        Whether it is on its bracket.

    Raises
    ------
    InputError
        When there is no such mount.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import Mount, terrain_from_heights
    >>> hill = terrain_from_heights([[0.0, 1.0], [0.0, 1.0]], cell_m=4.0, mounts=(Mount("pole", 1.0, 0.0),))
    >>> unit_on(hill, "pole", load_type("one-head-90"), 1.0, 450.0).eye
    (1.0, 0.0, 1.75)
    """
    at = terrain.mount(mount)
    x, y, ground_z = eye_over(terrain.ground, at.x, at.y, 0.0)
    pan = None if pan_deg is None else tuple(pan_deg)
    setting = float(height_m), float(bearing_deg) % 360, float(tilt_deg), float(roll_deg), float(range_m)
    return Detector(
        name,
        detector_type,
        mount,
        x,
        y,
        ground_z,
        *setting,
        pan,
        fill,
        pulses,
        sensitivity,
        tuple(heads),
        bracket,
    )


def sighted(
    terrain: Terrain, unit: Detector, reach_m: float | None = None, look: Look = panorama
) -> SightedUnit:
    """Look around from where a unit is fixed.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    reach_m : float, optional
        Plan distance up to which is looked; as far as any sense of the type reaches where it is not given.
    look : callable
        What sees the panorama; whoever tries many settings hands in one that remembers.
    """
    seen = look(terrain, unit.eye, unit.type.reach_m if reach_m is None else reach_m)
    return SightedUnit(unit, seen, _heads_of(unit))


def sighted_over(terrain: Terrain, unit: Detector, x: ArrayLike, y: ArrayLike) -> SightedUnit:
    """Look from where a unit is fixed at some points alone, local metres.

    Its `seen.cells` are rows of x and y; points over ground that is not known are left out.
    """
    return SightedUnit(unit, look_at(terrain, unit.eye, x, y), _heads_of(unit))


def _heads_of(unit: Detector) -> HeadTable:
    return head_table(unit.type, unit.pan_deg, unit.heads)

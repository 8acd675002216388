"""One way to do the property, judged: verdicts, areas, causes and what there is to warn of together."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within, protected_weight, verdict_areas
from terrain3d.cover.causes import (
    LayerMaps,
    LayerOutcomes,
    Loss,
    blamed,
    cause_areas,
    combined_outcomes,
    losses,
    taken_areas,
)
from terrain3d.cover.cautions import UnitFacts, area_facts, unit_facts
from terrain3d.cover.layer_outcomes import drawn_names, taker_names
from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict, combined
from terrain3d.cover.watch import Kind
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Ground, Terrain
from terrain3d.wording import counted, in_brief, plain


@dataclass(frozen=True)
class ProtectedResult:
    """How much of one protected area an option holds with both layers.

    `both_fraction` is of all its ground. `out_of_reach_m2` is what lies beyond the maximum range of every
    unit, `unknown_m2` where no ground is known; both count as not held. `hangs_on_leaves_m2` is where the
    verdict is another without foliage. `lost_to` says what takes its known ground not held, most first.
    """

    name: str
    area_m2: float
    both_fraction: float
    weight: float
    out_of_reach_m2: float = 0.0
    unknown_m2: float = 0.0
    hangs_on_leaves_m2: float = 0.0
    lost_to: tuple[Loss, ...] = ()


@dataclass(frozen=True)
class Covering:
    """A thing in a unit's watch against covering: what it is, its name ("" is the ground), and how near.

    `distance_m` is on the site as it is, None where nothing of it is in the watch then; `under` has the
    scenarios by name in which something is.
    """

    kind: Kind
    name: str
    distance_m: float | None
    under: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class UnderScenario:
    """An option as it is with the site changed: other leaves, or without some things."""

    name: str
    option: "OptionResult"


@dataclass(frozen=True, eq=False)
class OptionResult:
    """One option, judged.

    `verdicts` is (ny, nx) on the ground's grid, row 0 the southernmost, codes of `Verdict` with
    255 where no ground is known. `units` are its units, each with what it sees. `area_m2` is keyed by
    VERDICT_KEYS; `causes` by layer, then by cause, in m2; `lost_m2` likewise, for protected ground not
    held, the microwave where all layers are broken. `layer_outcomes` holds for each layer what became of it
    on each cell, as `SightedUnit.outcome_maps` has it, of the unit that decides there. `facts` tells of each
    unit what may mislead about it.

    `layer_takers` has the things that take each layer, by their place in `things`: names of what is drawn,
    empty where a survey shows it. `taken_by` is m2 by layer, then by the name of the solid or foliage that
    takes it. `without_leaves` is (ny, nx): where the verdict hangs on leaves, what it is without any, else 0;
    `hangs_on_leaves_m2` is how much ground that is. `scenarios` are the same option on the site changed.
    """

    name: str
    units: tuple[SightedUnit, ...]
    verdicts: Codes
    area_m2: dict[str, float]
    protect: tuple[ProtectedResult, ...]
    causes: dict[str, dict[str, float]]
    lost_m2: dict[str, dict[str, float]]
    layer_outcomes: LayerOutcomes = field(default_factory=dict)
    combine: str = "any"
    facts: tuple[UnitFacts, ...] = ()
    taken_by: dict[str, dict[str, float]] = field(default_factory=dict)
    without_leaves: Codes = field(default_factory=lambda: np.zeros((0, 0), np.uint8))
    hangs_on_leaves_m2: float = 0.0
    scenarios: tuple[UnderScenario, ...] = ()
    layer_takers: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    things: tuple[str, ...] = ()

    def __repr__(self) -> str:
        both = f"{plain(self.area_m2['both'])} m2 with both layers"
        return in_brief(self, repr(self.name), counted(len(self.units), "unit"), both)

    @property
    def detectors(self) -> tuple[Detector, ...]:
        """Its units as they are set."""
        return tuple(one.unit for one in self.units)

    def covering(self, number: int) -> tuple[Covering, ...]:
        """What stands in the watch of a unit, counted from 0: on the site as it is, then under scenarios."""
        if self.facts[number].near is None:
            return ()
        found: dict[tuple[Kind, str], dict[str, float]] = {}
        for scenario, option in (("", self), *((one.name, one.option) for one in self.scenarios)):
            for near in option.facts[number].near or ():
                found.setdefault((near.kind, near.name), {})[scenario] = near.distance_m
        return tuple(
            Covering(*thing, by.get(""), tuple((name, m) for name, m in by.items() if name))
            for thing, by in found.items()
        )

    @property
    def unknown_m2(self) -> float | None:
        """Protected ground that is not known, which counts as not held; None where none is protected."""
        return sum(area.unknown_m2 for area in self.protect) if self.protect else None


def judge_option(
    terrain: Terrain, name: str, units: tuple[SightedUnit, ...], combine: str, figure_height_m: float
) -> OptionResult:
    """Judge one option.

    Parameters
    ----------
    terrain : Terrain
    name : str
    units : tuple of SightedUnit
        With what each sees on that terrain.
    combine : {"any", "all"}
        How several units share the work.
    figure_height_m : float
    """
    ground = terrain.ground
    maps = [one.verdicts(ground, figure_height_m) for one in units]
    layers = combined_outcomes([one.layer_maps(ground, figure_height_m) for one in units], maps, combine)
    verdicts = bare = combined(maps, combine)
    if len(terrain.foliage.base_z):
        bare = combined([one.without_leaves().verdicts(ground, figure_height_m) for one in units], combine)
    return option_result(terrain, name, units, combine, verdicts, bare, layers)


def option_result(
    terrain: Terrain,
    name: str,
    units: tuple[SightedUnit, ...],
    combine: str,
    verdicts: Codes,
    bare: Codes,
    layers: LayerMaps,
) -> OptionResult:
    """What verdicts and outcomes of layers come to.

    Parameters
    ----------
    terrain : Terrain
    name : str
    units : tuple of SightedUnit
    combine : {"any", "all"}
    verdicts, bare : (ny, nx) uint8
        As the site is, and as if nothing grew there.
    layers : LayerMaps
        Of the unit that decides on each cell.
    """
    ground = terrain.ground
    cell_m2 = ground.cell_m**2
    names = taker_names(terrain)
    hangs = bare != verdicts
    without_leaves = np.where(hangs, bare, np.uint8(0))
    without_leaves[~ground.known] = UNKNOWN
    is_held = verdicts == Verdict.BOTH
    protect = []
    about = area_facts(ground, tuple(one.unit for one in units), terrain.protect)
    for area, known in zip(terrain.protect, about, strict=True):
        within = cells_within(ground, area)
        held_m2 = float((is_held & within).sum()) * cell_m2
        protect.append(
            ProtectedResult(
                area.name,
                known.area_m2,
                held_m2 / known.area_m2 if known.area_m2 else 0.0,
                area.weight,
                known.out_of_reach_m2,
                known.unknown_m2,
                float((hangs & within).sum()) * cell_m2,
                losses(layers, names, cell_m2, within & ~is_held),
            )
        )
    lost = (protected_weight(ground, terrain.protect) > 0) & ~is_held
    return OptionResult(
        name,
        units,
        verdicts,
        verdict_areas(verdicts, cell_m2),
        tuple(protect),
        cause_areas(layers.outcomes, cell_m2),
        {
            name: cause_areas({name: own}, cell_m2, lost & blamed(layers.outcomes, name))[name]
            for name, own in layers.outcomes.items()
        },
        layers.outcomes,
        combine,
        tuple(unit_facts(terrain, one) for one in units),
        taken_areas(layers, names, cell_m2),
        without_leaves,
        float(hangs.sum()) * cell_m2,
        layer_takers=layers.takers,
        things=drawn_names(terrain),
    )


def without_units(terrain: Terrain, name: str = "") -> OptionResult:
    """A site on which nothing is fixed yet: all of it is outside.

    >>> from terrain3d.terrain import terrain_from_heights
    >>> bare = without_units(terrain_from_heights(np.zeros((4, 5)), 1.0))
    >>> bare.area_m2["outside"], bare.area_m2["both"]
    (20.0, 0.0)
    """
    verdicts = np.where(terrain.ground.known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
    return option_result(terrain, name, (), "any", verdicts, verdicts, LayerMaps({}, {}))


def option_verdicts(ground: Ground, option: OptionResult, figure_height_m: float) -> Codes:
    """(ny, nx) verdicts of an option for a figure of another height; casts no ray."""
    return combined([one.verdicts(ground, figure_height_m) for one in option.units], option.combine)

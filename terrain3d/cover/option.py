"""One way to do the property, judged: verdicts, areas, causes and what there is to warn of together."""

from dataclasses import dataclass, field

from terrain3d.cover.areas import cells_within, protected_weight, verdict_areas
from terrain3d.cover.causes import LayerOutcomes, cause_areas, combined_outcomes
from terrain3d.cover.cautions import UnitFacts, area_facts, unit_facts
from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.verdict import Codes, Verdict, combined
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Ground, Terrain
from terrain3d.wording import counted, in_brief, plain


@dataclass(frozen=True)
class ProtectedResult:
    """How much of one protected area an option holds with both layers.

    `out_of_reach_m2` is what lies beyond the maximum range of every unit, `unknown_m2` where no ground is
    known; both count as not held.
    """

    name: str
    area_m2: float
    both_fraction: float
    weight: float
    out_of_reach_m2: float = 0.0
    unknown_m2: float = 0.0


@dataclass(frozen=True, eq=False)
class OptionResult:
    """One option, judged.

    `verdicts` is (ny, nx) on the ground's grid, row 0 the southernmost, codes of `Verdict` with
    255 where no ground is known. `units` are its units, each with what it sees. `area_m2` is keyed by
    VERDICT_KEYS; `causes` by layer, then by cause, in m2; `lost_m2` likewise, for protected ground not
    held. `layer_outcomes` holds for each layer what became of it on each cell, as `SightedUnit.outcome_maps`
    has it, of the unit that decides there. `facts` tells of each unit what may mislead about it.
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

    def __repr__(self) -> str:
        both = f"{plain(self.area_m2['both'])} m2 with both layers"
        return in_brief(self, repr(self.name), counted(len(self.units), "unit"), both)

    @property
    def detectors(self) -> tuple[Detector, ...]:
        """Its units as they are set."""
        return tuple(one.unit for one in self.units)


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
    cell_m2 = ground.cell_m**2
    detectors = tuple(one.unit for one in units)
    facts = tuple(unit_facts(terrain, one) for one in units)
    maps = [one.verdicts(ground, figure_height_m) for one in units]
    outcomes = [one.outcome_maps(ground, figure_height_m) for one in units]
    verdicts = combined(maps, combine)
    outcome_code = combined_outcomes(outcomes, maps, combine)
    protect = []
    about = area_facts(ground, detectors, terrain.protect)
    for area, known in zip(terrain.protect, about, strict=True):
        within = cells_within(ground, area)
        held = float((verdicts[within] == Verdict.BOTH).mean()) if within.any() else 0.0
        protect.append(
            ProtectedResult(
                area.name, known.area_m2, held, area.weight, known.out_of_reach_m2, known.unknown_m2
            )
        )
    lost = (protected_weight(ground, terrain.protect) > 0) & (verdicts != Verdict.BOTH)
    return OptionResult(
        name,
        units,
        verdicts,
        verdict_areas(verdicts, cell_m2),
        tuple(protect),
        cause_areas(outcome_code, cell_m2),
        cause_areas(outcome_code, cell_m2, lost),
        outcome_code,
        combine,
        facts,
    )


def option_verdicts(ground: Ground, option: OptionResult, figure_height_m: float) -> Codes:
    """(ny, nx) verdicts of an option for a figure of another height; casts no ray."""
    return combined([one.verdicts(ground, figure_height_m) for one in option.units], option.combine)

"""One way to do the property, judged: verdicts, areas, causes and what there is to warn of together."""

from dataclasses import dataclass, field

import numpy as np

from terrain3d.cover.areas import cells_within, protected_weight, verdict_areas
from terrain3d.cover.causes import LayerOutcomes, cause_areas, combined_outcomes, layer_outcome_maps
from terrain3d.cover.cautions import UnitFacts, area_facts, unit_facts
from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict, combined
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import Panorama
from terrain3d.terrain import Ground, Terrain


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


@dataclass(frozen=True)
class OptionResult:
    """One option, judged.

    `verdicts` is (ny, nx) on the ground's grid, row 0 the southernmost, codes of `Verdict` with
    255 where no ground is known. `area_m2` is keyed by VERDICT_KEYS; `causes` by layer, then by
    cause, in m2; `lost_m2` likewise, for protected ground that is not held. `layer_outcomes` holds for each
    layer what became of it on each cell, codes of `cover.fill` as `cover.causes.layer_outcome_maps` has them.
    `facts` tells of each unit what may mislead about it.
    """

    name: str
    detectors: tuple[Detector, ...]
    verdicts: Codes
    area_m2: dict[str, float]
    protect: tuple[ProtectedResult, ...]
    causes: dict[str, dict[str, float]]
    lost_m2: dict[str, dict[str, float]]
    layer_outcomes: LayerOutcomes = field(default_factory=dict)
    combine: str = "any"
    facts: tuple[UnitFacts, ...] = ()


def judge_option(
    terrain: Terrain,
    name: str,
    units: tuple[Detector, ...],
    views: tuple[Panorama, ...],
    combine: str,
    figure_height_m: float,
) -> OptionResult:
    """Judge one option.

    Parameters
    ----------
    terrain : Terrain
    name : str
    units : tuple of Detector
    views : tuple of Panorama
        What each unit sees, in the same order.
    combine : {"any", "all"}
        How several units share the work.
    figure_height_m : float
        Height of the figure, metres.
    """
    ground = terrain.ground
    cell_m2 = ground.cell_m**2
    maps: list[Codes] = []
    outcomes: list[LayerOutcomes] = []
    facts = tuple(unit_facts(terrain, seen, unit) for unit, seen in zip(units, views, strict=True))
    for unit, seen in zip(units, views, strict=True):
        table = head_table(unit.type, unit.pan_deg)
        codes = verdict_codes(
            seen, table, unit.bearing_deg, unit.tilt_deg, unit.roll_deg, unit.range_m, figure_height_m,
            unit.fill_needed,
        )  # fmt: skip
        maps.append(verdict_map(ground, seen, codes))
        outcomes.append(layer_outcome_maps(ground, seen, table, unit, figure_height_m))
    verdicts = combined(maps, combine)
    outcome_code = combined_outcomes(outcomes, maps, combine)
    protect = []
    about = area_facts(ground, units, terrain.protect)
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


def verdict_map(ground: Ground, seen: Panorama, codes: Codes) -> Codes:
    """A panorama's codes laid onto the whole ground."""
    whole = np.where(ground.known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
    whole.ravel()[seen.cells] = codes
    return whole

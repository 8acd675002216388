"""What pages tell of an option past its verdicts, as plain values for `results.json`."""

import math
from typing import Any

import numpy as np

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.causes import reach_areas
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import (
    Beam,
    Profile,
    changes,
    head_bearings,
    held_m,
    line_profile,
    most_lost,
    over_ground,
    passing_from,
    solid_met,
    stretches,
)
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, Verdict
from terrain3d.detector.outline import in_world
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.job import Outcome
from terrain3d.paper.rounded import area, share, size
from terrain3d.ranking.compare import held_beside
from terrain3d.sight.hits import Hit
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.walk.along import layers_over
from terrain3d.walk.outlook import figure_places, outlook_shares, place_of
from terrain3d.walk.viewpoints import SeenUnit, seen_unit, viewpoints

#: How far a section's line runs behind the unit and past its range, metres: to see the last change.
_BEHIND_M, _BEYOND_M = 0.9, 0.7


def in_reach_values(option: OptionResult, ground: Ground) -> list[dict[str, Any]]:
    """By layer the ground within arc and range, and that on which the layer is broken."""
    areas = reach_areas(option.layer_outcomes, ground.cell_m**2)
    return [
        {"layer": layer, "area_m2": area(whole_m2), "broken_m2": area(broken_m2)}
        for layer, (whole_m2, broken_m2) in areas.items()
    ]


def beside_best_values(outcome: Outcome, option: OptionResult) -> dict[str, Any] | None:
    """What an option and the best one hold together and alone; None of the best itself."""
    if option.name == outcome.ranking[0]:
        return None
    ground, protect = outcome.terrain.ground, outcome.terrain.protect
    masks = held_beside(option, outcome.option(outcome.ranking[0]))
    counted, cell_m2 = protected_weight(ground, protect) > 0, ground.cell_m**2
    keys = ("both_m2", "option_alone_m2", "best_alone_m2")
    protected = {
        key: area(float((mask & counted).sum()) * cell_m2) for key, mask in zip(keys, masks, strict=True)
    }
    return {
        **{key: area(float(mask.sum()) * cell_m2) for key, mask in zip(keys, masks, strict=True)},
        "protected": protected if counted.any() else None,
    }


def verdict_key(code: int) -> str:
    """The key of a verdict; "unknown" where no ground is known.

    >>> verdict_key(4), verdict_key(255)
    ('both', 'unknown')
    """
    return "unknown" if code == UNKNOWN else VERDICT_KEYS[Verdict(code)]


def section_values(outcome: Outcome, unit: Detector) -> list[dict[str, Any]]:
    """The section along the middle of each head of a unit: the verdicts there are those of it alone."""
    return [
        _section(line_profile(outcome.terrain, unit, bearing, outcome.figure.height_m, _BEHIND_M, _BEYOND_M))
        for bearing in head_bearings(unit)
    ]


def _section(profile: Profile) -> dict[str, Any]:
    most = most_lost(profile)
    # The same layer of two heads is told once.
    beams = {beam.layer: beam for beam in profile.beams}
    over = {beam.layer: passing_from(profile, beam.layer) for beam in profile.beams}
    return {
        "bearing_deg": size(profile.bearing_deg),
        "both_m": size(held_m(profile)),
        "most_lost": None if most is None else {"layer": most[1], "cause": most[2], "lost_m": size(most[0])},
        "stretches": [
            {
                "from_m": size(run.start_m),
                "to_m": size(run.stop_m),
                "verdict": verdict_key(run.code),
                "causes": causes,
            }
            for run, causes in stretches(profile)
        ],
        "changes": [
            {
                "at_m": size(at),
                "layers": [
                    {"layer": layer, "over_ground_m": size(height)}
                    for layer, beam in beams.items()
                    if (height := over_ground(profile, beam, at)) is not None
                ],
            }
            for at in changes(profile)
        ],
        "ends": [_end(profile, beam) for beam in profile.beams if beam.hits[beam.axis] != Hit.NOTHING],
        "passes_over": [
            {"layer": layer, "from_m": size(start)} for layer, start in over.items() if start is not None
        ],
    }


def _end(profile: Profile, beam: Beam) -> dict[str, Any]:
    is_ground = beam.hits[beam.axis] == Hit.GROUND
    solid = None if is_ground else solid_met(profile, beam)
    return {
        "layer": beam.layer,
        "at_m": size(float(beam.ends[beam.axis])),
        "meets": "ground" if is_ground else "solid",
        "name": None if solid is None or solid.is_surveyed else solid.name or None,
    }


def outlook_values(outcome: Outcome, unit: Detector) -> dict[str, Any]:
    """What a unit sees: where its layers point, what becomes of them, how high they pass figures."""
    terrain, names = outcome.terrain, outcome.terrain.solids.names
    heads = [
        {
            "arc_deg": head.arc_deg,
            "layers": [
                {
                    "layer": layer.name,
                    "elevation_deg": size(in_world(unit, head, np.zeros(1), layer.elevation_deg)[0, 1]),
                    "thickness_deg": layer.thickness_deg,
                }
                for layer in head.layers
            ],
        }
        for head in posed_heads(unit)
    ]
    return {
        "heads": heads,
        "layers": [
            {
                "layer": own.layer,
                "ground_share": share(own.ground),
                "solids_share": share(own.solids),
                "leaves_share": share(own.leaves),
                "past_range_share": share(own.past),
                "name": None if own.solid is None else names[own.solid],
                "name_share": share(own.solid_share),
            }
            for own in outlook_shares(terrain, unit)
        ],
        "figures": [
            told
            for away_m, right_deg in figure_places(unit)
            if (told := _figure_before(terrain, unit, away_m, right_deg)) is not None
        ],
    }


def _figure_before(
    terrain: Terrain, unit: Detector, away_m: float, right_deg: float
) -> dict[str, Any] | None:
    """How high each layer passes one figure; None where no ground is known."""
    x, y = place_of(unit, away_m, right_deg)
    ground_z = float(terrain.ground.height_at(x, y))
    if not math.isfinite(ground_z):
        return None
    spans: dict[str, tuple[float, float]] = {}
    for layer in layers_over(terrain, unit, np.array([x]), np.array([y])):
        span = layer.over(0, ground_z)
        if span is not None:
            # Of two heads the one that passes there is told.
            spans.setdefault(layer.layer, span)
    return {
        "away_m": away_m,
        "right_deg": size(right_deg),
        "layers": [
            {"layer": layer, "from_m": size(low), "to_m": size(high)} for layer, (low, high) in spans.items()
        ],
    }


def seen_from_values(outcome: Outcome, option: OptionResult) -> list[dict[str, Any]]:
    """What is seen of an option's units by who looks at them from walks, ways in and marks."""
    terrain = outcome.terrain
    groups = viewpoints(terrain, outcome.figure, outcome.site.own_figures)
    return [
        {
            "name": point.name,
            "where": point.where or None,
            "units": [_seen(seen_unit(terrain, point, unit), terrain.solids) for unit in option.detectors],
        }
        for group in groups
        for point in group
    ]


def _seen(seen: SeenUnit, solids: Solids) -> dict[str, Any]:
    is_named = seen.met == Hit.SOLID and seen.solid not in solids.surveyed
    return {
        "unit": seen.unit,
        "distance_m": size(seen.distance_m),
        "bearing_deg": size(seen.bearing_deg),
        "elevation_deg": size(seen.elevation_deg),
        "hidden_by": {Hit.GROUND: "ground", Hit.SOLID: "solid"}.get(seen.met),
        "name": solids.names[seen.solid] if is_named else None,
        "through_share": share(seen.through),
    }

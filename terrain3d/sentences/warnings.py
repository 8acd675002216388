"""Where a client would be misled by a picture: warnings about an option, its units and its ground."""

import numpy as np

from terrain3d.cover.cautions import OFF_GROUND_SHARE, UnitFacts
from terrain3d.cover.option import Covering, OptionResult, ProtectedResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.lengths import area_words, given, given_span, length, retold
from terrain3d.terrain import Terrain
from terrain3d.wording import listed

#: Under all warnings together.
WARNINGS_LINE = (
    "What may make a verdict wrong or worthless on this site. Each is told once, the most serious first."
)


def option_warnings(option: OptionResult, terrain: Terrain) -> list[str]:
    """All about one option, each once: its units, protected ground, then what is doubted of the survey."""
    return list(dict.fromkeys(text for kind in _by_weight(option, terrain) for text in kind))


def units_warnings(option: OptionResult) -> list[str]:
    """All about an option's units as they are fixed, each once, what makes them worthless first."""
    return list(dict.fromkeys([*_void_of_units(option), *_other_of_units(option)]))


def voiding(option: OptionResult) -> list[str]:
    """What makes all else that is told of an option worthless, in few words: it is on each of its pages."""
    told = []
    for unit, facts in _units_of(option):
        if facts.is_inside_solid:
            told.append(f"{unit.name} stands inside a solid: all this is void until it is moved")
        elif facts.solid_ahead_m is not None:
            away = f"{length(facts.solid_ahead_m)} away"
            told.append(
                f"{unit.name} faces into a solid {away}: all this is void until it is turned or moved"
            )
    return told


def _units_of(option: OptionResult) -> list[tuple[Detector, UnitFacts]]:
    return list(zip(option.detectors, option.facts, strict=True))


def height_warning(unit: Detector) -> str:
    """Of a height that can be set and yet is not as the unit's type means it; empty for none."""
    low, high = unit.type.mount_height
    return "" if low - 1e-9 <= unit.height_m <= high + 1e-9 else f"outside {given_span(low, high)}"


def warnings_by_option(outcome: Outcome) -> list[tuple[str, str]]:
    """Each warning once, with the options it is about, the most serious first.

    First what makes an option worthless, then units, protected ground, and what is doubted of the survey.
    """
    about: dict[str, list[str]] = {}
    weight: dict[str, int] = {}
    for option in outcome.options:
        for rank, warnings in enumerate(_by_weight(option, outcome.terrain)):
            for warning in dict.fromkeys(warnings):
                about.setdefault(warning, []).append(option.name)
                weight.setdefault(warning, rank)
    count = len(outcome.options)
    said = [
        (warning, "every option" if len(names) == count > 1 else "; ".join(names))
        for warning, names in about.items()
    ]
    return sorted(said, key=lambda one: weight[one[0]])


def _by_weight(option: OptionResult, terrain: Terrain) -> tuple[list[str], ...]:
    """The warnings about one option, the most serious kind first."""
    return (
        _void_of_units(option), _other_of_units(option), area_warnings(option.protect),
        [retold(doubt) for doubt in terrain.doubts],
    )  # fmt: skip


def _void_of_units(option: OptionResult) -> list[str]:
    return [text for unit, facts in _units_of(option) for text in _void_warnings(unit, facts)]


def _other_of_units(option: OptionResult) -> list[str]:
    told = []
    for number, (unit, facts) in enumerate(_units_of(option)):
        told += _other_warnings(unit, facts)
        told += [covering_words(unit, thing) for thing in option.covering(number)]
    return told


def _void_warnings(unit: Detector, facts: UnitFacts) -> list[str]:
    if facts.is_inside_solid:
        return [
            f'{unit.name} is inside a solid: move mount "{unit.mount}" in front of it, or name the bearing '
            "that its wall faces, [[mount]] wall, where it is on a house that a survey shows"
        ]
    if facts.solid_ahead_m is not None:
        return [
            f"{unit.name} faces into a solid {length(facts.solid_ahead_m)} away: turn it or move its mount"
        ]
    return []


def _other_warnings(unit: Detector, facts: UnitFacts) -> list[str]:
    warnings = []
    if facts.into_wall_deg is not None:
        warnings.append(
            f"{unit.name} faces {unit.bearing_deg:g}°, and the wall of its mount {facts.into_wall_deg:g}°: it"
            " looks into the wall that it hangs on; turn it, or mend [[mount]] wall"
        )
    low, high = unit.type.mount_height
    if not low - 1e-9 <= unit.height_m <= high + 1e-9:
        warnings.append(
            f"{unit.name} at {given(unit.height_m)} is outside the {given_span(low, high)}"
            f" that {unit.type.name} allows: its layers do not lie as its maker means"
        )
    if unit.type.alarm == "any" and any(len(head.layer) > 1 for head in unit.type.head):
        warnings.append(
            f"{unit.type.name} raises its alarm on any one layer: for {unit.name}"
            ' "both layers" means that one layer or more is broken'
        )
    if facts.across_unknown_m2 > 0.02 * np.pi * unit.type.max_range**2:
        warnings.append(
            f"{unit.name} looks across ground that is not known to {area_words(facts.across_unknown_m2)}"
            " in its reach; the sight there is taken as open"
        )
    if facts.off_known_share > OFF_GROUND_SHARE:
        warnings.append(
            f"{facts.off_known_share:.0%} of the arc and range of {unit.name}"
            f" ({area_words(facts.off_known_m2)}) lies off the known ground: nothing is said of it"
        )
    return warnings


#: What mends it that a thing stands in a watch.
_UNCOVER = {
    "solid": "turn it or move its mount",
    "foliage": "cut that back, or move its mount",
    "ground": "set it higher or move its mount",
}


def covering_words(unit: Detector, thing: Covering) -> str:
    """A warning about a thing in a unit's watch against covering, as the site is and under scenarios.

    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90-watched"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> covering_words(unit, Covering("foliage", "hedge", None, (("not cut", 0.214),)))
    'with "not cut" "hedge" comes within 0.21 m of D1, whose watch against covering needs 0.5 m free: \
cut that back, or move its mount'
    """
    assert unit.type.anti_masking is not None
    what = f'"{thing.name}"' if thing.name else "the ground"
    under = listed([f'{length(m, 2)} with "{name}"' for name, m in thing.under])
    if thing.distance_m is not None:
        aside = f" ({under})" if under else ""
        near = f"{what} is within {length(thing.distance_m, 2)} of {unit.name}{aside}"
    else:
        (first, m), *others = thing.under
        more = listed([f'"{name}" ({length(at, 2)})' for name, at in others])
        near = f'with "{first}" {what} comes within {length(m, 2)} of {unit.name}' + (
            f", too with {more}" if more else ""
        )
    needs = f"whose watch against covering needs {given(unit.type.anti_masking.reach)} free"
    return f"{near}, {needs}: {_UNCOVER[thing.kind]}"


def area_warnings(areas: tuple[ProtectedResult, ...]) -> list[str]:
    """Warnings about protected ground that no unit of an option can reach, or that is not known."""
    warnings = []
    for area in areas:
        if area.area_m2 == 0:
            warnings.append(f'"{area.name}" holds no cell of the known survey')
            continue
        if area.out_of_reach_m2 > 0.01 * area.area_m2:
            warnings.append(
                f'{area_words(area.out_of_reach_m2)} of "{area.name}"'
                f" ({area.out_of_reach_m2 / area.area_m2:.0%}) lie beyond the reach of every unit"
            )
        if area.unknown_m2 > 0.01 * area.area_m2:
            warnings.append(
                f'no ground is known under {area_words(area.unknown_m2)} of "{area.name}"'
                f" ({area.unknown_m2 / area.area_m2:.0%}); that part counts as not held"
            )
    return warnings

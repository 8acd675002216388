"""Options ranked by the protected ground they hold with both layers, weighted."""

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.option import OptionResult, UnderScenario
from terrain3d.cover.verdict import Verdict


def held_m2(option: OptionResult) -> float:
    """What an option is ranked by: weighted protected ground held with both layers, m2.

    Where nothing is marked as protected, all ground held with both layers counts.
    """
    if not option.protect:
        return option.area_m2["both"]
    return sum(area.area_m2 * area.both_fraction * area.weight for area in option.protect)


def held_share(option: OptionResult) -> float | None:
    """Share of the protected ground, by plain area, held with both layers; None where none is protected.

    Ground that lies in two protected areas counts in both.
    """
    whole = sum(area.area_m2 for area in option.protect)
    return sum(area.area_m2 * area.both_fraction for area in option.protect) / whole if whole > 0 else None


def weighted_share(option: OptionResult) -> float | None:
    """`held_m2` as a share of the weighted protected ground; None where weights play no part.

    Weights order the options; a client who reads a share of ground means plain ground.
    """
    if len({area.weight for area in option.protect}) < 2:
        return None
    whole = sum(area.area_m2 * area.weight for area in option.protect)
    return held_m2(option) / whole if whole > 0 else None


def hanging_m2(option: OptionResult) -> float:
    """Ground whose verdict hangs on leaves: of protected ground, or of all ground where none is protected."""
    if not option.protect:
        return option.hangs_on_leaves_m2
    return sum(area.hangs_on_leaves_m2 for area in option.protect)


def hanging_share(option: OptionResult) -> float | None:
    """The same as a share of all protected ground; None where none is protected."""
    whole = sum(area.area_m2 for area in option.protect)
    return hanging_m2(option) / whole if whole > 0 else None


def worst_scenario(option: OptionResult) -> UnderScenario | None:
    """The scenario under which an option holds least, the first of equals; None where there is none."""
    return min(option.scenarios, key=lambda one: round(held_m2(one.option), 6), default=None)


def ranked(options: tuple[OptionResult, ...]) -> tuple[OptionResult, ...]:
    """Options, best first; equals keep their order in the site file."""
    return tuple(sorted(options, key=lambda option: -round(held_m2(option), 6)))


def held_beside(
    option: OptionResult, other: OptionResult
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """(ny, nx) each: ground that two options hold with both layers, that the first alone does, the other."""
    own, others = option.verdicts == Verdict.BOTH, other.verdicts == Verdict.BOTH
    return own & others, own & ~others, others & ~own

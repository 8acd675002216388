"""What a search found, judged in full: aimed exactly, and after the tolerance of the hand."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.causes import combined_outcomes
from terrain3d.cover.option import OptionResult, judge_option, option_result
from terrain3d.cover.sighted import Look, sighted, unit_on
from terrain3d.cover.verdict import Verdict, combined
from terrain3d.detector.figures import Figure
from terrain3d.job import Outcome, Steady
from terrain3d.ranking.reasons import Reason, reasons
from terrain3d.search.best import Best
from terrain3d.search.choose_set import CoverSolution
from terrain3d.search.columns import Columns, costs, currents, heads_of
from terrain3d.search.searched import Searched
from terrain3d.search.settings import Space
from terrain3d.search.target import Target
from terrain3d.sight.panorama import panorama, remembered
from terrain3d.site import DetectorSetting, HeadShape, Option
from terrain3d.terrain import Mount, Terrain
from terrain3d.wording import counted, in_brief


@dataclass(frozen=True, eq=False)
class Choice:
    """One set of units.

    Parameters
    ----------
    option : OptionResult
        Aimed exactly.
    steady : OptionResult
        After the tolerance: what stays of it wherever within it each unit is aimed.
    held_m2, share : float
        Ground that counts held after the tolerance, by weight, m2 and share of all that counts.
    slack_deg : float
        Least of its units': how far a bearing may be off beyond the tolerance with little lost.
    animal_m2 : float
        Ground on which a large dog breaks the layers of a unit as well, each unit's summed.
    price : float, or None
        None where a type has none.
    labels : tuple of str
        Each unit's type as the site file names it.
    milliamps : float, or None
        What its units draw together; None where a type does not say.
    """

    option: OptionResult
    steady: OptionResult
    held_m2: float
    share: float
    slack_deg: float
    animal_m2: float
    price: float | None
    labels: tuple[str, ...]
    milliamps: float | None


@dataclass(frozen=True, eq=False)
class SearchResult(Searched):
    """The outcome of a search; the same site gives the same again.

    `margin` is by how much the best set beats the runner-up, after the tolerance and by weight, or,
    with a share to hold, by how much cheaper it is. `gap` is what the solver left open over the settings
    that were kept; `gap_all` what is open over all settings, None where a share has to be held. `steady`
    is what is compared after the tolerance, the best and the runner-up; `reasons` say why the first is best.
    """

    best_unit: Choice
    best: Choice
    runner_up: Choice | None
    margin: float
    reasons: tuple[Reason, ...]
    steady: Steady
    gap: float
    gap_all: float | None

    def __repr__(self) -> str:
        return in_brief(self, repr(self.outcome), counted(self.settings_judged, "setting"))

    @cached_property
    def outcome(self) -> Outcome:
        """The best set, the runner-up and, where it is another, the best unit as options, in that order."""
        choices = [self.best, *([self.runner_up] if self.runner_up is not None else [])]
        if len(self.best.option.detectors) > 1:
            choices.append(self.best_unit)
        options = tuple(choice.option for choice in choices)
        ranking = tuple(option.name for option in options)
        return Outcome(self.site, options, ranking, self.reasons, self.steady)


def choice_of(
    name: str, terrain: Terrain, mounts: Sequence[Mount], columns: Columns, rows: Sequence[int],
    space: Space, target: Target, figure: Figure, look: Look = panorama,
) -> Choice:  # fmt: skip
    """Judge some rows of the kept settings as one option."""
    rows = sorted((int(row) for row in rows), key=lambda row: int(columns.mount[row]))
    units = []
    for place, row in enumerate(rows, start=1):
        mount, type_index = mounts[int(columns.mount[row])], int(columns.type_index[row])
        bearing, tilt = float(columns.bearing_deg[row]), float(columns.tilt_deg[row])
        unit = unit_on(
            terrain, mount.name, space.detector_types[type_index], float(columns.height_m[row]), bearing,
            tilt, range_m=float(columns.range_m[row]), name=f"D{place}", heads=heads_of(columns, space, row),
            bracket=space.takes_bracket(mount, type_index, bearing, tilt),
        )  # fmt: skip
        units.append(sighted(terrain, unit, look=look))
    option = judge_option(terrain, name, tuple(units), "any", figure.height_m)
    steady = after_tolerance(terrain, option, space, figure.height_m)
    cell_m2 = terrain.ground.cell_m**2
    # A sum, not a product of vectors: the last digits of that hang on how many processors share it.
    held = target.weight[steady.verdicts.ravel()[target.cells] == Verdict.BOTH].sum()
    (cost, is_money), drawn = costs(columns, space), currents(columns, space)
    return Choice(
        option,
        steady,
        float(held) * cell_m2,
        float(held) / target.whole,
        float(columns.slack_deg[rows].min()),
        float(columns.animal[rows].sum()) * cell_m2,
        float(cost[rows].sum()) if is_money else None,
        tuple(space.labels[int(columns.type_index[row])] for row in rows),
        None if drawn is None else float(drawn[rows].sum()),
    )


def after_tolerance(
    terrain: Terrain, option: OptionResult, space: Space, figure_height_m: float
) -> OptionResult:
    """What stays of an option however its units are aimed off by a step of bearing and of tilt.

    A cell gets, for each unit, the worst of its verdicts over the nine aims, and of the units the best.
    """
    ground = terrain.ground
    maps, bare, outcomes = [], [], []
    for one in option.units:
        unit = one.unit
        aims = [
            one.set_to(
                replace(unit, bearing_deg=(unit.bearing_deg + turn) % 360, tilt_deg=unit.tilt_deg + nod)
            )
            for turn, nod in itertools.product(
                (0.0, -space.bearing_step_deg, space.bearing_step_deg),
                (0.0, -space.tilt_slip_deg, space.tilt_slip_deg),
            )
        ]
        own = [aim.verdicts(ground, figure_height_m) for aim in aims]
        aimed = [aim.layer_maps(ground, figure_height_m) for aim in aims]
        maps.append(combined(own, "all"))
        bare.append(combined([aim.without_leaves().verdicts(ground, figure_height_m) for aim in aims], "all"))
        outcomes.append(combined_outcomes(aimed, own, "all"))
    verdicts = combined(maps, "any")
    layers = combined_outcomes(outcomes, maps, "any")
    return option_result(
        terrain, option.name, option.units, option.combine, verdicts, combined(bare, "any"), layers
    )


def found(
    best: Best, terrain: Terrain, mounts: Sequence[Mount], space: Space, target: Target, figure: Figure
) -> tuple[Choice, Choice, Choice | None]:
    """The best unit, the best set and the runner-up."""

    # The best unit is often one of the best set: what is seen from a place is looked at once.
    look = remembered()

    def choice(name: str, solution: CoverSolution) -> Choice:
        rows = solution.chosen.tolist()
        return choice_of(name, terrain, mounts, best.columns, rows, space, target, figure, look)

    return (
        choice("best unit", best.single),
        choice("best set" if len(best.chosen.chosen) > 1 else "best found", best.chosen),
        choice("runner-up", best.runner_up) if best.runner_up is not None else None,
    )


def compared(
    best: Choice, runner_up: Choice | None, space: Space, terrain: Terrain
) -> tuple[tuple[Reason, ...], Steady]:
    """Why the best beats the runner-up, both after their tolerance; and what they are then."""
    options = (best.steady,) if runner_up is None else (best.steady, runner_up.steady)
    weight = protected_weight(terrain.ground, terrain.protect)
    steady = Steady(options, space.bearing_step_deg, space.tilt_slip_deg)
    return reasons(options, weight, terrain.ground.cell_m**2), steady


#: Names of the options that a search puts into a site file: the best set and the runner-up.
WRITTEN_NAMES = ("search: best", "search: runner-up")


def as_options(result: SearchResult) -> tuple[Option, ...]:
    """The best set and the runner-up as options of a site file.

    Bearings, tilts, heights, ranges and masked zones are those of the units; names are `WRITTEN_NAMES`.
    """
    choices = [result.best, *([result.runner_up] if result.runner_up is not None else [])]
    return tuple(
        Option(
            name=name,
            detector=tuple(
                DetectorSetting(
                    name=unit.name,
                    mount=unit.mount,
                    type=label,
                    height=unit.height_m,
                    bearing=unit.bearing_deg,
                    tilt=unit.tilt_deg,
                    range=unit.range_m,
                    bracket=unit.bracket,
                    head=tuple(HeadShape(range=own.range_m, masked=own.masked) for own in unit.heads),
                )
                for unit, label in zip(choice.option.detectors, choice.labels, strict=True)
            ),
        )
        for name, choice in zip(WRITTEN_NAMES, choices, strict=False)
    )


def shares(value: float, bound: float) -> float:
    """What is open between a value and what none can better, as a share.

    >>> shares(75.0, 100.0), shares(100.0, 100.0)
    (0.25, 0.0)
    """
    return max(bound - value, 0.0) / bound if bound > 0 and not np.isclose(bound, value, rtol=1e-12) else 0.0

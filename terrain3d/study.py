"""What comes after the verdicts, in its order: who walks through, what else is sensed, when, how surely.

As `job`, it calls and computes nothing itself.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial

from terrain3d.conditions.heat import HeatResult, held_by_temperature
from terrain3d.conditions.sun import SunResult, sun_times
from terrain3d.cover.option import OptionResult
from terrain3d.errors import InputError, one_named
from terrain3d.job import Outcome
from terrain3d.nuisance.animals import AnimalGround, animal_ground
from terrain3d.nuisance.spill import FOLLOW_ON, Spill, spill
from terrain3d.nuisance.spill import with_costs as spill_with_costs
from terrain3d.nuisance.things import InLayer, in_layers
from terrain3d.nuisance.things import with_costs as things_with_costs
from terrain3d.opened import Progress, surroundings_of
from terrain3d.ready import in_file
from terrain3d.terrain import Terrain
from terrain3d.uncertainty.error_field import error_sizes_of
from terrain3d.uncertainty.monte_carlo import Uncertainty, run_monte_carlo
from terrain3d.uncertainty.tolerance import UnitTolerance, option_tolerances
from terrain3d.walk.close_in import CloseIn, close_in
from terrain3d.walk.option import OptionWalks, option_walks
from terrain3d.walk.routes import OpenRoutes, open_routes
from terrain3d.wording import in_brief, listed

#: The parts of a study, in the order they are done.
PARTS = ("walks", "routes", "close-in", "animals", "beyond", "heat", "sun", "doubt")


@dataclass(frozen=True, eq=False)
class OptionStudy:
    """The parts of one option; None is a part that was not asked for."""

    name: str
    walks: OptionWalks | None = None
    routes: tuple[OpenRoutes, ...] | None = None
    animals: AnimalGround | None = None
    spill: Spill | None = None
    nuisances: tuple[InLayer, ...] | None = None
    heat: HeatResult | None = None
    sun: SunResult | None = None
    tolerances: tuple[UnitTolerance, ...] | None = None
    close_in: CloseIn | None = None

    def __repr__(self) -> str:
        done = [one.name for one in fields(self)[1:] if getattr(self, one.name) is not None]
        return in_brief(self, repr(self.name), *done)


@dataclass(frozen=True, eq=False)
class Study:
    """An outcome with what walks through it, option by option in the order of the site file.

    `surroundings` is the site as `beyond` and `sun` look at it: with the ground past the reach of the units.
    """

    outcome: Outcome
    options: tuple[OptionStudy, ...]
    uncertainty: Uncertainty | None
    parts: tuple[str, ...]
    surroundings: Terrain

    def __repr__(self) -> str:
        return in_brief(self, repr(self.outcome), f"parts {listed(self.parts, len(self.parts))}")

    def of(self, name: str) -> OptionStudy:
        """The study of an option.

        Raises
        ------
        InputError
            When there is none of that name.
        """
        return one_named(name, self.options, "option")


def study_of(
    outcome: Outcome,
    parts: tuple[str, ...] = PARTS,
    progress: Progress | None = None,
    draws: int | None = None,
) -> Study:
    """Look at what walks through the options of an outcome.

    Parameters
    ----------
    outcome : Outcome
    parts : tuple of str
        Of `PARTS`.
    progress : callable, optional
        Told what is being done, and how far it is.
    draws : int, optional
        Of the errors; None takes the site file's.

    Raises
    ------
    InputError
        When a part is not known, there is no option or no draw, or the survey around, a figure or a setting
        cannot be used.
    """
    _check_asked(outcome, parts, draws)
    tell = progress or (lambda _step, _fraction: None)
    surroundings = _surroundings(outcome, parts, tell)
    options = []
    for number, option in enumerate(outcome.options):
        told = partial(_tell_at, tell, number / len(outcome.options))
        options.append(_option(outcome, surroundings, option, parts, told))
    uncertainty = None
    if "doubt" in parts:
        setting = outcome.site.file.doubt
        try:
            uncertainty = run_monte_carlo(
                outcome.terrain, outcome.options, outcome.figure.height_m,
                error_sizes_of(setting, outcome.terrain), setting.draws if draws is None else draws,
                outcome.site.file.site.seed, lambda fraction: tell("drawing errors", fraction),
            )  # fmt: skip
        except InputError as error:
            raise in_file(error, outcome.site.path) from error
    done = tuple(part for part in PARTS if part in parts)
    return Study(outcome, tuple(options), uncertainty, done, surroundings)


def _check_asked(outcome: Outcome, parts: tuple[str, ...], draws: int | None) -> None:
    """Refuse parts that there are not, and what has nothing to be studied."""
    there = f"give a tuple of {', '.join(PARTS)}"
    if isinstance(parts, str):
        raise InputError(f"parts is the text {parts!r}, not a tuple", "study_of", there)
    for part in parts:
        if part not in PARTS:
            raise InputError(f"there is no part {part!r}", "study_of", there)
    if draws is not None and draws < 1:
        raise InputError(f"draws is {draws}", "study_of", "give at least 1")
    if not outcome.options:
        raise InputError("there is no option to study", "study_of", "give an outcome that has some")


def _surroundings(outcome: Outcome, parts: tuple[str, ...], tell: Progress) -> Terrain:
    """The ground as far as the parts look that are asked for."""
    if not {"beyond", "sun"} & set(parts):
        return outcome.terrain
    types = [unit.type for option in outcome.options for unit in option.detectors]
    farthest_m = max(max(FOLLOW_ON * kind.max_range, kind.reach_m) for kind in types)
    to_the_sky = "sun" in parts and outcome.terrain.frame.origin_lonlat is not None
    return surroundings_of(outcome.site, farthest_m, to_the_sky, tell)


def _tell_at(tell: Progress, share: float, step: str) -> None:
    tell(step, share)


def _option(
    outcome: Outcome,
    surroundings: Terrain,
    option: OptionResult,
    parts: tuple[str, ...],
    tell: Callable[[str], None],
) -> OptionStudy:
    site, terrain, figure_height_m = outcome.site, outcome.terrain, outcome.figure.height_m
    units, file = option.detectors, site.file
    done: dict[str, object] = {}
    if "walks" in parts:
        tell("walking through")
        done["walks"] = option_walks(
            terrain, option, site.figure, site.own_figures, file.walk_test.grade, site.tests
        )
    if "routes" in parts:
        tell("looking for open routes")
        done["routes"] = open_routes(terrain, option, site.walker, file.routes.steepest)
    if "close-in" in parts:
        tell("looking close in")
        done["close_in"] = close_in(terrain, option, site.figure)
    if "animals" in parts:
        tell("letting animals in")
        done["animals"] = animal_ground(terrain, option, site.own_figures)
    if "beyond" in parts:
        tell("looking beyond the boundary")
        judged = terrain, option, figure_height_m
        done["spill"] = spill_with_costs(spill(surroundings, units, figure_height_m), *judged)
        done["nuisances"] = things_with_costs(in_layers(surroundings, units), *judged)
    if "heat" in parts:
        tell("warming the ground")
        done["heat"] = held_by_temperature(terrain, option, figure_height_m, file.heat)
    if "sun" in parts:
        tell("following the sun")
        done["sun"] = sun_times(surroundings, units, file.sun)
    if "doubt" in parts:
        tell("shifting each setting")
        done["tolerances"] = option_tolerances(terrain, option, figure_height_m)
    return OptionStudy(option.name, **done)  # type: ignore[arg-type]

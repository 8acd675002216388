"""The walk test of an option: which points are walked, in which order, and what each unit should do there."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError
from terrain3d.fixing.places import Taped, known_places, nearest_taped
from terrain3d.job import Outcome
from terrain3d.uncertainty.error_field import ErrorSizes, error_sizes_of
from terrain3d.walktest.choose import least_walk, most_telling, proving
from terrain3d.walktest.faults import (
    Guesses,
    Hanging,
    Mask,
    draw_guesses,
    expected_lights,
    lit_by,
    looked_from,
    standing_around,
)
from terrain3d.walktest.spots import Proof, Spots, candidate_spots, postures

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class WalkPoint:
    """One short walk of the sheet.

    Parameters
    ----------
    number : int
        From 1.
    unit : str
        Whose indicator is looked at.
    x, y : float
        Middle of the walk, local metres.
    towards_deg, length_m : float
        Which way it goes, clockwise from true north, and how far.
    figure : str
        Name of the posture.
    figure_height_m : float
    lights : bool
        Whether the indicator should light.
    proof : Proof
        What it is there for.
    taped : Taped
        Where its middle lies from the nearest mark or mount.
    """

    number: int
    unit: str
    x: float
    y: float
    towards_deg: float
    length_m: float
    figure: str
    figure_height_m: float
    lights: bool
    proof: Proof
    taped: Taped


@dataclass(frozen=True, eq=False)
class WalkTest:
    """The points of an option, in the order in which they are walked, unit by unit."""

    option: str
    points: tuple[WalkPoint, ...]


def plan_walks(outcome: Outcome, name: str, progress: Progress | None = None) -> WalkTest:
    """Choose the walks that prove or break an option's map, the fewest that do.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option.
    progress : callable, optional

    Raises
    ------
    InputError
        When there is no such option, or nothing can be walked.
    """
    tell = progress or (lambda _step, _share: None)
    option, setting = outcome.option(name), outcome.site.file.walk_test
    points: list[WalkPoint] = []
    for number, one in enumerate(option.units):
        tell("choosing walks", number / len(option.units))
        spots = candidate_spots(outcome.terrain, one, postures_of(outcome, one.unit))
        if not len(spots):
            raise InputError(
                f"there is no ground near {one.unit.name} on which anybody could walk",
                f"option {name!r}",
                "look at its place on a plan",
            )
        guesses, lights = guessed(outcome, name, number, spots)
        chosen = most_telling(guesses, lights, setting.points, setting.wrong, seed=seed_of(outcome, number))
        chosen += proving(spots, chosen)
        points += _in_order(outcome, number, name, spots.only(chosen), len(points))
    tell("choosing walks", 1.0)
    return WalkTest(name, tuple(points))


def postures_of(outcome: Outcome, unit: Detector) -> tuple[Figure, ...]:
    """In which postures a unit of an outcome is walked."""
    return postures(outcome.figure, unit.height_m)


def seed_of(outcome: Outcome, number: int) -> int:
    """Where the draws for a unit of an option start."""
    return 64 * outcome.site.file.site.seed + number


def sizes_of(outcome: Outcome) -> ErrorSizes:
    """Sizes of what may be off."""
    return error_sizes_of(outcome.site.file.doubt, outcome.terrain)


def guessed(outcome: Outcome, name: str, number: int, spots: Spots) -> tuple[Guesses, Mask]:
    """How a unit of an option may hang, and (n, m) what each of these would show on some walks."""
    unit, sizes, seed = outcome.option(name).detectors[number], sizes_of(outcome), seed_of(outcome, number)
    guesses = draw_guesses(unit, outcome.terrain, sizes, seed)
    return guesses, expected_lights(standing_around(outcome.terrain, unit, sizes, seed), guesses, spots)


def as_mapped(outcome: Outcome, name: str, number: int, spots: Spots) -> Mask:
    """(m,) bool: whether each walk lights the indicator of a unit that hangs as it is set."""
    unit = outcome.option(name).detectors[number]
    return lit_by(looked_from(outcome.terrain, unit, 0.0, spots), Hanging(), spots)


def _in_order(outcome: Outcome, number: int, name: str, spots: Spots, before: int) -> list[WalkPoint]:
    unit = outcome.option(name).detectors[number]
    lights = as_mapped(outcome, name, number, spots)
    order = least_walk(spots.x, spots.y, (unit.x, unit.y))
    return [
        walk_point(outcome, unit.name, before + place, spots, row, bool(lights[row]))
        for place, row in enumerate(order, 1)
    ]


def walk_point(outcome: Outcome, unit: str, number: int, spots: Spots, row: int, lights: bool) -> WalkPoint:
    """One of some walks as a point of the sheet."""
    x, y, who = float(spots.x[row]), float(spots.y[row]), spots.figures[spots.figure[row]]
    ground_z = float(outcome.terrain.ground.height_at(x, y))
    taped = found_from(outcome, x, y, ground_z)
    return WalkPoint(
        number, unit, x, y, float(spots.towards_deg[row]), float(spots.length_m[row]),
        who.name, who.height_m, lights, spots.proves[row], taped,
    )  # fmt: skip


def found_from(outcome: Outcome, x: float, y: float, ground_z: float) -> Taped:
    """Where a place lies from the nearest mark or mount."""
    taped = nearest_taped(known_places(outcome.terrain), x, y, ground_z)
    if taped is None:
        raise InputError("there is no mark and no mount to walk from", mend="draw a [[mark]]")
    return taped


def spots_of(points: list[WalkPoint], figures: tuple[Figure, ...]) -> Spots:
    """Points of a sheet as walks again; their figures are among those given."""
    names = [figure.name for figure in figures]
    return Spots(
        np.array([point.x for point in points], float),
        np.array([point.y for point in points], float),
        np.array([point.towards_deg for point in points], float),
        np.array([point.length_m for point in points], float),
        np.array([names.index(point.figure) for point in points], np.int64),
        figures,
        tuple(point.proof for point in points),
    )

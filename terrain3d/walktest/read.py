"""A walk test read back: what differs from the map, what explains it, and what to walk next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyproj

from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.site import DetectorSetting, Option
from terrain3d.walktest.answers import Answer
from terrain3d.walktest.choose import most_telling
from terrain3d.walktest.explain import Explanation, Told, explain
from terrain3d.walktest.faults import Cause
from terrain3d.walktest.plan import (
    Progress,
    WalkPoint,
    as_mapped,
    found_from,
    guessed,
    postures_of,
    seed_of,
    spots_of,
    walk_point,
)
from terrain3d.walktest.spots import Proof, candidate_spots, walks_past

#: Walks that are told to be made next.
_NEXT = 2
#: Walks nearer to each other than this are the same: metres, degrees.
_SAME_M, _SAME_DEG = 0.3, 10.0
#: A corrected setting is written to this: metres, degrees.
_FINELY = {Cause.HEIGHT: 2, Cause.BEARING: 1, Cause.TILT: 1, Cause.ROLL: 1}
_KEYS = {Cause.HEIGHT: "height", Cause.BEARING: "bearing", Cause.TILT: "tilt", Cause.ROLL: "roll"}


@dataclass(frozen=True)
class Walked:
    """A point that was walked: what the map says the indicator does there, and what it did."""

    point: WalkPoint
    seen: bool

    @property
    def is_as_told(self) -> bool:
        return self.seen == self.point.lights


@dataclass(frozen=True, eq=False)
class UnitReading:
    """What the answers say of one unit.

    Parameters
    ----------
    unit : str
    walked : tuple of Walked
        Those that were walked.
    left_out : tuple of WalkPoint
        Those of the sheet that were not.
    explanation : Explanation or None
        None where nothing was walked.
    next : tuple of WalkPoint
        What tells most to walk now: of the sheet where it has some left, else new ones.
    """

    unit: str
    walked: tuple[Walked, ...]
    left_out: tuple[WalkPoint, ...]
    explanation: Explanation | None
    next: tuple[WalkPoint, ...]

    @property
    def holds(self) -> bool:
        """Whether the map holds: what is likeliest is that nothing is off."""
        told = self.explanation
        return told is not None and told.causes[0].cause is Cause.AS_SET

    def walked_before(self, point: WalkPoint) -> int | None:
        """The number of the point that was walked where and as another is to be; None where none was."""
        for one in self.walked:
            near = math.hypot(one.point.x - point.x, one.point.y - point.y) <= _SAME_M
            turned = abs((one.point.towards_deg - point.towards_deg + 180) % 360 - 180) <= _SAME_DEG
            if near and turned and one.point.figure == point.figure:
                return one.point.number
        return None

    @property
    def found(self) -> Told | None:
        """The one cause that is sure enough to be named, if any."""
        told = self.explanation
        if told is None or not told.is_told or told.causes[0].cause is Cause.AS_SET:
            return None
        return told.causes[0]


@dataclass(frozen=True, eq=False)
class WalkReading:
    """A walk test of an option, read."""

    option: str
    units: tuple[UnitReading, ...]

    @property
    def n_walked(self) -> int:
        return sum(len(unit.walked) for unit in self.units)

    @property
    def n_as_told(self) -> int:
        return sum(walked.is_as_told for unit in self.units for walked in unit.walked)


def read_walks(
    outcome: Outcome,
    name: str,
    answers: Sequence[Answer],
    crs: pyproj.CRS | None,
    where: str,
    progress: Progress | None = None,
) -> WalkReading:
    """What the answers of a walk test say of an option's units.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option that was walked.
    answers : sequence of Answer
    crs : pyproj.CRS or None
        Of their coordinates.
    where : str
        The sheet, for messages.
    progress : callable, optional

    Raises
    ------
    InputError
        When there is no such option or unit, or a point lies where nobody can have walked.
    """
    tell = progress or (lambda _step, _share: None)
    units = outcome.option(name).detectors
    by_unit = _sorted_out(answers, units, where)
    last = max(answer.point for answer in answers)
    found = []
    for number, unit in enumerate(units):
        tell("weighing the answers", number / len(units))
        own = by_unit[number]
        points = [_point(outcome, unit, answer, crs, where) for answer in own]
        reading = _unit_reading(outcome, name, number, points, [answer.seen for answer in own], last)
        last += len([point for point in reading.next if point.number > last])
        found.append(reading)
    tell("weighing the answers", 1.0)
    return WalkReading(name, tuple(found))


def _sorted_out(answers: Sequence[Answer], units: Sequence[Detector], where: str) -> list[list[Answer]]:
    """The answers of each unit."""
    names = [unit.name for unit in units]
    sorted_out: list[list[Answer]] = [[] for _ in units]
    for answer in answers:
        if answer.unit is None and len(units) > 1:
            raise InputError(
                f"the option has {len(units)} units, and no column says which was walked",
                f"{where}: row 1",
                "put back the column unit",
            )
        unit = names[0] if answer.unit is None else answer.unit
        if unit not in names:
            raise InputError(
                f"there is no unit {unit!r}",
                f"{where}: row {answer.row}, column unit",
                f"known: {', '.join(names)}",
            )
        sorted_out[names.index(unit)].append(answer)
    return sorted_out


def _point(outcome: Outcome, unit: Detector, answer: Answer, crs: pyproj.CRS | None, where: str) -> WalkPoint:
    spot = f"{where}: row {answer.row}, columns x and y"
    try:
        xs, ys = outcome.terrain.frame.to_local([answer.x], [answer.y], crs)
    except InputError as error:
        raise InputError(error.what, spot, error.mend) from None
    x, y = float(xs[0]), float(ys[0])
    ground_z = float(outcome.terrain.ground.height_at(x, y))
    if np.isnan(ground_z):
        raise InputError(
            f"no ground is known at point {answer.point}", spot, "give coordinates as the sheet had them"
        )
    figures = postures_of(outcome, unit)
    names = [figure.name for figure in figures]
    if answer.posture is not None and answer.posture not in names:
        raise InputError(
            f"nobody walks as {answer.posture!r} here",
            f"{where}: row {answer.row}, column posture",
            f"known: {', '.join(names)}",
        )
    usual = walks_past(unit, np.array([x]), np.array([y]), np.zeros(1, np.int64), figures, (Proof("held"),))
    length_m = float(usual.length_m[0]) if answer.length_m is None else answer.length_m
    taped = found_from(outcome, x, y, ground_z)
    return WalkPoint(
        answer.point, unit.name, x, y, answer.towards_deg, length_m, answer.posture or figures[0].name, 0.0,
        False, Proof("held"), taped,
    )  # fmt: skip


def _unit_reading(
    outcome: Outcome,
    name: str,
    number: int,
    points: list[WalkPoint],
    seen: list[bool | None],
    last: int,
) -> UnitReading:
    unit = outcome.option(name).detectors[number]
    figures = postures_of(outcome, unit)
    spots = spots_of(points, figures)
    mapped = as_mapped(outcome, name, number, spots)
    points = [
        replace(point, lights=bool(mapped[k]), figure_height_m=figures[spots.figure[k]].height_m)
        for k, point in enumerate(points)
    ]
    done = [k for k, answer in enumerate(seen) if answer is not None]
    left = [k for k, answer in enumerate(seen) if answer is None]
    walked = tuple(Walked(points[k], bool(seen[k])) for k in done)
    left_out = tuple(points[k] for k in left)
    if not done:
        return UnitReading(unit.name, (), left_out, None, left_out[:_NEXT])
    setting, seed = outcome.site.file.walk_test, seed_of(outcome, number)
    guesses, lights = guessed(outcome, name, number, spots)
    told = explain(guesses, lights[:, done], np.array([bool(seen[k]) for k in done]), setting.wrong)
    if told.is_told:
        return UnitReading(unit.name, walked, left_out, told, ())
    if left:
        best = most_telling(guesses, lights[:, left], _NEXT, setting.wrong, told.weights, seed)
        if best:
            return UnitReading(
                unit.name, walked, left_out, told, tuple(points[left[k]] for k in sorted(best))
            )
    others = candidate_spots(outcome.terrain, outcome.option(name).units[number], figures)
    _, shown = guessed(outcome, name, number, others)
    best = most_telling(guesses, shown, _NEXT, setting.wrong, told.weights, seed)
    mapped = as_mapped(outcome, name, number, others)
    new = tuple(
        walk_point(outcome, unit.name, last + k, others, row, bool(mapped[row]))
        for k, row in enumerate(best, 1)
    )
    return UnitReading(unit.name, walked, left_out, told, new)


def as_it_hangs(option: Option, reading: WalkReading) -> Option | None:
    """The option with its units set as the answers say that they hang; None where no setting is found to be
    off.

    A dead head, leaves and ground are no settings: they are told, and nothing is written for them.
    """
    found = {unit.unit: unit.found for unit in reading.units if unit.found is not None}
    settings, changed = [], False
    for setting in option.detector:
        told = found.get(setting.name)
        new = None if told is None else _set_as(setting, told)
        changed |= new is not None
        settings.append(new or setting)
    if not changed:
        return None
    return option.model_copy(update={"name": hanging_name(option.name), "detector": tuple(settings)})


def hanging_name(name: str) -> str:
    """What the option is called that is set as its units were found to hang."""
    return f"{name}, as it hangs"


def _set_as(setting: DetectorSetting, told: Told) -> DetectorSetting | None:
    key = _KEYS.get(told.cause)
    if key is not None:
        value = round(getattr(setting, key) + told.value, _FINELY[told.cause])
        return setting.model_copy(update={key: value % 360 if key == "bearing" else value})
    if told.cause is Cause.RANGE:
        return setting.model_copy(update={"range": told.value})
    return None

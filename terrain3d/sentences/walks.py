"""What becomes of a walk, of the walks on a page and of a fan of them, as a client reads it."""

from collections.abc import Iterable, Mapping

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.lengths import given, length, span, speed, to_digits
from terrain3d.sentences.heads import pulse_words
from terrain3d.units import Floats
from terrain3d.walk.fans import ACROSS_M, NEAR_M, Fan
from terrain3d.walk.indoor_tests import IndoorTestFan
from terrain3d.walk.microwave import SensedWalk
from terrain3d.walk.moments import Moment
from terrain3d.walk.option import OptionWalks
from terrain3d.walk.pulses import WalkResult
from terrain3d.wording import counted, listed

#: Whose setting the pulses of an alarm are, by whether a head has its own.
_SETTING = {False: "the unit's setting", True: "set head by head"}
#: Of the borrowed walk tests, and of all that is counted.
BORROWED = "conditions borrowed from an indoor standard; nothing is said to comply"
MODEL = "a model of the zones, not a measured probability"


def walks_lines(walks: OptionWalks) -> list[str]:
    """A line for each path and each fan of an option."""
    paths = [f"{walk.name}: {walk_words(walk)}" for walk in walks.walks]
    return paths + [fan_words(fan) for fan in walks.fans]


def borrowed_line(test: IndoorTestFan) -> str:
    """What one borrowed walk test comes to."""
    return f"borrowed, {test.test}, grade {test.grade} ({test.status}): {fan_words(test.fan)}"


def walk_words(walk: WalkResult) -> str:
    """The verdict on a walk."""
    alarm, goal = walk.alarm, walk.goal
    if alarm is None and walk.layers_alone_s is not None:
        where = f"; reaches {goal.name} unnoticed" if goal is not None and goal.enters_m is not None else ""
        return f"No alarm: the layers alone would raise it, but no microwave senses the walk in time{where}."
    if alarm is None:
        reason = "never under both layers" if walk.both_m == 0 else f"{length(walk.both_m)} under both layers"
        if walk.both_m > 0:
            reason += (
                ", no pulse"
                if not walk.pulses
                else f", {counted(len(walk.pulses), 'pulse')}, too few in each layer in time"
            )
        where = f"; reaches {goal.name} unnoticed" if goal is not None and goal.enters_m is not None else ""
        return f"No alarm: {reason}{where}."
    by = f" by {' and '.join(alarm.units)}" if walk.unit_count > 1 else ""
    if walk.sensed and (walk.layers_alone_s is None or alarm.time_s < walk.layers_alone_s - 1e-6):
        by += " by microwave" if not by else ", by microwave,"
    first = f"Alarm{by} after {length(alarm.along_m)} and {alarm.time_s:.1f} s"
    if goal is None:
        return f"{first}."
    if goal.left_m is None:
        return f"{first}, {length(goal.straight_m or 0.0)} from {goal.name}, which the path does not enter."
    if walk.is_late:
        return f"{first}: too late, {length(-goal.left_m)} after the path enters {goal.name}."
    return f"{first}, {length(max(goal.left_m, 0.0))} before the path enters {goal.name}."


def short_walk_words(walk: WalkResult) -> str:
    """The verdict on a walk in the box of a table."""
    if walk.alarm is None:
        entered = walk.goal is not None and walk.goal.enters_m is not None
        return f"no alarm, reaches {walk.goal.name}" if walk.goal is not None and entered else "no alarm"
    first = f"after {length(walk.alarm.along_m)}"
    if walk.goal is None or walk.goal.left_m is None:
        return first
    if walk.is_late:
        return f"{first}: too late, {length(-walk.goal.left_m)} inside"
    return f"{first}, {length(max(walk.goal.left_m, 0.0))} before it enters"


def in_time_sentence(walks: Mapping[str, tuple[WalkResult, ...]]) -> str:
    """How many walks each option notices in time; `walks` by the option's name, in order."""
    told = []
    for name, own in walks.items():
        in_time = sum(walk.alarm is not None and not walk.is_late for walk in own)
        told.append(f'"{name}" notices {in_time} of {counted(len(own), "walk")} in time')
    return f"{listed(told, 4)}. The distance is that walked when the alarm is raised."


def walks_sentence(walks: tuple[WalkResult, ...]) -> str:
    """How many walks are noticed, and how many in time; of a single one its verdict."""
    if len(walks) == 1:
        return walk_words(walks[0])
    raised = [walk for walk in walks if walk.alarm is not None]
    late = sum(walk.is_late for walk in raised)
    some = f"{len(raised)} of {len(walks)} walks raise"
    text = f"{some if raised else 'None of the walks raises'} the alarm"
    if late:
        text += f", {late} of them only after the protected ground is entered"
    return f"{text}. Pulses are counted where a side of the figure crosses the edge of a zone."


def sensing_words(units: Iterable[Detector]) -> str:
    """How the microwaves of some units count in an alarm; empty where none has one."""
    found: dict[str, None] = {}
    for unit in units:
        microwave = unit.type.microwave
        if microwave is None:
            continue
        moves = f"at {speed(microwave.slowest_mps)} or more towards or away"
        told = (
            f" Within the same time its microwave must sense the figure, {moves}."
            if microwave.needs == "also"
            else f" A figure that its microwave senses, {moves}, is an alarm too."
        )
        found[told] = None
    return "".join(found)


def counting_words(option: OptionResult) -> str:
    """What a pulse is, how many the alarm takes, and how far to trust it."""
    takes = sorted(
        {
            (unit.pulses_of(head), unit.type.pulse_window)
            for unit in option.detectors
            for head in range(len(unit.type.head))
        }
    )
    by_heads = any(own.pulses is not None for unit in option.detectors for own in unit.heads)
    several = [f"{n} in each within {window:g} s" if n > 1 else "1 in each" for n, window in takes]
    return (
        "A pulse is a zone entered or left while the layers that the alarm needs are broken together;"
        f" the alarm takes {' or '.join(dict.fromkeys(several))} ({_SETTING[by_heads]})."
        f"{sensing_words(option.detectors)}"
        " A model of the zones, not a measurement: walk-test."
    )


def how_walked(walk: WalkResult) -> str:
    """Who walks, how far and how fast, and what is counted on the way."""
    per_layer: dict[str, int] = {}
    for pulse in walk.pulses:
        per_layer[pulse.layer] = per_layer.get(pulse.layer, 0) + 1
    counts = ", ".join(f"{n} {name}" for name, n in per_layer.items()) or "none"
    return (
        f"{walk.figure.name}, {speed(walk.speed_mps)}, {length(walk.length_m)} in {walk.time_s:.0f} s;"
        f" {_both_words(walk)} under both layers; pulses: {counts}"
        + "".join(f"; {sensed_words(own)}" for own in walk.sensed)
    )


def _both_words(walk: WalkResult) -> str:
    """How far it leads under both layers: pulses may come on less than a piece of what is measured."""
    if walk.pulses and walk.both_m < walk.strip_m:
        return f"less than {to_digits(walk.strip_m, 1)}"
    return length(walk.both_m)


def sensed_words(own: SensedWalk) -> str:
    """What a unit's microwave makes of a walk."""
    if own.sensed_m == 0:
        return f"the microwave of {own.unit.name} senses none of it"
    return (
        f"the microwave of {own.unit.name} senses {length(own.sensed_m)},"
        f" at most {speed(own.fastest_mps, 1)} towards or away ({own.shift_hz:.0f} Hz)"
    )


def fan_words(fan: Fan) -> str:
    """What a fan comes to: how many walks are noticed, and the weakest bearing."""
    noticed, worst = fan.raised, fan.weakest
    how = f"Straight at {fan.unit}" if fan.kind == "to" else f"Across {fan.unit}"
    first = f"{how}: {int(noticed.sum())} of {len(noticed)} walks raise the alarm"
    if worst is None:
        return f"{first}."
    missed = _bearing_words(np.unique(fan.bearing_deg[~noticed]))
    bearing = fan.bearing_deg[worst]
    if fan.kind == "to":
        near = f"{int(fan.early.sum())} of them while the walker is more than {given(NEAR_M)} from the unit"
        weakest = f"weakest is bearing {bearing:.0f}°, {length(fan.left_m[worst])} from it"
        return f"{first}, {near}; {weakest if not missed else f'never at {missed}'}."
    first_m, last_m = float(np.nanmin(fan.walked_m)), float(fan.walked_m[worst])
    is_one = length(first_m) == length(last_m)
    near = f"after {length(last_m) if is_one else span(first_m, last_m)} of {given(ACROSS_M)}"
    weakest = f"weakest is bearing {bearing:.0f}° at {given(fan.distance_m[worst])}"
    n_missed, n_bearings = int((~noticed).sum()), len(np.unique(fan.bearing_deg[~noticed]))
    others = "the other passes" if n_missed == 1 else "the others pass"
    at = f"bearing {missed}" if n_bearings == 1 else f"bearings {missed}"
    return f"{first}, {near}; {weakest if not missed else f'{others} {at}'}."


def fans_sentence(unit: Detector, to: Fan, across: Fan) -> str:
    """What to take from the fans to a unit and across it."""
    if not to.raised.any():
        text = f"Whoever walks straight at {unit.name} is never noticed"
    else:
        near, far = np.nanmin(to.left_m), np.nanmax(to.left_m)
        text = f"Whoever walks straight at {unit.name} comes within {span(near, far)} before the alarm"
        if not to.raised.all():
            text += f", from {int((~to.raised).sum())} bearings without any"
    share = float(across.raised.mean())
    return f"{text}; across it {share:.0%} of walks of {given(ACROSS_M)} raise it."


def who_walks(fan: Fan, unit: Detector) -> str:
    """Who walks the lines of a fan, and what the alarm takes."""
    pulses = pulse_words((unit,))
    also = {"also": " and the microwave", "either": ", or the microwave"}.get(fan.microwave or "", "")
    return (
        f"walked by: {fan.figure.name}, {speed(fan.speed_mps)}; the alarm takes {pulses} in each layer{also}"
    )


def _bearing_words(bearings: Floats) -> str:
    """Bearings for a sentence; empty for none.

    >>> _bearing_words(np.array([350.0, 355.0, 0.0, 5.0, 10.0]))
    '350°, 355°, 0° and 2 more'
    """
    named = [f"{bearing:.0f}°" for bearing in bearings[:3]]
    more = len(bearings) - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


#: What is broken on each kind of ground.
_BROKEN = {
    Verdict.BOTH: "both layers broken",
    Verdict.UPPER_ONLY: "upper layer alone broken",
    Verdict.LOWER_ONLY: "lower layer alone broken",
    Verdict.DEAD: "no layer broken",
    Verdict.OUTSIDE: "outside every arc or range",
    UNKNOWN: "no ground is known here",
}


def moment_words(moment: Moment) -> tuple[str, str, str]:
    """A walk at a moment: how far it is, which layers are broken, and the pulses of each layer by then."""
    counts: dict[str, int] = {}
    for pulse in moment.pulses:
        counts[pulse.layer] = counts.get(pulse.layer, 0) + 1
    pulses = ", ".join(f"{layer} {count}" for layer, count in sorted(counts.items(), reverse=True))
    return (
        f"{length(moment.along_m)}, {moment.time_s:.1f} s",
        _BROKEN[moment.code],
        f"pulses so far: {pulses}" if pulses else "no pulse so far",
    )


#: Over what is told once the alarm is raised.
ALARM_RAISED = "alarm raised"

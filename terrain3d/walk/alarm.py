"""When pulses add up to an alarm: so many in every layer that the rule needs, within the type's window."""

import numpy as np

from terrain3d.detector.pose import Detector
from terrain3d.units import Floats
from terrain3d.walk.crossings import Crossings
from terrain3d.walk.zones import zoned_layers

#: Two layers cross one edge together but for the last digits, seconds.
_TOGETHER_S = 1e-6


def alarm_times(
    unit: Detector, pulses: Crossings, speed_mps: float, sensed_s: Floats | None = None
) -> Floats:
    """Every moment of one walk at which a unit raises its alarm, seconds from the start, ascending.

    Parameters
    ----------
    unit : Detector
    pulses : Crossings
        Of one walk and this unit, in the order they come.
    speed_mps : float
    sensed_s : (n,) float, optional
        Moments at which the unit's microwave senses the figure, ascending; the layers alone count without it.

    Notes
    -----
    Each layer of each head counts its own pulses. A head raises the alarm at a pulse when within the
    type's `pulse_window` up to it every layer (or any, where the type's alarm is "any") has counted
    the head's pulses. Where the alarm takes the microwave also, a moment that it senses must lie in the same
    window, before or after the pulses; where either is enough, every such moment is an alarm too.
    """
    times = pulses.along_m / speed_mps
    owner = np.array([layer.head for layer in zoned_layers(unit)])
    reduce = np.any if unit.type.alarm == "any" else np.all
    also, raised = None, []
    if sensed_s is not None and unit.type.microwave is not None:
        if unit.type.microwave.needs == "also":
            also = sensed_s
        else:
            raised.append(sensed_s)
    for h in range(len(unit.type.head)):
        moments = times[owner[pulses.layer] == h]
        if also is not None:
            moments = np.union1d(moments, also)
        enough = []
        for k in np.flatnonzero(owner == h):
            own = times[pulses.layer == k]
            last = np.searchsorted(own, moments + _TOGETHER_S, side="right")
            first = np.searchsorted(own, moments - unit.type.pulse_window - _TOGETHER_S)
            enough.append(last - first >= unit.pulses_of(h))
        is_raised = reduce(enough, axis=0)
        if also is not None:
            last = np.searchsorted(also, moments + _TOGETHER_S, side="right")
            is_raised &= last > np.searchsorted(also, moments - unit.type.pulse_window - _TOGETHER_S)
        raised.append(moments[is_raised])
    return np.sort(np.concatenate(raised))


def first_alarm(units: tuple[Detector, ...], moments: list[Floats], combine: str) -> float | None:
    """When an option raises its alarm, seconds from the start of a walk; None when it never does.

    Under `any` the first unit does; under `all` every unit must, within the longest window of theirs.

    Parameters
    ----------
    units : tuple of Detector
    moments : list of (n,) float
        Alarm times of each unit, ascending.
    combine : {"any", "all"}

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0)   # window 10 s
    >>> first_alarm((unit, unit), [np.array([3.0]), np.array([7.0])], "any")
    3.0
    >>> first_alarm((unit, unit), [np.array([3.0]), np.array([7.0])], "all")
    7.0
    >>> first_alarm((unit, unit), [np.array([3.0]), np.array([17.0])], "all") is None
    True
    """
    every = np.unique(np.concatenate([*moments, np.zeros(0)]))
    if combine == "all" and units:
        window = max(unit.type.pulse_window for unit in units)
        for own in moments:
            upto = np.searchsorted(own, every, side="right")
            every = every[upto > np.searchsorted(own, every - window - _TOGETHER_S)]
    return float(every[0]) if len(every) else None

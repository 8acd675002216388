"""A walk at some moments: where the figure is, what ground that is, which pulses there have been by then."""

from dataclasses import dataclass

import numpy as np

from terrain3d.units import Floats
from terrain3d.walk.pulses import Pulse, WalkResult
from terrain3d.walk.track import spots_at

#: Moments at which a walk is told, and shown, from its start to its end.
MOMENTS = 8


@dataclass(frozen=True)
class Moment:
    """A walk at one moment.

    Parameters
    ----------
    along_m, time_s : float
        Walked by then.
    x, y : float
        Where the figure is, local metres.
    code : int
        Verdict of the ground there.
    pulses : tuple of Pulse
        All by then.
    has_alarm : bool
        Whether the alarm was raised by then.
    """

    along_m: float
    time_s: float
    x: float
    y: float
    code: int
    pulses: tuple[Pulse, ...]
    has_alarm: bool


def moments_of(walk: WalkResult, count: int) -> list[Moment]:
    """Some moments of a walk of some length, evenly apart from its start to its end.

    Of those between, the one nearest to the alarm is that of the alarm itself.

    Parameters
    ----------
    walk : WalkResult
    count : int
        Three or more.
    """
    at = np.linspace(0.0, walk.length_m, count)
    if walk.alarm is not None:
        at[1 + np.abs(at[1:-1] - walk.alarm.along_m).argmin()] = walk.alarm.along_m
    return [moment_at(walk, float(one)) for one in at]


def moment_at(walk: WalkResult, along_m: float) -> Moment:
    """A walk when so much of it is walked."""
    x, y = spots_at(walk.line, np.array([along_m]))
    piece = min(int(along_m / walk.strip_m), len(walk.strip) - 1)
    hair = 1e-9
    return Moment(
        along_m,
        along_m / walk.speed_mps,
        float(x[0]),
        float(y[0]),
        int(walk.strip[piece]),
        tuple(pulse for pulse in walk.pulses if pulse.along_m <= along_m + hair),
        walk.alarm is not None and walk.alarm.along_m <= along_m + hair,
    )


def walked_line(walk: WalkResult, along_m: float) -> Floats:
    """(n, 2) the part of a path that is walked by then."""
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(walk.line, axis=0).T))])
    x, y = spots_at(walk.line, np.array([along_m]))
    return np.vstack([walk.line[lengths < along_m], [[float(x[0]), float(y[0])]]])

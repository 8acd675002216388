"""The voltage at each load of a supply whose cables branch and never close a ring.

A load draws a current whatever its voltage, or a power, as a switching regulator does: then less voltage
means more current. With V the voltages, R the resistance that two loads have in common on their way from
the source, V = E - R (I + P / V). Of the solutions the highest is the one that a supply switched on comes to.
"""

import numpy as np
from numpy.typing import ArrayLike

from terrain3d.units import Floats

#: Steps of Newton's method, of which some eight are needed; a supply on the brink of what it can carry
#: takes more.
_MOST_STEPS = 100
_NEAR_V = 1e-12


def solve_volts(
    source_v: float, shared_ohm: ArrayLike, amperes: ArrayLike, watts: ArrayLike
) -> Floats | None:
    """(n,) volts at each load; None where the source cannot feed them.

    Each step starts above the highest solution and stays there, for drop is convex in V: where a step
    leaves that side there is none.

    Parameters
    ----------
    source_v : float
        At the source.
    shared_ohm : (n, n) float
        Of both cores of the way that two loads have in common; on the diagonal all of a load's own way.
    amperes, watts : (n,) float
        What each load draws: so much current, and so much power.

    Examples
    --------
    A load of 1 W at the end of 3.9 ohm:

    >>> solve_volts(12.0, [[3.9]], [0.0], [1.0]).round(6)
    array([11.665686])
    >>> solve_volts(12.0, [[3.9]], [0.0], [9.24]) is None  # above E^2 / 4 R = 9.2308 W
    True
    """
    ohm = np.asarray(shared_ohm, float)
    current, power = np.asarray(amperes, float), np.asarray(watts, float)
    volts = np.full(len(current), float(source_v))
    for _ in range(_MOST_STEPS):
        off = volts - source_v + ohm @ (current + power / volts)
        slope = np.eye(len(volts)) - ohm * (power / volts**2)
        try:
            inverse = np.linalg.inv(slope)
        except np.linalg.LinAlgError:
            return None
        if (inverse < -_NEAR_V).any():
            return None
        step = inverse @ off
        volts = volts - step
        if not (volts > 0).all():
            return None
        if np.abs(step).max(initial=0.0) < _NEAR_V * source_v:
            return np.asarray(volts)
    return None

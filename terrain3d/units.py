"""Units, angles and the few named tolerances; each constant with its source."""

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: International foot, exact by definition (NIST/NOAA Federal Register 2020-21902).
FOOT_M = 0.3048
#: US survey foot, exact by definition; deprecated since 31 December 2022 (same notice).
US_SURVEY_FOOT_M = 1200 / 3937
#: The unit names a site file may use, in metres.
UNIT_M = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}
_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def unit_name(metres: float) -> str | None:
    """Name the unit that is this many metres long; None when it is none of ours.

    The two feet differ by 2 parts in a million, so the match is closer than that.

    >>> unit_name(0.3048), unit_name(0.304800609601219), unit_name(0.9144)
    ('ft', 'us-ft', None)
    """
    for name, size in UNIT_M.items():
        if math.isclose(size, metres, rel_tol=1e-7):
            return name
    return None


def direction(bearing_deg: float) -> tuple[float, float]:
    """Unit vector (east, north) of a bearing, degrees clockwise from north.

    >>> tuple(round(v, 12) for v in direction(90))
    (1.0, 0.0)
    """
    angle = math.radians(bearing_deg)
    return math.sin(angle), math.cos(angle)


def compass_point(bearing_deg: float) -> str:
    """The one of eight compass points that a bearing is nearest to.

    >>> compass_point(50.0), compass_point(-10.0)
    ('north-east', 'north')
    """
    return _COMPASS[round(bearing_deg / 45) % 8]


def wrap_deg(angle_deg: float) -> float:
    """The same bearing in [0, 360).

    >>> wrap_deg(-90), wrap_deg(360)
    (270, 0)
    """
    return angle_deg % 360

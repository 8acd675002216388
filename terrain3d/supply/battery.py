"""How large a battery has to be to carry a supply through the hours without mains."""

import numpy as np

#: Temperature, °C, and by how much larger a lead-acid battery has to be there than at 25 °C: IEEE 485,
#: table 1, as restated in the project's check values (from memory).
_COLDER = (
    (-3.9, 1.520), (-1.1, 1.430), (1.7, 1.350), (4.4, 1.300), (10.0, 1.190), (15.6, 1.110), (25.0, 1.000),
)  # fmt: skip
#: A battery gives less of its charge when it is emptied faster than in so many hours, and so much counts
#: double.
_SLOW_HOURS, _FAST = 20.0, 1.75
#: Replaced when it is down to 80 % of its charge: 1 / 0.8.
AGEING = 1.25


def needed_ah(
    rest_a: float,
    rest_hours: float,
    alarm_a: float,
    alarm_hours: float,
    ageing: float = AGEING,
    temperature_c: float = 25.0,
) -> float:
    """Ampere hours that a new battery has to have: ageing * (T1 I1 + D I2 T2), and more in the cold.

    D is 1.75 where the current of the alarm would empty it in less than 20 hours (the form of BS 5839-1).

    Parameters
    ----------
    rest_a, alarm_a : float
        Drawn at rest, and in alarm.
    rest_hours, alarm_hours : float
        How long each.
    ageing : float
    temperature_c : float
        Coldest that the battery has to work in.

    Examples
    --------
    >>> round(needed_ah(0.25, 24, 0.75, 0.5), 2)
    8.32
    """
    slow = ageing * (rest_hours * rest_a + alarm_hours * alarm_a)
    more = 1.0 if alarm_a <= slow / _SLOW_HOURS else _FAST
    return ageing * (rest_hours * rest_a + more * alarm_hours * alarm_a) * colder(temperature_c)


def colder(temperature_c: float) -> float:
    """By how much larger a battery has to be at a temperature than at 25 °C.

    >>> colder(10.0), colder(30.0)
    (1.19, 1.0)
    """
    at_c, factors = np.array(_COLDER).T
    return float(np.interp(temperature_c, at_c, factors))

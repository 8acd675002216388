"""What a metre of copper resists: by size, class and temperature.

IEC 60228 gives the most that a conductor of each size may have at 20 °C, which is what cable is sold by; a
gauge of wire (AWG) is defined by its diameter. Both as restated in the project's check values.
"""

import math
from dataclasses import dataclass

#: Greatest resistance at 20 °C, ohm a kilometre, of one plain copper conductor by its size in mm2: solid and
#: stranded (classes 1 and 2), flexible (5 and 6), flexible tinned. IEC 60228:2004, tables 1 to 4. 0.22 mm2 is
#: no size of that standard: one table of the trade.
OHM_PER_KM = {
    0.22: (96.0, 96.0, 99.0),
    0.5: (36.0, 39.0, 40.1),
    0.75: (24.5, 26.0, 26.7),
    1.0: (18.1, 19.5, 20.0),
    1.5: (12.1, 13.3, 13.7),
    2.5: (7.41, 7.98, 8.21),
}
SIZES_MM2 = tuple(OHM_PER_KM)
#: Of annealed copper: what resistance gains with each kelvin, of that at 20 °C; ohm mm2 a metre (IEC 60028).
_PER_KELVIN, _OHM_MM2_PER_M = 0.00393, 1 / 58
#: What a stranded gauge of wire has more than a solid one: 2 to 6 % in tables of the trade, the most is
#: taken.
_STRANDED = 1.06


@dataclass(frozen=True)
class Conductor:
    """One core of a cable: exactly one of `mm2`, `awg` and `ohm_per_km` (at 20 °C) says what it is.

    `iec_class` is 1 (solid), 2 (stranded), 5 or 6 (flexible); `temperature_c` that of the copper.
    """

    mm2: float | None
    awg: int | None
    ohm_per_km: float | None
    iec_class: int = 2
    is_tinned: bool = False
    temperature_c: float = 20.0


def ohm_per_m(conductor: Conductor) -> float:
    """Resistance of a metre of one core, as warm as it is.

    Examples
    --------
    0.5 mm2 of class 5 has 39 ohm a kilometre at 20 °C, and 42.07 at 40 °C:

    >>> round(1000 * ohm_per_m(Conductor(0.5, None, None, 5, temperature_c=40.0)), 2)
    42.07
    """
    cold = conductor.ohm_per_km
    if conductor.mm2 is not None:
        column = 0 if conductor.iec_class <= 2 else 2 if conductor.is_tinned else 1
        cold = OHM_PER_KM[conductor.mm2][column]
    elif conductor.awg is not None:
        cold = awg_ohm_per_km(conductor.awg) * (1.0 if conductor.iec_class == 1 else _STRANDED)
    assert cold is not None
    return cold / 1000 * warmed(conductor.temperature_c)


def warmed(temperature_c: float) -> float:
    """What a resistance at 20 °C is multiplied by.

    >>> round(warmed(40.0), 4), round(warmed(-20.0), 4)
    (1.0786, 0.8428)
    """
    return 1 + _PER_KELVIN * (temperature_c - 20)


def awg_ohm_per_km(gauge: int) -> float:
    """Of a solid wire at 20 °C; its diameter is 0.127 mm * 92^((36 - gauge) / 39) by definition.

    >>> round(awg_ohm_per_km(18), 4)
    20.9482
    """
    diameter_mm = 0.127 * math.pow(92, (36 - gauge) / 39)
    return 1000 * _OHM_MM2_PER_M / (math.pi / 4 * diameter_mm**2)

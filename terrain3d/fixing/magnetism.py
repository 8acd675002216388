"""What a compass shows beside true north: the declination of a place on a day, by the World Magnetic
Model."""

import datetime
import math
from dataclasses import dataclass

from terrain3d.errors import InputError

#: A declination told to a tenth is told for sure where the horizontal field is at least this, nT: below it
#: the model's makers ask for caution with a compass, and below the lower one for no compass at all.
CAUTION_NT, NO_COMPASS_NT = 6000.0, 2000.0
#: Years for which the library has coefficients.
_FIRST_YEAR, _LAST_YEAR = 2010, 2029


@dataclass(frozen=True)
class Magnetic:
    """The declination of a place on a day.

    `declination_deg` is what is added to a compass to come to true north, east positive; `error_deg` the
    model's own standard deviation of it, which knows nothing of steel near by; `horizontal_nt` what turns
    the needle.
    """

    model: str
    on: datetime.date
    declination_deg: float
    error_deg: float
    horizontal_nt: float

    def compass_deg(self, true_deg: float) -> float:
        """What a compass shows where the true bearing is so."""
        return (true_deg - self.declination_deg) % 360


def check_day(on: datetime.date, where: str = "") -> None:
    """Refuse a day that no model covers; `where` it was given, for the message.

    Raises
    ------
    InputError
    """
    if not _FIRST_YEAR <= on.year <= _LAST_YEAR:
        raise InputError(
            f"no magnetic model covers {on.isoformat()}",
            where,
            f"give a day of {_FIRST_YEAR} to {_LAST_YEAR}",
        )


def magnetic_at(lon: float, lat: float, height_m: float, on: datetime.date) -> Magnetic:
    """The declination at a place, WGS 84 degrees and metres above the sea, on a day.

    Raises
    ------
    InputError
        When no model covers the day.

    Examples
    --------
    >>> found = magnetic_at(0.0, 80.0, 0.0, datetime.date(2025, 1, 1))
    >>> found.model, round(found.declination_deg, 2)
    ('WMM-2025', 1.28)
    """
    check_day(on)
    from pygeomag import GeoMag

    model = GeoMag(base_year=on.year)
    days = (datetime.date(on.year + 1, 1, 1) - datetime.date(on.year, 1, 1)).days
    year = on.year + (on.timetuple().tm_yday - 1) / days
    # A day in the year before the model's own is within what the library takes for it.
    found = model.calculate(
        glat=lat, glon=lon, alt=height_m / 1000, time=year, allow_date_outside_lifespan=True
    )
    horizontal_nt = float(found.h)
    error_deg = _error_deg(horizontal_nt, on.year)
    return Magnetic(str(model.model), on, float(found.d), error_deg, horizontal_nt)


def _error_deg(horizontal_nt: float, year: int) -> float:
    """The model's own: sqrt(0.26^2 + (k / H)^2), k = 5417 nT of 2025 and 5625 of 2020 (their reports)."""
    if year >= 2025:
        base, k = 0.26, 5417.0
    elif year >= 2020:
        base, k = 0.26, 5625.0
    else:
        base, k = 0.23, 5430.0
    return math.hypot(base, k / max(horizontal_nt, 1e-9))

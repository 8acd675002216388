"""When the low sun stands in a unit's view: within a head's arc, near a layer, above the real horizon.

The sun is placed by the solar position algorithm of Reda and Andreas (NREL/TP-560-34302), as pvlib has
it, through the middle of every five minutes of a year. Its elevation is the apparent one, lifted by
refraction (standard air; 0.3 to 0.5 degrees at the horizon), and that of its middle: the disc reaches
0.27 degrees farther. In the head's own frame, tilt and roll included, it must stand within the arc and no
more than `near` degrees from the layer's band.

What hides it is cast ray by ray from the unit: ground, solids, and foliage that lets through less than
`LEAST_LIGHT`; past them the surface of the survey, `Terrain.far`, where it was read so far. Ground that
is not known hides nothing, and what lies beyond the survey is taken as level: there the sun rises at
elevation 0. The frame is centred on the site, so its north is true north: 100 m from the centre the two
differ by under 0.002 degrees up to latitude 60.
"""

import difflib
import itertools
import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from terrain3d.detector.pose import Detector, PosedHead, PosedLayer, in_head, is_open, posed_heads
from terrain3d.errors import InputError
from terrain3d.sight.foliage import near_leaves
from terrain3d.sight.hits import first_hits, ground_distances
from terrain3d.sight.picture import light_along
from terrain3d.sight.slices import N_BINS
from terrain3d.site import SunSetting
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats

STEP_MIN = 5
STEPS_A_DAY = 24 * 60 // STEP_MIN
#: Foliage that lets through less hides the sun; invented, and low, for the sun is strong.
LEAST_LIGHT = 0.05
#: A span ends where the sun's clock times have drifted by this, minutes, so that its hours say something.
DRIFT_MIN = 60
#: Clock of a site without a place on earth.
_NOWHERE = "UTC"
#: Days without the sun in view that do not end a season.
SHORT_PAUSE_DAYS = 14
#: Codes of `SunLayer.states`.
AWAY, HIDDEN, SEEN = range(3)

#: Standard air at sea level, and the earth's lag behind uniform time in the 2020s, seconds; the last
#: digits of neither move the sun by a thousandth of a degree above the first degree.
_PRESSURE_HPA, _AIR_C, _DELTA_T_S = 1013.25, 12.0, 69.2
#: Refraction at rising that the algorithm starts from, degrees.
_AT_RISING_DEG = 0.5667
#: An hour is looked at closely unless the sun is lower than this at both its ends.
_NEVER_UP_DEG = -4.0
_OFFSETS_AN_HOUR = 4


@dataclass(frozen=True)
class SunSpan:
    """Dates between which the sun comes in view every so often, and between which hours.

    `start_min` and `end_min` are minutes of local clock time after midnight, the earliest and the
    latest of all days; `longest_min` is the longest stay of one day.
    """

    first: date
    last: date
    start_min: int
    end_min: int
    longest_min: int


@dataclass(frozen=True, eq=False)
class SunLayer:
    """The sun before one layer of one head.

    Parameters
    ----------
    unit : str
    head : int
        1 for the first.
    facing_deg : float
        Bearing of the head.
    layer : str
    spans : tuple of SunSpan
    minutes : int
        In a year, with the sun in view.
    hidden_minutes : int
        In a year, with the sun above level and where it would be in view, but hidden.
    states : (days, STEPS_A_DAY) uint8
        AWAY, HIDDEN or SEEN, by date and local clock time.
    """

    unit: str
    head: int
    facing_deg: float
    layer: str
    spans: tuple[SunSpan, ...]
    minutes: int
    hidden_minutes: int
    states: NDArray[np.uint8]

    @property
    def season(self) -> tuple[date, date] | None:
        """First and last day with the sun in view, after and before the year's longest pause.

        A season over New Year begins later in the year than it ends; a pause shorter than
        `SHORT_PAUSE_DAYS` is none, and the season then the whole year. None without any day.
        """
        days = np.flatnonzero((self.states == SEEN).any(axis=1))
        if not self.spans or not len(days):
            return None
        new_year = date(self.spans[0].first.year, 1, 1)
        steps = np.diff(days, append=days[0] + len(self.states))
        if steps.max() <= SHORT_PAUSE_DAYS:
            return new_year, date(new_year.year, 12, 31)
        pause = int(steps.argmax())
        ends = days[(pause + 1) % len(days)], days[pause]
        return new_year + timedelta(days=int(ends[0])), new_year + timedelta(days=int(ends[1]))


@dataclass(frozen=True, eq=False)
class SunResult:
    """One option under the sun of a year.

    `zone` names the time zone of the clock times: as it is set, or that of the place. `daylight` is
    (days, STEPS_A_DAY) bool, by date and local clock time: the sun above level. Without `origin_lonlat` the
    sun cannot be placed: `layers` is empty. `far_cells_m` are the cells of the survey's surface past the
    ground worked on, from the nearest ring out.
    """

    setting: SunSetting
    zone: str
    origin_lonlat: tuple[float, float] | None
    daylight: NDArray[np.bool_]
    layers: tuple[SunLayer, ...]
    far_cells_m: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class SunYear:
    """The sun above level, through one year at one place.

    Parameters
    ----------
    azimuth_deg, elevation_deg : (n,) float
        Clockwise from north; apparent.
    day, step : (n,) int
        Day of the year from 0, and step of the day, by the local clock.
    offset_s : (days,) int
        The zone's offset from UTC at noon.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    day: NDArray[np.int64]
    step: NDArray[np.int64]
    offset_s: NDArray[np.int64]


def sun_positions(
    unix_s: ArrayLike,
    lon: float,
    lat: float,
    height_m: float = 0.0,
    pressure_hpa: float = _PRESSURE_HPA,
    air_c: float = _AIR_C,
    delta_t_s: float = _DELTA_T_S,
) -> tuple[Floats, Floats, Floats]:
    """Where the sun stands.

    Parameters
    ----------
    unix_s : (n,) float
        Seconds since 1970, UTC.
    lon, lat : float
        Degrees, east and north positive.
    height_m : float
        Above the ellipsoid.
    pressure_hpa, air_c : float
        Of the air that refracts.
    delta_t_s : float
        Terrestrial less universal time.

    Returns
    -------
    azimuth_deg, apparent_deg, geometric_deg : (n,) float
        Clockwise from north; elevation of the sun's middle with and without refraction.

    Examples
    --------
    Noon of midsummer at the zero meridian:

    >>> noon = datetime(2024, 6, 20, 12, tzinfo=UTC).timestamp()
    >>> [v.round(4).tolist() for v in sun_positions([noon], 0.0, 51.4778)]
    [[179.1678], [61.9659], [61.9569]]
    """
    from pvlib import spa  # late: it brings pandas along

    _, _, apparent, geometric, azimuth, _ = spa.solar_position(
        np.atleast_1d(np.asarray(unix_s, float)),
        lat, lon, height_m, pressure_hpa, air_c, delta_t_s, _AT_RISING_DEG,
    )  # fmt: skip
    return azimuth, apparent, geometric


@lru_cache(maxsize=4)
def sun_year(lon: float, lat: float, year: int, zone_name: str) -> SunYear:
    """The sun of one year, worked out once for all units of a site.

    Raises
    ------
    InputError
        Where there is no such time zone.
    """
    zone = time_zone(zone_name)
    midnight = datetime(year, 1, 1, tzinfo=zone).timestamp()
    hours = round((datetime(year + 1, 1, 1, tzinfo=zone).timestamp() - midnight) / 3600)
    _, at_hours, _ = sun_positions(midnight + 3600.0 * np.arange(hours + 1), lon, lat)
    light = np.flatnonzero(np.maximum(at_hours[:-1], at_hours[1:]) > _NEVER_UP_DEG)
    within = 60 * STEP_MIN * (np.arange(60 // STEP_MIN) + 0.5)
    unix_s = (midnight + 3600.0 * light[:, None] + within).ravel()
    azimuth, elevation, _ = sun_positions(unix_s, lon, lat)
    up = elevation > 0
    local_s = (
        unix_s[up]
        + _offsets(zone, midnight, hours)[((unix_s[up] - midnight) * _OFFSETS_AN_HOUR // 3600).astype(int)]
    )
    local_s -= datetime(year, 1, 1, tzinfo=UTC).timestamp()
    day = (local_s // 86400).astype(np.int64)
    step = (local_s % 86400 // (60 * STEP_MIN)).astype(np.int64)
    days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    noons = [datetime(year, 1, 1, 12) + timedelta(days=n) for n in range(days)]
    offset = np.array([_seconds(noon.replace(tzinfo=zone)) for noon in noons], np.int64)
    return SunYear(azimuth[up], elevation[up], np.clip(day, 0, days - 1), step, offset)


def sun_times(terrain: Terrain, units: tuple[Detector, ...], setting: SunSetting) -> SunResult:
    """When the sun stands in each layer of an option's units.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
    setting : SunSetting

    Raises
    ------
    InputError
        Where the site file names no time zone that there is.
    """
    origin = terrain.frame.origin_lonlat
    if origin is None:
        zone = setting.zone or _NOWHERE
        time_zone(zone)
        return SunResult(setting, zone, None, np.zeros((0, STEPS_A_DAY), bool), (), ())
    zone = setting.zone or zone_at(*origin)
    sun = sun_year(*origin, setting.year, zone)
    daylight = np.zeros((len(sun.offset_s), STEPS_A_DAY), bool)
    daylight[sun.day, sun.step] = True
    layers = tuple(found for unit in units for found in _before_unit(terrain, unit, sun, setting))
    return SunResult(setting, zone, origin, daylight, layers, tuple(ring.cell_m for ring in terrain.far))


def sun_near(head: PosedHead, layer: PosedLayer, directions: Floats, near_deg: float) -> NDArray[np.bool_]:
    """Whether directions lie within a head's arc and so many degrees of a layer's band, (n,) bool.

    Parameters
    ----------
    head : PosedHead
    layer : PosedLayer
    directions : (n, 3) float
        World directions.
    near_deg : float
    """
    azimuth, elevation = in_head(head, directions)
    reach = layer.thickness_deg / 2 + near_deg
    return is_open(head, azimuth) & (np.abs(elevation - layer.elevation_deg) <= reach)


def directions_of(azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """(n, 3) unit vectors east, north, up."""
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.column_stack([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])


def hidden(terrain: Terrain, unit: Detector, azimuth_deg: Floats, elevation_deg: Floats) -> NDArray[np.bool_]:
    """Whether ground, solids or foliage stand before each direction, (n,) bool."""
    far = _far_m(terrain.ground)
    rays = directions_of(azimuth_deg, elevation_deg)
    behind = np.isfinite(first_hits(terrain, unit.eye, rays, far).distance)
    for ring in terrain.far:
        behind |= np.isfinite(ground_distances(ring, unit.eye, rays, _far_m(ring)))
    slopes = np.tan(np.radians(elevation_deg))
    for n in np.flatnonzero(~behind & _may_meet_leaves(terrain, unit, azimuth_deg, slopes, far)):
        light = light_along(terrain, unit.eye, float(azimuth_deg[n]), slopes[n : n + 1], np.array([far]))
        behind[n] = light[0, 0] < LEAST_LIGHT
    return behind


def _may_meet_leaves(
    terrain: Terrain, unit: Detector, azimuth_deg: Floats, slopes: Floats, far_m: float
) -> NDArray[np.bool_]:
    """Whether lines pass under the highest leaf where the first leaves of their direction stand."""
    leaves = terrain.foliage
    if not len(leaves.base_z):
        return np.zeros(len(slopes), bool)
    x, y, z = unit.eye
    nearest = near_leaves(leaves.column, leaves.x0, leaves.y0, leaves.cell_m, x, y, far_m)
    highest = float(leaves.base_z.max()) + leaves.step_m * (leaves.above.shape[1] - 1) - z
    first = nearest[np.minimum((azimuth_deg % 360 / 360 * N_BINS).astype(int), N_BINS - 1)]
    at_first = np.multiply(slopes, first, out=np.full(len(slopes), np.inf), where=np.isfinite(first))
    under: NDArray[np.bool_] = at_first < highest
    return under


def _before_unit(terrain: Terrain, unit: Detector, sun: SunYear, setting: SunSetting) -> list[SunLayer]:
    directions = directions_of(sun.azimuth_deg, sun.elevation_deg)
    places = [
        (
            number,
            (unit.bearing_deg + unit.pan_of(number - 1)) % 360,
            layer,
            sun_near(head, layer, directions, setting.near),
        )
        for number, head in enumerate(posed_heads(unit), 1)
        for layer in head.layers
    ]
    # The same sun stands near several layers: each direction is cast once.
    any_near = np.flatnonzero(np.any([near for *_, near in places], axis=0))
    behind = np.zeros(len(directions), bool)
    behind[any_near] = hidden(terrain, unit, sun.azimuth_deg[any_near], sun.elevation_deg[any_near])
    found = []
    for number, facing, layer, near in places:
        states = np.zeros((len(sun.offset_s), STEPS_A_DAY), np.uint8)
        # Where a clock is put back, two steps share a place, and the one in view counts.
        np.maximum.at(states, (sun.day[near], sun.step[near]), np.where(behind[near], HIDDEN, SEEN))
        spans = _spans(states == SEEN, sun.offset_s, setting.year)
        n_hidden = int((near & behind).sum())
        minutes = STEP_MIN * (int(near.sum()) - n_hidden)
        found.append(
            SunLayer(unit.name, number, facing, layer.name, spans, minutes, STEP_MIN * n_hidden, states)
        )
    return found


def _spans(seen: NDArray[np.bool_], offset_s: NDArray[np.int64], year: int) -> tuple[SunSpan, ...]:
    """Neighbouring days and steps in view as spans, told apart where the clocks are changed."""
    spans: list[SunSpan] = []
    cuts = [0, *(np.flatnonzero(np.diff(offset_s)) + 1), len(offset_s)]
    for begin, end in itertools.pairwise(cuts):
        labels, count = ndimage.label(seen[begin:end], np.ones((3, 3)))
        for number, (days, _) in enumerate(ndimage.find_objects(labels, count), 1):
            spans += _drifting(labels[days] == number, begin + days.start, year)
    return tuple(sorted(spans, key=lambda span: (span.first, span.start_min)))


def _drifting(seen: NDArray[np.bool_], first_day: int, year: int) -> list[SunSpan]:
    """One patch of days and steps as spans whose hours drift by no more than `DRIFT_MIN`."""
    spans: list[SunSpan] = []
    begin = 0
    starts = STEP_MIN * seen.argmax(axis=1)
    ends = STEP_MIN * (STEPS_A_DAY - seen[:, ::-1].argmax(axis=1))
    longest = STEP_MIN * seen.sum(axis=1)

    def span(last: int) -> SunSpan:
        part = slice(begin, last + 1)
        day = [date(year, 1, 1) + timedelta(days=int(first_day + n)) for n in (begin, last)]
        return SunSpan(
            day[0], day[1], int(starts[part].min()), int(ends[part].max()), int(longest[part].max())
        )

    for last in range(1, len(seen)):
        grown = span(last)
        if grown.end_min - grown.start_min > grown.longest_min + DRIFT_MIN:
            spans.append(span(last - 1))
            begin = last
    return [*spans, span(len(seen) - 1)]


def _far_m(ground: Ground) -> float:
    """Farther than anything of the survey, from anywhere in it."""
    west, south, east, north = ground.bounds
    return 2 * math.hypot(east - west, north - south) + 100.0


def zone_at(lon: float, lat: float) -> str:
    """The time zone of a place on earth, a name of the time zone database.

    >>> zone_at(2.35, 48.86), zone_at(174.8, -41.3)
    ('Europe/Paris', 'Pacific/Auckland')
    """
    import tzfpy  # late: it brings its map along

    return str(tzfpy.get_tz(lon, lat)) or _NOWHERE


def time_zone(name: str) -> ZoneInfo:
    """The time zone of that name.

    Raises
    ------
    InputError
        Where there is none.

    Examples
    --------
    >>> time_zone("Europe/Pari")
    Traceback (most recent call last):
    terrain3d.errors.InputError: there is no time zone 'Europe/Pari'
      where: site.toml: sun: zone
      to mend: did you mean 'Europe/Paris'?
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = difflib.get_close_matches(name, sorted(available_timezones()), n=1)
        raise InputError(
            f"there is no time zone {name!r}",
            "site.toml: sun: zone",
            f"did you mean {near[0]!r}?" if near else "name one such as 'Europe/Paris' or 'UTC'",
        ) from None


def _offsets(zone: ZoneInfo, start_s: float, hours: int) -> NDArray[np.int64]:
    """Offset from UTC in seconds, for each quarter of an hour from a moment on."""
    moments = start_s + 3600.0 / _OFFSETS_AN_HOUR * np.arange(hours * _OFFSETS_AN_HOUR)
    return np.array([_seconds(datetime.fromtimestamp(moment, zone)) for moment in moments], np.int64)


def _seconds(moment: datetime) -> int:
    offset = moment.utcoffset()
    assert offset is not None
    return round(offset.total_seconds())

"""The sun's place and its times, against published worked examples and closed forms of the sky."""

import math
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapes

from terrain3d.conditions.sun import AWAY, HIDDEN, SEEN, STEP_MIN, sun_positions, sun_times
from terrain3d.detector.types import DetectorType, Head, Layer, load_type
from terrain3d.frame import Frame, site_frame
from terrain3d.site import SunSetting
from terrain3d.terrain import Foliage, Solids, Terrain


def at(*moment, hours=0):
    """Seconds since 1970 of a moment of a clock so many hours ahead of UTC."""
    return datetime(*moment, tzinfo=timezone(timedelta(hours=hours))).timestamp()


def test_nrel_worked_example():
    """Reda and Andreas, NREL/TP-560-34302, table A5.1: 17 October 2003, 12:30:30, 7 h behind UTC."""
    azimuth, apparent, geometric = sun_positions(
        [at(2003, 10, 17, 12, 30, 30, hours=-7)],
        -105.1786, 39.742476, height_m=1830.14, pressure_hpa=820, air_c=11, delta_t_s=67,
    )  # fmt: skip
    assert azimuth[0] == pytest.approx(194.340241, abs=1.5e-6)
    assert apparent[0] == pytest.approx(39.888378, abs=1.5e-6)
    assert geometric[0] == pytest.approx(39.872046, abs=1.5e-6)
    # The same table: a plane 30 degrees steep that faces 10 degrees east of south is met at 25.187.
    zenith, slope, turn = (
        math.radians(90 - apparent[0]),
        math.radians(30),
        math.radians(azimuth[0] - 180 + 10),
    )
    incidence = math.acos(
        math.cos(zenith) * math.cos(slope) + math.sin(slope) * math.sin(zenith) * math.cos(turn)
    )
    assert math.degrees(incidence) == pytest.approx(25.187, abs=2e-6)


def test_nrel_sunrise_and_sunset():
    """The same table: the sun rises at 06:12:43 and sets at 17:20:19, its upper edge on the horizon.

    Both are of 17 October by universal time, so the sunset is that of the evening before by the clock.
    """
    for day, moment in ((17, (6, 12, 43)), (16, (17, 20, 19))):
        _, _, geometric = sun_positions(
            [at(2003, 10, day, *moment, hours=-7)], -105.1786, 39.742476, height_m=1830.14, delta_t_s=67
        )
        # The report's refraction at rising, 0.5667, and radius of the sun, 0.26667 degrees, together; here
        # the observer's parallax, 0.0024 degrees, is in, and half a second of time is 0.0015.
        assert geometric[0] == pytest.approx(-0.8333, abs=0.005)


def test_meeus_declination():
    """Meeus, Astronomical Algorithms, example 25.a: 13 October 1992, 0 h TD, declination -7.78507.

    Its low-accuracy method and this one differ by under 0.01 degrees. At the pole the sun's geocentric
    elevation is its declination; the parallax there, at most 0.0025 degrees, stays within that.
    """
    _, _, geometric = sun_positions([at(1992, 10, 13)], 0.0, 90.0, delta_t_s=0.0)
    assert geometric[0] == pytest.approx(-7.78507, abs=0.01)


#: Longitude, latitude, moment UTC, apparent and geometric elevation, azimuth: pvlib's own plain code, at
#: 1013.25 hPa, 12 C, 69.2 s and height 0 (the output of that code, one route).
LOW_SUNS = [
    (0.0, 51.4778, (2024, 6, 20, 12), 61.965882, 61.956919, 179.167788),
    (0.0, 51.4778, (2024, 12, 21, 8, 30), 2.562865, 2.300291, 133.604768),
    (0.0, 51.4778, (2024, 3, 20, 6, 30), 3.764334, 3.560459, 94.395649),
    (151.2093, -33.8688, (2024, 1, 15, 21), 22.759736, 22.720014, 100.886353),
]


@pytest.mark.parametrize(("lon", "lat", "moment", "apparent", "geometric", "azimuth"), LOW_SUNS)
def test_low_suns(lon, lat, moment, apparent, geometric, azimuth):
    """Low suns of both hemispheres, with and without refraction."""
    found = sun_positions([at(*moment)], lon, lat)
    assert [float(v[0]) for v in found] == pytest.approx([azimuth, apparent, geometric], abs=2e-6)


def test_north_of_the_frame_is_true_north():
    """100 m from the centre the frame's north is off true north by under 0.002 degrees up to latitude 60.

    PROJ's own meridian convergence, and the closed form: longitude's difference times the latitude's sine.
    """
    for lat in (30.0, 45.0, 60.0):
        frame = site_frame(pyproj.CRS("EPSG:4326"), 5.0, lat)
        lon, there = (float(v) for v in frame.from_local(100.0, 100.0, pyproj.CRS("EPSG:4326")))
        turn = pyproj.Proj(frame.wkt).get_factors(lon, there).meridian_convergence
        assert abs(turn) < 0.002
        assert turn == pytest.approx((lon - 5.0) * math.sin(math.radians(there)), rel=1e-4)


def tall(arc):
    """A type with one layer from 0 to 20 degrees above level and an arc."""
    layer = Layer(name="upper", elevation=10.0, thickness=20.0)
    whole = load_type("one-head-90", Path()).model_dump(exclude={"head"})
    return DetectorType(**whole, head=(Head(arc=arc, layer=(layer,)),))


def placed(on, lon, lat, solids=None, foliage=None):
    """A site of shapes at a place on earth."""
    frame = Frame(site_frame(None, 0, 0).wkt, (lon, lat))
    return Terrain(frame, on, solids or Solids.none(), foliage or Foliage.none(), (), ())


SETTING = SunSetting(year=2026, zone="UTC", near=0.0)


def first_step(states, day, code):
    """Minute after midnight of the first step of a day with a code; None for none."""
    steps = np.flatnonzero(states[day] == code)
    return STEP_MIN * int(steps[0]) if len(steps) else None


def test_equinox_sun_rises_due_east():
    """At the equinox the sun rises due east everywhere, about six hours before noon of the sun.

    Spherical astronomy: cos A = sin(declination) / cos(latitude) is 0 at declination 0. Refraction lifts
    the sun, which then stands farther north, by 0.57 degrees times tan(latitude).
    """
    for lat in (0.0, 45.0):
        site = placed(shapes.plane(0.0), 0.0, lat)
        unit = shapes.unit(tall(3.0), bearing_deg=90.0)
        (layer,) = sun_times(site, (unit,), SETTING).layers
        day = datetime(2026, 3, 20, tzinfo=UTC).timetuple().tm_yday - 1
        risen = first_step(layer.states, day, SEEN)
        # The equation of time is -7.5 minutes then; refraction takes 0.57 / 15 hours / cos(latitude).
        expected = 6 * 60 + 7.5 - 0.57 * 4 / math.cos(math.radians(lat))
        assert risen == pytest.approx(expected, abs=STEP_MIN)


def test_midsummer_sun_rises_north_of_east():
    """cos A = sin 23.44 / cos 45 at midsummer on latitude 45: A = 55.8 degrees, less for refraction."""
    site = placed(shapes.plane(0.0), 0.0, 45.0)
    day = datetime(2026, 6, 21, tzinfo=UTC).timetuple().tm_yday - 1
    rising = math.degrees(math.acos(math.sin(math.radians(23.437)) / math.cos(math.radians(45.0))))
    north_of, at_it, south_of = (
        sun_times(site, (shapes.unit(tall(1.0), bearing_deg=bearing),), SETTING).layers[0].states[day]
        for bearing in (rising - 3.0, rising, rising + 3.0)
    )
    assert (north_of == AWAY).all()
    assert (at_it == SEEN).sum() <= 2
    # Three degrees on it has climbed by three degrees times tan(90 - latitude), a quarter of an hour later.
    assert (south_of == SEEN).any()
    assert np.flatnonzero(south_of == SEEN)[0] > np.flatnonzero(at_it == SEEN).max(initial=0)


@pytest.mark.parametrize("rise_deg", [4.0, 9.0, 15.0])
def test_a_wall_to_the_east_delays_the_sun(rise_deg):
    """On the equator at the equinox the sun climbs straight up, 15 degrees an hour.

    A wall whose top stands atan((w - h) / a) above level holds it back by that angle over 15 degrees an
    hour, refraction aside (0.57 degrees at rising and under 0.2 behind the wall: two minutes).
    """
    top = 1.0 + 10.0 * math.tan(math.radians(rise_deg))
    wall = shapes.box((10.0, -12.0, -0.5), (10.3, 12.0, top))
    unit = shapes.unit(tall(10.0), bearing_deg=90.0)
    day = datetime(2026, 3, 20, tzinfo=UTC).timetuple().tm_yday - 1
    free, held = (
        sun_times(placed(shapes.plane(0.0), 0.0, 0.0, solids), (unit,), SETTING).layers[0]
        for solids in (None, wall)
    )
    delay = first_step(held.states, day, SEEN) - first_step(free.states, day, SEEN)
    assert delay == pytest.approx(60 * rise_deg / 15, abs=STEP_MIN + 2)
    assert first_step(held.states, day, HIDDEN) == first_step(free.states, day, SEEN)
    assert held.minutes + held.hidden_minutes == free.minutes


def test_a_hill_to_the_east_delays_the_sun():
    """The same behind ground that rises from 8 m on to a crest: seen over it from atan((z - h) / 10) up."""
    rise_deg = 8.0
    top = 1.0 + 10.0 * math.tan(math.radians(rise_deg))
    hill = shapes.ground(lambda x, _: np.interp(x, [8.0, 10.0, 12.0], [0.0, top, 0.0]), cell_m=0.25)
    unit = shapes.unit(tall(10.0), bearing_deg=90.0)
    day = datetime(2026, 9, 23, tzinfo=UTC).timetuple().tm_yday - 1
    free, held = (
        sun_times(placed(on, 0.0, 0.0), (unit,), SETTING).layers[0] for on in (shapes.plane(0.0), hill)
    )
    delay = first_step(held.states, day, SEEN) - first_step(free.states, day, SEEN)
    assert delay == pytest.approx(60 * rise_deg / 15, abs=STEP_MIN + 2)


def test_north_facing_head_never_sees_the_noon_sun():
    """North of the tropic the sun stands south at noon all year; facing south it is seen there."""
    site = placed(shapes.plane(0.0), 0.0, 58.0)
    noon = slice(10 * 60 // STEP_MIN, 14 * 60 // STEP_MIN)
    north, south = (
        sun_times(
            site, (shapes.unit(tall(90.0), bearing_deg=bearing),), SunSetting(zone="UTC", near=5.0)
        ).layers[0]
        for bearing in (0.0, 180.0)
    )
    assert north.minutes > 0  # the low sun of summer mornings and evenings
    assert (north.states[:, noon] == AWAY).all()
    # At midwinter it stands 90 - 58 - 23.4 = 8.6 degrees high at noon: within the layer.
    assert (south.states[354, noon] == SEEN).any()

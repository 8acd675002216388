"""Sun in view of a layer: arc, nearness in the head's frame, what hides it, clocks and spans."""

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import shapes
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from terrain3d.conditions.sun import (
    HIDDEN,
    SEEN,
    STEP_MIN,
    directions_of,
    hidden,
    sun_near,
    sun_positions,
    sun_times,
    sun_year,
)
from terrain3d.detector.pose import posed_heads
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.frame import Frame, site_frame
from terrain3d.sentences.sun import sun_words
from terrain3d.sight.picture import light_along
from terrain3d.site import SunSetting
from terrain3d.terrain import LEAF_PROJECTION, Foliage, Solids, Terrain

LON, LAT = 3.76, 44.7
ONE, TWO = (load_type(name, Path()) for name in ("one-head-90", "two-head-180"))


def placed(on=None, solids=None, foliage=None, lonlat=(LON, LAT)):
    """A site of shapes at a place on earth; level ground where none is given."""
    frame = Frame(site_frame(None, 0, 0).wkt, lonlat)
    return Terrain(frame, on or shapes.plane(0.0), solids or Solids.none(), foliage or Foliage.none(), (), ())


@given(
    st.floats(0, 360),
    st.floats(-20, 20),
    st.floats(-20, 20),
    st.floats(0, 360),
    st.floats(0, 70),
    st.floats(0, 8),
)
def test_near_is_measured_in_the_head_s_own_frame(bearing, tilt, roll, azimuth, elevation, near):
    """scipy's rotations turn the sun into the head: there arc and band are plain bounds."""
    unit = shapes.unit(ONE, bearing_deg=bearing, tilt_deg=tilt, roll_deg=roll)
    (head,) = posed_heads(unit)
    sun = directions_of(np.array([azimuth]), np.array([elevation]))
    # Axes x right, y ahead, z up: yaw clockwise, nose down about x, right side down about y.
    pose = Rotation.from_euler("ZXY", [-bearing, -tilt, roll], degrees=True)
    x, y, z = pose.inv().apply(sun)[0]
    aside, above = math.degrees(math.atan2(x, y)), math.degrees(math.asin(min(max(z, -1), 1)))
    for layer in head.layers:
        margins = (45.0 - abs(aside), layer.thickness_deg / 2 + near - abs(above - layer.elevation_deg))
        if min(abs(m) for m in margins) > 1e-6:
            assert sun_near(head, layer, sun, near)[0] == (min(margins) > 0)


def test_every_step_of_a_year_is_told():
    """The states of a whole year against positions worked out one by one for a day, by the same rule."""
    unit = shapes.unit(ONE, bearing_deg=250.0, tilt_deg=-6.0)
    setting = SunSetting(year=2026, zone="UTC", near=4.0)
    upper, lower = sun_times(placed(), (unit,), setting).layers
    (head,) = posed_heads(unit)
    for day in (40, 171, 290):
        start = 1767225600 + 86400 * day  # 1 January 2026, 0 h UTC
        moments = start + 60 * STEP_MIN * (np.arange(24 * 60 // STEP_MIN) + 0.5)
        azimuth, apparent, _ = sun_positions(moments, LON, LAT)
        sun = directions_of(azimuth, apparent)
        for found, layer in ((upper, head.layers[0]), (lower, head.layers[1])):
            expected = sun_near(head, layer, sun, 4.0) & (apparent > 0)
            assert ((found.states[day] == SEEN) == expected).all()
    assert upper.minutes == STEP_MIN * (upper.states == SEEN).sum() > 0


def test_ground_solids_and_leaves_hide():
    """A wall hides below its top; leaves hide where they let under 5 % through, by Beer-Lambert."""
    unit = shapes.unit(ONE, bearing_deg=0.0)
    top = math.degrees(math.atan(0.5 / 4.0))
    wall = shapes.box((-9, 4, -0.5), (9, 4.3, 1.5))
    azimuths, elevations = np.zeros(3), np.array([0.5, top - 0.1, top + 0.1])
    assert hidden(placed(solids=wall), unit, azimuths, elevations).tolist() == [True, True, False]
    assert not hidden(placed(), unit, azimuths, elevations).any()
    on = shapes.plane(0.0)
    for density, through in ((1.0, False), (8.0, True)):
        hedge = shapes.leaves(on, lambda _, y: (y > 3) & (y < 4), 0.0, 2.5, density)
        assert (math.exp(-LEAF_PROJECTION * density) < 0.05) == through or density == 1.0
        light = math.exp(-LEAF_PROJECTION * density / math.cos(math.radians(3.0)))
        behind = hidden(placed(on, foliage=hedge), unit, np.zeros(1), np.array([3.0]))
        assert behind[0] == (light < 0.05)


def test_no_line_through_leaves_is_passed_over():
    """Lines that are spared a closer look are those that no leaf dims: all around, under and over hedges."""
    on = shapes.plane(0.12, 40.0)
    clumps = shapes.leaves(
        on, lambda x, y: (np.hypot(x - 5, y + 3) < 1.2) | (abs(y - 9) < 0.7), 0.5, 3.0, 9.0
    )
    site, unit = placed(on, foliage=clumps), shapes.unit(ONE)
    random = np.random.default_rng(4)
    azimuths, elevations = random.uniform(0, 360, 1500), random.uniform(7.0, 35.0, 1500)
    behind = hidden(site, unit, azimuths, elevations)
    light = [
        light_along(site, unit.eye, azimuth, np.array([math.tan(math.radians(elevation))]), np.array([80.0]))
        for azimuth, elevation in zip(azimuths, elevations, strict=True)
    ]
    dimmed = np.array(light).ravel() < 0.05
    assert 50 < dimmed.sum() < 1450
    assert (behind == dimmed).all()


def test_ground_that_is_not_known_hides_nothing():
    """A hill that the survey has not measured is not invented."""
    unit = shapes.unit(ONE, bearing_deg=0.0)
    hill = shapes.ground(lambda _, y: np.where(y > 8, 4.0, 0.0))
    gone = replace(hill, z=np.where(hill.z > 1, np.nan, hill.z))
    at = (np.zeros(1), np.array([5.0]))
    assert hidden(placed(hill), unit, *at)[0]
    assert not hidden(placed(gone), unit, *at)[0]


def test_turning_the_unit_to_the_sun_does_not_move_the_horizon():
    """What hides the sun goes by direction alone: the same before a head of any tilt that looks there."""
    wall = shapes.box((-9, 4, -0.5), (9, 4.3, 1.5), turn_deg=110.0)
    setting = SunSetting(zone="UTC", near=10.0)
    level, tilted = (
        sun_times(placed(solids=wall), (shapes.unit(ONE, bearing_deg=110.0, tilt_deg=tilt),), setting).layers[
            0
        ]
        for tilt in (0.0, -3.0)
    )
    both = (level.states > 0) & (tilted.states > 0)
    assert both.any()
    assert (level.states[both] == tilted.states[both]).all()
    assert set(np.unique(level.states[both])) == {HIDDEN, SEEN}


def test_each_head_and_layer_of_each_unit_is_told_apart():
    """Two heads of two layers and one head of two: six rows, facing where the heads face."""
    units = (shapes.unit(TWO, bearing_deg=350.0), replace(shapes.unit(ONE, bearing_deg=90.0), name="D2"))
    result = sun_times(placed(), units, SunSetting(zone="UTC"))
    rows = [(layer.unit, layer.head, layer.facing_deg, layer.layer) for layer in result.layers]
    assert rows == [
        ("D1", 1, 305.0, "upper"), ("D1", 1, 305.0, "lower"), ("D1", 2, 35.0, "upper"),
        ("D1", 2, 35.0, "lower"), ("D2", 1, 90.0, "upper"), ("D2", 1, 90.0, "lower"),
    ]  # fmt: skip
    assert len(sun_words(result)) == 7


@pytest.mark.parametrize(
    ("lonlat", "zone"),
    [((2.35, 48.86), "Europe/Paris"), ((174.8, -41.3), "Pacific/Auckland"), ((-3.2, 55.9), "Europe/London")],
)
def test_the_clock_is_that_of_the_place(lonlat, zone):
    """Without a zone of the site file (facts of geography); a site that is nowhere keeps UTC."""
    unit = shapes.unit(ONE, bearing_deg=270.0)
    here, told = (sun_times(placed(lonlat=lonlat), (unit,), SunSetting(zone=given)) for given in (None, zone))
    assert here.zone == told.zone == zone
    assert (here.layers[0].states == told.layers[0].states).all()
    assert sun_times(shapes.terrain(shapes.plane(0.0)), (unit,), SunSetting()).zone == "UTC"


def test_clock_of_the_zone():
    """Clocks go with the zone: an hour later by summer time, and the year begins at its own midnight."""
    unit = shapes.unit(ONE, bearing_deg=270.0)
    utc, paris = (
        sun_times(placed(), (unit,), SunSetting(zone=zone)).layers[0] for zone in ("UTC", "Europe/Paris")
    )
    for day, hours in ((50, 1), (150, 2)):
        shift = 60 * hours // STEP_MIN
        assert (utc.states[day] > 0).any()
        assert (paris.states[day, shift:] == utc.states[day, :-shift]).all()
    assert utc.minutes == paris.minutes
    # The clocks change on 29 March and 25 October 2026: no span crosses either day.
    for change in (date(2026, 3, 29), date(2026, 10, 25)):
        assert not any(span.first < change <= span.last for span in paris.spans)
        assert any(span.first == change for span in paris.spans)


def test_spans_hold_every_step_in_view_and_no_other_day():
    """Each step in view lies in a span; on each day of a span there is one; no span drifts past the hour."""
    unit = shapes.unit(TWO, bearing_deg=270.0)
    result = sun_times(placed(), (unit,), SunSetting(zone="Europe/Paris"))
    assert any(layer.spans for layer in result.layers)
    for layer in result.layers:
        covered = np.zeros(layer.states.shape, bool)
        for span in layer.spans:
            first, last = span.first.timetuple().tm_yday - 1, span.last.timetuple().tm_yday - 1
            window = slice(span.start_min // STEP_MIN, span.end_min // STEP_MIN)
            covered[first : last + 1, window] = True
            within = layer.states[first : last + 1, window] == SEEN
            assert within.any(axis=1).all()
            assert STEP_MIN * within.sum(axis=1).max() >= span.longest_min
            assert span.end_min - span.start_min <= span.longest_min + 60
        assert covered[layer.states == SEEN].all()


def test_season_lies_around_the_longest_pause():
    """North-west the sun sets in summer, south-west in winter, over New Year; west all through the year."""
    seasons = [
        sun_times(placed(), (shapes.unit(ONE, bearing_deg=bearing),), SunSetting(zone="UTC")).layers[0].season
        for bearing in (330.0, 200.0, 270.0)
    ]
    summer, winter, always = seasons
    assert 3 < summer[0].month <= summer[1].month < 10
    assert winter[0].month > 8
    assert winter[1].month < 5
    assert always == (date(2026, 1, 1), date(2026, 12, 31))
    # Summer's and winter's ends lie as far from the solstices.
    assert abs((date(2026, 6, 21) - summer[0]) - (summer[1] - date(2026, 6, 21))).days <= 3
    assert abs((date(2026, 12, 21) - winter[0]) - (winter[1] - date(2025, 12, 21))).days <= 3


def test_leap_year_and_places_far_from_the_zone():
    """366 days; and at the date line, by the clock of UTC, nothing falls out of the year."""
    unit = shapes.unit(ONE, bearing_deg=90.0)
    leap = sun_times(placed(lonlat=(179.5, -20.0)), (unit,), SunSetting(year=2028, zone="UTC"))
    (upper, _) = leap.layers
    assert leap.daylight.shape == (366, 288)
    assert leap.daylight.mean() == pytest.approx(0.5, abs=0.02)
    assert upper.minutes > 0


def test_polar_day_and_night():
    """North of the circle the sun is up all day at midsummer and never at midwinter."""
    sun = sun_times(placed(lonlat=(20.0, 70.0)), (shapes.unit(ONE),), SunSetting(zone="UTC"))
    assert sun.daylight[171].all()
    assert not sun.daylight[354].any()


def test_one_year_serves_all_options():
    """The sun of a place and year is worked out once."""
    assert sun_year(LON, LAT, 2026, "UTC") is sun_year(LON, LAT, 2026, "UTC")


def test_without_a_crs_the_sun_cannot_be_placed():
    """No layers, and words that say how to mend it."""
    result = sun_times(shapes.terrain(shapes.plane(0.0)), (shapes.unit(ONE),), SunSetting())
    assert result.layers == ()
    assert "Set [site] crs" in sun_words(result)[0]


@pytest.mark.parametrize("lonlat", [None, (LON, LAT)])
def test_unknown_zone(lonlat):
    """A zone that is none names the nearest that is."""
    with pytest.raises(InputError, match="no time zone 'Europe/Pari'") as error:
        sun_times(placed(lonlat=lonlat), (shapes.unit(ONE),), SunSetting(zone="Europe/Pari"))
    assert "Europe/Paris" in error.value.mend
    for name in ("../etc/passwd", "/etc/localtime", "x" * 300):
        with pytest.raises(InputError, match="no time zone"):
            sun_times(placed(lonlat=lonlat), (shapes.unit(ONE),), SunSetting(zone=name))


def test_never_in_view():
    """A head that faces north under a high sun has no spans, no first day, and words that say never."""
    unit = shapes.unit(ONE, bearing_deg=0.0)
    upper, _ = (result := sun_times(placed(lonlat=(0.0, 30.0)), (unit,), SunSetting(near=0.0))).layers
    assert (upper.spans, upper.minutes, upper.season) == ((), 0, None)
    assert "never stands in view" in sun_words(result)[0]

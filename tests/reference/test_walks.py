"""Walks against zone geometry worked by hand, body sizes of a survey, and borrowed walk tests.

Source of the zone figures: plain trigonometry, worked beside each check. Bodies: ANSUR II (2012 US Army
survey, NATICK/TR-15/007), medians recomputed from its public files. Walk tests: the velocity table of the
indoor standard EN 50131-2-2, from memory and unverified; the standard leaves outdoor units out, so nothing
here says that anything complies.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from shapes import plane, terrain, unit

from terrain3d.detector.figures import Figure, find_figure
from terrain3d.detector.types import load_type
from terrain3d.terrain import Walk
from terrain3d.units import direction
from terrain3d.walk.bodies import Body, body_of
from terrain3d.walk.fans import fan_across, fan_to
from terrain3d.walk.indoor_tests import indoor_test_fans, load_tests
from terrain3d.walk.pulses import try_walk

KIND = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "invented for the tests")
FLAT = terrain(plane(0.0))


def arc(radius_m: float, first_deg: float, last_deg: float) -> np.ndarray:
    """A walk at one distance about the origin, in chords of a tenth of a degree."""
    turn = np.radians(np.arange(first_deg, last_deg + 0.05, 0.1))
    return radius_m * np.column_stack([np.sin(turn), np.cos(turn)])


def across(speed_mps: float, radius_m: float = 6.0, width_m: float = 0.5, pulses: int = 3):
    """A person walked along an arc from 60 degrees left of the unit to 60 degrees right."""
    walk = Walk("arc", arc(radius_m, -60.0, 60.0), speed_mps)
    round_body = Body(width_m, width_m, "invented for the tests")
    return try_walk(FLAT, (unit(KIND, pulses=pulses),), "any", walk, PERSON, round_body)


def test_every_zone_of_the_arc_is_entered_and_left_where_the_hand_says():
    """90 degrees in 9 zones of 10; 0.5 m at 6 m spans 2 atan(0.25/6) = 4.771 degrees.

    The right side enters a zone when the middle is 2.386 degrees before its left edge, the left side
    leaves it 2.386 degrees past its right edge: 9 entered, 9 left in each layer.
    """
    half_deg = math.degrees(math.atan(0.25 / 6.0))
    assert half_deg == pytest.approx(2.3859, abs=1e-4)
    result = across(1.0)
    for layer in ("upper", "lower"):
        own = [pulse for pulse in result.pulses if pulse.layer == layer]
        azimuth = {(p.zone, p.entered): math.degrees(math.atan2(p.x, p.y)) for p in own}
        assert len(own) == 18
        for zone in range(1, 10):
            left_edge = -45.0 + 10.0 * (zone - 1)
            assert azimuth[zone, True] == pytest.approx(left_edge - half_deg, abs=0.002)
            assert azimuth[zone, False] == pytest.approx(left_edge + 10.0 + half_deg, abs=0.002)


@pytest.mark.parametrize("speed_mps", [0.3, 1.0, 2.5])
def test_third_pulse_comes_after_the_distance_worked_by_hand(speed_mps):
    """From -60: zone 1 entered at -47.386, zone 2 entered at -37.386, zone 1 left at -32.614 degrees.

    27.386 degrees at 6 m are 2.8679 m; the first pulse alone comes after 12.614 degrees, 1.3209 m.
    """
    third = across(speed_mps, pulses=3).alarm
    assert third is not None
    assert third.along_m == pytest.approx(2.8679, abs=0.001)
    assert third.time_s == pytest.approx(2.8679 / speed_mps, rel=1e-3)
    first = across(speed_mps, pulses=1).alarm
    assert first is not None
    assert first.along_m == pytest.approx(1.3209, abs=0.001)


@pytest.mark.parametrize(
    ("speed_mps", "raised"), [(0.100, False), (0.104, False), (0.106, True), (0.12, True)]
)
def test_a_slow_walk_outlasts_the_window(speed_mps, raised):
    """Every second pulse repeats after 10 degrees, 1.0472 m at 6 m: three take 10 s at 0.10472 m/s."""
    assert (across(speed_mps, pulses=3).alarm is not None) == raised


@pytest.mark.parametrize("width_m", [0.25, 0.4, 0.5])
@pytest.mark.parametrize("zone_deg", [0.0, 10.0, -20.0])
def test_straight_at_the_unit_nothing_is_crossed_until_the_figure_fills_its_zone(width_m, zone_deg):
    """On the middle of a zone of 10 degrees, edges are crossed where w = 2 d tan(5 degrees)."""
    fills_m = width_m / (2 * math.tan(math.radians(5.0)))
    out = np.array(direction(zone_deg))
    walk = Walk("at it", np.array([11.0 * out, 0.5 * out]))
    result = try_walk(FLAT, (unit(KIND),), "any", walk, PERSON, Body(width_m, width_m, "invented"))
    assert result.both_m == pytest.approx(10.5, abs=0.15)
    assert max(math.hypot(p.x, p.y) for p in result.pulses) == pytest.approx(fills_m, abs=1e-6)
    assert result.alarm is not None
    assert math.hypot(result.alarm.x, result.alarm.y) == pytest.approx(fills_m, abs=1e-6)


def test_straight_at_the_unit_is_the_weak_direction():
    """With three pulses a walker across is noticed within two zones, one straight at it within 2 m of it.

    Straight at it on a zone's middle the third pulse needs the next edges, 15 degrees off: 0.5 m wide that is
    d = 0.25 / tan 15 = 0.933 m.
    """
    wide = Body(0.5, 0.5, "invented")
    fan = fan_to(FLAT, unit(KIND, pulses=3), PERSON, body=wide)
    ahead = fan.left_m[fan.bearing_deg == 0.0][0]
    assert ahead == pytest.approx(0.25 / math.tan(math.radians(15.0)), abs=1e-6)
    assert np.nanmax(fan.left_m) < 2.0
    sideways = fan_across(FLAT, unit(KIND, pulses=3), PERSON, distances_m=(6.0,), body=wide)
    # Three pulses take at most two widths of a zone and one of the body, and a zone of chance at the start.
    assert np.nanmax(sideways.walked_m[np.abs((sideways.bearing_deg + 180) % 360 - 180) < 20]) < 3.2
    assert np.isfinite(sideways.walked_m).all()


@pytest.mark.parametrize(
    ("name", "breadth_m", "length_m"),
    [
        # Bideltoid breadth and chest depth: between the medians of women and of men.
        ("person", (0.450, 0.509), (0.245, 0.253)),
        # 5th percentile of women, to the centimetre.
        ("short person", (0.401, 0.411), (0.200, 0.210)),
    ],
)
def test_people_are_as_wide_as_the_survey_says(name, breadth_m, length_m):
    """A person's breadth and depth lie within what ANSUR II measured."""
    body = body_of(find_figure(name))
    assert breadth_m[0] <= body.breadth_m <= breadth_m[1]
    assert length_m[0] <= body.length_m <= length_m[1]


def test_borrowed_tests_say_that_they_are_unverified():
    """The figures are from memory: the file says so wherever it is read, and claims nothing."""
    assert "unverified" in load_tests().status
    text = Path(__file__).parents[2].joinpath("terrain3d/walk/borrowed_tests.toml").read_text("utf-8")
    assert "nothing is said to comply" in text
    assert "borrowed" in text


@pytest.mark.parametrize("grade", [1, 2, 3, 4])
def test_level_ground_passes_the_borrowed_tests_with_one_pulse(grade):
    """On the level every walk across a unit, at every speed from memory of the table, raises the alarm."""
    fans = {one.test: one.fan for one in indoor_test_fans(FLAT, unit(KIND, pulses=1), grade)}
    assert ("high velocity" in fans) == (grade > 1)
    assert ("intermittent movement" in fans) == (grade > 2)
    assert fans["across the boundary"].raised.all()
    assert fans["within the boundary"].raised.all()
    # Close in, a crawler of 0.7 m stays under both layers 0.5 m from a unit 1 m up.
    assert fans["close-in"].raised.all() == (grade < 3)


def test_the_slowest_borrowed_walk_outlasts_three_pulses_at_mid_range():
    """Grade 4 walks within the boundary at 0.1 m/s (from memory): by hand, no three pulses in 10 s at 6 m.

    Across a zone of 10 degrees, square to the bearing at 6 m or farther, is 1.047 m or more.
    """
    (fan,) = (
        one.fan
        for one in indoor_test_fans(FLAT, unit(KIND, pulses=3), 4)
        if one.test == "within the boundary"
    )
    far = fan.distance_m >= 6.0
    assert not fan.raised[far].any()
    assert fan.raised[~far].any()

"""Fans of straight walks: the weak direction, and what helps against it."""

from pathlib import Path

import numpy as np
import pytest
from shapes import box, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.walks import fan_words
from terrain3d.walk.fans import arc_bearings, fan_across, fan_to, share_alarmed

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())
PERSON = Figure("person", 1.7, "invented for the tests")
FLAT = terrain(plane(0.0))


def test_level_ground_is_alike_to_either_side():
    """On the level a fan is its own mirror image."""
    fan = fan_to(FLAT, unit(ONE), PERSON)
    turn = (fan.bearing_deg + 180) % 360 - 180
    assert list(turn) == sorted(turn)
    assert np.allclose(fan.left_m, fan.left_m[::-1], atol=1e-6)


def test_a_fan_turns_with_its_unit():
    """Turning the unit turns the fan; what it notices stays."""
    fan, turned = fan_to(FLAT, unit(ONE), PERSON), fan_to(FLAT, unit(ONE, bearing_deg=70.0), PERSON)
    assert np.allclose((turned.bearing_deg - fan.bearing_deg) % 360, 70.0)
    assert np.allclose(fan.left_m, turned.left_m, atol=1e-6)


def test_a_walker_who_sways_is_noticed_farther_off():
    """Swerving carries a side over an edge before the figure fills its zone."""
    straight, swaying = (fan_to(FLAT, unit(ONE, pulses=3), PERSON, swerve_m=s) for s in (0.0, 0.06))
    middle = np.abs(straight.bearing_deg) < 1
    assert swaying.left_m[middle][0] > straight.left_m[middle][0] + 0.3


def test_across_is_noticed_sooner_than_straight_at_the_unit():
    """Share of walks noticed after no more than 4 m, against those noticed 4 m off the unit."""
    to, across = fan_to(FLAT, unit(ONE, pulses=3), PERSON), fan_across(FLAT, unit(ONE, pulses=3), PERSON)
    assert share_alarmed(across, 4.0) > 0.6
    assert share_alarmed(to, 4.0) == 0.0
    assert share_alarmed(to, 0.3) == 1.0


def test_a_unit_behind_a_wall_notices_nobody():
    """A wall before the unit leaves every walk across unseen, and the words say so."""
    walled = terrain(plane(0.0), box((-14, 1.0, 0), (14, 1.2, 2.4)))
    fan = fan_across(walled, unit(ONE), PERSON, distances_m=(6.0,))
    assert not fan.raised.any()
    assert fan_words(fan) == "Across D1: 0 of 17 walks raise the alarm."
    assert share_alarmed(fan, 6.0) == 0.0


@pytest.mark.parametrize(("kind", "n"), [(ONE, 17), (TWO, 30)])
def test_bearings_lie_within_the_arcs(kind, n):
    """Every head's arc is walked, a few degrees from bearing to bearing, none twice."""
    bearings = arc_bearings(unit(kind, bearing_deg=350.0))
    assert len(bearings) == len(set(bearings)) == n
    assert ((bearings >= 0) & (bearings < 360)).all()

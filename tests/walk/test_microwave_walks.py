"""Walks before a unit with a microwave: what it senses, how it counts in the alarm, fans and open routes.

Doppler: nothing moves the waves of what walks straight across; towards or away it is 2 v f / c
(tests/reference/test_microwaves.py).
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from microwave_types import kind
from shapes import judged, plane, terrain, unit

from terrain3d.cover.causes import NO_OUTCOME
from terrain3d.cover.layer_outcomes import BEYOND, BROKEN, MOVES_ACROSS, OUTSIDE_ARC
from terrain3d.detector.figures import Figure
from terrain3d.sentences.walks import counting_words, how_walked, walk_words, who_walks
from terrain3d.terrain import Approach, Area, Walk
from terrain3d.walk.alarm import alarm_times
from terrain3d.walk.crossings import Crossings
from terrain3d.walk.fans import fan_across, fan_to
from terrain3d.walk.pulses import try_walk
from terrain3d.walk.routes import open_routes

PERSON = Figure("person", 1.7, "invented")
FLAT = terrain(plane(0.0))
STRAIGHT = Walk("straight", np.array([[0.0, 13.0], [0.0, 1.0]]))
ACROSS = Walk("across", np.array([[-7.0, 6.0], [7.0, 6.0]]))


def walked(walk, *units, site=FLAT, combine="any"):
    """What becomes of a walk before some units."""
    return try_walk(site, units, combine, walk, PERSON)


def test_the_straight_walk_is_sensed_and_the_crossing_walk_is_not(tmp_path):
    """Straight at the unit all of 1 m/s counts, 70 Hz; across what the angle leaves, none in the middle."""
    own = unit(kind(tmp_path, range_m=10.0, slowest=0.5), 1.0)
    (straight,), (across,) = walked(STRAIGHT, own).sensed, walked(ACROSS, own).sensed
    # From 13 m off to 10 m it is out of range, then sensed.
    assert straight.length_m(BEYOND) == pytest.approx(3.0, abs=0.1)
    assert straight.sensed_m == pytest.approx(9.0, abs=0.1)
    assert straight.fastest_mps == pytest.approx(1.0)
    assert straight.shift_hz == pytest.approx(70.2, abs=0.05)
    # 6 m off, x m aside: x / sqrt(36 + x^2) m/s, half a metre a second at 6 / sqrt(3) m.
    assert across.length_m(MOVES_ACROSS) == pytest.approx(2 * 6.0 / math.sqrt(3.0), abs=0.2)
    edge = 6.0 * math.tan(math.radians(40.0))
    assert across.sensed_m == pytest.approx(2 * (edge - 6.0 / math.sqrt(3.0)), abs=0.2)
    assert across.length_m(OUTSIDE_ARC) == pytest.approx(14.0 - 2 * edge, abs=0.2)
    assert across.fastest_mps == pytest.approx(math.sin(math.radians(40.0)), abs=0.02)
    # Half as fast, the crossing walk is sensed nowhere within the arc.
    (slow,) = walked(replace(ACROSS, speed_mps=0.5), own).sensed
    assert slow.sensed_m == 0
    assert slow.shift_hz == 0


def test_without_ground_nothing_is_said(tmp_path):
    """A walk off the known ground has no outcome there."""
    (sensed,) = walked(Walk("off", np.array([[0.0, 10.0], [0.0, 30.0]])), unit(kind(tmp_path), 1.0)).sensed
    assert sensed.length_m(NO_OUTCOME) == pytest.approx(15.0, abs=0.3)


def test_a_microwave_that_needs_no_layer_raises_the_alarm_first(tmp_path):
    """Straight at the unit its layers see next to nothing; the microwave raises it at its range."""
    either, also = (unit(kind(tmp_path, needs=needs, range_m=9.0), 1.0) for needs in ("either", "also"))
    bare = replace(also, type=also.type.model_copy(update={"microwave": None}))
    first, late = walked(STRAIGHT, either), walked(STRAIGHT, bare)
    assert first.alarm.along_m == pytest.approx(13.0 - 9.0, abs=0.06)
    assert late.alarm is None or late.alarm.along_m > first.alarm.along_m + 3
    assert "by microwave" in walk_words(first)
    assert walked(STRAIGHT, bare).sensed == ()
    assert "microwave" not in how_walked(late)


def test_where_both_are_needed_each_waits_for_the_other(tmp_path):
    """Across at 6 m with a slowest speed of 0.5: pulses in the middle, the microwave beside it, in time."""
    window = kind(tmp_path, slowest=0.5).model_copy(update={"pulse_window": 10.0})
    wide, narrow = unit(window, 1.0), unit(window.model_copy(update={"pulse_window": 0.5}), 1.0)
    middle = Walk("middle", np.array([[-3.0, 6.0], [3.0, 6.0]]))
    bare = replace(wide, type=window.model_copy(update={"microwave": None}))
    alone, both, silent = walked(middle, bare), walked(middle, wide), walked(middle, narrow)
    assert alone.alarm is not None
    # Within 3 m of the middle the walker is too slow for it all the way: 3 / sqrt(45) < 0.5.
    assert both.sensed[0].sensed_m == 0
    assert both.alarm is None
    assert both.layers_alone_s == alone.alarm.time_s
    assert "no microwave senses" in walk_words(both)
    # From 5 m aside it is sensed until 3.46 m aside: the alarm comes with the first pulse.
    longer = Walk("longer", np.array([[-5.0, 6.0], [5.0, 6.0]]))
    assert walked(longer, wide).alarm.time_s == pytest.approx(walked(longer, bare).alarm.time_s, abs=0.06)
    assert silent.alarm is None


def test_alarm_times_by_hand(tmp_path):
    """Pulses at 2 s and 8 s, sensed at 5 s; a window of 4 s, one pulse in one of the layers is enough."""
    both = kind(tmp_path, alarm="any").model_copy(update={"pulse_window": 4.0})
    nothing = np.zeros(2)
    pulses = Crossings(
        np.zeros(2, int), np.array([2.0, 8.0]), nothing, nothing, nothing, nothing, np.zeros(2, int),
        np.zeros(2, int), np.ones(2, bool),
    )  # fmt: skip
    own = unit(both, 1.0)
    assert alarm_times(own, pulses, 1.0).tolist() == [2.0, 8.0]
    assert alarm_times(own, pulses, 1.0, np.array([5.0])).tolist() == [5.0, 8.0]
    assert alarm_times(own, pulses, 1.0, np.array([6.5])).tolist() == [8.0]
    assert alarm_times(own, pulses, 1.0, np.array([])).tolist() == []
    either = both.model_copy(update={"microwave": both.microwave.model_copy(update={"needs": "either"})})
    assert alarm_times(unit(either, 1.0), pulses, 1.0, np.array([5.0])).tolist() == [2.0, 5.0, 8.0]


def test_fans_straight_at_a_unit_and_across_it(tmp_path):
    """Straight at it a microwave that needs no layer notices every walk at its range; else it is as late."""
    either, also = (
        unit(kind(tmp_path, needs=needs, arc=100, range_m=9.0), 1.0) for needs in ("either", "also")
    )
    bare = replace(also, type=also.type.model_copy(update={"microwave": None}))
    to = fan_to(FLAT, either, PERSON)
    assert to.left_m == pytest.approx(np.full(len(to.left_m), 9.0), abs=0.06)
    late, never_sooner = fan_to(FLAT, bare, PERSON), fan_to(FLAT, also, PERSON)
    assert (never_sooner.left_m[never_sooner.raised] <= late.left_m[never_sooner.raised] + 1e-6).all()
    assert "or the microwave" in who_walks(to, either)
    assert "and the microwave" in who_walks(never_sooner, also)
    assert "microwave" not in who_walks(late, bare)
    across, plain = fan_across(FLAT, also, PERSON), fan_across(FLAT, bare, PERSON)
    assert not (across.raised & ~plain.raised).any()
    longer = kind(tmp_path, needs="either", range_m=14.0, max_range=12.0)
    site = terrain(plane(0.0, extent_m=40.0))
    assert fan_to(site, unit(longer, 1.0), PERSON).left_m.max() == pytest.approx(14.0, abs=0.06)


def test_no_open_route_leads_straight_at_a_unit_that_senses_it(tmp_path):
    """A yard before the unit: the least likely walk comes straight at it, and not past such a microwave."""
    yard = Area("yard", np.array([[-0.6, 1.5], [0.6, 1.5], [0.6, 2.5], [-0.6, 2.5]]))
    gate = Approach("gate", np.array([[-0.5, 9.0], [0.5, 9.0]]))
    site = replace(terrain(plane(0.0, cell_m=0.5, extent_m=24.0), protect=(yard,)), approaches=(gate,))
    found = {}
    for needs in ("none", "also", "either"):
        own = kind(tmp_path, needs="also" if needs == "none" else needs, arc=360.0, range_m=12.0)
        own = own.model_copy(update={"microwave": None}) if needs == "none" else own
        (routes,) = open_routes(site, judged(site, unit(own, 1.0)), PERSON)
        found[needs] = routes
    assert found["none"].least.chance < 0.9
    # All around it the lobe reaches, so every way in comes nearer while it is sensed.
    assert found["either"].least.chance > 0.99
    assert found["either"].least.walked.alarm is not None
    assert found["also"].least.chance <= found["none"].least.chance + 1e-9
    assert found["either"].clear is None


def test_words_of_the_microwave(tmp_path):
    """What counts is told of both ways, with the slowest speed."""
    also = judged(FLAT, unit(kind(tmp_path), 1.0))
    assert "Within the same time its microwave must sense the figure, at 0.2 m/s or more" in counting_words(
        also
    )
    either = judged(FLAT, unit(kind(tmp_path, needs="either", slowest=0.3), 1.0))
    assert "0.3 m/s or more towards or away, is an alarm too" in counting_words(either)
    told = how_walked(walked(STRAIGHT, also.detectors[0]))
    assert "the microwave of D1 senses 9.0 m, at most 1.0 m/s towards or away (70 Hz)" in told
    assert (walked(STRAIGHT, also.detectors[0]).sensed[0].outcomes == BROKEN).any()

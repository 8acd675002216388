"""Pulses that add up in time, and those that do not."""

from pathlib import Path

import numpy as np
import pytest
from shapes import unit

from terrain3d.detector.types import load_type
from terrain3d.walk.alarm import alarm_times, first_alarm
from terrain3d.walk.crossings import Crossings

KIND = load_type("one-head-90", Path())


def pulses(*rows: tuple[float, int]) -> Crossings:
    """Pulses at some distances along a walk, each of layer 0 or 1."""
    along = np.array([row[0] for row in rows], float)
    layer = np.array([row[1] for row in rows], np.int64)
    none, zone = np.zeros(len(rows)), np.zeros(len(rows), np.int64)
    return Crossings(zone, along, none, none, none, none, layer, zone, np.ones(len(rows), bool))


def test_three_in_both_layers_within_the_window():
    """The alarm comes with the pulse that makes three in the layer that is last."""
    found = pulses((1, 0), (1.1, 1), (2, 0), (2.1, 1), (3, 0), (3.4, 1), (3.5, 1))
    assert list(alarm_times(unit(KIND, pulses=3), found, 1.0)) == [3.4, 3.5]
    assert list(alarm_times(unit(KIND, pulses=4), found, 1.0)) == []


@pytest.mark.parametrize(("speed_mps", "raised"), [(0.21, True), (0.2, True), (0.19, False)])
def test_the_window_closes_on_slow_walkers(speed_mps, raised):
    """2 m from the first pulse to the third take 10 s at 0.2 m/s: the window's very end still counts."""
    found = pulses((1, 0), (1, 1), (2, 0), (2, 1), (3, 0), (3, 1))
    assert (len(alarm_times(unit(KIND, pulses=3), found, speed_mps)) > 0) == raised


def test_one_layer_alone_raises_nothing_unless_the_type_says_so():
    """All layers must count, or any one of them."""
    found = pulses((1, 0), (2, 0), (3, 0))
    assert len(alarm_times(unit(KIND, pulses=1), found, 1.0)) == 0
    easy = KIND.model_copy(update={"alarm": "any"})
    assert list(alarm_times(unit(easy, pulses=3), found, 1.0)) == [3.0]


def test_an_option_without_an_alarm():
    """No unit, or none that raises its alarm, raises none; under all one silent unit keeps it silent."""
    one = unit(KIND)
    assert first_alarm((), [], "any") is None
    assert first_alarm((one,), [np.zeros(0)], "all") is None
    assert first_alarm((one, one), [np.array([2.0]), np.zeros(0)], "all") is None
    assert first_alarm((one, one), [np.array([2.0]), np.zeros(0)], "any") == 2.0

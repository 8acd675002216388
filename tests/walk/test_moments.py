"""A walk at some moments: places, times and pulses by then, against the walk itself."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import plane, terrain, unit

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.walks import moment_words
from terrain3d.terrain import Walk
from terrain3d.walk.moments import moment_at, moments_of, walked_line
from terrain3d.walk.pulses import try_walk
from terrain3d.walk.track import line_length_m

ACROSS = Walk("across", np.array([[-9.0, 6.0], [9.0, 6.0]]), 2.0)


@pytest.fixture(scope="module")
def walk():
    """Across a unit on the level, 6 m off, at 2 m/s: an alarm comes on the third pulse in both layers."""
    at = unit(load_type("one-head-90", Path()), pulses=3)
    return try_walk(terrain(plane(0.0)), (at,), "any", ACROSS, Figure("person", 1.7, "for the tests"))


def test_one_moment_is_that_of_the_alarm(walk):
    """Eight from start to end, 18 m and 9 s; before the alarm none has it, from it on all have."""
    moments = moments_of(walk, 8)
    assert (moments[0].along_m, moments[-1].along_m, moments[-1].time_s) == (0.0, 18.0, 9.0)
    assert [moment.has_alarm for moment in moments] == sorted(moment.has_alarm for moment in moments)
    first = next(moment for moment in moments if moment.has_alarm)
    assert first.along_m == walk.alarm.along_m
    assert len(first.pulses) >= 3
    assert (np.diff([len(moment.pulses) for moment in moments]) >= 0).all()
    assert len(moments[-1].pulses) == len(walk.pulses)


@pytest.mark.parametrize("along", [0.01, 17.99])
def test_start_and_end_are_moments_whenever_the_alarm_comes(walk, along):
    """Right at the start or the end it is a moment of its own beside them, in order."""
    moments = moments_of(replace(walk, alarm=replace(walk.alarm, along_m=along)), 8)
    at = [moment.along_m for moment in moments]
    assert (at[0], at[-1]) == (0.0, 18.0)
    assert along in at
    assert at == sorted(at)


def test_the_verdict_is_that_of_the_ground_under_the_figure(walk):
    """6 m off, an arc of 90 degrees is entered 3 m along and left 15 m along: both layers in its middle."""
    for along, code in ((1.0, Verdict.OUTSIDE), (9.0, Verdict.BOTH), (17.0, Verdict.OUTSIDE)):
        moment = moment_at(walk, along)
        assert (moment.x, moment.y, moment.code) == (pytest.approx(along - 9), 6.0, code)


def test_words_tell_distance_layers_and_pulses(walk):
    """Counted layer by layer; where no layer is broken and where nothing is known it says so."""
    moment = moments_of(walk, 8)[-1]
    upper = sum(pulse.layer == "upper" for pulse in walk.pulses)
    lower = len(walk.pulses) - upper
    assert moment_words(moment) == (
        "18.0 m, 9.0 s",
        "outside every arc or range",
        f"pulses so far: upper {upper}, lower {lower}",
    )
    assert moment_words(moment_at(walk, 0.0))[2] == "no pulse so far"
    said = {moment_words(replace(moment, code=code))[1] for code in (*Verdict, UNKNOWN)}
    assert len(said) == 6


@pytest.mark.parametrize("along", [0.0, 1.0, 3.0, 3.5, 7.0])
def test_the_part_walked_is_as_long_as_is_walked(walk, along):
    """Round two corners, from the start to the end."""
    line = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [1.0, 2.0]])
    part = walked_line(replace(walk, line=line), along)
    assert line_length_m(part) == pytest.approx(along)
    if along == 7.0:
        assert np.array_equal(part, line)

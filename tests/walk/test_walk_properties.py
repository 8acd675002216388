"""What must be true of any walk."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from shapes import box, plane, terrain, unit

from terrain3d.detector.types import load_type
from terrain3d.walk.alarm import alarm_times
from terrain3d.walk.bodies import Body
from terrain3d.walk.crossings import pulses_of, zone_crossings
from terrain3d.walk.track import line_length_m, track

KIND = load_type("two-head-180", Path())
SITE = terrain(plane(0.06, 40.0), box((-4, 6, -1), (-1, 6.2, 2.0)))
DOG_LIKE = Body(0.25, 0.8, "invented for the tests")

places = st.tuples(st.floats(-11, 11), st.floats(-11, 11))
paths = st.lists(places, min_size=2, max_size=4).map(np.array)
poses = st.tuples(st.floats(0, 360), st.floats(-6, 6))


def pulses(path, bearing, tilt, kind=KIND, needed=1):
    assume(line_length_m(path) > 0.5)
    one = unit(kind, bearing_deg=bearing, tilt_deg=tilt, pulses=needed)
    return one, pulses_of(SITE, one, 1.7, DOG_LIKE, track([path]))


@settings(max_examples=40, deadline=None)
@given(paths, poses, st.floats(0.1, 3.0), st.floats(0.5, 20.0), st.floats(1.0, 4.0))
def test_a_longer_window_never_removes_an_alarm(path, pose, speed, window_s, longer):
    """Every moment of alarm within one window is one within a longer window too."""
    short = KIND.model_copy(update={"pulse_window": window_s})
    long = KIND.model_copy(update={"pulse_window": window_s * longer})
    (one, found), (other, _) = pulses(path, *pose, short, 3), pulses(path, *pose, long, 3)
    assert set(alarm_times(one, found, speed)) <= set(alarm_times(other, found, speed))


@settings(max_examples=40, deadline=None)
@given(paths, poses, st.floats(0.1, 3.0), st.integers(1, 3))
def test_more_pulses_never_raise_the_alarm_earlier(path, pose, speed, needed):
    """An alarm that takes more pulses comes no earlier, and only where one that takes fewer comes."""
    (few, found), (many, _) = pulses(path, *pose, needed=needed), pulses(path, *pose, needed=needed + 1)
    early, late = alarm_times(few, found, speed), alarm_times(many, found, speed)
    if len(late):
        assert early[0] <= late[0]


@settings(max_examples=40, deadline=None)
@given(paths, poses)
# Turning at a corner a figure grows into a zone, and on the way back shrinks out of it.
@example(np.array([(0.0, 0.0), (3.0, 0.0), (0.0, 1.0)]), (0.0, 0.0))
def test_walking_back_crosses_the_same_edges(path, pose):
    """The same pulses in the same places, those entered now left."""
    _, forth = pulses(path, *pose)
    _, back = pulses(path[::-1], *pose)
    assert len(forth.along_m) == len(back.along_m)
    length = line_length_m(path)

    def told(found, along, entered):
        rows = zip(found.layer, found.zone, entered, np.round(along, 5), strict=True)
        return sorted((int(k), int(z), bool(e), float(a)) for k, z, e, a in rows)

    ahead = told(forth, forth.along_m, forth.entered)
    behind = told(back, length - back.along_m, ~back.entered)
    for (k, z, e, a), (k2, z2, e2, a2) in zip(ahead, behind, strict=True):
        assert (k, z, e) == (k2, z2, e2)
        assert a == pytest.approx(a2, abs=5e-5)


@settings(max_examples=30, deadline=None)
@given(paths, poses)
def test_a_zone_is_entered_before_it_is_left(path, pose):
    """Without regard to what is broken, a zone is entered and left by turns."""
    assume(line_length_m(path) > 0.5)
    one = unit(KIND, bearing_deg=pose[0], tilt_deg=pose[1])
    round_body = Body(0.5, 0.5, "invented for the tests")
    way = track([path])
    # Whoever walks over the foot of the mount is at every bearing at once.
    assume(np.hypot(way.x, way.y).min() > 0.5)
    every = zone_crossings(one, round_body, way)
    for layer in np.unique(every.layer):
        for zone in np.unique(every.zone[every.layer == layer]):
            own = every.entered[(every.layer == layer) & (every.zone == zone)]
            assert (own[1:] != own[:-1]).all()

"""What is said of walks, of fans and of the ways in."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import box, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.routes import inner_words, percent, start_words
from terrain3d.sentences.walks import fan_words, walk_words, walks_sentence
from terrain3d.terrain import Area, Walk
from terrain3d.walk.fans import fan_across
from terrain3d.walk.pulses import try_walk
from terrain3d.walk.ways_in import Start, WayIn

ONE = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "invented for the tests")
FLAT = terrain(plane(0.0))
YARD = Area("yard", np.array([[2.0, 4.0], [6.0, 4.0], [6.0, 8.0], [2.0, 8.0]]))
ACROSS = Walk("across", np.array([[-9.0, 6.0], [9.0, 6.0]]))


def test_words_name_the_weakest_bearing():
    """A wall before the left half of the arc makes bearings on the left the weak ones."""
    walled = terrain(plane(0.0), box((-8.0, 1.0, 0), (0.0, 1.2, 2.4)))
    fan = fan_across(walled, unit(ONE), PERSON, distances_m=(9.0,))
    missed = fan.bearing_deg[~fan.raised]
    assert len(missed)
    assert (missed > 300).all()
    assert "the others pass bearings 320°" in fan_words(fan)
    assert "weakest is bearing" in fan_words(fan_across(FLAT, unit(ONE), PERSON))
    last = np.arange(len(fan.raised)) + 1 == len(fan.raised)
    lone = replace(fan, bearing_deg=np.where(last, 40.0, 30.0), walked_m=np.where(last, np.nan, 2.0))
    assert fan_words(lone).endswith("; the other passes bearing 40°.")


@pytest.mark.parametrize(
    ("chance", "words"), [(0.999, "over 99 %;"), (0.18, "18 % or more;"), (0.005, "under 1 %;")]
)
def test_a_chance_is_given_one_bound(chance, words):
    """Of the least likely walk it is "or more", but what is over or under something already says so."""
    line = np.array([[0.0, 9.0], [0.0, 3.0]])
    walked = try_walk(FLAT, (unit(ONE),), "any", Walk("in", line), PERSON)
    way = WayIn(Start(True, "gate"), line, 6.0, 6.0, 1.0, chance, line[:, 0], line[:, 0], walked)
    assert f"On the way to its middle the chance is {words}" in inner_words(way)


def test_late_alarms_are_counted_as_late():
    """From the far side the yard comes first: told of it and counted among several, not by a name."""
    site = terrain(plane(0.0), protect=(replace(YARD, name="too late"),))
    units = (unit(ONE, pulses=3),)
    early = try_walk(site, units, "any", ACROSS, PERSON)
    late = try_walk(site, units, "any", replace(ACROSS, line=ACROSS.line[::-1]), PERSON)
    assert (early.is_late, late.is_late) == (False, True)
    assert "before the path enters too late" in walk_words(early)
    assert "too late, " in walk_words(late)
    told = walks_sentence((early, late))
    assert told.startswith(
        "2 of 2 walks raise the alarm, 1 of them only after the protected ground is entered."
    )


def test_units_are_named_where_there_are_several():
    """Of an option with one unit nobody asks which raised the alarm."""
    one, other = unit(ONE), replace(unit(ONE), name="D2", bearing_deg=180.0)
    assert walk_words(try_walk(FLAT, (one,), "any", ACROSS, PERSON)).startswith("Alarm after")
    assert walk_words(try_walk(FLAT, (one, other), "any", ACROSS, PERSON)).startswith("Alarm by D1 after")


@pytest.mark.parametrize(
    ("share", "said"), [(0.0, "0 %"), (1e-5, "under 1 %"), (0.5, "50 %"), (1.0, "over 99 %")]
)
def test_chances_in_words(share, said):
    """A chance is never told as nothing where there is some, nor as certain."""
    assert percent(share) == said


@pytest.mark.parametrize(
    ("start", "said"),
    [
        (Start(True), "the drawn approaches"),
        (Start(True, "gate"), "gate"),
        (Start(False), "the edge of the known ground"),
        (Start(False, "south-west"), "the south-west edge of the known ground"),
    ],
)
def test_where_a_walk_starts_in_words(start, said):
    """An approach by its name, a side of the known ground by its compass point."""
    assert start_words(start) == said

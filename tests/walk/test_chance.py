"""The expected pulses of a step against walks really counted, and how they combine."""

from pathlib import Path

import numpy as np
import pytest
from rates import step_pulses
from shapes import box, judged, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.walk.bodies import body_of
from terrain3d.walk.chance import option_pulses_needed
from terrain3d.walk.crossings import pulses_of
from terrain3d.walk.track import track

KIND = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "invented for the tests")
EIGHT = np.arange(8) * 45.0


def rates(site, units, combine="any", directions=EIGHT, figure=PERSON):
    return step_pulses(site.ground, judged(site, *units, combine=combine), figure, directions)


@pytest.mark.parametrize("walk_deg", [0.0, 45.0, 90.0, 180.0])
def test_expected_pulses_are_the_mean_of_counted_ones(walk_deg):
    """A walk counted with the unit turned through a whole zone has the expected number on average."""
    site = terrain(plane(0.0))
    ahead = np.array([np.sin(np.radians(walk_deg)), np.cos(np.radians(walk_deg))])
    middle, half_m = np.array([0.625, 6.125]), 1.5  # the middle of a cell
    line = np.array([middle - half_m * ahead, middle + half_m * ahead])
    way = track([line])
    counts = []
    for turn in np.arange(0.0, 10.0, 0.1):
        found = pulses_of(site, unit(KIND, bearing_deg=turn), 1.7, body_of(PERSON), way)
        counts.append((found.layer == 0).sum())
    whole = rates(site, (unit(KIND),), directions=np.array([walk_deg]))[0]
    steps = line[0] + np.linspace(0, 1, 301)[:, None] * (line[1] - line[0])
    ground = site.ground
    column = np.round((steps[:, 0] - ground.x0) / ground.cell_m).astype(int)
    row = np.round((steps[:, 1] - ground.y0) / ground.cell_m).astype(int)
    expected = whole[row, column].mean() * 2 * half_m
    assert expected == pytest.approx(np.mean(counts), rel=0.06)
    assert expected > 0.2


def test_across_the_unit_brings_more_pulses_than_straight_at_it():
    """The weak direction is straight at the unit, and walking back along a line brings as many as forth."""
    own = rates(terrain(plane(0.0)), (unit(KIND),))
    row, column = 90, 60  # 7.6 m north of the unit, which looks north
    assert own[2, row, column] > 10 * own[0, row, column] > 0
    assert np.allclose(own[:4], own[4:])


def test_no_pulse_where_the_layers_are_not_broken_together():
    """Behind a wall, behind the unit and on ground that is not known nothing is expected."""
    ground = plane(0.0)
    ground.z[80:, 70:] = np.nan
    site = terrain(ground, box((-3, 5, 0), (3, 5.2, 2.4)))
    own = rates(site, (unit(KIND),))
    assert own[:, 85:, 60].max() == 0.0  # beyond the wall
    assert own[:, :55].max() == 0.0  # behind the unit
    assert own[:, 80:, 70:].max() == 0.0
    assert own[:, 70, 60].min() > 0.0


def test_units_and_combinations():
    """Under any the best unit counts, under all the worst; an unseen option brings nothing."""
    site = terrain(plane(0.0))
    first, second = unit(KIND), unit(KIND, bearing_deg=60.0)
    one, other = rates(site, (first,)), rates(site, (second,))
    assert np.array_equal(rates(site, (first, second), "any"), np.maximum(one, other))
    assert np.array_equal(rates(site, (first, second), "all"), np.minimum(one, other))
    slow = unit(KIND, pulses=3)
    assert option_pulses_needed(judged(site, first, slow)) == 1
    assert option_pulses_needed(judged(site, first, slow, combine="all")) == 3


def test_a_longer_animal_is_seen_longer_side_on():
    """Straight at the unit a broad figure grows by more than a slim one, so it brings more pulses."""
    site = terrain(plane(0.0))
    deer = Figure("red deer", 1.7, "as tall as a person, for the comparison")
    slim = Figure("fox", 1.7, "as tall as a person, for the comparison")
    broad, narrow = rates(site, (unit(KIND),), figure=deer), rates(site, (unit(KIND),), figure=slim)
    row, column = 80, 60
    assert broad[4, row, column] > narrow[4, row, column] > 0

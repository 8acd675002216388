"""Causes over the whole ground, several units together, and areas that add up."""

from pathlib import Path

import numpy as np
import pytest
from shapes import box, judged, plane, terrain, unit

from terrain3d.cover.areas import cells_within, verdict_areas
from terrain3d.cover.causes import (
    CAUSE_KEYS,
    NO_OUTCOME,
    LayerMaps,
    cause_areas,
    combined_outcomes,
    deciding,
    losses,
)
from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BROKEN,
    BY_FOLIAGE,
    BY_SOLID,
    LANDS_SHORT,
    NO_TAKER,
    OUTSIDE_ARC,
)
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.terrain import Area

ONE = load_type("one-head-90", Path())
TWO = load_type("two-head-180", Path())


def test_verdicts_add_up_to_the_known_ground():
    """Areas of the five verdicts make up all known ground."""
    on = plane(0.1, 30)
    on.z[:20, :20] = np.nan
    option = judged(terrain(on), unit(ONE))
    assert sum(option.area_m2.values()) == pytest.approx(on.known.sum() * on.cell_m**2)
    assert np.all((option.verdicts == UNKNOWN) == ~on.known)


def test_each_layer_is_broken_or_has_one_cause():
    """For each layer the causes and the broken ground make up all known ground."""
    on = plane(0.1, 30)
    for name, outcomes in sighted(terrain(on), unit(ONE)).outcome_maps(on, 1.7).items():
        areas = cause_areas({name: outcomes}, on.cell_m**2)[name]
        broken = (outcomes == BROKEN).sum() * on.cell_m**2
        assert broken + sum(areas.values()) == pytest.approx(on.known.sum() * on.cell_m**2)
        assert set(areas) <= set(CAUSE_KEYS.values())


def test_ground_out_of_reach_is_beyond_range_or_outside_arc():
    """Past the panorama the cause is told by bearing alone."""
    on = plane(0.0)
    outcomes = sighted(terrain(on), unit(ONE, bearing_deg=90.0)).outcome_maps(on, 1.7)["upper"]
    x, y = np.meshgrid(on.xs, on.ys)
    far = np.hypot(x, y) > 12.1
    assert {CAUSE_KEYS[int(c)] for c in np.unique(outcomes[far & (x > np.abs(y) + 0.1)])} == {"beyond range"}
    assert {CAUSE_KEYS[int(c)] for c in np.unique(outcomes[far & (x < np.abs(y) - 0.1)])} == {"outside arc"}


def test_any_takes_the_better_unit_and_all_the_worse():
    """Two units face to face: any holds what either holds, all only what both hold."""
    on = plane(0.0)
    west = Detector("W", ONE, "w", -6.0, 0.0, 0.0, 1.0, 90.0)
    east = Detector("E", ONE, "e", 6.0, 0.0, 0.0, 1.0, 270.0)
    one, other = (judged(terrain(on), u).verdicts == Verdict.BOTH for u in (west, east))
    either = judged(terrain(on), west, east).verdicts == Verdict.BOTH
    both = judged(terrain(on), west, east, combine="all").verdicts == Verdict.BOTH
    assert np.array_equal(either, one | other)
    assert np.array_equal(both, one & other)
    assert 0 < both.sum() < either.sum()


def test_ground_that_no_single_unit_holds_keeps_a_cause():
    """One unit breaks only the upper layer, another only the lower: not held, so one layer has a cause.

    A level unit at the top of a slope and one at its foot face each other; between them the outcomes
    must be those of one unit, the one whose verdict counts.
    """
    on = plane(-0.14)
    top = Detector("T", ONE, "t", 0.0, -6.0, 0.84, 1.0, 0.0)
    foot = Detector("F", ONE, "f", 0.0, 6.0, -0.84, 1.0, 180.0)
    option = judged(terrain(on), top, foot)
    every = (option.layer_outcomes["upper"] == BROKEN) & (option.layer_outcomes["lower"] == BROKEN)
    assert np.array_equal(every, option.verdicts == Verdict.BOTH)
    assert (option.verdicts == Verdict.UPPER_ONLY).any()
    assert (option.verdicts == Verdict.LOWER_ONLY).any()


def test_the_unit_that_decides_gives_the_fates():
    """Best verdict under any, worst under all; a layer it does not have counts as outside its arc."""
    a = LayerMaps({"upper": np.array([[0, 4]], np.uint8)}, {"upper": np.full((1, 2), NO_TAKER, np.int32)})
    b = LayerMaps(
        {"upper": np.array([[3, 5]], np.uint8), "lower": np.array([[0, 2]], np.uint8)},
        {"upper": np.full((1, 2), NO_TAKER, np.int32), "lower": np.array([[NO_TAKER, 6]], np.int32)},
    )
    verdicts = [np.array([[4, 1]], np.uint8), np.array([[2, 1]], np.uint8)]
    best = combined_outcomes([a, b], verdicts, "any")
    worst = combined_outcomes([a, b], verdicts, "all")
    assert best.outcomes["upper"].tolist() == [[0, 5]]
    assert best.outcomes["lower"].tolist() == [[8, 2]]
    assert best.takers["lower"].tolist() == [[NO_TAKER, 6]]
    assert worst.outcomes["upper"].tolist() == [[3, 4]]


def test_protected_ground_counts_cells_by_their_centre():
    """A square of whole cells has its exact area; neighbours share no cell and lose none."""
    on = plane(0.0, extent_m=10)
    left = Area("left", np.array([[-2, -2], [0, -2], [0, 2], [-2, 2.0]]))
    right = Area("right", np.array([[0, -2], [2, -2], [2, 2], [0, 2.0]]))
    a, b = cells_within(on, left), cells_within(on, right)
    assert a.sum() * on.cell_m**2 == pytest.approx(8.0)
    assert not (a & b).any()
    shifted = Area("shifted", left.outline + on.cell_m / 2)  # edges now run through centres
    assert cells_within(on, shifted).sum() == a.sum()


def test_protected_fraction_is_the_share_held_by_both_layers():
    """Ground straight ahead is held whole, ground behind not at all, and losses are told for it alone."""
    ahead = Area("ahead", np.array([[-1, 3], [1, 3], [1, 8], [-1, 8.0]]), 2.0)
    behind = Area("behind", np.array([[-1, -8], [1, -8], [1, -3], [-1, -3.0]]), 1.0)
    option = judged(terrain(plane(0.0), protect=(ahead, behind)), unit(ONE))
    assert [round(p.both_fraction, 6) for p in option.protect] == [1.0, 0.0]
    assert option.lost_m2["upper"] == {"outside arc": pytest.approx(10.0)}


def test_empty_areas_are_zero():
    """Every verdict has an area, also where there is none of it."""
    areas = verdict_areas(np.full((2, 2), UNKNOWN, np.uint8), 1.0)
    assert set(areas.values()) == {0.0}


@pytest.mark.parametrize("n_things", [1, 60, 5000])
def test_ground_is_lost_to_the_very_thing_that_takes_it_however_many_there_are(n_things):
    """A cell of each cause of each thing, by hand: every one comes back with its own area, once."""
    causes = {code: key for code, key in CAUSE_KEYS.items() if code != BROKEN}
    names = tuple(f"hedge {k}" for k in range(n_things))
    things = [0, n_things // 2, n_things - 1] if n_things > 2 else [0]
    cells = [(code, thing) for code in causes for thing in things]
    outcomes = np.array([[code for code, _ in cells]], np.uint8)
    takers = np.array([[thing for _, thing in cells]], np.int32)
    found = losses(
        LayerMaps({"upper": outcomes}, {"upper": takers}), names, 0.25, np.ones((1, len(cells)), bool)
    )
    expected = {}
    for code, thing in cells:
        expected[causes[code], names[thing]] = expected.get((causes[code], names[thing]), 0.0) + 0.25
    assert {(loss.cause, loss.name): loss.area_m2 for loss in found} == expected


def test_what_warnings_say_is_there_in_numbers():
    """A wall 0.3 m ahead, an area of 1 m2 out of reach, half a disc off the edge of the ground."""
    far = Area("far yard", np.array([[-14, -14], [-13, -14], [-13, -13], [-14, -13.0]]))
    site = terrain(plane(0.0), box((-1, 0.3, -1), (1, 0.5, 2)), protect=(far,))
    option = judged(site, unit(ONE))
    (facts,), (area,) = option.facts, option.protect
    assert facts.solid_ahead_m == pytest.approx(0.3, abs=0.03)
    assert (facts.is_inside_solid, facts.across_unknown_m2, facts.off_known_share) == (False, 0.0, 0.0)
    assert (area.area_m2, area.out_of_reach_m2, area.unknown_m2) == (1.0, 1.0, 0.0)
    # Facing out of the ground at its edge, all of a quarter disc of 12 m is off it but what rounding leaves.
    edge = Detector("D1", ONE, "rim", 0.0, 14.9, 0.0, 1.0, 0.0)
    (facts,) = judged(terrain(plane(0.0)), edge).facts
    assert facts.off_known_m2 == pytest.approx(np.pi * 12**2 / 4, rel=0.01)
    assert facts.off_known_share == pytest.approx(1.0, abs=0.01)


def test_losses_keep_their_cause_and_their_thing_among_many_things():
    """A survey brings hundreds of things: each cell keeps its own cause, and the thing that takes it."""
    upper = np.array([[OUTSIDE_ARC, BY_SOLID, BROKEN, BY_FOLIAGE, NO_OUTCOME]], np.uint8)
    lower = np.array([[BEYOND, BROKEN, BROKEN, LANDS_SHORT, NO_OUTCOME]], np.uint8)
    takers = np.array([[NO_TAKER, 299, NO_TAKER, 3, NO_TAKER]], np.int32)
    nobody = np.full((1, 5), NO_TAKER, np.int32)
    maps = LayerMaps({"upper": upper, "lower": lower}, {"upper": takers, "lower": nobody})
    found = losses(maps, tuple(f"thing {k}" for k in range(300)), 1.0, np.ones((1, 5), bool))
    assert {(loss.cause, loss.name, loss.area_m2) for loss in found} == {
        (CAUSE_KEYS[OUTSIDE_ARC], None, 1.0),
        (CAUSE_KEYS[BY_SOLID], "thing 299", 1.0),
        (CAUSE_KEYS[LANDS_SHORT], None, 1.0),
    }
    layer, outcome, taker = deciding(maps)
    assert layer[0, :4].tolist() == [0, 0, 0, 1]
    assert outcome.tolist() == [[OUTSIDE_ARC, BY_SOLID, BROKEN, LANDS_SHORT, NO_OUTCOME]]
    assert taker.tolist() == [[NO_TAKER, 299, NO_TAKER, NO_TAKER, NO_TAKER]]

"""What is left open close to units, against closed forms on level ground."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from shapes import box, judged, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import load_type
from terrain3d.sentences.close_in import close_in_figures, close_in_lines
from terrain3d.terrain import Mount
from terrain3d.walk.bodies import body_of
from terrain3d.walk.close_in import close_in

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())
PERSON = Figure("person", 1.7, "invented")
BODY = body_of(PERSON)


def found(*units, site=None, combine="any", figure=PERSON):
    """What an option leaves open, on level ground in fine cells."""
    site = terrain(plane(0.0, cell_m=0.125)) if site is None else site
    return close_in(site, judged(site, *units, combine=combine, figure_height_m=figure.height_m), figure)


def walled(wall_deg: float = 180.0, **extent):
    """Level ground with a mount at the origin on a wall."""
    return replace(terrain(plane(0.0, **extent)), mounts=(Mount("pole", 0.0, 0.0, wall_deg=wall_deg),))


def comes_down_at(over_m: float, down_deg: float) -> float:
    """Where a head that far under the unit comes up to the middle of a band of 3 degrees, metres.

    In metres the middle of a band lies a hair under its axis: the lower half of its angle is the longer.
    """
    edges = (math.tan(math.radians(down_deg + off)) for off in (-1.5, 1.5))
    return over_m / (sum(edges) / 2)


@pytest.mark.parametrize(("pan", "gap_deg"), [(45.0, 6.0), (50.0, 16.0), (42.0, 0.0), (30.0, 0.0)])
def test_the_wedge_is_a_sector(pan, gap_deg):
    """Arcs of 84 degrees turned `pan` to either side leave 2 pan - 84 degrees open: a sector out to 12 m."""
    one = found(unit(TWO, 1.0, 33.0, pan_deg=(-pan, pan)))
    assert one.wedge_m2 == pytest.approx(math.radians(gap_deg) / 2 * 12**2, abs=0.35)
    if not gap_deg:
        assert one.wedge_m2 == 0


def test_masks_at_the_inner_ends_widen_the_wedge():
    """The innermost zone of each head is 84 / 9 degrees: 6 more than 24 degrees are open then."""
    heads = (HeadSetting(masked=(9,)), HeadSetting(masked=(1,)))
    one = found(unit(TWO, 1.0, 33.0, heads=heads))
    assert one.wedge_m2 == pytest.approx(math.radians(6 + 2 * 84 / 9) / 2 * 12**2, abs=0.5)
    # A head that is masked as a whole has no neighbour.
    assert found(unit(TWO, heads=(HeadSetting(masked=tuple(range(1, 10))), HeadSetting()))).wedge_m2 == 0


def test_two_units_on_one_mount_have_a_wedge_as_well():
    """Two arcs of 90 degrees turned 100 apart leave 10 degrees; on mounts of their own there is none."""
    pair = unit(ONE, 1.0, 0.0), replace(unit(ONE, 1.0, 100.0), name="D2")
    for combine in ("any", "all"):
        one = found(*pair, combine=combine)
        assert one.wedge_m2 == pytest.approx(math.radians(10) / 2 * 12**2, abs=0.7)
    apart = found(pair[0], replace(pair[1], mount="elsewhere"))
    assert apart.wedge_m2 is None


def test_what_another_unit_reaches_is_not_open_under_any_and_is_under_all():
    """A unit that looks down the wedge from the same pole closes it where any of them may hold."""
    two, across = unit(TWO, 1.0), replace(unit(ONE, 1.0), name="D2", mount="elsewhere")
    assert found(two, across).wedge_m2 == 0
    assert found(two, across, combine="all").wedge_m2 == pytest.approx(found(two).wedge_m2)
    assert found(across).wedge_m2 is None
    assert close_in_figures(found(across))[0][1] == "\u2013"


@pytest.mark.parametrize(
    ("height", "range_m", "tilt"), [(2.4, 12.0, 6.0), (2.2, 6.0, 10.0), (3.0, 8.0, 15.0)]
)
def test_under_a_unit_on_the_level(height, range_m, tilt):
    """A layer at angle p comes down to a head at (h - H) / tan p: the upper one last, by the tilt alone."""
    upper_m = comes_down_at(height - 1.7, tilt)
    one = found(unit(ONE, height, 70.0, tilt_deg=tilt, range_m=range_m))
    # To the sides of a head nose down a layer is less steep: by the cosine of 45 degrees at the arc's ends.
    side_m = (height - 1.7) / (math.tan(math.radians(tilt)) * math.cos(math.radians(45.0)))
    assert one.under_m == pytest.approx(min(side_m, 12.0), rel=0.02)
    narrow = ONE.model_copy(update={"head": (ONE.head[0].model_copy(update={"arc": 0.5}),)})
    ahead = found(unit(narrow, height, 70.0, tilt_deg=tilt, range_m=range_m))
    assert ahead.under_m == pytest.approx(upper_m, rel=1e-4)
    assert ahead.under_unit == "D1"
    assert any(f"out to {ahead.under_m:.1f} m" in line for line in close_in_lines(ahead))


def test_under_a_unit_no_higher_than_the_figure_there_is_nothing():
    """At 1 m every layer meets a person close in; a dog's back is another matter."""
    assert found(unit(ONE, 1.0)).under_m == 0
    dog = Figure("dog", 0.6, "invented")
    narrow = ONE.model_copy(update={"head": (ONE.head[0].model_copy(update={"arc": 0.5}),)})
    # The lower layer at atan(1 / 12) comes down to 0.6 m; the level upper one never does.
    down_deg = math.degrees(math.atan(1 / 12))
    assert found(unit(narrow, 1.0), figure=dog).under_m == pytest.approx(
        comes_down_at(0.4, down_deg), rel=1e-4
    )


def test_what_another_unit_holds_under_it_is_held():
    """A second unit on a low pole behind the first looks under it."""
    narrow = ONE.model_copy(update={"head": (ONE.head[0].model_copy(update={"arc": 0.5}),)})
    high = unit(narrow, 2.4, tilt_deg=6.0)
    low = replace(unit(ONE, 1.0), name="D2", y=-3.0)
    assert found(high).under_m == pytest.approx(comes_down_at(0.7, 6.0), rel=1e-4)
    assert found(high, low).under_m == 0
    assert found(high, low, combine="all").under_m == pytest.approx(found(high).under_m)


def entered_at(edge_deg: float) -> float:
    """Distance along the wall at which a side of a body first crosses an edge, so far off the wall's facing.

    The body walks along the wall half its breadth off, seen as the oval is; its far side crosses first.
    """
    out = BODY.breadth_m / 2

    def past(along: float) -> float:
        sight = math.atan2(along, out)  # off the facing
        half = math.hypot(BODY.breadth_m * math.sin(sight), BODY.length_m * math.cos(sight)) / 2
        far = math.hypot(along, out)
        return math.degrees(sight - math.atan2(half, far)) - edge_deg

    return float(brentq(past, 1e-3, 60.0))


@pytest.mark.parametrize(("kind", "edge_deg"), [(ONE, 45.0), (TWO, 87.0)])
def test_along_the_wall_the_first_edge_raises_the_alarm(kind, edge_deg):
    """One pulse is needed: the alarm comes where the body first reaches into the arc, from either side."""
    one = found(unit(kind, 1.0, 180.0), site=walled())
    assert [walk.from_deg for walk in one.along_wall] == [90.0, 270.0]
    for walk in one.along_wall:
        assert walk.is_noticed
        assert walk.near_m == pytest.approx(entered_at(edge_deg), abs=0.002)
    assert "from the east and" in close_in_lines(one)[-1]
    assert one.nearest is not None


@settings(max_examples=8, deadline=None)
@given(st.floats(0, 359), st.floats(-20, 20))
def test_turning_wall_and_unit_together_changes_nothing(turn, swivel):
    """Only the compass words do."""
    first = found(unit(ONE, 1.0, 180.0 + swivel), site=walled(180.0))
    other = found(unit(ONE, 1.0, (180.0 + swivel + turn) % 360), site=walled((180.0 + turn) % 360))
    near = [walk.near_m for walk in first.along_wall]
    assert [walk.near_m for walk in other.along_wall] == pytest.approx(near, abs=1e-6)


def test_no_alarm_is_told_as_to_the_unit_itself():
    """Aloft, nobody on the ground breaks both layers: whoever comes gets to the unit."""
    one = found(unit(ONE, 9.0, 180.0), site=walled())
    assert [(walk.near_m, walk.is_noticed) for walk in one.along_wall] == [(0.0, False)] * 2
    assert "to D1 itself from the east and to D1 itself from the west" in close_in_lines(one)[-1]
    assert close_in_figures(one)[2][1] == "no alarm"


def test_more_pulses_let_them_come_nearer_and_all_units_have_to_alarm():
    """Three pulses take three edges; under `all` a unit that sees nothing keeps the option silent."""
    three = found(unit(TWO, 1.0, 180.0, pulses=3), site=walled())
    single = found(unit(TWO, 1.0, 180.0), site=walled())
    assert three.nearest.near_m < single.nearest.near_m
    away = replace(unit(ONE, 1.0, 180.0), name="D2", mount="elsewhere", y=-3.0)
    option = found(unit(TWO, 1.0, 180.0), away, site=walled(), combine="all")
    assert [walk.units for walk in option.along_wall] == [("D1",), ("D1",)]
    assert not any(walk.is_noticed for walk in option.along_wall)


def test_two_units_on_one_wall_are_walked_at_once():
    """Whoever walks up to them is noticed by the one that looks his way."""
    pair = unit(ONE, 1.0, 135.0), replace(unit(ONE, 1.0, 225.0), name="D2")
    one = found(*pair, site=walled())
    assert [walk.units for walk in one.along_wall] == [("D1", "D2")] * 2
    # The outermost edge lies along the wall, and is never crossed; the next is 10 degrees off it.
    assert [walk.near_m for walk in one.along_wall] == pytest.approx([entered_at(80.0)] * 2, abs=0.002)
    assert "of D1 and D2 from the east" in close_in_lines(one)[-1]


def test_a_solid_across_the_wall_hides_who_comes_behind_it():
    """A wing of the house 2 m to the west: from there nobody is seen before he is past it."""
    site = walled()
    wing = replace(site, solids=box((-3.0, -4.0, -1.0), (-2.0, 0.5, 3.0)))
    west = next(walk for walk in found(unit(TWO, 1.0, 180.0), site=wing).along_wall if walk.from_deg == 270.0)
    east = next(walk for walk in found(unit(TWO, 1.0, 180.0), site=wing).along_wall if walk.from_deg == 90.0)
    assert west.near_m < 2.5
    assert east.near_m == pytest.approx(entered_at(87.0), abs=0.002)


def test_a_unit_on_no_wall_has_no_walk_along_one():
    """Where nobody says what the wall faces, nothing is told."""
    one = found(unit(ONE, 1.0))
    assert one.along_wall == ()
    assert one.nearest is None
    assert not any("wall" in line for line in close_in_lines(one))
    assert np.count_nonzero(one.wedge) == 0

"""Tolerances: against closed forms on the level, and against trying settings one by one."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import judged, plane, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Area
from terrain3d.uncertainty.monte_carlo import protected_count
from terrain3d.uncertainty.tolerance import (
    LIMITS,
    LOSS,
    aim_tolerance,
    height_tolerance,
    option_tolerances,
    range_tolerances,
)

KIND = load_type("one-head-90", Path())
TABLE = head_table(KIND)
FIGURE_M = 1.7


def codes_of(seen, table, one, figure_height_m=FIGURE_M):
    """Verdicts of a unit as it is set."""
    return verdict_codes(
        seen,
        table,
        one.bearing_deg,
        one.tilt_deg,
        one.roll_deg,
        one.range_m,
        figure_height_m,
        one.fill_needed,
    )


def line_ahead(range_m: float = 8.0, near_m: float = 2.0):
    """Level ground, a unit facing north, and the cells straight ahead of it up to where it lands."""
    site = terrain(plane(0.0, cell_m=0.05, extent_m=24.05))
    one = unit(KIND, 1.0, 0.0, range_m=range_m)
    seen = panorama(site, one.eye, 12.0)
    ahead = (np.abs(seen.east) < 1e-9) & (seen.north > 0)
    weight = (ahead & (seen.distance > near_m) & (seen.distance < range_m)).astype(float)
    return site, sighted(site, one), weight


def test_tilt_and_height_lose_the_far_end_as_the_closed_form_says():
    """On the level the lower layer lands at h / tan(p + t), the upper one clears at (H - h) / tan(-t)."""
    site, one, weight = line_ahead()
    far, near = 8.0, 2.0
    kept = far - LOSS * (far - near)  # the distance that must still be held
    p = math.atan(1.0 / far)
    (tilt,) = aim_tolerance(one, FIGURE_M, weight, settings=("tilt",))
    # A cell of 5 cm of the 30 cm to lose is a sixth of the tolerance.
    assert tilt.more == pytest.approx(math.degrees(math.atan(1.0 / kept) - p), rel=0.17)
    assert tilt.less == pytest.approx(math.degrees(math.atan((FIGURE_M - 1.0) / kept)), rel=0.02)
    assert (tilt.less_open, tilt.more_open) == (False, False)
    height = height_tolerance(site, one, FIGURE_M, weight, weight.sum())
    assert height.less == pytest.approx(LOSS * (far - near) / far, rel=0.17)
    assert (height.more, height.more_open) == (LIMITS["height"], True)


def test_bearing_turns_a_fan_off_its_ground():
    """A fan of 90 degrees loses a twentieth of itself in 4.5 degrees, either way; so does any full ring."""
    site = terrain(plane(0.0))
    one = sighted(site, unit(KIND, 1.0, 77.0))
    (bearing,) = aim_tolerance(one, FIGURE_M, np.ones(len(one.seen.cells)), settings=("bearing",))
    assert bearing.less == pytest.approx(4.5, abs=0.2)
    assert bearing.more == pytest.approx(4.5, abs=0.2)
    assert bearing.unit == "deg"


def test_range_is_told_in_settings():
    """With ground to 8 m, the setting of 6 m loses too much and longer ones are free to the last."""
    _, one, weight = line_ahead()
    (found,) = range_tolerances(one, FIGURE_M, weight, weight.sum())
    assert (found.less, found.less_open) == (0.0, False)
    assert (found.more, found.more_open) == (4.0, True)


def test_range_of_a_head_is_told_in_its_own_settings():
    """Set on the head, the same range bears the same; of a head that lost its ground nothing is asked."""
    _, one, weight = line_ahead()
    (meant,) = range_tolerances(one, FIGURE_M, weight, weight.sum())
    by_head = one.set_to(replace(one.unit, range_m=4.0, heads=(HeadSetting(range_m=8.0),)))
    assert range_tolerances(by_head, FIGURE_M, weight, weight.sum()) == (replace(meant, head=1),)


def test_a_head_that_follows_the_unit_is_told_apart_from_one_that_does_not():
    """Ground ahead of the right head alone: the left one may have any range, the right one loses by less."""
    two = load_type("two-head-180", Path())
    site = terrain(plane(0.0))
    one = sighted(site, unit(two, 1.0, 0.0, range_m=8.0, heads=(HeadSetting(range_m=12.0), HeadSetting())))
    weight = ((one.seen.east > 0.2) & (one.seen.distance < 8)).astype(float)
    unit_wide, left = range_tolerances(one, FIGURE_M, weight, weight.sum())
    assert (left.head, left.less_open, left.less) == (1, True, 8.0)
    assert (unit_wide.head, unit_wide.less_open) == (None, False)


def test_all_held_nothing_to_lose():
    """A unit that holds no ground that counts has no tolerance, and none is made up."""
    _, one, weight = line_ahead()
    assert aim_tolerance(one.set_to(replace(one.unit, bearing_deg=180.0)), FIGURE_M, weight) == ()


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 360), st.floats(-6, 6), st.sampled_from(["bearing", "tilt", "roll"]))
def test_the_first_crossing_is_found(site, bearing_deg, tilt_deg, setting):
    """Up to the tolerance no more than a twentieth is lost at any step; just beyond it, more is."""
    one = unit(KIND, 1.0, bearing_deg, tilt_deg=tilt_deg)
    seen = panorama(site, one.eye, 12.0)
    weight = protected_count(site).ravel()[seen.cells]
    held = codes_of(seen, TABLE, one) == Verdict.BOTH
    found = aim_tolerance(sighted(site, one), FIGURE_M, weight, settings=(setting,))
    whole = weight[held].sum()
    if not whole:
        assert found == ()
        return

    def lost(off):
        moved = replace(one, **{f"{setting}_deg": getattr(one, f"{setting}_deg") + off})
        return weight[held & (codes_of(seen, TABLE, moved) != Verdict.BOTH)].sum() / whole

    (slack,) = found
    step = 1.0 if setting == "bearing" else 0.5
    for sign, reach, is_open in ((-1, slack.less, slack.less_open), (1, slack.more, slack.more_open)):
        assert all(lost(sign * off) <= LOSS for off in (*np.arange(step, reach, step), reach))
        assert is_open == (reach == LIMITS[setting])
        if not is_open:
            assert lost(sign * (reach + 0.05)) > LOSS or lost(sign * (reach + 0.025)) > LOSS


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.floats(0, 360), st.floats(-8, 8), st.floats(-5, 5), st.floats(0, 1))
def test_some_cells_of_a_panorama_keep_their_verdicts(site, seed, bearing, tilt, roll, share):
    """Thinned to any of its cells, behind walls and hedges too, a panorama answers as the whole does."""
    one = unit(KIND, 1.0, bearing, tilt_deg=tilt, roll_deg=roll)
    seen = panorama(site, one.eye, 12.0)
    keep = np.random.default_rng(seed).random(len(seen.cells)) < share
    some = seen.among(keep)
    np.testing.assert_array_equal(codes_of(some, TABLE, one), codes_of(seen, TABLE, one)[keep])
    assert len(seen.many) > 0


def test_several_units_share_what_may_be_lost(site, options):
    """Under any, ground that another unit holds cannot be lost; under all, any unit can lose it."""
    one = options[0]
    (unit_,) = one.detectors

    (alone,) = option_tolerances(site, one, FIGURE_M)
    doubled = option_tolerances(site, judged(site, unit_, unit_), FIGURE_M)
    agreed = option_tolerances(site, judged(site, unit_, unit_, combine="all"), FIGURE_M)
    assert [s.setting for s in alone.slacks] == ["height", "bearing", "tilt", "roll", "range"]
    assert alone.held_m2 == pytest.approx(sum(a.area_m2 * a.both_fraction for a in one.protect))
    # Each of two alike is spare: whatever is done to it, nothing is lost.
    assert all(s.less_open and s.more_open for both in doubled for s in both.slacks)
    assert all(both.slacks == alone.slacks for both in agreed)
    assert not all(s.less_open and s.more_open for s in alone.slacks)


def test_no_protected_ground_counts_all_of_it(site, options):
    """Where nothing is protected all held ground counts; where nothing is held nothing is told."""
    bare = replace(site, protect=())
    free = judged(bare, *options[0].detectors)
    (found,) = option_tolerances(bare, free, FIGURE_M)
    assert found.held_m2 == pytest.approx(free.area_m2["both"])
    away = replace(site, protect=(Area("away", np.array([[10.0, -16], [14, -16], [14, -12], [10, -12]])),))
    (nothing,) = option_tolerances(away, judged(away, *options[0].detectors), FIGURE_M)
    assert (nothing.held_m2, nothing.slacks) == (0.0, ())


def test_tilt_stops_where_a_head_does():
    """A unit near its greatest tilt is looked at no further than a head tilts."""
    _, one, _ = line_ahead()
    weight = np.ones(len(one.seen.cells))
    (tilt,) = aim_tolerance(
        one.set_to(replace(one.unit, tilt_deg=-29.5, roll_deg=2.0)),
        1.7,
        weight,
        whole=1e9,
        settings=("tilt",),
    )
    assert (tilt.less, tilt.less_open) == (0.5, True)
    assert (tilt.more, tilt.more_open) == (LIMITS["tilt"], True)

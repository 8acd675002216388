"""Heads set by themselves: masks, ranges and sensitivities against units that need none of them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, leaves, terrain, unit
from test_properties import leans, waved, waves

from terrain3d.cover.layer_outcomes import OUTSIDE_ARC
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import HeadSetting, open_arcs
from terrain3d.detector.types import DetectorType, load_type

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())
slow = settings(max_examples=15, deadline=None)
bearings = st.floats(0, 360)


def site(wave):
    """Waves with a wall and a hedge on them."""
    land = waved(wave)
    hedge = leaves(land, lambda x, y: (x > -6) & (x < -3) & (y > 3) & (y < 7), 0.0, 1.4, 1.0)
    return terrain(land, box((2, 4, -3), (5, 5, 1.1)), hedge)


def at(kind: DetectorType, wave, **setting):
    """A unit on the site, with what it sees; it stands 1 m over the ground at the origin."""
    land = site(wave)
    own = replace(unit(kind, 1.0, **setting), ground_z=float(land.ground.height_at(0.0, 0.0)))
    return sighted(land, own)


def narrowed(kind: DetectorType, arc: float, zones: int) -> DetectorType:
    """A type whose heads have a smaller arc with fewer zones."""
    heads = tuple(
        head.model_copy(update={"arc": arc, "layer": tuple(
            layer.model_copy(update={"zones": zones}) for layer in head.layer
        )})
        for head in kind.head
    )  # fmt: skip
    return kind.model_copy(update={"head": heads})


@slow
@given(waves, bearings, leans, leans, st.integers(1, 4))
def test_zones_masked_on_both_sides_are_a_type_with_a_smaller_arc(wave, bearing, tilt, roll, n):
    """So many of nine zones of 10 degrees covered at each end leave an arc of 90 - 20 n degrees."""
    masked = tuple(range(1, n + 1)) + tuple(range(10 - n, 10))
    pose = {"bearing_deg": bearing, "tilt_deg": tilt, "roll_deg": roll}
    covered = at(ONE, wave, heads=(HeadSetting(masked=masked),), **pose)
    small = at(narrowed(ONE, 90.0 - 20 * n, 9 - 2 * n), wave, **pose)
    assert (covered.codes(1.7) == small.codes(1.7)).all()
    assert (covered.outcomes(1.7) == small.outcomes(1.7)).all()
    assert (covered.broken(1.7) == small.broken(1.7)).all()


@slow
@given(waves, bearings, st.integers(1, 8))
def test_zones_masked_on_one_side_of_a_level_head_are_a_smaller_arc_turned(wave, bearing, n):
    """Level, a head with its left n zones covered is one of 90 - 10 n degrees, turned right by 5 n."""
    covered = at(ONE, wave, bearing_deg=bearing, heads=(HeadSetting(masked=tuple(range(1, n + 1))),))
    small = at(narrowed(ONE, 90.0 - 10 * n, 9 - n), wave, bearing_deg=bearing + 5.0 * n)
    # A cell right on the edge of an arc may fall to either side.
    assert (covered.codes(1.7) != small.codes(1.7)).sum() <= 2


@slow
@given(waves, bearings, leans, leans, st.sets(st.integers(1, 9), min_size=1, max_size=8))
def test_a_mask_takes_its_own_zones_and_nothing_else(wave, bearing, tilt, roll, masked):
    """Counted out: ground is as without the mask or outside the arc, and every zone is one of both."""
    pose = {"bearing_deg": bearing, "tilt_deg": tilt, "roll_deg": roll}
    bare = at(ONE, wave, **pose)
    covered = bare.set_to(replace(bare.unit, heads=(HeadSetting(masked=tuple(masked)),)))
    rest = tuple(set(range(1, 10)) - masked)
    others = bare.set_to(replace(bare.unit, heads=(HeadSetting(masked=rest),)))
    codes, left, right = bare.codes(1.7), covered.codes(1.7), others.codes(1.7)
    # A layer's axis may lie in a zone where another's lies in the next: tilted, a cell can be in both.
    assert (np.maximum(left, right) <= codes).all()
    assert (np.minimum(left, right)[codes == Verdict.BOTH] <= Verdict.UPPER_ONLY).all()
    if tilt == roll == 0:
        assert (np.maximum(left, right) == codes).all()
        assert (covered.outcomes(1.7)[:, left == Verdict.OUTSIDE] >= OUTSIDE_ARC).all()


@slow
@given(
    waves, bearings, leans, st.sampled_from(ONE.range_settings), st.sampled_from(ONE.range_settings),
    st.floats(0.2, 0.9), st.floats(0.2, 0.9),
)  # fmt: skip
def test_heads_set_by_themselves_are_two_units_of_one_head(wave, bearing, tilt, left_m, right_m, low, high):
    """Two heads in one housing, each with its range and share, hold what two units in one place hold."""
    ranges, fills = (left_m, right_m), ((low,), (high, low))
    heads = tuple(HeadSetting(range_m=r, fill=f) for r, f in zip(ranges, fills, strict=True))
    both = at(TWO, wave, bearing_deg=bearing, tilt_deg=tilt, heads=heads)
    singles = []
    for h, head in enumerate(TWO.head):
        kind = TWO.model_copy(update={"head": (head.model_copy(update={"pan": 0.0}),)})
        own = (HeadSetting(fill=fills[h]),)
        turned = bearing + head.pan
        singles.append(
            at(kind, wave, bearing_deg=turned, tilt_deg=tilt, range_m=ranges[h], heads=own).codes(1.7)
        )
    assert (both.codes(1.7) == np.maximum(*singles)).all()


def test_sensitivity_is_the_share_that_the_type_gives_it():
    """A name of the type's is its share, of the unit or of a head."""
    kind = ONE.model_copy(update={"sensitivity": {"low": 0.8, "high": 0.3}})
    wave = (0.1, 0.05, 0.3, 3.0)
    for name, fill in (("low", 0.8), ("high", 0.3)):
        meant = at(ONE, wave, fill=fill).codes(1.7)
        assert (at(kind, wave, sensitivity=name).codes(1.7) == meant).all()
        by_head = at(kind, wave, heads=(HeadSetting(sensitivity=(name, name)),))
        assert (by_head.codes(1.7) == meant).all()
        assert by_head.unit.fills_of(0) == (fill, fill)
    high, low = (at(kind, wave, sensitivity=name).codes(1.7) for name in ("high", "low"))
    assert (high >= low).all()
    assert (high > low).any()


def test_masks_that_meet_leave_nothing_between_them():
    """Zones of thirds of a degree add up to no gap, and arcs and zones may overlap."""
    head = ONE.head[0].model_copy(update={"arc": 100.0 / 3})
    assert open_arcs(head, HeadSetting(masked=tuple(range(1, 10)))) == ()
    (left,) = open_arcs(head, HeadSetting(masked=(1, 2, 3), masked_deg=((-10.0, 8.0),)))
    assert left == (8.0, 100.0 / 6)


def test_a_head_that_is_all_masked_holds_nothing():
    """The other head holds what it held."""
    wave = (0.0, 0.0, 0.0, 3.0)
    bare = at(TWO, wave)
    shut = bare.set_to(replace(bare.unit, heads=(HeadSetting(masked=tuple(range(1, 10))), HeadSetting())))
    assert (shut.codes(1.7) == Verdict.BOTH).sum() < (bare.codes(1.7) == Verdict.BOTH).sum()
    west = bare.seen.east < -0.1
    assert not (shut.codes(1.7)[west] > Verdict.OUTSIDE).any()
    assert shut.broken(1.7).shape == bare.broken(1.7).shape
    assert not shut.broken(1.7)[:2].any()
    assert not shut.upper_broken(1.7)[0].any()
    assert (shut.upper_broken(1.7)[1] == bare.upper_broken(1.7)[1]).all()

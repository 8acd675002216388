"""Masks that are advised: they do what is promised, and cost what is told."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import judged, plane, terrain, unit
from test_things import thing

from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import load_type
from terrain3d.nuisance.masking import ZoneMask, mask_cost, with_masks
from terrain3d.nuisance.spill import spill, with_costs
from terrain3d.nuisance.things import in_layers
from terrain3d.nuisance.things import with_costs as things_with_costs
from terrain3d.sentences.nuisances import nuisance_line
from terrain3d.terrain import Area, Beyond

TWO = load_type("two-head-180", Path())
LAWN = np.array([[4.0, 2], [14, 2], [14, 7], [4, 7]])
YARD = np.array([[-2.0, 2], [6, 2], [6, 7], [-2, 7]])


def uneven(lower_zones: int):
    """Two heads whose lower layers have fewer zones than their upper ones."""
    heads = tuple(
        head.model_copy(
            update={"layer": (head.layer[0], head.layer[1].model_copy(update={"zones": lower_zones}))}
        )
        for head in TWO.head
    )
    return TWO.model_copy(update={"head": heads})


@settings(max_examples=20, deadline=None)
@given(
    st.floats(-80, 80), st.floats(2, 11), st.floats(-4, 4), st.floats(-4, 4), st.sampled_from([3, 5, 9])
)  # fmt: skip
def test_masking_the_zones_named_removes_the_thing_from_the_layer(off, far, tilt, roll, lower_zones):
    """Wherever the vent is and however the unit leans: nothing of it is seen in that layer any more."""
    x, y = far * np.sin(np.radians(off)), far * np.cos(np.radians(off))
    site = replace(terrain(plane(0.1, 40.0)), nuisances=(thing(float(x), float(y), 0.6, 0.0, 2.0),))
    one = unit(uneven(lower_zones), 1.0, tilt_deg=tilt, roll_deg=roll)
    for found in in_layers(site, (one,)):
        assert found.mask
        masked = with_masks(one, [ZoneMask("D1", found.head, found.mask)])
        left = [(other.head, other.layer) for other in in_layers(site, (masked,)) if other.is_seen]
        assert (found.head, found.layer) not in left
        # No zone is named for nothing: with any of them open again something of it shows.
        for zone in found.mask:
            rest = tuple(other for other in found.mask if other != zone)
            opened = with_masks(one, [ZoneMask("D1", found.head, rest)])
            seen = [(other.head, other.layer) for other in in_layers(site, (opened,)) if other.is_seen]
            assert (found.head, found.layer) in seen


def test_the_zones_named_are_those_of_the_bearing():
    """Ahead of the right head (45 degrees, nine zones of 9.33) a vent straight ahead lies in the fifth."""
    site = replace(terrain(plane(0.0)), nuisances=(thing(5.0, 5.0, 0.4, 0.8, 1.2),))
    (found,) = in_layers(site, (unit(TWO, 1.0),))
    assert (found.head, found.mask) == (2, (5,))
    assert "mask zone 5 of head 2" in nuisance_line(found)


@settings(max_examples=10, deadline=None)
@given(st.floats(0, 360), st.floats(-3, 3), st.floats(-3, 3))
def test_masking_what_is_named_keeps_off_the_ground(bearing, tilt, roll):
    """Of the lawn, and of all past the boundary, nothing is left in the upper layer within range."""
    lawn = Beyond("lawn", "neighbour", LAWN, True)
    site = replace(terrain(plane(0.0)), beyond=(lawn,), boundary=YARD)
    one = unit(TWO, 1.0, bearing, tilt_deg=tilt, roll_deg=roll)
    found = spill(site, (one,), 1.7)
    told = {keep.ground: keep.masks for keep in found.keep_off}
    assert ("lawn" in told) == (found.pieces[0].within_m2 > 0)
    assert (None in told) == (found.past_within_m2 > 0)
    for ground, masks in told.items():
        after = spill(site, (with_masks(one, masks),), 1.7)
        assert (after.pieces[0].within_m2 if ground else after.past_within_m2) == 0
        assert ground not in {keep.ground for keep in after.keep_off}


def test_a_mask_costs_what_its_zones_held():
    """On the level a zone is a sector: of nine alike, masking three of a head loses a third of its ground."""
    one = unit(TWO, 1.0)
    site = terrain(plane(0.0))
    option = judged(site, one)
    cost = mask_cost(site, option, (ZoneMask("D1", 2, (1, 2, 3)),), 1.7)
    assert not cost.is_protected
    assert cost.held_m2 == pytest.approx(option.area_m2["both"])
    assert cost.lost_m2 == pytest.approx(cost.held_m2 / 6, rel=0.03)
    again = judged(site, with_masks(one, (ZoneMask("D1", 2, (1, 2, 3)),)))
    assert cost.lost_m2 == pytest.approx(option.area_m2["both"] - again.area_m2["both"])
    # What another unit holds as well is not lost.
    twice = judged(site, one, replace(one, name="D2"))
    assert mask_cost(site, twice, (ZoneMask("D1", 2, (1, 2, 3)),), 1.7).lost_m2 == 0


def test_costs_are_of_protected_ground_where_some_is_protected():
    """The yard reaches from two metres left of the unit to six right: only its own cells count."""
    lawn = Beyond("lawn", "neighbour", LAWN, True)
    site = replace(
        terrain(plane(0.0), protect=(Area("yard", YARD),)),
        beyond=(lawn,),
        nuisances=(thing(3.0, 4.0, 0.4, 0.0, 2.0),),
    )
    option = judged(site, unit(TWO, 1.0))
    (keep,) = with_costs(spill(site, option.detectors, 1.7), site, option, 1.7).keep_off
    assert keep.cost is not None
    assert keep.cost.is_protected
    masked = judged(site, with_masks(option.detectors[0], keep.masks))
    x, y = np.meshgrid(site.ground.xs, site.ground.ys)
    in_yard = (x > -2) & (x < 6) & (y > 2) & (y < 7)
    lost = in_yard & (option.verdicts == Verdict.BOTH) & (masked.verdicts != Verdict.BOTH)
    assert keep.cost.lost_m2 == pytest.approx(lost.sum() * 0.0625)
    assert 0 < keep.cost.lost_m2 < keep.cost.held_m2
    for found in things_with_costs(in_layers(site, option.detectors), site, option, 1.7):
        assert "m² of protected ground held" in nuisance_line(found)


def test_all_zones_masked_hold_nothing_and_run_nowhere():
    """Even the last head can be named: what is left has no fan."""
    one = unit(TWO, 1.0)
    every = tuple(ZoneMask("D1", head, tuple(range(1, 10))) for head in (1, 2))
    site = replace(terrain(plane(0.0)), boundary=YARD)
    assert mask_cost(site, judged(site, one), every, 1.7).lost_m2 == pytest.approx(
        judged(site, one).area_m2["both"]
    )
    assert spill(site, (with_masks(one, every),), 1.7).fans == ()

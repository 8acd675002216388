"""Facts of the trade: common practice, no source."""

from pathlib import Path

import numpy as np
import pytest
from shapes import plane, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import find_figure
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama

ONE, TWO = (load_type(name, Path()) for name in ("one-head-90", "two-head-180"))
LEVEL = terrain(plane(0.0, cell_m=0.1, extent_m=27))


def look(kind, height_m=1.0, figure="person", **setting):
    """Offset of each cell's bearing from the unit's facing (north), distance, verdict."""
    seen = panorama(LEVEL, (0.0, 0.0, height_m), 13.0)
    pan = setting.pop("pan", None)
    codes = verdict_codes(
        seen, head_table(kind, pan), 0.0, 0.0, 0.0, 12.0, find_figure(figure).height_m, kind.fill
    )
    return np.degrees(np.arctan2(seen.east, seen.north)), seen.distance, codes


@pytest.mark.parametrize("kind", [ONE, TWO])
def test_reach_and_mounting_height(kind):
    """A unit of this kind reaches 12 m and is fixed 0.8 to 1.2 m up (common practice, no source)."""
    assert kind.max_range == 12
    assert kind.mount_height == (0.8, 1.2)
    assert kind.pulses == (1, 3)


def test_one_head_holds_ninety_degrees_to_twelve_metres():
    """On the level one head holds a person all over its 90 degrees, to 12 m (common practice, no source)."""
    offset, distance, codes = look(ONE)
    ahead = (np.abs(offset) < 44.9) & (distance > 0.3) & (distance < 11.9)
    assert np.all(codes[ahead] == Verdict.BOTH)
    assert np.all(codes[(np.abs(offset) > 45.1) | (distance > 12.0)] == Verdict.OUTSIDE)


@pytest.mark.parametrize("animal", ["cat", "fox", "badger", "dog", "person crawling"])
@pytest.mark.parametrize("height_m", [0.8, 1.0, 1.2])
def test_small_animals_never_break_both_layers_on_the_level(animal, height_m):
    """Both layers together leave small animals alone on the level (common practice, no source)."""
    _, _, codes = look(ONE, height_m, figure=animal)
    assert not np.any(codes == Verdict.BOTH)


def test_two_heads_leave_a_wedge_open_straight_ahead():
    """Two heads in one housing at 45 degrees leave a wedge open (common practice, no source)."""
    offset, distance, codes = look(TWO)
    in_range = (distance > 2) & (distance < 11.9)
    assert np.all(codes[in_range & (np.abs(offset) < 2.9)] == Verdict.OUTSIDE)
    assert np.all(codes[in_range & (np.abs(offset) > 3.1) & (np.abs(offset) < 86.9)] == Verdict.BOTH)


def test_panning_the_heads_in_closes_the_wedge():
    """Turned in until they overlap, the heads close the wedge and give it up at the sides (same)."""
    offset, distance, codes = look(TWO, pan=(-41.0, 41.0))
    in_range = (distance > 2) & (distance < 11.9)
    assert np.all(codes[in_range & (np.abs(offset) < 82.9)] == Verdict.BOTH)
    assert np.all(codes[in_range & (np.abs(offset) > 83.1)] == Verdict.OUTSIDE)


def test_two_single_units_back_to_back_hold_180_degrees():
    """Two units of 90 degrees, turned 45 degrees apart, hold 180 (common practice, no source)."""
    seen = panorama(LEVEL, (0.0, 0.0, 1.0), 13.0)
    table = head_table(ONE)
    pair = [verdict_codes(seen, table, b, 0.0, 0.0, 12.0, 1.7, 0.5) for b in (-45.0, 45.0)]
    offset = np.degrees(np.arctan2(seen.east, seen.north))
    half = (np.abs(offset) < 89.9) & (seen.distance > 0.3) & (seen.distance < 11.9)
    assert np.all(np.maximum(*pair)[half] == Verdict.BOTH)


def test_unit_helper_matches_type():
    """The detector used in these tests is fixed as its type allows."""
    assert ONE.mount_height[0] <= unit(ONE).height_m <= ONE.mount_height[1]

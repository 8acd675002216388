"""Fill, fates and verdicts of one unit, on ground where the answer is known by hand."""

from pathlib import Path

import numpy as np
import pytest
from shapes import box, leaves, plane, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BROKEN,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    PASSES_ABOVE,
    layer_outcomes,
)
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import DetectorType, Head, Layer, load_type
from terrain3d.sight.panorama import panorama

ONE = load_type("one-head-90", Path())
#: An odd number of cells, so that a row of centres lies due north.
LEVEL = plane(0.0, cell_m=0.25, extent_m=26.75)


def due_north(site, figure_height_m=1.7, height_m=1.0, kind=ONE, **setting):
    """Distances of the cells due north, and what became of each layer there by name."""
    seen = panorama(site, (0.0, 0.0, height_m), 13.0)
    outcomes = layer_outcomes(seen, head_table(kind), unit(kind, height_m, **setting), figure_height_m)
    row = np.flatnonzero((np.abs(seen.east) < 1e-9) & (seen.north > 0) & (seen.distance > 0))
    row = row[np.argsort(seen.distance[row])]
    return seen.distance[row], dict(zip(head_table(kind).layer_names, outcomes[:, row], strict=True))


def test_a_hedge_hides_what_its_share_of_light_decides():
    """Through exp(-0.5) of light a layer is broken at fill 0.5, through exp(-1) it is not."""
    for density, expected in [(1.0, BROKEN), (2.0, BY_FOLIAGE)]:
        hedge = leaves(LEVEL, lambda x, y: (y > 3.125) & (y < 4.125), 0.0, 2.0, density)
        distance, outcomes = due_north(terrain(LEVEL, foliage=hedge))
        behind = (distance > 4.5) & (distance < 11)
        assert np.all(outcomes["upper"][behind] == expected)
        # Farther out the lower layer is partly in the ground, and fill is less than the light.
        assert np.all(outcomes["lower"][behind & (distance < 8)] == expected)


def test_another_sensitivity_needs_another_fill():
    """Where half light is let through, fill 0.5 holds and fill 0.7 does not."""
    hedge = leaves(LEVEL, lambda x, y: (y > 3.125) & (y < 4.125), 0.0, 2.0, 1.0)
    for needed, expected in [(0.5, BROKEN), (0.7, BY_FOLIAGE)]:
        distance, outcomes = due_north(terrain(LEVEL, foliage=hedge), fill=needed)
        assert np.all(outcomes["upper"][(distance > 4.5) & (distance < 11)] == expected)


def test_close_to_the_unit_both_layers_pass_over_a_cat():
    """Near the pole the lower layer is over a cat: close in; the upper passes above it everywhere."""
    distance, outcomes = due_north(terrain(LEVEL), figure_height_m=0.25)
    assert np.all(outcomes["upper"][distance < 11.9] == PASSES_ABOVE)
    near = distance < 8.5  # at 9 m its axis is down to 0.25 m
    assert np.all(outcomes["lower"][near] == CLOSE_IN)
    assert outcomes["lower"][np.flatnonzero(distance > 9.1)[0]] == BROKEN


def test_a_bank_hides_ground_behind_it():
    """Behind a sharp bank of 0.9 m the lower layer is hidden by ground, the upper is not."""
    on = plane(0.0, cell_m=0.25, extent_m=26.75)
    on.z[(on.ys > 4) & (on.ys < 5), :] = 0.9
    distance, outcomes = due_north(terrain(on))
    behind = (distance > 6) & (distance < 11)
    assert np.all(outcomes["lower"][behind] == BY_GROUND)
    assert np.all(outcomes["upper"][behind] == BROKEN)


def test_a_roof_hides_nothing_that_passes_under_it():
    """An eave from 2 m up leaves both layers under it alone; one hanging to 0.9 m takes the upper."""
    for bottom, expected in [(2.0, BROKEN), (0.9, BY_SOLID)]:
        eave = box((-5, 3, bottom), (5, 5, 2.6))
        distance, outcomes = due_north(terrain(LEVEL, eave))
        behind = (distance > 6) & (distance < 11)
        assert np.all(outcomes["upper"][behind] == expected)
        assert np.all(outcomes["lower"][behind] == BROKEN)


def test_slant_range_ends_a_layer():
    """A layer that points down reaches as far as its slant range says, not its plan distance."""
    distance, outcomes = due_north(
        terrain(plane(-0.5, cell_m=0.25, extent_m=26.75)), tilt_deg=26.565, figure_height_m=2.4
    )
    limit = 12.0 * np.cos(np.radians(26.565))
    assert np.all(outcomes["upper"][distance > limit + 0.02] == BEYOND)
    assert not np.any(outcomes["upper"][distance < limit - 0.02] == BEYOND)


def test_any_alarm_needs_one_layer_only():
    """With the alarm rule `any` a single broken layer holds the ground."""
    any_kind = ONE.model_copy(update={"alarm": "any"})
    seen = panorama(terrain(LEVEL), (0.0, 0.0, 1.0), 13.0)
    strict = verdict_codes(seen, head_table(ONE), 0.0, 0.0, 0.0, 12.0, 0.5, 0.5)
    loose = verdict_codes(seen, head_table(any_kind), 0.0, 0.0, 0.0, 12.0, 0.5, 0.5)
    assert np.all(loose[strict == Verdict.LOWER_ONLY] == Verdict.BOTH)
    assert np.all(loose[strict < Verdict.LOWER_ONLY] == strict[strict < Verdict.LOWER_ONLY])


def test_layers_of_two_heads_do_not_add_up():
    """Two heads that each break another layer do not make both: the rule asks every layer of one head."""
    upper = Layer(name="upper", elevation=0.0, thickness=3.0)
    lower = Layer(name="lower", elevation=-4.7, thickness=3.0)
    sky = Layer(name="sky", elevation=40.0, thickness=1.0)
    kind = DetectorType(
        name="t", nominal_height=1, mount_height=(0.5, 2), max_range=12, range_settings=(12,),
        head=(Head(arc=60, layer=(upper, sky)), Head(arc=60, layer=(lower, sky))),
    )  # fmt: skip
    seen = panorama(terrain(LEVEL), (0.0, 0.0, 1.0), 13.0)
    codes = verdict_codes(seen, head_table(kind), 0.0, 0.0, 0.0, 12.0, 1.7, 0.5)
    outcomes = layer_outcomes(seen, head_table(kind), unit(kind), 1.7)
    names = head_table(kind).layer_names
    ahead = (
        (np.abs(np.degrees(np.arctan2(seen.east, seen.north))) < 29)
        & (seen.distance > 4)
        & (seen.distance < 11)
    )
    assert np.all(outcomes[names.index("upper")][ahead] == BROKEN)
    assert np.all(np.isin(outcomes[names.index("sky")][ahead], [PASSES_ABOVE, BEYOND]))
    assert np.all(codes[ahead] == Verdict.UPPER_ONLY)


@pytest.mark.parametrize("arc", [30.0, 90.0, 179.0, 181.0, 270.0, 359.0])
def test_arcs_of_any_width_are_wedges(arc):
    """On the level a head holds the bearings within half its arc of its facing, due south included."""
    kind = ONE.model_copy(update={"head": (ONE.head[0].model_copy(update={"arc": arc}),)})
    seen = panorama(terrain(LEVEL), (0.02, 0.03, 1.0), 13.0)
    for facing in (0.0, 170.0, 265.0):
        codes = verdict_codes(seen, head_table(kind), facing, 0.0, 0.0, 12.0, 1.7, 0.5)
        offset = (np.degrees(np.arctan2(seen.east, seen.north)) - facing + 180) % 360 - 180
        reached = (seen.distance > 0.2) & (seen.distance < 11.9) & (np.abs(np.abs(offset) - arc / 2) > 1e-6)
        assert np.array_equal(codes[reached] == Verdict.BOTH, np.abs(offset[reached]) < arc / 2)


def test_the_foot_of_the_mount_is_not_held():
    """The cell under the unit itself has no bearing: no layer is broken there."""
    seen = panorama(terrain(LEVEL), (0.0, 0.0, 1.0), 13.0)
    codes = verdict_codes(seen, head_table(ONE), 0.0, 0.0, 0.0, 12.0, 1.7, 0.5)
    assert codes[seen.distance == 0][0] == Verdict.OUTSIDE

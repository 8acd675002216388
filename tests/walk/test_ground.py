"""Where a person can walk: solids at body height, slopes, gaps, the rim of the known ground."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components
from shapes import box, ground, leaves, plane, terrain

from terrain3d.detector.figures import Figure
from terrain3d.walk.bodies import body_of
from terrain3d.walk.chance import PulseField
from terrain3d.walk.ground import STEP_UP_M, cells_on, open_ways, rim, stood_on, walkable
from terrain3d.walk.lines import line_pulses, lines_over
from terrain3d.walk.paths import open_steps, step_bearings

PERSON = Figure("person", 1.7, "as in the package's figures")


def near_box(on, low, high, margin):
    """Cells whose centre lies within a margin of a rectangle, by plain distance."""
    x, y = np.meshgrid(on.xs, on.ys)
    dx = np.maximum(np.maximum(low[0] - x, x - high[0]), 0)
    dy = np.maximum(np.maximum(low[1] - y, y - high[1]), 0)
    return np.hypot(dx, dy) <= margin


def test_a_wall_stops_a_walk_with_room_for_the_body():
    """The cells within half a body's depth of a wall are closed, and no others."""
    on = plane(0.0)
    wall = box((-3.0, 1.0, -0.2), (4.0, 1.2, 1.0))
    margin = min(body_of(PERSON).breadth_m, body_of(PERSON).length_m) / 2
    closed = ~walkable(terrain(on, wall), PERSON)
    np.testing.assert_array_equal(closed, near_box(on, (-3.0, 1.0), (4.0, 1.2), margin))


@pytest.mark.parametrize(
    ("low_m", "high_m", "stops"),
    [
        (-0.2, STEP_UP_M - 0.01, False),
        (-0.2, STEP_UP_M + 0.01, True),
        (1.71, 2.5, False),
        (1.69, 2.5, True),
        (0.8, 0.9, True),
    ],
)
def test_only_what_stands_at_body_height_counts(low_m, high_m, stops):
    """A kerb is stepped over and a canopy walked under; a rail or a deck at body height stops a walk."""
    on = plane(0.0)
    slab = box((-2.0, -2.0, low_m), (2.0, 2.0, high_m))
    assert stood_on(on, slab, PERSON.height_m, 0.12).any() == stops


def test_heights_are_over_the_ground_beneath():
    """A level beam over a slope stops a walk only where the ground has come near enough to it."""
    on = plane(0.2, towards_deg=90)
    beam = box((-10.0, -0.5, 2.0), (10.0, 0.5, 2.2))
    taken = stood_on(on, beam, PERSON.height_m, 0.0)
    x, y = np.meshgrid(on.xs, on.ys)
    # The beam's top is under the step up where 0.2 x + 0.3 > 2.2, its foot overhead where 0.2 x + 1.7 < 2.
    meant = (np.abs(y) < 0.5) & (x < 9.5) & (x > 1.5)
    np.testing.assert_array_equal(taken, meant)


@given(
    st.sampled_from([0.3, 0.5, 0.75, 1.0]),
    st.floats(0.0, 180.0),
    st.floats(-0.5, 0.5),
    st.floats(0.01, 0.4),
)
def test_no_step_leads_through_a_wall_however_broad_the_cells(cell, turn_deg, aside, thick_m):
    """A thin wall across the whole ground parts it in two, whatever way it leads and wherever cells lie."""
    on = ground(lambda x, y: 0.0 * x, cell_m=cell, extent_m=12.0)
    wall = box((-20.0, aside, -0.2), (20.0, aside + thick_m, 2.0), turn_deg)
    ways = open_ways(terrain(on, wall), PERSON, 100.0, step_bearings(16))
    start, target = open_steps(ways, cell).nonzero()
    x, y = (axis.ravel() for axis in np.meshgrid(on.xs, on.ys))
    angle = np.radians(turn_deg)
    beyond = x * np.sin(angle) + y * np.cos(angle) > aside
    assert (beyond[start] == beyond[target]).all()
    assert beyond[start].any()
    assert not beyond[start].all()
    field = PulseField(np.zeros((1, *on.z.shape)), np.zeros((1, 2)), cell, 0.48, 0.3, False)
    lines, rng = lines_over(field, ways), np.random.default_rng(0)
    for near, far in zip(*(rng.choice(np.flatnonzero(side), 40) for side in (~beyond, beyond)), strict=True):
        ends = ((int(spot) % on.z.shape[1], int(spot) // on.z.shape[1]) for spot in (near, far))
        assert line_pulses(lines, *ends) == np.inf


@given(st.sampled_from([0.5, 1.0]), st.floats(0.0, 180.0), st.floats(-0.5, 0.5))
def test_a_gap_broader_than_a_body_and_three_cells_lets_a_walk_through(cell, turn_deg, aside):
    """So near to a wall's end nobody is held back by the grid alone."""
    on = ground(lambda x, y: 0.0 * x, cell_m=cell, extent_m=16.0)
    gap = 3 * cell + min(body_of(PERSON).breadth_m, body_of(PERSON).length_m)
    walls = [
        box((left, 0.0, -0.2), (right, 0.2, 2.0), turn_deg)
        for left, right in ((-20.0, aside - gap / 2), (aside + gap / 2, 20.0))
    ]
    ways = open_ways(terrain(on, walls[0].joined(walls[1])), PERSON, 100.0, step_bearings(16))
    _, parts = connected_components(open_steps(ways, cell), directed=False)
    x, y = (axis.ravel() for axis in np.meshgrid(on.xs, on.ys))
    beyond = x * np.sin(np.radians(turn_deg)) + y * np.cos(np.radians(turn_deg))
    assert parts[beyond.argmin()] == parts[beyond.argmax()]


def test_leaves_never_stop_a_walk():
    """A dense hedge is pushed through."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: np.abs(y) < 1, 0.0, 2.0, 5.0)
    assert walkable(terrain(on, foliage=hedge), PERSON).all()


@pytest.mark.parametrize("towards", [0, 30, 45, 90, 200])
def test_slope_limit_goes_by_the_way_walked(towards):
    """On a plane a way is open just where its own rise is within the limit: slope times the cosine."""
    rise, limit = 0.8, 50.0
    bearings = np.arange(0.0, 360, 22.5)
    ways = open_ways(terrain(plane(rise, towards_deg=towards, extent_m=8.0)), PERSON, limit, bearings)
    meant = np.abs(rise * np.cos(np.radians(bearings - towards))) <= limit / 100
    # In the outermost corner of a grid a way that cuts it has no known ground on either side.
    inner = ways[:, 2:-2, 2:-2]
    np.testing.assert_array_equal(inner, np.broadcast_to(meant[:, None, None], inner.shape))


def test_a_kerb_is_no_cliff_but_a_bank_is():
    """A step of 0.3 m is walked up at a limit of 100 %; one of 1 m is not."""
    bearings = np.array([0.0, 90.0])
    for step, is_open in ((0.3, True), (1.0, False)):
        on = ground(lambda x, y, step=step: step * (y > 0), extent_m=6.0)
        ways = open_ways(terrain(on), PERSON, 100.0, bearings)
        assert ways[0].all() == is_open
        assert ways[1].all()


def test_unknown_ground_is_not_walked_and_its_edge_is_no_start():
    """A gap within the survey is closed, with the cells it spoils, and no edge; a notch in the rim is one."""
    z = np.zeros((20, 20))
    z[8:12, 8:12] = z[15:, :3] = np.nan
    on = ground(lambda x, y: z, cell_m=0.5, extent_m=10.0)
    free = walkable(terrain(on), PERSON)
    meant = np.ones((20, 20), bool)
    meant[7:13, 7:13] = meant[14:, :4] = False
    np.testing.assert_array_equal(free, meant)
    edge = rim(free)
    assert not edge[5:13, 5:15].any()
    assert edge[13, 0:4].all()
    assert edge[14, 4]
    assert edge[0].all()


def test_every_place_of_a_walked_cell_has_a_height():
    """Wherever in a cell a walk runs, its ground is known."""
    rng = np.random.default_rng(3)
    z = np.where(rng.random((24, 24)) > 0.06, 1.0, np.nan)
    on = ground(lambda x, y: z, cell_m=0.5, extent_m=12.0)
    rows, columns = np.nonzero(walkable(terrain(on), PERSON))
    for dx, dy in ((-0.24, -0.24), (-0.24, 0.24), (0.24, -0.24), (0.24, 0.24)):
        assert np.isfinite(on.height_at(on.xs[columns] + dx, on.ys[rows] + dy)).all()


def test_slope_beside_unknown_ground_is_told_by_the_known_half():
    """At the rim, half a stride tells the rise; no number comes of nothing known."""
    z = np.full((9, 9), np.nan)
    z[:, :5] = 2.0 * np.arange(5) * 0.25
    on = ground(lambda x, y: z, extent_m=2.25)
    ways = open_ways(terrain(on), PERSON, 100.0, np.array([0.0, 90.0]))
    assert ways[0, :, :4].all()
    assert not ways[0, :, 4:].any()
    assert not ways[1].any()


def test_cells_under_a_line():
    """A drawn way in covers the cells it runs over, and nothing off the ground."""
    on = plane(0.0, cell_m=1.0, extent_m=10.0)
    cells = cells_on(on, np.array([[-20.0, 0.5], [20.0, 0.5]]))
    assert cells.sum() == 10
    assert cells[5].all()

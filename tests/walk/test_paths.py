"""Paths over a grid: what must hold whatever the ground, and straight lines in place of stairs."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.walk.paths import explored, least_exposed, line_cost, pulled_straight, step_bearings, steps


def edges(shape):
    """The west column and the east column of a grid, as starts and goals."""
    start, goal = np.zeros(shape, bool), np.zeros(shape, bool)
    start[:, 0], goal[:, -1] = True, True
    return start, goal


def scene(seed: int, k: int = 16, n: int = 14):
    """Costs that change with direction and place, and some closed cells."""
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 2, (k, n, n)) ** 2, rng.random((n, n)) > 0.25


@pytest.mark.parametrize("k", [8, 16, 32])
def test_steps_go_round_the_compass(k):
    """The steps lead clockwise from north, each with its opposite half a turn on."""
    bearings = step_bearings(k)
    assert bearings[0] == 0
    assert (np.diff(bearings) > 0).all()
    np.testing.assert_array_equal(np.roll(steps(k), -k // 2, axis=0), -steps(k))


@pytest.mark.parametrize("k", [8, 16, 32])
@pytest.mark.parametrize("bearing", [0, 10, 22.5, 30, 45, 76, 90, 137, 300])
def test_open_ground_is_crossed_straight(k, bearing):
    """Where every metre costs the same the stairs of the grid are pulled to one straight line."""
    n = 81
    ones = np.ones((k, n, n))
    goal_i = 40 + round(38 * math.sin(math.radians(bearing)))
    goal_j = 40 + round(38 * math.cos(math.radians(bearing)))
    start, goal = np.zeros((n, n), bool), np.zeros((n, n), bool)
    start[40, 40] = goal[goal_j, goal_i] = True
    path = least_exposed(ones, ones[0] > 0, 0.25, start, goal)
    straight = 0.25 * math.hypot(goal_i - 40, goal_j - 40)
    assert path.length_m == pytest.approx(straight, rel=1e-9)
    assert path.cost == pytest.approx(straight, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_pulling_straight_never_costs_more(seed):
    """Straight lines in place of steps keep the ends of a path and never raise its cost."""
    cost, free = scene(seed)
    cost = np.where(free, cost, np.inf)
    rng = np.random.default_rng(seed)
    cells = [np.array([7, 7])]
    for _ in range(20):
        ahead = [cells[-1] + s for s in steps(16)]
        ahead = [c for c in ahead if (c >= 0).all() and (c < 14).all()]
        ahead = [c for c in ahead if np.isfinite(line_cost(cost, np.array([cells[-1], c]), 1.0))]
        if not ahead:
            break
        cells.append(ahead[rng.integers(len(ahead))])
    stairs = np.array(cells)
    corners = pulled_straight(cost, stairs)
    np.testing.assert_array_equal(corners[[0, -1]], stairs[[0, -1]])
    assert line_cost(cost, corners, 1.0) <= line_cost(cost, stairs, 1.0) + 1e-4


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_no_closed_cell_is_entered(seed):
    """However finely a path is looked at, it never runs over a closed cell nor slips between two."""
    cost, free = scene(seed)
    path = least_exposed(cost, free, 1.0, *edges(free.shape))
    if path is None:
        return
    for a, b in pairwise(path.line):
        points = a + np.linspace(0, 1, 400)[:, None] * (b - a)
        for nudge in ((1e-7, 1e-7), (1e-7, -1e-7), (-1e-7, 1e-7), (-1e-7, -1e-7)):
            i, j = np.rint(points + nudge).astype(int).T
            assert free[j, i].all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_way_back_costs_the_same(seed):
    """Where a metre costs the same there and back, so does the least exposed path."""
    cost, free = scene(seed)
    cost = cost + np.roll(cost, 8, axis=0)
    start, goal = np.zeros(free.shape, bool), np.zeros(free.shape, bool)
    start[0, 0] = goal[-1, -1] = free[0, 0] = free[-1, -1] = True
    there = explored(cost, free, 0.5, start).total[goal][0]
    back = explored(cost, free, 0.5, goal).total[start][0]
    assert there == pytest.approx(back)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 1))
def test_more_to_pay_never_makes_it_cheaper(seed, more):
    """Raising the cost anywhere, or closing cells, never makes the cheapest step-by-step path cheaper."""
    cost, free = scene(seed)
    rng = np.random.default_rng(seed + 1)
    start, goal = edges(free.shape)
    cheap = explored(cost, free, 1.0, start).total[goal].min()
    fewer = free & (rng.random(free.shape) > 0.05)
    dear = explored(cost + more * rng.random(cost.shape), fewer, 1.0, start).total[goal].min()
    assert dear >= cheap * (1 - 1e-12)


def test_one_way_costs_are_told_apart():
    """A cell that costs only when walked eastwards is free westwards."""
    cost = np.zeros((16, 3, 9))
    east = np.isclose(np.cos(np.radians(step_bearings(16) - 90)), 1)
    cost[east] = 1.0
    row = np.arange(9)[None, :] * np.ones((3, 1))
    free = np.ones((3, 9), bool)
    middle = np.zeros((3, 9), bool)
    middle[1] = True
    going = least_exposed(cost, middle & free, 1.0, row == 0, row == 8)
    coming = least_exposed(cost, middle & free, 1.0, row == 8, row == 0)
    assert going.cost == pytest.approx(8.0)
    assert coming.cost == 0.0


def test_of_equals_the_shorter_is_taken():
    """Where nothing costs, the path is the shortest."""
    free = np.ones((9, 9), bool)
    path = least_exposed(np.zeros((16, 9, 9)), free, 1.0, *edges(free.shape))
    assert path.length_m == pytest.approx(8.0)


def test_a_start_that_is_a_goal_needs_no_step():
    """A start on the goal gives a path of one point and no length."""
    free = np.ones((3, 3), bool)
    path = least_exposed(np.ones((8, 3, 3)), free, 1.0, free, free)
    assert path.line.shape == (1, 2)
    assert path.length_m == 0.0
    assert path.cost == 0.0


def test_no_start_no_path():
    """Without a start on open ground there is no path, and no error."""
    free = np.zeros((3, 3), bool)
    assert least_exposed(np.ones((8, 3, 3)), free, 1.0, ~free, ~free) is None


def test_long_paths_are_pulled_straight_in_pieces():
    """A path of more steps than one piece still comes out straight but for the piece's ends."""
    n = 1500
    ones = np.ones((8, 3, n))
    start, goal = edges((3, n))
    path = least_exposed(ones, ones[0] > 0, 0.25, start, goal)
    assert path.length_m == pytest.approx(0.25 * (n - 1))
    assert len(path.line) <= 4

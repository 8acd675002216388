"""Straight lines over a field of pulses against sides of a body turned about units; corners at rest."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.walk.chance import PulseField, touched
from terrain3d.walk.lines import come_to_rest, line_pulses, lines_over, lines_pulses, pulses_along
from terrain3d.walk.paths import drawn_taut, steps


def field(seed: int, n: int = 16, units: int = 2, cell_m: float = 0.5, fewest: bool = False):
    """Patches of held ground about units inside and outside a grid, and some closed cells."""
    rng = np.random.default_rng(seed)
    density = np.zeros((units, n, n))
    for own in density:
        for _ in range(3):
            (i, j), (wide, tall) = rng.integers(0, n, 2), rng.integers(2, n // 2, 2)
            own[j : j + tall, i : i + wide] = rng.uniform(1, 6)
    places = rng.uniform(-0.3, 1.3, (units, 2)) * n * cell_m
    free = rng.random((n, n)) > 0.1
    ways = np.broadcast_to(free, (16, n, n)).copy()
    return PulseField(density, places, cell_m, 0.48, 0.3, fewest), ways


def swept(one: PulseField, a, b, pieces: int = 40_000) -> float:
    """Edges that the two sides of a body sweep over on a line, cut finely.

    No rate is used: bearings of both sides are told at every cut, and what they turn by is added up.
    """
    share = np.linspace(0, 1, pieces + 1)[:, None]
    at = (np.array(a) + share * (np.array(b) - np.array(a))) * one.cell_m
    ahead = math.atan2(b[0] - a[0], b[1] - a[1])
    i, j = np.rint((at[1:] + at[:-1]) / 2 / one.cell_m).astype(int).T
    brought = []
    for density, place in zip(one.density, one.units, strict=True):
        east, north = (at - place).T
        d, bearing = np.hypot(east, north), np.arctan2(east, north)
        half = np.hypot(one.breadth_m * np.cos(ahead - bearing), one.length_m * np.sin(ahead - bearing)) / 2
        turned = sum(np.abs(np.diff(np.unwrap(bearing + side * np.arctan(half / d)))) for side in (-1, 1))
        brought.append(density[j, i] * turned)
    return float((np.min if one.fewest else np.max)(brought, axis=0).sum())


@pytest.mark.parametrize("seed", range(8))
def test_a_line_brings_what_its_sides_sweep(seed):
    """Pulses of a line are the edges that both sides of the body turn over, 3 m from a unit and farther."""
    one, ways = field(seed, n=24, units=1)
    rng = np.random.default_rng(seed)
    # A body round in plan is as wide from everywhere, so that nothing but its turning counts.
    one = one._replace(length_m=one.breadth_m, units=np.array([rng.choice([-3.0, 15.0], 2)]))
    lines = lines_over(one, np.ones_like(ways))
    for _ in range(6):
        a, b = (tuple(int(v) for v in rng.integers(0, 24, 2)) for _ in range(2))
        assert line_pulses(lines, a, b) == pytest.approx(swept(one, a, b), rel=0.02, abs=0.002)


def test_straight_at_a_unit_is_one_whatever_way_it_leads():
    """Turned about the unit, a walk straight at it brings the same: what its growing width turns by."""
    n = 61
    everywhere = np.full((1, n, n), 9 / (math.pi / 2))
    one = PulseField(everywhere, np.array([[7.5, 7.5]]), 0.25, 0.48, 0.48, False)
    lines = lines_over(one, np.ones((16, n, n), bool))
    for east, north in [(28, 0), (28, 8), (28, 12), (20, 20), (4, 28), (-12, 24), (-24, -12)]:
        far, near = (30 + east, 30 + north), (30 + east // 4, 30 + north // 4)
        at = [math.hypot(i - 30, j - 30) * 0.25 for i, j in (far, near)]
        turned = 2 * (math.atan(0.24 / at[1]) - math.atan(0.24 / at[0]))
        assert line_pulses(lines, far, near) == pytest.approx(turned * 9 / (math.pi / 2), rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_lines_there_and_back_and_piece_by_piece(seed):
    """A line brings as much back as forth, and as much as is told along it."""
    one, ways = field(seed)
    lines = lines_over(one, ways)
    rng = np.random.default_rng(seed)
    cells = rng.integers(0, 16, (9, 2))
    every = lines_pulses(lines, cells)
    for a, b in pairwise(range(9)):
        there, back = tuple(cells[a].tolist()), tuple(cells[b].tolist())
        pulses = line_pulses(lines, there, back)
        assert pulses == every[a, b]
        assert pulses == pytest.approx(line_pulses(lines, back, there), rel=1e-9)
        if np.isfinite(pulses) and there != back:
            along, so_far = pulses_along(one, cells[[a, b]])
            assert (np.diff(so_far) >= 0).all()
            assert so_far[-1] == pytest.approx(pulses, rel=1e-12)
            assert along[-1] == pytest.approx(0.5 * math.hypot(*(cells[b] - cells[a])))


def test_closed_ground_closes_a_line():
    """A line over a closed cell, or between two that meet at a corner, is none; one beside them is."""
    ways = np.ones((16, 4, 4), bool)
    ways[:, 1, 2] = False
    lines = lines_over(PulseField(np.ones((1, 4, 4)), np.full((1, 2), -9.0), 1.0, 0.5, 0.3, False), ways)
    assert math.isinf(line_pulses(lines, (0, 1), (3, 1)))
    assert math.isinf(line_pulses(lines, (1, 1), (2, 2)))  # past the corner of the closed cell
    assert math.isfinite(line_pulses(lines, (0, 2), (3, 2)))
    assert line_pulses(lines, (1, 3), (1, 3)) == 0.0


def test_of_several_units_the_most_or_the_fewest_counts():
    """Under any the unit with the most pulses stands for all, under all the one with the fewest."""
    one, ways = field(3)
    ways[:] = True
    apart = [
        line_pulses(
            lines_over(one._replace(density=one.density[[u]], units=one.units[[u]]), ways), (0, 5), (5, 5)
        )
        for u in (0, 1)
    ]
    most = line_pulses(lines_over(one, ways), (0, 5), (5, 5))
    fewest = line_pulses(lines_over(one._replace(fewest=True), ways), (0, 5), (5, 5))
    assert fewest <= min(apart) <= max(apart) <= most <= sum(apart) + 1e-12
    nobody = one._replace(density=one.density[:0], units=one.units[:0])
    assert line_pulses(lines_over(nobody, ways), (0, 5), (5, 5)) == 0.0


def test_ground_beside_held_ground_is_touched():
    """Half a body of 0.24 m reaches the neighbours of a held cell of 0.25 m; the densest of them counts."""
    density = np.zeros((1, 7, 7))
    density[0, 3, 3], density[0, 3, 4] = 4.0, 6.0
    one = touched(PulseField(density, np.zeros((1, 2)), 0.25, 0.48, 0.3, False))
    assert one.density[0, 3, 3] == 4.0
    assert one.density[0, 2, 3] == 6.0
    assert one.density[0, 3, 2] == 4.0
    assert (one.density > 0).sum() == 12


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([1e-9, 0.01, 1.0]))
def test_a_line_at_rest_costs_no_more(seed, price):
    """Coming to rest keeps the ends where they may lie, enters no closed cell and never raises the cost."""
    one, ways = field(seed % 40)
    lines, free = lines_over(one, ways), ways[0]
    rng = np.random.default_rng(seed)
    cells = [(8, 8)] if free[8, 8] else []
    for _ in range(25 if cells else 0):
        ahead = [(cells[-1][0] + e, cells[-1][1] + n) for e, n in steps(16).tolist()]
        ahead = [
            c for c in ahead if min(c) >= 0 and max(c) < 16 and np.isfinite(line_pulses(lines, cells[-1], c))
        ]
        if not ahead:
            break
        cells.append(ahead[rng.integers(len(ahead))])
    if len(cells) < 2:
        return
    path = np.array(cells)
    starts, goals = np.zeros((16, 16), bool), np.zeros((16, 16), bool)
    starts[7:10, 7:10], goals[max(cells[-1][1] - 1, 0) : cells[-1][1] + 1, cells[-1][0]] = True, True

    def cost(corners):
        along, pulses = pulses_along(one, corners)
        return pulses[-1] + price * along[-1]

    taut = drawn_taut(path, lambda piece: lines_pulses(lines, piece), price * one.cell_m)
    rested = come_to_rest(lines, taut, starts, goals, price)
    assert cost(rested) <= cost(taut) * (1 + 1e-9) <= cost(path) * (1 + 1e-6) + 1e-9
    assert starts[rested[0, 1], rested[0, 0]]
    assert goals[rested[-1, 1], rested[-1, 0]]
    for a, b in pairwise(rested.tolist()):
        assert np.isfinite(line_pulses(lines, tuple(a), tuple(b)))

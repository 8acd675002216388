"""Strips of leaves: which way they run, what their means leave alone, holes of chance and openings.

Returns are strewn at random as pulses from the air are (Poisson; common practice, no source), and hedges are
known by how they were made.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.survey.lattice import Lattice
from terrain3d.survey.leaf_strips import strips

LATTICE = Lattice(-8.0, -8.0, 0.25, 65, 65)


def pulses(density, seed=0, half=8.0):
    rng = np.random.default_rng(seed)
    return rng.uniform(-half, half, (rng.poisson(density * (2 * half) ** 2), 2))


def along(xy, turn):
    """Places along and across a line through (0, 0) that runs `turn` from east to north."""
    return xy @ [np.cos(turn), np.sin(turn)], xy @ [-np.sin(turn), np.cos(turn)]


def found(xy, leaf, density):
    i, j, inside = LATTICE.cell_of(*xy.T)
    return strips(
        (j * LATTICE.nx + i)[inside], leaf[inside], np.ones(inside.sum()), LATTICE, 1 / np.sqrt(density)
    )


def places():
    x, y = LATTICE.nodes()
    return np.stack(np.broadcast_arrays(x, y), axis=-1)


@given(st.floats(0, np.pi), st.sampled_from([4, 10, 30]), st.integers(0, 20))
@settings(max_examples=25, deadline=None)
def test_means_along_a_hedge_keep_what_varies_across_it_and_level_what_varies_along(turn, density, seed):
    xy = pulses(density, seed)
    run, off = along(xy, turn)
    hedge = found(xy, np.abs(off) < 0.45, density)
    run, off = along(places(), turn)
    well_in = np.zeros(off.shape, bool)
    well_in[hedge.rows, hedge.columns] = True
    well_in &= (np.abs(off) < 0.3) & (np.abs(run) < 4.0)
    # All but a hole or two of chance is taken up.
    assert well_in.sum() > 0.75 * ((np.abs(off) < 0.3) & (np.abs(run) < 4.0)).sum()
    assert np.abs(hedge.means(off) - off)[well_in].mean() < 0.08
    # Waves a metre long go, within what grows there.
    waves = np.cos(2 * np.pi * run)
    assert hedge.means(waves)[well_in].std() < 0.4 * waves[well_in].std()


@given(st.integers(0, 50))
@settings(max_examples=20, deadline=None)
def test_each_mean_is_one(seed):
    """Weights sum to 1, none is negative: an even field stays, and no mean is out of a field's range."""
    xy = pulses(10, seed)
    hedge = found(xy, np.abs(along(xy, 0.3)[1]) < 0.45, 10)
    even = np.full((65, 65), 2.5)
    np.testing.assert_allclose(hedge.means(even), even)
    field = np.random.default_rng(seed).uniform(1, 4, (65, 65))
    assert hedge.means(field).min() >= field.min()
    assert hedge.means(field).max() <= field.max()


def cover(density, seed, gap_m, through):
    """How much of a gap in a hedge is taken for leaves: pulses there came through, or there were none."""
    xy = pulses(density, seed)
    run, off = along(xy, 0.2)
    in_gap = (np.abs(run) < gap_m / 2) & (np.abs(off) < 0.45)
    if not through:
        xy, run, off, in_gap = (v[~in_gap] for v in (xy, run, off, in_gap))
    leaf = (np.abs(off) < 0.45) & ~in_gap
    hedge = found(xy, leaf, density)
    field = np.zeros((65, 65))
    i, j, inside = LATTICE.cell_of(*xy[leaf].T)
    field[j[inside], i[inside]] = 3.0
    run, off = along(places(), 0.2)
    middle = (np.abs(run) < gap_m / 2 - 0.3) & (np.abs(off) < 0.3)
    return (hedge.means(field)[middle] > 0.75).mean()


@pytest.mark.parametrize(("density", "gap_m", "at_most"), [(4, 2.0, 0.25), (10, 1.5, 0.1), (30, 1.0, 0.1)])
def test_a_hole_that_no_pulse_met_is_carried_on_and_an_opening_is_not(density, gap_m, at_most):
    """Seven pulses meet two metres of a hedge at four a square metre: by chance three or fewer in one case of
    twelve, and then a hole is as likely."""
    holes = [cover(density, seed, gap_m, through=False) for seed in range(12)]
    openings = [cover(density, seed, gap_m, through=True) for seed in range(12)]
    assert np.mean(holes) > 0.8
    assert np.mean(openings) < at_most


def test_shrubs_woods_and_nothing_are_no_strips():
    """A round of 0.9 m, leaves everywhere, and none at all."""
    xy = pulses(10)
    for leaf in (np.hypot(*xy.T) < 0.9, np.ones(len(xy), bool), np.zeros(len(xy), bool)):
        assert found(xy, leaf, 10) is None
    assert strips(np.zeros(3, np.int64), np.ones(3, bool), np.ones(3), LATTICE, 0.0) is None


def test_two_hedges_that_meet_at_a_corner_stay_two():
    """A metre from the corner on, each runs its own way: what varies across it stays."""
    xy = pulses(10, 3)
    arms = ((np.abs(xy[:, 1]) < 0.4) & (xy[:, 0] > 0)) | ((np.abs(xy[:, 0]) < 0.4) & (xy[:, 1] > 0))
    hedge = found(xy, arms, 10)
    x, y = np.moveaxis(places(), 2, 0)
    there = np.zeros(x.shape, bool)
    there[hedge.rows, hedge.columns] = True
    for run, off in ((x, y), (y, x)):
        arm = there & (np.abs(off) < 0.3) & (run > 2.5) & (run < 6.0)
        assert arm.sum() > 20
        assert np.abs(hedge.means(off) - off)[arm].mean() < 0.1

"""Leaf area density from returns: the published law where they are many, and no claim where they are few."""

import numpy as np
import pytest

from terrain3d.survey.lattice import Relief
from terrain3d.survey.leaf_field import MOST_DENSE, SLICE_M, estimated
from terrain3d.survey.surface import plane
from terrain3d.survey.taken import from_above


def field(xyz, leaf, relief, low=None, n_returns=None):
    nothing = np.zeros(len(xyz), bool)
    # One pulse in this many came back in two parts: without any, how many passed could not be told.
    parts = np.ones(len(xyz), np.uint8)
    parts[np.flatnonzero(leaf)[:1]] = 2
    returns = parts if n_returns is None else n_returns
    is_flown = from_above(xyz[:, :2], returns)
    return estimated(xyz, leaf, nothing if low is None else low, returns, is_flown, relief)


def pulses(density: float, n: int, seed: int = 0, low: float = 2.0, top: float = 6.0):
    """Upright pulses into a layer of leaves: each is stopped at an exponential depth, or at the ground."""
    rng = np.random.default_rng(seed)
    depth = rng.exponential(1 / (0.5 * density), n)
    leaf = depth < top - low
    z = np.where(leaf, top - depth, 0.0)
    return np.column_stack([rng.uniform(-5, 5, (n, 2)), z]), leaf


@pytest.mark.parametrize("density", [0.2, 0.6])
def test_a_layer_of_known_density_is_found_again(density):
    """LAD = -ln(N below bottom / N below top) / (k dz), k = 0.5 (lidR's LAD(), Bouvier et al. 2015).

    600 pulses a square metre: mean of each slice within 15 % and no thinner, nothing above or below the
    layer.
    """
    xyz, leaf = pulses(density, 60_000)
    profiles = field(xyz, leaf, plane(0, 0, 10, 1.0))
    mean = profiles.density.mean(axis=0)
    slices = mean[round(2 / SLICE_M) : round(6 / SLICE_M)]
    np.testing.assert_allclose(slices, density, rtol=0.15)
    assert slices.mean() > 0.99 * density
    assert mean[: round(2 / SLICE_M)].max() == 0
    assert profiles.density.shape[1] == round(6 / SLICE_M)


def test_few_pulses_are_taken_for_leaves_no_thinner_than_they_show():
    """Five a square metre: on average denser than the truth, and by less than half."""
    mean = np.mean(
        [field(*pulses(0.6, 500, seed), plane(0, 0, 10, 0.5)).density[:, 8:24].mean() for seed in range(5)]
    )
    assert 0.6 < mean < 0.95


def test_a_slice_that_stops_everything_is_capped_down_to_the_ground():
    """No return below: the law gives infinity, the column the cap, and what lies under it is as dense."""
    xyz = np.column_stack([np.zeros(20), np.zeros(20), np.linspace(1.0, 1.4, 20)])
    profiles = field(xyz, np.ones(20, bool), plane(0, 0, 4, 1.0))
    np.testing.assert_allclose(profiles.density[profiles.row[2, 2]], MOST_DENSE, rtol=0.01)


def test_solid_returns_are_no_leaves():
    """A roof under a crown stops pulses, but adds no leaf area: half of ten pulses stopped in one slice."""
    rng = np.random.default_rng(0)
    xyz = np.column_stack([rng.uniform(-5, 5, (20_000, 2)), np.tile([3.1, 2.1], 10_000)])
    profiles = field(xyz, xyz[:, 2] > 3, plane(0, 0, 10, 1.0))
    mean = profiles.density.mean(axis=0)
    assert mean[:-1].max() == 0
    assert mean[-1] == pytest.approx(np.log(2) / (0.5 * SLICE_M), rel=0.1)


def strewn(n, x, y, seed=0):
    return np.random.default_rng(seed).uniform((x[0], y[0]), (x[1], y[1]), (n, 2))


def test_two_returns_overhead_make_no_block():
    """On open ground with two leaf returns 3 m up, leaves are within a metre of them, and none lower than 2.7
    m."""
    ground = np.column_stack([strewn(4000, (-10, 10), (-10, 10)), np.zeros(4000)])
    twigs = np.array([[2.0, 2.0, 3.0], [2.6, 2.2, 3.1]])
    xyz = np.vstack([ground, twigs])
    profiles = field(xyz, xyz[:, 2] > 1, plane(0, 0, 20, 0.25))
    j, i = np.nonzero(profiles.row >= 0)
    x, y = -9.875 + 0.25 * i, -9.875 + 0.25 * j
    assert (np.hypot(x - 2.3, y - 2.1) < 1.0).all()
    assert profiles.density[:, : round(2.5 / SLICE_M)].max() == 0


def test_a_crown_is_open_beneath_and_a_hedge_is_not():
    """Pulses that came through a crown show that nothing grows under it; those through a hedge are stopped
    low too."""
    rng = np.random.default_rng(1)

    def scanned(n, x, density, low, top):
        depth = rng.exponential(1 / (0.5 * density), n)
        z = np.where(depth < top - low, top - depth, 0.0)
        return np.column_stack([strewn(n, x, (-4, 4), n), z])

    crown, hedge = scanned(640, (-8, 0), 0.7, 3.0, 7.0), scanned(80, (4, 5), 3.0, 0.0, 1.5)
    open_ground = np.column_stack([strewn(400, (5.2, 10), (-4, 4)), np.zeros(400)])
    xyz = np.vstack([crown, hedge, open_ground])
    height = xyz[:, 2]
    profiles = field(xyz, height > 0.3, plane(0, 0, 20, 0.25), (height > 0.05) & (height <= 0.3))
    under = profiles.row[24:56, 10:38]
    under = profiles.density[under[under >= 0]]
    assert under[:, : round(2.5 / SLICE_M)].mean() < 0.02
    assert under[:, round(3.5 / SLICE_M) : round(6.5 / SLICE_M)].mean() == pytest.approx(0.8, rel=0.35)
    within = profiles.row[28:52, 57:59]
    assert (within >= 0).mean() > 0.95
    assert np.median(profiles.density[within[within >= 0]][:, : round(1.25 / SLICE_M)].mean(axis=1)) > 2.0


def test_what_few_pulses_tell_of_is_marked_as_a_guess():
    """Two pulses a square metre into a dense hedge tell little of its foot, 60 tell enough."""
    marked = []
    for n in (16, 480):
        rng = np.random.default_rng(2)
        z = np.maximum(1.5 - rng.exponential(1 / 1.5, n), 0.0)
        xyz = np.column_stack([strewn(n, (0, 1), (-4, 4)), z])
        marked.append(field(xyz, z > 0.3, plane(0, 0, 10, 0.25)).guessed.mean())
    assert marked[0] > 0.9
    assert marked[1] < 0.4


def test_the_field_does_not_depend_on_where_the_grid_begins():
    """A smaller grid over the same returns has the same leaves, well inside it and at its edge."""
    xyz, leaf = pulses(0.5, 2000)
    relief = plane(0, 0, 10, 0.25)
    part = Relief(type(relief.ground)(-2.125, -3.375, 0.25, np.zeros((20, 20))), np.zeros((20, 20)), None)
    whole, cut = field(xyz, leaf, relief), field(xyz, leaf, part)
    # Node (8, 8) of the cut grid is node (14, 19) of the whole one.
    assert (relief.ground.xs[19], relief.ground.ys[14]) == (part.ground.xs[8], part.ground.ys[8])
    for j, i in ((8, 8), (19, 10), (8, 19)):
        np.testing.assert_allclose(
            cut.density[cut.row[j, i]], whole.density[whole.row[j + 6, i + 11]], rtol=1e-5
        )


def test_a_hedge_scanned_from_its_sides_is_full():
    """Returns on its faces alone, one a pulse: medium leaves at least all through it, and none above."""
    rng = np.random.default_rng(4)
    n = 8000
    y = np.where(rng.random(n) < 0.5, rng.normal(-0.4, 0.05, n), rng.normal(0.4, 0.05, n))
    faces = np.column_stack([rng.uniform(-4, 4, n), y, rng.uniform(0.3, 1.5, n)])
    ground = np.column_stack([strewn(4000, (-5, 5), (-5, 5)), np.zeros(4000)])
    ground = ground[np.abs(ground[:, 1]) > 0.6]
    xyz = np.vstack([faces, ground])
    profiles = field(
        xyz, np.arange(len(xyz)) < n, plane(0, 0, 10, 0.25), n_returns=np.ones(len(xyz), np.uint8)
    )
    within = profiles.row[18:22, 8:32]
    assert (within >= 0).all()
    density = profiles.density[within]
    assert density[..., round(0.5 / SLICE_M) : round(1.25 / SLICE_M)].min() >= 2.0
    assert profiles.density.shape[1] <= round(1.75 / SLICE_M)

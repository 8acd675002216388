"""What leaves let through, against Beer-Lambert by hand.

Check values: exp(-G LAD s) with G = 0.5 (plain mathematics; G of leaves hanging at every angle alike
from memory): LAD 2 over 0.5 m 0.606531, over 1.0 m 0.367879; LAD 3 over 1.0 m 0.223130, over 1.5 m
0.105399; LAD 4 over 0.5 m 0.367879.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import leaves, plane

from terrain3d.sight.foliage import leaf_depths, near_leaves
from terrain3d.sight.slices import azimuth_bin
from terrain3d.terrain import Foliage


def let_through(foliage, eye, bearing_deg, far, slopes):
    """Shares of sight along lines of one bearing."""
    angle = np.radians(bearing_deg)
    depths = np.empty(len(slopes))
    leaf_depths(
        foliage.column, foliage.base_z, foliage.step_m, foliage.above, foliage.x0, foliage.y0, foliage.cell_m,
        *eye, np.sin(angle), np.cos(angle), 0.0, far, np.asarray(slopes, float), depths,
    )  # fmt: skip
    return np.exp(-depths)


@pytest.mark.parametrize(
    ("density", "thick_m", "share"),
    [(2, 0.5, 0.606531), (2, 1.0, 0.367879), (3, 1.0, 0.223130), (3, 1.5, 0.105399), (4, 0.5, 0.367879)],
)
def test_level_path_through_a_hedge(density, thick_m, share):
    """A hedge square to the sight line lets through what the law says."""
    hedge = leaves(plane(0.0), lambda x, y: (y > 3) & (y < 3 + thick_m), 0.0, 2.0, density)
    assert let_through(hedge, (0.1, 0.0, 1.0), 0.0, 10.0, [0.0])[0] == pytest.approx(share, abs=2e-6)


def test_two_hedges_multiply_in_either_order():
    """The share of two slabs is the product of their shares."""
    near = leaves(plane(0.0), lambda x, y: (y > 2) & (y < 2.5), 0.0, 2.0, 2.0)
    far = leaves(plane(0.0), lambda x, y: (y > 5) & (y < 6), 0.0, 2.0, 3.0)
    both = leaves(plane(0.0), lambda x, y: ((y > 2) & (y < 2.5)) | ((y > 5) & (y < 6)), 0.0, 2.0, 1.0)
    shares = [let_through(f, (0.1, 0.0, 1.0), 0.0, 10.0, [0.0, 0.05]) for f in (near, far)]
    one = let_through(both, (0.1, 0.0, 1.0), 0.0, 10.0, [0.0, 0.05])
    product = np.exp(np.log(shares[0]) / 2.0 + np.log(shares[1]) / 3.0)
    assert np.allclose(one, product, atol=1e-9)


def test_lines_over_and_under_the_leaves_are_free():
    """A canopy from 1.5 to 2.5 m leaves the sight under it and over it alone."""
    canopy = leaves(plane(0.0), lambda x, y: (y > 3) & (y < 4), 1.5, 2.5, 3.0)
    shares = let_through(canopy, (0.1, 0.0, 1.0), 0.0, 10.0, [0.0, 0.25, 0.6])
    assert shares[0] == 1.0
    assert shares[1] < 0.4
    assert shares[2] == 1.0


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0, 360), st.floats(-0.4, 0.4))
def test_slanting_paths_match_small_steps(seed, bearing_deg, slope):
    """Columns of random leaves: the running sum gives what adding up 2 mm steps gives."""
    rng = np.random.default_rng(seed)
    column = np.full((12, 12), -1, np.int32)
    chosen = rng.random(column.shape) < 0.4
    column[chosen] = np.arange(chosen.sum())
    n = int(chosen.sum())
    density = rng.uniform(0, 3, (n, 8))
    above = np.concatenate([np.zeros((n, 1)), np.cumsum(density * 0.2, axis=1)], axis=1)
    grown = Foliage(-2.75, -2.75, 0.5, column, rng.uniform(0, 0.3, n), 0.2, above)
    angle = np.radians(bearing_deg)
    t = np.arange(0.001, 4.0, 0.002)
    # Not on an edge between columns, where a line due north would run along both.
    x, y, z = 0.03 + np.sin(angle) * t, 0.05 + np.cos(angle) * t, 0.8 + slope * t
    i, j = (np.floor((v + 2.75) / 0.5 + 0.5).astype(int) for v in (x, y))
    inside = (i >= 0) & (i < 12) & (j >= 0) & (j < 12)
    row = np.where(inside, column[np.clip(j, 0, 11), np.clip(i, 0, 11)], -1)
    step = np.floor((z - grown.base_z[np.maximum(row, 0)]) / 0.2).astype(int)
    met = (row >= 0) & (step >= 0) & (step < 8)
    depth = 0.5 * (density[np.maximum(row, 0), np.clip(step, 0, 7)] * met).sum() * 0.002 * np.hypot(1, slope)
    share = let_through(grown, (0.03, 0.05, 0.8), bearing_deg, 4.0, [slope])[0]
    # A step astride an edge of a column is counted whole: up to some twenty edges of 2 mm.
    assert -np.log(share) == pytest.approx(depth, abs=0.03)


def test_bins_know_where_leaves_begin():
    """The bin of a leafy column holds a distance no greater than the column's; bare bins hold none."""
    hedge = leaves(plane(0.0), lambda x, y: (y > 3) & (y < 4) & (np.abs(x) < 1), 0.0, 2.0, 2.0)
    nearest = near_leaves(hedge.column, hedge.x0, hedge.y0, hedge.cell_m, 0.0, 0.0, 12.0)
    assert nearest[azimuth_bin(0.0, 1.0)] <= 3.13
    assert nearest[azimuth_bin(0.9, 3.1)] < 3.4
    assert np.isinf(nearest[azimuth_bin(0.0, -1.0)])

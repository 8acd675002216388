"""Foliage columns: exact sums for drawn prisms, the published law for returns."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.survey.leaf_field import SLICE_M, Profiles
from terrain3d.survey.leaves import Prism, foliage
from terrain3d.survey.surface import plane

SQUARE = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])


def leaf_area(leaves, cell_m: float) -> float:
    """Leaf area of everything, m2: running sums at the tops times the cells' ground area."""
    rows = leaves.column[leaves.column >= 0]
    return float(leaves.above[rows, -1].sum() * cell_m**2)


def test_a_hedge_on_the_grid_lets_through_what_the_law_says():
    """LAD 2 across 0.5 m: exp(-0.5 x 2 x 0.5) = 0.606531 (Beer-Lambert, spherical leaves, G = 0.5)."""
    hedge = Prism(np.array([[0.0, -3], [0.5, -3], [0.5, 3], [0, 3]]), 0.0, 1.5, 2.0)
    leaves = foliage(plane(0, 0, 10, 0.25), [hedge])
    j = 20
    crossed = leaves.column[j][leaves.column[j] >= 0]
    assert len(crossed) == 2
    for height in (0.05, 0.75, 1.45):
        met = sum(leaves.density[row, int(height / leaves.step_m)] * 0.25 for row in crossed)
        assert np.exp(-0.5 * met) == pytest.approx(0.606531, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    west=st.floats(-2, 1),
    width=st.floats(0.05, 2),
    base=st.floats(0, 1.5),
    tall=st.floats(0.05, 3),
    fall=st.floats(-30, 30),
)
def test_leaf_area_is_kept_whatever_the_grid(west, width, base, tall, fall):
    """Leaf area of a prism = density x plan x height, off the grid and on a slope too."""
    outline = np.array([[west, -1.1], [west + width, -1.1], [west + width, 0.9], [west, 0.9]])
    leaves = foliage(plane(fall, 45, 10, 0.25), [Prism(outline, base, base + tall, 1.7)])
    assert leaf_area(leaves, 0.25) == pytest.approx(1.7 * width * 2.0 * tall, rel=1e-9)


def test_running_sums_are_exact_where_heights_fall_within_a_step():
    """A prism from 0.33 to 1.27 m holds nothing below, and its full sum above; LAD 3."""
    leaves = foliage(plane(10, 90, 6, 0.5), [Prism(SQUARE, 0.33, 1.27, 3.0)])
    edges = leaves.step_m * np.arange(leaves.above.shape[1])
    expected = 3.0 * np.clip(edges - 0.33, 0, 0.94)
    np.testing.assert_allclose(leaves.above, np.tile(expected, (4, 1)), atol=1e-12)


def test_columns_stand_on_the_ground():
    """On a plane falling 10 % east, each column starts at the height of its cell's centre."""
    relief = plane(10, 90, 6, 0.5)
    leaves = foliage(relief, [Prism(SQUARE, 0.5, 2.0, 1.0)])
    j, i = np.nonzero(leaves.column >= 0)
    np.testing.assert_allclose(leaves.base_z[leaves.column[j, i]], relief.ground.z[j, i])


def test_overlapping_prisms_add():
    """Two prisms over one square: sums of both, in one column a cell."""
    relief = plane(0, 0, 6, 0.5)
    leaves = foliage(relief, [Prism(SQUARE, 0, 1, 1.0), Prism(SQUARE, 0.5, 2, 2.0)])
    assert len(leaves.base_z) == 4
    np.testing.assert_allclose(leaves.above[:, -1], 1.0 + 3.0)


def test_no_leaves_is_nothing():
    """Density 0, and an outline off the ground, both give no columns."""
    relief = plane(0, 0, 6, 0.5)
    assert foliage(relief, [Prism(SQUARE, 0, 1, 0.0)]).base_z.size == 0
    assert foliage(relief, [Prism(SQUARE + 50, 0, 1, 1.0)]).base_z.size == 0


def test_drawn_and_surveyed_leaves_add_in_one_column():
    """Over a shared column of returns, the drawn cells get their own row, with the sum of both."""
    relief = plane(20, 90, 4, 0.5)
    row = np.full((8, 8), -1)
    row[2:6, 2:6] = 0
    base = float(relief.feet_z[2:6, 2:6].min())
    # A metre of leaves from half a metre up.
    slices = np.where(np.arange(0, 1.5, SLICE_M) < 0.5, 0.0, 2.0)[None]
    profiles = Profiles(row, np.array([base]), slices, np.zeros(1, bool))
    leaves = foliage(relief, [Prism(SQUARE, 0.0, 1.0, 1.0)], profiles)
    assert len(leaves.base_z) == 1 + 4
    drawn = leaves.column[4:6, 4:6].ravel()
    np.testing.assert_allclose(leaves.above[drawn, -1], 2.0 + 1.0)
    np.testing.assert_allclose(leaves.above[0, -1], 2.0)
    # The prism starts at the cell's own ground, above the shared base.
    foot = relief.feet_z[4, 4] - base
    k = int(np.floor(foot / leaves.step_m))
    assert leaves.above[leaves.column[4, 4], k] == pytest.approx(
        2.0 * max(0, k * leaves.step_m - 0.5), abs=1e-9
    )

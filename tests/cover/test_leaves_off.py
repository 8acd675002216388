"""What hangs on leaves: verdicts with foliage as it is, beside those with none, from one look."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, judged, leaves, plane, terrain, unit

from terrain3d.cover.areas import standing_by_source
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import SURVEYED_LEAVES, Area, Foliage

ONE = load_type("one-head-90")


@settings(max_examples=15, deadline=None)
@given(st.floats(0, 360), st.floats(2, 8), st.floats(0.5, 2.5), st.floats(0.1, 4), st.floats(-0.2, 0.2))
def test_leaves_taken_from_a_panorama_leave_what_is_seen_without_any(at_deg, at_m, tall, density, rise):
    """The same heights, in the same pieces, as a panorama of the site that never had foliage."""
    on = ground(lambda x, y: rise * y + 0.3 * np.sin(x) * np.cos(y / 2), 0.5, 26)
    wall = box((-2, at_m, -5), (2, at_m + 0.3, 1.0), at_deg).joined(box((1, 4, 1.2), (5, 6, 1.9), at_deg))
    grown = leaves(on, lambda x, y: np.abs(x - y) < 3, 0.2, tall, density)
    eye = (0.0, 0.0, float(on.height_at(0.0, 0.0)) + 1.0)
    stripped = panorama(terrain(on, wall, grown), eye, 12.0).without_leaves
    never = panorama(terrain(on, wall), eye, 12.0)
    assert np.array_equal(stripped.piece_start, never.piece_start)
    assert np.array_equal(stripped.pieces, never.pieces)
    assert np.array_equal(stripped.main, never.main)
    assert np.array_equal(stripped.many, never.many)


def test_ground_behind_a_dense_hedge_hangs_on_leaves():
    """All that the hedge hides, of the whole ground and of protected ground, and nothing besides it."""
    on = plane(0.0)
    on.z[on.ys > 11, :] = np.nan
    hedge = leaves(on, lambda x, y: (np.abs(x) < 2) & (y > 3) & (y < 4), 0.0, 2.0, 4.0)
    behind = Area("behind", np.array([[-1, 5], [1, 5], [1, 8], [-1, 8.0]]))
    beside = Area("beside", np.array([[4.5, 5], [5.5, 5], [5.5, 6], [4.5, 6.0]]))
    with_hedge = judged(terrain(on, None, hedge, (behind, beside)), unit(ONE))
    without = judged(terrain(on, None, None, (behind, beside)), unit(ONE))
    differs = (with_hedge.verdicts != without.verdicts) & on.known
    assert with_hedge.hangs_on_leaves_m2 == pytest.approx(differs.sum() * on.cell_m**2)
    assert with_hedge.hangs_on_leaves_m2 > 20
    assert [area.hangs_on_leaves_m2 for area in with_hedge.protect] == [pytest.approx(6.0), 0.0]
    codes = with_hedge.without_leaves
    assert np.array_equal(codes[differs], without.verdicts[differs])
    assert np.all(codes[differs] == Verdict.BOTH)
    assert set(np.unique(codes[~differs & on.known])) == {0}
    assert np.all(codes[~on.known] == UNKNOWN)
    assert without.hangs_on_leaves_m2 == 0


def test_under_all_units_ground_hangs_on_leaves_where_any_of_them_does():
    """Two units side by side that must both hold: a hedge before one of them takes it from both."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (np.abs(x) < 2) & (y > 3) & (y < 4), 0.0, 2.0, 4.0)
    pair = (unit(ONE), replace(unit(ONE), name="D2", x=5.0))
    both = judged(terrain(on, None, hedge), *pair, combine="all")
    bare = judged(terrain(on), *pair, combine="all")
    assert both.hangs_on_leaves_m2 == pytest.approx((both.verdicts != bare.verdicts).sum() * on.cell_m**2)
    assert both.hangs_on_leaves_m2 > 0


def test_drawn_leaves_are_counted_at_one_go(monkeypatch):
    """For each of ten thousand hedges the names of all were gone through: a site of 30,000 took minutes."""
    on = plane(0.0)
    grown = leaves(on, lambda x, y: (np.abs(x) < 2) & (np.abs(y) < 1), 0.0, 2.0, 1.0)
    owners = np.arange(len(grown.base_z)) % 3
    several = replace(grown, owners=owners.astype(np.int32), names=("hedge", SURVEYED_LEAVES, "bush"))
    asked = []
    columns_of = Foliage.columns_of
    monkeypatch.setattr(
        Foliage, "columns_of", lambda of, *names: asked.append(names) or columns_of(of, *names)
    )
    found = standing_by_source(terrain(on, None, several))
    cell_m2 = grown.cell_m**2
    assert found.leaves_drawn_m2 == pytest.approx((owners != 1).sum() * cell_m2)
    assert found.leaves_found_m2 == pytest.approx((owners == 1).sum() * cell_m2)
    assert len(asked) == 2

"""Walks cut into steps."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.walk.track import line_length_m, spots_at, track

points = st.tuples(st.floats(-50, 50), st.floats(-50, 50))


@given(st.lists(points, min_size=2, max_size=6).map(np.array))
def test_no_step_is_longer_than_it_may_be_and_none_is_lost(line):
    """Steps are fine, follow the path, and end where it ends."""
    way = track([line], 0.2)
    if line_length_m(line) == 0.0:
        assert len(way.x) == 0
        return
    assert np.diff(way.along_m).max() <= 0.2 + 1e-9
    assert np.isclose(way.along_m[-1], line_length_m(line))
    x, y = spots_at(line, way.along_m)
    assert np.allclose(x, way.x, atol=1e-6)
    assert np.allclose(y, way.y, atol=1e-6)


def test_walks_are_kept_apart():
    """Several walks lie one after the other, each told from the next, each from its own start."""
    way = track([np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[5.0, 0.0], [5.0, 2.0]])], 0.5)
    assert list(way.walk) == [0, 0, 0, 1, 1, 1, 1, 1]
    assert way.along_m[3] == 0.0
    assert list(np.unique(way.facing_deg)) == [0.0, 90.0]

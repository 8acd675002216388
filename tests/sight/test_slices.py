"""Shadows of triangles: exact intervals, their union, and the bins they are sorted into."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box

from terrain3d.sight.slices import N_BINS, add_interval, azimuth_bin, hidden_heights, sorted_triangles
from terrain3d.terrain import Solids

intervals = st.lists(
    st.tuples(st.integers(0, 40), st.integers(1, 8)).map(lambda p: (float(p[0]), float(p[0] + p[1]))),
    max_size=20,
)


@settings(deadline=None)
@given(intervals)
def test_union_of_intervals_covers_just_what_they_cover(parts):
    """Whole numbers and their halves are in the union just when some interval holds them."""
    lows, highs = np.empty(64), np.empty(64)
    n = 0
    for low, high in parts:
        n = add_interval(lows, highs, n, low, high)
    assert np.all(lows[:n][1:] > highs[:n][:-1])
    for z in np.arange(0.25, 50, 0.5):
        expected = any(low <= z <= high for low, high in parts)
        assert expected == bool(np.any((lows[:n] <= z) & (z <= highs[:n])))


@settings(deadline=None)
@given(intervals)
def test_a_full_list_hides_more_never_less(parts):
    """With room for two intervals only, what was hidden stays hidden."""
    lows, highs = np.empty(2), np.empty(2)
    n = 0
    for low, high in parts:
        n = add_interval(lows, highs, n, low, high)
    for low, high in parts:
        middle = (low + high) / 2
        assert np.any((lows[:n] <= middle) & (middle <= highs[:n]))


def hidden(solids, bearing_deg, far, low=-5.0, high=5.0):
    """Intervals hidden over a point, seen from the origin."""
    sorted_faces = sorted_triangles(solids, (0.0, 0.0, 0.0), 20.0)
    lows, highs = np.empty(24), np.empty(24)
    angle = np.radians(bearing_deg)
    east, north = np.sin(angle), np.cos(angle)
    b = azimuth_bin(east, north)
    n = hidden_heights(*sorted_faces, b, east, north, far, low, high, lows, highs)
    return np.column_stack([lows[:n], highs[:n]])


def test_a_box_casts_the_shadow_of_its_nearest_edges():
    """Similar triangles: a box from 4 to 5 m, 1 m up to 2 m, shades 2 to 5 m of height at 10 m."""
    shade = hidden(box((-1, 4, 1), (1, 5, 2)), 0.0, 10.0)
    assert np.allclose(shade, [[2.0, 5.0]], atol=1e-9)


def test_what_stands_beyond_the_point_hides_nothing():
    """Only what lies between the eye and the point counts."""
    assert len(hidden(box((-1, 4, -1), (1, 5, 2)), 0.0, 3.9)) == 0
    assert len(hidden(box((-1, 4, -1), (1, 5, 2)), 180.0, 10.0)) == 0


def test_open_space_between_two_boxes_stays_open():
    """A low and a high box leave the gap between them, widened with distance."""
    solids = box((-1, 4, -1), (1, 4.5, -0.5)).joined(box((-1, 4, 0.5), (1, 4.5, 1)))
    shade = hidden(solids, 0.0, 8.0)
    assert len(shade) == 2
    assert np.isclose(shade[0, 1], -0.5 * 8 / 4.5)
    assert np.isclose(shade[1, 0], 0.5 * 8 / 4.5)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_every_triangle_is_in_every_bin_it_can_be_seen_in(seed):
    """Bearings to points on a triangle fall into bins that list it, overhead and wrapping ones too."""
    rng = np.random.default_rng(seed)
    triangle = rng.uniform(-3, 3, (3, 3))
    solid = Solids(triangle, np.array([[0, 1, 2]]), np.zeros(1, np.int64), ("one",))
    corners, near, start, order = sorted_triangles(solid, (0.0, 0.0, 0.0), 20.0)
    weights = rng.dirichlet([1, 1, 1], 200)
    points = weights @ triangle
    for point in points:
        b = azimuth_bin(point[0], point[1])
        assert 0 in order[start[b] : start[b + 1]]
        assert near[0] <= np.hypot(point[0], point[1]) + 1e-9
    assert start[N_BINS] == len(order)
    assert len(corners) == 1

"""Cells as polygons: the same ground to the cell, whatever its shape, and always valid."""

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain3d.pack.polygons import polygons_of


def test_a_ring_whose_ends_touch_at_a_corner_is_valid():
    """OGC 06-103r4 6.1.11: a ring that touches itself is no ring of a valid polygon."""
    ring = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 0]])
    region = polygons_of(0.0, 0.0, 1.0, ring, 0)[1]
    assert shapely.is_valid(region)
    assert region.area == 7.0


def test_cells_that_touch_at_a_corner_are_polygons_of_their_own():
    region = polygons_of(0.5, 0.5, 1.0, np.array([[1, 0], [0, 1]]), 0)[1]
    assert [part.bounds for part in region.geoms] == [(0.0, 0.0, 1.0, 1.0), (1.0, 1.0, 2.0, 2.0)]


@given(arrays(np.int32, st.tuples(st.integers(1, 7), st.integers(1, 7)), elements=st.integers(0, 3)))
def test_every_cell_lies_in_the_region_of_its_class_alone(classes):
    """By the middles of the cells and by area; whatever the grid."""
    found = polygons_of(10.0, -5.0, 0.25, classes, 0)
    assert set(found) == set(np.unique(classes)) - {0}
    ny, nx = classes.shape
    x, y = np.meshgrid(10.0 + 0.25 * np.arange(nx), -5.0 + 0.25 * np.arange(ny))
    for value, region in found.items():
        assert shapely.is_valid(region)
        assert (shapely.contains_xy(region, x, y) == (classes == value)).all()
        assert abs(region.area - 0.0625 * (classes == value).sum()) < 1e-9
        assert all(part.exterior.is_ccw for part in region.geoms)

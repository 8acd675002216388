"""Help for whoever draws: held to shapely's own answers, and to figures by hand."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.draft.shapes import crosses_itself, from_tape, snapped

PLACES = st.tuples(st.integers(0, 6), st.integers(0, 6))


@given(st.lists(PLACES, min_size=1, max_size=8), st.booleans())
def test_crossing_is_as_shapely_says(points, is_closed):
    """A place where lines meet is named just where the line is not simple, and it lies on two of them."""
    place = crosses_itself(points, is_closed)
    rows = [*points, points[0]] if is_closed else points
    corners = [row for n, row in enumerate(rows) if n == 0 or row != rows[n - 1]]
    line = shapely.LineString(corners) if len(corners) > 2 else None
    assert (place is None) == (line is None or bool(line.is_simple))
    if place is not None:
        at = shapely.Point(place)
        legs = [shapely.LineString(leg) for leg in pairwise(corners)]
        assert sum(leg.distance(at) < 1e-9 for leg in legs) >= 2


def test_an_outline_is_not_closed_while_it_is_drawn():
    """Three sides of a square cross nothing; going back over the first does."""
    square = [(0, 0), (4, 0), (4, 4), (0, 4)]
    assert crosses_itself(square, False) is None
    assert crosses_itself(square, True) is None
    assert crosses_itself([*square, (2, -1)], False) == (pytest.approx(1.6), 0.0)


@pytest.mark.parametrize(
    ("bearing", "end"), [(0, (1, 7)), (90, (6, 2)), (180, (1, -3)), (270, (-4, 2)), (36.8698976, (4, 6))]
)
def test_a_tape_is_laid_from_the_last_point(bearing, end):
    """Clockwise from true north; 3, 4, 5."""
    assert from_tape([(9, 9), (1, 2, 77.0)], 5.0, bearing) == pytest.approx(end, abs=1e-6)


@given(PLACES, st.lists(st.lists(PLACES, min_size=1, max_size=5), max_size=4), st.floats(0.1, 3))
def test_the_nearest_is_the_nearest(point, edges, within_m):
    """No nearer place of any edge is passed over, and corners come first."""
    found = snapped(point, edges, within_m)
    at = shapely.Point(point)
    shapes = [shapely.LineString(edge) if len(edge) > 1 else shapely.Point(edge[0]) for edge in edges]
    nearest = min((shape.distance(at) for shape in shapes), default=np.inf)
    corner = min((np.hypot(x - point[0], y - point[1]) for edge in edges for x, y in edge), default=np.inf)
    assert (found is None) == (nearest > within_m)
    if found is not None:
        far = np.hypot(found[0] - point[0], found[1] - point[1])
        assert far == pytest.approx(corner if corner <= within_m else nearest)

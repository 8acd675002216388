"""Where a walk enters protected ground, and what is left when the alarm comes."""

import numpy as np
import pytest

from terrain3d.terrain import Area
from terrain3d.walk.reach import Reached, enters_at, headline, reached

SQUARE = Area("yard", np.array([[2.0, 2.0], [6.0, 2.0], [6.0, 6.0], [2.0, 6.0]]))


@pytest.mark.parametrize(
    ("path", "enters_m"),
    [
        ([[0, 4], [10, 4]], 2.0),
        ([[10, 4], [0, 4]], 4.0),
        ([[0, 0], [0, 4], [4, 4]], 6.0),  # round a corner
        ([[4, 4], [9, 4]], 0.0),  # starts within
        ([[0, 0], [10, 0]], None),  # passes by
        ([[0, 3], [4, 3], [4, 0], [4, 5]], 2.0),  # enters twice
    ],
)
def test_where_a_path_enters(path, enters_m):
    """The first meeting along the path, by hand."""
    found = enters_at(SQUARE, np.array(path, float))
    assert found is None if enters_m is None else found == pytest.approx(enters_m)


def test_late_and_missing_alarms():
    """An alarm within the area is late by the way walked in it; without one there is nothing to measure."""
    path = np.array([[0.0, 4.0], [10.0, 4.0]])
    late = reached(SQUARE, path, 3.5, (3.5, 4.0))
    assert (late.left_m, late.straight_m) == (pytest.approx(-1.5), 0.0)
    silent = reached(SQUARE, path, None, None)
    assert (silent.enters_m, silent.left_m, silent.straight_m) == (2.0, None, None)


def test_the_area_a_walk_is_about():
    """The weightiest that it enters; else the nearest to the alarm; else none."""
    yard = Reached("yard", 3.0, 9.0, 4.0, 3.0)
    drive = Reached("drive", 1.0, 2.0, -3.0, 0.0)
    beside = Reached("beside", 9.0, None, None, 1.0)
    assert headline((drive, yard, beside)) is yard
    far = Reached("far", 1.0, None, None, 7.0)
    assert headline((far, beside)) is beside
    assert headline(()) is None

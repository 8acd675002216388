"""Looking at any points against looking at cells."""

import numpy as np
from shapes import box, ground, leaves, terrain

from terrain3d.sight.panorama import panorama
from terrain3d.sight.points import look_at

HILL = ground(lambda x, y: 0.05 * x + 0.4 * np.sin(y / 3))


def test_over_the_centres_of_cells_it_is_the_panorama():
    """Walls, leaves and the ground hide the same heights over the same places."""
    site = terrain(
        HILL, box((-2, 4, -2), (2, 4.3, 1.4)), leaves(HILL, lambda x, y: (x > 3) & (x < 4), 0.2, 1.6, 1.5)
    )
    seen = panorama(site, (0.0, 0.0, 1.0), 11.0)
    x, y = (axis.ravel() for axis in np.meshgrid(HILL.xs, HILL.ys))
    again = look_at(site, (0.0, 0.0, 1.0), x[seen.cells], y[seen.cells])
    order = np.argsort(again.cells)
    assert np.array_equal(again.cells[order], np.arange(len(seen.cells)))
    assert np.allclose(again.lowest[order], seen.lowest, atol=1e-9)
    assert np.allclose(again.foot[order], seen.foot, atol=1e-9)
    counts, own = np.diff(seen.piece_start), np.diff(again.piece_start)[order]
    assert (counts == own).mean() > 0.999  # a shadow's very edge may fall to either side of rounding
    assert (counts > 1).any()
    assert len(again.many) > 0
    same = (counts == own) & (counts > 0)
    assert np.allclose(again.main[:, order][:, same], seen.main[:, same], atol=1e-7)


def test_points_on_no_known_ground_are_left_out():
    """Off the survey nothing can be said."""
    site = terrain(HILL)
    seen = look_at(site, (0.0, 0.0, 1.0), [99.0, 1.0, np.nan], [0.0, 1.0, 0.0])
    assert list(seen.cells) == [1]
    assert len(look_at(site, (0.0, 0.0, 1.0), [], []).cells) == 0

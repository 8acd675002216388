"""Single rays: ground, solids, what is nearer, and the inside of things."""

import numpy as np
import pytest
from shapes import box, plane, terrain

from terrain3d.sight.hits import Hit, first_hits, inside_solid


@pytest.mark.parametrize("down_deg", [2.0, 10.0, 45.0, 89.0, 90.0])
def test_rays_meet_level_ground_at_the_sine(down_deg):
    """A ray down by an angle meets level ground at height / sine."""
    angle = np.radians(down_deg)
    ray = [[np.cos(angle) * 0.6, np.cos(angle) * 0.8, -np.sin(angle)]]
    hits = first_hits(terrain(plane(0.0, extent_m=80)), (0.1, 0.2, 1.0), ray, 40.0)
    assert hits.distance[0] == pytest.approx(1 / np.sin(angle), rel=1e-6)
    assert hits.what[0] == Hit.GROUND


def test_the_nearer_of_ground_and_solid_is_hit():
    """A box before the landing point is hit; one behind it is not; nothing beyond reach."""
    site = terrain(plane(0.0), box((-1, 4, -1), (1, 5, 2)))
    hits = first_hits(site, (0.0, 0.0, 1.0), [[0, 1, 0], [0, 1, -0.5], [0, -1, 0]], 12.0)
    assert hits.distance[0] == pytest.approx(4.0, abs=1e-5)
    assert list(hits.what) == [Hit.SOLID, Hit.GROUND, Hit.NOTHING]
    assert np.isinf(first_hits(site, (0.0, 0.0, 1.0), [[0, 1, 0]], 3.9).distance[0])


def test_inside_and_outside_of_a_box():
    """A point within is inside; on any side, above and below it is not; no solids, no inside."""
    solids = box((2, 2, 0), (4, 3, 2)).joined(box((-3, -3, 0), (-2, -2, 1)))
    assert inside_solid(solids, (3.0, 2.5, 1.0))
    for point in [(1.9, 2.5, 1.0), (4.1, 2.5, 1.0), (3.0, 3.1, 1.0), (3.0, 2.5, 2.1), (3.0, 2.5, -0.1)]:
        assert not inside_solid(solids, point)
    assert not inside_solid(terrain(plane(0.0)).solids, (0.0, 0.0, 1.0))

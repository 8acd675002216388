"""The picture that an eye sees, against closed forms on a plane, a wall and a hedge."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, leaves, plane, terrain

from terrain3d.sight import picture as sight_picture
from terrain3d.sight.hits import Hit
from terrain3d.sight.picture import light_along, picture
from terrain3d.terrain import LEAF_PROJECTION

EYE = (0.0, 0.0, 1.0)


@settings(deadline=None)  # kernels compile on first use
@given(st.floats(-0.3, 0.3), st.floats(-60.0, -12.0), st.floats(0.0, 360.0))
def test_a_plane_is_met_where_geometry_says(rise, elevation, azimuth):
    """Slant distance to a plane: h / (sin p + s cos a cos p), from plain geometry."""
    seen = picture(terrain(plane(rise)), EYE, [azimuth], [elevation], 100.0)
    down, level = -math.sin(math.radians(elevation)), math.cos(math.radians(elevation))
    closing = down + rise * math.cos(math.radians(azimuth)) * level
    at = 1.0 / closing if closing > 0 else math.inf
    if at * level < 14.0:
        assert seen.distance[0, 0] == pytest.approx(at, rel=1e-9)
        assert seen.what[0, 0] == Hit.GROUND


def test_rays_cast_some_at_a_time_meet_what_all_of_them_meet(monkeypatch):
    """To the last figure: ground, a wall and leaves."""
    site = terrain(plane(0.1), box((-9, 4, -0.5), (9, 4.3, 1.5)))
    azimuths, elevations = np.linspace(-40, 40, 33), np.linspace(-40, 20, 21)
    whole = picture(site, EYE, azimuths, elevations, 50.0)
    monkeypatch.setattr(sight_picture, "_RAYS", 70)
    parts = picture(site, EYE, azimuths, elevations, 50.0)
    for one in ("distance", "what", "solid", "through"):
        assert np.array_equal(getattr(whole, one), getattr(parts, one))


def test_a_wall_is_met_at_its_face_and_passed_over():
    """A wall 1.5 m high, its face 4 m to the north: met below atan(0.5 / 4), passed over above."""
    edge = math.degrees(math.atan(0.5 / 4.0))
    azimuths = np.array([-30.0, 0.0, 20.0])
    seen = picture(
        terrain(plane(0.0), box((-9, 4, -0.5), (9, 4.3, 1.5))),
        EYE,
        azimuths,
        [0.0, edge - 0.1, edge + 0.1],
        50.0,
    )
    assert (seen.what[0] == Hit.SOLID).all()
    # Aside of straight ahead the wall is farther off, and its top lower in the picture.
    assert seen.what[:, 1].tolist() == [Hit.SOLID, Hit.SOLID, Hit.NOTHING]
    assert (seen.what[2] == Hit.NOTHING).all()
    faces = 4.0 / np.cos(np.radians(azimuths))
    assert seen.distance[0] == pytest.approx(faces, rel=1e-6)
    assert np.isinf(seen.distance[2]).all()


def test_a_hedge_dims_by_the_path_through_it():
    """Beer-Lambert: exp(-G * density * path) through a hedge 1 m deep, at every azimuth it fills."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 3) & (y < 4), 0.0, 2.5, 1.3)
    azimuths = np.array([-40.0, 0.0, 25.0])
    seen = picture(terrain(on, foliage=hedge), EYE, azimuths, [-2.0, 3.0], 20.0)
    for row, elevation in enumerate((-2.0, 3.0)):
        path = 1.0 / np.cos(np.radians(azimuths)) / math.cos(math.radians(elevation))
        assert seen.through[row] == pytest.approx(np.exp(-LEAF_PROJECTION * 1.3 * path), rel=1e-9)
    assert seen.through.max() < 1


def test_leaves_behind_what_is_hit_dim_nothing():
    """A hedge behind a wall is not seen, so it takes nothing away."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 6) & (y < 7), 0.0, 2.0, 3.0)
    seen = picture(terrain(on, box((-9, 4, -1), (9, 4.3, 3)), hedge), EYE, [0.0], [0.0], 20.0)
    assert seen.through[0, 0] == 1.0


def test_straight_up_and_down_are_directions_too():
    """At the poles of the sphere the ground below is at the eye's height and the sky has no end."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: y > 3, 0.0, 2.0, 3.0)
    seen = picture(terrain(on, foliage=hedge), EYE, [10.0], [-90.0, 90.0], 20.0)
    assert seen.distance[:, 0] == pytest.approx([1.0, math.inf])


def test_light_along_a_bearing_falls_within_the_hedge_only():
    """Full before the hedge, falling through it as exp(-G density path), steady behind it."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 3) & (y < 4), 0.0, 2.5, 2.0)
    light = light_along(terrain(on, foliage=hedge), EYE, 0.0, np.array([0.0, 0.1]), np.array([2.0, 3.5, 8.0]))
    for row, slope in enumerate((0.0, 0.1)):
        path = np.array([0.0, 0.5, 1.0]) * math.hypot(1, slope)
        assert light[row] == pytest.approx(np.exp(-LEAF_PROJECTION * 2.0 * path), rel=1e-9)

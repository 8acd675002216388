"""The camera against VTK's own, and what it has to hold and to show."""

from dataclasses import replace

import numpy as np
import pytest
import pyvista as pv
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scenes import flat_ground, plane_reach, slope_outcome

from terrain3d.show.camera import Camera, fitted_camera, framed_points, site_camera
from terrain3d.show.extent import site_extent
from terrain3d.show.scene import aim

somewhere = arrays(float, (9, 3), elements=st.floats(-20, 20, width=32))


def test_projection_agrees_with_vtk():
    """Points fall where VTK's renderer puts them, so that names sit on what they name."""
    camera = Camera((3.0, -30.0, 14.0), (1.0, 2.0, 0.5))
    points = np.array([[0.0, 0, 0], [5, 3, 1], [-4, 6, 2], [1, -7, 0.3]])
    plotter = pv.Plotter(off_screen=True, window_size=[300, 200])
    plotter.add_mesh(pv.PolyData(points), reset_camera=False)
    aim(plotter, camera)
    seen = []
    for point in points:
        plotter.renderer.SetWorldPoint(*point, 1.0)
        plotter.renderer.WorldToView()
        seen.append(plotter.renderer.GetViewPoint()[:2])
    plotter.close()
    assert camera.project(points, 1.5) == pytest.approx((np.array(seen) + 1) / 2, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(somewhere, st.floats(0, 360), st.floats(10, 60), st.floats(0.5, 2.5))
def test_fitted_camera_holds_every_point_and_stands_no_farther_off(points, bearing, down, aspect):
    """Every point is in the picture, and in one direction they reach from rim to rim."""
    assume(np.ptp(points, axis=0).min() > 1)
    b, d = np.radians([bearing, down])
    look = np.array([np.sin(b) * np.cos(d), np.cos(b) * np.cos(d), -np.sin(d)])
    seen = fitted_camera(look, points, aspect, room=1.0).project(points, aspect)
    assert seen.min() > -1e-6
    assert seen.max() < 1 + 1e-6
    assert np.ptp(seen, axis=0).max() == pytest.approx(1, abs=1e-6)
    assert seen.min(axis=0) + seen.max(axis=0) == pytest.approx([1, 1], abs=1e-3)


def test_site_camera_holds_the_site_and_looks_where_the_units_look():
    """The whole block and its buildings are in the picture, seen from above and not against the units."""
    outcome = slope_outcome()
    extent = site_extent(outcome)
    camera = site_camera(outcome, extent, plane_reach(outcome.terrain), 1.3)
    seen = camera.project(framed_points(outcome, extent), 1.3)
    assert seen.min() > 0
    assert seen.max() < 1
    look = np.subtract(camera.target, camera.position)
    units = [unit for option in outcome.options for unit in option.detectors]
    facing = np.sum(
        [[np.sin(np.radians(u.bearing_deg)), np.cos(np.radians(u.bearing_deg))] for u in units], 0
    )
    assert look[:2] @ facing > 0
    assert np.degrees(np.arctan2(-look[2], np.hypot(*look[:2]))) > 20


def test_site_camera_goes_round_what_would_hide_the_ground():
    """With every line of sight to the units' backs closed, the picture is taken from another side."""
    outcome = slope_outcome()
    extent = site_extent(outcome)

    def closed_to_the_north(_eye, directions):
        return np.where(directions[:, 1] > 0, 3.0, np.inf)

    camera = site_camera(outcome, extent, closed_to_the_north, 1.3)
    assert camera.position[1] < camera.target[1]


def test_camera_on_level_ground_without_units():
    """A site without options still has a view."""
    outcome = slope_outcome()
    bare = replace(outcome, options=(), ranking=(), reasons=())
    extent = site_extent(bare)
    camera = site_camera(bare, extent, plane_reach(outcome.terrain), 1.3)
    assert np.isfinite(camera.position).all()
    assert extent.rows.stop <= flat_ground(48.0).z.shape[0]

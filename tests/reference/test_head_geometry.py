"""Pan, tilt and roll of a head against scipy's rotations (scipy.spatial.transform.Rotation)."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shapes import plane, terrain, unit

from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import OUTSIDE_ARC, layer_outcomes
from terrain3d.detector.pose import PosedHead, head_axes, in_head
from terrain3d.detector.types import DetectorType, Head, Layer
from terrain3d.sight.panorama import panorama

angles = st.floats(-30, 30)


def scipy_axes(bearing_deg: float, tilt_deg: float, roll_deg: float) -> np.ndarray:
    """The same axes by intrinsic rotations: yaw about up, pitch about right, roll about forward.

    scipy turns anticlockwise about an axis that points at the viewer: a bearing turns clockwise
    about up, nose down is a turn about right of opposite sign, right side down about forward is not.
    """
    turn = Rotation.from_euler("ZXY", [-bearing_deg, -tilt_deg, roll_deg], degrees=True)
    return turn.apply(np.eye(3))


@given(st.floats(0, 360), angles, angles)
def test_axes_match_scipy(bearing_deg, tilt_deg, roll_deg):
    """Right, forward and up of a head are those of scipy's intrinsic rotations."""
    expected = scipy_axes(bearing_deg, tilt_deg, roll_deg)
    assert np.allclose(head_axes(bearing_deg, tilt_deg, roll_deg), expected, atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 360), angles, angles, st.floats(10, 350))
def test_layers_hold_the_directions_scipy_says(bearing_deg, tilt_deg, roll_deg, arc_deg):
    """A layer is outside its arc just where the rotated axis direction over a cell leaves it.

    The kernel solves for the slope at which a bearing meets the layer's axis; here that direction is
    turned back into the head by scipy, and must have the layer's elevation and the right azimuth.
    """
    kind = DetectorType(
        name="t", nominal_height=1, mount_height=(0.5, 2), max_range=50, range_settings=(12,),
        head=(Head(arc=arc_deg, layer=(Layer(name="upper", elevation=3.0, thickness=1.0),)),),
    )  # fmt: skip
    seen = panorama(terrain(plane(0.0, cell_m=1.0)), (0.013, 0.007, 1.0), 8.0)
    setting = unit(kind, 1.0, bearing_deg, tilt_deg=tilt_deg, roll_deg=roll_deg)
    outcome_code = layer_outcomes(seen, head_table(kind), setting, 1.7)[0]

    rotation = Rotation.from_matrix(scipy_axes(bearing_deg, tilt_deg, roll_deg))
    # Of all directions over a cell, the one whose elevation in the head is that of the layer's axis.
    elevations = np.radians(np.linspace(-75, 75, 30001))
    for k in range(0, len(seen.cells), 17):
        flat = np.array([seen.east[k], seen.north[k]])
        rays = np.column_stack([np.cos(elevations)[:, None] * flat, np.sin(elevations)])
        local = rotation.apply(rays)  # components along right, forward, up
        in_head_elevation = np.degrees(np.arcsin(np.clip(local[:, 2], -1, 1)))
        best = np.argmin(np.abs(in_head_elevation - 3.0))
        assert abs(in_head_elevation[best] - 3.0) < 0.01
        azimuth = np.degrees(np.arctan2(local[best, 0], local[best, 1]))
        if abs(abs(azimuth) - arc_deg / 2) > 0.1:
            assert (outcome_code[k] == OUTSIDE_ARC) == (abs(azimuth) > arc_deg / 2)


@given(st.floats(0, 360), angles, angles)
def test_angles_in_the_head_are_those_of_its_axes(bearing_deg, tilt_deg, roll_deg):
    """A direction built from angles in the head gives those angles back."""
    right, forward, up = head_axes(bearing_deg, tilt_deg, roll_deg)
    head = PosedHead(right, forward, up, 90.0, (), ())
    a, e = np.radians(25.0), np.radians(-7.0)
    ray = np.cos(e) * (np.sin(a) * right + np.cos(a) * forward) + np.sin(e) * up
    azimuth, elevation = in_head(head, ray)
    assert np.isclose(azimuth, 25.0, atol=1e-9)
    assert np.isclose(elevation, -7.0, atol=1e-9)

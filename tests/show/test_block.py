"""The drawn block of ground: its foot lies under it, and its cut sides leave the picture to the ground."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scenes import flat_ground, option, plane_reach, unit

from terrain3d.frame import site_frame
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.camera import block_foot, fitted_camera, site_camera
from terrain3d.show.extent import Extent, site_extent
from terrain3d.show.pages.sheet import PICTURE_ASPECT
from terrain3d.show.parts import foot_corners, scale_parts
from terrain3d.show.shapes import filled_heights, ground_nodes
from terrain3d.terrain import Area, Foliage, Mount, Solids, Terrain

YARD = np.array([[-5.0, -8.0], [5, -8], [5, 2], [-5, 2]])


def steep_outcome(rise, bearing):
    """A unit on a plane that rises to the north by `rise` metres a metre."""
    flat = flat_ground(40.0)
    ground = replace(flat, z=np.repeat((rise * flat.ys)[:, None], len(flat.xs), axis=1))
    mounts, areas = (Mount("pole", 0.0, 0.0),), (Area("yard", YARD),)
    terrain = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), mounts, areas)
    one = option(terrain, "one", (unit(terrain, "D1", "pole", "one-head-90", bearing),))
    return Outcome(site_of(terrain, "bank"), (one,), ("one",))


def shown(outcome):
    """Corners of the drawn ground, from the south-west round, and of the foot below them; the camera."""
    ground, extent = outcome.terrain.ground, site_extent(outcome)
    camera = site_camera(outcome, extent, plane_reach(outcome.terrain), PICTURE_ASPECT)
    heights = filled_heights(ground)
    _, _, z = ground_nodes(ground, heights, extent)
    foot = foot_corners(ground, heights, extent)
    top = foot.copy()
    top[:, 2] = z[[0, 0, -1, -1], [0, -1, -1, 0]]
    return top, foot, camera


@pytest.mark.parametrize("bearing", [0, 90, 180])
@pytest.mark.parametrize("degrees", [0, 15, 30, 40])
def test_the_picture_is_of_the_ground_and_not_of_its_sides(degrees, bearing):
    """Of all that is drawn of a bank, the sides are less than a third, from wherever it is looked at."""
    top, foot, camera = shown(steep_outcome(np.tan(np.radians(degrees)), bearing))
    ground = shapely.Polygon(camera.project(top, PICTURE_ASPECT) * [PICTURE_ASPECT, 1])
    outline = shapely.MultiPoint(camera.project(np.vstack([top, foot]), PICTURE_ASPECT) * [PICTURE_ASPECT, 1])
    whole = outline.convex_hull.area
    assert whole - ground.area < whole / 3


@given(arrays(float, (4, 5), elements=st.floats(-40, 40, width=32)), st.floats(2, 60), st.floats(2, 60))
def test_the_foot_lies_under_all_ground(z, width, depth):
    """However the ground lies, the least depth below it is the same, and the foot is a plane."""
    extent = Extent(0.0, 0.0, width, depth, slice(0, 4), slice(0, 5))
    xs, ys = np.linspace(0, width, 5), np.linspace(0, depth, 4)
    foot = block_foot(xs, ys, z, extent)
    assert (z - foot).min() == pytest.approx(0.035 * max(width, depth), rel=1e-6, abs=1e-6)
    assert np.diff(foot, 2, axis=0) == pytest.approx(0, abs=1e-6)
    assert np.diff(foot, 2, axis=1) == pytest.approx(0, abs=1e-6)


def test_the_scale_on_a_leaning_foot_tells_distances_of_the_map():
    """Its figures stand as far apart on the map as they say, as those of plans do."""
    outcome = steep_outcome(0.6, 180)
    ground = outcome.terrain.ground
    corners = foot_corners(ground, filled_heights(ground), site_extent(outcome))
    assert np.ptp(corners[:, 2]) > 1
    for look in ([1.0, 0.0, -0.5], [0.0, 1.0, -0.5]):
        _, tags = scale_parts(corners, fitted_camera(np.array(look), corners, 1.3))
        (x0, y0, _), (x2, y2, _) = tags[0].point, tags[2].point
        assert np.hypot(x2 - x0, y2 - y0) == pytest.approx(float(tags[2].text.removesuffix(" m")))

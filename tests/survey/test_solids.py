"""Drawn walls and blocks: closed, tight at corners, standing on the ground as it is."""

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.errors import InputError
from terrain3d.survey.solids import FOLLOWS_WITHIN_M, block, footprints, wall
from terrain3d.terrain import Solids


def level(x, y):
    return np.zeros(np.broadcast(x, y).shape)


def bumpy(x, y):
    return 0.4 * np.sin(x) + 0.3 * np.cos(0.7 * y) + 0.1 * x


def mesh(solids: Solids) -> trimesh.Trimesh:
    return trimesh.Trimesh(solids.vertices, solids.triangles, process=False)


def hits(solids: Solids, origins, directions) -> np.ndarray:
    return mesh(solids).ray.intersects_any(np.asarray(origins, float), np.asarray(directions, float))


def test_a_straight_wall_on_the_level_is_a_box():
    """Volume and triangle count of a cuboid, known in closed form."""
    box = wall(np.array([[0.0, 0], [10, 0]]), 0.2, 1.2, 0.3, level, "wall")
    assert len(box.triangles) == 12
    assert mesh(box).is_watertight
    assert mesh(box).volume == pytest.approx(10 * 0.2 * 0.9)


def test_a_wall_on_a_slope_keeps_its_height_above_the_ground():
    """On a plane the mesh stays a sheared box: 12 triangles, corners exact."""
    sheared = wall(np.array([[0.0, 0], [10, 0]]), 0.2, 1.2, 0.3, lambda x, y: 0.2 * x + 0.1 * y, "wall")
    assert len(sheared.triangles) == 12
    above = sheared.vertices[:, 2] - 0.2 * sheared.vertices[:, 0] - 0.1 * sheared.vertices[:, 1]
    np.testing.assert_allclose(np.sort(above), [0.3] * 4 + [1.2] * 4, atol=1e-12)
    assert mesh(sheared).volume == pytest.approx(10 * 0.2 * 0.9)


@pytest.mark.parametrize("base", [0.0, 0.6])
def test_top_and_underside_follow_bumpy_ground(base):
    """Vertical rays from above and from below meet the faces within 2 cm (and the samples between)."""
    solid = block(np.array([[0.0, 0], [6, 0], [6, 4], [0, 4]]), 2.0, base, bumpy, "block")
    assert mesh(solid).is_watertight
    rng = np.random.default_rng(0)
    x, y = rng.uniform(0.05, 5.95, 300), rng.uniform(0.05, 3.95, 300)
    up = np.tile([0.0, 0, 1], (300, 1))
    for origin_z, ray, height in ((10.0, -up, 2.0), (-10.0, up, base if base > 0 else -0.5)):
        origins = np.column_stack([x, y, np.full(300, origin_z)])
        place, index, _ = mesh(solid).ray.intersects_location(origins, ray, multiple_hits=False)
        assert len(index) == 300
        off = place[:, 2] - bumpy(x, y)[index] - height
        assert np.abs(off).max() < 2 * FOLLOWS_WITHIN_M
        assert np.median(np.abs(off)) < FOLLOWS_WITHIN_M


def test_the_gap_under_a_raised_wall_is_open():
    """A ray under the base passes, one into the wall is stopped, one over it passes."""
    raised = wall(np.array([[0.0, -5], [0, 5]]), 0.2, 1.5, 0.5, level, "fence")
    origins = [[-3, 0, 0.45], [-3, 0, 0.55], [-3, 0, 1.45], [-3, 0, 1.55]]
    assert hits(raised, origins, [[1, 0, 0]] * 4).tolist() == [False, True, True, False]


def test_nothing_passes_under_a_standing_wall():
    """With base 0 the wall goes into the ground, so a ray along the ground is stopped."""
    standing = wall(np.array([[0.0, -5], [0, 5]]), 0.2, 1.5, 0.0, level, "wall")
    assert hits(standing, [[-3, 0, 0.0], [-3, 0, -0.3]], [[1, 0, 0]] * 2).all()


@settings(max_examples=30, deadline=None)
@given(
    turn_deg=st.floats(-170, 170),
    thickness=st.floats(0.05, 0.5),
    slope=st.floats(-0.3, 0.3),
    seed=st.integers(0, 1000),
)
def test_corners_do_not_leak(turn_deg, thickness, slope, seed):
    """Level rays aimed at a corner of any angle, from anywhere about it, are all stopped."""
    turn = np.radians(turn_deg)
    path = np.array([[-4.0, 0], [0, 0], [4 * np.cos(turn), 4 * np.sin(turn)]])
    bent = wall(path, thickness, 1.5, 0.0, lambda x, y: slope * x + 0 * y, "wall")
    assert mesh(bent).is_watertight
    rng = np.random.default_rng(seed)
    angle = rng.uniform(0, 2 * np.pi, 60)
    rays = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(60)])
    corner = np.column_stack([np.zeros((60, 2)), rng.uniform(0.1, 1.4, 60)])
    assert hits(bent, corner - 3 * rays, rays).all()


def test_a_closed_path_leaves_no_gap_where_it_ends():
    """A courtyard wall: rays from its middle in every direction are stopped."""
    ring = np.array([[0.0, 0], [6, 0], [6, 4], [0, 4], [0, 0]])
    court = wall(ring, 0.2, 1.5, 0.0, level, "court")
    angle = np.linspace(0, 2 * np.pi, 721)
    rays = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(721)])
    assert hits(court, np.tile([3.0, 2.0, 1.0], (721, 1)), rays).all()
    assert mesh(court).is_watertight
    assert not hits(court, [[3.0, 2.0, 1.0]], [[0, 0, -1.0]]).any()


def test_a_wall_is_split_where_the_ground_has_a_crease():
    """Flat, then rising: the top follows both, at the cost of triangles near the crease only."""

    def creased(x, y):
        return np.where(x > 3.3, 0.3 * (x - 3.3), 0.0) + 0 * y

    solid = wall(np.array([[0.0, 0], [10, 0]]), 0.2, 1.0, 0.0, creased, "wall")
    assert 12 < len(solid.triangles) < 400
    x = np.linspace(0.05, 9.95, 100)
    origins = np.column_stack([x, 0 * x, np.full(100, 9.0)])
    place, index, _ = mesh(solid).ray.intersects_location(
        origins, np.tile([0.0, 0, -1], (100, 1)), multiple_hits=False
    )
    assert np.abs(place[:, 2] - creased(x, 0 * x)[index] - 1.0).max() < FOLLOWS_WITHIN_M + 1e-6


@settings(max_examples=30, deadline=None)
@given(radii=st.lists(st.floats(1.0, 6.0), min_size=3, max_size=12), base=st.sampled_from([0.0, 0.4]))
def test_any_outline_gives_a_closed_mesh(radii, base):
    """Star-shaped outlines on bumpy ground: watertight, wound outward, of the plan's volume."""
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    outline = np.column_stack([np.cos(angle), np.sin(angle)]) * np.array(radii)[:, None]
    solid = mesh(block(outline, 2.0, base, bumpy, "block"))
    x, y = outline.T
    plan_m2 = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert solid.is_watertight
    assert solid.volume == pytest.approx(plan_m2 * (2.0 - (base or -0.5)), rel=1e-6)


def test_a_path_without_length_is_refused():
    """The message names the wall."""
    with pytest.raises(InputError, match=r"no length(.|\n)*solid 'stub'"):
        wall(np.array([[1.0, 1], [1, 1]]), 0.2, 1.0, 0.0, level, "stub")


def test_footprint_of_a_block():
    """A block's plan is its rectangle, whatever its triangles."""
    corners = np.array([[1, 2], [4, 2], [4, 6], [1, 6]])
    (region,) = footprints(block(corners, 3.0, 0.0, bumpy, "block"))
    assert region.symmetric_difference(shapely.Polygon(corners)).area == pytest.approx(0, abs=1e-6)

"""What may be gone when somebody comes, out of the returns of a survey: on made scenes with known answers."""

import numpy as np
import trimesh

from terrain3d.survey.standing import standing
from terrain3d.survey.surface import plane


def told(path, seed=0):
    """What is told of a wall of 1.1 m along a path, 12 returns a metre of it."""
    rng = np.random.default_rng(seed)
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    s = np.sort(rng.uniform(0, along[-1], round(12 * along[-1])))
    top = np.column_stack([np.interp(s, along, column) for column in path.T])
    top = np.column_stack([top + rng.normal(0, 0.04, top.shape), rng.normal(1.1, 0.03, len(s))])
    bare = rng.uniform(-12, 12, (5000, 2))
    away = np.hypot(*np.moveaxis(bare[:, None] - top[None, :, :2], -1, 0)).min(axis=1)
    bare = np.column_stack([bare, np.zeros(len(bare))])[away > 0.25]
    xyz = np.vstack([bare, top])
    is_ground = np.arange(len(xyz)) < len(bare)
    ones = np.ones(len(xyz), np.uint8)
    classes = np.where(is_ground, 2, 1).astype(np.uint8)
    return [doubt for doubt in standing(xyz, classes, ones, is_ground, plane(0, 0, 24, 0.25))[2]
            if "may be a gate" in doubt]  # fmt: skip


def test_a_gate_that_stands_alone_is_told():
    assert len(told(np.array([[-1.5, 0.0], [1.5, 0.0]]))) == 1


def test_the_pieces_of_a_curved_wall_are_no_gates():
    """A quarter of a circle of 7 m radius, read as straight pieces of a few metres."""
    turn = np.radians(np.arange(0, 100, 5))
    assert told(7 * np.column_stack([np.cos(turn), np.sin(turn)]) - 3) == []


def test_a_van_is_closed_to_the_ground_where_ground_is_seen_within_its_rim():
    """A pulse at its rim lights the ground beside it, and its middle lies over the roof (common practice, no
    source): five such returns, between others of the roof, are no space beneath."""
    rng = np.random.default_rng(0)
    bare = rng.uniform(-10, 10, (4000, 2))
    bare = bare[(np.abs(bare[:, 0]) > 1.0) | (np.abs(bare[:, 1]) > 2.6)]
    rim = np.column_stack([rng.uniform(-0.85, -0.6, 5), np.linspace(-1, 1, 5)])
    bare = np.vstack([bare, rim])
    top = rng.uniform((-1.0, -2.6), (1.0, 2.6), (200, 2))
    xyz = np.vstack([np.column_stack([xy, np.full(len(xy), z)]) for xy, z in ((bare, 0.0), (top, 2.1))])
    is_ground = np.arange(len(xyz)) < len(bare)
    ones = np.ones(len(xyz), np.uint8)
    classes = np.where(is_ground, 2, 1).astype(np.uint8)
    solids, _, told_ = standing(xyz, classes, ones, is_ground, plane(0, 0, 20, 0.25))
    assert sum("size of a vehicle" in doubt for doubt in told_) == 1
    # Met at half its height from the west wherever it stands, right at its side.
    mesh = trimesh.Trimesh(solids.vertices, solids.triangles)
    y = np.arange(-2.2, 2.3, 0.2)
    start = np.column_stack([np.full(len(y), -5.0), y, np.full(len(y), 1.0)])
    first = mesh.ray.intersects_location(start, np.tile([1.0, 0, 0], (len(y), 1)), multiple_hits=False)[0]
    assert len(first) == len(y)
    np.testing.assert_allclose(first[:, 0], -1.0, atol=0.2)

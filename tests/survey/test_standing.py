"""What may be gone when somebody comes, out of the returns of a survey: on made scenes with known answers."""

import numpy as np

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

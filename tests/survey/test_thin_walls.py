"""Walls, fences and gates out of few points: on made scenes with known answers."""

import numpy as np
import trimesh

from terrain3d.survey.surface import plane
from terrain3d.survey.thin_walls import thin_walls


def test_a_pulse_that_grazes_the_top_does_not_lower_a_wall_of_few_points():
    """Six points tell of a gate of 1.25 m, on a slope of 28 %; the two at its hinge are half ground.

    Pulses a hand wide that light the top of a thin thing and the ground behind it come back from between
    (common practice, no source).
    """
    relief = plane(28, 180, 20, 0.25)
    y = np.array([0.0, 0.3, 1.0, 1.8, 1.9, 2.1])
    up = np.array([0.55, 0.68, 1.24, 1.3, 1.27, 1.18])
    xyz = np.column_stack([np.full(6, 0.01), y, relief.foot_at(np.zeros(6), y) + up])
    walls, used = thin_walls(xyz, np.zeros((0, 3)), relief)
    assert used.all()
    mesh = trimesh.Trimesh(walls.vertices, walls.triangles)
    for at in (0.1, 0.3, 1.0, 2.0):
        top = mesh.ray.intersects_location([[0.0, at, 20.0]], [[0, 0, -1]])[0][:, 2].max()
        assert 1.1 < top - relief.foot_at([0.0], [at])[0] < 1.45

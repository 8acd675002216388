"""Volumes, faces and lines told apart: on made scenes with known answers."""

import numpy as np
import pytest

from terrain3d.survey.point_shapes import shapes_of


def strewn(n, low, high, seed):
    return np.random.default_rng(seed).uniform(low, high, (int(n), 3))


@pytest.mark.parametrize("density", [10, 30, 100, 500])
@pytest.mark.parametrize("noise", [0.02, 0.05])
def test_faces_are_solid_and_volumes_are_leaves(density, noise):
    """Pitched and flat roof, a wall's face and top edge; a crown and a hedge."""
    parts = {
        "roof": strewn(80 * density, (0, 0, 0), (10, 8, 0), 1),
        "flat": strewn(25 * density, (20, 0, 3), (25, 5, 3), 2),
        "wall": strewn(20 * density, (0, 20, 0.3), (10, 20, 1.8), 3),
        "top": strewn(max(3 * density, 40), (30, 19.85, 1.8), (40, 20.15, 1.8), 4),
        "crown": strewn(25 * density, (20, 20, 2), (25, 25, 7), 5),
        "hedge": strewn(15 * density, (0, 30, 0.3), (10, 31, 1.5), 6),
    }
    parts["roof"][:, 2] = 6 - 0.5 * np.abs(parts["roof"][:, 1] - 4)
    xyz = np.vstack(list(parts.values()))
    xyz = xyz + np.random.default_rng(0).normal(0, noise, xyz.shape) * [0.3, 0.3, 1.0]
    leaves, _ = shapes_of(xyz, xyz[:, 2], np.ones(len(xyz), np.uint8))
    ends = np.cumsum([0] + [len(part) for part in parts.values()])
    share = {name: leaves[a:b].mean() for name, a, b in zip(parts, ends, ends[1:], strict=False)}
    assert max(share[k] for k in ("roof", "flat", "wall", "top")) < 0.1, share
    assert min(share[k] for k in ("crown", "hedge")) > 0.95, share


def test_several_returns_speak_for_leaves():
    """A rough layer that one return a pulse leaves a face goes to leaves where pulses gave three."""
    xyz = strewn(4000, (0, 0, 2.0), (10, 10, 2.4), 0)
    one, _ = shapes_of(xyz, xyz[:, 2], np.ones(4000, np.uint8))
    three, _ = shapes_of(xyz, xyz[:, 2], np.full(4000, 3, np.uint8))
    assert one.mean() < 0.5 < 0.95 < three.mean()


def test_few_points_are_no_face():
    """Too few to have a shape: leaves, which block less than a wall made of nothing."""
    assert shapes_of(strewn(5, (0, 0, 2), (1, 1, 3), 0), np.full(5, 2.0), np.ones(5, np.uint8))[0].all()

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


@pytest.mark.parametrize("density", [10, 30])
@pytest.mark.parametrize("corner_deg", [80, 90, 120])
def test_a_fence_is_a_fence_up_to_its_corner(density, corner_deg):
    """8 m of fence and a gate of 3 m at an angle to it, of boards that let pulses through: no return of
    either is of leaves, and all stand on a line."""
    rng = np.random.default_rng(2)
    turned = np.radians(corner_deg)
    arms = []
    for ahead, long in (((-1.0, 0.0), 8.0), ((-np.cos(turned), -np.sin(turned)), 3.0)):
        n = round(long * 0.3 * density)
        along = rng.uniform(0, long, n)[:, None] * ahead
        arms.append(np.column_stack([along, rng.uniform(0.5, 1.2, n)]))
    xyz = np.vstack(arms)
    xyz[:, :2] += rng.normal(0, 0.07, (len(xyz), 2))
    leaves, on_line = shapes_of(xyz, xyz[:, 2], np.full(len(xyz), 2, np.uint8))
    assert leaves.mean() < 0.02
    assert on_line.mean() > 0.95


def test_a_hedge_that_grows_on_from_a_fence_is_leaves():
    """In line with it, a metre wide: no fence goes on through it."""
    fence = strewn(250, (0, -0.08, 0.4), (8, 0.08, 1.2), 1)
    hedge = strewn(600, (8.2, -0.5, 0.3), (16, 0.5, 1.5), 2)
    xyz = np.vstack([fence, hedge])
    leaves, on_line = shapes_of(xyz, xyz[:, 2], np.ones(len(xyz), np.uint8))
    assert leaves[:250].mean() < 0.1
    assert on_line[250:].mean() < 0.05
    assert leaves[250:].mean() > 0.9


@pytest.mark.parametrize("density", [20, 30, 60])
def test_a_low_block_is_solid_and_a_hedge_of_its_size_is_not(density):
    """3 by 1.1 m and 0.9 m high: four in five returns from its top, the others from its sides and between."""
    n = round(3.3 * density)
    top = strewn(n, (0, 0, 0.9), (3, 1.1, 0.9), 1)
    side = strewn(n // 4, (0, 0, 0.35), (3, 1.1, 0.85), 2)
    side[:, 1] = np.where(side[:, 1] > 0.55, 1.1, 0.0)
    block = np.vstack([top, side]) + np.random.default_rng(3).normal(0, 0.03, (n + n // 4, 3))
    leaves, _ = shapes_of(block, block[:, 2], np.ones(len(block), np.uint8))
    assert leaves.mean() < 0.05
    hedge = strewn(2 * n, (0, 0, 0.0), (3, 1.1, 0.9), 4)
    hedge = hedge[hedge[:, 2] > 0.3]
    leaves, _ = shapes_of(hedge, hedge[:, 2], np.ones(len(hedge), np.uint8))
    assert leaves.mean() > 0.9

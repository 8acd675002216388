"""The split of what stands: on made scenes with known answers."""

import numpy as np
import pytest

from terrain3d.survey.above import sort_standing
from terrain3d.survey.classes import Treatment


def strewn(n, low, high, seed):
    return np.random.default_rng(seed).uniform(low, high, (int(n), 3))


def scene():
    """A roof without class, a crown classed as building, a hedge of class 3, a wire, a low point."""
    roof, crown = strewn(2000, (0, 0, 4), (10, 8, 4), 1), strewn(3000, (20, 0, 3), (25, 5, 8), 2)
    hedge, wire = strewn(500, (0, 20, 0.4), (5, 21, 1.5), 3), strewn(200, (0, 30, 6), (20, 30, 6), 4)
    low = strewn(50, (30, 30, 0.1), (31, 31, 0.25), 5)
    xyz = np.vstack([roof, crown, hedge, wire, low])
    which = np.repeat(np.arange(5), [2000, 3000, 500, 200, 50])
    return xyz, which, np.array([1, 6, 3, 14, 1], np.uint8)[which]


def sorted_scene(*treatments):
    xyz, which, classes = scene()
    nothing = np.zeros(len(xyz), bool)
    ones = np.ones(len(xyz), np.uint8)
    return sort_standing(xyz, xyz[:, 2], classes, ones, nothing, treatments), which


def test_each_class_goes_where_it_belongs_and_wires_nowhere():
    """Also: crowns classed as building are taken for leaves, and both judgements are told."""
    standing, which = sorted_scene()
    share = [(standing.solid[which == k].mean(), standing.leaf[which == k].mean()) for k in range(5)]
    np.testing.assert_allclose(share, [(1, 0), (0, 1), (0, 1), (0, 0), (0, 0)], atol=0.03)
    assert any("classed as building look like foliage" in doubt for doubt in standing.doubts)
    assert any("have no class" in doubt for doubt in standing.doubts)


@pytest.mark.parametrize(
    ("take_as", "solid", "leaf"), [("solid", 1, 0), ("foliage", 0, 1), ("nothing", 0, 0)]
)
def test_treat_outlines_override(take_as, solid, leaf):
    """The crown inside the outline becomes what it says; the roof outside stays."""
    outline = np.array([[19.0, -1], [26, -1], [26, 6], [19, 6]])
    standing, which = sorted_scene(Treatment(outline, take_as))
    assert standing.solid[which == 1].mean() == solid
    assert standing.leaf[which == 1].mean() == leaf
    assert standing.solid[which == 0].mean() > 0.97


def test_a_gate_of_few_returns_at_the_end_of_a_fence_is_no_bush():
    """Open at a right angle to the fence: seven returns of 2.6 m, those by the hinge near those of the fence;
    a shed stands farther off."""
    rng = np.random.default_rng(0)
    x = np.concatenate([rng.uniform(-12, 0, 50), [-0.02, -0.04, 0.02, 0.0, 0.03, 0.01, -0.03]])
    y = np.concatenate([rng.normal(0, 0.04, 50), [-0.38, -0.63, -1.56, -1.67, -2.31, -2.42, -2.43]])
    z = np.concatenate([rng.uniform(0.4, 1.1, 50), [0.55, 0.68, 1.24, 1.3, 1.27, 1.18, 0.83]])
    shed = np.column_stack([rng.uniform(10, 16, (400, 2)), np.full(400, 2.4)])
    xyz = np.vstack([np.column_stack([x, y, z]), shed])
    ones, none = np.ones(len(xyz), np.uint8), np.zeros(len(xyz), bool)
    sorted_ = sort_standing(xyz, xyz[:, 2], ones, ones, none)
    assert sorted_.thin[:50].mean() > 0.95
    assert sorted_.thin[50:57].sum() >= 6

"""Ground filter and the split of what stands: on made scenes with known answers."""

import os
import subprocess
import sys

import numpy as np
import pytest

from terrain3d.survey.above import (
    Treatment,
    filtered_ground,
    ground_points,
    shapes_of,
    sort_standing,
)


def hillside(slope: float, seed: int = 0, terrace_m: float = 0.0):
    """A slope with a flat-eaved house of 10 x 8 m, 20 points a square metre, 3 cm noise."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-20, 20, (32_000, 2))
    x, y = xy.T
    roof = (np.abs(x) < 5) & (np.abs(y) < 4)
    ground = slope * x + terrace_m * (y > 10)
    z = np.where(roof, 5 * slope + 5.5 - 0.5 * np.abs(y), ground) + rng.normal(0, 0.03, x.size)
    return np.column_stack([xy, z]), roof


@pytest.mark.parametrize("slope", [0.0, 0.2, 0.6])
def test_the_filter_does_not_mind_the_slope(slope):
    """All of the roof goes, all of the ground stays, level or at 60 %."""
    xyz, roof = hillside(slope)
    ground = filtered_ground(xyz)
    assert ground[roof].mean() < 0.002
    assert ground[~roof].mean() > 0.998


@pytest.mark.parametrize("terrace_m", [1.0, 2.0, 3.0])
def test_a_terrace_keeps_its_ground(terrace_m):
    """A step, not a roof: at most a strip at its top edge is taken for something standing."""
    xyz, roof = hillside(0.2, terrace_m=terrace_m)
    ground = filtered_ground(xyz)
    away = np.abs(xyz[:, 1] - 10) > 1.0
    assert ground[~roof & away].mean() > 0.995
    assert ground[~roof & ~away].mean() > 0.6


def test_the_filter_is_silent_and_does_the_same_twice(capfd):
    """Its library prints; results of ours may be going to stdout."""
    xyz, _ = hillside(0.1)
    first, again = filtered_ground(xyz), filtered_ground(xyz)
    assert first.tobytes() == again.tobytes()
    assert capfd.readouterr().out == ""


def test_classes_are_believed_and_their_absence_is_told():
    """Class 2, 10 and 11 are ground, 9 is not; without class 2 a doubt says that ground was filtered."""
    xyz, roof = hillside(0.0)
    classes = np.where(roof, 6, 2).astype(np.uint8)
    classes[:3] = (9, 10, 11)
    ground, _, doubts = ground_points(xyz, classes)
    assert ground[:3].tolist() == [False, True, True]
    assert (ground == (classes != 6))[3:].all()
    assert doubts == ()
    _, _, doubts = ground_points(xyz, np.zeros(len(xyz), np.uint8))
    assert "filtered" in doubts[0]


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


def test_treat_as_ground_makes_ground():
    """A roof inside the outline is ground, the rest of it is not."""
    xyz, roof = hillside(0.0)
    classes = np.where(roof, 6, 2).astype(np.uint8)
    outline = np.array([[0.0, -10], [10, -10], [10, 10], [0, 10]])
    ground, _, _ = ground_points(xyz, classes, [Treatment(outline, "ground")])
    east = xyz[:, 0] > 0
    assert ground[roof & east].all()
    assert not ground[roof & ~east].any()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other libraries say it in other words")
def test_threads_of_the_filter_yield_while_they_wait():
    """The library itself says how often it looks before it yields: not once, as GOMP_SPINCOUNT has it.

    That is libgomp's manual under OMP_WAIT_POLICY and GOMP_SPINCOUNT (from memory); it tells its settings
    where OMP_DISPLAY_ENV is "verbose".
    """
    code = (
        "import numpy as np\nfrom terrain3d.survey.above import filtered_ground\n"
        "filtered_ground(np.random.default_rng(0).random((100, 3)) * [30, 30, 1])"
    )
    told = {key: value for key, value in os.environ.items() if key != "OMP_WAIT_POLICY"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**told, "OMP_DISPLAY_ENV": "verbose"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "GOMP_SPINCOUNT = '0'" in done.stderr


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


@pytest.mark.parametrize("deck_class", [10, 11])
def test_a_deck_of_rail_or_road_is_no_ground_and_what_leads_to_it_is(deck_class):
    """A cut 5 m deep with sides of 1 in 1 and a bridge over it: its deck stands, its ends are ground.

    Class 11 is road surface, 10 rail, 17 a bridge deck (LAS 1.4 R15, table 17), but many class decks as road.
    """
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-30, 30, (2, 36_000))

    def land(x):
        return -np.clip(10 - np.abs(x), 0, 5)

    road = np.abs(y) < 3
    z = np.where(road, 0.0, land(x)) + rng.normal(0, 0.03, x.size)
    classes = np.where(road, deck_class, 2).astype(np.uint8)
    ground, off, doubts = ground_points(np.column_stack([x, y, z]), classes)
    over = road & (np.abs(x) < 8)
    assert ground[over & (np.abs(y) > 0.3)].mean() < 0.02
    assert ground[road & (np.abs(x) > 12)].mean() > 0.99
    assert ground[~road].all()
    assert not off.any()
    assert any("of classes 10 and 11 (rail, road) off the ground beside" in doubt for doubt in doubts)


def test_a_road_on_a_slope_and_in_a_cutting_is_ground():
    """Rail and road that lie on the land, 40 % steep across or a metre lower, stay and no word is said."""
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-20, 20, (2, 16_000))
    for z in (0.4 * y, np.where(np.abs(y) < 3, -1.0, -1.0 + np.clip((np.abs(y) - 3) / 1.5, 0, 1))):
        xyz = np.column_stack([x, y, z + rng.normal(0, 0.03, x.size)])
        classes = np.where(np.abs(y) < 2, 11, 2).astype(np.uint8)
        ground, _, doubts = ground_points(xyz, classes)
        assert ground.mean() > 0.999
        assert doubts == ()

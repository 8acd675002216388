"""What is made of the returns that stand: houses, walls, vehicles and gates, leaves, and doubts of each."""

import numpy as np
import pytest
import trimesh

from terrain3d.survey.buildings import WallMount
from terrain3d.survey.classes import Treatment
from terrain3d.survey.standing import standing
from terrain3d.survey.surface import plane

RELIEF = plane(0, 0, 40, 0.25)


def strewn(density, low, high, seed):
    rng = np.random.default_rng(seed)
    low, high = np.array(low, float), np.array(high, float)
    n = round(density * float(np.prod((high - low)[:2])))
    return rng.uniform(low, high, (n, 3)) + rng.normal(0, 0.03, (n, 3)) * [0, 0, 1]


def scene(density=12.0):
    """A hall with a flat roof 4 m up, a fence, a gate in it, a car, a shrub: (xyz, classes, ground)."""
    ground = strewn(density, (-20, -20, 0), (20, 20, 0), 0)
    x, y = ground[:, :2].T
    hall = (x > 4) & (x < 14) & (y > 4) & (y < 12)
    car = (np.abs(x + 8) < 0.9) & (np.abs(y - 6) < 2.2)
    ground = ground[~hall & ~car]
    parts = {
        "ground": ground,
        "hall": strewn(density, (4, 4, 4), (14, 12, 4), 1),
        "fence": strewn(density, (-16, -6.2, 1.2), (-6, -5.8, 1.2), 2),
        "gate": strewn(2 * density, (0, -10.15, 1.3), (3.4, -9.85, 1.3), 3),
        "car": strewn(density, (-8.9, 3.8, 1.45), (-7.1, 8.2, 1.45), 4),
        "shrub": strewn(3 * density, (8, -12, 0.4), (10, -10, 1.8), 5),
    }
    xyz = np.vstack(list(parts.values()))
    which = np.repeat(list(parts), [len(part) for part in parts.values()])
    classes = np.select([which == "ground", which == "hall", which == "shrub"], [2, 6, 4], 1).astype(np.uint8)
    return xyz, classes, which


def read(xyz, classes, which, **more):
    # Some pulses of a survey from the air came back in two parts.
    n_returns = np.ones(len(xyz), np.uint8)
    n_returns[np.flatnonzero(which == "shrub")[::3]] = 2
    return standing(xyz, classes, n_returns, which == "ground", RELIEF, **more)


def over(solids, name):
    """Least and greatest corner of a thing."""
    corners = solids.vertices[solids.triangles[solids.owners == solids.names.index(name)].ravel()]
    return corners.min(axis=0), corners.max(axis=0)


def named_at(solids, x, y):
    names = []
    for name in solids.names:
        low, high = over(solids, name)
        if low[0] - 0.3 <= x <= high[0] + 0.3 and low[1] - 0.3 <= y <= high[1] + 0.3:
            names.append(name)
    return names


def test_each_thing_is_one_solid_with_a_name_and_leaves_are_none():
    """Hall, fence, gate and car: four names without gaps; the shrub alone is leaves."""
    solids, leaves, _ = read(*scene())
    assert solids.names == tuple(f"surveyed solid {k}" for k in range(1, 5))
    assert solids.surveyed == frozenset(range(4))
    for x, y in ((9, 8), (-11, -6), (1.7, -10), (-8, 6)):
        assert len(named_at(solids, x, y)) == 1
    (hall,) = named_at(solids, 9, 8)
    low, high = over(solids, hall)
    assert (*low[:2], *high[:2]) == pytest.approx((4, 4, 14, 12), abs=0.4)
    assert high[2] == pytest.approx(4.0, abs=0.1)
    j, i = np.nonzero(leaves.row >= 0)
    x, y = RELIEF.ground.xs[i], RELIEF.ground.ys[j]
    assert (np.abs(x - 9) < 1.6).all()
    assert (np.abs(y + 11) < 1.6).all()


def test_a_fence_is_thin_and_stands_on_the_ground():
    """A hand or two thick, closed, 1.2 m high."""
    solids, _, _ = read(*scene())
    (fence,) = named_at(solids, -11, -6)
    low, high = over(solids, fence)
    assert high[1] - low[1] < 0.5
    assert high[2] == pytest.approx(1.2, abs=0.1)
    assert low[2] < 0
    k = solids.names.index(fence)
    assert trimesh.Trimesh(solids.vertices, solids.triangles[solids.owners == k]).is_watertight


def test_what_may_drive_away_or_open_is_told_by_its_name():
    """The car by its place and height, the gate by its length; neither hall nor fence is called so."""
    solids, _, doubts = read(*scene())
    (car,), (gate,) = named_at(solids, -8, 6), named_at(solids, 1.7, -10)
    told = [doubt for doubt in doubts if "may drive away" in doubt or "may be a gate" in doubt]
    assert len(told) == 2
    assert f"{car!r} at (-8, " in told[0]
    assert "1.4" in told[0] or "1.5" in told[0]
    assert f"{gate!r} at (1.8, -10) in local metres, 3 m long and 1.3 m high" in told[1]
    assert 'without = ["..."]' in told[-1]


def test_eaves_that_nobody_saw_are_told_and_can_be_said():
    """Half a metre all round the hall is open beneath; none of it with eaves = 0, and no doubt then."""
    xyz, classes, which = scene()
    solids, _, doubts = read(xyz, classes, which)
    closed, _, silent = read(xyz, classes, which, eaves_m=0.0)
    assert any("taken to stand out 0.5 m over their walls" in doubt for doubt in doubts)
    assert not any("stand out" in doubt for doubt in silent)
    below = np.array([[x, 8.0, 0.3] for x in (4.1, 9.0)])
    for of, expected in ((solids, [False, True]), (closed, [True, True])):
        k = of.names.index(named_at(of, 9, 8)[0])
        mesh = trimesh.Trimesh(of.vertices, of.triangles[of.owners == k], process=False)
        # From inside a block its walls are met, whichever way one looks; under eaves the open side is not.
        out = np.array([[-1.0, 0.0, 0.0]])
        met = [
            len(mesh.ray.intersects_location(at[None] + np.array([0.013, 0.017, 0]), out)[0]) > 0
            for at in below
        ]
        assert met == expected


def test_a_wall_mount_has_nothing_before_it():
    """On the hall's west wall, 0.9 m within the roof's edge, facing the car: open as far as eaves go."""
    xyz, classes, which = scene()
    mount = WallMount(4.9, 8.0, 270.0)
    solids, _, _ = read(xyz, classes, which, wall_mounts=[mount], eaves_m=0.0)
    mesh = trimesh.Trimesh(solids.vertices, solids.triangles, process=False)
    west = np.array([[-1.0, 0.0, 0.0]])
    for y in (4.6, 6.0, 8.0, 11.4):
        met = mesh.ray.intersects_location([[4.87, y + 0.013, 1.0]], west)[0]
        assert not (met[:, 0] > 0).any(), y
        assert len(mesh.ray.intersects_location([[4.87, y + 0.013, 1.0]], -west)[0]) > 0


def test_a_treatment_goes_before_what_shapes_say():
    """The car taken for nothing is gone, and nothing is said of it."""
    xyz, classes, which = scene()
    yard = np.array([[-10.0, 3], [-6, 3], [-6, 9], [-10, 9]])
    solids, _, doubts = read(xyz, classes, which, treatments=[Treatment(yard, "nothing")])
    assert named_at(solids, -8, 6) == []
    assert not any("may drive away" in doubt for doubt in doubts)


def test_few_pulses_into_leaves_are_told_as_a_guess():
    """One a square metre into a thin hedge of 30 m2; forty tell enough."""
    rng = np.random.default_rng(7)
    told = []
    for density in (1.0, 40.0):
        ground = strewn(density, (-20, -20, 0), (20, 20, 0), 0)
        ground = ground[np.abs(ground[:, 1]) > 0.5]
        n = round(30 * density)
        hedge = np.column_stack(
            [
                rng.uniform(-15, 15, n),
                rng.uniform(-0.5, 0.5, n),
                np.maximum(1.5 - rng.exponential(3.0, n), 0.05),
            ]
        )
        xyz = np.vstack([ground, hedge])
        classes = np.repeat([2, 4], [len(ground), n]).astype(np.uint8)
        which = np.repeat(["ground", "shrub"], [len(ground), n])
        told.append(any("of foliage are a guess" in doubt for doubt in read(xyz, classes, which)[2]))
    assert told == [True, False]


def test_bare_ground_has_nothing_standing_on_it():
    """No solids, no leaves, no doubts."""
    xyz, classes, which = (part[scene()[2] == "ground"] for part in scene())
    solids, leaves, doubts = read(xyz, classes, which)
    assert solids.names == ()
    assert not (leaves.row >= 0).any()
    assert doubts == ()


def told_of_wall(path, seed=0):
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
    assert len(told_of_wall(np.array([[-1.5, 0.0], [1.5, 0.0]]))) == 1


def test_the_pieces_of_a_curved_wall_are_no_gates():
    """A quarter of a circle of 7 m radius, read as straight pieces of a few metres."""
    turn = np.radians(np.arange(0, 100, 5))
    assert told_of_wall(7 * np.column_stack([np.cos(turn), np.sin(turn)]) - 3) == []


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


def test_a_way_through_a_hedge_is_open_where_a_person_says_so():
    """Two metres of a hedge were met by no pulse: it is carried on, but for a drawn gateway."""
    hedge = strewn(10, (-12, -0.45, 0.2), (12, 0.45, 1.5), 8)
    hedge = hedge[np.abs(hedge[:, 0]) > 1.0]
    ground = strewn(10, (-18, -18, 0), (18, 18, 0), 9)
    ground = ground[np.abs(ground[:, 1]) > 0.5]
    xyz = np.vstack([ground, hedge])
    classes = np.repeat([2, 4], [len(ground), len(hedge)]).astype(np.uint8)
    which = np.repeat(["ground", "shrub"], [len(ground), len(hedge)])
    x, y = np.meshgrid(RELIEF.ground.xs, RELIEF.ground.ys)
    gateway = (np.abs(x) < 0.75) & (np.abs(y) < 0.3)
    beside = (np.abs(x) > 1.5) & (np.abs(x) < 11) & (np.abs(y) < 0.3)
    carried_on = read(xyz, classes, which)[1].row >= 0
    assert carried_on[gateway].mean() > 0.9
    outline = np.array([[-0.75, -2.0], [0.75, -2.0], [0.75, 2.0], [-0.75, 2.0]])
    opened = read(xyz, classes, which, treatments=[Treatment(outline, "nothing")])[1].row >= 0
    assert not opened[gateway].any()
    assert opened[beside].mean() > 0.95
    # Of two outlines that lie upon each other the later counts.
    both = [Treatment(outline, "nothing"), Treatment(outline, "foliage")]
    assert (read(xyz, classes, which, treatments=both)[1].row >= 0)[gateway].mean() > 0.9

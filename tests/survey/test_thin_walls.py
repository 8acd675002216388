"""Walls, fences and gates from points along them: where they stand, how high, where a way goes through."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh

from terrain3d.survey.surface import plane
from terrain3d.survey.thin_walls import thin_walls

RELIEF = plane(0, 0, 60, 0.25)
NO_GROUND = np.zeros((0, 3))


def along(*path, density=10.0, high=1.2, thick=0.2, seed=0):
    """Returns on the top of a wall along a path, as pulses from the air give them.

    `high` may be a function of how far along.
    """
    rng = np.random.default_rng(seed)
    points, before = [], 0.0
    for start, end in pairwise(path):
        start, end = np.array(start, float), np.array(end, float)
        length = float(np.hypot(*(end - start)))
        n = max(round(density * length * (thick + 0.25)), 3)
        t = rng.uniform(0, length, n)
        ahead = (end - start) / length
        off = rng.uniform(-0.5, 0.5, n) * thick + rng.normal(0, 0.03, n)
        xy = start + t[:, None] * ahead + off[:, None] * [ahead[1], -ahead[0]]
        z = high(before + t) if callable(high) else np.full(n, high)
        points.append(np.column_stack([xy, z + rng.normal(0, 0.03, n)]))
        before += length
    return np.vstack(points)


def at(walls, place, reach=0.35):
    """Height of what stands at a place: the highest corner of triangles so near to it in plan."""
    corners = walls.vertices[walls.triangles]
    plans = shapely.polygons(corners[..., :2])
    near = shapely.distance(plans, shapely.Point(place)) < reach
    return float(corners[near, :, 2].max(initial=0.0))


def assert_closed(walls):
    """Each wall is a closed mesh, its faces outward."""
    for k in range(len(walls.names)):
        mesh = trimesh.Trimesh(walls.vertices, walls.triangles[walls.owners == k], process=True)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0


@pytest.mark.parametrize("density", [4, 10, 30])
@pytest.mark.parametrize(
    ("paths", "n"),
    [
        ([((-8, 2), (7, 3))], 1),
        ([((-8, -8), (6, -8), (6, 5))], 2),
        ([((-9, 0), (9, 0)), ((0, 0.4), (0, 9))], 2),
    ],
    ids=["straight", "L", "T"],
)
def test_walls_stand_along_their_whole_length(paths, n, density):
    """1.2 m high, no thicker than 0.4 m, closed; every half metre of the way something stands.

    But for its ends, which chance hides: of n returns a metre the last lies 1 / n within on average.
    """
    end_m = max(1.0, 4 / (0.45 * density))
    xyz = np.vstack([along(*path, density=density, seed=k) for k, path in enumerate(paths)])
    walls, used = thin_walls(xyz, NO_GROUND, RELIEF)
    assert used.mean() > 0.97
    assert len(walls.names) == n
    assert_closed(walls)
    assert walls.vertices[:, 2].max() == pytest.approx(1.2, abs=0.12)
    for path in paths:
        for start, end in pairwise(path):
            length = np.hypot(*(np.array(end) - start))
            for t in np.arange(end_m, length - end_m, 0.5) / length:
                assert at(walls, np.array(start) + t * (np.array(end) - start)) > 1.0


def test_a_wall_in_a_bow_is_a_row_of_straight_ones():
    """A quarter of a circle of 12 m radius: each place of it stands, within 0.4 m of it, at its height."""
    turn = np.linspace(0, np.pi / 2, 40)
    path = np.column_stack([12 * np.sin(turn), 12 * np.cos(turn)])
    walls, used = thin_walls(along(*path, density=20), NO_GROUND, RELIEF)
    assert used.mean() > 0.9
    assert_closed(walls)
    stands = [at(walls, place, 0.4) > 1.0 for place in path[1:-1]]
    assert np.mean(stands) > 0.9
    away = np.abs(np.hypot(*walls.vertices[:, :2].T) - 12)
    assert away.max() < 0.6


def test_a_top_that_steps_is_followed():
    """1 m high for 6 m, then 2 m: told within 0.15 m, half a metre off the step."""
    stepped = along((-6, 0), (6, 0), density=20, high=lambda t: np.where(t < 6, 1.0, 2.0))
    walls, _ = thin_walls(stepped, NO_GROUND, RELIEF)
    assert_closed(walls)
    for x in (-5.0, -3.0, -1.2):
        assert at(walls, (x, 0.0), 0.2) == pytest.approx(1.0, abs=0.15)
    for x in (1.2, 3.0, 5.0):
        assert at(walls, (x, 0.0), 0.2) == pytest.approx(2.0, abs=0.15)


def ground_on_line(low, high, density=10.0, wide=1.0):
    rng = np.random.default_rng(5)
    n = round(density * (high - low) * wide)
    return np.column_stack([rng.uniform(low, high, n), rng.uniform(-wide / 2, wide / 2, n), np.zeros(n)])


@pytest.mark.parametrize("shift_m", [0.0, 0.4, 0.8, 1.2, 1.6, 2.0, 2.4, 2.8])
def test_a_gap_that_chance_left_is_closed_wherever_the_wall_stands(shift_m):
    """Of 2.7 m, the ground not seen in it, five returns on one side: one wall, whatever place it has."""
    x = np.concatenate([np.linspace(0, 1.2, 5), np.linspace(3.9, 9, 30)]) + shift_m
    wall = np.column_stack([x, 0.06 * (-1.0) ** np.arange(len(x)), np.full(len(x), 1.2)])
    walls, used = thin_walls(wall, NO_GROUND, RELIEF)
    assert used.all()
    assert len(walls.names) == 1
    assert at(walls, (2.5 + shift_m, 0.0)) > 1.0


def test_a_way_through_is_open_where_ground_was_seen_in_it():
    """2 m without a return of the wall: open where the ground shows, closed where chance left it out."""
    wall = along((-8, 0), (8, 0))
    wall = wall[np.abs(wall[:, 0]) > 1.0]
    shut, _ = thin_walls(wall, NO_GROUND, RELIEF)
    opened, _ = thin_walls(wall, ground_on_line(-1, 1), RELIEF)
    assert len(shut.names) == 1
    assert len(opened.names) == 2
    assert at(shut, (0.0, 0.0)) > 1.0
    assert at(opened, (0.0, 0.0)) == 0.0
    assert at(opened, (-3.0, 0.0)) > 1.0
    assert at(opened, (3.0, 0.0)) > 1.0
    assert_closed(opened)


def test_a_gap_wider_than_three_metres_needs_no_ground_to_be_one():
    """3.6 m without a return at ten a square metre is no chance."""
    wall = along((-8, 0), (8, 0))
    walls, _ = thin_walls(wall[np.abs(wall[:, 0]) > 1.8], NO_GROUND, RELIEF)
    assert len(walls.names) == 2
    assert at(walls, (0.0, 0.0)) == 0.0


def test_a_railing_seen_from_the_ground_is_open_beneath():
    """Bars from 0.6 to 1 m, seen all over by a scan from the side; a wall seen so stands on the ground."""
    rng = np.random.default_rng(3)
    for low, is_open in ((0.6, True), (0.0, False)):
        n = 4000
        face = np.column_stack(
            [rng.uniform(-4, 4, n), rng.normal(0, 0.01, n), rng.uniform(max(low, 0.3), 1.0, n)]
        )
        walls, _ = thin_walls(face, NO_GROUND, RELIEF)
        assert_closed(walls)
        if is_open:
            assert walls.vertices[:, 2].min() == pytest.approx(0.6, abs=0.05)
        else:
            assert walls.vertices[:, 2].min() < 0


def test_a_wall_on_a_slope_stands_on_it():
    """12 % along it: its foot is in the ground and its top follows."""
    relief = plane(12, 90, 60, 0.25)
    xyz = along((-8, 0), (8, 0), density=20)
    xyz[:, 2] -= 0.12 * xyz[:, 0]
    walls, _ = thin_walls(xyz, NO_GROUND, relief)
    assert_closed(walls)
    foot = -0.12 * walls.vertices[:, 0]
    low = walls.vertices[:, 2] < foot
    assert low.sum() == len(foot) / 2
    np.testing.assert_allclose(walls.vertices[~low, 2] - foot[~low], 1.2, atol=0.12)


def test_points_that_make_no_line_are_no_wall():
    """A blob of a metre, five returns on a line, half a metre of them: all left to others."""
    rng = np.random.default_rng(0)
    for xyz in (
        rng.uniform(0, 0.5, (40, 3)),
        along((0, 0), (3, 0))[:5],
        along((0, 0), (0.5, 0), density=100),
    ):
        walls, used = thin_walls(xyz, NO_GROUND, RELIEF)
        assert walls.names == ()
        assert not used.any()


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

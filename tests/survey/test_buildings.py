"""Roofs from points: their height, their walls, and the open space under eaves."""

import numpy as np
import pytest
import trimesh

from terrain3d.survey.buildings import SLAB_M, WallMount, buildings
from terrain3d.survey.surface import plane

EAVE = 0.6


def roof_z(x, y):
    """A ridge along x, 27 degrees."""
    return 5.5 - 0.5 * np.abs(y) + 0 * x


def house(density: float, noise: float, seen_under: float = 0.4, slope: float = 0.0):
    """A 10 x 8 m house with eaves all round; of the ground under them a part is seen by oblique beams."""
    rng = np.random.default_rng(0)
    xy = rng.uniform((-5 - EAVE, -4 - EAVE), (5 + EAVE, 4 + EAVE), (int(11.2 * 9.2 * density), 2))
    roof = np.column_stack([xy, roof_z(*xy.T) + rng.normal(0, noise, len(xy))])
    xy = rng.uniform(-20, 20, (int(1600 * density), 2))
    x, y = np.abs(xy).T
    outside = (x > 5) | (y > 4)
    under = outside & (x < 5 + EAVE) & (y < 4 + EAVE)
    xy = xy[outside & (~under | (rng.random(len(xy)) < seen_under))]
    ground = np.column_stack([xy, slope * xy[:, 0] + rng.normal(0, noise / 2, len(xy))])
    return roof, ground


def mesh(solids):
    return trimesh.Trimesh(solids.vertices, solids.triangles, process=False)


def first_hits(solids, origins, direction):
    """(n,) distance to the first face, inf where there is none."""
    away = np.full(len(origins), np.inf)
    rays = np.tile(np.asarray(direction, float), (len(origins), 1))
    place, ray, _ = mesh(solids).ray.intersects_location(origins, rays, multiple_hits=False)
    away[ray] = np.linalg.norm(place - origins[ray], axis=1)
    return away


LEVEL = plane(0, 0, 40, 0.25)


@pytest.mark.parametrize(("density", "noise"), [(10, 0.05), (20, 0.1), (100, 0.03)])
def test_a_house_is_met_where_it_stands(density, noise):
    """Roof within a few centimetres, walls and eaves within a column, few triangles."""
    solids, *_ = buildings(*house(density, noise), LEVEL)
    assert solids.names == ("surveyed solid 1",)
    assert len(solids.triangles) < 6000
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-4.9, 4.9, 400), rng.uniform(-3.9, 3.9, 400)
    off = 20 - first_hits(solids, np.column_stack([x, y, np.full(400, 20.0)]), (0, 0, -1)) - roof_z(x, y)
    assert np.median(np.abs(off)) < 0.03
    away_from_ridge = np.abs(y) > 1.5
    assert np.percentile(np.abs(off[away_from_ridge]), 95) < 0.1 + noise
    column = np.sqrt(3 / density)
    x = np.linspace(-4, 4, 33)
    wall_y = first_hits(solids, np.column_stack([x, np.full(33, -10.0), np.full(33, 1.0)]), (0, 1, 0)) - 10
    assert np.median(wall_y) == pytest.approx(-4, abs=column + 0.05)
    eave_y = first_hits(solids, np.column_stack([x, np.full(33, -10.0), np.full(33, 3.15)]), (0, 1, 0)) - 10
    assert np.median(eave_y) == pytest.approx(-4 - EAVE, abs=column + 0.05)


def test_space_under_eaves_is_open_and_the_eaves_have_an_underside():
    """A ray along the wall under the eaves passes; one straight up meets the underside of the slab."""
    solids, *_ = buildings(*house(100, 0.02), LEVEL)
    along = [[-12.0, -4.4, z] for z in (0.3, 1.0, 2.0, 2.8)]
    assert np.isinf(first_hits(solids, np.array(along), (1, 0, 0))).all()
    x = np.linspace(-4, 4, 33)
    up = first_hits(solids, np.column_stack([x, np.full(33, -4.3), np.full(33, 0.5)]), (0, 0, 1))
    assert np.isfinite(up).mean() > 0.9
    assert np.median(up[np.isfinite(up)]) + 0.5 == pytest.approx(roof_z(0, 4.3) - SLAB_M, abs=0.05)


def test_without_ground_seen_under_them_eaves_are_as_wide_as_they_usually_are():
    """Half a metre is open along the wall, and counted; told that there are none, the block goes down."""
    roof, ground = house(100, 0.02, seen_under=0.0)
    along = np.array([[-12.0, -4.4, 1.0]])
    solids, eaves, _ = buildings(roof, ground, LEVEL)
    assert eaves > 100
    assert np.isinf(first_hits(solids, along, (1, 0, 0))).all()
    assert np.isfinite(first_hits(solids, np.array([[-12.0, -3.8, 1.0]]), (1, 0, 0))).all()
    solids, eaves, _ = buildings(roof, ground, LEVEL, eaves_m=0.0)
    assert eaves == 0
    assert np.isfinite(first_hits(solids, along, (1, 0, 0))).all()


def test_a_wall_is_where_points_show_it_whatever_eaves_are_usual():
    """Eaves of 0.6 m, of which the points on the wall tell: the wall stands at 4 m, and not at 4.1."""
    roof, ground = house(100, 0.02, seen_under=0.0)
    rng = np.random.default_rng(2)
    wall = np.column_stack([rng.uniform(-5, 5, 600), np.full(600, -4.3), rng.uniform(0.4, 2.5, 600)])
    solids, *_ = buildings(np.vstack([roof, wall]), ground, LEVEL, eaves_m=1.0)
    at = first_hits(solids, np.array([[0.0, -10.0, 1.0]]), (0, 1, 0))[0] - 10
    assert at == pytest.approx(-4.3, abs=0.3)


def test_a_mount_on_a_wall_stands_before_it_under_the_eaves():
    """The wall that the mount names is where it says, on its side alone, a wing beside it stays."""
    roof, ground = house(20, 0.03, seen_under=0.0)
    rng = np.random.default_rng(3)
    wing = np.column_stack([rng.uniform(2, 6, 400), rng.uniform(-9, -3, 400), np.full(400, 3.0)])
    ground = ground[(ground[:, 0] < 2) | (ground[:, 0] > 6) | (ground[:, 1] < -9) | (ground[:, 1] > 0)]
    solids, *_ = buildings(
        np.vstack([roof, wing]), ground, LEVEL, eaves_m=0.0, wall_mounts=[WallMount(-2.0, -3.9, 180.0)]
    )
    out = first_hits(solids, np.array([[-2.0, -3.95, 1.0]]), (0, -1, 0))
    assert np.isinf(out).all()
    assert first_hits(solids, np.array([[-2.0, -10.0, 1.0]]), (0, 1, 0))[0] - 10 == pytest.approx(
        -3.9, abs=0.3
    )
    north = first_hits(solids, np.array([[-2.0, 10.0, 1.0]]), (0, -1, 0))[0]
    assert 10 - north == pytest.approx(4.6, abs=0.3)
    assert np.isfinite(first_hits(solids, np.array([[-2.0, -6.0, 1.0]]), (1, 0, 0))).all()


def test_what_stands_apart_before_the_wall_of_a_mount_is_no_wing_of_the_house():
    """A pile of logs 2 m before the wall: the eaves over the mount are open as they are without it."""
    roof, ground = house(30, 0.03, seen_under=0.0)
    rng = np.random.default_rng(3)
    xy = rng.uniform((-4, -7.2), (0, -6), (150, 2))
    logs = np.column_stack([xy, np.full(len(xy), 0.9)])
    ground = ground[(np.abs(ground[:, 0] + 2) > 2) | (np.abs(ground[:, 1] + 6.6) > 0.6)]
    solids, *_ = buildings(
        np.vstack([roof, logs]), ground, LEVEL, eaves_m=0.0, wall_mounts=[WallMount(-2.0, -4.1, 180.0)]
    )
    origin = np.array([[-2.0, -4.1, 1.2]])
    assert np.isinf(first_hits(solids, origin, (0, -1, 0))).all()
    assert np.isfinite(first_hits(solids, origin - [[0, 0, 0.7]], (0, -1, 0))).all()


def test_no_ray_gets_through_a_house():
    """Level rays through the middle from all round, at every height."""
    solids, *_ = buildings(*house(20, 0.1), LEVEL)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    for z in (0.05, 0.5, 1.0, 2.0, 3.0, 4.5):
        out = np.column_stack([np.cos(angle), np.sin(angle)])
        origins = np.column_stack([12 * out, np.full(360, z)])
        rays = np.column_stack([-out, np.zeros(360)])
        assert mesh(solids).ray.intersects_any(origins, rays).all(), z


def test_a_house_on_a_slope_stands_in_the_ground():
    """Its walls go half a metre into a 20 % slope, so that nothing passes beneath."""
    relief = plane(-20, 90, 40, 0.25)
    roof, ground = house(20, 0.03, slope=0.2)
    solids, *_ = buildings(roof, ground, relief)
    x = np.linspace(-4, 4, 33)
    origins = np.column_stack([x, np.full(33, -10.0), 0.2 * x + 0.05])
    assert np.isfinite(first_hits(solids, origins, (0, 1, 0))).all()


def test_ten_centimetres_of_noise_make_no_comb():
    """A flat roof with 10 cm noise: its top keeps within 15 cm, with no upright faces inside."""
    rng = np.random.default_rng(5)
    xy = rng.uniform(-4, 4, (64 * 30, 2))
    roof = np.column_stack([xy, 3 + rng.normal(0, 0.1, len(xy))])
    solids, *_ = buildings(roof, np.zeros((0, 3)), LEVEL)
    inner = np.abs(mesh(solids).triangles_center[:, :2]).max(axis=1) < 3.4
    upright = np.abs(mesh(solids).face_normals[:, 2]) < 0.5
    assert not (inner & upright).any()
    top = mesh(solids).triangles[inner][:, :, 2]
    assert np.abs(top - 3).max() < 0.15


def test_a_step_between_two_roofs_stays_a_step():
    """3 m beside 6 m: both keep their height up to a column from the step, joined by a wall."""
    rng = np.random.default_rng(6)
    xy = rng.uniform(-4, 4, (64 * 30, 2))
    roof = np.column_stack([xy, np.where(xy[:, 0] < 0, 3.0, 6.0)])
    solids, *_ = buildings(roof, np.zeros((0, 3)), LEVEL)
    x = np.array([-3.0, -1.0, 1.0, 3.0])
    top = 20 - first_hits(solids, np.column_stack([x, 0 * x, 0 * x + 20]), (0, 0, -1))
    np.testing.assert_allclose(top, [3, 3, 6, 6], atol=0.02)
    assert first_hits(solids, np.array([[-3.0, 0.3, 4.5]]), (1, 0, 0))[0] == pytest.approx(3.0, abs=0.4)


def test_two_buildings_have_two_names_and_a_stray_point_none():
    """Things that stand apart are told apart; a lone point is no building."""
    rng = np.random.default_rng(7)
    xy = rng.uniform(0, 4, (500, 2))
    flat = np.column_stack([xy, np.full(500, 3.0)])
    stray = np.array([[15.0, 15.0, 4.0]])
    west, east = flat - (8, 0, 0), np.add(flat, (4, 0, 0))
    solids, *_ = buildings(np.vstack([west, east, stray]), np.zeros((0, 3)), LEVEL)
    assert solids.names == ("surveyed solid 1", "surveyed solid 2")
    assert solids.vertices[:, 0].max() < 9
    assert buildings(stray, np.zeros((0, 3)), LEVEL)[0].names == ()


def test_a_mount_whose_wall_nobody_named_stands_before_the_nearest():
    """0.1 m off the wall under eaves of 0.6 m: within the block as it is read, and yet it looks out."""
    roof, ground = house(20, 0.03, seen_under=0.0)
    mounts = [WallMount(-2.0, -4.1, None, "wall"), WallMount(0.0, 0.0, None, "attic")]
    solids, _, taken = buildings(roof, ground, LEVEL, eaves_m=0.0, wall_mounts=mounts)
    assert taken == (0,)
    for turn in (-60, 0, 60):
        ray = (np.sin(np.radians(turn)), -np.cos(np.radians(turn)), 0.0)
        assert np.isinf(first_hits(solids, np.array([[-2.0, -4.1, 1.0]]), ray)).all(), turn
    assert np.isfinite(first_hits(solids, np.array([[3.0, -4.1, 1.0]]), (0, 1, 0))).all()
    assert np.isfinite(first_hits(solids, np.array([[0.0, 0.0, 1.0]]), (0, 1, 0))).all()


def test_logs_before_a_house_wall_are_no_wing_of_it():
    """A pile 1 m high and 1.2 m before the wall, its far end under no roof: the eaves before the mount are
    open."""
    roof, ground = house(30, 0.03, seen_under=0.0)
    rng = np.random.default_rng(8)
    pile = np.column_stack([rng.uniform(-4, 4, 240), rng.uniform(-6.2, -5.2, 240), np.full(240, 1.0)])
    ground = ground[(ground[:, 1] > -5.1) | (ground[:, 1] < -6.3) | (np.abs(ground[:, 0]) > 4.1)]
    mount = WallMount(-2.0, -4.0, 180.0)
    solids, *_ = buildings(np.vstack([roof, pile]), ground, LEVEL, eaves_m=0.0, wall_mounts=[mount])
    met = first_hits(solids, np.array([[-2.0, -4.05, 0.5]]), (0, -1, 0))[0]
    assert met == pytest.approx(1.15, abs=0.35)


@pytest.mark.parametrize(("density", "noise"), [(10, 0.03), (30, 0.03)])
def test_the_top_of_a_block_is_not_drawn_down_by_returns_of_its_edges(density, noise):
    """4 by 1.5 m, 1 m high; seven in ten returns within 0.12 m of an edge, half of what a pulse lights, come
    from up to 0.4 m below the top, as echoes do that run together. To within 4 cm and half the noise it is as
    high as it is, everywhere."""
    rng = np.random.default_rng(1)
    xy = rng.uniform((0, 0), (4, 1.5), (round(6 * density), 2))
    z = 1.0 + rng.normal(0, noise, len(xy))
    at_edge = np.minimum(np.minimum(xy, (4, 1.5) - xy).min(axis=1), 1.0) < 0.12
    grazing = at_edge & (rng.random(len(xy)) < 0.7)
    z[grazing] -= rng.uniform(0.05, 0.4, grazing.sum())
    solids, *_ = buildings(np.column_stack([xy, z]), np.zeros((0, 3)), LEVEL)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0.15, 3.85, 30), np.linspace(0.15, 1.35, 10)))
    top = 20 - first_hits(solids, np.column_stack([x, y, np.full(x.size, 20.0)]), (0, 0, -1))
    there = np.isfinite(top)
    assert there.mean() > 0.8
    top = top[there]
    assert abs(top.mean() - 1.0) < 0.02
    assert np.percentile(top, 5) > 0.96 - noise / 2
    assert np.percentile(top, 95) < 1.04 + noise / 2

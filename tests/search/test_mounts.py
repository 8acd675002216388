"""Candidate mounts: where they stand, at which heights, and what keeps one away."""

import dataclasses
import math
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapes
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from large import HEIGHTS_M, large_site

from terrain3d.search.mounts import STANDOFF_M, propose
from terrain3d.search.wall_sides import plans_at
from terrain3d.sentences.mounts import place_words
from terrain3d.site import Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.buildings import buildings
from terrain3d.survey.lattice import Relief
from terrain3d.survey.solids import block, wall
from terrain3d.terrain import Area, Ground, Mount, Solids

HEIGHTS = (0.8, 1.0, 1.2)
LEVEL = shapes.plane(0.0)


def shed(name="shed", **size):
    return dataclasses.replace(shapes.box((-3, -2, -0.5), (3, 2, 2.5), **size), names=(name,))


def garden_wall(height_m=1.5, on=LEVEL, base_m=0.0, y=8.0):
    return wall(np.array([[-10.0, y], [10.0, y]]), 0.2, height_m, base_m, on.height_at, "garden wall")


def proposed(terrain, heights_m=HEIGHTS, reach_m=12.0, **options):
    return propose(terrain, heights_m, reach_m, **options)


def places(found):
    return {p.mount.name: (round(p.mount.x, 3), round(p.mount.y, 3)) for p in found}


def test_a_shed_gets_its_corners_and_faces():
    """Corners stand off along their bisector; a face keeps its middle where the corners leave room."""
    found = proposed(shapes.terrain(LEVEL, shed()))
    aside = STANDOFF_M / math.sqrt(2)
    x, y = round(3 + aside, 3), round(2 + aside, 3)
    assert places(found) == {
        "shed corner NW": (-x, y),
        "shed corner NE": (x, y),
        "shed corner SE": (x, -y),
        "shed corner SW": (-x, -y),
        "shed face 1": (0, 2.1),
        "shed face 2": (0, -2.1),
    }
    whys = {p.mount.name: place_words(p) for p in found}
    assert whys["shed corner SE"] == "fixed to the south-east corner of shed"
    assert whys["shed face 2"] == "fixed to the south face of shed"
    assert all(p.mount.heights_m == HEIGHTS for p in found)


def test_both_faces_of_a_wall_are_used_in_turn():
    """On a thin wall the mounts of one face stand between those of the other, half the spacing away."""
    found = proposed(shapes.terrain(LEVEL, garden_wall()))
    assert places(found) == {
        "garden wall 1": (-7.5, 8.2),
        "garden wall 2": (-2.5, 8.2),
        "garden wall 3": (2.5, 8.2),
        "garden wall 4": (7.5, 8.2),
        "garden wall 5": (5, 7.8),
        "garden wall 6": (0, 7.8),
        "garden wall 7": (-5, 7.8),
    }


@pytest.mark.parametrize(
    ("height_m", "base_m", "heights"),
    [(1.5, 0.0, (0.8, 1.0, 1.2)), (1.06, 0.0, (0.8, 1.0)), (0.84, 0.0, ()), (1.5, 0.7, (0.8, 1.0, 1.2)),
     (1.5, 0.78, ())],
)  # fmt: skip
def test_a_wall_holds_units_where_it_is(height_m, base_m, heights):
    """A unit hangs where the wall goes on above and below it; none hangs in the air over or under it."""
    found = proposed(shapes.terrain(LEVEL, garden_wall(height_m, base_m=base_m)))
    assert {p.mount.heights_m for p in found} == ({heights} if heights else set())


@settings(max_examples=25, deadline=None)
@given(st.floats(-40, 40), st.floats(0, 360), st.floats(0, 90))
def test_a_wall_on_a_slope_is_used_as_on_the_level(fall, towards, turn):
    """Heights are above the ground beneath: on a plane of any slope and for any turn the same mounts."""
    on = shapes.plane(fall / 100, towards)
    path = np.array([[-6.0, 0.0], [6.0, 0.0]])
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    turned = path @ np.array([[c, s], [-s, c]])
    solid = wall(turned, 0.3, 1.5, 0.0, on.height_at, "garden wall")
    found = proposed(shapes.terrain(on, solid))
    assert len(found) == 5
    middle = shapely.LineString(turned)
    for p in found:
        assert shapely.distance(middle, shapely.Point(p.mount.x, p.mount.y)) == pytest.approx(0.25, abs=2e-3)
        assert p.mount.heights_m == HEIGHTS


def test_plans_agree_with_a_mesh_library():
    """On level ground the plan at a height is the mesh's section there, as trimesh cuts it.

    The area is that of a ring, 4 pi R sqrt(r^2 - z^2) at z over the middle of a torus of radii R and r.
    """
    mesh = trimesh.creation.torus(2.0, 0.7, 128, 128).apply_translation((0.3, -0.2, 0.6))
    owners = np.zeros(len(mesh.faces), np.int64)
    ring = Solids(np.asarray(mesh.vertices), np.asarray(mesh.faces, np.int64), owners, ("ring",))
    for height in (0.1, 0.55, 1.0, 1.2):
        (plan,) = plans_at(ring, LEVEL, height)
        cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, height])
        assert plan.length == pytest.approx(np.linalg.norm(cut[:, 1] - cut[:, 0], axis=1).sum(), rel=1e-5)
        assert plan.area == pytest.approx(
            4 * math.pi * 2.0 * math.sqrt(0.7**2 - (height - 0.6) ** 2), rel=3e-3
        )
        assert len(plan.interiors) == 1


def scanned(outline, roof_m=2.6, spacing_m=0.2):
    """What a survey makes of a building: roof points over level ground points."""
    axis = np.arange(-14.0, 14.0, spacing_m)
    x, y = (v.ravel() for v in np.meshgrid(axis, axis))
    on = shapely.contains_xy(outline, x, y)
    roof = np.column_stack([x[on], y[on], np.full(on.sum(), roof_m)])
    earth = np.column_stack([x[~on], y[~on], np.zeros((~on).sum())])
    return buildings(roof, earth, Relief(LEVEL, LEVEL.z, spacing_m))[0]


@pytest.mark.parametrize("turn_deg", [0, 20, 45, 70])
def test_a_surveyed_building_gets_its_four_corners(turn_deg):
    """A building aslant to the survey's columns has four corners, not a corner on every step."""
    outline = shapely.affinity.rotate(shapely.box(-5, -3.5, 5, 3.5), -turn_deg, origin=(0, 0))
    solids = scanned(outline)
    found = proposed(shapes.terrain(LEVEL, solids))
    corners = [p for p in found if p.kind == "corner"]
    assert len(corners) == 4
    ends = shapely.get_coordinates(outline)[:4]
    for p in corners:
        assert np.hypot(*(ends - [p.mount.x, p.mount.y]).T).min() < 1.0
    stands = shapely.union_all(plans_at(solids, LEVEL, 1.0))
    for p in found:
        place = shapely.Point(p.mount.x, p.mount.y)
        assert shapely.distance(stands, place) > 0.05
        assert shapely.distance(outline.exterior, place) < 0.9


def test_a_roof_on_posts_is_no_wall():
    """Where a solid only hangs over the height, as eaves and carports do, nothing is fixed to it."""
    roof = block(np.array([[-3.0, -3], [3, -3], [3, 3], [-3, 3]]), 2.5, 2.3, LEVEL.height_at, "carport")
    assert proposed(shapes.terrain(LEVEL, roof)) == ()


def test_poles_stand_inside_the_boundary():
    """Along the boundary poles stand every so many metres, on the site's own side of it."""
    outline = np.array([[-12.0, -12], [12, -12], [12, 12], [-12, 12]])
    terrain = dataclasses.replace(shapes.terrain(LEVEL), boundary=outline)
    found = proposed(terrain)
    assert len(found) == math.floor(4 * 23.4 / 5)
    assert found[0].mount.name == "boundary 01"
    assert place_words(found[0]) == "a pole inside the north-west side of the boundary"
    rim = shapely.LinearRing(outline)
    for p in found:
        assert shapely.distance(rim, shapely.Point(p.mount.x, p.mount.y)) == pytest.approx(0.3)
        assert max(abs(p.mount.x), abs(p.mount.y)) < 12


def test_nothing_stands_on_ground_of_others():
    """What lies beyond the boundary is not ours to fix units to."""
    outline = np.array([[-12.0, -12], [-0.5, -12], [-0.5, 12], [-12, 12]])
    terrain = dataclasses.replace(shapes.terrain(LEVEL, shed()), boundary=outline)
    found = proposed(terrain)
    assert {p.mount.name for p in found} >= {"shed corner NW", "shed corner SW"}
    assert all(p.mount.x < 0 for p in found)


YARD = Area("yard", np.array([[-5.0, -5], [5, -5], [5, 5], [-5, 5]]))


def test_poles_stand_beside_protected_ground():
    """The edge of what is to be held gets poles, none of them on other protected ground."""
    drive = Area("drive", np.array([[5.0, -5], [14, -5], [14, 5], [5, 5]]))
    found = proposed(shapes.terrain(LEVEL, protect=(YARD, drive)))
    assert {p.kind for p in found} == {"edge"}
    for p in found:
        place = shapely.Point(p.mount.x, p.mount.y)
        assert not any(shapely.Polygon(area.outline).contains(place) for area in (YARD, drive))


def test_mounts_out_of_reach_of_protected_ground_are_left_out():
    """A unit that can reach nothing worth holding needs no mount."""
    far = shapes.terrain(LEVEL, garden_wall(y=13.0), protect=(YARD,))
    assert {p.kind for p in proposed(far, reach_m=4.0)} == {"edge"}
    assert {p.kind for p in proposed(far, reach_m=9.0)} == {"wall", "edge"}


def test_no_mount_among_leaves_or_in_a_solid():
    """Dense leaves and solids keep mounts away, at the heights where they are."""
    low_hedge = shapes.leaves(LEVEL, lambda x, y: y > 5.1, 0.0, 0.9, 2.0)
    found = {p.mount.name: p for p in proposed(shapes.terrain(LEVEL, foliage=low_hedge, protect=(YARD,)))}
    assert {p.mount.heights_m for p in found.values() if p.mount.y > 5.2} == {(1.0, 1.2)}
    assert {p.mount.heights_m for p in found.values() if p.mount.y < 5.0} == {HEIGHTS}
    thin = shapes.leaves(LEVEL, lambda x, y: y > 5.1, 0.0, 0.9, 0.4)
    for p in proposed(shapes.terrain(LEVEL, foliage=thin, protect=(YARD,))):
        assert p.mount.heights_m == HEIGHTS
    stone = shapes.box((-15, 5.1, -0.5), (15, 5.6, 0.5))
    assert all(p.mount.y < 5.2 for p in proposed(shapes.terrain(LEVEL, stone, protect=(YARD,))))


def test_no_pole_on_ground_too_steep_or_not_known():
    """A pole wants ground that can be walked on, and that was surveyed."""
    steep = shapes.ground(lambda x, y: np.where(x > 0, 1.2 * x, 0.0))
    found = proposed(shapes.terrain(steep, protect=(YARD,)))
    assert found
    assert all(p.mount.x < 0.6 for p in found)
    assert any(
        p.mount.x > 0.6 for p in proposed(shapes.terrain(steep, protect=(YARD,)), steepest_percent=130)
    )
    gap = shapes.ground(lambda x, y: np.where(x > 0, np.nan, 0.0))
    found = proposed(shapes.terrain(gap, protect=(YARD,)))
    assert found
    assert all(p.mount.x < -0.5 for p in found)


def test_a_unit_on_a_surveyed_wall_moves_out_to_known_ground():
    """Under eaves no ground is seen from the air: a unit is moved out to ground that is known."""
    solid = shed()
    x, y = np.meshgrid(LEVEL.xs, LEVEL.ys)
    for blind_m, count in ((0.2, 6), (0.9, 0)):
        unseen = (np.abs(x) < 3 + blind_m) & (np.abs(y) < 2 + blind_m)
        on = Ground(LEVEL.x0, LEVEL.y0, LEVEL.cell_m, np.where(unseen, np.nan, 0.0))
        found = proposed(shapes.terrain(on, solid))
        assert len(found) == count
        assert all(math.isfinite(on.height_at(p.mount.x, p.mount.y)) for p in found)


def test_named_mounts_keep_their_names_and_their_distance():
    """Mounts of the site file are kept clear of, and proposing once more adds nothing."""
    terrain = shapes.terrain(LEVEL, shed(), protect=(YARD,))
    own = (Mount("shed corner NE", 9, 9), Mount("yard edge 1", -12, 9))
    terrain = dataclasses.replace(terrain, mounts=own)
    found = proposed(terrain)
    names = [p.mount.name for p in found]
    assert len(set(names)) == len(names)
    assert not set(names) & {mount.name for mount in own}
    assert {"shed corner NE 1", "yard edge 2"} <= set(names)
    again = dataclasses.replace(terrain, mounts=own + tuple(p.mount for p in found))
    assert proposed(again) == ()


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(*[st.floats(-11, 11)] * 2, st.floats(1, 6), st.floats(0, 90)), max_size=4),
    st.floats(1.0, 9.0),
)
def test_mounts_keep_half_the_spacing(blocks, every_m):
    """Whatever stands there: no two mounts nearer than half the spacing, none in a solid, same again."""
    solids = Solids.none()
    for number, (x, y, size, turn) in enumerate(blocks, 1):
        square = shapely.affinity.rotate(shapely.box(x, y, x + size, y + size), turn)
        corners = shapely.get_coordinates(square)[:4]
        solids = solids.joined(block(corners, 2.0, 0.0, LEVEL.height_at, f"block {number}"))
    terrain = shapes.terrain(LEVEL, solids, protect=(YARD,))
    found = proposed(terrain, every_m=every_m)
    for a, b in combinations(found, 2):
        assert math.hypot(a.mount.x - b.mount.x, a.mount.y - b.mount.y) >= every_m / 2 - 1e-6
    stands = shapely.union_all(plans_at(solids, LEVEL, 1.0))
    for p in found:
        assert not stands.intersects(shapely.Point(p.mount.x, p.mount.y))
    assert proposed(terrain, every_m=every_m) == found


def test_names_from_files_are_only_names():
    """A name that looks like a pattern or a path stays as it is."""
    odd = Area("{0} %s ../yard", YARD.outline)
    found = proposed(shapes.terrain(LEVEL, protect=(odd,)))
    assert found[0].mount.name == "{0} %s ../yard edge 1"
    assert place_words(found[0]) == "a pole beside the north-west side of {0} %s ../yard"


def test_a_drawn_site_from_its_file():
    """From a site file to mounts: solids drawn there hold units, and the long names are cut."""
    site = Site.model_validate(
        {
            "site": {"name": "farm"},
            "ground": {"plane": {"fall": 10, "towards": 90, "extent": 60}},
            "solid": [{"name": "w" * 300, "path": ((0, 5), (10, 5)), "height": 1.5, "thickness": 0.2}],
            "protect": [{"name": "yard", "outline": ((0, 0), (10, 0), (10, 4), (0, 4))}],
        }
    )
    found = proposed(build_terrain(site, Path(), 12.0))
    assert {p.kind for p in found} == {"wall", "edge"}
    assert max(len(p.mount.name) for p in found) < 300


def test_the_large_site_is_what_it_says():
    """The site that speed is measured on: so many mounts, no two of one name, each free at its heights."""
    terrain = large_site(n_mounts=230)
    assert terrain.ground.z.shape == (400, 400)
    assert len({mount.name for mount in terrain.mounts}) == 230
    assert {p.kind for p in propose(dataclasses.replace(terrain, mounts=()), HEIGHTS_M, 12.0)} == {
        "corner", "wall", "boundary", "edge",
    }  # fmt: skip
    solids = shapely.union_all(plans_at(terrain.solids, terrain.ground, 1.0))
    assert not shapely.contains_xy(solids, [(mount.x, mount.y) for mount in terrain.mounts]).any()
    assert large_site(n_mounts=230).mounts == terrain.mounts

"""What stands in a watch against covering: nearest points of things against other ways to find them.

That such a watch is disturbed by what stands close before a unit, and that hedges grow into it, is common
practice, no source. Distances stand against points thrown at the things, and against trimesh's nearest
points.
"""

import math
from dataclasses import replace

import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, judged, leaves, plane, terrain, unit
from site_files import option_text, written

from terrain3d.cover.watch import EDGE_M, WALL_M, things_near
from terrain3d.detector.pose import head_axes
from terrain3d.detector.types import AntiMasking, load_type
from terrain3d.job import run
from terrain3d.sentences.warnings import option_warnings
from terrain3d.terrain import Mount

KIND = load_type("one-head-90-watched")
FLAT = plane(0.0)
coordinates = st.integers(-150, 150).map(lambda cm: cm / 100)
sizes = st.integers(5, 80).map(lambda cm: cm / 100)
corners = st.tuples(coordinates, coordinates, st.integers(0, 180).map(lambda cm: cm / 100))
angles = st.integers(0, 359)


def in_watch(points, own, watch, wall_deg=None):
    """Which points about the eye lie in a watch: by the angle of each, as it is meant."""
    right, forward, _ = head_axes(own.bearing_deg, own.tilt_deg, own.roll_deg)
    azimuth = np.degrees(np.arctan2(points @ right, points @ forward))
    inside = (np.abs(azimuth) <= watch.arc / 2) & (np.linalg.norm(points, axis=1) <= watch.reach)
    if wall_deg is not None:
        faces = math.radians(wall_deg)
        inside &= points @ [math.sin(faces), math.cos(faces), 0.0] >= WALL_M
    return inside


@settings(max_examples=40, deadline=None)
@given(
    corners, st.tuples(sizes, sizes, sizes), angles, st.integers(-15, 20),
    st.sampled_from([40, 90, 180, 250, 360]),
    st.sampled_from([0.3, 0.8, 1.5]), st.sampled_from([None, 0, 77]),
)  # fmt: skip
def test_the_nearest_of_a_solid_is_that_of_points_thrown_on_it(low, size, bearing, tilt, arc, reach, wall):
    """A box in any place: no point of its faces in the watch is nearer, and one is nearly as near."""
    solid = box(low, np.add(low, size))
    own = unit(KIND, 1.0, float(bearing), tilt_deg=float(tilt))
    watch = AntiMasking(reach=reach, arc=arc)
    found = [near for near in things_near(terrain(FLAT, solid), own, watch, wall) if near.kind == "solid"]
    mesh = trimesh.Trimesh(solid.vertices - own.eye, solid.triangles)
    thrown, _ = trimesh.sample.sample_surface(mesh, 40_000, seed=1)
    hit = thrown[in_watch(thrown, own, watch, wall)]
    nearest = np.linalg.norm(hit, axis=1).min() if len(hit) else math.inf
    if found:
        assert found[0].name == "box"
        assert found[0].distance_m <= nearest + EDGE_M
        # A sliver of a face between two edges of the watch may be missed by all that is thrown.
        if nearest - found[0].distance_m > 0.05:
            clear = AntiMasking(reach=max(reach - 0.05, 0.01), arc=max(arc - 8, 1))
            again = things_near(terrain(FLAT, solid), own, clear, wall)
            assert not [near for near in again if near.kind == "solid" and near.distance_m < nearest - 0.05]
    else:
        inner = AntiMasking(reach=reach, arc=max(arc - 8, 1))
        edge = np.linalg.norm(thrown, axis=1) > 0.2
        assert not (in_watch(thrown, own, inner, wall) & edge).any()


@settings(max_examples=30, deadline=None)
@given(corners, st.tuples(sizes, sizes, sizes))
def test_all_round_it_is_the_nearest_point_of_the_mesh(low, size):
    """With an arc of 360 degrees nothing is cut away: trimesh's nearest point."""
    solid = box(low, np.add(low, size))
    own = unit(KIND, 1.0)
    triangles = solid.vertices[solid.triangles]
    nearest = trimesh.triangles.closest_point(triangles, np.tile(own.eye, (len(triangles), 1)))
    away = np.linalg.norm(nearest - own.eye, axis=1)
    distance = away.min()
    found = [
        n for n in things_near(terrain(FLAT, solid), own, AntiMasking(reach=5, arc=360)) if n.name == "box"
    ]
    assert math.isclose(found[0].distance_m, distance, abs_tol=1e-6)


def test_leaves_and_ground_are_watched_too():
    """A hedge 0.4 m ahead; a slope of 100 % ahead of an eye h above its foot is h / sqrt(2) away."""
    hedge = leaves(FLAT, lambda x, y: (y > 0.375) & (y < 1), 0.0, 1.4, 1.0)
    near = things_near(terrain(FLAT, None, hedge), unit(KIND, 1.0), AntiMasking(reach=0.6))
    # Cells of 0.25 m: the first whose middle is past 0.375 begins at 0.5.
    assert [(n.kind, n.name, n.distance_m) for n in near] == [("foliage", "surveyed foliage", 0.5)]
    low = leaves(FLAT, lambda x, y: (y > 0.375) & (y < 1), 0.0, 0.3, 1.0)
    assert things_near(terrain(FLAT, None, low), unit(KIND, 1.0), AntiMasking(reach=0.6)) == ()
    bank = ground(lambda x, y: y)
    (earth,) = things_near(terrain(bank), unit(KIND, 0.5), AntiMasking(reach=0.6, arc=120))
    assert (earth.kind, earth.name) == ("ground", "")
    assert math.isclose(earth.distance_m, 0.5 / math.sqrt(2), abs_tol=1e-6)
    assert things_near(terrain(bank), unit(KIND, 0.5, 180.0), AntiMasking(reach=0.45, arc=120)) == ()


def test_a_unit_in_leaves_is_covered():
    """However far the faces of the hedge are."""
    hedge = leaves(FLAT, lambda x, y: np.abs(y) < 6, 0.0, 3.0, 1.0)
    (near,) = things_near(terrain(FLAT, None, hedge), unit(KIND, 1.5), AntiMasking(reach=0.3))
    assert near.distance_m == 0.0


def test_the_wall_that_a_unit_is_on_is_not_in_its_watch():
    """Straight off its wall it is behind; turned along it, the wall's face is known from what it faces."""
    wall = box((-3, -0.3, 0), (3, -0.1, 3))
    on = replace(terrain(FLAT, wall), mounts=(Mount("pole", 0, 0, wall_deg=0.0),))
    for bearing in (0.0, 60.0, 300.0):
        option = judged(on, unit(KIND, 1.0, bearing, bracket=True))
        assert option.facts[0].near == ()
    # Nobody says what it faces: turned far enough, it stands in the watch.
    bare = judged(terrain(FLAT, wall), unit(KIND, 1.0, 60.0))
    assert [near.name for near in bare.facts[0].near] == ["box"]
    assert judged(terrain(FLAT, wall), unit(KIND, 1.0, 0.0)).facts[0].near == ()
    # On the face itself, and with an arc of a half-circle.
    at = box((-3, -0.2, 0), (3, 0.0, 3))
    assert things_near(terrain(FLAT, at), unit(KIND, 1.0), AntiMasking(reach=0.5)) == ()


def test_a_type_without_a_watch_is_not_asked():
    """Nothing is worked out, told or written."""
    option = judged(terrain(FLAT, box((-1, 0.3, 0), (1, 0.4, 2))), unit(load_type("one-head-90")))
    assert option.facts[0].near is None
    assert option.covering(0) == ()


HEDGE = """
[site]
name = "hedge"
cell = 0.25
[ground]
plane = { fall = 0, towards = 180, extent = 30 }
[[mount]]
name = "pole"
at = [0, 0]
[[foliage]]
name = "yew"
outline = [[-2, 0.75], [2, 0.75], [2, 2], [-2, 2]]
height = 1.5
density = 2
[[scenario]]
name = "not cut"
growth = 0.5
[[scenario]]
name = "bare"
leaves = 0
"""


def test_a_hedge_that_grows_into_the_watch_is_told_with_its_scenario(tmp_path):
    """0.75 m away it is clear of 0.5 m; after half a metre it is a quarter of a metre away."""
    result = run(written(tmp_path, HEDGE + option_text("north", kind="one-head-90-watched")))
    (option,) = result.options
    (thing,) = option.covering(0)
    assert (thing.kind, thing.name, thing.distance_m, thing.under) == (
        "foliage",
        "yew",
        None,
        (("not cut", 0.25),),
    )
    told = [
        warning for warning in option_warnings(option, result.terrain) if "watch against covering" in warning
    ]
    assert told == [
        'with "not cut" "yew" comes within 0.25 m of D1, whose watch against covering needs 0.5 m free:'
        " cut that back, or move its mount"
    ]


def test_a_hedge_that_is_there_now_is_told_first(tmp_path):
    """With what the scenarios make of it beside it."""
    path = written(tmp_path, HEDGE.replace("0.75", "0.25") + option_text("n", kind="one-head-90-watched"))
    result = run(path)
    (told,) = [w for w in option_warnings(result.options[0], result.terrain) if "watch" in w]
    assert told.startswith('"yew" is within 0.25 m of D1 (0.00 m with "not cut"), whose')

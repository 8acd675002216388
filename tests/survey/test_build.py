"""Site file to terrain: frames and units agree, areas add up, faults are named."""

import json
import re
from pathlib import Path

import numpy as np
import pyproj
import pytest
import trimesh
from affine import Affine
from made_files import UTM31, write_las, write_tif
from scipy.spatial import Delaunay

from terrain3d.errors import InputError
from terrain3d.site import Site
from terrain3d.survey.build import build_terrain

EAST, NORTH = 500_010.0, 6_000_010.0
PLANE = {"plane": {"fall": 10, "towards": 90, "extent": 40}}


def site(ground, *, crs=None, cell=0.25, mounts=((3.0, 8.0),), **lists) -> Site:
    head = {"name": "made", "cell": cell} | ({"crs": crs} if crs else {})
    poles = [{"name": f"pole {k + 1}", "at": at} for k, at in enumerate(mounts)]
    return Site.model_validate({"site": head, "ground": ground, "mount": poles, **lists})


def build(of: Site, folder: Path = Path(), reach_m: float = 6.0):
    return build_terrain(of, folder, reach_m)


def square(x, y, half):
    return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def survey_points(n: int = 16_000, size: float = 40.0) -> np.ndarray:
    """10 points a square metre over a 10 % slope about the middle of the site, height 100 there."""
    xy = np.random.default_rng(0).uniform(-size / 2, size / 2, (n, 2))
    return np.column_stack([EAST + xy[:, 0], NORTH + xy[:, 1], 100 + 0.1 * xy[:, 0]])


def surveyed_site(folder: Path, points=None, *, classes=2, crs=UTM31, at=((EAST, NORTH),), **lists) -> Site:
    points = survey_points() if points is None else points
    write_las(folder / "survey.las", points, classes=classes)
    return site({"file": "survey.las"}, crs=crs, mounts=at, **lists)


def test_a_plane_is_exact_and_its_cells_add_up():
    """z = -0.1 x, 40 x 40 m in 160 x 160 cells; no doubt about it."""
    terrain = build(site(PLANE, protect=[{"name": "yard", "outline": square(0, 0, 5)}]))
    assert terrain.ground.z.shape == (160, 160)
    assert terrain.ground.bounds == (-20, -20, 20, 20)
    np.testing.assert_allclose(terrain.ground.z, np.tile(-0.1 * terrain.ground.xs, (160, 1)), atol=1e-12)
    assert terrain.doubts == ()
    assert terrain.spacing_m is None
    assert terrain.mounts[0].heights_m == (0.8, 1.0, 1.2)
    assert terrain.protect[0].outline.shape == (4, 2)


def test_an_extent_that_is_no_whole_number_of_cells_is_told():
    """40 m in cells of 0.3 m: 133 of them, 39.9 m."""
    terrain = build(site(PLANE, cell=0.3))
    assert terrain.ground.z.shape == (133, 133)
    assert "holds no whole number of cells of 0.3 m: the ground is 39.9 m wide" in terrain.doubts[0]


def test_spot_levels_are_ground_within_their_hull():
    """Four levels on z = x/10; the mount's ground is met exactly."""
    levels = [(x, y, 0.1 * x) for x in (0, 20) for y in (0, 20)]
    terrain = build(site({"points": levels}))
    assert terrain.ground.height_at([3.0], [8.0])[0] == pytest.approx(0.3)
    assert terrain.ground.known.all()


def test_drawn_things_stand_on_the_ground():
    """A wall and a hedge on the plane: their feet at -0.1 x, names kept."""
    terrain = build(
        site(
            PLANE,
            solid=[{"name": "wall", "path": ((5, -5), (5, 5)), "height": 1.2, "thickness": 0.2}],
            foliage=[{"name": "hedge", "outline": square(-5, 0, 1), "height": 1.5, "density": 2.0}],
        )
    )
    assert terrain.solids.names == ("wall",)
    assert terrain.solids.vertices[:, 2].max() == pytest.approx(-0.49 + 1.2)
    leaves = terrain.foliage
    assert leaves.above[:, -1].sum() * 0.25**2 == pytest.approx(2.0 * 4 * 1.5)
    assert leaves.base_z.mean() == pytest.approx(0.5)


def test_a_hedge_may_be_drawn_by_its_path_and_its_thickness():
    """The same leaves as the outline beside it: 6 m long, 0.8 m thick, 1.5 m high, 2 m2/m3."""
    outlined = {"outline": ((-8, -3.4), (-2, -3.4), (-2, -2.6), (-8, -2.6)), "density": 2.0}
    along = {"path": ((-8, -3), (-2, -3)), "thickness": 0.8, "density": "medium"}
    one, other = (
        build(site(PLANE, foliage=[{"name": "hedge", "height": 1.5, **drawn}])).foliage
        for drawn in (outlined, along)
    )
    np.testing.assert_allclose(one.above, other.above, atol=1e-9)
    assert other.above[:, -1].sum() * 0.25**2 == pytest.approx(6 * 0.8 * 1.5 * 2.0)


@pytest.mark.parametrize(("word", "density"), [("thin", 0.5), ("medium", 2.0), ("thick", 4.0)])
def test_a_word_for_leaves_is_a_number(word, density):
    """The leaves of a cubic metre; models of microclimate take 2 to 5 for hedges in leaf."""
    hedge = {"name": "hedge", "outline": square(0, 0, 0.5), "height": 1.0, "density": word}
    leaves = build(site(PLANE, foliage=[hedge])).foliage
    assert leaves.above[:, -1].sum() * 0.25**2 == pytest.approx(density)


@pytest.mark.parametrize(
    ("drawn", "words"),
    [
        ({"path": ((0, 0), (1, 0))}, "thickness goes with path"),
        ({"outline": square(0, 0, 1), "thickness": 1.0}, "thickness goes with path"),
        ({"height": 1.0}, "exactly one of path"),
        ({"path": ((0, 0), (0, 0)), "thickness": 1.0}, "the path has no length"),
        ({"path": ((0, 0), (9, 0), (9, 9), (0, 9), (0, 0)), "thickness": 1.0}, "closes upon itself"),
    ],
)
def test_a_hedge_that_cannot_be_is_refused(drawn, words):
    """Half a shape, a path of no length, a ring."""
    with pytest.raises(ValueError, match=words):
        build(site(PLANE, foliage=[{"name": "hedge", "height": 1.5, "density": 1, **drawn}]))


def test_a_survey_is_read_around_the_shapes_only(tmp_path):
    """Mount with its reach and 3 m more, protect outline with 3 m: that box, edges on the cell."""
    yard = {"name": "yard", "outline": square(EAST + 8, NORTH, 2)}
    terrain = build(surveyed_site(tmp_path, protect=[yard]), tmp_path)
    west, south, east, north = terrain.ground.bounds
    # Centre of the box around mount and yard: 5 m east of the mount.
    assert (west, east) == pytest.approx((-5 - 9, 5 + 3), abs=0.5)
    assert (south, north) == pytest.approx((-9, 9), abs=0.3)
    assert west / 0.25 == pytest.approx(round(west / 0.25))
    ground = terrain.ground
    mount = terrain.mounts[0]
    assert (mount.x, mount.y) == pytest.approx((-5, 0), abs=0.01)
    assert ground.height_at([mount.x], [mount.y])[0] == pytest.approx(100.0, abs=0.01)
    assert terrain.frame.origin_lonlat is not None
    assert terrain.spacing_m == pytest.approx(0.316, rel=0.1)


def test_a_stray_point_moves_no_node(tmp_path):
    """The grid is aligned to the cell, and the survey's bounds cut nothing here."""
    one = build(surveyed_site(tmp_path), tmp_path)
    stray = np.vstack([survey_points(), [[EAST + 300, NORTH - 200, 90]]])
    two = build(surveyed_site(tmp_path, stray), tmp_path)
    assert (one.ground.x0, one.ground.y0) == (two.ground.x0, two.ground.y0)
    # A LAS file counts from its corner, so the stray point moves the rounding of the others.
    np.testing.assert_allclose(two.ground.z, one.ground.z, atol=1e-6)


def test_the_same_input_gives_the_same_bytes(tmp_path):
    """Ground, solids and foliage of a survey without classes, twice."""
    points = survey_points()
    points[:1500, 2] += np.random.default_rng(1).uniform(1, 4, 1500)
    made = surveyed_site(tmp_path, points, classes=0)
    one, two = build(made, tmp_path), build(made, tmp_path)
    assert one.ground.z.tobytes() == two.ground.z.tobytes()
    assert one.solids.vertices.tobytes() == two.solids.vertices.tobytes()
    assert one.foliage.above.tobytes() == two.foliage.above.tobytes()
    assert any("filtered" in doubt for doubt in one.doubts)


def test_a_wall_of_a_class_of_its_own_is_not_said_to_have_none(tmp_path):
    """LAS 1.4 R15, table 17: 31 is reserved; what stands in it is judged by its shape, its number told."""
    points = survey_points()
    rng = np.random.default_rng(2)
    wall = np.column_stack(
        [
            rng.uniform(EAST + 3, EAST + 3.1, 900),
            rng.uniform(NORTH - 4, NORTH + 4, 900),
            rng.uniform(100.5, 103, 900),
        ]
    )
    classes = np.repeat([2, 31], [len(points), len(wall)])
    doubts = build(surveyed_site(tmp_path, np.vstack([points, wall]), classes=classes), tmp_path).doubts
    assert any("are of classes that tell neither solid nor foliage (31)" in doubt for doubt in doubts)
    assert not any("have no class" in doubt for doubt in doubts)


def test_shapes_in_degrees_over_a_survey_in_utm_agree_with_shapes_in_utm(tmp_path):
    """The same mount and yard in EPSG:4326 and EPSG:32631: one terrain, to a millimetre."""
    turn = pyproj.Transformer.from_crs(UTM31, "EPSG:4326", always_xy=True)
    ring = square(EAST + 3, NORTH + 2, 3)
    utm = build(surveyed_site(tmp_path, protect=[{"name": "yard", "outline": ring}]), tmp_path)
    degrees = [turn.transform(*at) for at in ring]
    at = turn.transform(EAST, NORTH)
    yard = {"name": "yard", "outline": degrees}
    lonlat = build(surveyed_site(tmp_path, crs="EPSG:4326", at=(at,), protect=[yard]), tmp_path)
    np.testing.assert_allclose(lonlat.protect[0].outline, utm.protect[0].outline, atol=1e-3)
    np.testing.assert_allclose(lonlat.ground.z, utm.ground.z, atol=1e-3)


def build_in(folder, crs, unit_m, vertical_unit):
    """The same hill and shapes in two CRS of one zone, coordinates and heights in the CRS's unit."""
    folder.mkdir()
    points = survey_points() - [EAST, NORTH, 0] + [700_000, 400_000, 0]
    write_las(folder / "survey.las", points / unit_m, crs=crs)
    ground = {"file": "survey.las", "vertical_unit": vertical_unit}
    at = (700_000 / unit_m, 400_000 / unit_m)
    outline = tuple((x / unit_m, y / unit_m) for x, y in square(700_003, 400_002, 3))
    made = site(ground, crs=crs, mounts=(at,), protect=[{"name": "yard", "outline": outline}])
    return build(made, folder)


def test_a_survey_in_feet_and_one_in_metres_agree(tmp_path):
    """EPSG:26967 (metres) and EPSG:2240 (US survey feet), one projection: everything in metres, equal."""
    metres = build_in(tmp_path / "m", "EPSG:26967", 1.0, "m")
    feet = build_in(tmp_path / "ft", "EPSG:2240", 1200 / 3937, "us-ft")
    np.testing.assert_allclose(feet.ground.z, metres.ground.z, atol=2e-3)
    np.testing.assert_allclose(feet.protect[0].outline, metres.protect[0].outline, atol=1e-4)
    assert feet.spacing_m == pytest.approx(metres.spacing_m, rel=1e-3)


def test_distances_are_ground_distances_and_bearings_true():
    """1 km north of Madrid's zone edge, UTM scale and convergence are gone (pyproj's geodesic says so)."""
    lon, lat = -6.0, 40.0
    levels = [(lon + dx, lat + dy, 0.0) for dx in (-1e-3, 1e-3) for dy in (-1e-3, 1e-3)]
    poles = ((lon, lat), (lon + 4e-4, lat + 3e-4))
    terrain = build(site({"points": levels}, crs="EPSG:4326", mounts=poles))
    one, two = terrain.mounts
    bearing, _, distance = pyproj.Geod(ellps="WGS84").inv(*poles[0], *poles[1])
    assert np.hypot(two.x - one.x, two.y - one.y) == pytest.approx(distance, abs=1e-4)
    assert np.degrees(np.arctan2(two.x - one.x, two.y - one.y)) == pytest.approx(bearing, abs=1e-3)


def test_a_site_without_crs_takes_the_surveys_and_says_so(tmp_path):
    """Shapes in the survey's own coordinates: the same ground as with the CRS named."""
    named, silent = (
        build(surveyed_site(tmp_path), tmp_path),
        build(surveyed_site(tmp_path, crs=None), tmp_path),
    )
    assert named.ground.z.tobytes() == silent.ground.z.tobytes()
    assert any("names no crs" in doubt and "UTM zone 31N" in doubt for doubt in silent.doubts)


def test_a_survey_without_crs_takes_the_sites_and_says_so(tmp_path):
    """Points in the site's CRS that do not say so."""
    write_las(tmp_path / "survey.las", survey_points(), crs=None)
    terrain = build(site({"file": "survey.las"}, crs=UTM31, mounts=((EAST, NORTH),)), tmp_path)
    assert terrain.frame.is_georeferenced
    assert any("survey names no CRS: that of the site file" in doubt for doubt in terrain.doubts)


def test_a_survey_without_crs_cannot_be_in_the_sites_degrees(tmp_path):
    """The message names the file and the key to set."""
    write_las(tmp_path / "survey.las", survey_points(), crs=None)
    made = site({"file": "survey.las"}, crs="EPSG:4326", mounts=((3.0, 54.0),))
    with pytest.raises(InputError, match=r"survey names no CRS(.|\n)*survey\.las(.|\n)*\[ground\] crs ="):
        build(made, tmp_path)


def test_local_metres_stay_as_they_are(tmp_path):
    """Neither names a CRS: coordinates of the file are the local frame."""
    write_las(tmp_path / "survey.las", survey_points() - [EAST, NORTH, 0], crs=None)
    terrain = build(site({"file": "survey.las"}, mounts=((1.0, 2.0),)), tmp_path)
    assert (terrain.mounts[0].x, terrain.mounts[0].y) == (1.0, 2.0)
    assert terrain.frame.origin_lonlat is None
    assert terrain.ground.height_at([1.0], [2.0])[0] == pytest.approx(100.1, abs=0.01)


def test_shapes_from_a_geojson_file_land_where_drawn_ones_do(tmp_path):
    """RFC 7946 degrees beside a site in UTM."""
    turn = pyproj.Transformer.from_crs(UTM31, "EPSG:4326", always_xy=True)
    ring = square(EAST + 3, NORTH + 2, 3)
    coordinates = [[list(turn.transform(*at)) for at in (*ring, ring[0])]]
    feature = {
        "type": "Feature",
        "properties": {"name": "yard"},
        "geometry": {"type": "Polygon", "coordinates": coordinates},
    }
    (tmp_path / "yard.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    drawn = build(surveyed_site(tmp_path, protect=[{"name": "yard", "outline": ring}]), tmp_path)
    filed = build(surveyed_site(tmp_path, protect=[{"file": "yard.geojson"}]), tmp_path)
    np.testing.assert_allclose(filed.protect[0].outline, drawn.protect[0].outline, atol=1e-3)


def test_a_grid_in_another_crs_than_the_site(tmp_path):
    """A GeoTIFF in UTM, shapes in degrees: heights met at the mount."""
    n = 80
    x = 0.5 * (np.arange(n) + 0.5) - 20
    z = np.tile(100 + 0.1 * x, (n, 1))
    write_tif(tmp_path / "g.tif", z, Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20), dtype="float64")
    at = pyproj.Transformer.from_crs(UTM31, "EPSG:4326", always_xy=True).transform(EAST + 2, NORTH)
    terrain = build(site({"file": "g.tif"}, crs="EPSG:4326", mounts=(at,)), tmp_path)
    assert terrain.ground.height_at([0.0], [0.0])[0] == pytest.approx(100.2, abs=1e-4)
    assert terrain.ground.known.all()
    assert any("taken as bare ground" in doubt for doubt in terrain.doubts)


def test_a_mesh_gives_ground_and_what_stands_on_it(tmp_path):
    """A slope with a box as PLY in local metres: heights met, the box a solid."""
    axis = np.linspace(-15, 15, 31)
    x, y = (a.ravel() for a in np.meshgrid(axis, axis))
    land = trimesh.Trimesh(np.column_stack([x, y, 0.1 * x]), Delaunay(np.column_stack([x, y])).simplices)
    land.faces = np.where(land.face_normals[:, 2:] < 0, land.faces[:, ::-1], land.faces)
    shed = trimesh.creation.box(bounds=[[2, 2, -1], [5, 4, 2.5]])
    trimesh.util.concatenate([land, shed]).export(tmp_path / "site.ply")
    terrain = build(site({"file": "site.ply"}, mounts=((-3.0, -3.0),)), tmp_path)
    assert terrain.ground.height_at([-3.0], [-3.0])[0] == pytest.approx(-0.3, abs=1e-3)
    assert terrain.solids.names == ("surveyed solid 1",)
    assert terrain.solids.vertices.max(axis=0) == pytest.approx((5, 4, 2.5))


def house_points():
    """The slope with a 6 x 5 m house of class 6, its walls at the eaves, and a crown of class 5."""
    rng = np.random.default_rng(3)
    points = survey_points(40_000)
    x, y = points[:, 0] - EAST, points[:, 1] - NORTH
    classes = np.full(len(points), 2, np.uint8)
    roof = (np.abs(x - 4) < 3) & (np.abs(y) < 2.5)
    points[roof, 2] = 104 - 0.3 * np.abs(y[roof])
    classes[roof] = 6
    crown = np.column_stack(
        [rng.uniform(-6, -3, 2000), rng.uniform(-2, 1, 2000), rng.uniform(101.5, 105, 2000)]
    )
    return np.vstack([points, crown + np.array([EAST, NORTH, 0])]), np.append(
        classes, np.full(2000, 5, np.uint8)
    )


def test_a_house_and_a_tree_come_out_of_a_survey(tmp_path):
    """Solid where the house is, leaves where the crown is, no ground known under the house."""
    points, classes = house_points()
    made = surveyed_site(tmp_path, points, classes=classes, at=((EAST - 1, NORTH - 5),))
    terrain = build(made, tmp_path)
    assert terrain.solids.names == ("surveyed solid 1",)
    centre = terrain.solids.vertices[:, :2].mean(axis=0) - [terrain.mounts[0].x, terrain.mounts[0].y]
    np.testing.assert_allclose(centre, (5, 5), atol=0.3)
    j, i = np.nonzero(terrain.foliage.column >= 0)
    at = terrain.ground.xs[i].mean() - terrain.mounts[0].x, terrain.ground.ys[j].mean() - terrain.mounts[0].y
    np.testing.assert_allclose(at, (-3.5, 4.5), atol=0.4)
    assert terrain.foliage.density.max() <= 5.0 + 1e-9
    assert any("is not known" in doubt for doubt in terrain.doubts)


@pytest.mark.parametrize("deep_m", [0.9, 1.3])
@pytest.mark.parametrize("fall", [0.1, 0.3])
def test_the_foot_of_a_mount_under_eaves_is_on_the_slope(tmp_path, fall, deep_m):
    """No ground seen within the roof's edge: carried on along the slope, within 6 cm, and told."""
    points = survey_points()
    x = points[:, 0] - EAST
    points[:, 2] += (fall - 0.1) * x
    roof = (x > 0) & (x < 8) & (np.abs(points[:, 1] - NORTH) < 5)
    points[roof, 2] = 106.0
    made = surveyed_site(tmp_path, points, classes=np.where(roof, 6, 2), at=((EAST + deep_m, NORTH),))
    terrain = build(made, tmp_path)
    mount = terrain.mounts[0]
    assert terrain.ground.height_at([mount.x], [mount.y])[0] == pytest.approx(100 + fall * deep_m, abs=0.06)
    (told,) = (doubt for doubt in terrain.doubts if "the ground under the mount" in doubt)
    assert "was not seen: it is carried on from " in told


def test_treat_outlines_reach_the_survey(tmp_path):
    """The house taken for nothing leaves no solid."""
    points, classes = house_points()
    treat = [{"outline": square(EAST + 4, NORTH, 4), "as": "nothing"}]
    made = surveyed_site(tmp_path, points, classes=classes, at=((EAST - 1, NORTH - 5),), treat=treat)
    assert build(made, tmp_path).solids.names == ()


def test_a_mount_under_eaves_gets_the_ground_beside_it(tmp_path):
    """On the wall of the house, 0.6 m in from the edge of its roof: the slope's height, and a doubt."""
    points, classes = house_points()
    made = surveyed_site(tmp_path, points, classes=classes, at=((EAST + 4, NORTH - 1.9),))
    terrain = build(made, tmp_path)
    mount = terrain.mounts[0]
    assert terrain.ground.height_at([mount.x], [mount.y])[0] == pytest.approx(100.4, abs=0.05)
    assert any("'pole 1' was not seen" in doubt for doubt in terrain.doubts)
    with pytest.raises(InputError, match=r"no ground is known at the mount 'pole 1'"):
        build(surveyed_site(tmp_path, points, classes=classes, at=((EAST + 4, NORTH),)), tmp_path)


def test_local_metres_far_from_zero_are_shifted_by_whole_kilometres(tmp_path):
    """Coordinates of a national grid without its name: local metres near zero, the shift kept."""
    write_las(tmp_path / "survey.las", survey_points(), crs=None)
    terrain = build(site({"file": "survey.las"}, mounts=((EAST, NORTH),)), tmp_path)
    assert terrain.frame.shift == (500_000.0, 6_000_000.0)
    assert (terrain.mounts[0].x, terrain.mounts[0].y) == (10.0, 10.0)
    assert terrain.ground.known.all()


def test_a_mount_off_the_survey_is_named(tmp_path):
    """Name, coordinates as given, and the survey's extent."""
    made = surveyed_site(tmp_path, at=((EAST + 100, NORTH),))
    with pytest.raises(
        InputError, match=r"'pole 1' at \(500110, 6000010\) is off the survey(.|\n)*covers \(4999"
    ):
        build(made, tmp_path)


def test_a_mount_in_a_wide_gap_is_named(tmp_path):
    """The message says the limit and how to mend it."""
    points = survey_points()
    points = points[np.hypot(points[:, 0] - EAST, points[:, 1] - NORTH) > 4]
    made = surveyed_site(tmp_path, points)
    with pytest.raises(InputError, match=r"'pole 1'(.|\n)*hole_limit, 3 m(.|\n)*raise \[ground\] hole_limit"):
        build(made, tmp_path)


def test_a_mount_off_the_plane_is_named():
    """Its coordinates and the ground's extent."""
    with pytest.raises(InputError, match=r"'pole 1', \(30, 0\)(.|\n)*\(-20, -20\) to \(20, 20\)"):
        build(site(PLANE, mounts=((30, 0),)))


@pytest.mark.parametrize("kind", ["protect", "solid", "foliage", "treat"])
def test_an_outline_that_crosses_itself_is_named_with_the_place(kind):
    """The crossing is at (1, 1), in the coordinates of the site file."""
    bow = ((0, 0), (2, 2), (2, 0), (0, 2))
    keys = {
        "protect": {"name": "bow"},
        "solid": {"name": "bow", "height": 1},
        "foliage": {"name": "bow", "height": 1, "density": 1},
        "treat": {"as": "solid"},
    }[kind]
    with pytest.raises(InputError, match=r"at \(1, 1\)(.|\n)*" + ("bow" if kind != "treat" else "number 1")):
        build(site(PLANE, **{kind: [{"outline": bow} | keys]}))


def test_shapes_kilometres_apart_are_refused():
    """The grid would be absurd: the message says its size and what to change."""
    levels = [(0.0, 0.0, 0.0), (20_000.0, 0.0, 0.0), (0.0, 20_000.0, 0.0)]
    with pytest.raises(InputError, match=r"20000 x 20000 m(.|\n)*site\.cell(.|\n)*far from the others"):
        build(site({"points": levels}, mounts=((5, 5),)))


def test_a_coarse_survey_is_told(tmp_path):
    """1 m spacing on 0.25 m cells: spacing and cell are said."""
    terrain = build(surveyed_site(tmp_path, survey_points(1600)), tmp_path)
    assert any("too coarse for the cell" in d and "0.25 m" in d for d in terrain.doubts)


def test_a_grid_of_half_a_metre_is_not_too_coarse_for_a_quarter(tmp_path):
    """UTM's scale, here 0.9996, makes 0.5 m of map 0.5002 m of ground: still two cells."""
    z = np.full((80, 80), 100.0)
    for step, coarse in ((0.5, False), (0.6, True)):
        at = Affine(step, 0, EAST - 40 * step, 0, -step, NORTH + 40 * step)
        write_tif(tmp_path / "g.tif", z, at)
        terrain = build(site({"file": "g.tif"}, crs=UTM31, mounts=((EAST, NORTH),)), tmp_path)
        assert terrain.spacing_m > step
        assert any("too coarse for the cell" in doubt for doubt in terrain.doubts) is coarse


def test_an_area_off_the_survey_is_left_to_the_verdicts(tmp_path):
    """How much of it is not known is said with the options, in square metres; not twice."""
    yard = {"name": "yard", "outline": square(EAST + 20, NORTH, 3)}
    terrain = build(surveyed_site(tmp_path, protect=[yard]), tmp_path)
    assert not any("'yard'" in doubt for doubt in terrain.doubts)


def wall_at(x, y, name="wall"):
    return {"name": name, "path": ((x, y), (x + 3, y)), "height": 1, "thickness": 0.2}


def test_what_lies_off_the_ground_is_told_once_with_its_distance():
    """The plane ends at x = 20: walls from 55, 32 and 23.5, a hedge from 60, a treatment from 100."""
    lone = build(site(PLANE, solid=[wall_at(55, 2), wall_at(18, 5, "at the rim")]))
    assert lone.doubts == (
        "solid 'wall' lies wholly off the ground worked on, 35 m from it, and plays no part in the verdicts: "
        "check its coordinates and [site] crs",
    )
    hedge = {"name": "hedge", "outline": square(61, 0, 1), "height": 1.5, "density": 2.0}
    several = build(
        site(
            PLANE,
            solid=[wall_at(55, 2), wall_at(32, 2, "far"), wall_at(23.5, 2, "near")],
            foliage=[hedge],
            treat=[{"outline": square(101, 0, 1), "as": "solid"}],
        )
    )
    assert (
        "solid 'wall', solid 'far', solid 'near' and 2 more lie wholly off the ground worked on, "
        "the nearest 3.5 m from it, and play no part in the verdicts: check their coordinates and [site] crs"
    ) in several.doubts
    assert sum("off the ground" in doubt for doubt in several.doubts) == 1


def test_a_block_that_only_touches_the_rim_is_off_the_ground():
    """It shares an edge with the last cells, and covers none of them."""
    shed = {"name": "shed", "outline": square(22, 0, 2), "height": 2}
    assert any("solid 'shed' lies wholly off" in doubt for doubt in build(site(PLANE, solid=[shed])).doubts)


def test_treat_outlines_on_drawn_ground_are_told():
    """A plane has nothing standing on it to be taken for something else."""
    terrain = build(site(PLANE, treat=[{"outline": square(0, 0, 1), "as": "solid"}]))
    assert any("[[treat]] outlines are left aside" in doubt for doubt in terrain.doubts)


def test_a_gate_of_the_survey_is_told_where_the_site_file_counts(tmp_path):
    """A plate 3.4 m long and 1.3 m high: its middle in the coordinates of the site file, to half a metre."""
    across = np.random.default_rng(1).uniform((3.3, -5.15), (6.7, -4.85), (200, 2))
    gate = np.column_stack([EAST + across[:, 0], NORTH + across[:, 1], 100 + 0.1 * across[:, 0] + 1.3])
    points = np.vstack([survey_points(), gate])
    classes = np.repeat([2, 1], [len(points) - len(gate), len(gate)])
    (told,) = (
        doubt
        for doubt in build(surveyed_site(tmp_path, points, classes=classes), tmp_path).doubts
        if "may be a gate" in doubt
    )
    place = re.search(r"at \((\d+\.?\d*), (\d+\.?\d*)\) in WGS 84 / UTM zone 31N, ", told)
    assert place, told
    assert [float(value) for value in place.groups()] == pytest.approx([EAST + 5, NORTH - 5], abs=0.5)


def test_coordinates_the_wrong_way_round_are_said_to_be(tmp_path):
    """North before east lies on the site when it is turned; a place that does not is not said to be so."""
    with pytest.raises(InputError, match="from the survey") as fault:
        build(surveyed_site(tmp_path, at=((NORTH, EAST),)), tmp_path)
    assert fault.value.mend == f"put east first, as the site does: ({EAST:.0f}, {NORTH:.0f})"
    with pytest.raises(InputError, match="from the survey") as fault:
        build(surveyed_site(tmp_path, at=((EAST, EAST),)), tmp_path)
    assert "check its coordinates" in fault.value.mend


def test_degrees_given_for_utm_are_an_error_that_names_the_shape(tmp_path):
    """The distance is that of pyproj's own geodesic between the two places."""
    made = surveyed_site(tmp_path, solid=[wall_at(3.0, 54.1)])
    with pytest.raises(InputError) as fault:
        build(made, tmp_path)
    turn = pyproj.Transformer.from_crs(UTM31, "EPSG:4326", always_xy=True)
    ends = turn.transform([3.0, EAST - 20], [54.1, NORTH - 20])
    away = pyproj.Geod(ellps="WGS84").line_length(*ends) / 1000
    assert f"(3, 54.1) in WGS 84 / UTM zone 31N lies {away:.0f} km from the survey" in fault.value.what
    assert fault.value.where == "site.toml: solid 'wall'"
    assert "[site] crs names the CRS they are in" in fault.value.mend


@pytest.mark.parametrize(
    ("kind", "shape", "where"),
    [
        ("solid", wall_at(EAST, NORTH), "site.toml: solid 'wall'"),
        ("protect", {"name": "yard", "outline": square(EAST, NORTH, 3)}, "site.toml: protect 'yard'"),
        ("treat", {"outline": square(EAST, NORTH, 3), "as": "solid"}, "site.toml: treat number 1"),
    ],
)
def test_map_coordinates_on_a_local_plane_are_an_error(kind, shape, where):
    """Thousands of kilometres from the plane, which lies about (0, 0)."""
    with pytest.raises(InputError, match=r"in local metres lies 6\d\d\d km from the drawn plane") as fault:
        build(site(PLANE, **{kind: [shape]}))
    assert fault.value.where == where


def test_a_shape_far_from_the_spot_levels_is_an_error():
    """A hedge ten degrees of longitude to the east; at 44.7 north some 790 km (from memory: 79 a degree)."""
    levels = [(3.757 + dx, 44.701 + dy, 10.0) for dx in (0, 5e-4) for dy in (0, 4e-4)]
    hedge = {
        "name": "astray",
        "outline": ((13.7, 44.7), (13.8, 44.7), (13.8, 44.8)),
        "height": 2,
        "density": 3,
    }
    made = site({"points": levels}, crs="EPSG:4326", mounts=((3.7572, 44.7012),), foliage=[hedge])
    with pytest.raises(InputError, match=r"\(13\.8, 44\.\d\) in WGS 84 lies 79\d km from the spot levels"):
        build(made)


@pytest.mark.parametrize("ground", ["plane", "levels", "survey"])
def test_metres_called_degrees_name_the_shape_and_the_numbers_in_full(ground, tmp_path):
    """Whatever the ground, the fault is found before anything is placed."""
    levels = [(5 + dx, 54 + dy, 10.0) for dx in (0, 5e-4) for dy in (0, 4e-4)]
    write_las(tmp_path / "survey.las", survey_points())
    source = {"plane": PLANE, "levels": {"points": levels}, "survey": {"file": "survey.las"}}[ground]
    with pytest.raises(InputError, match=r"\(560026, 4950020\.5\) cannot be in WGS 84") as fault:
        build(site(source, crs="EPSG:4326", mounts=((560026.0, 4950020.5),)), tmp_path)
    assert fault.value.where == "site.toml: site.crs, for mount 'pole 1': at"


def test_spot_levels_that_cannot_be_in_the_sites_crs_are_named():
    """The mount is right, the levels are metres."""
    levels = [(560000.0 + dx, 4950000.0 + dy, 10.0) for dx in (0, 9) for dy in (0, 9)]
    with pytest.raises(InputError, match=r"\(560000, 4950000\) cannot be in WGS 84") as fault:
        build(site({"points": levels}, crs="EPSG:4326", mounts=((3.7, 44.7),)))
    assert "ground.points" in fault.value.where


def test_a_shape_with_a_crs_on_a_local_site_is_named(tmp_path):
    """GeoJSON is in degrees; the site is in metres of its own."""
    feature = {
        "type": "Feature",
        "properties": {"name": "yard"},
        "geometry": {"type": "Polygon", "coordinates": [[[5, 55], [5.001, 55], [5, 55.001], [5, 55]]]},
    }
    (tmp_path / "yard.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with pytest.raises(InputError, match="meet a site in local metres") as fault:
        build(site(PLANE, protect=[{"file": "yard.geojson"}]), tmp_path)
    assert fault.value.where == "site.toml: protect 'yard'"


@pytest.mark.parametrize(
    "outline",
    [
        ((-3, -3), (0, 0), (3, 3)),
        ((-3, -3), (0, 0), (3, 3), (1, 1)),
        ((2, 2), (2, 2), (2, 2)),
        ((560026.1, 4950020.1), (560027.2, 4950021.2), (560028.3, 4950022.3)),
    ],
)
def test_an_outline_on_one_line_is_told_as_such(outline):
    """Not as one that crosses itself: putting its points in order would not help."""
    with pytest.raises(InputError, match=r"on one line(.|\n)*at least three points") as fault:
        build(site(PLANE, protect=[{"name": "yard", "outline": outline}]))
    assert fault.value.where == "site.toml: protect 'yard'"


def test_faults_of_shapes_name_them_in_the_site_file():
    """The prefix stands for the site file, whose name only its reader knows."""
    still = {"name": "w", "path": ((1, 1), (1, 1)), "height": 1, "thickness": 0.2}
    with pytest.raises(InputError, match="no length") as fault:
        build(site(PLANE, solid=[still]))
    assert fault.value.where == "site.toml: solid 'w': path"
    with pytest.raises(InputError, match="no ground is known") as fault:
        build(site(PLANE, mounts=((30, 0),)))
    assert fault.value.where == "site.toml: mount 'pole 1': at"


def test_progress_rises_to_one(tmp_path):
    """Told in order, up to 1."""
    told: list[float] = []
    build_terrain(surveyed_site(tmp_path), tmp_path, 6.0, told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


@pytest.mark.parametrize("kind", ["walk", "approach", "section"])
def test_a_path_that_nobody_walks_is_refused(kind):
    """A walk to and fro for 360 km took 2.5 GiB to look at; its length is said at once."""
    path = tuple((-9.0 if k % 2 else 9.0, -9 + 18 * k / 20_000) for k in range(20_000))
    with pytest.raises(InputError, match=r"the path is 360 km long(.|\n)*'to and fro': path"):
        build(site(PLANE, **{kind: [{"name": "to and fro", "path": path}]}))
    build(site(PLANE, **{kind: [{"name": "shorter", "path": path[:1000]}]}))

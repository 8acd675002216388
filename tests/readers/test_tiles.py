"""Tiles that meet are read as the whole they were cut from, and what does not fit together is refused."""

import os
from pathlib import Path

import numpy as np
import pytest
import trimesh
from affine import Affine
from made_files import UTM31, slope_points, write_las, write_tif

from terrain3d.errors import InputError
from terrain3d.readers import tiles
from terrain3d.readers.source import Cloud, Marks
from terrain3d.readers.tiles import found_files, pass_tiles, read_headers, read_tiles
from terrain3d.site import GroundSource, Site
from terrain3d.survey.build import build_surroundings, build_terrain
from terrain3d.terrain import Terrain

EAST, NORTH = 500_000.0, 6_000_000.0
SILENT = GroundSource(file="s")


def headers(folder: Path, *names: str, **ground: str):
    return read_headers(names, GroundSource(file=names, **ground), folder)


def moved(points: np.ndarray, east: float, up: float = 0.0) -> np.ndarray:
    return points + np.array((east, 0.0, up))


def hillside() -> tuple[np.ndarray, np.ndarray]:
    """Ground of a rough slope with a house and a wood on it, 80 m square, and classes."""
    rng = np.random.default_rng(5)
    xy = rng.uniform(-40, 40, (60_000, 2))
    z = 100 + 0.1 * xy[:, 0] + 0.4 * np.sin(xy[:, 1] / 4)
    roof = (np.abs(xy[:, 0] - 4) < 5) & (np.abs(xy[:, 1] + 1) < 4)
    wood = (np.abs(xy[:, 0] + 8) < 4) & (np.abs(xy[:, 1] - 2) < 5)
    z[roof] = 106.0
    above = rng.uniform(0, 6, len(z))
    z[wood] += np.where(above < 2, 0, above)[wood]
    classes = np.where(roof, 6, np.where(wood & (above >= 2), 5, 2))
    points = np.round(np.column_stack([xy + np.array((EAST, NORTH)), z]), 3)
    return points, classes


def cut(folder: Path, points: np.ndarray, classes: np.ndarray, ending: str = "las") -> Path:
    """Four tiles that meet in the middle of the house; points on a common edge are in each tile."""
    folder.mkdir()
    at = (EAST + 4.0, NORTH - 1.0)
    for number, (east, north) in enumerate(((0, 0), (1, 0), (0, 1), (1, 1))):
        own = np.ones(len(points), bool)
        for axis, upper in enumerate((east, north)):
            own &= points[:, axis] >= at[axis] if upper else points[:, axis] <= at[axis]
        write_las(folder / f"tile {number}.{ending}", points[own], classes=classes[own])
    return folder


def site(ground: dict, **more: object) -> Site:
    return Site.model_validate(
        {
            "site": {"name": "s", "crs": UTM31, "cell": 0.5},
            "ground": ground,
            "mount": [{"name": "pole", "at": (EAST + 12, NORTH + 3)}],
            "protect": [
                {
                    "name": "yard",
                    "outline": [(EAST - 12, NORTH - 6), (EAST + 14, NORTH - 6), (EAST + 14, NORTH + 6)],
                }
            ],
            **more,
        }
    )


def assert_same(one: Terrain, other: Terrain) -> None:
    """Two terrains to a billionth."""
    assert (one.ground.x0, one.ground.y0) == (other.ground.x0, other.ground.y0)
    np.testing.assert_allclose(one.ground.z, other.ground.z, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(one.ground.filled, other.ground.filled)
    np.testing.assert_allclose(one.solids.vertices, other.solids.vertices, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(one.solids.triangles, other.solids.triangles)
    np.testing.assert_array_equal(one.foliage.column, other.foliage.column)
    np.testing.assert_allclose(one.foliage.above, other.foliage.above, rtol=1e-9, atol=1e-9)
    assert one.doubts == other.doubts
    assert one.spacing_m == pytest.approx(other.spacing_m, rel=1e-9)


@pytest.mark.parametrize("ending", ["las", "laz"])
def test_a_cloud_cut_in_four_is_the_whole(tmp_path: Path, ending: str) -> None:
    """Cut through a house: ground, house, wood and doubts are those of one file, points on the cut once."""
    points, classes = hillside()
    # A row of points right on each cut.
    on_cut = np.flatnonzero(classes == 2)[:200]
    points[on_cut[:100], 0], points[on_cut[100:], 1] = EAST + 4.0, NORTH - 1.0
    write_las(tmp_path / f"whole.{ending}", points, classes=classes)
    folder = cut(tmp_path / "tiles", points, classes, ending)
    whole = build_terrain(site({"file": f"whole.{ending}"}), tmp_path, 12.0)
    survey = headers(tmp_path, "tiles")
    cloud = read_tiles(survey, None)
    assert isinstance(cloud, Cloud)
    assert len(cloud.xyz) == len(points)
    assert sorted(map(tuple, np.round(cloud.xyz, 3))) == sorted(map(tuple, points))
    twice = sum(header.n_points for header in survey.headers) - len(points)
    assert twice >= 200
    assert (
        f"{twice} points are in two tiles, where these overlap or meet: each is counted once" in cloud.doubts
    )
    for given in ("tiles", f"tiles/*.{ending}", [str(path) for path in sorted(folder.iterdir())]):
        tiled = build_terrain(site({"file": given}), tmp_path, 12.0)
        assert any("points are in two tiles" in doubt for doubt in tiled.doubts)
        seam = tuple(doubt for doubt in tiled.doubts if "points are in two tiles" not in doubt)
        assert seam == whole.doubts
        assert_same(Terrain(**{**vars_of(tiled), "doubts": whole.doubts}), whole)


def vars_of(terrain: Terrain) -> dict[str, object]:
    return {name: getattr(terrain, name) for name in terrain.__dataclass_fields__}


def test_points_that_one_tile_holds_twice_stay_two(tmp_path: Path) -> None:
    """As they do in a single file: only tiles that overlap make doubles of ours."""
    points = slope_points(10)
    write_las(tmp_path / "a.las", np.vstack([points, points[:5]]))
    write_las(tmp_path / "b.las", moved(points, 4.0, 0.4))
    cloud = read_tiles(headers(tmp_path, "a.las", "b.las"), None)
    # b holds six of a's ten columns again: z follows the slope.
    assert len(cloud.xyz) == 105 + 100 - 60


@pytest.mark.parametrize("ending", ["tif", "asc"])
def test_a_grid_cut_in_four_is_the_whole(tmp_path: Path, ending: str) -> None:
    """Heights between cells of two tiles, and a hole across the cut, are those of the one grid."""
    rng = np.random.default_rng(2)
    z = np.round(100 + rng.uniform(0, 2, (80, 90)), 3)
    z[38:43, 44:46] = np.nan
    z[10:30, 60:80] = np.nan
    (tmp_path / "tiles").mkdir()

    def written(path: Path, part: np.ndarray, west: float, north: float) -> None:
        if ending == "tif":
            write_tif(path, part, Affine(1, 0, west, 0, -1, north), dtype="float64")
            return
        rows = "\n".join(" ".join(f"{v:.3f}" for v in np.nan_to_num(row, nan=-9999)) for row in part)
        ny, nx = part.shape
        path.write_text(
            f"ncols {nx}\nnrows {ny}\nxllcorner {west}\nyllcorner {north - ny}\ncellsize 1\n"
            f"NODATA_value -9999\n{rows}\n"
        )

    west, north = EAST - 45, NORTH + 40
    written(tmp_path / f"whole.{ending}", z, west, north)
    for row, rows in enumerate((slice(0, 40), slice(40, 80))):
        for column, columns in enumerate((slice(0, 45), slice(45, 90))):
            written(
                tmp_path / "tiles" / f"{row}{column}.{ending}", z[rows, columns],
                west + columns.start, north - rows.start,
            )  # fmt: skip
    crs = {} if ending == "tif" else {"crs": UTM31}
    whole = build_terrain(site({"file": f"whole.{ending}"} | crs), tmp_path, 12.0)
    tiled = build_terrain(site({"file": "tiles"} | crs), tmp_path, 12.0)
    assert np.isnan(whole.ground.z).any()
    assert whole.ground.filled.any()
    assert_same(tiled, whole)


def test_meshes_that_meet_are_one(tmp_path: Path) -> None:
    """Two halves of a slope, each its own file."""
    x, y = np.meshgrid(np.arange(41.0), np.arange(21.0))
    for name, west in (("a", -20.0), ("b", 0.0)):
        points = np.column_stack([(x.ravel() / 2 + west), y.ravel() - 10, 0.1 * (x.ravel() / 2 + west)])
        corner = (np.arange(20)[:, None] * 41 + np.arange(40)).ravel()
        faces = np.vstack(
            [
                corner + np.array([[0], [1], [42]]),
            ]
        ).T
        faces = np.vstack([faces, np.vstack([corner + np.array([[0], [42], [41]])]).T])
        trimesh.Trimesh(points, faces, process=False).export(tmp_path / f"{name}.ply")
    made = Site.model_validate(
        {
            "site": {"name": "s", "cell": 0.5}, "ground": {"file": ["a.ply", "b.ply"]},
            "mount": [{"name": "pole", "at": (0.0, 0.0)}],
        }
    )  # fmt: skip
    terrain = build_terrain(made, tmp_path, 5.0)
    assert terrain.ground.known.all()
    np.testing.assert_allclose(
        terrain.ground.z, np.tile(0.1 * terrain.ground.xs, (len(terrain.ground.ys), 1)), atol=1e-5
    )


def test_only_tiles_that_are_needed_are_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A row of ten tiles, of which a site in the first touches two."""
    (tmp_path / "tiles").mkdir()
    for k in range(10):
        write_las(tmp_path / "tiles" / f"{k}.las", moved(slope_points(41), 40.0 * k))
    read = []
    known = tiles.pass_points
    monkeypatch.setattr(
        tiles, "pass_points", lambda path, *more: read.append(path.name) or known(path, *more)
    )
    made = site({"file": "tiles"}, mount=[{"name": "pole", "at": (EAST + 30, NORTH + 20)}], protect=[])
    build_terrain(made, tmp_path, 8.0)
    assert read == ["0.las", "1.las"]


def test_ground_around_a_site_is_that_of_the_whole(tmp_path: Path) -> None:
    """What lies past the reach of the units, and the sky beyond it, read from tiles."""
    points, classes = hillside()
    # How far points lie apart on the whole sets the cells of the far surface: none is in two tiles here.
    off_cut = (points[:, 0] != EAST + 4.0) & (points[:, 1] != NORTH - 1.0)
    points, classes = points[off_cut], classes[off_cut]
    write_las(tmp_path / "whole.las", points, classes=classes)
    cut(tmp_path / "tiles", points, classes)
    found = []
    for given in ("whole.las", "tiles"):
        made = site({"file": given}, protect=[])
        near = build_terrain(made, tmp_path, 6.0)
        found.append(build_surroundings(made, tmp_path, near, 15.0, to_the_sky=True))
    whole, tiled = found
    assert_same(Terrain(**{**vars_of(tiled), "doubts": whole.doubts}), whole)
    assert len(whole.far) == len(tiled.far) > 0
    for one, other in zip(whole.far, tiled.far, strict=True):
        np.testing.assert_allclose(one.z, other.z, rtol=0, atol=1e-6)


def test_the_sky_over_grids_in_tiles_is_that_of_the_whole(tmp_path: Path) -> None:
    """Four tiles of a rough land 240 m wide, and a site in its middle: the same far surface."""
    z = 100 + np.random.default_rng(3).uniform(0, 5, (240, 240))
    (tmp_path / "tiles").mkdir()
    write_tif(tmp_path / "whole.tif", z, Affine(1, 0, EAST - 120, 0, -1, NORTH + 120))
    for k, (rows, columns) in enumerate(np.ndindex(2, 2)):
        part = z[120 * rows : 120 * rows + 120, 120 * columns : 120 * columns + 120]
        corner = Affine(1, 0, EAST - 120 + 120 * columns, 0, -1, NORTH + 120 - 120 * rows)
        write_tif(tmp_path / "tiles" / f"{k}.tif", part, corner)
    found = []
    for given in ("whole.tif", "tiles"):
        made = site({"file": given}, protect=[])
        near = build_terrain(made, tmp_path, 6.0)
        found.append(build_surroundings(made, tmp_path, near, 30.0, to_the_sky=True))
    whole, tiled = found
    assert_same(tiled, whole)
    assert len(whole.far) == len(tiled.far) > 0
    for one, other in zip(whole.far, tiled.far, strict=True):
        np.testing.assert_allclose(one.z, other.z, rtol=0, atol=1e-6)


def test_a_damaged_tile_is_named(tmp_path: Path) -> None:
    """Cut short: the message is about that file, not about the folder."""
    (tmp_path / "tiles").mkdir()
    write_las(tmp_path / "tiles" / "a.las", slope_points(20))
    path = write_las(tmp_path / "tiles" / "b.las", moved(slope_points(20), 20))
    path.write_bytes(path.read_bytes()[:-3000])
    with pytest.raises(InputError, match="its header claims 400 points") as told:
        headers(tmp_path, "tiles")
    assert str(path) in str(told.value)


def refused(folder: Path, *names: str, **ground: str) -> str:
    with pytest.raises(InputError) as told:
        read_tiles(headers(folder, *names, **ground), None)
    return str(told.value)


def test_tiles_that_do_not_fit_together_are_refused(tmp_path: Path) -> None:
    """Another CRS, another unit of height, another kind, other cells: one message each, with both names."""
    write_las(tmp_path / "a.las", slope_points(5))
    write_las(tmp_path / "b.las", slope_points(5), crs="EPSG:32632")
    write_las(tmp_path / "feet.las", slope_points(5), crs="EPSG:32631+6360")
    write_las(tmp_path / "silent.las", slope_points(5), crs=None)
    write_tif(tmp_path / "g.tif", np.full((9, 9), 5.0), Affine(1, 0, EAST, 0, -1, NORTH))
    write_tif(tmp_path / "h.tif", np.full((9, 9), 5.0), Affine(1, 0, EAST + 9.5, 0, -1, NORTH))
    write_tif(tmp_path / "k.tif", np.full((9, 9), 5.0), Affine(0.5, 0, EAST + 9, 0, -0.5, NORTH))
    told = refused(tmp_path, "a.las", "b.las")
    assert "not in one CRS: a.las is in WGS 84 / UTM zone 31N, b.las in WGS 84 / UTM zone 32N" in told
    assert "a.las is in WGS 84 / UTM zone 31N, silent.las in no CRS that it names" in refused(
        tmp_path, "a.las", "silent.las"
    )
    told = refused(tmp_path, "a.las", "feet.las")
    assert "the first is in metres, the second in US survey feet" in told
    assert "a.las is points, g.tif is a grid" in refused(tmp_path, "a.las", "g.tif")
    assert "the cells of h.tif, 1 wide, do not lie upon those of g.tif, 1 wide" in refused(
        tmp_path, "g.tif", "h.tif"
    )
    assert "the cells of k.tif, 0.5 wide, do not lie upon those of g.tif" in refused(
        tmp_path, "g.tif", "k.tif"
    )
    # What the site file says goes for all of them.
    joined = headers(tmp_path, "a.las", "silent.las", crs=UTM31).header
    assert joined.n_points == 50


def test_a_doubt_about_one_tile_names_it(tmp_path: Path) -> None:
    """What all say is said once."""
    write_las(tmp_path / "a.las", slope_points(5))
    write_las(tmp_path / "b.laz.las", moved(slope_points(5), 10))
    (tmp_path / "b.laz.las").rename(tmp_path / "b.xyz")
    doubts = headers(tmp_path, "a.las", "b.xyz").header.doubts
    assert len([doubt for doubt in doubts if "the unit of height is not stated" in doubt]) == 1
    assert any(doubt.startswith("of b.xyz: its name ends in .xyz") for doubt in doubts)


def test_a_doubt_about_one_tile_is_told_once_where_that_tile_is_read_alone(tmp_path: Path) -> None:
    """By the headers of all and by the tile itself: one sentence, in the words of the headers."""
    (tmp_path / "tiles").mkdir()
    write_las(tmp_path / "tiles" / "a.las", slope_points(81, 0.5))
    write_las(tmp_path / "tiles" / "b.las", moved(slope_points(81, 0.5), 40))
    (tmp_path / "tiles" / "a.las").rename(tmp_path / "tiles" / "a.laz.xyz")
    made = site({"file": "tiles"}, mount=[{"name": "pole", "at": (EAST + 12, NORTH + 20)}], protect=[])
    doubts = build_terrain(made, tmp_path, 4.0).doubts
    assert [doubt for doubt in doubts if "its name ends in .xyz" in doubt] == [
        "of a.laz.xyz: its name ends in .xyz, but it is LAS or LAZ points and was read as such"
    ]


def test_a_grid_that_two_tiles_tell_otherwise_is_told(tmp_path: Path) -> None:
    """A strip of three columns in both, half a metre higher in the second: the first counts."""
    write_tif(tmp_path / "a.tif", np.full((9, 9), 5.0), Affine(1, 0, EAST, 0, -1, NORTH))
    write_tif(tmp_path / "b.tif", np.full((9, 9), 5.5), Affine(1, 0, EAST + 6, 0, -1, NORTH))
    raster = read_tiles(headers(tmp_path, "a.tif", "b.tif"), None)
    np.testing.assert_array_equal(raster.z, np.tile(np.where(np.arange(15) < 9, 5.0, 5.5), (9, 1)))
    assert any("27 cells lie in two tiles with heights that differ" in doubt for doubt in raster.doubts)


def test_marks_are_counted_over_all_tiles(tmp_path: Path) -> None:
    """Synthetic points of two files."""
    for name, east in (("a", 0), ("b", 50)):
        write_las(tmp_path / f"{name}.las", moved(slope_points(10), east), synthetic=np.arange(100) < 7)
    marks = Marks()
    pass_tiles(headers(tmp_path, "a.las", "b.las"), lambda _cloud: None, None, marks)
    assert marks.synthetic == 14


def test_names_stand_for_files_of_one_folder_alone(tmp_path: Path) -> None:
    """Notes, hidden files, folders, pipes and what lies deeper are no tiles; a name goes before a pattern."""
    folder = tmp_path / "tiles"
    (folder / "deeper").mkdir(parents=True)
    for name in ("b.laz", "a.LAZ", "._a.laz", "readme.txt", "a.prj", "deeper/c.laz"):
        (folder / name).write_bytes(b"x")
    os.mkfifo(folder / "pipe.laz")
    assert [path.name for path in found_files("tiles", tmp_path)] == ["a.LAZ", "b.laz"]
    assert [path.name for path in found_files("tiles/*.laz", tmp_path)] == ["b.laz"]
    assert [path.name for path in found_files(["tiles/b.laz", "tiles"], tmp_path)] == ["b.laz", "a.LAZ"]
    (tmp_path / "[1].laz").write_bytes(b"x")
    assert found_files("[1].laz", tmp_path) == (tmp_path / "[1].laz",)
    for name, words in (
        ("**/*.laz", "the folder is a pattern too"),
        ("*/b.laz", "the folder is a pattern too"),
        ("tiles/*.tif", "no file fits this pattern"),
        ("elsewhere/*.laz", "there is no such folder"),
        ("tiles/deeper/../deeper/*.asc", "no file fits this pattern"),
    ):
        with pytest.raises(InputError, match=words.replace("*", r"\*")):
            found_files(name, tmp_path)
    # Where the site file itself lies is no part of the pattern.
    odd = tmp_path / "[site] *"
    odd.mkdir()
    (odd / "a.laz").write_bytes(b"x")
    assert found_files("*.laz", odd) == (odd / "a.laz",)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="no survey lies in this folder"):
        found_files("empty", tmp_path)


def test_a_site_off_every_tile_is_told_once(tmp_path: Path) -> None:
    """A box in the gap between two tiles."""
    write_las(tmp_path / "a.las", slope_points(5))
    write_las(tmp_path / "b.las", moved(slope_points(5), 100))
    with pytest.raises(InputError, match="none of its 2 tiles has anything to read where the site lies"):
        read_tiles(headers(tmp_path, "a.las", "b.las"), (EAST + 40, NORTH, EAST + 50, NORTH + 4))

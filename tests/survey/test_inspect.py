"""The report on a survey: what an expert would say of known files."""

import re
import struct
from dataclasses import replace
from datetime import date, datetime
from functools import cache
from pathlib import Path

import laspy
import numpy as np
import pytest
import trimesh
from affine import Affine
from made_files import UTM31, slope_points, write_las, write_tif

from terrain3d.readers import points
from terrain3d.site import GroundSource, Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.inspect import CLASS_NAMES, Report, inspect, report_lines
from terrain3d.terrain import Dated
from terrain3d.units import US_SURVEY_FOOT_M


def look(path: Path, **ground: str) -> Report:
    return inspect(path, GroundSource(file=str(path), **ground))


@cache
def known(path: Path) -> Report:
    """The report on a file that comes with the tests, worked out once."""
    return look(path)


def median_per_m2(las: laspy.LasData) -> float:
    """Ground points of a survey in US survey feet in the squares of a metre that hold any: the middle one."""
    xy = np.column_stack([las.x, las.y])[las.classification == 2] * US_SURVEY_FOOT_M
    return float(np.median(np.unique(np.floor(xy), axis=0, return_counts=True)[1]))


def test_a_real_survey_in_feet(nebraska_las: Path) -> None:
    """60 x 40 US survey feet with classes 2 to 7; counts are the library's own, noise left out."""
    report = known(nebraska_las)
    las = laspy.read(nebraska_las)
    counts = {n: int((las.classification == n).sum()) for n in (2, 3, 4, 5, 6)}
    assert {number: count for number, _, count in report.classes} == counts
    assert report.n_points == sum(counts.values())
    # Ground distance and grid distance differ by the projection's scale, here a few parts in 10,000.
    assert report.width_m == pytest.approx((las.x.max() - las.x.min()) * US_SURVEY_FOOT_M, rel=1e-3)
    assert report.depth_m == pytest.approx((las.y.max() - las.y.min()) * US_SURVEY_FOOT_M, rel=1e-3)
    ground = las.z[las.classification == 2] * US_SURVEY_FOOT_M
    assert report.z_m[0] == pytest.approx(ground.min(), abs=0.01)
    assert report.density_per_m2 == pytest.approx(median_per_m2(las), rel=0.05)
    assert report.doubts == ()
    text = "\n".join(report_lines(report))
    for part in (
        "LAS 1.4, point format 6",
        "NAD83_2011_Nebraska_ft (said by: its WKT record)",
        "x and y in US survey feet; heights in US survey feet (said by: GeoTIFF keys)",
        "9808 ground",
        "10956 high vegetation",
        "cannot be seen from inside the file",
        "1.96 x RMSE",
        "Cell size to use 0.25 m",
        "Doubts           none",
    ):
        assert part in text


def test_a_made_survey_has_the_figures_it_was_made_with(tmp_path: Path) -> None:
    """Four points a square metre on a slope with 3 cm of noise and a hole of 8 m."""
    rng = np.random.default_rng(0)
    xyz = slope_points(120, 0.5)
    xyz[:, 2] += rng.normal(0, 0.03, len(xyz))
    classes = np.where(np.abs(xyz[:, :2] - [500_030, 6_000_030]).max(axis=1) < 4, 6, 2)
    report = look(write_las(tmp_path / "survey.las", xyz, classes=classes))
    assert report.spacing_m == pytest.approx(0.5, rel=0.05)
    assert report.cell_m == 0.5
    assert report.roughness is not None
    assert report.roughness.sigma_m == pytest.approx(0.03, rel=0.1)
    assert report.coverage is not None
    assert [holes.n for holes in report.coverage.holes] == [1, 1, 1]
    # Farther than 1 m from the ground points at its edge: a square of 6 m.
    assert report.coverage.holes[0].largest_m2 == pytest.approx(6 * 6, abs=4)
    assert any("unit of height" in doubt for doubt in report.doubts)


@pytest.mark.usefixtures("read_here")
def test_a_survey_read_in_chunks_has_the_same_report(
    autzen_laz: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counts against the library's own; every other figure as when the file is read in one piece."""
    whole = known(autzen_laz)
    monkeypatch.setattr(points, "CHUNK", 7_777)
    assert look(autzen_laz) == whole
    las = laspy.read(autzen_laz)
    numbers, counts = np.unique(las.classification, return_counts=True)
    assert [(number, count) for number, _, count in whole.classes] == list(zip(numbers, counts, strict=True))


def test_bounds_of_the_header_do_not_rule_the_report(tmp_path: Path) -> None:
    """Too short for later points, or far too wide for the map: the points' own extent counts.

    Max x and max y stand at bytes 179 and 195 (LAS 1.4 R15, table 1).
    """
    honest = look(write_las(tmp_path / "honest.las", slope_points(60), classes=2))
    for name, at, value in (("short", 195, 6_000_030.0), ("wide", 179, 600_000.0)):
        path = write_las(tmp_path / f"{name}.las", slope_points(60), classes=2)
        content = bytearray(path.read_bytes())
        content[at : at + 8] = np.float64(value).tobytes()
        path.write_bytes(content)
        report = look(path)
        assert (report.width_m, report.depth_m) == pytest.approx((honest.width_m, honest.depth_m), rel=1e-4)
        assert report.coverage is not None
        assert honest.coverage is not None
        assert report.coverage.area_m2 == pytest.approx(honest.coverage.area_m2, rel=0.02)
        assert report.roughness is not None
        assert report.roughness.n == 3600
        assert report.n_ground == 3600


@pytest.mark.usefixtures("read_here")
def test_progress_rises_to_one(autzen_laz: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever shows progress is told shares of the work, in order, up to all of it."""
    monkeypatch.setattr(points, "CHUNK", 30_000)
    told: list[float] = []
    inspect(autzen_laz, GroundSource(file=str(autzen_laz)), told.append)
    assert told == sorted(told)
    assert len(told) > 4
    assert told[-1] == 1.0


def test_extents_are_metres_on_the_ground_not_on_the_map(tmp_path: Path) -> None:
    """Web Mercator stretches by 1/cos(latitude), 2.0 at 60 degrees, give or take the ellipsoid's 0.5 %."""
    y60 = 8_399_737.89
    xyz = slope_points(21, 10.0, 0.0, y60 - 100)
    report = look(write_las(tmp_path / "survey.las", xyz, crs="EPSG:3857"))
    assert report.width_m == pytest.approx(100, rel=0.01)
    assert report.depth_m == pytest.approx(100, rel=0.01)


def test_degrees(tmp_path: Path) -> None:
    """A survey in longitude and latitude: a thousandth of a degree of latitude is 111.3 m at 55 north."""
    path = tmp_path / "survey.csv"
    lon, lat = np.meshgrid(np.linspace(5, 5.001, 30), np.linspace(55, 55.001, 30))
    rows = np.column_stack([lon.ravel(), lat.ravel(), np.full(900, 7.0)])
    path.write_text("lon,lat,z\n" + "\n".join(",".join(map(repr, row)) for row in rows.tolist()))
    report = look(path, crs="EPSG:4326", vertical_unit="m")
    assert report.horizontal_unit == "degrees"
    assert report.depth_m == pytest.approx(111.3, abs=0.1)
    assert report.width_m == pytest.approx(64.0, abs=0.1)


def test_surveys_without_a_ground_class_say_so(no_crs_las: Path, tmp_path: Path) -> None:
    """Nobody classified it: last returns stand in, and the doubt says what that spoils."""
    report = look(write_las(tmp_path / "raw.las", slope_points(20), classes=1))
    assert report.n_ground == 400
    assert any("no point is classified as ground" in doubt for doubt in report.doubts)
    assert not any("classified" in doubt for doubt in known(no_crs_las).doubts)


def test_text_has_no_returns_to_speak_of(tmp_path: Path) -> None:
    """XYZ lines are points, all of them; only LAS tells last returns from others."""
    path = tmp_path / "survey.xyz"
    np.savetxt(path, slope_points(20, 1.0, 0.0, 0.0), fmt="%.3f")
    (doubt,) = (d for d in look(path).doubts if "no point is classified" in d)
    assert "all points stand in" in doubt
    assert "returns" not in doubt
    raw = look(write_las(tmp_path / "raw.las", slope_points(20), classes=1))
    assert any("last returns stand in" in d for d in raw.doubts)


def test_the_report_says_where_the_file_lies_in_its_own_coordinates(autzen_laz: Path, tmp_path: Path) -> None:
    """Shapes are drawn in these numbers: feet here, as the library reads them; degrees there."""
    las = laspy.read(autzen_laz)
    (line,) = (line for line in report_lines(known(autzen_laz)) if line.startswith("Coordinates"))
    numbers = [float(word.rstrip(",")) for word in line.split() if word[0].isdigit()]
    assert numbers == pytest.approx([las.x.min(), las.x.max(), las.y.min(), las.y.max()], abs=0.001)
    path = tmp_path / "d.csv"
    path.write_text("lon,lat,z\n5,55,1\n5.0001,55,1\n5,55.0001,1\n5.0001,55.0001,1\n")
    text = "\n".join(report_lines(look(path, crs="EPSG:4326")))
    assert "x 5 to 5.0001, y 55 to 55.0001 (x is longitude, y is latitude)" in text


@pytest.mark.parametrize("name", ["plane_laz", "oregon_copc", "no_crs_las", "nebraska_las", "elsewhere_las"])
def test_no_number_has_an_exponent(name: str, request: pytest.FixtureRequest) -> None:
    """9550 points a square metre, one in 53,000, and bounds of hundreds of millions: all written out."""
    text = "\n".join(report_lines(known(request.getfixturevalue(name))))
    assert not re.search(r"\de[+-]?\d", text)
    if name == "plane_laz":
        assert "9550 a square metre" in text
    if name == "oregon_copc":
        assert re.search(r"one in 53\d00 square metres", text)


def test_a_crs_without_a_name_is_told_by_what_is_known(plane_laz: Path, elsewhere_las: Path) -> None:
    """A conic spelt out in keys, and the keys of a local CRS."""
    text = "\n".join(report_lines(known(plane_laz)))
    assert "not named; projected (Lambert Conic Conformal (2SP)), in metres (said by: GeoTIFF keys)" in text
    assert "heights in metres (not stated)" in text
    text = "\n".join(report_lines(known(elsewhere_las)))
    assert "a local one; x and y are taken as local metres (said by: GeoTIFF keys)" in text
    assert "unnamed" not in text


def test_points_too_far_apart_are_doubted_not_only_given_a_coarse_cell(
    oregon_copc: Path, tmp_path: Path
) -> None:
    """A thinned file of one ground point in 53,000 m2; a grid of 2 m, at the limit, is let pass."""
    report = known(oregon_copc)
    assert any("230 m apart, too far for this work" in doubt for doubt in report.doubts)
    assert "yet no cell makes up for such gaps" in "\n".join(report_lines(report))
    for step, doubted in ((2, False), (3, True)):
        z = np.full((20, 30), 12.5)
        grid = look(write_tif(tmp_path / "g.tif", z, Affine(step, 0, 5e5, 0, -step, 6e6)))
        assert any("too far for this work" in doubt for doubt in grid.doubts) is doubted


def test_much_ground_without_a_point_near_is_doubted(autzen_laz: Path, nebraska_las: Path) -> None:
    """34.9 % of the one farther than 1 m from any ground point, 4.0 % of the other."""
    doubts = known(autzen_laz).doubts
    assert any("35% of the area has no ground point within 1 m" in doubt for doubt in doubts)
    assert not any("no ground point" in doubt for doubt in known(nebraska_las).doubts)


def test_one_hole_is_one_place(nebraska_las: Path, autzen_laz: Path) -> None:
    """Singular and plural."""
    text = "\n".join(report_lines(known(nebraska_las)))
    assert "1 place, the largest 8.9 m2" in text
    assert "553 places, the largest" in "\n".join(report_lines(known(autzen_laz)))
    assert "(s)" not in text


def test_a_single_point_can_be_inspected(tmp_path: Path) -> None:
    """Little to say, but said."""
    report = look(write_las(tmp_path / "one.las", [[500_000, 6_000_000, 12]]))
    assert report.n_points == 1
    assert "too few ground points" in "\n".join(report_lines(report))


def test_a_grid(tmp_path: Path) -> None:
    """Cells of 2 m, a quarter of them without data."""
    z = np.full((20, 30), 12.5)
    z[:10, :15] = np.nan
    report = look(write_tif(tmp_path / "grid.tif", z, Affine(2, 0, 500_000, 0, -2, 6_000_000)))
    assert report.kind == "raster"
    assert report.no_data_share == pytest.approx(0.25)
    assert report.spacing_m == pytest.approx(2.0, rel=1e-3)
    assert report.cell_m == 2.0
    assert (report.width_m, report.depth_m) == pytest.approx((60, 40), rel=1e-3)
    text = "\n".join(report_lines(report))
    assert "25.0% of the cells" in text
    assert "cannot be seen from a grid" in text


def test_a_mesh(tmp_path: Path) -> None:
    """One square of two triangles, ten metres wide."""
    mesh = trimesh.Trimesh(
        [[0, 0, 1], [10, 0, 1], [10, 10, 2], [0, 10, 2]], [[0, 1, 2], [0, 2, 3]], process=False
    )
    mesh.export(tmp_path / "ground.ply")
    report = look(tmp_path / "ground.ply")
    assert (report.n_points, report.n_ground) == (4, 2)
    assert (report.width_m, report.depth_m, report.z_m) == (10, 10, (1, 2))
    assert "4 vertices, 2 triangles" in "\n".join(report_lines(report))


def test_class_names_are_those_of_the_standard() -> None:
    """LAS 1.4 R15, table 17 (as read in the specification's source): the ones a survey of land has."""
    assert [CLASS_NAMES[n] for n in (1, 2, 3, 4, 5, 6, 9, 17, 18)] == [
        "unclassified",
        "ground",
        "low vegetation",
        "medium vegetation",
        "high vegetation",
        "building",
        "water",
        "bridge deck",
        "high noise",
    ]


def test_ground_points_are_as_far_apart_as_the_verdicts_reckon(tmp_path: Path) -> None:
    """A roof over three quarters of the land: the points beside it stay half a metre apart for both."""
    xyz = slope_points(80, 0.5)
    roof = (xyz[:, 0] > 500_004) & (xyz[:, 1] > 6_000_004)
    xyz[roof, 2] += 6.0
    path = write_las(tmp_path / "survey.las", xyz, classes=np.where(roof, 6, 2))
    report = look(path)
    site = Site.model_validate(
        {
            "site": {"name": "s", "crs": UTM31, "cell": 0.5},
            "ground": {"file": path.name},
            "mount": [{"name": "pole", "at": (500_002.0, 6_000_002.0)}],
            "protect": [
                {"name": "all", "outline": [(500_001, 6_000_001), (500_038, 6_000_001), (500_001, 6_000_038)]}
            ],
        }
    )
    told_m = build_terrain(site, tmp_path, 6.0).spacing_m
    assert report.spacing_m == pytest.approx(told_m, rel=0.01)
    assert report.spacing_m == pytest.approx(0.5, rel=0.03)
    # Four points a square metre; over the whole area it would be 0.8.
    assert report.density_per_m2 == pytest.approx(4.0, rel=0.06)


def test_overlap_is_no_class_of_its_own_in_the_older_formats(tmp_path: Path) -> None:
    """LAS 1.4 R15, table 9: in point formats 0 to 5 class 12 is an overlap point, class 8 a key point."""
    classes = np.repeat([1, 2, 8, 12], 100)
    report = look(
        write_las(tmp_path / "old.las", slope_points(20), classes=classes, point_format=1, version="1.2")
    )
    found = {number: (name, count) for number, name, count in report.classes}
    assert found == {
        1: ("unclassified", 100),
        2: ("ground", 200),
        12: ("in an overlap, its class not said", 100),
    }
    assert dict(report.marks) == {"key_point": 100}
    text = "\n".join(report_lines(report))
    assert "class  12      100 in an overlap, its class not said (25.0%)" in text
    # In formats 6 to 10 the number is reserved (table 17).
    new = look(write_las(tmp_path / "new.las", slope_points(20), classes=classes))
    assert (12, "reserved", 100) in new.classes


@pytest.mark.parametrize(("point_format", "version"), [(1, "1.2"), (6, "1.4")])
def test_marks_of_the_surveyor_are_counted(tmp_path: Path, point_format: int, version: str) -> None:
    """Synthetic, key-point, withheld and overlap marks, as the library that wrote them counts them."""
    rng = np.random.default_rng(3)
    marks = {"synthetic": 0.4, "key_point": 0.1, "withheld": 0.05}
    if point_format > 5:
        marks["overlap"] = 0.2
    given = {name: (rng.uniform(size=400) < share).astype(np.uint8) for name, share in marks.items()}
    path = write_las(
        tmp_path / "s.las", slope_points(20), classes=np.where(np.arange(400) < 9, 7, 2),
        point_format=point_format, version=version, **given,
    )  # fmt: skip
    las = laspy.read(path)
    report = look(path)
    expected = {name: int(np.asarray(las[name]).sum()) for name in marks} | {"noise": 9}
    assert dict(report.marks) == expected
    text = "\n".join(report_lines(report))
    assert f"marked         {expected['synthetic']} synthetic (made, not measured)" in text
    assert any(f"{expected['synthetic']} points are marked as synthetic" in doubt for doubt in report.doubts)


def test_a_class_that_the_standard_does_not_know_is_told_by_its_number(tmp_path: Path) -> None:
    """LAS 1.4 R15, table 17: 23 to 63 reserved, 64 to 255 user definable; 19 is an overhead structure."""
    classes = np.repeat([2, 19, 31, 70], 100)
    report = look(write_las(tmp_path / "s.las", slope_points(20), classes=classes))
    names = {number: name for number, name, _ in report.classes}
    assert names == {2: "ground", 19: "overhead structure", 31: "reserved", 70: "user definable"}
    (doubt,) = (doubt for doubt in report.doubts if "the standard says nothing of" in doubt)
    assert "classes 31 (reserved, 100 points) and 70 (user definable, 100 points)" in doubt
    assert [CLASS_NAMES[n] for n in (20, 21, 22)] == ["ignored ground", "snow", "temporal exclusion"]


def gps_seconds(year: int, month: int, day: int) -> float:
    """Adjusted standard GPS time at noon: seconds since 6 January 1980, less 10^9 (LAS 1.4 R15, table 4)."""
    return (datetime(year, month, day, 12) - datetime(1980, 1, 6)).total_seconds() - 1e9


def timed_las(path: Path, times: object, adjusted: bool = True, created: date | None = None) -> Path:
    """A survey with times of its points; bit 0 of the global encoding says of what kind they are."""
    write_las(path, slope_points(20), gps_time=times)
    content = bytearray(path.read_bytes())
    content[6] = (content[6] & ~1) | adjusted
    day = 0 if created is None else created.timetuple().tm_yday
    content[90:94] = struct.pack("<HH", day, 0 if created is None else created.year)
    path.write_bytes(content)
    return path


def test_when_it_was_flown_is_told(tmp_path: Path) -> None:
    """The times of points where they are those of a calendar; else the file's date, as a weaker word."""
    times = np.linspace(gps_seconds(2019, 5, 14), gps_seconds(2019, 5, 16), 400)
    report = look(timed_las(tmp_path / "t.las", times, created=date(2020, 2, 1)))
    assert report.dated == Dated(
        date(2019, 5, 14), date(2019, 5, 16), "the GPS times of points at its start and end", is_flown=True
    )
    assert any(line.startswith("Flown            2019-05-14 to 2019-05-16") for line in report_lines(report))
    # Seconds of a week say no date, nor does a time that nobody filled in.
    for weaker in (
        timed_las(tmp_path / "w.las", 3e5, False, date(2020, 2, 1)),
        timed_las(tmp_path / "z.las", 0.0, True, date(2020, 2, 1)),
    ):
        told = look(weaker)
        assert told.dated == Dated(date(2020, 2, 1), date(2020, 2, 1), "its header", is_flown=False)
        assert "its file was written 2020-02-01" in "\n".join(report_lines(told))
    silent = look(timed_las(tmp_path / "n.las", 0.0))
    assert silent.dated is None
    assert "Date             not said" in "\n".join(report_lines(silent))


def test_tiles_are_inspected_as_one(tmp_path: Path) -> None:
    """A folder of four tiles has the figures of the whole, but for its name and its form."""
    rng = np.random.default_rng(1)
    xyz = slope_points(60, 0.5) + rng.normal(0, 0.02, (3600, 3)) * (0, 0, 1)
    whole = look(write_las(tmp_path / "whole.las", xyz))
    folder = tmp_path / "tiles"
    folder.mkdir()
    for k in range(4):
        own = (xyz[:, 0] > 500_014.9) == (k % 2 > 0)
        own &= (xyz[:, 1] > 6_000_014.9) == (k > 1)
        write_las(folder / f"{k}.las", xyz[own])
    found = look(folder)
    assert "4 tiles: LAS 1.4, point format 6" in found.form
    same = {"path": "", "form": "", "roughness": None, "doubts": ()}
    assert replace(found, **same) == replace(whole, **same)
    assert found.roughness is not None
    assert whole.roughness is not None
    # Of neighbours as far off as others those come first that are read first.
    assert found.roughness.sigma_m == pytest.approx(whole.roughness.sigma_m, rel=0.02)
    assert found.doubts == whole.doubts


def wooded(n: int = 6000) -> tuple[np.ndarray, np.ndarray]:
    """40 x 40 m of ground that is 0.000 throughout and crowns over it, as normalised clouds have it."""
    rng = np.random.default_rng(0)
    xyz = np.column_stack([rng.uniform(0, 40, (n, 2)) + np.array([500_000, 6_000_000]), np.zeros(n)])
    classes = np.full(n, 2)
    classes[: n // 3], xyz[: n // 3, 2] = 5, rng.uniform(3, 18, n // 3)
    return xyz, classes


def test_heights_above_ground_are_told(tmp_path: Path) -> None:
    """Flat to the millimetre under crowns: no instrument sees such land; with 3 cm of noise it may be. With
    nothing on it it may be a floor, and is told as flat."""
    xyz, classes = wooded()
    report = look(write_las(tmp_path / "a.las", xyz, classes=classes), vertical_unit="m")
    (doubt,) = report.doubts
    assert report.roughness is None
    assert "cannot be told of its ground points: they lie on one level" in "\n".join(report_lines(report))
    assert "its ground is flat to the millimetre, 0 m throughout" in doubt
    assert '[ground] heights = "above ground"' in doubt
    xyz[:, 2] += np.random.default_rng(1).normal(0, 0.03, len(xyz))
    assert look(write_las(tmp_path / "b.las", xyz, classes=classes), vertical_unit="m").doubts == ()
    bare = xyz[classes == 2] * [1, 1, 0]
    (doubt,) = look(write_las(tmp_path / "c.las", bare, classes=2), vertical_unit="m").doubts
    assert "flat to the millimetre, 0 m throughout, as no land is" in doubt
    assert "[ground] heights" not in doubt


def test_returns_that_stand_off_the_ground_are_counted_and_placed(tmp_path: Path) -> None:
    """Five of class 11 in a crown, the highest at 9.2 m: where it is in the file's own coordinates."""
    rng = np.random.default_rng(0)
    place = np.array([500_000, 6_000_000]) + rng.uniform(0, 40, (6000, 2))
    xyz = np.column_stack([place, rng.normal(5, 0.03, 6000)])
    xyz[:5] = [(500_020 + 0.1 * k, 6_000_010, 9.2 - 0.01 * k) for k in range(5)]
    classes = np.where(np.arange(6000) < 5, 11, 2)
    (doubt,) = look(write_las(tmp_path / "a.las", xyz, classes=classes), vertical_unit="m").doubts
    assert doubt == (
        "5 of 6000 ground returns looked at stand off the ground around, the highest at x 500020, y 6000010, "
        "at a height of 9.2 m: such returns are left out where verdicts are reckoned"
    )

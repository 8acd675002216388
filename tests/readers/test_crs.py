"""Whose word counts on CRS and unit of height, and when coordinates give a wrong CRS away."""

from pathlib import Path

import pyproj
import pytest
from made_files import slope_points, write_las

from terrain3d.errors import InputError
from terrain3d.readers.crs import (
    Said,
    horizontal,
    metres_per_unit,
    said_by,
    settle,
    unit_words,
    vertical_unit,
)
from terrain3d.readers.header import read_las_header, said_by_las
from terrain3d.readers.source import Header
from terrain3d.readers.surveys import read_header
from terrain3d.site import GroundSource
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M

ON_SITE = (500_000.0, 6_000_000.0, 500_100.0, 6_000_100.0)


def header_of(path: Path, **ground: str) -> Header:
    return read_header(path, GroundSource(file=str(path), **ground))


def test_the_unit_of_height_is_found_in_the_keys_where_the_wkt_is_silent(nebraska_las: Path) -> None:
    """Its WKT ends with US survey feet in plan; key 4099 of its GeoTIFF keys is 9003, the same foot."""
    header = header_of(nebraska_las)
    assert header.vertical_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
    assert header.vertical_unit_from == "GeoTIFF keys"
    assert header.crs_from == "its WKT record"
    assert header.doubts == ()


def test_a_silent_survey_gets_the_horizontal_unit_and_a_doubt(autzen_laz: Path, new_mexico_las: Path) -> None:
    """International feet here, US survey feet there, each from its own CRS; both are doubted."""
    for path, foot, words in (
        (autzen_laz, FOOT_M, "international feet"),
        (new_mexico_las, US_SURVEY_FOOT_M, "US survey feet"),
    ):
        header = header_of(path)
        assert header.vertical_unit_m == pytest.approx(foot, rel=1e-12)
        assert any(
            f"is not stated: {words}, the horizontal unit, are taken; [ground] vertical_unit says otherwise"
            in doubt
            for doubt in header.doubts
        )


def test_the_site_file_says_the_unit_and_the_doubt_goes(autzen_laz: Path) -> None:
    """[ground] vertical_unit settles it."""
    header = header_of(autzen_laz, vertical_unit="ft")
    assert header.doubts == ()
    assert header.vertical_unit_from == "[ground] vertical_unit"


def test_plan_and_height_have_each_their_own_unit(oregon_copc: Path) -> None:
    """A compound CRS of metres and US survey feet: heights alone are turned."""
    header = header_of(oregon_copc)
    assert header.crs is not None
    assert metres_per_unit(header.crs)[0] == 1.0
    assert header.vertical_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


def test_the_site_file_goes_before_the_survey_and_the_clash_is_told(oregon_copc: Path) -> None:
    """Its coordinates are feet of EPSG:2994 really; the right key mends the place and is told."""
    wrong = header_of(oregon_copc)
    assert any("3.1 degrees outside" in doubt and "[ground] crs" in doubt for doubt in wrong.doubts)
    mended = header_of(oregon_copc, crs="EPSG:2994", vertical_unit="ft")
    assert mended.crs == pyproj.CRS("EPSG:2994")
    assert not any("outside" in doubt for doubt in mended.doubts)
    assert any("[ground] crs says NAD83(HARN) / Oregon GIC Lambert (ft)" in doubt for doubt in mended.doubts)
    assert any("vertical_unit says heights are in international feet" in doubt for doubt in mended.doubts)


def test_projections_spelt_out_in_keys_are_understood(plane_laz: Path) -> None:
    """No EPSG code in it: a Lambert conic on GRS 80 with parallels 44.25 and 45.75 (France, zone 45)."""
    crs = header_of(plane_laz).crs
    assert crs is not None
    published = pyproj.Transformer.from_crs(crs, pyproj.CRS("EPSG:3945"), always_xy=True)
    # The same map as RGF93 / CC45, apart from the name of the datum.
    assert published.transform(1_423_215.0, 4_189_097.0) == pytest.approx(
        (1_423_215.0, 4_189_097.0), abs=0.01
    )


def test_no_crs_means_local_metres_and_a_doubt(no_crs_las: Path) -> None:
    """Nobody says: x and y are taken as they are."""
    header = header_of(no_crs_las)
    assert header.crs is None
    assert header.crs_from == ""
    assert any("names no CRS" in doubt and "[ground] crs" in doubt for doubt in header.doubts)


@pytest.mark.parametrize(
    ("crs", "unit"),
    [
        ("EPSG:2240+6360", US_SURVEY_FOOT_M),
        ("EPSG:2994+8228", FOOT_M),
        ("EPSG:32631+5703", 1.0),
        ("EPSG:4979", 1.0),
        ("EPSG:32631", None),
        ("EPSG:4326", None),
    ],
)
def test_units_of_height_of_registered_crs(crs: str, unit: float | None) -> None:
    """EPSG 6360 counts US survey feet, 8228 international feet, 5703 and 4979 metres."""
    assert vertical_unit(pyproj.CRS(crs)) == (unit if unit is None else pytest.approx(unit, rel=1e-9))


def test_horizontal_parts() -> None:
    """Compound, three-dimensional and bound CRS all come down to the one of x and y."""
    assert horizontal(pyproj.CRS("EPSG:2240+6360")) == pyproj.CRS("EPSG:2240")
    assert horizontal(pyproj.CRS("EPSG:4979")).name == "WGS 84"
    assert len(horizontal(pyproj.CRS("EPSG:4979")).axis_info) == 2
    bound = pyproj.CRS("+proj=utm +zone=31 +ellps=intl +towgs84=-87,-98,-121 +type=crs")
    assert bound.is_bound
    assert not horizontal(bound).is_bound


@pytest.mark.parametrize(
    ("crs", "bounds", "message"),
    [
        ("EPSG:4978", ON_SITE, r"geocentric(.|\n)*\[ground\] crs"),
        ("EPSG:4326", ON_SITE, r"cannot be in WGS 84(.|\n)*\[ground\] crs"),
        ("EPSG:27700", (1e9, 1e9, 1e9 + 1, 1e9 + 1), r"cannot be in OSGB36(.|\n)*\[ground\] crs"),
        ("EPSG:5703", ON_SITE, "heights alone"),
        ("EPSG:32631+5715", ON_SITE, "depth"),
        ("EPSG:999999", ON_SITE, r"'EPSG:999999' names no CRS(.|\n)*\[ground\] crs"),
        ("somewhere", ON_SITE, r"'somewhere' names no CRS"),
    ],
)
def test_a_crs_that_cannot_be_is_refused(
    crs: str, bounds: tuple[float, float, float, float], message: str
) -> None:
    """Each message says what was found and which key of the site file mends it."""
    with pytest.raises(InputError, match=message):
        settle(Said(), GroundSource(file="s.las", crs=crs), "s.las", bounds, 10)


def test_a_geocentric_crs_in_the_file_itself_is_refused(tmp_path: Path) -> None:
    """The survey says geocentric, its coordinates are a map's: the site file has to overrule it."""
    path = write_las(tmp_path / "survey.las", slope_points(3), crs="EPSG:4978")
    with pytest.raises(InputError, match=r"geocentric(.|\n)*survey.las(.|\n)*\[ground\] crs"):
        header_of(path)
    assert header_of(path, crs="EPSG:32631").crs == pyproj.CRS("EPSG:32631")


def test_a_crs_of_another_part_of_the_world_is_doubted() -> None:
    """UTM metres read as British grid: the doubt names place and area."""
    settled = settle(
        Said(), GroundSource(file="s.las", crs="EPSG:27700"), "s.las", (5e5, 5e6, 5e5 + 100, 5e6 + 100), 10
    )
    assert any("degrees outside the area OSGB36" in doubt for doubt in settled.doubts)


def test_areas_across_the_date_line_are_no_reason_for_doubt() -> None:
    """Fiji's map grid reaches from 176.8 degrees east to 178.2 west, across 180."""
    crs = pyproj.CRS("EPSG:3460")
    area = crs.area_of_use
    assert area is not None
    assert area.west > area.east
    for lon, doubted in ((-179.0, False), (178.0, False), (170.0, True)):
        x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, -17.5)
        settled = settle(said_by(crs, "the file"), GroundSource(file="s"), "s", (x, y, x + 100, y + 100), 10)
        assert any("outside" in doubt for doubt in settled.doubts) is doubted


def test_degrees_take_metres_for_height() -> None:
    """A geographic CRS has no length to lend to heights."""
    settled = settle(
        said_by(pyproj.CRS("EPSG:4326"), "the file"), GroundSource(file="s"), "s", (5, 55, 5.01, 55.01), 10
    )
    assert settled.vertical_unit_m == 1.0
    assert any("metres are taken" in doubt for doubt in settled.doubts)


def test_an_engineering_crs_is_local_metres_or_refused() -> None:
    """Not tied to the earth: fine in metres, an error in feet, for nothing would turn them."""
    local = 'LOCAL_CS["works",UNIT["{}",{}],AXIS["E",EAST],AXIS["N",NORTH]]'
    metres = pyproj.CRS.from_wkt(local.format("metre", 1))
    settled = settle(said_by(metres, "the file"), GroundSource(file="s"), "s", ON_SITE, 10)
    assert settled.crs is None
    assert any("local metres" in doubt for doubt in settled.doubts)
    feet = pyproj.CRS.from_wkt(local.format("foot", 0.3048))
    with pytest.raises(InputError, match="local one in international feet"):
        settle(said_by(feet, "the file"), GroundSource(file="s"), "s", ON_SITE, 10)


def test_a_record_that_cannot_be_understood_is_told(tmp_path: Path) -> None:
    """Garbage where WKT should be: no CRS, and the doubt quotes it."""
    path = write_las(tmp_path / "survey.las", slope_points(3))
    path.write_bytes(path.read_bytes().replace(b"PROJCRS", b"PROJXXX").replace(b"PROJCS", b"PROJXX"))
    assert said_by_las(read_las_header(path)).crs is None
    assert any("cannot be understood: 'PROJX" in doubt for doubt in header_of(path).doubts)


def test_web_mercator_and_degrees_are_measured_on_the_ground() -> None:
    """Metres in a unit: exact for feet; for degrees the equator's 111.3 km, shorter eastwards up north."""
    assert metres_per_unit(pyproj.CRS("EPSG:2240")) == pytest.approx((US_SURVEY_FOOT_M, US_SURVEY_FOOT_M))
    east, north = metres_per_unit(pyproj.CRS("EPSG:4326"), 60.0)
    assert north == pytest.approx(111_319.49, abs=0.01)
    assert east == pytest.approx(north / 2)
    assert unit_words(US_SURVEY_FOOT_M) == "US survey feet"

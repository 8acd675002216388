"""Reading elevation grids: windows, rotation, gaps, units."""

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine
from made_files import write_tif

from terrain3d.errors import InputError
from terrain3d.readers import grids
from terrain3d.readers.source import Box, Raster
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M

NORTH_UP = Affine(2.0, 0, 500_000, 0, -2.0, 6_000_100)


def read(path: Path, box: Box | None = None, **ground: str) -> Raster:
    raster = read_survey(path, read_header(path, GroundSource(file=str(path), **ground)), box)
    assert isinstance(raster, Raster)
    return raster


def sloped(transform: Affine, width: int, height: int) -> np.ndarray:
    """Heights of the plane z = x / 10 + y / 20 (about the site) at the cells' centres."""
    column, row = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    x = transform.a * column + transform.b * row + transform.c
    y = transform.d * column + transform.e * row + transform.f
    return (x - 500_000) / 10 + (y - 6_000_000) / 20


def test_geotiff_round_trip(tmp_path: Path) -> None:
    """Heights, placement, CRS and bounds come back as written."""
    z = sloped(NORTH_UP, 40, 50)
    path = write_tif(tmp_path / "grid.tif", z, NORTH_UP)
    header = read_header(path, GroundSource(file=str(path)))
    raster = read(path)
    assert header.bounds == (500_000, 6_000_000, 500_080, 6_000_100)
    assert header.n_points == 2000
    assert raster.crs == pyproj.CRS("EPSG:32631")
    assert raster.transform == NORTH_UP
    np.testing.assert_allclose(raster.z, z, rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize("turn", [0.0, 30.0, 135.0])
def test_a_window_holds_the_box_and_stays_on_the_ground(tmp_path: Path, turn: float) -> None:
    """Rotated or not, each cell of the window lies where the plane has its height, and no gap shows."""
    transform = Affine.translation(500_000, 6_000_000) @ Affine.rotation(turn) @ Affine.scale(1.0, -1.0)
    path = write_tif(tmp_path / "grid.tif", sloped(transform, 100, 100), transform)
    middle = transform @ (50, 50)
    box = (middle[0] - 5, middle[1] - 3, middle[0] + 5, middle[1] + 3)
    raster = read(path, box)
    assert raster.z.size < 2500
    expected = sloped(raster.transform, *raster.z.shape[::-1])
    np.testing.assert_allclose(raster.z, expected, atol=1e-4)
    to_pixel = ~raster.transform
    for x in (box[0], box[2]):
        for y in (box[1], box[3]):
            column, row = to_pixel @ (x, y)
            assert 0.5 <= column <= raster.z.shape[1] - 0.5
            assert 0.5 <= row <= raster.z.shape[0] - 0.5


@pytest.mark.usefixtures("read_here")
def test_strips_and_progress(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A grid read in strips is the grid read at once."""
    path = write_tif(tmp_path / "grid.tif", sloped(NORTH_UP, 40, 50), NORTH_UP)
    whole = read(path).z
    monkeypatch.setattr(grids, "STRIP_CELLS", 130)
    told: list[float] = []
    strips = read_survey(path, read_header(path, GroundSource(file="g")), None, told.append)
    assert isinstance(strips, Raster)
    np.testing.assert_array_equal(strips.z, whole)
    assert told[-1] == 1.0
    assert len(told) == 17


def test_no_data_becomes_nan_said_or_not(tmp_path: Path) -> None:
    """The file's own no-data value, NaN, and the usual -9999 that nobody declared, the last with a doubt."""
    z = sloped(NORTH_UP, 10, 10)
    z[0, 0], z[1, 1], z[2, 2] = -1234, np.nan, -9999
    raster = read(write_tif(tmp_path / "grid.tif", z, NORTH_UP, nodata=-1234))
    assert np.argwhere(np.isnan(raster.z)).tolist() == [[0, 0], [1, 1], [2, 2]]
    assert any("1 cells hold -9999" in doubt for doubt in raster.doubts)


def test_ascii_grid_with_and_without_a_crs(tmp_path: Path) -> None:
    """Corner or centre of the lower left cell, rows from the north, CRS beside it in a .prj file."""
    path = tmp_path / "grid.asc"
    path.write_text(
        "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 6000000\ncellsize 5\nNODATA_value -9999\n"
        "1 2 3\n4 -9999 6\n"
    )
    raster = read(path)
    assert raster.crs is None
    np.testing.assert_array_equal(raster.z, [[1, 2, 3], [4, np.nan, 6]])
    assert raster.transform @ (0, 2) == (500_000, 6_000_000)
    (tmp_path / "grid.prj").write_text(pyproj.CRS("EPSG:32631").to_wkt("WKT1_ESRI"))
    crs = read(path).crs
    assert crs is not None
    assert crs.to_epsg(60) == 32631


def test_a_word_among_the_heights_of_an_ascii_grid_is_refused(tmp_path: Path) -> None:
    """GDAL takes it for 0, a pit down to the sea; nan and numbers with a decimal comma are heights."""
    path = tmp_path / "grid.asc"
    top = "ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\nNODATA_value -9999\n"
    path.write_text(top + "101.5 nan 1.02e2\n101,5 102 -9999\n")
    assert read_header(path, GroundSource(file=path.name)).n_points == 6
    path.write_text(top + "101.5 102 103\n101.5 none 103\n")
    with pytest.raises(InputError, match="'none' is no height") as fault:
        read_header(path, GroundSource(file=path.name))
    assert fault.value.where == f"{path}: line 8"


def test_an_old_note_of_a_crs_beside_an_ascii_grid(tmp_path: Path) -> None:
    """A .prj in words and not in WKT, as older programs write (ArcInfo's form; GDAL's own reader of it)."""
    path = tmp_path / "grid.asc"
    path.write_text("ncols 2\nnrows 2\nxllcorner 500000\nyllcorner 6000000\ncellsize 5\n1 2\n3 4\n")
    (tmp_path / "grid.PRJ").write_text("Projection UTM\nZone 31\nDatum WGS84\nUnits METERS\nParameters\n")
    raster = read(path)
    assert raster.crs is not None
    assert raster.crs.utm_zone == "31N"


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("suffix", [".tfw", ".TFW", ".wld"])
def test_a_world_file_places_a_tiff_that_has_no_place(tmp_path: Path, suffix: str) -> None:
    """Turned and stretched, as GDAL reads it from the same two files; the TIFF's own placement goes first."""
    path = write_tif(tmp_path / "grid.tif", sloped(NORTH_UP, 4, 5), None, None)
    world = tmp_path / f"grid{suffix}"
    world.write_text("1.5\n0.2\n-0.1\n-2.5\n500000.75\n6000098.75\n")
    with rasterio.open(path) as reference:
        assert read(path, crs="EPSG:32631").transform.almost_equals(reference.transform, 1e-6)
    world.write_text("1.5\n0.2\nnorth\n")
    with pytest.raises(InputError, match="six numbers") as fault:
        read(path)
    assert fault.value.where == str(world)
    write_tif(path, sloped(NORTH_UP, 4, 5), NORTH_UP)
    assert read(path).transform == NORTH_UP


@pytest.mark.parametrize(
    ("crs", "unit", "metres", "source"),
    [
        ("EPSG:2240+6360", None, US_SURVEY_FOOT_M, "the grid's own CRS"),
        ("EPSG:32631", "ft", FOOT_M, "the unit of its band"),
        ("EPSG:32631", "US survey foot", US_SURVEY_FOOT_M, "the unit of its band"),
        ("EPSG:2240", None, US_SURVEY_FOOT_M, ""),
    ],
)
def test_where_a_grid_says_its_unit_of_height(
    tmp_path: Path, crs: str, unit: str | None, metres: float, source: str
) -> None:
    """In a compound CRS (GeoTIFF vertical keys), in the band's unit, or nowhere."""
    transform = Affine(2, 0, 2_200_000, 0, -2, 1_300_000) if "2240" in crs else NORTH_UP
    path = write_tif(tmp_path / "grid.tif", np.full((4, 4), 10.0), transform, crs, unit=unit)
    header = read_header(path, GroundSource(file=str(path)))
    assert header.vertical_unit_m == pytest.approx(metres, rel=1e-9)
    assert header.vertical_unit_from == source
    np.testing.assert_allclose(read(path).z, 10 * metres)


def test_scaled_whole_numbers(tmp_path: Path) -> None:
    """Heights kept as centimetres in 16 bits, with scale and offset, come out as metres."""
    path = write_tif(
        tmp_path / "grid.tif", np.array([[150, 250], [350, 0]]), NORTH_UP, dtype="int16", nodata=0
    )
    with rasterio.open(path, "r+") as dataset:
        dataset.scales, dataset.offsets = (0.01,), (100.0,)
    np.testing.assert_allclose(read(path).z, [[101.5, 102.5], [103.5, np.nan]])


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_what_is_no_elevation_grid_is_refused(tmp_path: Path) -> None:
    """A picture, a grid without a place, one without data: each says what it is."""
    picture = write_tif(
        tmp_path / "photo.tif", np.zeros((3, 4, 4)), NORTH_UP, dtype="uint8", count=3, photometric="RGB"
    )
    with pytest.raises(InputError, match="a picture"):
        read(picture)
    with pytest.raises(InputError, match="does not say where"):
        read(write_tif(tmp_path / "nowhere.tif", np.zeros((4, 4)), Affine.identity(), None))
    with pytest.raises(InputError, match="none of its cells"):
        read(write_tif(tmp_path / "blank.tif", np.full((4, 4), np.nan), NORTH_UP))
    with pytest.raises(InputError, match=r"does not meet(.|\n)*500000"):
        read(write_tif(tmp_path / "grid.tif", np.zeros((4, 4)), NORTH_UP), (0, 0, 1, 1))


def test_a_window_too_large_is_refused_before_memory_is_taken(tmp_path: Path) -> None:
    """A million by a million cells in a file of kilobytes: the box inside it still reads."""
    path = tmp_path / "huge.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=60_000,
        height=60_000,
        count=1,
        dtype="float32",
        crs="EPSG:32631",
        transform=Affine(1, 0, 500_000, 0, -1, 6_000_000),
        tiled=True,
        blockxsize=2048,
        blockysize=2048,
        sparse_ok=True,
        compress="deflate",
    ) as dataset:
        dataset.write(np.ones((1, 10, 10), np.float32), window=rasterio.windows.Window(0, 0, 10, 10))
    with pytest.raises(InputError, match=r"60000 x 60000 cells are too many(.|\n)*clip"):
        read(path)
    assert read(path, (500_001, 5_999_995, 500_004, 5_999_999)).z.size < 100

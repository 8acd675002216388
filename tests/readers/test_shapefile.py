"""Shapefiles as GDAL and pyshp write them."""

import datetime
import struct
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapefile
import shapely

from terrain3d.errors import InputError
from terrain3d.readers.shapefile import read_shapefile

SHAPES = [
    shapely.Point(500_001.123456789, 6_000_002.5),
    shapely.LineString([(500_000, 6_000_000), (500_010, 6_000_005), (500_020, 6_000_000)]),
    # Outlines run clockwise and holes the other way (white paper, "Polygon"), so that GDAL writes them.
    shapely.Polygon(
        [(500_000, 6_000_000), (500_000, 6_000_010), (500_010, 6_000_010), (500_010, 6_000_000)],
        [[(500_002, 6_000_002), (500_004, 6_000_002), (500_004, 6_000_004)]],
    ),
    shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]).normalize(),
    shapely.MultiPoint([(5, 55), (6, 56)]),
    shapely.Point(5, 55, 12.5),
]


def written(path: Path, shape: shapely.Geometry, crs: str | None = "EPSG:32631", **columns: object) -> Path:
    names = columns or {"name": "it"}
    pyogrio.raw.write(
        path, shapely.to_wkb(np.array([shape])), [np.array([value]) for value in names.values()], list(names),
        driver="ESRI Shapefile", geometry_type=shape.geom_type, crs=crs,
    )  # fmt: skip
    return path


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_what_gdal_writes(tmp_path: Path, shape: shapely.Geometry) -> None:
    """The very rings, to the last digit, and the CRS of the .prj that stands beside them."""
    ((feature,), crs) = read_shapefile(written(tmp_path / "a.shp", shapely.force_2d(shape)))
    assert feature.kind == shape.geom_type
    rings = [ring for part in feature.parts for ring in part]
    np.testing.assert_array_equal(np.concatenate(rings), shapely.get_coordinates(shape))
    assert crs is not None
    assert crs.equals(pyproj.CRS("EPSG:32631"), ignore_axis_order=True) or crs.to_epsg() == 32631


def test_the_table_gives_the_keys(tmp_path: Path) -> None:
    """dBase knows capital letters alone; lists come as text."""
    path = tmp_path / "a.shp"
    with shapefile.Writer(str(path)) as writer:
        writer.field("NAME", "C", 20)
        writer.field("HEIGHT", "N", 10, 3)
        writer.field("HEIGHTS", "C", 20)
        writer.field("SURVEYED", "D")
        writer.field("WEIGHT", "N", 10, 2)
        writer.point(5, 55)
        writer.record("mur é", 1.25, "[0.8, 1.2]", datetime.date(2024, 5, 1), None)
    ((feature,), crs) = read_shapefile(path)
    assert feature.values == {
        "name": "mur é", "height": 1.25, "heights": [0.8, 1.2], "surveyed": datetime.date(2024, 5, 1),
    }  # fmt: skip
    # Without a .prj the shapes are in the site's own coordinates.
    assert crs is None


@pytest.mark.parametrize(
    ("told", "encoding"), [("1252", "cp1252"), ("ISO-8859-1", "latin-1"), ("UTF-8", "utf-8")]
)
def test_the_encoding_of_a_cpg_is_taken(tmp_path: Path, told: str, encoding: str) -> None:
    """ESRI writes the number of a code page alone."""
    path = tmp_path / "a.shp"
    with shapefile.Writer(str(path), encoding=encoding) as writer:
        writer.field("NAME", "C", 20)
        writer.point(5, 55)
        writer.record("Böschung")
    path.with_suffix(".cpg").write_text(told)
    assert read_shapefile(path)[0][0].values["name"] == "Böschung"


def test_the_index_beside_it_is_not_needed(tmp_path: Path) -> None:
    """Shapes follow one another in the .shp; an index that lies would only mislead."""
    path = written(tmp_path / "a.shp", shapely.Point(5, 55))
    path.with_suffix(".shx").write_bytes(b"\xff" * 200)
    assert len(read_shapefile(path)[0]) == 1


def test_a_prj_that_names_nothing_is_refused(tmp_path: Path) -> None:
    """Coordinates in an unknown CRS would be drawn somewhere else."""
    path = written(tmp_path / "a.shp", shapely.Point(5, 55))
    path.with_suffix(".prj").write_text("somewhere")
    with pytest.raises(InputError, match=r"names no CRS(.|\n)*a\.prj"):
        read_shapefile(path)


@pytest.mark.parametrize("suffix", [".shp", ".dbf"])
@pytest.mark.parametrize("kept", [30, 105, 0.7, 0.95])
def test_files_cut_short(tmp_path: Path, suffix: str, kept: float) -> None:
    """In the header or in the shapes; the message names the shapefile."""
    path = tmp_path / "a.shp"
    with shapefile.Writer(str(path)) as writer:
        writer.field("NAME", "C", 20)
        for number in range(10):
            writer.line([[(number, 0), (number, 5), (number + 1, 7)]])
            writer.record(f"line {number}")
    cut = path.with_suffix(suffix)
    content = cut.read_bytes()
    cut.write_bytes(content[: int(kept if kept > 1 else kept * len(content))])
    with pytest.raises(InputError) as fault:
        read_shapefile(path)
    assert str(path) in fault.value.where


def test_a_file_cut_between_two_shapes(tmp_path: Path) -> None:
    """Without a table it would read as fewer shapes: its own length tells (white paper, table 1)."""
    path = tmp_path / "a.shp"
    with shapefile.Writer(str(path)) as writer:
        writer.field("NAME", "C", 20)
        for number in range(3):
            writer.point(number, 0)
            writer.record("it")
    path.with_suffix(".dbf").unlink()
    content = path.read_bytes()
    assert len(content) == 100 + 3 * 28
    path.write_bytes(content[:-28])
    with pytest.raises(InputError, match=r"it should be 184 bytes long, and is 156: it was cut short"):
        read_shapefile(path)


@pytest.mark.parametrize(("at", "value"), [(144, 2**31 - 1), (148, 2**31 - 1), (144, 10**6), (148, 10**6)])
def test_shapes_that_claim_what_cannot_be(tmp_path: Path, at: int, value: int) -> None:
    """Numbers of parts and points (white paper, "PolyLine"): more than there are bytes."""
    path = written(tmp_path / "a.shp", shapely.LineString([(0, 0), (1, 1)]))
    content = bytearray(path.read_bytes())
    struct.pack_into("<i", content, at, value)
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"cannot be read as a shapefile|parts"):
        read_shapefile(path)


def test_rows_and_shapes_must_match(tmp_path: Path) -> None:
    """A table of another shapefile would name the wrong shapes."""
    path = written(tmp_path / "a.shp", shapely.Point(5, 55))
    with shapefile.Writer(str(tmp_path / "b.shp")) as writer:
        writer.field("NAME", "C", 20)
        for _ in range(3):
            writer.point(1, 1)
            writer.record("x")
    (tmp_path / "b.dbf").rename(tmp_path / "a.dbf")
    with pytest.raises(InputError, match="1 shapes, and the table beside it 3 rows"):
        read_shapefile(path)

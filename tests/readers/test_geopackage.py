"""GeoPackage read by SQLite alone, against GDAL's and GEOS's own writers and readers of it."""

import random
import re
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from terrain3d.errors import InputError
from terrain3d.readers import geopackage
from terrain3d.readers.geopackage import read_geopackage

SHAPES = [
    "POINT (1 2)",
    "LINESTRING (0 0, 5 1, 7 8)",
    "POLYGON ((0 0, 9 0, 9 9, 0 9, 0 0), (1 1, 2 1, 2 2, 1 1))",
    "MULTIPOINT (1 2, 3 4)",
    "MULTILINESTRING ((0 0, 1 1), (2 2, 3 3, 4 5))",
    "MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)), ((20 0, 29 0, 29 9, 20 0), (21 1, 22 1, 22 2, 21 1)))",
]


def written(path: Path, shapes: Any, values: dict[str, Any] | None = None, **options: Any) -> Path:
    """A GeoPackage of one layer as GDAL writes it."""
    columns = {"name": np.array([f"s{k}" for k in range(len(shapes))], object)} if values is None else values
    pyogrio.raw.write(
        path,
        shapely.to_wkb(np.asarray(shapes), flavor="iso"),
        list(columns.values()),
        list(columns),
        **{"layer": "drawn", "driver": "GPKG", "geometry_type": "Unknown", "crs": "EPSG:32631"} | options,
    )
    return path


@contextmanager
def changed(path: Path) -> Iterator[sqlite3.Connection]:
    """The database to be changed, without the triggers that only a map library can run."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        names = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in names:
            quoted = name.replace('"', '""')
            database.execute(f'DROP TRIGGER "{quoted}"')
        yield database


def header(envelope: int = 0, srs: int = 32631) -> bytes:
    """What stands before the WKB (OGC 12-128, 2.1.3), with an envelope of a kind, little-endian."""
    return struct.pack("<2sBBi", b"GP", 0, 1 | envelope << 1, srs) + bytes(8 * (0, 4, 6, 6, 8)[envelope])


def assert_same(found: Any, reference: Any) -> None:
    assert found.kind == reference.geom_type
    parts = reference.geoms if found.kind.startswith("Multi") else [reference]
    for part, expected in zip(found.parts, parts, strict=True):
        rings = [expected.exterior, *expected.interiors] if expected.geom_type == "Polygon" else [expected]
        for ring, other in zip(part, rings, strict=True):
            np.testing.assert_array_equal(ring, shapely.get_coordinates(other))


def test_shapes_come_back_as_gdal_wrote_them(tmp_path: Path) -> None:
    """Every kind with two dimensions, in order, with its CRS."""
    shapes = shapely.from_wkt(SHAPES)
    features, crs = read_geopackage(written(tmp_path / "a.gpkg", shapes), None)
    assert crs == pyproj.CRS("EPSG:32631")
    for feature, shape in zip(features, shapes, strict=True):
        assert_same(feature, shape)
    assert [feature.values for feature in features] == [{"name": f"s{k}"} for k in range(len(shapes))]


@pytest.mark.parametrize("flavor", ["iso", "extended"])
@pytest.mark.parametrize("byte_order", [0, 1])
@pytest.mark.parametrize("dimensions", ["", "z", "m", "zm"])
@pytest.mark.parametrize("envelope", [0, 1, 2, 3, 4])
def test_every_way_to_write_a_shape(
    tmp_path: Path, flavor: str, byte_order: int, dimensions: str, envelope: int
) -> None:
    """Heights and measures by thousands or by bits, either order of bytes, each envelope: GEOS's own."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(0, 0)])
    for shape in shapely.from_wkt(SHAPES):
        tall = shapely.from_wkt(with_more(shape.wkt, dimensions)) if dimensions else shape
        blob = shapely.to_wkb(tall, byte_order=byte_order, flavor=flavor, output_dimension=4)
        with changed(path) as database:
            database.execute("UPDATE drawn SET geom = ?", (header(envelope) + blob,))
        assert_same(read_geopackage(path, None)[0][0], shape)


def with_more(wkt: str, dimensions: str) -> str:
    """The same text with one or two more numbers at each point."""
    text = re.sub(r"(-?[\d.]+ -?[\d.]+)", r"\1" + " 7.5" * len(dimensions), wkt)
    return re.sub(r"^([A-Z]+)", rf"\1 {dimensions.upper()}", text)


def test_cells_are_typed_as_their_columns_say(tmp_path: Path) -> None:
    """Whole numbers, numbers, true and false, text and lists in it; blanks and the row's number left out."""
    values = {
        "name": np.array(["a", "b"], object),
        "height": np.array([2.5, np.nan]),
        "count": np.array([3, 4]),
        "keep_out": np.array([True, False]),
        "heights": np.array(["[0.8, 1.2]", None], object),
    }
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2), shapely.Point(3, 4)], values)
    features, _ = read_geopackage(path, None)
    assert [feature.values for feature in features] == [
        {"name": "a", "height": 2.5, "count": 3, "keep_out": True, "heights": [0.8, 1.2]},
        {"name": "b", "count": 4, "keep_out": False},
    ]


def test_names_in_any_letters(tmp_path: Path) -> None:
    """SQLite tells no small letters from capitals; quotes and blanks in a name are part of it."""
    path = written(tmp_path / 'a "b" #1?.gpkg', [shapely.Point(1, 2)], layer='the "drawn" ones')
    with changed(path) as database:
        database.execute(
            "UPDATE gpkg_geometry_columns SET column_name = 'GEOM', table_name = upper(table_name)"
        )
    assert len(read_geopackage(path, 'the "drawn" ones')[0]) == 1


@pytest.mark.parametrize(
    "crs",
    [
        "EPSG:32631",
        "EPSG:4326",
        "ESRI:102013",
        "+proj=lcc +lat_1=44 +lat_2=45 +lat_0=44 +lon_0=3 +ellps=GRS80 +units=m",
        "+proj=ob_tran +o_proj=longlat +o_lat_p=40 +lon_0=10 +datum=WGS84",
    ],
)
def test_the_crs_is_the_one_that_was_written(tmp_path: Path, crs: str) -> None:
    """Registered with EPSG or elsewhere, or spelt out in either form of WKT: the same place for a point."""
    wkt = pyproj.CRS(crs).to_wkt()
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2)], crs=wkt)
    _, found = read_geopackage(path, None)
    assert found is not None
    degrees = [
        pyproj.Transformer.from_crs(one, "EPSG:4326", always_xy=True).transform(3.5, 44.2)
        for one in (found, pyproj.CRS(crs))
    ]
    assert degrees[0] == pytest.approx(degrees[1], abs=1e-9)


@pytest.mark.parametrize("system", [-1, 0])
def test_an_undefined_crs_is_the_sites_own(tmp_path: Path, system: int) -> None:
    """OGC 12-128, requirement 11: -1 and 0; older writers put either where a layer has no CRS."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2)])
    with changed(path) as database:
        database.execute("UPDATE gpkg_geometry_columns SET srs_id = ?", (system,))
    assert read_geopackage(path, None)[1] is None


def test_a_table_of_styles_is_no_layer(tmp_path: Path) -> None:
    """Map programs keep how a layer looks in a table beside it; one layer needs no name all the same."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2)])
    with changed(path) as database:
        database.execute("CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, style TEXT)")
        database.execute(
            "INSERT INTO gpkg_contents (table_name, data_type) VALUES ('layer_styles', 'attributes')"
        )
    assert len(read_geopackage(path, None)[0]) == 1
    with pytest.raises(InputError, match=r"no layer 'layer_styles'(.|\n)*drawn"):
        read_geopackage(path, "layer_styles")


@pytest.mark.parametrize(
    ("blob", "message"),
    [
        (None, "no geometry"),
        (b"", "damaged"),
        (b"GP", "damaged"),
        (b"XX\0\1" + bytes(4), "damaged"),
        (b"GP\0\x0b" + bytes(200), "damaged"),
        ("POINT (1 2)", "damaged"),
        (5, "damaged"),
        (header() + struct.pack("<BI", 1, 99), "damaged"),
        (header() + struct.pack("<BI", 1, 9001), "damaged"),
        (header() + struct.pack("<BII", 1, 2, 2**32 - 1), "damaged"),
        (header() + struct.pack("<BIII", 1, 3, 1, 2**31), "damaged"),
        (header() + struct.pack("<BII", 1, 6, 2**32 - 1), "damaged"),
        (header() + struct.pack("<BIId", 1, 2, 2, 1.0), "damaged"),
    ],
)
def test_shapes_that_are_none(tmp_path: Path, blob: Any, message: str) -> None:
    """Cut off, of another kind, or with a number of points that it cannot hold: the feature is named."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2), shapely.Point(3, 4)])
    with changed(path) as database:
        database.execute("UPDATE drawn SET geom = ? WHERE fid = 2", (blob,))
    with pytest.raises(InputError, match=message) as fault:
        read_geopackage(path, None)
    assert fault.value.where == f"{path}: feature 2"


def test_kinds_that_are_not_taken_apart_keep_their_name(tmp_path: Path) -> None:
    """Curves and collections have no place in a site file; who drew them is told what they are."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2)])
    for code, name in ((7, "GeometryCollection"), (8, "CircularString"), (1010, "CurvePolygon")):
        with changed(path) as database:
            database.execute("UPDATE drawn SET geom = ?", (header() + struct.pack("<BII", 1, code, 0),))
        (feature,), _ = read_geopackage(path, None)
        assert (feature.kind, feature.parts) == (name, ())


def test_empty_shapes_have_no_parts(tmp_path: Path) -> None:
    """A point of NaN, and lists of nothing, as GEOS writes them."""
    path = written(tmp_path / "a.gpkg", [shapely.Point(1, 2)])
    for kind in ("POINT", "LINESTRING", "POLYGON", "MULTIPOLYGON"):
        blob = shapely.to_wkb(shapely.from_wkt(f"{kind} EMPTY"))
        with changed(path) as database:
            database.execute("UPDATE drawn SET geom = ?", (header() + blob,))
        (feature,), _ = read_geopackage(path, None)
        assert feature.parts == ()


def test_more_features_than_a_drawing_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused by their number, before they fill memory."""
    monkeypatch.setattr(geopackage, "MOST_FEATURES", 3)
    three = written(tmp_path / "a.gpkg", [shapely.Point(k, 2) for k in range(3)])
    assert len(read_geopackage(three, None)[0]) == 3
    four = written(tmp_path / "b.gpkg", [shapely.Point(k, 2) for k in range(4)])
    with pytest.raises(InputError, match=r"more than 3 features(.|\n)*near the site"):
        read_geopackage(four, None)


def test_damage_anywhere_ends_in_features_or_a_message(tmp_path: Path) -> None:
    """Bytes changed all over, 60 times: never a traceback of SQLite."""
    shapes = [shapely.Point(k, 2).buffer(3) for k in range(40)]
    content = written(tmp_path / "a.gpkg", shapes).read_bytes()
    path = tmp_path / "damaged.gpkg"
    for seed in range(60):
        rng = random.Random(seed)
        damaged = bytearray(content)
        for _ in range(rng.randrange(1, 60)):
            damaged[rng.randrange(100, len(damaged))] = rng.randrange(256)
        path.write_bytes(damaged[: rng.randrange(2000, len(damaged))] if seed % 3 == 0 else damaged)
        try:
            read_geopackage(path, None)
        except InputError as fault:
            told = fault
        else:
            continue
        assert str(path) in told.where

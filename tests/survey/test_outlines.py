"""Shapes drawn in a map program become the site file's shapes, or a message with file and feature."""

import json
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pyproj
import pytest
import shapefile
import shapely

from terrain3d.errors import InputError
from terrain3d.readers.shapes import read_features
from terrain3d.site import FileRef, FoliageShape, MountShape, ProtectShape, Site, SolidShape, TreatShape
from terrain3d.survey.build import build_terrain
from terrain3d.survey.outlines import expand

SQUARE = [[5.0, 55.0], [5.001, 55.0], [5.001, 55.001], [5.0, 55.001], [5.0, 55.0]]


def geojson(path: Path, *features: tuple[str, Any, dict[str, Any]], **members: Any) -> Path:
    """A GeoJSON file (RFC 7946) of (geometry type, coordinates, properties)."""
    path.write_text(
        json.dumps(
            {
                "type": "FeatureCollection",
                "features": [
                    {"type": "Feature", "properties": p, "geometry": {"type": t, "coordinates": c}}
                    for t, c, p in features
                ],
            }
            | members
        )
    )
    return path


def test_each_kind_of_geometry_gives_its_key(tmp_path: Path) -> None:
    """Point -> at, LineString -> path, Polygon -> outline without the closing point; degrees by standard."""
    geojson(tmp_path / "mounts.geojson", ("Point", [5.0, 55.0], {"name": "pole", "heights": [0.8, 1.0]}))
    geojson(
        tmp_path / "solids.geojson",
        ("LineString", SQUARE[:2], {"name": "wall", "height": 1.5, "thickness": 0.3}),
        ("Polygon", [SQUARE], {"name": "barn", "height": 4}),
    )
    ((mount, crs),) = expand([FileRef(file="mounts.geojson")], MountShape, tmp_path)
    assert (mount.at, mount.heights) == ((5.0, 55.0), (0.8, 1.0))
    assert crs == pyproj.CRS("EPSG:4326")
    wall, barn = (shape for shape, _ in expand([FileRef(file="solids.geojson")], SolidShape, tmp_path))
    assert wall.path == ((5.0, 55.0), (5.001, 55.0))
    assert barn.outline == tuple((x, y) for x, y in SQUARE[:-1])
    assert barn.height == 4.0


def test_the_entrys_keys_are_defaults_and_drawn_shapes_stay(tmp_path: Path) -> None:
    """A feature's value goes before the entry's; the site file's order stays; drawn ones have no CRS."""
    geojson(
        tmp_path / "hedges.geojson",
        ("Polygon", [SQUARE], {"name": "low", "height": 1.0, "density": None}),
        ("Polygon", [SQUARE], {"name": "high", "height": None, "fid": 9}),
    )
    drawn = FoliageShape(name="drawn", outline=((0, 0), (1, 0), (1, 1)), height=1.0, density=1.0)
    entries = [drawn, FileRef(file="hedges.geojson", height=3.0, density=2.0)]
    shapes = expand(entries, FoliageShape, tmp_path)
    assert [(shape.name, shape.height, shape.density) for shape, _ in shapes] == [
        ("drawn", 1.0, 1.0),
        ("low", 1.0, 2.0),
        ("high", 3.0, 2.0),
    ]
    assert [crs is None for _, crs in shapes] == [True, False, False]


def test_numbers_kept_as_text_and_names_kept_as_numbers(tmp_path: Path) -> None:
    """Tables of map programs hold numbers in text columns, lists as text, and names that are numbers."""
    geojson(tmp_path / "m.geojson", ("Point", [5, 55], {"name": 12, "heights": "[0.8, 1.2]"}))
    geojson(tmp_path / "s.geojson", ("Polygon", [SQUARE], {"name": "barn", "height": "4.5"}))
    assert expand([FileRef(file="m.geojson")], MountShape, tmp_path)[0][0].heights == (0.8, 1.2)
    assert expand([FileRef(file="m.geojson")], MountShape, tmp_path)[0][0].name == "12"
    assert expand([FileRef(file="s.geojson")], SolidShape, tmp_path)[0][0].height == 4.5


def test_the_key_as_of_treat(tmp_path: Path) -> None:
    """A key whose name in the site file is not the field's works from a layer too."""
    geojson(tmp_path / "treat.geojson", ("Polygon", [SQUARE], {"as": "nothing"}))
    ((shape, _),) = expand([FileRef(file="treat.geojson")], TreatShape, tmp_path)
    assert shape.take_as == "nothing"


def test_a_legacy_crs_member_is_obeyed(tmp_path: Path) -> None:
    """GeoJSON of 2008 could name a CRS; many map programs still write it."""
    geojson(
        tmp_path / "m.geojson",
        ("Point", [500_000.0, 6_000_000.0], {"name": "pole"}),
        crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32631"}},
    )
    ((mount, crs),) = expand([FileRef(file="m.geojson")], MountShape, tmp_path)
    assert crs == pyproj.CRS("EPSG:32631")
    assert mount.at == (500_000.0, 6_000_000.0)


def geopackage(path: Path, layer: str, crs: str | None = "EPSG:32631", append: bool = False) -> Path:
    pyogrio.raw.write(
        path,
        shapely.to_wkb(np.array([shapely.MultiPolygon([shapely.box(0, 0, 10, 5)])])),
        [np.array(["yard"], object), np.array([2.0])],
        ["name", "weight"],
        layer=layer,
        driver="GPKG",
        geometry_type="MultiPolygon",
        crs=crs,
        append=append,
    )
    return path


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_geopackage_layers(tmp_path: Path) -> None:
    """A single layer needs no name; of several one must be named, and the message lists them."""
    path = geopackage(tmp_path / "site.gpkg", "yards")
    ((yard, crs),) = expand([FileRef(file="site.gpkg")], ProtectShape, tmp_path)
    assert (yard.name, yard.weight, len(yard.outline)) == ("yard", 2.0, 4)
    assert crs == pyproj.CRS("EPSG:32631")
    geopackage(path, "lanes", append=True)
    with pytest.raises(InputError, match=r"2 layers: yards, lanes(.|\n)*layer = "):
        expand([FileRef(file="site.gpkg")], ProtectShape, tmp_path)
    assert len(expand([FileRef(file="site.gpkg", layer="lanes")], ProtectShape, tmp_path)) == 1
    with pytest.raises(InputError, match=r"no layer 'ponds'(.|\n)*yards, lanes"):
        expand([FileRef(file="site.gpkg", layer="ponds")], ProtectShape, tmp_path)
    local = geopackage(tmp_path / "local.gpkg", "yards", crs=None)
    assert read_features(local, None)[1] is None


@pytest.mark.parametrize(
    ("model", "feature", "message"),
    [
        (
            SolidShape,
            ("Point", [5, 55], {"name": "w", "height": 1}),
            r"is a Point(.|\n)*LineString or a Polygon",
        ),
        (MountShape, ("Polygon", [SQUARE], {"name": "m"}), r"is a Polygon(.|\n)*as a Point"),
        (
            ProtectShape,
            (
                "Polygon",
                [SQUARE, [[5.0002, 55.0002], [5.0004, 55.0002], [5.0004, 55.0004], [5.0002, 55.0002]]],
                {},
            ),
            r"1 hole(.|\n)*without holes",
        ),
        (ProtectShape, ("MultiPolygon", [[SQUARE], [SQUARE]], {"name": "y"}), r"of 2 parts(.|\n)*split"),
        (
            SolidShape,
            ("LineString", SQUARE[:2], {"name": "w", "heigth": 1}),
            r"unknown key 'heigth'(.|\n)*'height'",
        ),
        (
            SolidShape,
            ("LineString", SQUARE[:2], {"name": "w", "height": 1}),
            r"has no thickness(.|\n)*in metres",
        ),
        (SolidShape, ("Polygon", [SQUARE], {"name": "b", "height": "tall"}), r"'tall' is not a number"),
        (ProtectShape, ("Polygon", [SQUARE], {}), r"'name' is missing"),
        (ProtectShape, ("LineString", SQUARE, {"name": "y"}), r"draw it as a Polygon, a line that is closed"),
        (
            MountShape,
            ("Point", [500_000, 6_000_000], {"name": "m"}),
            r"no longitude and latitude(.|\n)*KML are in EPSG:4326, longitude first",
        ),
        (MountShape, ("Point", [], {"name": "m"}), r"empty|no geometry"),
    ],
)
def test_faults_name_file_and_feature(
    tmp_path: Path, model: Any, feature: tuple[str, Any, dict[str, Any]], message: str
) -> None:
    """Whatever is wrong with a feature, the message says which one it is, in which file."""
    good = {
        SolidShape: ("Polygon", [SQUARE], {"name": "good", "height": 2}),
        MountShape: ("Point", [5, 55], {"name": "good"}),
        ProtectShape: ("Polygon", [SQUARE], {"name": "good"}),
    }[model]
    geojson(tmp_path / "shapes.geojson", good, feature)
    with pytest.raises(InputError, match=message) as fault:
        expand([FileRef(file="shapes.geojson")], model, tmp_path)
    assert "shapes.geojson: feature 2" in str(fault.value)


def test_mounts_of_two_files_must_differ_in_name(tmp_path: Path) -> None:
    """The site file refuses twins among drawn mounts; layers must not bring them in by the back door."""
    geojson(tmp_path / "a.geojson", ("Point", [5, 55], {"name": "pole"}))
    with pytest.raises(InputError, match="two of mount are named 'pole'"):
        expand([MountShape(name="pole", at=(0, 0)), FileRef(file="a.geojson")], MountShape, tmp_path)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.geojson", None, "no such file"),
        ("a.geojson", b"", "it is empty"),
        ("a.geojson", b"outlines", "neither GeoJSON, GeoPackage, KML, Shapefile nor DXF"),
        ("a.shp", b"\x00\x00\x27\x0a", "cannot be read as a shapefile"),
        ("a.vrt", b"<OGRVRTDataSource/>", "no KML: it begins with <OGRVRTDataSource>"),
        ("a.kmz", b"PK\x03\x04" + b"x" * 90, "a ZIP archive, such as a KMZ"),
        ("a.dbf", b"\x03" + b"x" * 90, r"a part of a shapefile(.|\n)*name the .shp"),
        ("a.dwg", b"AC1032" + b"x" * 90, r"a DWG drawing(.|\n)*save it as DXF"),
        (
            "a.geojson",
            b'{"type": "FeatureCollection", "features": [',
            "valid GeoJSON: it is cut off in line 1",
        ),
        ("a.geojson", b'{"type":"FeatureColl', "valid GeoJSON: it is cut off in line 1"),
        ("a.geojson", b'{"type":\n;', "valid GeoJSON: line 2, column 1 is wrong"),
        ("a.geojson", b'{"type": "\xe4"}', "not in UTF-8"),
        ("a.geojson", b'{"name": "not a map"}', "is JSON, but no GeoJSON"),
        ("a.geojson", b'{"type": "FeatureCollection", "features": []}', "no features|no layer"),
        ("a.gpkg", b"SQLite format 3\0" + bytes(200), "cannot be read"),
    ],
)
def test_files_that_are_no_layers(tmp_path: Path, name: str, content: bytes | None, message: str) -> None:
    """Missing, empty, other formats, cut short: one message, no traceback of the library."""
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_features(tmp_path / name, None)


def test_one_site_from_files_of_four_formats(tmp_path: Path) -> None:
    """Mounts of a shapefile in UTM, an area of a KML in degrees, a wall and the ground of a DXF.

    All lie where they belong, to the millimetre, by PROJ's own transformation.
    """
    x0, y0 = 500_000.0, 6_000_000.0
    drawing = ezdxf.new("R2010", units=6)
    space = drawing.modelspace()
    for n in range(13):
        ends = [(x0 - 30 + 5 * n, y0 - 30), (x0 - 30 + 5 * n, y0 + 30)]
        space.add_lwpolyline(ends, dxfattribs={"layer": "CONTOUR", "elevation": 100 + 0.5 * n})
    space.add_lwpolyline([(x0 - 8, y0 + 4), (x0 + 4, y0 + 4)], dxfattribs={"layer": "WALL"})
    drawing.saveas(tmp_path / "site.dxf")
    with shapefile.Writer(str(tmp_path / "poles.shp")) as writer:
        writer.field("NAME", "C", 20)
        writer.point(x0 - 9, y0 - 9)
        writer.record("corner pole")
    (tmp_path / "poles.prj").write_text(pyproj.CRS("EPSG:32631").to_wkt("WKT1_ESRI"))
    yard = np.array([[-8, -8], [8, -8], [8, 3], [-8, 3]]) + np.array([x0, y0])
    turn = pyproj.Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True)
    places = " ".join(f"{lon:.10f},{lat:.10f},0" for lon, lat in zip(*turn.transform(*yard.T), strict=True))
    (tmp_path / "yard.kml").write_text(
        "<kml><Placemark><name>yard</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{places}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></kml>"
    )
    site = Site.model_validate(
        {
            "site": {"name": "four", "crs": "EPSG:32631"},
            "ground": {"file": "site.dxf", "layer": "CONTOUR"},
            "mount": [{"file": "poles.shp"}],
            "protect": [{"file": "yard.kml"}],
            "solid": [{"file": "site.dxf", "layer": "WALL", "height": 0.9, "thickness": 0.2}],
        }
    )
    terrain = build_terrain(site, tmp_path, 12.0)
    utm = pyproj.CRS("EPSG:32631")
    pole = terrain.mount("corner pole")
    assert (pole.x, pole.y) == pytest.approx(tuple(map(float, terrain.frame.to_local(x0 - 9, y0 - 9, utm))))
    drawn = np.column_stack(terrain.frame.to_local(*yard.T, utm))
    np.testing.assert_allclose(terrain.protect[0].outline, drawn, atol=0.001)
    assert terrain.solids.names == ("WALL",)
    x, y = terrain.frame.to_local(x0 - 8 + np.arange(5.0), np.full(5, y0 - 3), utm)
    np.testing.assert_allclose(terrain.ground.height_at(x, y), 102.2 + 0.1 * np.arange(5), atol=0.001)

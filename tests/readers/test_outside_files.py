"""Files from outside that order a library to fetch an address or to open another file: none is obeyed.

Every trap here is documented by the library that would follow it: GDAL's drivers (VRT, GDALG, GeoJSON's crs
member of 2008), its sidecars (.aux.xml, .msk, .ovr), SQLite's virtual tables and journals, PROJ's grids and
files of definitions, glTF's uri, OBJ's mtllib, PLY's TextureFile, XML's entities and schemas, KML's links,
LandXML's references, DXF's xrefs and pictures. What is opened is told by the kernel, what
is called by a server on this machine.
"""

import json
import os
import re
import sqlite3
import struct
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import ezdxf
import laspy
import numpy as np
import pyogrio
import pytest
import rasterio
import shapefile
import shapely
from affine import Affine
from laspy.vlrs.known import WktCoordinateSystemVlr
from made_files import e57_with_xml, slope_points, write_e57, write_las, write_tif
from watched import Bait, laid_bait

from terrain3d.errors import InputError
from terrain3d.frame import site_frame
from terrain3d.readers.crs import horizontal, read_crs
from terrain3d.readers.photos import photo_crs, read_photo
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.readers.tiles import found_files
from terrain3d.search.sites import site_files
from terrain3d.site import FileRef, GroundSource, MountShape, load_site
from terrain3d.survey.outlines import expand

NORTH_UP = Affine(2.0, 0, 500_000, 0, -2.0, 6_000_100)
POLE = {
    "type": "Feature",
    "properties": {"name": "pole"},
    "geometry": {"type": "Point", "coordinates": [5, 55]},
}
#: What would stand in the result if the bait were read.
BAIT = {**POLE, "properties": {"name": "BAIT"}}


@pytest.fixture
def bait(tmp_path: Path) -> Iterator[Bait]:
    with laid_bait(tmp_path / "beyond") as laid:
        yield laid


def names(path: Path, layer: str | None = None) -> list[str]:
    """The names of the poles that a file brings."""
    ref = FileRef(file=path.name) if layer is None else FileRef(file=path.name, layer=layer)
    return [mount.name for mount, _ in expand([ref], MountShape, path.parent)]


def refused(path: Path, layer: str | None = None) -> str:
    """The one message that a file of poles ends in: what is wrong with it."""
    with pytest.raises(InputError) as fault:
        names(path, layer)
    assert str(path) in fault.value.where
    assert fault.value.mend
    return fault.value.what


def test_the_bait_works(bait: Bait) -> None:
    """An opening and a call are seen, or nothing below would be tried."""
    bait.put("shape.geojson", "x").read_bytes()
    assert bait.opened.names() == ["shape.geojson"]
    with pytest.raises(urllib.error.HTTPError):
        urllib.request.urlopen(f"{bait.address}/here")
    assert bait.called == ["GET /here"]


def collection(**members: Any) -> str:
    return json.dumps({"type": "FeatureCollection", "features": [POLE], **members})


#: Text in braces that GDAL takes for an order; {file} and {address} are the bait.
ORDERS = {
    "VRT that opens a file": "{{ <OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>{file}"
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "VRT that fetches": "{{ <OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>/vsicurl/{address}/a.json"
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "algorithm that opens a file": '{{"type": "gdal_streamed_alg", "command_line": '
    '"gdal vector pipeline ! read {file} ! write --of=stream streamed"}}',
    "algorithm that fetches": '{{"type": "gdal_streamed_alg", "command_line": '
    '"gdal vector pipeline ! read /vsicurl/{address}/a.json ! write --of=stream streamed"}}',
    "crs by url": '{{"type": "FeatureCollection", "features": [], "crs": '
    '{{"type": "url", "properties": {{"url": "{address}/crs"}}}}}}',
    "crs by link": '{{"type": "FeatureCollection", "features": [], "crs": '
    '{{"type": "link", "properties": {{"href": "{address}/crs", "type": "proj4"}}}}}}',
    "crs by a file of definitions": '{{"type": "FeatureCollection", "features": [], "crs": '
    '{{"type": "name", "properties": {{"name": "+init={file}:x"}}}}}}',
    "crs by the address of a register": '{{"type": "FeatureCollection", "features": [], "crs": '
    '{{"type": "name", "properties": {{"name": "{address}/def/crs/EPSG/0/32631"}}}}}}',
    "feature service": '{{"geometryType": "esriGeometryPoint", "exceededTransferLimit": true, '
    '"url": "{address}", "features": []}}',
    "topology": '{{"type": "Topology", "objects": {{}}, "arcs": []}}',
    "web service": '{{"links": [{{"rel": "data", "type": "application/json", "href": "{address}/all"}}]}}',
    "tiles": '{{"type": "Feature", "stac_version": "1.0.0", "assets": '
    '{{"a": {{"href": "{address}/a.tif"}}}}, "geometry": null}}',
}


@pytest.mark.parametrize("order", ORDERS)
def test_orders_in_braces_end_in_one_message(tmp_path: Path, bait: Bait, order: str) -> None:
    """What begins as GeoJSON does is read as GeoJSON, whatever else GDAL would make of it."""
    target = bait.put("bait.geojson", json.dumps(BAIT))
    path = tmp_path / "shapes.geojson"
    # A collection with a pole, so that obeying would not end in "no features" alone.
    text = ORDERS[order].format(file=target, address=bait.address)
    path.write_text(text.replace('"features": []', f'"features": [{json.dumps(POLE)}]'))
    refused(path)
    bait.assert_untouched()


def test_links_in_a_collection_are_not_followed(tmp_path: Path, bait: Bait) -> None:
    """OGC API - Features pages its answers by a link; the page that was saved is all there is."""
    path = tmp_path / "shapes.geojson"
    path.write_text(collection(links=[{"rel": "next", "href": f"{bait.address}/next"}]))
    assert names(path) == ["pole"]
    bait.assert_untouched()


def test_an_archive_behind_a_brace_is_no_geojson(tmp_path: Path, bait: Bait) -> None:
    """A ZIP may have anything before it, and GDAL looks into ZIPs."""
    path = tmp_path / "shapes.geojson"
    path.write_bytes(
        b"{" + b"PK\x03\x04" + bytes(26) + f"{bait.address}/a.vrt".encode() + b"PK\x05\x06" + bytes(18)
    )
    refused(path)
    bait.assert_untouched()


def geopackage(path: Path, *, layer: str = "poles") -> Path:
    """One pole in a GeoPackage as GDAL writes it."""
    pyogrio.raw.write(
        path,
        shapely.to_wkb(np.array([shapely.Point(5, 55)])),
        [np.array(["pole"], object)],
        ["name"],
        layer=layer,
        driver="GPKG",
        geometry_type="Point",
        crs="EPSG:4326",
    )
    return path


def without_triggers(path: Path) -> Path:
    """Those of the index call functions that only a map library has; without them a pole can be changed."""
    database = sqlite3.connect(path)
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        database.execute(f'DROP TRIGGER "{name}"')
    database.commit()
    database.close()
    return path


def add_layer(path: Path, kind: str, statement: str) -> Path:
    """Register a layer `trap`; what makes it goes where SQLite keeps such statements, and is not run."""
    database = sqlite3.connect(path)
    database.execute("PRAGMA writable_schema = on")
    database.execute("INSERT INTO sqlite_master VALUES (?, 'trap', 'trap', 0, ?)", (kind, statement))
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, srs_id) VALUES ('trap', 'features', 4326)"
    )
    database.execute("INSERT INTO gpkg_geometry_columns VALUES ('trap', 'geom', 'POINT', 4326, 0, 0)")
    database.commit()
    database.close()
    return path


#: Tables of SQLite and of what GDAL and SpatiaLite add to it; {file} and {address} are the bait.
TABLES = {
    "text": (
        "table",
        "CREATE VIRTUAL TABLE trap USING VirtualText('{file}', 'UTF-8', 1, COMMA, DOUBLEQUOTE, ',')",
    ),
    "shapefile": ("table", "CREATE VIRTUAL TABLE trap USING VirtualShape('{file}', 'UTF-8', 4326)"),
    "another source": ("table", "CREATE VIRTUAL TABLE trap USING VirtualOGR('{file}')"),
    "an address": ("table", "CREATE VIRTUAL TABLE trap USING VirtualOGR('/vsicurl/{address}/a.json')"),
    "lines of text": ("table", "CREATE VIRTUAL TABLE trap USING csv(filename='{file}')"),
    "search index": ("table", "CREATE VIRTUAL TABLE trap USING fts5(name, geom)"),
    "box index": ("table", "CREATE VIRTUAL TABLE trap USING rtree(id, a, b, c, d)"),
    "extension": ("view", "CREATE VIEW trap AS SELECT fid, name, geom, load_extension('{file}') FROM poles"),
    "view": ("view", "CREATE VIEW trap AS SELECT fid, 'BAIT' AS name, geom FROM poles"),
}


@pytest.mark.parametrize("table", TABLES)
def test_only_plain_tables_of_a_geopackage_are_read(tmp_path: Path, bait: Bait, table: str) -> None:
    """A table that is computed or lies elsewhere is refused, and does not stand in the way of the others."""
    target = bait.put("bait.csv", "name,x,y\nBAIT,5,55\n")
    kind, statement = TABLES[table]
    path = add_layer(
        geopackage(tmp_path / "site.gpkg"), kind, statement.format(file=target, address=bait.address)
    )
    assert "no plain table" in refused(path, "trap")
    assert names(path, "poles") == ["pole"]
    bait.assert_untouched()


def test_tables_of_the_standard_must_be_plain_too(tmp_path: Path) -> None:
    """A view in the place of the list of layers would say what it likes, when it is asked."""
    path = geopackage(tmp_path / "site.gpkg")
    with sqlite3.connect(path) as database:
        database.execute("ALTER TABLE gpkg_contents RENAME TO other")
        database.execute("CREATE VIEW gpkg_contents AS SELECT * FROM other")
    database.close()
    assert "cannot be read as a GeoPackage" in refused(path)


def test_columns_that_are_computed_are_left_out(tmp_path: Path) -> None:
    """SQLite can compute a column when it is read; only what is stored is taken."""
    path = geopackage(tmp_path / "site.gpkg")
    with sqlite3.connect(path) as database:
        database.execute("ALTER TABLE poles ADD COLUMN heights AS (printf('[%.*c]', 900000000, '1'))")
    database.close()
    assert names(path) == ["pole"]


def test_another_database_is_no_geopackage(tmp_path: Path) -> None:
    """The standard marks its own (OGC 12-128, requirement 2); others belong to other drivers."""
    path = geopackage(tmp_path / "site.gpkg")
    content = bytearray(path.read_bytes())
    content[68:72] = bytes(4)
    path.write_bytes(content)
    refused(path)


def state(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


def test_a_geopackage_is_never_written_to(tmp_path: Path) -> None:
    """One kept in SQLite's write-ahead mode would have two files made beside it by whoever reads it."""
    path = geopackage(tmp_path / "site.gpkg")
    with sqlite3.connect(path) as database:
        database.execute("PRAGMA journal_mode = wal")
    database.close()
    before = state(tmp_path)
    tmp_path.chmod(0o555)
    try:
        assert names(path) == ["pole"]
    finally:
        tmp_path.chmod(0o755)
    assert state(tmp_path) == before


def test_a_geopackage_still_open_elsewhere_is_not_read_half(tmp_path: Path) -> None:
    """What was drawn last stands in the file beside it, which is for its own program to put in."""
    path = without_triggers(geopackage(tmp_path / "site.gpkg"))
    database = sqlite3.connect(path)
    database.execute("PRAGMA journal_mode = wal")
    database.execute("UPDATE poles SET name = 'moved'")
    database.commit()
    before = state(tmp_path)
    assert "site.gpkg-wal lies beside it" in refused(path)
    link = tmp_path / "link.gpkg"
    link.symlink_to(path)
    assert "site.gpkg-wal lies beside it" in refused(link)
    link.unlink()
    assert state(tmp_path) == before
    database.close()
    assert names(path) == ["moved"]


def test_a_journal_is_not_played_back(tmp_path: Path, bait: Bait) -> None:
    """A journal can name another file, which SQLite would open and delete (file format, 3)."""
    path = geopackage(tmp_path / "site.gpkg")
    other = str(bait.put("other-journal", b"x")).encode()
    header = struct.pack(">8s5I", b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7", 0, 0, 1, 512, 4096).ljust(512, b"\0")
    tail = struct.pack(f">I{len(other)}sII8s", 1, other, len(other), sum(other), header[:8])
    (tmp_path / "site.gpkg-journal").write_bytes(header + tail)
    before = state(tmp_path)
    refused(path)
    assert state(tmp_path) == before
    bait.assert_untouched()


def nested_wkb(depth: int, kind: int) -> bytes:
    return b"GP\0\1" + bytes(4) + struct.pack("<BII", 1, kind, 1) * depth + struct.pack("<BIdd", 1, 1, 5, 55)


@pytest.mark.parametrize("kind", [4, 6, 7])
def test_shapes_nested_a_million_deep_end_in_one_message(tmp_path: Path, kind: int) -> None:
    """A library that goes down one call a level has no stack left, and the process ends."""
    path = without_triggers(geopackage(tmp_path / "site.gpkg"))
    with sqlite3.connect(path) as database:
        database.execute("UPDATE poles SET geom = ?", (nested_wkb(1_000_000, kind),))
    database.close()
    assert re.search("damaged|is a GeometryCollection", refused(path))


@pytest.mark.parametrize(
    "text",
    [
        '{"type": "GeometryCollection", "geometries": [' * 200_000,
        '{"type": "Feature", "properties": {"name": ' + "[" * 200_000,
        '{"type": "Polygon", "coordinates": ' + "[" * 200_000 + "]" * 200_000 + "}",
    ],
)
def test_json_nested_deep_ends_in_one_message(tmp_path: Path, text: str) -> None:
    """However deep, never the end of the process or a traceback."""
    path = tmp_path / "shapes.geojson"
    path.write_text(text)
    assert "too deep" in refused(path)


def vrt_of(source: str) -> str:
    """A mask of 4 x 4 cells, as GDAL's text that stands for another file or address."""
    whole = 'xOff="0" yOff="0" xSize="4" ySize="4"'
    return (
        '<VRTDataset rasterXSize="4" rasterYSize="4">'
        '<Metadata><MDI key="INTERNAL_MASK_FLAGS_1">2</MDI></Metadata>'
        '<VRTRasterBand dataType="Byte" band="1">'
        f"<SimpleSource><SourceFilename>{source}</SourceFilename><SourceBand>1</SourceBand><SrcRect {whole}/>"
        f"<DstRect {whole}/></SimpleSource></VRTRasterBand></VRTDataset>"
    )


#: Files that GDAL looks for beside a grid.
SIDECARS = {
    "mask of another file": (".msk", vrt_of("{file}")),
    "mask of an address": (".msk", vrt_of("/vsicurl/{address}/a.tif")),
    "smaller picture of another file": (".ovr", vrt_of("{file}")),
    "note of another file": (
        ".aux.xml",
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{file}</MDI></Metadata>'
        "</PAMDataset>",
    ),
    "note that lifts the ground": (
        ".aux.xml",
        '<PAMDataset><PAMRasterBand band="1"><Offset>1000</Offset><Scale>3</Scale></PAMRasterBand>'
        "</PAMDataset>",
    ),
    "note of no data": (
        ".aux.xml",
        '<PAMDataset><PAMRasterBand band="1"><NoDataValue>1</NoDataValue></PAMRasterBand></PAMDataset>',
    ),
    "note that moves the ground": (
        ".aux.xml",
        "<PAMDataset><SRS>EPSG:32632</SRS><GeoTransform>1, 2, 0, 3, 0, -2</GeoTransform></PAMDataset>",
    ),
}


@pytest.mark.parametrize("sidecar", SIDECARS)
@pytest.mark.parametrize("form", ["tif", "asc"])
def test_what_lies_beside_a_grid_changes_nothing(tmp_path: Path, bait: Bait, form: str, sidecar: str) -> None:
    """The heights, their place and their CRS are those of the grid alone."""
    path = tmp_path / f"grid.{form}"
    if form == "tif":
        write_tif(path, np.ones((4, 4)), NORTH_UP)
    else:
        path.write_text(
            "ncols 4\nnrows 4\nxllcorner 500000\nyllcorner 6000092\ncellsize 2\n" + "1 1 1 1\n" * 4
        )
    suffix, content = SIDECARS[sidecar]
    source = write_tif(bait.folder / "bait.tif", np.zeros((4, 4)), NORTH_UP, dtype="uint8")
    bait.opened.names()
    path.with_name(path.name + suffix).write_text(content.format(file=source, address=bait.address))
    header = read_header(path, GroundSource(file=path.name, crs=None if form == "tif" else "EPSG:32631"))
    raster: Any = read_survey(path, header, None)
    assert raster.transform == NORTH_UP
    assert raster.crs.to_epsg() == 32631
    np.testing.assert_array_equal(raster.z, np.ones((4, 4)))
    bait.assert_untouched()
    assert any("the mask beside it" in doubt for doubt in raster.doubts) == (suffix == ".msk")


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("sidecar", SIDECARS)
@pytest.mark.parametrize("form", ["tif", "jpg"])
def test_what_lies_beside_a_photograph_changes_nothing(
    tmp_path: Path, bait: Bait, form: str, sidecar: str
) -> None:
    """Its colours, their place and what of it is blank are those of the photograph and its world file."""
    path = tmp_path / f"ortho.{form}"
    pixels = np.full((3, 4, 4), 99, np.uint8)
    if form == "tif":
        write_tif(path, pixels, NORTH_UP, dtype="uint8", count=3)
    else:
        with rasterio.open(path, "w", driver="JPEG", width=4, height=4, count=3, dtype="uint8") as dataset:
            dataset.write(pixels)
        Path(f"{path}.aux.xml").unlink(missing_ok=True)
        middle = NORTH_UP @ (0.5, 0.5)
        path.with_suffix(".jgw").write_text(f"2\n0\n0\n-2\n{middle[0]}\n{middle[1]}\n")
    suffix, content = SIDECARS[sidecar]
    source = write_tif(bait.folder / "bait.tif", np.zeros((4, 4)), NORTH_UP, dtype="uint8")
    bait.opened.names()
    path.with_name(path.name + suffix).write_text(content.format(file=source, address=bait.address))
    crs = photo_crs(path)
    assert (None if crs is None else crs.to_epsg()) == (32631 if form == "tif" else None)
    west, south = NORTH_UP @ (0, 4)
    photo = read_photo(path, crs, (west, south, west + 8, south + 8), 2.0)
    assert photo.transform == NORTH_UP
    assert photo.known.all()
    assert (photo.rgb == 99).all()
    bait.assert_untouched()


def test_tiles_are_looked_for_in_one_folder(tmp_path: Path, bait: Bait) -> None:
    """A pattern, a folder, and a link in it that leads to another: nothing beyond is looked through."""
    folder = tmp_path / "tiles"
    folder.mkdir()
    (folder / "beyond").symlink_to(bait.folder)
    (folder / "in.laz").write_bytes(b"x")
    bait.put("out.laz", b"x")
    for name in ("tiles", "tiles/*", "tiles/*.laz"):
        assert [path.name for path in found_files(name, tmp_path)] == ["in.laz"]
    for name in ("tiles/*/out.laz", "tiles/**/*.laz", "**", "*/*.laz"):
        with pytest.raises(InputError):
            found_files(name, tmp_path)
    bait.assert_untouched()


def test_gdal_fetches_nothing_while_a_grid_is_open(tmp_path: Path, bait: Bait) -> None:
    """Whatever else might bring it to an address: the door to the network is shut as well."""
    from terrain3d.readers.gdal import opened_raster

    path = write_tif(tmp_path / "grid.tif", np.ones((4, 4)), NORTH_UP)
    with opened_raster(path, "GTiff"):
        for name in (f"/vsicurl/{bait.address}/a.tif", f"/vsicurl_streaming/{bait.address}/a.tif"):
            with pytest.raises(rasterio.errors.RasterioIOError):
                rasterio.open(name)
    bait.assert_untouched()


UTM_BASE = (
    'BASEGEOGCRS["WGS 84",DATUM["World Geodetic System 1984",ELLIPSOID["WGS 84",6378137,298.257223563]]],'
)
PLANE_AXES = 'CS[Cartesian,2],AXIS["e",east],AXIS["n",north],LENGTHUNIT["metre",1]'
UTM_WKT = (
    'PROJCS["x",GEOGCS["w",DATUM["d",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],'
    'PARAMETER["central_meridian",3],PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],'
    'PARAMETER["false_northing",0],UNIT["metre",1],EXTENSION["PROJ4","+proj=utm +zone=31 +ellps=WGS84 {0}"]]'
)
DEGREES_WKT = (
    f'GEOGCRS["x",{UTM_BASE}DERIVINGCONVERSION["c",METHOD["NTv2",ID["EPSG",9615]],'
    'PARAMETERFILE["Latitude and longitude difference file","{file}",ID["EPSG",8656]]],CS[ellipsoidal,2],'
    'AXIS["longitude",east],AXIS["latitude",north],ANGLEUNIT["degree",0.0174532925199433]]'
)
#: CRSs spelt out so that PROJ opens a file when it works with them; {file} and {address} are the bait.
SPELT_OUT = {
    "a method": f'PROJCRS["x",{UTM_BASE}CONVERSION["c",METHOD["PROJ hgridshift grids={{file}}"]],'
    f"{PLANE_AXES}]",
    "a derived CRS": DEGREES_WKT,
    "an extension": UTM_WKT.format("+nadgrids={file}"),
    "an extension that fetches": UTM_WKT.format("+nadgrids={address}/a.tif"),
}


def las_with_wkt(path: Path, wkt: str) -> Path:
    plain = laspy.read(write_las(path, slope_points(20), crs=None))
    plain.header.vlrs.append(WktCoordinateSystemVlr(wkt))
    plain.header.global_encoding.wkt = True
    plain.write(path)
    return path


@pytest.mark.parametrize("way", SPELT_OUT)
def test_a_crs_in_a_survey_opens_no_file(tmp_path: Path, bait: Bait, way: str) -> None:
    """It is not understood, the survey says so, and is read in local metres."""
    grid = bait.put("bait.gtx", bytes(100))
    wkt = SPELT_OUT[way].format(file=grid, address=bait.address)
    path = las_with_wkt(tmp_path / "survey.las", wkt)
    header = read_header(path, GroundSource(file=path.name))
    assert header.crs is None
    assert any("cannot be understood" in doubt for doubt in header.doubts)
    bait.assert_untouched()


@pytest.mark.parametrize(
    "text",
    [
        "+init={file}:x",
        "+proj=utm +zone=31 +ellps=intl +nadgrids={file}",
        "+proj=utm +zone=31 +ellps=intl +nadgrids=@null,{file}",
        "+proj=utm +zone=31 +datum=WGS84 +geoidgrids=@{address}/a.tif",
        "+proj=pipeline +step +proj=vgridshift +grids={file}",
        "+proj=defmodel +model={file} +type=crs",
        *SPELT_OUT.values(),
    ],
)
def test_a_crs_of_a_site_file_opens_no_file(bait: Bait, text: str) -> None:
    """PROJ reads some of these when it is asked whether they are a CRS at all."""
    target = bait.put("bait", "<x> +proj=longlat +datum=WGS84\n")
    with pytest.raises(InputError, match=r"names a file(.|\n)*EPSG:32631"):
        read_crs(text.format(file=target, address=bait.address), "site.toml: site: crs")
    bait.assert_untouched()


def test_usual_ways_to_say_a_crs_are_taken() -> None:
    """A code, a name, WKT of either kind, a PROJ string; `@null` is PROJ's word for no grid."""
    for text in ("EPSG:32631", "urn:ogc:def:crs:EPSG::32631", "WGS 84 / UTM zone 31N", UTM_WKT.format("")):
        assert read_crs(text, "x").is_projected
    mercator = "+proj=merc +a=6378137 +b=6378137 +nadgrids=@null +units=m +no_defs"
    assert horizontal(read_crs(mercator, "x")).is_projected
    assert read_crs(UTM_WKT.format("+nadgrids=@null"), "x").is_projected


def test_a_grid_bound_to_a_crs_is_taken_off(tmp_path: Path, bait: Bait) -> None:
    """GDAL writes the grid of a datum or of heights so (WKT 1, EXTENSION); what it is bound to is taken."""
    grid = bait.put("bait.gtx", bytes(100))
    datum = UTM_WKT.format("").replace("],PRIMEM", f',EXTENSION["PROJ4_GRIDS","{grid}"]],PRIMEM', 1)
    heights = f'VERT_CS["h",VERT_DATUM["h",2005,EXTENSION["PROJ4_GRIDS","{grid}"]],UNIT["metre",1]]'
    for wkt in (datum, f'COMPD_CS["c",{datum},{heights}]'):
        path = las_with_wkt(tmp_path / "survey.las", wkt)
        crs = read_header(path, GroundSource(file=path.name)).crs
        assert crs is not None
        assert not crs.is_bound
        site_frame(crs, 500_000.0, 6_000_000.0).to_local([500_000.0], [6_000_000.0], crs)
    bait.assert_untouched()


def test_proj_fetches_no_grid_though_the_machine_asks_for_it(tmp_path: Path, bait: Bait) -> None:
    """EPSG names a grid for the British national grid, and PROJ would fetch it where PROJ_NETWORK is on."""
    work = (
        "import rasterio.warp, pyproj; from terrain3d.frame import site_frame;"
        "from terrain3d.readers.crs import read_crs; crs = read_crs('EPSG:27700', 'x');"
        "site_frame(crs, 400000.0, 400000.0).to_local([400010.0], [400010.0], crs);"
        "rasterio.warp.transform('EPSG:27700', 'EPSG:4326', [400000.0], [400000.0])"
    )
    told = {
        "PROJ_NETWORK": "ON",
        "PROJ_NETWORK_ENDPOINT": bait.address,
        "PROJ_USER_WRITABLE_DIRECTORY": str(tmp_path),
    }
    order = f"import terrain3d.tables; {work}"
    subprocess.run([sys.executable, "-c", order], env=os.environ | told, check=True, timeout=300)
    bait.assert_untouched()


def glb(path: Path, *buffers: dict[str, Any]) -> Path:
    """A GLB of one triangle whose points are in the first of its buffers (glTF 2.0, sections 3.6 and 4.4)."""
    header = {
        "asset": {"version": "2.0"},
        "buffers": list(buffers),
        "bufferViews": [{"buffer": 0, "byteLength": 36}, {"buffer": 0, "byteOffset": 36, "byteLength": 12}],
        "accessors": [
            {
                "bufferView": 0,
                "componentType": 5126,
                "count": 3,
                "type": "VEC3",
                "min": [0, 0, 0],
                "max": [9, 9, 9],
            },
            {"bufferView": 1, "componentType": 5125, "count": 3, "type": "SCALAR"},
        ],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "nodes": [{"mesh": 0}],
        "scenes": [{"nodes": [0]}],
        "scene": 0,
    }
    text = json.dumps(header).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", 48, b"BIN\0") + TRIANGLE
    path.write_bytes(b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks)
    return path


TRIANGLE = struct.pack("<9f3I", 0, 0, 0, 9, 0, 0, 0, 1, 9, 0, 1, 2)


@pytest.mark.parametrize("uri", ["beyond/points.bin", "{file}", "{address}/points.bin", "file://{file}"])
def test_a_glb_takes_no_points_from_elsewhere(tmp_path: Path, bait: Bait, uri: str) -> None:
    """A buffer with a uri lies in another file or at an address; one without is the file's own."""
    points = bait.put("points.bin", TRIANGLE)
    uri = uri.format(file=points, address=bait.address)
    path = glb(tmp_path / "mesh.glb", {"byteLength": 48, "uri": uri})
    with pytest.raises(InputError, match=r"a part of itself elsewhere(.|\n)*one file that holds everything"):
        read_header(path, GroundSource(file="mesh.glb"))
    bait.assert_untouched()
    assert read_header(glb(path, {"byteLength": 48}), GroundSource(file="mesh.glb")).n_points == 3


TRIANGLE_PLY = "element vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\n"
MESHES = {
    "mesh.obj": "mtllib beyond/look.mtl\nusemtl a\nv 0 0 0\nv 9 0 0\nv 0 9 1\nvt 0 0\nf 1/1 2/1 3/1\n",
    "mesh.ply": f"ply\nformat ascii 1.0\ncomment TextureFile beyond/look.png\n{TRIANGLE_PLY}"
    "property list uchar int vertex_indices\nend_header\n0 0 0\n9 0 0\n0 9 1\n3 0 1 2\n",
}


@pytest.mark.parametrize("name", MESHES)
def test_how_a_mesh_looks_is_not_looked_for(tmp_path: Path, bait: Bait, name: str) -> None:
    """Materials and pictures lie in other files, and a survey has no need of them."""
    bait.put("look.mtl", "newmtl a\nmap_Kd look.png\n")
    bait.put("look.png", b"\x89PNG")
    (tmp_path / name).write_text(MESHES[name])
    assert read_header(tmp_path / name, GroundSource(file=name)).n_points == 3
    bait.assert_untouched()


#: What XML has to say before its root to grow by itself, or to have a file or an address read (XML 1.0, 4.2).
PROLOGUES = {
    "a file as an entity": '<!DOCTYPE r [<!ENTITY x SYSTEM "{file}">]>',
    "an address as an entity": '<!DOCTYPE r [<!ENTITY x SYSTEM "{address}/a.xml">]>',
    "a parameter entity": '<!DOCTYPE r [<!ENTITY % x SYSTEM "{address}/a.dtd"> %x;]>',
    "an external subset": '<!DOCTYPE r SYSTEM "{file}">',
    "entities of entities": "<!DOCTYPE r [<!ENTITY a 'ha'>"
    + "".join(f"<!ENTITY {chr(98 + n)} '{f'&{chr(97 + n)};' * 10}'>" for n in range(12))
    + "<!ENTITY x '&m;'>]>",
}
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>{name}</name>{extra}'
    "<Point><coordinates>5,55</coordinates></Point></Placemark>{more}</Document></kml>"
)
LANDXML = (
    '<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2" {attributes}>'
    '<Units><Metric linearUnit="meter"/></Units>{more}<Surfaces><Surface name="{name}">{extra}'
    '<Definition surfType="TIN"><Pnts><P id="1">0 0 1</P><P id="2">0 50 1</P><P id="3">50 0 2</P></Pnts>'
    "<Faces><F>1 2 3</F></Faces></Definition></Surface></Surfaces></LandXML>"
)


@pytest.mark.parametrize("prologue", PROLOGUES)
@pytest.mark.parametrize("form", ["kml", "landxml", "e57"])
def test_xml_declares_nothing(tmp_path: Path, bait: Bait, form: str, prologue: str) -> None:
    """A document type ends in one message, whatever would come of it."""
    target = bait.put("bait.xml", "<x>BAIT</x>")
    declared = PROLOGUES[prologue].format(file=target, address=bait.address)
    path = tmp_path / f"a.{form}"
    if form == "kml":
        path.write_text(declared + KML.format(name="&x;", extra="", more=""))
        assert "declares a document type" in refused(path)
    elif form == "landxml":
        path.write_text(declared + LANDXML.format(name="&x;", extra="", more="", attributes=""))
        with pytest.raises(InputError, match="declares a document type"):
            read_header(path, GroundSource(file=path.name))
    else:
        x, y, z = slope_points(5).T
        write_e57(path, {"cartesianX": x, "cartesianY": y, "cartesianZ": z}, metadata="NAME")
        e57_with_xml(path, b"<e57Root", declared.encode() + b"<e57Root")
        with pytest.raises(InputError, match="declares a document type"):
            read_header(path, GroundSource(file=path.name))
    bait.assert_untouched()


def test_entities_without_a_document_type_end_in_one_message(tmp_path: Path) -> None:
    """They stand for nothing."""
    path = tmp_path / "a.kml"
    path.write_text(KML.format(name="&x;", extra="", more=""))
    assert "undefined entity" in refused(path)


#: Links that a map program would follow (OGC 12-007r2: NetworkLink, Icon, styleUrl, schemaUrl, overlays).
LINKS = [
    "<NetworkLink><Link><href>{link}</href></Link></NetworkLink>",
    "<GroundOverlay><Icon><href>{link}</href></Icon></GroundOverlay>",
    "<Style><IconStyle><Icon><href>{link}</href></Icon></IconStyle></Style>",
    "<NetworkLinkControl><Update><targetHref>{link}</targetHref></Update></NetworkLinkControl>",
]


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("to", ["{address}/a.kml", "{file}"])
def test_links_of_a_kml_are_not_followed(tmp_path: Path, bait: Bait, link: str, to: str) -> None:
    """What stands in the file itself is all there is; a file of links alone says so."""
    target = bait.put("bait.kml", KML.format(name="BAIT", extra="", more=""))
    more = link.format(link=to.format(address=bait.address, file=target))
    path = tmp_path / "a.kml"
    extra = (
        f"<styleUrl>{bait.address}/a.kml#s</styleUrl><description>"
        f"<![CDATA[<img src='{bait.address}/a.png'/>]]></description>"
        f'<ExtendedData><SchemaData schemaUrl="{bait.address}/a#s"/></ExtendedData>'
    )
    path.write_text(KML.format(name="pole", extra=extra, more=more))
    assert names(path) == ["pole"]
    path.write_text(f"<kml><Document>{more}</Document></kml>")
    assert re.search("lie elsewhere|no features", refused(path))
    bait.assert_untouched()


def test_references_of_a_landxml_are_not_followed(tmp_path: Path, bait: Bait) -> None:
    """Schemas, style sheets, inclusions, and documents and pictures that a feature names."""
    target = bait.put("bait.xml", LANDXML.format(name="BAIT", extra="", more="", attributes=""))
    path = tmp_path / "a.xml"
    text = LANDXML.format(
        name="ground",
        extra=f'<Feature><DocFileRef name="a" location="{target}"/>'
        f'<DocFileRef name="b" location="{bait.address}/b.xml"/></Feature>',
        more=f'<xi:include href="{target}"/><Application url="{bait.address}"/>',
        attributes=f'xmlns:xi="http://www.w3.org/2001/XInclude" '
        f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
        f'xsi:schemaLocation="http://www.landxml.org/schema/LandXML-1.2 {bait.address}/LandXML-1.2.xsd"',
    )
    path.write_text(f'<?xml-stylesheet href="{bait.address}/a.xsl" type="text/xsl"?>{text}')
    header = read_header(path, GroundSource(file=path.name))
    assert "surface 'ground' of 1 triangle" in header.form
    bait.assert_untouched()


def test_other_drawings_and_pictures_of_a_dxf_are_not_looked_for(tmp_path: Path, bait: Bait) -> None:
    """An xref is a block with the path of another drawing (DXF reference, BLOCK); pictures have paths too."""
    other = ezdxf.new("R2010", units=6)
    other.modelspace().add_point((9, 9, 9))
    target = bait.folder / "other.dxf"
    other.saveas(target)
    picture = bait.put("photo.png", b"\x89PNG")
    drawing = ezdxf.new("R2010", units=6)
    space = drawing.modelspace()
    for x, y in ((0, 0), (9, 0), (0, 9)):
        space.add_point((x, y, 1))
    drawing.add_xref_def(filename=str(target), name="OTHER")
    space.add_blockref("OTHER", (0, 0, 0))
    space.add_image(drawing.add_image_def(str(picture), (9, 9)), (0, 0), (9, 9))
    space.add_underlay(drawing.add_underlay_def(f"{bait.address}/a.pdf", "pdf"), (0, 0, 0))
    path = tmp_path / "a.dxf"
    drawing.saveas(path)
    bait.opened.names()
    assert read_header(path, GroundSource(file=path.name)).n_points == 3
    assert names(path) == ["0 1", "0 2", "0 3"]
    bait.assert_untouched()


def test_a_shapefile_opens_what_lies_beside_it_alone(tmp_path: Path, bait: Bait) -> None:
    """A CRS that names a grid is refused; memos, indices and notes of others are left alone."""
    grid = bait.put("bait.gtx", bytes(100))
    path = tmp_path / "a.shp"
    with shapefile.Writer(str(path)) as writer:
        writer.field("name", "C", 20)
        writer.point(5, 55)
        writer.record("pole")
    for suffix in (".dbt", ".qix", ".shp.xml", ".sbn"):
        path.with_suffix(suffix).write_bytes(str(grid).encode())
    assert names(path) == ["pole"]
    for wkt in SPELT_OUT.values():
        path.with_suffix(".prj").write_text(wkt.format(file=grid, address=bait.address))
        with pytest.raises(InputError, match="names no CRS"):
            names(path)
    bait.assert_untouched()


STRANGE_NAMES = [
    "/vsicurl/http://127.0.0.1:9/a.tif", "\\vsicurl\\http://127.0.0.1:9/a.tif", "/VSIZIP/a.zip/a.tif",
    " /vsis3/bucket/a.tif", "//vsimem/a.tif", "http://127.0.0.1:9/a.tif", "HTTPS://127.0.0.1:9/a.tif",
    "s3://bucket/a.tif", "s3:bucket", "ftp://host/a", "file:///etc/hostname", "zip:a.zip!a.tif",
    "zip+https://host/a.zip!a.tif", "vrt://a.tif?bands=1", "PG:dbname=a", "GPKG:a.gpkg:layer",
    "GTIFF_DIR:1:a.tif", "WMS:http://host", "NETCDF:\"a.nc\":z", "//server/share/a.tif",
    "\\\\server\\share\\a.tif",
]  # fmt: skip


def site_with(path: Path, where: str, name: str) -> Path:
    """A site file that names a file, or what looks like one, in one place."""
    names = {
        "ground": 'ground.laz"',
        "protect": "",
        "type": "one-head-90",
        "types": "one-head-90",
        "test": "",
    }
    names = {
        "ground": "", "tiles": "", "surface": "", "photo": "",
        "shapes": "", "type": "one-head-90", "types": "one-head-90", "tests": "", "logo": "",
    } | {where: name}  # fmt: skip
    quoted = {key: json.dumps(value) for key, value in names.items()}
    ground = (
        f"file = {quoted['ground']}"
        if names["ground"]
        else "plane = { fall = 5, towards = 180, extent = 20 }"
    )
    if names["tiles"]:
        ground = f"file = ['first.laz', {quoted['tiles']}]"
    elif names["surface"]:
        ground = f"file = 'bare.tif'\nsurface = {quoted['surface']}"
    elif names["photo"]:
        ground += f"\nphoto = {quoted['photo']}"
    shapes = f"[[protect]]\nfile = {quoted['shapes']}\n" if names["shapes"] else ""
    tests = f"[walk_test]\nfile = {quoted['tests']}\n" if names["tests"] else ""
    tests += f"[paper]\nlogo = {quoted['logo']}\n" if names["logo"] else ""
    path.write_text(
        f'[site]\nname = "s"\n[ground]\n{ground}\n[[mount]]\nname = "m"\nat = [0, 0]\n{shapes}{tests}'
        f'[[option]]\nname = "o"\n[[option.detector]]\nname = "d"\nmount = "m"\ntype = {quoted["type"]}\n'
        f"height = 1.0\nbearing = 0\n[search]\ntypes = [{quoted['types']}]\n"
    )
    return path


@pytest.mark.parametrize(
    "where", ["ground", "tiles", "surface", "photo", "shapes", "type", "types", "tests", "logo"]
)
def test_a_site_file_names_local_files_alone(tmp_path: Path, where: str) -> None:
    """Wherever a site file names a file, an address or an order to a library is refused before any is met."""
    path = tmp_path / "site.toml"
    for name in STRANGE_NAMES:
        with pytest.raises(InputError, match=r"not the path of a file(.|\n)*a file on this machine") as fault:
            load_site(site_with(path, where, name))
        assert repr(name) in fault.value.what
        assert str(path) in fault.value.where
    for name in (
        "surveys/hill.laz",
        "../é (1).tif",
        "/srv/a.toml",
        "C:\\surveys\\a.tif",
        "vsicurl/a.tif",
        "a 1:2.tif",
    ):
        load_site(site_with(path, where, name))


@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_pipes_and_devices_are_not_waited_for(tmp_path: Path, kind: str) -> None:
    """As a site file, a survey, drawn shapes, or a site among others: one message at once."""
    path = Path("/dev/zero")
    if kind == "pipe":
        path = tmp_path / "endless.toml"
        os.mkfifo(path)
        assert site_files(tmp_path) == (path,)
    for reads in (
        lambda: load_site(path),
        lambda: read_header(path, GroundSource(file="x")),
        lambda: expand([FileRef(file=path.name)], MountShape, path.parent),
    ):
        with pytest.raises(InputError, match="a pipe or a device"):
            reads()


def test_a_pipe_among_the_sites_of_a_folder_costs_the_others_nothing(
    tmp_path: Path, ready: Callable[[str], list]
) -> None:
    """The search of a folder tells it as a site that failed."""
    os.mkfifo(tmp_path / "endless.toml")
    command = ["search", str(tmp_path), "--out", str(tmp_path / "out")]
    run = subprocess.run(
        [*ready("from terrain3d.cli.main import main; main()"), *command],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 2
    assert "a pipe or a device" in run.stdout + run.stderr


def test_a_site_file_of_endless_size_or_depth_ends_in_one_message(tmp_path: Path) -> None:
    """Neither is held in memory whole, nor does its depth end in a traceback."""
    path = tmp_path / "site.toml"
    path.write_text("a = " + "[" * 100_000)
    with pytest.raises(InputError, match="too deep"):
        load_site(path)
    with path.open("wb") as stream:
        stream.truncate(11_000_000)
    with pytest.raises(InputError, match=r"11 MB long, and at most 10 MB"):
        load_site(path)


def test_the_command_ends_with_one_message(tmp_path: Path, bait: Bait, ready: Callable[[str], list]) -> None:
    """Three lines, exit status 2, nothing opened, nothing called, nothing written."""
    target = bait.put("bait.geojson", json.dumps(BAIT))
    (tmp_path / "poles.geojson").write_text(
        ORDERS["algorithm that opens a file"].format(file=target, address=bait.address)
    )
    site = site_with(tmp_path / "site.toml", "shapes", "poles.geojson")
    run = subprocess.run(
        [
            *ready("from terrain3d.cli.main import main; main()"),
            "compare",
            str(site),
            "--out",
            str(tmp_path / "out"),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2
    assert run.stderr.startswith("terrain3d: it is JSON, but no GeoJSON with shapes in it")
    assert len(run.stderr.splitlines()) == 3
    assert not (tmp_path / "out").exists()
    bait.assert_untouched()

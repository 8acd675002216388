"""GeoPackage, GeoJSON and KML as GDAL reads them, which did not make what is in them."""

import json
from collections import Counter

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from made_files import write_tif
from packed import NAMES
from rasterio.transform import from_origin
from site_files import SLOPE, option_text, written

from terrain3d.cover.areas import cells_within
from terrain3d.job import run
from terrain3d.pack.checked import check_pack
from terrain3d.pack.layers import layers_of, placed
from terrain3d.pack.write import write_pack
from terrain3d.ready import ready_site
from terrain3d.study import study_of

#: In the order of a table of contents.
LAYERS = [
    "units",
    "mounts",
    "arcs",
    "verdicts",
    "protected",
    "solids",
    "foliage",
    "routes",
    "walktest",
    "boundary",
]


def table(path, layer=None) -> tuple[dict, list, list[dict]]:
    """What GDAL says of a layer, its shapes, and its rows."""
    about, _, shapes, columns = pyogrio.raw.read(path, layer=layer)
    rows = [dict(zip(about["fields"], values, strict=True)) for values in zip(*columns, strict=True)]
    return about, list(shapely.from_wkb(shapes)), rows


def in_frame(shapes, crs, packed) -> list:
    """Shapes of a CRS in the local frame, by PROJ alone."""
    to = pyproj.Transformer.from_crs(crs, packed.document["site"]["frame_wkt"], always_xy=True)
    return [
        shapely.transform(shape, lambda p: np.column_stack(to.transform(p[:, 0], p[:, 1])))
        for shape in shapes
    ]


def test_a_geopackage_holds_the_layers_of_the_design_in_the_crs_of_the_site(strange):
    path = strange.copy / "site.gpkg"
    assert [name for name, _ in pyogrio.list_layers(path)] == LAYERS
    for name in LAYERS:
        about, shapes, _ = table(path, name)
        assert pyproj.CRS(about["crs"]).to_epsg() == 32631
        assert shapely.is_valid(shapes).all()
    assert pyogrio.read_info(path, layer="units")["dataset_metadata"]["CAUTION"].startswith("A planning aid")


@pytest.mark.parametrize("file", ["site.gpkg", "geojson/verdicts.geojson"])
def test_verdict_areas_are_those_of_the_results(strange, file):
    """Summed by option and verdict: the polygons measured in the local frame, and the column, to 0.01 m2."""
    layer = "verdicts" if file.endswith("gpkg") else None
    about, shapes, rows = table(strange.copy / file, layer)
    drawn, told = Counter(), Counter()
    for shape, row in zip(in_frame(shapes, about["crs"], strange), rows, strict=True):
        drawn[row["option"], row["verdict"]] += shape.area
        told[row["option"], row["verdict"]] += row["area_m2"]
    for option in strange.document["options"]:
        for verdict, area_m2 in option["area_m2"].items():
            assert drawn[option["name"], verdict] == pytest.approx(area_m2, abs=0.01)
            assert told[option["name"], verdict] == pytest.approx(area_m2, abs=1e-6)


def test_the_cause_of_ground_is_what_its_protected_area_loses_it_to(strange):
    """results.json counts cells by their middles; so do points put into the polygons here."""
    about, shapes, rows = table(strange.copy / "site.gpkg", "verdicts")
    regions = in_frame(shapes, about["crs"], strange)
    terrain = strange.outcome.terrain
    ground = terrain.ground
    x, y = np.meshgrid(ground.xs, ground.ys)
    within = cells_within(ground, terrain.protect[0])
    for option in strange.document["options"]:
        lost = Counter()
        for region, row in zip(regions, rows, strict=True):
            if row["option"] == option["name"] and row["verdict"] != "both":
                cells = shapely.contains_xy(region, x[within], y[within]).sum()
                lost[row["cause"], row["taken_by"]] += float(cells) * ground.cell_m**2
        told = {(loss["cause"], loss["name"]): loss["area_m2"] for loss in option["protect"][0]["lost_to"]}
        assert {key: area_m2 for key, area_m2 in lost.items() if area_m2} == told


def test_units_and_their_numbers_are_those_of_the_results(strange):
    _, shapes, rows = table(strange.copy / "site.gpkg", "units")
    assert [(row["option"], row["name"]) for row in rows] == [
        (NAMES["first"], NAMES["unit"]),
        (NAMES["second"], NAMES["unit"]),
    ]
    # Where the site file has the mounts.
    places = [(shape.x, shape.y) for shape in shapes]
    assert places == [pytest.approx(place, abs=1e-3) for place in ((560000, 4949996), (559994, 4950003))]
    for row in rows:
        told = strange.option(row["option"])["detectors"][0]
        for key in ("ground_z", "height_m", "bearing_deg", "tilt_deg", "range_m", "max_range_m", "pulses"):
            assert row[key] == told[key]
        assert row["place"] == strange.document["ranking"].index(row["option"]) + 1


def test_what_is_masked_of_an_arc_is_told_apart(strange):
    """Two of nine zones of 90 degrees are 20 degrees, from 20 on: bearings 65 to 85 of 45 to 135."""
    _, _, rows = table(strange.copy / "site.gpkg", "arcs")
    masked = [row for row in rows if row["state"] == "masked"]
    assert [(row["from_deg"], row["to_deg"]) for row in masked] == [(65.0, 85.0)]
    assert {row["max_range_m"] for row in masked} == {12.0}


def test_names_come_back_as_they_were(strange):
    """Those of every layer, from both formats."""
    there = {
        "mounts": {NAMES["pole"], NAMES["post"]},
        "protected": {NAMES["yard"]},
        "solids": {NAMES["shed"]},
        "foliage": {NAMES["hedge"]},
        "boundary": {NAMES["site"]},
    }
    for layer, names in there.items():
        for path, of in (("site.gpkg", layer), (f"geojson/{layer}.geojson", None)):
            assert {row["name"] for row in table(strange.copy / path, of)[2]} == names
    taken = {row["taken_by"] for row in table(strange.copy / "site.gpkg", "verdicts")[2]}
    assert taken <= {None, NAMES["shed"], NAMES["hedge"]}


def test_geojson_keeps_to_its_standard(strange):
    """RFC 7946: no crs (4), longitude first (3.1.1), outer rings anticlockwise, closed (3.1.6)."""
    for name in LAYERS:
        document = json.loads((strange.copy / f"geojson/{name}.geojson").read_text(encoding="utf-8"))
        assert document["type"] == "FeatureCollection"
        assert "crs" not in document
        for feature in document["features"]:
            assert set(feature) == {"type", "properties", "geometry"}
            shape = shapely.geometry.shape(feature["geometry"])
            west, south, east, north = shape.bounds
            # 560000 E, 4950000 N of UTM zone 31 is some 3.76 E, 44.70 N.
            assert 3.75 < west <= east < 3.77
            assert 44.69 < south <= north < 44.71
            if feature["geometry"]["type"] == "MultiPolygon":
                for outer, *holes in feature["geometry"]["coordinates"]:
                    assert outer[0] == outer[-1]
                    assert signed_area(outer) > 0
                    assert all(signed_area(hole) < 0 for hole in holes)


def signed_area(ring) -> float:
    """Twice the area within a ring, positive where it runs anticlockwise (the shoelace formula)."""
    x, y = np.array(ring).T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())


def test_kml_has_the_shapes_with_their_names(strange):
    """A folder a layer and option, nothing to be fetched; verdict ground without what lies outside."""
    path = strange.copy / "site.kml"
    names = [name for name, _ in pyogrio.list_layers(path)]
    assert sum(name.startswith("verdicts") for name in names) == 2
    assert sum(name.startswith("mounts") for name in names) == 1
    areas = Counter()
    for name in names:
        if name.startswith("verdicts"):
            about, shapes, rows = table(path, name)
            assert shapely.is_valid(shapes).all()
            for shape, row in zip(in_frame(shapes, about["crs"], strange), rows, strict=True):
                areas[row["Name"].split(":")[0]] += shape.area
    both_m2 = sum(option["area_m2"]["both"] for option in strange.document["options"])
    assert areas["both layers"] == pytest.approx(both_m2, abs=0.01)
    assert "outside" not in areas
    text = path.read_text(encoding="utf-8")
    # The one address is the name of the format.
    assert text.count("http") == 1 + text.count("http://x.invalid")
    assert "<script" not in text


def test_a_site_in_local_metres_has_a_map_in_them(local):
    """The site's own metres, and neither GeoJSON nor KML: these are for places on earth."""
    _, shapes, _ = table(local.copy / "site.gpkg", "mounts")
    assert {(shape.x, shape.y) for shape in shapes} == {(0.0, -4.0), (-6.0, 3.0)}
    assert pyogrio.read_info(local.copy / "site.gpkg", layer="mounts")["crs"].startswith("LOCAL_CS")
    assert not (local.copy / "geojson").exists()
    assert not (local.copy / "site.kml").exists()


def test_a_geographic_crs_takes_degrees(strange):
    """The same layers in longitude and latitude: polygons stay valid, and as large."""
    frame = strange.outcome.terrain.frame
    verdicts = next(layer for layer in layers_of(strange.study) if layer.name == "verdicts")
    degrees = [placed(feature.shape, frame, pyproj.CRS("EPSG:4326")) for feature in verdicts.features]
    assert shapely.is_valid(degrees).all()
    back = in_frame(degrees, "EPSG:4326", strange)
    told = [feature.values["area_m2"] for feature in verdicts.features]
    assert [shape.area for shape in back] == [pytest.approx(area_m2, abs=0.01) for area_m2 in told]


def test_the_walk_test_of_the_best_option_is_a_layer(strange):
    """Each walk of the sheet as a line: its middle, length and bearing, in PROJ's local metres, are those of
    results.json; a bearing is told to a degree or finer."""
    best = strange.option(strange.document["ranking"][0])
    points = {str(point["number"]): point for point in best["walktest"]["points"]}
    assert len(points) >= 5
    _, shapes, found = table(strange.copy / "geojson/walktest.geojson")
    assert {row["name"] for row in found} == points.keys()
    assert {row["option"] for row in found} == {best["name"]}
    for shape, row in zip(in_frame(shapes, "EPSG:4326", strange), found, strict=True):
        point = points[row["name"]]
        start, end = shapely.get_coordinates(shape)
        east, north = end - start
        assert np.hypot(east, north) == pytest.approx(point["length_m"], abs=0.01)
        off = np.degrees(np.arctan2(east, north)) - point["towards_deg"]
        assert (off + 180) % 360 - 180 == pytest.approx(0, abs=0.5)
        assert 0.5 * (start + end) == pytest.approx([point["x"], point["y"]], abs=0.01)
        assert (row["expect"], row["unit"]) == (point["expect"], point["unit"])
    assert sum("walktest" in option for option in strange.document["options"]) == 1


def test_a_site_without_a_crs_has_its_shapes_in_the_surveys(tmp_path):
    """As its coordinates are read: the unit stands at its mount of the site file, in the raster's CRS."""
    x, y = np.meshgrid(np.arange(30.0), np.arange(30.0))
    write_tif(tmp_path / "survey.tif", 100 + 0.1 * x + 0 * y, from_origin(560000, 4950030, 1, 1))
    text = SLOPE.replace("plane = { fall = 10, towards = 135, extent = 30 }", 'file = "survey.tif"')
    text = text.replace("at = [0, 0]", "at = [560015, 4950015]")
    path = written(tmp_path, text + option_text("north"))
    kinds = check_pack(ready_site(path), str(path), tmp_path / "pack", ("map", "geojson"))
    write_pack(study_of(run(path), draws=2), tmp_path / "pack", kinds)
    about, (unit,), _ = table(tmp_path / "pack" / "site.gpkg", "units")
    assert pyproj.CRS(about["crs"]).to_epsg() == 32631
    assert (unit.x, unit.y) == pytest.approx((560015, 4950015), abs=1e-3)
    _, (unit,), _ = table(tmp_path / "pack" / "geojson" / "units.geojson")
    there = pyproj.Transformer.from_crs(32631, 4326, always_xy=True).transform(560015, 4950015)
    assert (unit.x, unit.y) == pytest.approx(there, abs=1e-8)
    assert "survey's CRS" in (tmp_path / "pack" / "contents.txt").read_text(encoding="utf-8")

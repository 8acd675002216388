"""GeoJSON as RFC 7946 has it, and the crs member of 2008; GEOS's own reader as the reference."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely

from terrain3d.errors import InputError
from terrain3d.readers import geojson
from terrain3d.readers.geojson import read_geojson

#: The examples of RFC 7946, appendix A, the last with a height added to one (section 3.1.1).
EXAMPLES: list[dict[str, Any]] = [
    {"type": "Point", "coordinates": [100.0, 0.0]},
    {"type": "LineString", "coordinates": [[100.0, 0.0], [101.0, 1.0]]},
    {
        "type": "Polygon",
        "coordinates": [
            [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
            [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]],
        ],
    },
    {"type": "MultiPoint", "coordinates": [[100.0, 0.0], [101.0, 1.0]]},
    {
        "type": "MultiLineString",
        "coordinates": [[[100.0, 0.0], [101.0, 1.0]], [[102.0, 2.0], [103.0, 3.0]]],
    },
    {
        "type": "MultiPolygon",
        "coordinates": [
            [[[102.0, 2.0], [103.0, 2.0], [103.0, 3.0], [102.0, 3.0], [102.0, 2.0]]],
            [
                [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
                [[100.2, 0.2], [100.2, 0.8], [100.8, 0.8], [100.8, 0.2], [100.2, 0.2]],
            ],
        ],
    },
    {"type": "LineString", "coordinates": [[100.0, 0.0, 12.5], [101.0, 1.0, 13.0]]},
]


def written(folder: Path, document: Any) -> Path:
    path = folder / "shapes.geojson"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


@pytest.mark.parametrize("geometry", EXAMPLES, ids=lambda geometry: str(geometry["type"]))
@pytest.mark.parametrize("wrap", ["bare", "feature", "collection"])
def test_each_kind_of_geometry(tmp_path: Path, geometry: dict[str, Any], wrap: str) -> None:
    """The same points in the same rings as GEOS reads, in WGS 84; bare, as a feature, in a collection."""
    feature = {"type": "Feature", "properties": None, "geometry": geometry}
    document = {
        "bare": geometry,
        "feature": feature,
        "collection": {"type": "FeatureCollection", "features": [feature]},
    }[wrap]
    (found,), crs = read_geojson(written(tmp_path, document))
    reference = shapely.force_2d(shapely.from_geojson(json.dumps(geometry)))
    assert found.kind == reference.geom_type
    parts = reference.geoms if found.kind.startswith("Multi") else [reference]
    rings = [
        [ring.coords for ring in (part.exterior, *part.interiors)]
        if part.geom_type == "Polygon"
        else [part.coords]
        for part in parts
    ]
    assert [len(part) for part in found.parts] == [len(part) for part in rings]
    for part, expected in zip(found.parts, rings, strict=True):
        for ring, other in zip(part, expected, strict=True):
            np.testing.assert_array_equal(ring, np.array(other))
    assert crs == pyproj.CRS("EPSG:4326")


def pole(name: Any = "pole", **members: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"name": name},
        "geometry": {"type": "Point", "coordinates": [5, 55]},
        **members,
    }


def test_properties_as_map_programs_keep_them(tmp_path: Path) -> None:
    """Blanks are left out, lists and numbers in text are read, a name stays one; `id` is no property."""
    given = {
        "name": 7,
        "none": None,
        "empty": "",
        "nan": float("nan"),
        "height": "2.5",
        "heights": ["0.8", 1],
        "list": "[0.8, 1.2]",
        "flag": True,
        "day": "2023-05-14",
        "word": "NaN",
        "table": {"a": [1]},
    }
    ((feature,), _) = read_geojson(written(tmp_path, pole(properties=given, id=3)))
    assert feature.values == {
        "name": "7",
        "height": 2.5,
        "heights": [0.8, 1],
        "list": [0.8, 1.2],
        "flag": True,
        "day": "2023-05-14",
        "word": "NaN",
        "table": {"a": [1]},
    }


@pytest.mark.parametrize(
    ("member", "code"),
    [
        (None, 4326),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}, 4326),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32631"}}, 32631),
        ({"type": "name", "properties": {"name": "EPSG:32631"}}, 32631),
        ({"type": "EPSG", "properties": {"code": 32631}}, 32631),
    ],
)
def test_ways_to_name_a_crs(tmp_path: Path, member: Any, code: int) -> None:
    """GeoJSON 2008, section 3.1, and what map programs wrote; none, and null, are WGS 84."""
    document = {"type": "FeatureCollection", "crs": member, "features": [pole()]}
    assert read_geojson(written(tmp_path, document))[1].to_epsg() == code


def test_a_collection_may_be_named_as_a_layer(tmp_path: Path) -> None:
    """By its file's name or its own, as map programs list it; any other name is a mistake."""
    path = written(tmp_path, {"type": "FeatureCollection", "name": "poles", "features": [pole()]})
    for layer in ("shapes", "poles", None):
        assert len(read_geojson(path, layer)[0]) == 1
    with pytest.raises(InputError, match=r"no layer 'walls'(.|\n)*leave layer out"):
        read_geojson(path, "walls")


@pytest.mark.parametrize(
    ("document", "message", "place"),
    [
        ('{"type": "Feature", "type": "Point"}', "holds 'type' twice", ""),
        (json.dumps(pole()) + "\n" + json.dumps(pole()), "more follows after its end in line 2", ""),
        ('{"type": "Point", "coordinates": [5, ' + "9" * 5000 + "]}", "thousands of digits", ""),
        ({"type": "Topology", "objects": {}, "arcs": []}, "no GeoJSON with shapes", ""),
        ({"type": ["Feature"]}, "no GeoJSON with shapes", ""),
        (pole(geometry=None), "no geometry", ": feature 1"),
        (pole(geometry={"type": "Curve"}), "of no kind that GeoJSON has", ": feature 1"),
        (pole(geometry={"type": ["Point"]}), "of no kind that GeoJSON has", ": feature 1"),
        (pole(geometry="POINT (5 55)"), "of no kind that GeoJSON has", ": feature 1"),
        (pole(geometry={"type": "Point", "coordinates": [5]}), "no lists of numbers", ": feature 1"),
        (pole(geometry={"type": "Point", "coordinates": ["5", "55"]}), "no lists of numbers", ": feature 1"),
        (pole(geometry={"type": "Point", "coordinates": [True, 55]}), "no lists of numbers", ": feature 1"),
        (pole(geometry={"type": "Polygon", "coordinates": [[5, 55]]}), "no lists of numbers", ": feature 1"),
        (pole(geometry={"type": "LineString", "coordinates": 5}), "no lists of numbers", ": feature 1"),
        (pole(properties=[1]), "no table of names", ": feature 1"),
        (pole(properties={"a\x1b[2J": 1}), r"named 'a\\x1b\[2J'", ": feature 1"),
        ({"type": "FeatureCollection", "features": [pole(), 5]}, "no GeoJSON feature", ": feature 2"),
        ({"type": "FeatureCollection", "crs": "EPSG:32631", "features": []}, "crs member names no CRS", ""),
        (
            {"crs": {"type": "link", "properties": {"href": "there"}}, **pole()},
            "names no CRS, and is of the type 'link'",
            "",
        ),
        ({"crs": {"type": "name", "properties": {"name": "a=b"}}, **pole()}, "'a=b', which is no CRS", ""),
        (
            {"crs": {"type": "name", "properties": {"name": "nowhere"}}, **pole()},
            "names 'nowhere', which is no CRS",
            "",
        ),
    ],
)
def test_what_is_wrong_is_said_once(tmp_path: Path, document: Any, message: str, place: str) -> None:
    """One message with the feature, counted from one, and what to do."""
    path = written(tmp_path, document)
    with pytest.raises(InputError, match=message) as fault:
        read_geojson(path)
    assert fault.value.where == f"{path}{place}"
    assert fault.value.mend
    assert str(fault.value).isprintable() or "\x1b" not in str(fault.value)


def test_a_file_too_long_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its length in the message, and a way that takes more."""
    monkeypatch.setattr(geojson, "MOST_BYTES", 2_000_000)
    with pytest.raises(InputError, match=r"3 MB long, and at most 2 MB are read(.|\n)*GeoPackage"):
        read_geojson(written(tmp_path, json.dumps(pole()) + " " * 3_000_000))


def test_a_mark_of_byte_order_is_no_fault(tmp_path: Path) -> None:
    """Some editors put one before the text."""
    path = tmp_path / "shapes.geojson"
    path.write_text(json.dumps(pole("mât")), encoding="utf-8-sig")
    assert read_geojson(path)[0][0].values == {"name": "mât"}

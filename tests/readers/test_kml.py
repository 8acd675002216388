"""KML as map programs write it; the standard and GDAL's writer as the references."""

from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from terrain3d.errors import InputError
from terrain3d.readers.kml import read_kml

#: A point, a line and a polygon with a hole, two of them in a folder; longitude before latitude before
#: altitude, as the standard has it (OGC 12-007r2, kml:coordinates).
PLACES = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2">
<Document><name>site</name>
<Style id="a"><LineStyle><color>ff0000ff</color></LineStyle></Style>
<Placemark><name> gate pole </name><styleUrl>#a</styleUrl>
  <ExtendedData><Data name="heights"><value>[0.8, 1.2]</value></Data></ExtendedData>
  <Point><coordinates>5.25,55.5,12</coordinates></Point></Placemark>
<Folder><name>yards</name>
<Placemark><name>back yard</name>
  <ExtendedData><SchemaData schemaUrl="#x"><SimpleData name="weight">2.5</SimpleData></SchemaData>
  </ExtendedData>
  <Polygon><altitudeMode>absolute</altitudeMode>
    <outerBoundaryIs><LinearRing><coordinates>
      5,55,0 6,55,0
      6,56,0 5,56,0 5,55,0
    </coordinates></LinearRing></outerBoundaryIs>
    <innerBoundaryIs><LinearRing><coordinates>5.4,55.4 5.6,55.4 5.6,55.6 5.4,55.4</coordinates></LinearRing>
    </innerBoundaryIs></Polygon></Placemark>
<Folder><Placemark><LineString><coordinates>5,55 6,56</coordinates></LineString></Placemark></Folder>
</Folder></Document></kml>
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "places.kml"
    path.write_text(text, encoding="utf-8")
    return path


def test_places_of_each_kind(tmp_path: Path) -> None:
    """Names and values without the blanks around them; altitudes are left out."""
    (pole, yard, line), crs = read_kml(written(tmp_path, PLACES))
    assert crs.to_epsg() == 4326
    assert (pole.kind, pole.values) == ("Point", {"name": "gate pole", "heights": [0.8, 1.2]})
    np.testing.assert_array_equal(pole.parts[0][0], [[5.25, 55.5]])
    assert (yard.kind, yard.values) == ("Polygon", {"name": "back yard", "weight": 2.5})
    assert [len(ring) for ring in yard.parts[0]] == [5, 4]
    assert (line.kind, line.values) == ("LineString", {})


def test_a_layer_is_a_folder_with_all_in_it(tmp_path: Path) -> None:
    """By its name, however deep; another name is refused with those there are."""
    features, _ = read_kml(written(tmp_path, PLACES), "yards")
    assert [feature.kind for feature in features] == ["Polygon", "LineString"]
    with pytest.raises(InputError, match=r"no folder 'fences'(.|\n)*site(.|\n)*yards"):
        read_kml(written(tmp_path, PLACES), "fences")


SHAPES = [
    shapely.Point(5.123456789012, 55.5),
    shapely.LineString([(5, 55), (6, 55.5), (7, 55)]),
    shapely.Polygon([(5, 55), (6, 55), (6, 56)], [[(5.7, 55.2), (5.9, 55.2), (5.9, 55.4)]]),
    shapely.MultiPolygon([shapely.box(5, 55, 6, 56), shapely.box(7, 55, 8, 56)]),
    shapely.MultiPoint([(5, 55), (6, 56)]),
]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: str(shape.geom_type))
def test_what_gdal_writes(tmp_path: Path, shape: shapely.Geometry) -> None:
    """The very rings, whichever of its kinds of KML it is."""
    path = tmp_path / "gdal.kml"
    pyogrio.raw.write(
        path, shapely.to_wkb(np.array([shape])), [np.array(["it"], object)], ["Name"],
        driver="KML", geometry_type=shape.geom_type, crs="EPSG:4326",
    )  # fmt: skip
    ((feature,), _) = read_kml(path)
    assert feature.kind == shape.geom_type
    assert feature.values["name"] == "it"
    rings = [ring for part in feature.parts for ring in part]
    np.testing.assert_allclose(np.concatenate(rings), shapely.get_coordinates(shape), atol=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("5.25,55.5,12", "5.25;55.5", r"no places as longitude,latitude(.|\n)*placemark 1"),
        ("5.25,55.5,12", "east", "no places as longitude,latitude"),
        ("<Point><coordinates>5.25,55.5,12</coordinates></Point>", "", r"no point, line or polygon"),
        ("</Document></kml>", "", "cut off or wrong"),
        ("</Folder>\n</Folder>", "", "cut off or wrong"),
        ("<kml ", "<gpx ", "cut off or wrong"),
        ('encoding="UTF-8"', 'encoding="U9F-8"', "coded in a way that is not known"),
        ('encoding="UTF-8"', 'encoding="shift_jis"', "coded in a way that is not known|cut off or wrong"),
        ("<Document>", "<Document>" + "<Folder>" * 100_000, "too deep in each other"),
    ],
)
def test_damage_ends_in_one_message(tmp_path: Path, old: str, new: str, message: str) -> None:
    """The file, and the placemark where it is one."""
    with pytest.raises(InputError, match=message) as fault:
        read_kml(written(tmp_path, PLACES.replace(old, new)))
    assert str(tmp_path) in fault.value.where
    assert fault.value.mend

"""The drawing as ezdxf loads it again: its audit, units, layers, areas, and text that means itself."""

from collections import Counter

import ezdxf
import numpy as np
import pyproj
import pytest
import shapely
from packed import NAMES

from terrain3d.pack.dxf import _facts, dxf_bytes, metric_crs
from terrain3d.pack.layers import layers_of


@pytest.fixture(scope="module")
def drawing(strange):
    return ezdxf.readfile(strange.folder / "plan.dxf")


def test_it_passes_the_audit_and_is_in_metres(drawing):
    """$INSUNITS 6 is metres (DXF reference, header variables)."""
    audit = drawing.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert drawing.header["$INSUNITS"] == 6


def test_only_the_best_option_is_switched_on(drawing):
    """Layers of an option begin with its place; ground outside every arc would cover the rest."""
    by_place = {
        layer.dxf.name: layer.is_on()
        for layer in drawing.layers
        if layer.dxf.name[:1].isdigit() and "-" in layer.dxf.name
    }
    assert by_place
    for name, is_on in by_place.items():
        assert is_on == (name.startswith("01-") and name != "01-VERDICT-OUTSIDE")
    assert {"MOUNTS", "SOLIDS", "FOLIAGE", "BOUNDARY", "NOTES"} <= {
        layer.dxf.name for layer in drawing.layers
    }


def test_hatched_areas_are_those_of_the_results(drawing, strange):
    """Measured in the local frame; in UTM the same ground has another size."""
    to = pyproj.Transformer.from_crs("EPSG:32631", strange.document["site"]["frame_wkt"], always_xy=True)
    areas = Counter()
    for hatch in drawing.modelspace().query("HATCH"):
        rings = [np.array([vertex[:2] for vertex in path.vertices]) for path in hatch.paths]
        outer, *holes = [np.column_stack(to.transform(ring[:, 0], ring[:, 1])) for ring in rings]
        areas[hatch.dxf.layer] += shapely.Polygon(outer, holes).area
    for place, name in enumerate(strange.document["ranking"], 1):
        for verdict, area_m2 in strange.option(name)["area_m2"].items():
            layer = f"{place:02d}-VERDICT-{verdict.upper().replace('_', '-')}"
            assert areas[layer] == pytest.approx(area_m2, abs=0.01)


def test_text_is_upright_and_means_itself(drawing):
    """No text is turned, and what a reader decodes is the name, its codes parted by a space."""
    texts = list(drawing.modelspace().query("TEXT"))
    assert texts
    assert {text.dxf.rotation for text in texts} == {0.0}
    shown = " ".join(text.plain_text() for text in texts)
    for name in ("pole", "post"):
        assert NAMES[name] in shown
    assert not drawing.modelspace().query("MTEXT")
    # The long name is there in lines, letter for letter.
    assert NAMES["yard"].replace(" ", "") in shown.replace(" ", "")
    facts = " ".join(
        str(tag.value)
        for hatch in drawing.modelspace().query("HATCH")
        for tag in hatch.get_xdata("TERRAIN3D")
    )
    assert "\\ U+0041 % %c" in facts


def test_the_arrow_points_to_true_north(drawing, strange):
    """By PROJ: the way of the meridian in the drawing's grid at the site, half a degree off grid north."""
    (arrow,) = [line for line in drawing.modelspace().query("LWPOLYLINE") if line.dxf.layer == "NOTES"]
    foot, tip = (np.array(point[:2]) for point in list(arrow.get_points())[:2])
    east, north = tip - foot
    lon, lat = strange.document["site"]["origin_lonlat"]
    convergence = pyproj.Proj("EPSG:32631").get_factors(lon, lat).meridian_convergence
    assert np.degrees(np.arctan2(east, north)) == pytest.approx(-convergence, abs=1e-3)


def test_a_crs_in_feet_or_degrees_is_drawn_in_local_metres(strange):
    """A drawing says metres: New York's US survey feet (EPSG:2263) and degrees are none."""
    assert metric_crs(pyproj.CRS("EPSG:2263")) is None
    frame = strange.outcome.terrain.frame
    import io

    text = dxf_bytes(layers_of(strange.study), (), frame, metric_crs(pyproj.CRS("EPSG:4326"))).decode()
    drawn = ezdxf.read(io.StringIO(text))
    points = [point.dxf.location for point in drawn.modelspace().query("POINT")]
    assert points
    assert all(abs(point.x) < 30 and abs(point.y) < 30 for point in points)


def test_no_text_of_the_extended_data_is_too_long():
    """255 bytes at most (DXF reference, group code 1000), also of a name full of what has to be parted."""
    values = dict.fromkeys(("option", "verdict", "layer", "cause"), "a") | {"area_m2": 1.0}
    told = _facts({**values, "taken_by": "^" * 300})
    assert max(len(text.encode()) for code, text in told if code == 1000) <= 255


def test_the_name_of_the_site_is_beside_its_boundary(drawing):
    """Within it, it would read as the name of what is there."""
    (outline,) = drawing.modelspace().query('LWPOLYLINE[layer=="BOUNDARY"]')
    (name,) = drawing.modelspace().query('TEXT[layer=="BOUNDARY"]')
    ring = shapely.Polygon([(x, y) for x, y, *_ in outline.get_points()])
    at = shapely.Point(name.dxf.insert.x, name.dxf.insert.y)
    assert not ring.contains(at)
    assert ring.distance(at) < 1

"""The plan as an XML parser reads it: to scale, names as text, nothing that runs or is fetched."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import shapely
from packed import NAMES, WALK_TESTED

from terrain3d.pack import svg
from terrain3d.pack.layers import Feature, Layer
from terrain3d.pack.svg import SCALES
from terrain3d.show.lettering import line_width

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan(strange):
    return ET.parse(strange.folder / "plan.svg").getroot()


def said(plan) -> str:
    return " ".join(text.text or "" for text in plan.iter(f"{SVG}text"))


def test_a_square_of_protected_ground_is_to_scale(plan):
    """6 m at the scale that the sheet states, in millimetres of a page that is as large as it says."""
    assert plan.get("viewBox") == "0 0 420 297"
    assert (plan.get("width"), plan.get("height")) == ("420mm", "297mm")
    scale = int(re.search(r"1:(\d+)", said(plan))[1])
    assert scale in SCALES
    (group,) = [one for one in plan.iter(f"{SVG}g") if one.get("id") == "protected"]
    path = group[0].get("d")
    points = np.array([[float(v) for v in pair.split(",")] for pair in re.findall(r"[\d.]+,[\d.]+", path)])
    width, depth = points.max(axis=0) - points.min(axis=0)
    # The square of the site file lies along the grid of UTM, turned by half a degree against true north.
    turned = 6000 / scale * (np.cos(np.radians(0.535)) + np.sin(np.radians(0.535)))
    assert width == pytest.approx(turned, rel=2e-3)
    assert depth == pytest.approx(turned, rel=2e-3)


def test_names_are_text_and_nothing_runs(plan):
    """Nine elements draw all of it; a name with markup is letters."""
    tags = {element.tag.removeprefix(SVG) for element in plan.iter()}
    assert tags <= {
        "svg",
        "title",
        "desc",
        "defs",
        "pattern",
        "clipPath",
        "g",
        "path",
        "rect",
        "circle",
        "text",
    }
    assert not [
        key for element in plan.iter() for key in element.attrib if key.startswith("on") or "href" in key
    ]
    shown = said(plan).replace(" ", "")
    for name in ("site", "shed", "hedge", "second"):
        assert NAMES[name].replace(" ", "") in shown
    assert "A planning aid, not proof of detection" in said(plan)
    assert WALK_TESTED in said(plan)


def test_the_key_has_the_areas_of_the_results(plan, strange):
    areas = strange.option(strange.document["ranking"][0])["area_m2"]
    told = dict(re.findall(r"(both layers|dead ground): ([\d.]+) m²", said(plan)))
    assert float(told["both layers"]) == pytest.approx(areas["both"], abs=0.5)
    assert float(told["dead ground"]) == pytest.approx(areas["dead"], abs=0.5)


def test_the_plan_fills_its_place_as_far_as_there_is_ground(plan, strange):
    """At the scale that the sheet states, of 30 m of ground what 292 by 237 mm hold; beside it is the key."""
    scale = int(re.search(r"1:(\d+)", said(plan))[1])
    frame = next(one for one in plan.findall(f"{SVG}rect") if one.get("fill") == "none")
    west, south, east, north = strange.study.outcome.terrain.ground.bounds
    cell_mm = 1000 * strange.study.outcome.terrain.ground.cell_m / scale
    for side, ground_m, place_mm in (("width", east - west, 292.0), ("height", north - south, 237.0)):
        wanted = min(place_mm, 1000 * ground_m / scale)
        assert wanted - 3 * cell_mm <= float(frame.get(side)) <= wanted + 1e-6
    (key,) = [one for one in plan.iter(f"{SVG}text") if (one.text or "").startswith("both layers")]
    assert 0 < float(key.get("x")) - float(frame.get("x")) - float(frame.get("width")) < 30


def test_names_lie_within_the_frame(local):
    """A tree that stands half out of the plan is named inside: no letter crosses the edge."""
    outcome = local.study.outcome
    option = outcome.options[0]
    extent, _ = svg._shown(outcome)
    beyond = shapely.MultiPolygon(
        [shapely.box(x - 2, y - 2, x + 2, y + 2) for x, y in [(extent.east - 0.5, extent.north - 0.2)]]
    )
    tree = Feature(beyond, {"name": "a tree with a long name"})
    drawn = ET.fromstring(
        svg.svg_bytes(outcome, (Layer("foliage", "MultiPolygon", {"name": str}, (tree,)),), option)
    )
    frame = next(one for one in drawn.findall(f"{SVG}rect") if one.get("fill") == "none")
    left, top, width, depth = (float(frame.get(key)) for key in ("x", "y", "width", "height"))
    (name,) = [one for one in drawn.iter(f"{SVG}text") if one.text == "a tree with a long name"]
    size, x, y = (float(name.get(key)) for key in ("font-size", "x", "y"))
    half = line_width(name.text) * size / 2
    assert left < x - half
    assert x + half < left + width
    assert top < y - 0.8 * size
    assert y < top + depth

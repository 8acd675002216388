"""The plan as an XML parser reads it: to scale, names as text, nothing that runs or is fetched."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from packed import NAMES, WALK_TESTED

from terrain3d.pack.svg import SCALES

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

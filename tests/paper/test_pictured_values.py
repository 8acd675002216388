"""What pages tell of an option past its verdicts, as plain values."""

import json
import math

import pytest
from site_files import option_text, written

from terrain3d.job import run
from terrain3d.paper.results import results_json

#: Ground that rises 15 % northwards before a unit that faces north; a wall behind it, marks to look from.
RISING = """
[site]
name = "rising ground"
cell = 0.5
[ground]
plane = { fall = 15, towards = 180, extent = 40 }
[[solid]]
name = "low wall"
path = [[-3, -12], [3, -12]]
height = 3
thickness = 0.2
[[mount]]
name = "pole"
at = [0, -4]
[[mark]]
name = "gate post"
at = [3, 0]
[[mark]]
name = "behind the wall"
at = [0, -16]
[[protect]]
name = "yard"
outline = [[-4, -2], [4, -2], [4, 6], [-4, 6]]
"""


@pytest.fixture(scope="module")
def document(tmp_path_factory):
    text = RISING + option_text("north") + option_text("south", bearing=180)
    return json.loads(results_json(run(written(tmp_path_factory.mktemp("site"), text))))


def test_a_section_has_what_closed_forms_say(document):
    """On a rise of 15 % layers land at h / (tan p + s) and h / s (plain geometry), the unit 1 m up."""
    (section,) = document["options"][0]["detectors"][0]["sections"]
    lower_m, upper_m = 1 / (1 / 12 + 0.15), 1 / 0.15
    assert section["bearing_deg"] == 0.0
    assert [end["meets"] for end in section["ends"]] == ["ground", "ground"]
    assert {end["layer"]: end["at_m"] for end in section["ends"]} == pytest.approx(
        {"upper": upper_m, "lower": lower_m}, abs=1e-3
    )
    assert [one["verdict"] for one in section["stretches"]] == ["both", "upper_only", "dead"]
    assert section["stretches"][1]["causes"] == {"lower": "lands short"}
    assert [one["at_m"] for one in section["changes"]][:2] == pytest.approx([lower_m, upper_m], abs=0.05)
    assert section["both_m"] == pytest.approx(lower_m, abs=0.1)
    assert (section["most_lost"]["layer"], section["most_lost"]["cause"]) == ("lower", "lands short")
    assert section["most_lost"]["lost_m"] == pytest.approx(12 - lower_m, abs=0.1)
    upper = {one["layer"]: one["over_ground_m"] for one in section["changes"][0]["layers"]}["upper"]
    assert upper == pytest.approx(1 - 0.15 * lower_m, abs=0.01)


def test_what_is_seen_from_a_mark_is_what_a_tape_and_a_level_say(document):
    """Pythagoras and tangents, from an eye 0.93 x 1.7 m up; from behind a wall that it hides the unit."""
    near, behind = document["options"][0]["seen_from"]
    (seen,) = near["units"]
    down_m = 0.15 * 4 + 0.93 * 1.7 - 1.0
    assert (near["name"], near["where"], seen["hidden_by"]) == ("gate post", None, None)
    assert seen["distance_m"] == pytest.approx(math.hypot(3, 4, down_m), abs=1e-3)
    assert seen["bearing_deg"] == pytest.approx(180 + math.degrees(math.atan2(3, 4)), abs=1e-3)
    assert seen["elevation_deg"] == pytest.approx(-math.degrees(math.atan2(down_m, 5)), abs=1e-3)
    assert [(one["hidden_by"], one["name"]) for one in behind["units"]] == [("solid", "low wall")]


def test_what_two_options_hold_adds_up(document):
    """Held together and alone is what each holds; of protected ground it is the shares told there."""
    areas = {one["name"]: one for one in document["options"]}
    best, other = (areas[name] for name in document["ranking"])
    beside = other["beside_best"]
    assert best["beside_best"] is None
    for told, held in (("option_alone_m2", other), ("best_alone_m2", best)):
        assert beside["both_m2"] + beside[told] == pytest.approx(held["area_m2"]["both"])
        yard = held["protect"][0]
        protected = beside["protected"]["both_m2"] + beside["protected"][told]
        assert protected == pytest.approx(yard["both_fraction"] * yard["area_m2"], abs=1e-3)


def test_ground_in_reach_is_the_sector_of_the_arc(document):
    """90 degrees of 12 m, pi 12^2 / 4 (geometry), but for edge cells, and what slant takes of the range."""
    for layer in document["options"][0]["in_reach"]:
        assert layer["area_m2"] == pytest.approx(math.pi * 36, rel=0.04)
        assert 0 < layer["broken_m2"] < layer["area_m2"]
        lost = document["options"][0]["causes"][layer["layer"]]
        near = sum(m2 for cause, m2 in lost.items() if cause not in ("outside arc", "beyond range"))
        assert layer["broken_m2"] + near == pytest.approx(layer["area_m2"])

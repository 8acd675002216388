"""Walks as plain values."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
from shapes import judged, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.paper.walks import walk_values
from terrain3d.terrain import Area, Walk
from terrain3d.walk.option import option_walks

PERSON = Figure("person", 1.7, "invented for the tests")
YARD = Area("yard", np.array([[2.0, 5.0], [6.0, 5.0], [6.0, 8.0], [2.0, 8.0]]))
WALKS = (
    Walk("across", np.array([[-9.0, 6.0], [9.0, 6.0]])),
    Walk("behind it", np.array([[-9.0, -6.0], [9.0, -6.0]])),
)


def values(pulses: int = 3):
    site = replace(terrain(plane(0.0), protect=(YARD,)), walks=WALKS)
    one = unit(load_type("one-head-90", Path()), pulses=pulses)
    walks = option_walks(site, judged(site, one, name="north"), PERSON)
    return walks, walk_values(walks, site.frame)


def test_every_number_of_a_walk_is_there():
    """Alarm, pulses and what is left, as the walk has them; a silent walk says so."""
    walks, told = values()
    across, behind = told["paths"]
    assert across["alarm"]["along_m"] == round(walks.walks[0].alarm.along_m, 4)
    assert across["protect"][0]["left_along_m"] == round(11.0 - walks.walks[0].alarm.along_m, 4)
    assert len(across["pulses"]) == 36
    assert {pulse["layer"] for pulse in across["pulses"]} == {"upper", "lower"}
    assert behind["alarm"] is None
    assert behind["pulses"] == []
    assert [fan["kind"] for fan in told["fans"]] == ["straight at the unit", "across the unit"]
    straight, sideways = (fan["share_alarmed"] for fan in told["fans"])
    shares = [row["share"] for row in straight]
    assert shares == sorted(shares, reverse=True)
    assert [row["from_unit_m"] for row in straight] == [row["walked_m"] for row in sideways]
    assert {row["walked_m"] for row in straight} == {row["from_unit_m"] for row in sideways} == {None}
    assert "not a measured probability" in told["note"]


def test_borrowed_tests_are_called_so():
    """Where a grade is asked for its tests are told, each with how far it can be trusted."""
    site = terrain(plane(0.0))
    one = unit(load_type("one-head-90", Path()))
    walks = option_walks(site, judged(site, one, name="north"), PERSON, grade=1)
    told = walk_values(walks, site.frame)["borrowed_walk_tests"]
    assert [test["test"] for test in told] == ["across the boundary", "within the boundary", "close-in"]
    assert all("unverified" in test["status"] for test in told)
    assert all("nothing is said to comply" in test["note"] for test in told)
    assert values()[1]["borrowed_walk_tests"] == []


def test_the_same_walk_gives_the_same_text_and_nothing_json_lacks():
    """No NaN, no infinity, the same bytes each time; walks never noticed are null."""
    first, second = (json.dumps(values(40)[1], allow_nan=False) for _ in range(2))
    assert first == second
    assert all(walk["walked_m"] is None for walk in json.loads(first)["fans"][1]["walks"])


def test_places_are_told_as_those_of_units_are():
    """Where the frame is shifted because the site lies far from zero, the shift is put back."""
    frame = site_frame(None, 560_000.0, 4_950_000.0)
    walks, _ = values()
    told = walk_values(walks, frame)["paths"][0]
    alarm = walks.walks[0].alarm
    assert told["alarm"]["x"] == round(560_000.0 + alarm.x, 4)
    assert told["alarm"]["y"] == round(4_950_000.0 + alarm.y, 4)
    assert told["pulses"][0]["y"] == 4_950_006.0


def test_a_fan_is_counted():
    """How many walks raise the alarm, how many early, and the one that does so last."""
    _, told = values()
    for fan in told["fans"]:
        raised = [walk for walk in fan["walks"] if walk["walked_m"] is not None]
        assert (fan["walk_count"], fan["alarm_count"]) == (len(fan["walks"]), len(raised))
        late = "walked_m" if fan["kind"].startswith("across") else "from_unit_m"
        pick = max if late == "walked_m" else min
        assert fan["weakest"] in raised
        assert fan["weakest"][late] == pick(walk[late] for walk in raised)
    straight, across = told["fans"]
    early = [walk for walk in straight["walks"] if (walk["from_unit_m"] or 0) > straight["early_m"] == 3.0]
    assert straight["early_count"] == len(early)
    assert (across["early_m"], across["early_count"], across["walk_length_m"]) == (None, None, 6.0)
    assert values(40)[1]["fans"][1]["weakest"] is None

"""Walks as plain values."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
from shapes import plane, terrain, unit

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
    walks = option_walks(site, "north", (one,), "any", PERSON)
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
    shares = list(told["fans"][0]["share_alarmed"].values())
    assert shares == sorted(shares, reverse=True)
    assert "not a measured probability" in told["note"]


def test_borrowed_tests_are_called_so():
    """Where a grade is asked for its tests are told, each with how far it can be trusted."""
    site = terrain(plane(0.0))
    one = unit(load_type("one-head-90", Path()))
    walks = option_walks(site, "north", (one,), "any", PERSON, grade=1)
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
    assert told["alarm"]["x"] == round(560_000.0 + alarm.x, 3)
    assert told["alarm"]["y"] == round(4_950_000.0 + alarm.y, 3)
    assert told["pulses"][0]["y"] == 4_950_006.0

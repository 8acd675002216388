"""Open routes in `results.json`: plain, whole, in the coordinates of the site file."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import judged, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.paper.routes import routes_values
from terrain3d.sentences.routes import routes_words
from terrain3d.terrain import Area
from terrain3d.walk.routes import open_routes
from terrain3d.walk.ways_in import Start

PERSON = Figure("person", 1.7, "as in the package's figures")
YARD = Area("yard", np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 8.0], [-2.0, 8.0]]))
NOWHERE = Area("far field", YARD.outline + 500)


@pytest.fixture(scope="module")
def routes():
    """The ways to a yard before a unit, and to one that lies off the ground."""
    site = terrain(plane(0.0), protect=(YARD, NOWHERE))
    one = unit(load_type("one-head-90", Path()))
    return open_routes(site, judged(site, one), PERSON)


def test_values_survive_json_and_carry_every_number(routes):
    """What is drawn of a route is in the values, without a number that JSON does not know."""
    frame = site_frame(None, 0, 0)
    yard, nowhere = json.loads(json.dumps(routes_values(routes, frame), allow_nan=False))
    assert yard["least_likely"]["length_m"] == pytest.approx(routes[0].least.length_m, abs=1e-3)
    assert yard["least_likely"]["alarm_chance"] == pytest.approx(routes[0].least.chance, abs=1e-6)
    assert yard["words"] == routes_words(routes[0])
    np.testing.assert_allclose(yard["least_likely"]["line"], routes[0].least.line, atol=1e-4)
    assert (yard["clear"] is None) != (yard["least_held"] is None)
    assert nowhere["least_likely"] is None
    assert nowhere["clear"] is None
    assert nowhere["least_held"] is None


def test_a_much_shorter_way_has_the_same_keys(routes):
    """Beside the least likely way stands the much shorter one, with every key that it has, or null."""
    both = replace(
        routes[0], shorter=routes[0].inner, inner_shorter=replace(routes[0].least, start=Start(True, "lane"))
    )
    alone = replace(routes[0], shorter=None, inner_shorter=None)
    frame = site_frame(None, 0, 0)
    yard, quiet = json.loads(json.dumps(routes_values((both, alone), frame), allow_nan=False))
    for pair in (("least_likely", "much_shorter"), ("least_likely_to_middle", "much_shorter_to_middle")):
        assert list(yard[pair[0]]) == list(yard[pair[1]])
        assert quiet[pair[1]] is None
    assert yard["much_shorter"] == yard["least_likely_to_middle"]
    assert yard["much_shorter_to_middle"] == yard["least_likely"] | {"start": "lane"}
    assert yard["least_likely"]["start"] == yard["start"]


def test_lines_are_in_the_coordinates_of_the_site_file(routes):
    """Where the site file's own metres lie far from zero the lines are told in those, as units are."""
    far = site_frame(None, 50_300.0, 20_000.0)
    line = routes_values(routes[:1], far)[0]["least_likely"]["line"]
    np.testing.assert_allclose(line, np.add(routes[0].least.line, (50_000.0, 20_000.0)), atol=1e-4)


def test_no_alarm_is_null(routes):
    """A walk without an alarm has null, not an empty place."""
    quiet = replace(routes[0].least, walked=replace(routes[0].least.walked, alarm=None))
    values = routes_values((replace(routes[0], least=quiet),), site_frame(None, 0, 0))
    assert values[0]["least_likely"]["alarm_as_set"] is None

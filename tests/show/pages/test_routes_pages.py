"""The page of the ways in, and the ways in as parts of a scene."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from shapes import judged

from terrain3d import palette
from terrain3d.sentences.routes import start_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.route_scene import routes_oblique_sheet
from terrain3d.show.pages.routes import routes_sheet, telling_walk
from terrain3d.show.ways import drawn_routes, route_scene, same_line
from terrain3d.terrain import Approach, Walk
from terrain3d.walk.pulses import Alarm, try_walk
from terrain3d.walk.routes import open_routes
from terrain3d.walk.ways_in import Start

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def routes_of(outcome, option, terrain=None):
    """The ways in under an option of an outcome."""
    on = terrain or outcome.terrain
    return open_routes(on, judged(on, *option.detectors, combine=option.combine), outcome.figure)


@pytest.fixture(scope="module")
def routes(outcome):
    """The ways in to the yard and to the gate of the invented slope, under its first option."""
    return routes_of(outcome, outcome.options[0])


def hurried(outcome, route, far=3.0):
    """A route with much shorter ways beside it, one of which starts elsewhere and raises the alarm."""
    option = outcome.options[0]

    def straight(way, start, name, aside):
        line = np.array([way.line[0] + aside, way.line[-1]])
        walked = try_walk(outcome.terrain, option.detectors, "any", Walk(name, line, 1.0), outcome.figure)
        alarm = walked.alarm or Alarm(*line.mean(axis=0), walked.length_m / 2, walked.length_m / 2, ("D1",))
        return replace(
            way, start=start, line=line, length_m=walked.length_m, time_s=walked.length_m, chance=0.12,
            pulses=0.13, along_m=np.array([0.0, walked.length_m]), chance_along=np.array([0.0, 0.12]),
            walked=replace(walked, alarm=alarm),
        )  # fmt: skip

    least = replace(route.least, length_m=route.least.length_m + 40)
    return replace(
        route,
        least=least,
        shorter=straight(
            route.least, Start(True, "the old cart track behind the barn"), "short", np.array([far, 0.0])
        ),
        inner_shorter=straight(route.inner, route.start, "short within", np.zeros(2)),
    )


@pytest.mark.parametrize("size", ["screen", "a4", "a3"])
@pytest.mark.parametrize("number", [0, 1])
def test_no_text_leaves_the_page_or_meets_another(outcome, routes, size, number):
    """Whatever it is made for, a page of ways in keeps its words apart."""
    with page_style():
        page = routes_sheet(context_of(outcome, size), outcome.options[0], routes[number])
        check_texts(page)


@pytest.mark.parametrize("size", ["screen", "a4", "a3"])
@pytest.mark.parametrize("far", [0.3, 1.2, 8.0])
def test_a_much_shorter_way_stands_beside_the_least_likely(outcome, routes, size, far):
    """Both have their figures side by side, their letters and lines, and the key names the second kind."""
    route = hurried(outcome, routes[0], far)
    with page_style():
        page = routes_sheet(context_of(outcome, size), outcome.options[0], route)
        check_texts(page)
    texts = [text for text, _ in texts_of(page)]
    for walk in (route.least, route.shorter, route.inner, route.inner_shorter):
        assert f"{walk.length_m:.1f} m, {walk.time_s:.0f} s" in texts
    assert texts.count("12 %") == 2
    assert "D: much shorter" in texts
    assert "much shorter" in texts
    left = route.shorter.length_m - route.shorter.walked.alarm.along_m
    assert f"{left:.1f} m to go" in texts
    letters = [text for text in texts if set(text) <= set("ABCDE, ")]
    assert sorted("".join(letters).replace(", ", "")) == sorted(one.letter for one in drawn_routes(route))
    colours = {line.get_color() for line in page.figure.axes[0].get_lines()}
    assert palette.MUCH_SHORTER in colours


def test_without_a_much_shorter_way_nothing_is_said_of_one(outcome, routes):
    """No sign, no figure and no line of one is on a page where there is none."""
    route = replace(routes[0], shorter=None, inner_shorter=None)
    with page_style():
        page = routes_sheet(context_of(outcome), outcome.options[0], route)
    assert not any("much shorter" in text for text, _ in texts_of(page))
    assert not {"D", "E"} & {one.letter for one in drawn_routes(route)}


def test_in_space_a_much_shorter_way_has_its_colour(outcome, routes):
    """The oblique page draws it in the colour that its key names, and tells where it starts."""
    route = hurried(outcome, routes[0])
    scene = route_scene(outcome.terrain.ground, route)
    assert palette.MUCH_SHORTER in {part.colour for part in scene.parts}
    with page_style():
        page = routes_oblique_sheet(context_of(outcome), outcome.options[0], route)
        check_texts(page)
    texts = [text for text, _ in texts_of(page)]
    assert {"much shorter", "least likely walk", "from the old cart track behind the barn"} <= set(texts)


def test_every_number_of_the_page_is_the_routes_own(outcome, routes):
    """The page tells the chance, the length and the berth as they were found."""
    with page_style():
        said = " ".join(
            text for text, _ in texts_of(routes_sheet(context_of(outcome), outcome.options[0], routes[0]))
        )
    assert f"{routes[0].least.length_m:.1f} m, {routes[0].least.time_s:.0f} s" in said
    assert start_words(routes[0].start) in said
    if routes[0].clear is not None:
        assert f"{routes[0].clear.berth_m:.1f} m" in said
    else:
        assert f"{routes[0].crossing.held_m:.1f} m" in said


def test_the_plan_holds_every_line(outcome, routes):
    """No line starts outside the plan."""
    with page_style():
        page = routes_sheet(context_of(outcome), outcome.options[0], routes[1])
    plan = page.figure.axes[0]
    (west, east), (south, north) = plan.get_xlim(), plan.get_ylim()
    for one in drawn_routes(routes[1]):
        assert one.line[:, 0].min() >= west
        assert one.line[:, 0].max() <= east
        assert one.line[:, 1].min() >= south
        assert one.line[:, 1].max() <= north


def test_a_walk_of_no_length_has_its_page(outcome):
    """An area that a way in runs through needs no walk, and its page says so."""
    yard = outcome.terrain.protect[0]
    through = replace(outcome.terrain, approaches=(Approach("path", yard.outline[[0, 2]]),))
    (route, *_) = routes_of(outcome, outcome.options[0], through)
    assert route.least.length_m == 0.0
    with page_style():
        page = routes_sheet(context_of(outcome), outcome.options[0], route)
        check_texts(page)
    assert any("needs no walk" in text for text, _ in texts_of(page))


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_where_nobody_walks_the_page_says_so(outcome, routes, size):
    """An area that nobody can walk to has a page without a line, and the reason on it."""
    closed = replace(routes[0], start=Start(False), least=None, inner=None, clear=None, crossing=None)
    with page_style():
        page = routes_sheet(context_of(outcome, size), outcome.options[0], closed)
        check_texts(page)
    said = " ".join(text for text, _ in texts_of(page))
    assert "No way in" in said
    assert "Nobody walks to yard: no walkable ground leads there from the edge of the known ground." in said


def test_lines_that_run_together_are_drawn_once():
    """Lines within half a metre of each other all along are one; one that leaves and comes back is not."""
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    assert same_line(line, line[::-1] + 0.3)
    assert not same_line(line, np.array([[0.0, 0.0], [5.0, 2.0], [10.0, 0.0]]))


def test_the_telling_walk_is_one_of_those_drawn(outcome, routes):
    """The ground is drawn along a walk whose letter is on the plan."""
    for route in (*routes, hurried(outcome, routes[0])):
        letter, walk = telling_walk(route)
        assert letter in {one.letter for one in drawn_routes(route)}
        assert walk is {"A": route.least, "B": route.inner, "D": route.shorter}[letter]
    quiet = replace(hurried(outcome, routes[0]), least=replace(routes[0].least, pulses=0.0))
    assert telling_walk(quiet) == ("D", quiet.shorter)


def test_the_scene_has_lines_over_the_ground_and_pins(outcome, routes):
    """In space each line lies a little over the ground, and each alarm has a pin standing on it."""
    ground = outcome.terrain.ground
    for route in routes:
        scene = route_scene(ground, route)
        drawn = drawn_routes(route)
        said = ", ".join(tag.text for tag in scene.tags if tag.kind == "unit")
        assert sorted(said.split(", ")) == [one.letter for one in drawn]
        pins = [tag.point[:2] for tag in scene.tags if tag.text == "alarm"]
        for one in (one for one in drawn if one.alarm is not None):
            assert min(np.hypot(*np.subtract(pin, one.alarm)) for pin in pins) <= 0.5
        for part in (p for p in scene.parts if p.line_px):
            x, y, z = np.asarray(part.mesh.points).T
            over = z - ground.height_at(x, y)
            assert np.nanmax(np.abs(over - 0.05)) < 1e-3


def test_the_oblique_page_keeps_its_words_apart(outcome, routes):
    """In space too the letters of the lines are on the picture and no text covers another."""
    with page_style():
        page = routes_oblique_sheet(context_of(outcome), outcome.options[0], routes[0])
        check_texts(page)
    said = ", ".join(text for text, _ in texts_of(page))
    for one in drawn_routes(routes[0]):
        assert one.letter in said.split(", ")


def test_no_way_no_parts(outcome, routes):
    """Where nobody can walk there is nothing to draw in space."""
    nothing = replace(routes[0], least=None, inner=None, clear=None, crossing=None)
    assert route_scene(outcome.terrain.ground, nothing).parts == ()

"""What is drawn over a picture of directions is where an eye sees it, and hidden where that sees it not."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from page_checks import context_of, texts_of
from shapes import box, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.outlook import figure_lines
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.on_sight import draw_figure, outline_in_sight
from terrain3d.show.pages.outlook import outlook_sheet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.silhouettes import silhouette
from terrain3d.sight.hits import in_sight
from terrain3d.walk.along import layers_over
from terrain3d.walk.outlook import FIGURES_M, figure_places

ONE = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "for the tests")
EYE = (0.0, 0.0, 1.0)
SQUARE = np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 6.0], [-2.0, 6.0]])


@pytest.fixture
def axes():
    """A picture of 120 by 90 degrees."""
    drawn = Sheet().picture_axes()
    drawn.set(xlim=(-60, 60), ylim=(-60, 30))
    return drawn


def test_an_outline_on_the_level_is_where_its_corners_are():
    """1 m over level ground a corner 2 m aside and 4 m ahead lies atan(2/4) right and atan(1/|2, 4|) down."""
    shown, places = outline_in_sight(terrain(plane(0.0)), EYE, SQUARE, 0.0)
    assert np.isfinite(shown).all()
    for x, y in SQUARE:
        azimuth, elevation = shown[np.hypot(*(places - (x, y)).T).argmin()]
        assert azimuth == pytest.approx(math.degrees(math.atan2(x, y)), abs=1.0)
        assert elevation == pytest.approx(-math.degrees(math.atan2(1.0, math.hypot(x, y))), abs=0.6)


def test_a_wall_hides_what_is_behind_it():
    """Three metres of wall before the left half: every point of the outline to its left is hidden."""
    site = terrain(plane(0.0), box((-6, 2, -0.5), (0, 2.2, 3.0)))
    shown, places = outline_in_sight(site, EYE, SQUARE, 0.0)
    hidden = np.isnan(shown[:, 0])
    assert hidden[places[:, 0] < -0.1].all()
    assert not hidden[places[:, 0] > 0.1].any()
    assert in_sight(site, EYE, np.array([[1.0, 4.0, 0.1], [-1.0, 4.0, 0.1], [np.nan, 0, 0]])).tolist() == [
        True,
        False,
        False,
    ]


def test_a_figure_stands_with_its_feet_on_the_ground_and_its_height(axes):
    """4 m off, seen from 1 m: feet atan(1 / 4) under level, head atan(0.7 / 4) over it; all in sight."""
    standing = draw_figure(axes, terrain(plane(0.0)), EYE, 0.0, PERSON, (0.0, 4.0))
    low, high = axes.transData.inverted().transform(standing.box.get_points())[:, 1]
    assert low == pytest.approx(-math.degrees(math.atan2(1.0, 4.0)), abs=0.1)
    assert high == pytest.approx(math.degrees(math.atan2(0.7, 4.0)), abs=0.1)
    assert standing.foot == pytest.approx((0.0, -14.036), abs=0.01)
    assert standing.share == pytest.approx(1.0, abs=0.02)


def test_a_low_wall_halfway_hides_as_much_as_its_shadow_covers(axes):
    """0.8 m high and 2 m off, seen from 1 m, it hides what is under 0.6 m at 4 m: so much of the outline."""
    site = terrain(plane(0.0), box((-3, 1.99, -0.5), (3, 2.0, 0.8)))
    standing = draw_figure(axes, site, EYE, 0.0, PERSON, (0.0, 4.0))
    whole = shapely.union_all([shapely.Polygon(part) for part in silhouette(PERSON)])
    over = shapely.intersection(whole, shapely.box(-5, 0.6, 5, 5))
    assert standing.share == pytest.approx(over.area / whole.area, abs=0.03)


def test_no_figure_stands_where_nothing_is_known(axes):
    """Nor at the eye itself."""
    site = terrain(plane(0.0, extent_m=20.0))
    assert draw_figure(axes, site, EYE, 0.0, PERSON, (0.0, 40.0)) is None
    assert draw_figure(axes, site, EYE, 0.0, PERSON, (0.0, 0.0)) is None


def test_what_is_said_at_their_feet_is_where_layers_cross_them():
    """Level head at 1 m, layer of 3 degrees: 8 m off the upper one passes 1 +- 8 tan 1.5 degrees up."""
    at, site = unit(ONE), terrain(plane(0.0, extent_m=60.0))
    over = layers_over(site, at, np.array([0.0]), np.array([8.0]))
    half = 8 * math.tan(math.radians(1.5))
    away, upper, _ = figure_lines(8.0, over, 0.0)
    assert (away, upper) == ("8 m away", f"upper {1 - half:.2f} to {1 + half:.2f} m")
    beyond = layers_over(site, at, np.array([0.0]), np.array([12.5]))
    assert figure_lines(12.5, beyond, 0.0) == ["12.5 m away", "no layer passes"]


@pytest.mark.parametrize("kind", ["one-head-90", "two-head-180", "one-head-90-watched"])
def test_figures_stand_within_arcs_and_range(kind):
    """At 4, 8 and 12 m as far as the range goes, one beside the other."""
    at = unit(load_type(kind, Path()))
    places = figure_places(at)
    assert [away for away, _ in places] == [one for one in FIGURES_M if one <= at.type.max_range]
    assert len({turn for _, turn in places}) == len(places)
    assert max(abs(turn) for _, turn in places) < max(head.arc for head in at.type.head) / 2


def test_the_page_says_how_far_figures_are_and_names_what_is_protected(outcome):
    """All that are within range, whatever stands before them; feet and heads are within the picture."""
    steep = outcome.terrain.ground
    y = np.broadcast_to(steep.ys[:, None], steep.z.shape)
    sloped = outcome.on(replace(outcome.terrain, ground=replace(steep, z=y * math.tan(math.radians(30)))))
    option = sloped.options[1]
    one = option.detectors[0]
    at = replace(one, ground_z=float(sloped.terrain.ground.height_at(one.x, one.y)))
    with page_style():
        page = outlook_sheet(context_of(sloped), option, at)
    text = " ".join(text for text, _ in texts_of(page))
    low, high = page.figure.axes[0].get_ylim()
    for away, turn in figure_places(at):
        assert f"{away:g} m away" in text
        bearing = math.radians(at.bearing_deg + turn)
        x, north = at.x + away * math.sin(bearing), at.y + away * math.cos(bearing)
        foot = float(sloped.terrain.ground.height_at(x, north)) - at.eye[2]
        assert low < math.degrees(math.atan2(foot, away))
        assert math.degrees(math.atan2(foot + sloped.figure.height_m, away)) < high
    assert "yard" in text

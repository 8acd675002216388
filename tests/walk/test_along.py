"""A section along a drawn line: layers by closed forms on planes, solids and verdicts where they are."""

import math
from dataclasses import replace

import numpy as np
import pytest

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.survey.solids import block, wall
from terrain3d.terrain import Foliage, Solids, Walk, terrain_from_heights
from terrain3d.walk.along import profile_along
from terrain3d.walk.pulses import STRIP_M, try_walk

ONE = load_type("one-head-90")
UPPER = next(layer for layer in ONE.head[0].layer if layer.name == "upper")
PATH = np.array([[-8.0, 6.0], [8.0, 6.0]])


def land(rise=0.0, solids=None):
    """Ground that rises so much a metre to the north, and things on it."""
    y = -20 + 0.25 * np.arange(161)
    return terrain_from_heights(np.tile(rise * y[:, None], 161), cell_m=0.25, solids=solids)


def standing(kind, shape, *sizes) -> Solids:
    """A wall or a block from level ground up."""
    return kind(np.array(shape, float), *sizes, 0.0, lambda x, y: 0.0 * x, "it")


def looking_north(height_m=1.0, **settings):
    return Detector("D1", ONE, "pole", 0.0, 0.0, 0.0, height_m, 0.0, **settings)


def along(terrain, line=PATH, *units):
    return profile_along(terrain, units or (looking_north(),), "any", "path", line, 1.7)


def layer_named(told, name):
    return next(layer for layer in told.layers if layer.layer == name)


def test_a_layer_passes_over_a_path_where_its_cone_does():
    """Head level: each edge is a cone about the upright, z = 1 + d tan(elevation), within the arc alone."""
    told = along(land())
    upper = layer_named(told, "upper")
    x, _ = told.places(told.along)
    d = np.hypot(x, 6.0)
    half = math.tan(math.radians(UPPER.thickness / 2))
    inside = np.abs(x) < 6.0 - 0.05  # an arc of 90 degrees, 6 m off
    assert np.allclose(upper.z[-1, inside], 1 + d[inside] * half)
    assert np.allclose(upper.z[0, inside], 1 - d[inside] * half)
    assert (upper.light[:, inside] == 1).all()
    assert np.isnan(upper.z[:, np.abs(x) > 6.05]).all()
    assert upper.over(len(x) // 2, 0.0) == pytest.approx((1 - 6 * half, 1 + 6 * half), abs=1e-3)


@pytest.mark.parametrize("rise", [-math.tan(math.radians(30)), -0.1, 0.1])
def test_heights_over_a_slope_are_those_over_the_level_less_its_rise(rise):
    """On a plane the ground under a path across the fall lies 6 m * rise higher; what is lower is ground."""
    told = along(land(rise))
    upper, middle = layer_named(told, "upper"), len(told.along) // 2
    half = math.tan(math.radians(UPPER.thickness / 2))
    assert told.ground[middle] == pytest.approx(6 * rise)
    low, high = upper.over(middle, float(told.ground[middle]))
    assert high == pytest.approx(1 + 6 * half - 6 * rise, abs=1e-3)
    assert low == pytest.approx(1 - 6 * half - 6 * rise, abs=1e-3)


def test_nothing_gets_past_a_wall():
    """Two metres of wall halfway, 4 m wide, throw a shadow 8 m wide on a path twice as far."""
    told = along(land(solids=standing(wall, [[-2.0, 3.0], [2.0, 3.0]], 0.1, 2.0)))
    x, _ = told.places(told.along)
    for layer in told.layers:
        assert (layer.light[:, np.abs(x) < 3.8] == 0).all()
        assert layer.over(len(x) // 2, 0.0) is None
        seen = (np.abs(x) > 4.3) & (np.abs(x) < 5.9)
        assert (layer.light[:, seen] == 1).any(axis=0).all()


def test_what_stands_on_a_line_that_turns_is_cut_where_it_is_walked():
    """A block from 2.0 to 2.5 m behind a corner 4 m along is from 6.0 to 6.5 m along, as high as it is."""
    outline = np.array([[3.5, 2.0], [4.5, 2.0], [4.5, 2.5], [3.5, 2.5]])
    terrain = land(solids=standing(block, outline, 1.5))
    told = along(terrain, np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 5.0]]))
    assert told.length_m == pytest.approx(9.0)
    assert told.corners_m == pytest.approx([4.0])
    (solid,) = told.solids
    points = np.vstack(solid.pieces)
    assert (points[:, 0].min(), points[:, 0].max()) == pytest.approx((6.0, 6.5), abs=1e-3)
    assert points[:, 1].max() == pytest.approx(1.5, abs=1e-3)


def test_a_solid_that_ends_on_a_straight_is_not_cut_past_the_corner():
    """The plane of the first straight runs on into the block; the line itself turns before it."""
    outline = np.array([[6.0, -0.5], [7.0, -0.5], [7.0, 0.5], [6.0, 0.5]])
    terrain = land(solids=standing(block, outline, 1.5))
    assert along(terrain, np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 5.0]])).solids == ()


def test_verdicts_are_those_of_the_same_walk():
    """Piece by piece as the strip of a walk has them, but for a step at each change."""
    terrain = land(-0.1)
    unit = looking_north(tilt_deg=4.0)
    told = along(terrain, PATH, unit)
    walked = try_walk(terrain, (unit,), "any", Walk("path", PATH), Figure("person", 1.7, "for the tests"))
    at = np.minimum((told.along / walked.strip_m).astype(int), len(walked.strip) - 1)
    changes = np.abs(np.diff(walked.strip.astype(int))).astype(bool).sum()
    assert (told.codes != walked.strip[at]).sum() * (told.along[1] - told.along[0]) <= changes * STRIP_M
    assert {run.code for run in told.runs()} >= {Verdict.OUTSIDE}


def test_a_line_off_the_survey_is_not_known_there():
    """Half of it lies past the edge, at 20 m."""
    told = along(land(), np.array([[15.0, 0.0], [25.0, 0.0]]))
    unknown = told.codes == UNKNOWN
    assert unknown.mean() == pytest.approx(0.49, abs=0.02)
    assert np.isnan(told.ground[unknown]).all()


def test_leaves_dim_what_passes_them():
    """The law of a section: what foliage lets through on the way (Beer-Lambert), neither none nor all."""
    terrain = land()
    n = 8
    column = np.arange(n * 2, dtype=np.int32).reshape(2, n)
    hedge = Foliage(-0.875, 3.0, 0.25, column, np.zeros(2 * n), 3.0, np.tile([0.0, 3.0], (2 * n, 1)))
    told = along(replace(terrain, foliage=hedge))
    upper, middle = layer_named(told, "upper"), len(told.along) // 2
    # Two columns of 0.25 m, 1 m2/m3, half of it in the way: exp(-0.25).
    assert upper.light[8, middle] == pytest.approx(math.exp(-0.25), abs=2e-3)


@pytest.mark.parametrize("past_m", [0.05, 0.2, 0.3, 0.45, 0.7])
def test_a_way_that_ends_short_of_a_wall_does_not_cut_it(past_m):
    """Whoever walks to a house stops before its wall: nothing of it is on the way, no empty piece either."""
    x = 4.0 + past_m
    outline = np.array([[x, -2.0], [x + 3, -2.0], [x + 3, 2.0], [x, 2.0]])
    told = along(land(solids=standing(block, outline, 2.5)), np.array([[0.0, 0.0], [4.0, 0.0]]))
    assert told.solids == ()

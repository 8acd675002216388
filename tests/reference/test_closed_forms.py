"""Where layers land, clear and come down, against the closed forms of plane geometry.

Source of the forms: plain mathematics of a line over a plane. Source of the table values: rows
"lower layer on a uniform slope" computed independently by two routes (check values of the project).
"""

import math
from pathlib import Path

import numpy as np
import pytest
from shapes import box, plane, terrain, unit

from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import BROKEN, BY_SOLID, LANDS_SHORT, PASSES_ABOVE, layer_outcomes
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama

KIND = load_type("one-head-90", Path())
TABLE = head_table(KIND)
CELL_M = 0.25


def outcomes_along(ground, bearing_deg, height_m, range_m=12.0, figure_height_m=1.7, solids=None):
    """Distance and outcome of each layer on cells within a tenth of a degree of one bearing."""
    site = terrain(ground, solids)
    seen = panorama(site, (0.0, 0.0, height_m), 14.0)
    setting = unit(KIND, height_m, bearing_deg, range_m=range_m)
    outcomes = layer_outcomes(seen, TABLE, setting, figure_height_m)
    offset = np.degrees(np.arctan2(seen.east, seen.north)) - bearing_deg
    near = np.abs((offset + 180) % 360 - 180) < 4
    order = np.argsort(seen.distance[near])
    ahead = np.cos(np.radians(offset[near][order]))
    return (
        seen.distance[near][order],
        ahead,
        dict(zip(TABLE.layer_names, outcomes[:, near][:, order], strict=True)),
    )


@pytest.mark.parametrize("bearing_deg", [0, 37, 135, 270])
@pytest.mark.parametrize("height_m", [0.8, 1.0, 1.2])
@pytest.mark.parametrize("rise", [0.2, 0.1, 0.05, 0.02])
def test_lower_layer_lands_where_the_plane_meets_it(bearing_deg, height_m, rise):
    """Rising or level ground: the lower layer is broken up to d = h / (tan p + s), lost beyond it."""
    tan_p = 1.0 / 12.0
    distance, ahead, outcomes = outcomes_along(plane(rise, bearing_deg), bearing_deg, height_m)
    limit = height_m / (tan_p + rise * ahead)
    inside = distance < 11.95  # the slant range of 12 m ends there, pointing down
    # The middle of the band lies 0.7 per mille of a distance off its axis: 1 cm at 12 m.
    short = inside & (distance < limit - 0.02) & (distance > 0.3)
    beyond = inside & (distance > limit + 0.02)
    assert np.all(outcomes["lower"][short] == BROKEN)
    assert np.all(outcomes["lower"][beyond] == LANDS_SHORT)
    assert beyond.any()
    assert short.any()


@pytest.mark.parametrize(("rise", "lands_m"), [(0.20, 3.529412), (0.10, 5.454545), (0.05, 7.5), (0.0, 12.0)])
def test_table_of_landing_distances(rise, lands_m):
    """The published table row by row, at 1 m and a 12 m range setting, on the finest cells."""
    # An odd number of cells, so that a row of centres lies due north.
    ground = plane(rise, 0, cell_m=0.05, extent_m=25.05)
    distance, ahead, outcomes = outcomes_along(ground, 0, 1.0)
    straight = ahead > 1 - 1e-12
    last = distance[straight & (outcomes["lower"] == BROKEN)].max()
    assert last == pytest.approx(lands_m, abs=0.051)


@pytest.mark.parametrize("rise", [0.1, 0.15, 0.3])
@pytest.mark.parametrize("height_m", [0.8, 1.2])
def test_upper_layer_lands_on_rising_ground(rise, height_m):
    """Rising ground: the level layer lands at d = h / s."""
    distance, ahead, outcomes = outcomes_along(plane(rise, 90), 90, height_m)
    limit = height_m / (rise * ahead)
    inside = (distance < 12) & (distance > 0.3)
    assert np.all(outcomes["upper"][inside & (distance < limit - 1e-6)] == BROKEN)
    assert np.all(outcomes["upper"][inside & (distance > limit + 1e-6)] == LANDS_SHORT)


@pytest.mark.parametrize("fall", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("figure_height_m", [1.525, 1.7])
def test_upper_layer_clears_a_head_on_falling_ground(fall, figure_height_m):
    """Falling ground: the level layer passes over a figure of height H from d = (H - h) / -s."""
    distance, ahead, outcomes = outcomes_along(plane(-fall, 45), 45, 1.0, figure_height_m=figure_height_m)
    limit = (figure_height_m - 1.0) / (fall * ahead)
    inside = (distance < 12) & (distance > 0.3)
    assert np.all(outcomes["upper"][inside & (distance < limit - 1e-6)] == BROKEN)
    assert np.all(outcomes["upper"][inside & (distance > limit + 1e-6)] == PASSES_ABOVE)


@pytest.mark.parametrize("animal_m", [0.45, 0.6, 0.67])
def test_upper_layer_comes_down_to_an_animal(animal_m):
    """Rising ground: the level layer is at an animal's shoulder from d = (h - A) / s to h / s."""
    rise, height_m = 0.1, 0.8
    distance, ahead, outcomes = outcomes_along(plane(rise, 0), 0, height_m, figure_height_m=animal_m)
    first = (height_m - animal_m) / (rise * ahead)
    last = height_m / (rise * ahead)
    before = (distance < first - 1e-6) & (distance > 0.3)
    on = (distance > first + 1e-6) & (distance < last - 1e-6)
    assert np.all(outcomes["upper"][before] == PASSES_ABOVE)
    assert np.all(outcomes["upper"][on] == BROKEN)
    assert on.any()


@pytest.mark.parametrize("wall_m", [0.5, 0.7, 0.8, 0.9])
@pytest.mark.parametrize("at_m", [2.0, 3.125, 5.0])
def test_wall_cuts_the_lower_layer(wall_m, at_m):
    """Level ground: behind a wall of height w at distance a the lower layer is cut where h - a tan p < w."""
    wall = box((-9, at_m, -0.5), (9, at_m + 0.02, wall_m))
    distance, ahead, outcomes = outcomes_along(plane(0.0), 0, 1.0, solids=wall)
    # Seen at an angle the wall stands farther off; its near face counts where the layer clears it
    # on the way in, its far face where the layer dips behind it: 2 cm of wall, 2 mm of height.
    axis = 1.0 - (at_m / ahead) / 12.0
    behind = (distance > at_m / ahead + 0.1) & (distance < 11.9)
    cut = behind & (axis < wall_m - 0.004)
    clear = behind & (axis > wall_m + 0.004)
    assert np.all(outcomes["lower"][cut] == BY_SOLID)
    assert np.all(outcomes["lower"][clear] == BROKEN)
    assert (cut | clear).any()
    assert np.all(outcomes["upper"][behind] == BROKEN)


def test_mounted_low_the_lower_layer_lands_early():
    """A unit of 1.0 m nominal height, set to 12 m and mounted at 0.8 m, lands its lower layer at 9.6 m."""
    distance, ahead, outcomes = outcomes_along(plane(0.0, cell_m=0.05, extent_m=25.05), 0, 0.8)
    last = distance[(ahead > 1 - 1e-12) & (outcomes["lower"] == BROKEN)].max()
    assert last == pytest.approx(9.6, abs=0.06)
    assert math.degrees(math.atan(1 / 12)) == pytest.approx(4.763642, abs=1e-6)


@pytest.mark.parametrize(
    ("height_m", "wall_m", "at_m", "behind_m", "hidden_m"),
    [(1.0, 0.8, 5, 10, 0.6), (1.0, 1.2, 5, 10, 1.4), (1.2, 1.5, 10, 12, 1.56)],
)
def test_hidden_height_behind_a_wall_on_the_flat(height_m, wall_m, at_m, behind_m, hidden_m):
    """z = ho + (hw - ho) dt / dw: the height a wall hides farther on (plain mathematics)."""
    thin = box((-9, at_m - 1e-4, -0.5), (9, at_m, wall_m))
    ground = plane(0.0, cell_m=0.5, extent_m=29.5)  # an odd number of cells: one centre lies due north
    seen = panorama(terrain(ground, thin), (0.0, 0.0, height_m), 13.0)
    k = np.flatnonzero((np.abs(seen.east) < 1e-9) & (np.abs(seen.distance - behind_m) < 1e-6))[0]
    first_seen = seen.pieces[seen.piece_start[k], 0] + height_m
    assert first_seen == pytest.approx(hidden_m, abs=2e-4)

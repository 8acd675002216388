"""What lines meet first on their way, against single rays cast by embree and by the march over the ground."""

import math

import numpy as np
import pytest
from shapes import box, ground, leaves, plane, terrain

from terrain3d.sight.hits import Hit, first_hits
from terrain3d.sight.met import LINES_M, line_over
from terrain3d.sight.panorama import panorama
from terrain3d.sight.points import look_at


def hills(x, y):
    """Crests, hollows and a bank, so that ground stands before walls and behind them."""
    return 0.1 * y + 0.4 * np.sin(x / 2.1) * np.cos(y / 2.7) + 0.8 / (1 + np.exp(-(x - 3) / 0.4))


def things():
    """Walls behind walls, a roof without walls, and a post: five solids."""
    return (
        box((1, 3, -2), (6, 3.3, 1.3), 20)
        .joined(box((0, 6, -2), (7, 6.3, 2.2), 5))
        .joined(box((-7, -6, 1.2), (-3, -3, 1.9), 35))
        .joined(box((-4, 4, -2), (-3, 5, 3), 10))
        .joined(box((2.0, -5.0, -2), (2.2, -4.8, 1.1), -15))
    )


def by_table(seen, cell, height):
    """The solid that a line meets first which ends at a height over a cell; -1 for none."""
    rows = slice(seen.met.solid_start[cell], seen.met.solid_start[cell + 1])
    low, high = seen.met.solid_heights[rows].T
    found = np.flatnonzero((low <= height) & (height < high))
    assert len(found) <= 1
    return int(seen.met.solid[rows][found[0]]) if len(found) else -1


@pytest.mark.parametrize("eye_xy", [(0.1, -0.2), (-5.3, 2.2)])
def test_the_first_solid_is_that_of_a_single_ray(eye_xy):
    """9000 lines that end under, over and far above cells: solid or ground first, and which, as rays say."""
    site = terrain(ground(hills, cell_m=0.5, extent_m=26), things())
    eye = (*eye_xy, float(site.ground.height_at(*eye_xy)) + 1.0)
    seen = panorama(site, eye, 12.0)
    rng = np.random.default_rng(5)
    cells = rng.integers(0, len(seen.cells), 9000)
    cells = cells[seen.distance[cells] > 0.5]
    height = seen.foot[cells] + rng.uniform(-2.5, 5.0, len(cells))
    d = seen.distance[cells]
    rays = np.column_stack([seen.east[cells] * d, seen.north[cells] * d, height])
    length = np.linalg.norm(rays, axis=1)
    hits = first_hits(site, eye, rays, 40.0)
    meets = np.where((hits.what == Hit.SOLID) & (hits.distance < length - 1e-6), hits.solid, -1)
    mine = np.array([by_table(seen, k, h) for k, h in zip(cells, height, strict=True)])
    # Embree works in 32 bits: a line within a millimetre of an edge may fall either way.
    assert np.mean(mine == meets) > 0.998
    assert np.all(np.bincount(meets + 1, minlength=6) > 3)


def test_a_line_stands_for_the_heights_around_it():
    """Within a figure each tenth of a metre has a line of its own; past 1 m of the outermost is none."""
    assert [float(LINES_M[line_over(h)]) for h in (0.01, 0.26, 2.49)] == pytest.approx([0.05, 0.25, 2.45])
    assert LINES_M[line_over(-0.2)] == -0.25
    assert LINES_M[line_over(3.2)] == 3.5
    assert line_over(LINES_M[0] - 1.1) == line_over(LINES_M[-1] + 1.1) == -1


def test_light_ends_where_the_line_does():
    """A hedge of 1 m, LAD 2, lets exp(-1) through; behind a wall that is met before it, all is left."""
    on = plane(0.0, cell_m=0.25, extent_m=26.75)
    hedge = leaves(on, lambda x, y: (y > 5.125) & (y < 6.125), 0.0, 2.0, 2.0)
    for wall, before in [(None, math.exp(-1)), (box((-20, 3, -1), (20, 3.2, 1.6)), 1.0)]:
        seen = panorama(terrain(on, wall, hedge), (0.0, 0.0, 1.0), 12.0)
        ahead = (np.abs(seen.east) < 1e-9) & (seen.north > 0) & (seen.distance > 7)
        rows = seen.met.leaf_row[ahead]
        if wall is None:
            level = [seen.met.light[row, line_over(1.0)] for row in rows]
            assert level == pytest.approx([before] * len(rows), abs=0.001)
            assert {int(seen.met.leaf[row, line_over(1.0)]) for row in rows} == {0}
        else:
            assert all(row < 0 or seen.met.light[row, line_over(1.0)] == before for row in rows)


def test_leaves_behind_a_bank_take_nothing_of_what_the_bank_takes():
    """Lines that end low meet a bank of 1.2 m before the hedge, those that end at 1.7 m the hedge."""
    on = plane(0.0, cell_m=0.25, extent_m=26.75)
    on.z[(on.ys > 3) & (on.ys < 4), :] = 1.2
    hedge = leaves(on, lambda x, y: (y > 6.125) & (y < 7.125), 0.0, 3.0, 2.0)
    seen = panorama(terrain(on, None, hedge), (0.0, 0.0, 1.0), 12.0)
    (ahead,) = np.flatnonzero((np.abs(seen.east) < 1e-9) & (np.abs(seen.distance * seen.north - 9) < 0.01))
    light = seen.met.light[seen.met.leaf_row[ahead]]
    assert light[line_over(0.5)] == 1.0
    assert light[line_over(1.95)] == pytest.approx(math.exp(-1), abs=0.01)


def test_points_are_met_as_cells_are():
    """What is met on the way to the very centres of cells, asked for as points, is the same."""
    site = terrain(ground(hills, cell_m=0.5, extent_m=26), things())
    seen = panorama(site, (0.1, -0.2, 1.0), 12.0)
    columns = site.ground.z.shape[1]
    x, y = site.ground.xs[seen.cells % columns], site.ground.ys[seen.cells // columns]
    again = look_at(site, (0.1, -0.2, 1.0), x, y)
    n_here, n_there = np.diff(seen.met.solid_start), np.diff(again.met.solid_start)
    assert np.array_equal(n_here[again.cells], n_there)
    some = seen.among(seen.distance < 8)
    assert np.array_equal(np.diff(some.met.solid_start), n_here[seen.distance < 8])

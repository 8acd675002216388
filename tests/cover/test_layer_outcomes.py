"""What a layer is charged to, by hand, on level ground seen from 1 m: axes are level and 1 in 12 down.

Before each thing the axis is followed from the unit: at d metres the lower one is at 1 - d / 12.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import box, judged, leaves, plane, terrain, unit

from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import (
    BROKEN,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    LANDS_SHORT,
    NO_TAKER,
    PASSES_ABOVE,
    outcomes_and_takers,
    taker_names,
)
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama

ONE = load_type("one-head-90", Path())
SIZE = {"cell_m": 0.25, "extent_m": 26.75}  # an odd number of cells: a row of centres lies due north


def banked(low_y, high_y, top_m):
    """Level ground with a bank across it."""
    on = plane(0.0, **SIZE)
    on.z[(on.ys > low_y) & (on.ys < high_y), :] = top_m
    return on


def wall(y, top_m, name="wall", thick_m=0.2):
    """A wall right across."""
    return replace(box((-20, y, -1), (20, y + thick_m, top_m)), names=(name,))


def hedge(on, y, density, name="hedge"):
    """A hedge 1 m deep and 2 m high right across."""
    grown = leaves(on, lambda _x, at: (at > y + 0.125) & (at < y + 1.125), 0.0, 2.0, density)
    return replace(grown, names=(name,))


def behind(site, layer, near_m, far_m, figure_height_m=1.7, **setting):
    """What became of a layer due north between two distances, and the name of what takes it."""
    seen = panorama(site, (0.0, 0.0, 1.0), 13.0)
    table = head_table(ONE)
    outcomes, takers = outcomes_and_takers(seen, table, unit(ONE, **setting), figure_height_m)
    row = table.layer_names.index(layer)
    ahead = (np.abs(seen.east) < 1e-9) & (seen.north > 0) & (seen.distance > near_m) & (seen.distance < far_m)
    assert ahead.sum() > 2
    found = {
        (int(outcome), "" if taker == NO_TAKER else taker_names(site)[taker])
        for outcome, taker in zip(outcomes[row, ahead], takers[row, ahead], strict=True)
    }
    assert len(found) == 1, found
    return found.pop()


def test_a_wall_before_a_bank_takes_the_layer():
    """At 3 m the axis is at 0.75: it meets the wall of 0.9 m, and never the bank of 0.9 m at 5 m."""
    site = terrain(banked(5, 6, 0.9), wall(3, 0.9))
    assert behind(site, "lower", 6.5, 11) == (BY_SOLID, "wall")
    assert behind(site, "upper", 6.5, 11) == (BROKEN, "")


def test_a_bank_before_a_wall_takes_the_layer():
    """The same the other way round: the bank at 3 m rises over 0.75 m, the wall stands behind it."""
    site = terrain(banked(3, 4, 0.9), wall(5, 0.9))
    assert behind(site, "lower", 6.5, 11) == (BY_GROUND, "")


@pytest.mark.parametrize(
    ("density", "wall_y", "expected"),
    [
        (2.0, 6.0, (BY_FOLIAGE, "hedge")),  # exp(-1) is left: the hedge takes it before the wall can
        (1.0, 6.0, (BY_SOLID, "wall")),  # exp(-0.5), more than the half that is needed: the wall takes it
        (2.0, 2.5, (BY_SOLID, "wall")),  # the wall comes first
    ],
)
def test_a_hedge_before_a_wall_takes_the_layer_where_it_alone_would(density, wall_y, expected):
    """A level axis at 1 m, a wall of 1.3 m, and a hedge from 4 to 5 m."""
    on = plane(0.0, **SIZE)
    site = terrain(on, wall(wall_y, 1.3), hedge(on, 4, density))
    assert behind(site, "upper", 6.5, 9) == expected


def test_of_two_walls_the_nearer_is_named():
    """Both would take it; and two hedges likewise, of which the denser takes most."""
    on = plane(0.0, **SIZE)
    both = terrain(on, wall(5, 1.5, "far wall").joined(wall(3, 1.2, "near wall")))
    assert behind(both, "upper", 6.5, 11) == (BY_SOLID, "near wall")
    thin, dense = hedge(on, 3, 0.5), hedge(on, 5, 1.5)
    two = replace(
        dense,
        column=np.where(dense.column >= 0, dense.column + len(thin.base_z), thin.column),
        base_z=np.concatenate([thin.base_z, dense.base_z]),
        above=np.vstack([thin.above, dense.above]),
        owners=np.repeat([0, 1], [len(thin.base_z), len(dense.base_z)]).astype(np.int32),
        names=("thin hedge", "dense hedge"),
    )
    assert behind(terrain(on, None, two), "upper", 6.5, 11) == (BY_FOLIAGE, "dense hedge")


def test_a_wall_before_the_landing_takes_the_layer_behind_it():
    """Set to 8 m the axis lands at 8 m; at 4 m it is at 0.5 m, where a wall of 0.6 m meets it first."""
    on = plane(0.0, **SIZE)
    assert behind(terrain(on), "lower", 9, 11, range_m=8.0) == (LANDS_SHORT, "")
    assert behind(terrain(on, wall(4, 0.6)), "lower", 9, 11, range_m=8.0) == (BY_SOLID, "wall")


def test_a_wall_before_a_layer_that_passes_over_takes_it():
    """A cat of 0.25 m is under the level axis anyway; a wall of 1.3 m on the way is met first."""
    on = plane(0.0, **SIZE)
    assert behind(terrain(on), "upper", 6, 11, 0.25) == (PASSES_ABOVE, "")
    assert behind(terrain(on, wall(4, 1.3)), "upper", 6, 11, 0.25) == (BY_SOLID, "wall")


def test_where_the_axis_is_free_what_takes_most_is_charged():
    """A wall that only grazes the band is charged where it takes more of it than the figure's feet do.

    The upper band is 1.5 degrees each way: at 8 m from 0.79 to 1.21. A wall of 0.98 m at 4 m hides all below
    0.96 there, two fifths of it, and nothing else takes any. The lower band is from -0.26 to 0.34 at 11.5 m:
    43 % of it is under the feet, and a wall of 0.1 m at 10.5 m hides no more than 2 %.
    """
    on = plane(0.0, **SIZE)
    site = terrain(on, wall(4, 0.98))
    assert behind(site, "upper", 7.5, 8.5) == (BROKEN, "")
    assert behind(site, "upper", 7.5, 8.5, fill=0.7) == (BY_SOLID, "wall")
    low = terrain(on, wall(10.5, 0.1))
    assert behind(low, "lower", 11.1, 11.9, fill=0.65) == (LANDS_SHORT, "")
    # A crossing strip 0.9 m high at 4 m: leaves that dim the whole band by 0.3 take more than a rim.
    assert behind(terrain(on, None, hedge(on, 4, 0.75)), "upper", 6, 9, fill=0.8) == (BY_FOLIAGE, "hedge")


def test_square_metres_are_told_by_name():
    """What the wall and the hedge take adds up to what solids and foliage take, layer by layer."""
    on = plane(0.0, **SIZE)
    west = leaves(on, lambda x, y: (x < -2) & (y > 4) & (y < 5), 0.0, 2.0, 3.0)
    site = terrain(
        on, replace(box((1, 4, -1), (4, 4.2, 1.4)), names=("wall",)), replace(west, names=("hedge",))
    )
    option = judged(site, unit(ONE))
    for layer, causes in option.causes.items():
        taken = option.taken_by[layer]
        assert taken["wall"] == pytest.approx(causes["hidden by a solid"])
        assert taken["hedge"] == pytest.approx(causes["hidden by foliage"])

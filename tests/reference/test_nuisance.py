"""Animals, spill and zones against closed forms.

Source of the forms: plain mathematics of a level line over a plane (DESIGN: the upper layer comes down to
an animal of height A at d = (h - A) / s and lands at d = h / s), and of a rectangle seen square on.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import judged, plane, terrain, unit

from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import load_type
from terrain3d.nuisance.animals import animal_ground
from terrain3d.nuisance.sight_lines import Lands
from terrain3d.nuisance.spill import spill
from terrain3d.nuisance.things import in_layers
from terrain3d.terrain import Beyond, Nuisance

KIND = load_type("one-head-90", Path())
AXIS = 1


def held_from(rise: float, towards_deg: float, height_m: float, animal_m: float) -> tuple[float, float]:
    """Nearest and farthest held cell on a line of cells straight up the slope, and the cell's size."""
    # An odd number of cells, so that a row of centres lies due north, east and so on.
    ground = plane(rise, towards_deg, cell_m=0.05, extent_m=25.05)
    setting = unit(KIND, height_m, towards_deg)
    where = sighted(terrain(ground), setting).verdicts(ground, animal_m) == Verdict.BOTH
    rows, columns = np.nonzero(where)
    x, y = ground.xs[columns], ground.ys[rows]
    east, north = math.sin(math.radians(towards_deg)), math.cos(math.radians(towards_deg))
    straight = np.abs(x * north - y * east) < 1e-9
    ahead = (x * east + y * north)[straight]
    return float(ahead.min()), float(ahead.max())


@pytest.mark.parametrize("towards_deg", [0, 90])
@pytest.mark.parametrize(("height_m", "animal_m"), [(0.8, 0.44), (0.8, 0.6), (1.0, 0.75), (1.2, 0.95)])
@pytest.mark.parametrize("rise", [0.08, 0.12, 0.2])
def test_animal_ground_starts_where_the_upper_layer_comes_down(rise, height_m, animal_m, towards_deg):
    """On a rise an animal of height A breaks both layers from d = (h - A) / s on.

    It does so until the lower layer lands at h / (tan p + s); where that is nearer, nowhere.
    """
    starts, lands = (height_m - animal_m) / rise, height_m / (1 / 12 + rise)
    if starts < lands - 0.05:
        first, last = held_from(rise, towards_deg, height_m, animal_m)
        assert first == pytest.approx(starts, abs=0.05)
        assert last == pytest.approx(min(lands, 12.0), abs=0.06)
    else:
        ground = plane(rise, towards_deg)
        setting = unit(KIND, height_m, towards_deg)
        where = sighted(terrain(ground), setting).verdicts(ground, animal_m) == Verdict.BOTH
        x, y = np.meshgrid(ground.xs, ground.ys)
        # To the sides the ground rises less, so both limits lie farther off, in the same order.
        assert not where[np.hypot(x, y) < starts - 0.1].any()


@pytest.mark.parametrize("height_m", [0.8, 1.0, 1.2])
def test_on_the_level_no_animal_under_the_upper_layer_has_ground(height_m):
    """A level layer passes over everything lower than the unit, and meets what is taller."""
    site = terrain(plane(0.0))
    setting = unit(KIND, height_m)
    for ground in animal_ground(site, judged(site, setting)).animals:
        assert (ground.area_m2 > 0) == (ground.figure.height_m > height_m)
        assert ground.where.any() == (ground.nearest_m is not None)


def test_on_the_level_a_crawler_passes_wherever_a_person_is_held():
    """At 0.7 m the crawling back is under a level layer at 1 m: all held ground lets him pass."""
    site = terrain(plane(0.0))
    setting = unit(KIND, 1.0)
    option = judged(site, setting)
    found = animal_ground(site, option)
    assert found.crawling.area_m2 == option.area_m2["both"] > 50


def over(rise: float, boundary_m: float | None = None, towards_deg: float = 0.0, height_m: float = 1.0):
    """The spill of a unit that looks straight up or down a plane, and the middle of its fan."""
    site = terrain(plane(rise, towards_deg, extent_m=90.0, cell_m=0.5))
    if boundary_m is not None:
        square = np.array([[-40.0, -40], [40, -40], [40, boundary_m], [-40, boundary_m]])
        turn = math.radians(towards_deg)
        back = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        site = replace(site, boundary=square @ back)
    found = spill(site, (unit(KIND, height_m, towards_deg),), 1.7)
    return found, len(found.fans[0].bearing_deg) // 2


@pytest.mark.parametrize("towards_deg", [0, 50, 180])
def test_over_falling_ground_four_of_twelve_metres_lie_past_a_boundary_at_eight(towards_deg):
    """A level axis never lands on a falling plane: 12 - 8 = 4 m past the boundary, 36 - 8 followed on."""
    found, middle = over(-0.1, 8.0, towards_deg)
    (fan,) = found.fans
    assert fan.bearing_deg[middle] == pytest.approx(towards_deg)
    assert fan.past_within_m[AXIS, middle] == pytest.approx(4.0, abs=1e-9)
    assert fan.past_on_m[AXIS, middle] == pytest.approx(24.0, abs=1e-9)
    # The edges of a 3 degree layer reach a little less far in plan: 12 cos 1.5 - 8.
    for edge in (0, 2):
        assert fan.past_within_m[edge, middle] == pytest.approx(12 * math.cos(math.radians(1.5)) - 8)
    # Aside the boundary is farther off: 8 / cos a along the bearing.
    aside = np.radians(fan.bearing_deg - towards_deg)
    expected = np.maximum(12 - 8 / np.cos(aside), 0)
    assert fan.past_within_m[AXIS] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("height_m", [0.8, 1.2])
@pytest.mark.parametrize("rise", [0.1, 0.15, 0.3])
def test_on_a_rise_the_upper_layer_lands_at_h_over_s(rise, height_m):
    """The axis lands at d = h / s, its edges at h / (s -+ tan 1.5)."""
    found, middle = over(rise, height_m=height_m)
    (fan,) = found.fans
    assert set(fan.lands[:, middle]) == {Lands.GROUND}
    for edge, lean in enumerate((-1.5, 0.0, 1.5)):
        plan_m = fan.end_m[edge, middle] * math.cos(math.radians(lean))
        assert plan_m == pytest.approx(height_m / (rise - math.tan(math.radians(lean))), rel=1e-9)
    assert found.farthest_within_m is None
    assert np.isnan(fan.past_within_m).all()


def test_ground_of_others_in_the_layer_is_its_strip_within_range():
    """Level ground: a person anywhere in a strip from 6 to 8 m breaks the upper layer, within the arc.

    The strip's part of a 90 degree arc is a trapezium of 12 and 16 m: 28 m2. Its part of the range
    matters at the corners, whose distance is 8 sqrt 2 = 11.3 m: within 12 m.
    """
    lane = Beyond("lane", "road", np.array([[-30.0, 6], [30, 6], [30, 8], [-30, 8]]))
    site = replace(terrain(plane(0.0, extent_m=90.0, cell_m=0.125)), beyond=(lane,))
    found = spill(site, (unit(KIND, 1.0),), 1.7)
    (piece,) = found.pieces
    assert piece.within_m2 == pytest.approx(28.0, abs=0.6)
    # Followed on to 36 m no more of it lies in the arc.
    assert piece.on_past_m2 == pytest.approx(0.0, abs=0.6)
    assert piece.nearest_m == pytest.approx(6.0, abs=0.13)


@pytest.mark.parametrize(("from_m", "within"), [(6.0, True), (20.0, False)])
def test_what_lies_past_the_range_is_told_apart(from_m, within):
    """Level ground, a plot 2 m deep and 4 m wide straight ahead: all of it in one reach or the other."""
    plot = Beyond(
        "plot", "neighbour", np.array([[-2, from_m], [2, from_m], [2, from_m + 2], [-2, from_m + 2]])
    )
    site = replace(terrain(plane(0.0, extent_m=90.0, cell_m=0.25)), beyond=(plot,))
    (piece,) = spill(site, (unit(KIND, 1.0),), 1.7).pieces
    assert (piece.within_m2, piece.on_past_m2) == ((8.0, 0.0) if within else (0.0, 8.0))


@pytest.mark.parametrize("side_m", [0.3, 0.6])
@pytest.mark.parametrize("bearing_deg", [0, 90])
def test_a_vent_fills_its_share_of_a_zone(side_m, bearing_deg):
    """A square of 0.3 m at 5 m, square on, in the middle of a zone of 10 by 3 degrees.

    It is 2 atan(0.15 / 5) = 3.436 degrees wide, and higher than the layer: 0.344 of the zone; one of
    0.6 m is 6.867 degrees wide, 0.687 of it, and reaches the lower layer besides (hand-worked).
    """
    half = side_m / 2
    square = np.array([[-half, 5.0], [half, 5.0], [half, 5.02], [-half, 5.02]])
    if bearing_deg == 90:
        square = square[:, ::-1]
    vent = Nuisance("vent", "vent", square, 1.0 - half, 1.0 + half)
    site = replace(terrain(plane(0.0)), nuisances=(vent,))
    found, *others = in_layers(site, (unit(KIND, 1.0, bearing_deg),))
    width_deg = 2 * math.degrees(math.atan(half / 5))
    assert found.layer == "upper"
    assert [item.layer for item in others] == (["lower"] if side_m > 0.5 else [])
    assert found.seen_fill == found.fill == pytest.approx(width_deg / 10, abs=0.011)
    assert found.distance_m == pytest.approx(5.0, abs=1e-3)
    assert found.zone == 5
    assert found.is_within_range


def test_a_low_vent_fills_only_the_part_of_its_height_in_the_layer():
    """Its top 5 cm over the axis at 5 m: the lower 1.5 degrees of the layer and atan(0.05 / 5) = 0.573 more.

    (1.5 + 0.573) / 3 of the zone's height, 3.436 / 10 of its width: 0.2374 (hand-worked).
    """
    square = np.array([[-0.15, 5.0], [0.15, 5.0], [0.15, 5.02], [-0.15, 5.02]])
    site = replace(terrain(plane(0.0)), nuisances=(Nuisance("vent", "vent", square, 0.75, 1.05),))
    (found,) = in_layers(site, (unit(KIND, 1.0),))
    assert found.fill == pytest.approx(0.2374, abs=0.012)


def test_a_road_across_the_lower_layer_fills_what_its_edges_span():
    """Level ground, a road from 10 to 12 m: from atan(1/10) = 5.711 to atan(1/12) = 4.764 degrees down.

    The layer spans 3.264 to 6.264 degrees down, so the middle zone is 0.316 full (hand-worked).
    """
    road = np.array([[-40.0, 10.0], [40.0, 10.0], [40.0, 12.0], [-40.0, 12.0]])
    site = replace(
        terrain(plane(0.0, extent_m=90.0)), nuisances=(Nuisance("lane", "road", road, 0.0, 0.001),)
    )
    (found,) = in_layers(site, (unit(KIND, 1.0),))
    assert found.layer == "lower"
    assert found.fill == pytest.approx(0.316, abs=0.034)  # a row of directions is 0.033 of the zone
    assert found.distance_m == pytest.approx(math.hypot(10.0, 1.0), abs=0.2)

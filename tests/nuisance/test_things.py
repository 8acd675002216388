"""Things in a layer: hidden or seen, near or far, standing or lying, on the level or on a slope."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon
from shapes import box, plane, terrain, unit

from terrain3d.detector.types import load_type
from terrain3d.nuisance.things import _stretches, in_layers
from terrain3d.sentences.nuisances import ADVICE
from terrain3d.site import NuisanceShape
from terrain3d.terrain import Nuisance

KIND = load_type("one-head-90", Path())


def thing(x: float, y: float, side: float, base_m: float, top_m: float, kind: str = "vent") -> Nuisance:
    half = side / 2
    outline = np.array(
        [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
    )
    return Nuisance(f"{kind} at {x:g} {y:g}", kind, outline, base_m, top_m)


def found(*things, on=None, solids=None, **setting):
    site = replace(terrain(plane(0.0, extent_m=90.0) if on is None else on, solids), nuisances=things)
    return in_layers(site, (unit(KIND, 1.0, **setting),))


def test_advice_for_every_kind_a_site_file_may_name():
    """No kind is left without a word."""
    kinds = NuisanceShape.model_fields["kind"].annotation.__args__
    assert set(ADVICE) == set(kinds)


def test_a_wall_hides_a_thing_and_it_is_still_named():
    """Behind a wall it lies in the layer, unseen."""
    vent = thing(0, 6, 0.4, 0.8, 1.2)
    (seen,) = found(vent)
    (hidden,) = found(vent, solids=box((-3, 4, -1), (3, 4.2, 2)))
    assert seen.is_seen
    assert not hidden.is_seen
    assert hidden.fill == seen.fill
    assert hidden.distance_m == pytest.approx(seen.distance_m)


def test_a_wall_across_half_of_it_hides_half_of_it():
    """What is seen is counted by itself."""
    vent = thing(0, 6, 0.8, 0.7, 2.0)
    (half,) = found(vent, solids=box((-3, 4, -1), (0, 4.2, 3)))
    assert half.seen_fill == pytest.approx(half.fill / 2, abs=0.011)


def test_a_thing_on_the_face_of_a_wall_is_seen():
    """Drawn on the wall's line it stands half within the wall, and shows; drawn behind it it does not."""
    wall = box((-5, 6, -1), (5, 9, 3))
    assert found(thing(0, 6, 0.2, 0.8, 1.2), solids=wall)[0].is_seen
    assert not found(thing(0, 7, 0.2, 0.8, 1.2), solids=wall)[0].is_seen


def test_a_hill_hides_a_thing():
    """A bank between hides it; the bank's own ground does not count as the thing's."""
    on = plane(0.0, extent_m=90.0)
    bank = replace(on, z=np.where((on.ys[:, None] > 4) & (on.ys[:, None] < 5), 2.0, on.z))
    (hidden,) = found(thing(0, 8, 0.4, 0.8, 1.2), on=bank)
    assert not hidden.is_seen


def test_heights_are_above_the_ground_beneath():
    """On a rise of 15 in 100 a vent up to 0.3 m at 5 m stands from 0.75 to 1.05: in the level layer."""
    vent = thing(0, 5, 0.1, 0.0, 0.3)
    assert [item.layer for item in found(vent)] == []
    assert [item.layer for item in found(vent, on=plane(0.15, extent_m=90.0))] == ["upper"]


def test_far_things_are_told_from_those_within_range():
    """A flue at 20 m is past the range and still named; one at 40 m is not looked for."""
    (far,) = found(thing(0, 20, 0.6, 0.5, 2.0, "flue"))
    assert not far.is_within_range
    assert far.is_seen
    assert found(thing(0, 40, 0.6, 0.5, 2.0, "flue")) == ()


def test_what_lies_aside_or_above_is_not_in_a_layer():
    """Outside the arc and over the layer."""
    assert found(thing(6, 0, 0.4, 0.8, 1.2), bearing_deg=270) == ()
    assert found(thing(0, 6, 0.4, 2.0, 2.4)) == ()


@pytest.mark.parametrize(("aside_deg", "zone"), [(-40, 1), (0, 5), (39, 9)])
def test_zones_are_counted_from_the_left(aside_deg, zone):
    """Nine zones of 10 degrees, the first on the left."""
    at = np.radians(aside_deg)
    (item,) = found(thing(6 * np.sin(at), 6 * np.cos(at), 0.2, 0.8, 1.2))
    assert item.zone == zone
    assert (item.bearing_deg + 180) % 360 - 180 == pytest.approx(aside_deg, abs=0.2)


def test_a_unit_within_an_outline_looks_out_of_it():
    """A pond all round the pole: the lower layer comes down on it, from the foot of the band on."""
    (item,) = found(thing(0, 0, 30.0, 0.0, 0.01, "water"))
    assert item.layer == "lower"
    assert item.fill == pytest.approx(1.0, abs=0.04)
    assert item.distance_m == pytest.approx(1 / np.sin(np.radians(6.264)), abs=0.2)


places = st.tuples(st.floats(-9, 9), st.floats(-9, 9))


@settings(max_examples=80, deadline=None)
@given(places, st.lists(st.floats(0.5, 8), min_size=3, max_size=9), st.floats(0, 2 * np.pi))
def test_lines_through_outlines_agree_with_a_geometry_library(middle, radii, turn):
    """Entering and leaving, summed, is the length that shapely finds (an independent engine).

    The outlines are stars about a point: never crossed, seldom convex.
    """
    angle = 0.1 + np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    outline = np.array(middle) + np.array(radii)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    along = np.array([[np.sin(turn), np.cos(turn)]])
    # A line through a corner, or from a point on an edge, has no single answer.
    assume(Polygon(outline).exterior.distance(Point(0, 0)) > 1e-6)
    assume(np.abs(outline @ [along[0, 1], -along[0, 0]]).min() > 1e-6)
    start, stop = _stretches(outline, along)
    inside = np.isfinite(stop)
    line = LineString([(0, 0), tuple(100 * along[0])])
    assert (stop[inside] - start[inside]).sum() == pytest.approx(
        Polygon(outline).intersection(line).length, abs=1e-6
    )


@settings(max_examples=15, deadline=None)
@given(st.floats(-5, 5), st.floats(2, 11), st.floats(0.1, 1), st.floats(0, 1.2), st.floats(-4, 4))
def test_what_is_seen_is_never_more_than_what_is_there(x, y, side, base, tilt):
    """Shares lie between none and one, whatever stands between; a taller thing fills no less."""
    wall = box((-1, 2, -1), (1, 2.2, 1.1))
    low = found(thing(x, y, side, base, base + 0.3), solids=wall, tilt_deg=tilt)
    tall = found(thing(x, y, side, base, base + 0.9), solids=wall, tilt_deg=tilt)
    for item in (*low, *tall):
        assert 0 <= item.seen_fill <= item.fill <= 1
    fills = {item.layer: item.fill for item in tall}
    assert all(fills[item.layer] >= item.fill for item in low)

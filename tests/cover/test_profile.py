"""A unit's ground and layers along a bearing, against closed forms and against the plan's own cells."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, leaves, plane, terrain, unit

from terrain3d.cover.layer_outcomes import LANDS_SHORT
from terrain3d.cover.profile import (
    band_slopes,
    beams_along,
    head_bearings,
    line_profile,
    telling_bearing,
)
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import in_head, posed_heads
from terrain3d.detector.types import load_type
from terrain3d.sight.hits import Hit
from terrain3d.terrain import Area, Solids

ONE, TWO = (load_type(name, Path()) for name in ("one-head-90", "two-head-180"))
PERSON_M = 1.7


def profile_of(site, at, bearing=0.0):
    return line_profile(site, at, bearing, PERSON_M, 1.0, 1.0)


@pytest.mark.parametrize("rise", [0.0, 0.05, 0.1, 0.15, 0.25])
def test_layers_land_where_closed_forms_say(rise):
    """d = h / (tan p + s) for the axis of each layer on a plane (plain geometry)."""
    beams = {b.layer: b for b in beams_along(terrain(plane(rise)), unit(ONE), 0.0)}
    for layer, tan_p in (("lower", 1.0 / 12.0), ("upper", 0.0)):
        lands = 1.0 / (tan_p + rise) if tan_p + rise > 0 else math.inf
        beam = beams[layer]
        if lands * math.hypot(1, tan_p) <= 12.0:
            assert beam.ends[beam.axis] == pytest.approx(lands, rel=1e-9)
            assert beam.hits[beam.axis] == Hit.GROUND
        else:
            assert beam.ends[beam.axis] == pytest.approx(12.0 / math.hypot(1, tan_p))
            assert beam.hits[beam.axis] == Hit.NOTHING


def test_the_verdict_changes_where_the_axis_lands():
    """On a 15 % rise the lower layer is lost at h / (tan p + s) and the upper one at h / s."""
    profile = profile_of(terrain(plane(0.15)), unit(ONE))
    inside = [run for run in profile.runs() if run.code != Verdict.OUTSIDE]
    assert [run.code for run in inside] == [Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.DEAD]
    assert inside[0].stop_m == pytest.approx(1 / (1 / 12 + 0.15), abs=0.05)
    assert inside[1].stop_m == pytest.approx(1 / 0.15, abs=0.05)
    assert (
        profile.layer_outcomes["lower"][(profile.along > 4.4) & (profile.along < 11.9)] == LANDS_SHORT
    ).all()


def bumps(x, y):
    return 0.08 * x + 0.4 * np.sin(x / 2.1) * np.cos(y / 1.7) + 0.03 * y


@settings(max_examples=15, deadline=None)
@given(st.floats(0, 360), st.floats(-5, 5), st.floats(-4, 4), st.floats(-36, 36))
def test_the_strip_tells_what_the_plan_tells(bearing, tilt, roll, off):
    """Where a cell of the plan and its neighbours have one verdict, so has the line across them."""
    on = ground(bumps)
    wall = box((2.0, -3.0, -1.0), (2.4, 4.0, 2.0), 20.0)
    # So dense that no layer behind it lies near its mark, where a hair's breadth decides.
    hedge = leaves(on, lambda x, y: (y < -3) & (y > -4), 0.0, 1.2, 8.0)
    site = terrain(on, wall, hedge)
    eye_ground = float(on.height_at(0.0, 0.0))
    # One head: the wedge between two is narrower than a cell close to the unit.
    at = replace(unit(ONE, bearing_deg=bearing, tilt_deg=tilt, roll_deg=roll), ground_z=eye_ground)
    plan = sighted(site, at).verdicts(on, PERSON_M)
    profile = profile_of(site, at, bearing + off)
    # Closer in a cell holds a wide part of the arc.
    far = profile.along > 1.0
    x, y = profile.places(profile.along[far])
    i = np.rint((x - on.x0) / on.cell_m).astype(int)
    j = np.rint((y - on.y0) / on.cell_m).astype(int)
    inside = (i > 0) & (j > 0) & (i < on.z.shape[1] - 1) & (j < on.z.shape[0] - 1)
    shift = (-1, 0, 1)
    around = np.stack([plan[j[inside] + dj, i[inside] + di] for dj in shift for di in shift])
    settled = (around == around[0]).all(axis=0)
    assert settled.mean() > 0.1
    assert (profile.codes[far][inside][settled] == around[0][settled]).mean() > 0.995


def test_a_wall_ends_the_lower_layer_and_not_the_upper():
    """A wall 0.8 m high 4 m away: the lower axis is at 1 - 4 tan p = 0.67 m there, the upper at 1 m."""
    site = terrain(plane(0.0), box((-3, 4, -0.5), (3, 4.2, 0.8)))
    beams = {b.layer: b for b in beams_along(site, unit(ONE), 0.0)}
    assert beams["lower"].ends[beams["lower"].axis] == pytest.approx(4.0, abs=1e-4)
    assert beams["lower"].hits[beams["lower"].axis] == Hit.SOLID
    assert beams["upper"].hits[beams["upper"].axis] == Hit.NOTHING
    profile = profile_of(site, unit(ONE))
    ((piece,),) = [solid.pieces for solid in profile.solids]
    cut = shapely.Polygon(piece)
    assert shapely.symmetric_difference(cut, shapely.box(4.0, -0.5, 4.2, 0.8)).area < 1e-3


def test_a_shell_without_a_floor_is_filled():
    """Walls and a roof alone, as surveyed buildings have them, still close to an outline."""
    block = box((-3, 4, -0.5), (3, 7, 2.5))
    sides = block.triangles[np.ptp(block.vertices[block.triangles][:, :, 2], axis=1) > 0]
    roof = block.triangles[(block.vertices[block.triangles][:, :, 2] == 2.5).all(axis=1)]
    faces = np.vstack([sides, roof])
    shell = Solids(block.vertices, faces, np.zeros(len(faces), np.int64), ("shed",))
    profile = profile_of(terrain(plane(0.0), shell), unit(ONE))
    area = sum(shapely.Polygon(p).area for p in profile.solids[0].pieces if len(p) > 3)
    assert area == pytest.approx(9.0, rel=1e-3)


def test_light_fades_in_foliage_only():
    """A layer keeps all its light up to a hedge, and loses some across it."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 5) & (y < 6), 0.0, 2.5, 1.0)
    for beam in beams_along(terrain(on, foliage=hedge), unit(ONE), 0.0):
        assert (beam.light[:, beam.at < 4.9] == 1).all()
        assert (beam.light[:, beam.at > 6.1] < 0.7).all()


def test_unknown_ground_has_no_verdict_and_no_height():
    """A gap in the survey stays a gap in the line."""
    on = plane(0.0)
    y = np.broadcast_to(on.ys[:, None], on.z.shape)
    on = replace(on, z=np.where((y > 5) & (y < 7), np.nan, on.z))
    profile = profile_of(terrain(on), unit(ONE))
    gap = (profile.along > 5.3) & (profile.along < 6.7)
    assert (profile.codes[gap] == UNKNOWN).all()
    assert np.isnan(profile.ground[gap]).all()
    assert (profile.codes[(profile.along > 1) & (profile.along < 4.5)] != UNKNOWN).all()


@settings(deadline=None)
@given(st.floats(0, 360), st.floats(-10, 10), st.floats(-10, 10), st.floats(-40, 40))
def test_band_slopes_are_the_layers_elevations(bearing, tilt, roll, off):
    """Turned back into the head's frame, the slopes are the edges and the axis of the layer."""
    for head in posed_heads(unit(ONE, bearing_deg=bearing, tilt_deg=tilt, roll_deg=roll)):
        for layer in head.layers:
            east, north = math.sin(math.radians(bearing + off)), math.cos(math.radians(bearing + off))
            slopes = band_slopes(head, layer, bearing + off)
            _, elevation = in_head(head, [[east, north, slope] for slope in slopes])
            half = layer.thickness_deg / 2
            assert elevation == pytest.approx(np.array([-half, 0, half]) + layer.elevation_deg, abs=1e-9)


def test_a_bearing_outside_every_arc_has_no_layer():
    """Between the fans of two heads, and behind the unit, nothing is sensed."""
    site = terrain(plane(0.0))
    assert beams_along(site, unit(TWO), 0.0) == ()
    assert beams_along(site, unit(TWO), 180.0) == ()
    assert len(beams_along(site, unit(TWO), 45.0)) == 2


def test_the_telling_bearing_looks_at_protected_ground():
    """Of two heads the one that faces the yard is shown on a page of all options."""
    yard = Area("yard", np.array([[2.0, 2], [6, 2], [6, 6], [2, 6]]))
    assert telling_bearing(terrain(plane(0.0), protect=(yard,)), unit(TWO)) == 45.0
    assert head_bearings(unit(TWO)) == [315.0, 45.0]
    assert telling_bearing(terrain(plane(0.0)), unit(TWO)) == 315.0

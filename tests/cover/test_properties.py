"""What must hold for any ground, unit and figure."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, leaves, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import (
    BROKEN,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    LANDS_SHORT,
    PASSES_ABOVE,
    layer_outcomes,
    outcomes_and_takers,
)
from terrain3d.cover.profile import band_slopes
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import posed_heads
from terrain3d.detector.types import load_type
from terrain3d.sight.hits import Hit, first_hits
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Ground, Terrain

KIND = load_type("two-head-180", Path())
TABLE = head_table(KIND)
CELL_M = 0.5

slow = settings(max_examples=25, deadline=None)
heights = st.floats(0.7, 1.4)
bearings = st.floats(0, 360)
leans = st.floats(-12, 12)
ranges = st.sampled_from([4.0, 6.0, 8.0, 10.0, 12.0])
figures = st.floats(0.2, 2.0)
waves = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(0, 0.6), st.floats(1.5, 6))


def waved(wave) -> Ground:
    """A slope with waves on it."""
    a, b, size, length = wave
    return ground(
        lambda x, y: a * x + b * y + size * np.sin(x / length) * np.cos(y / length), CELL_M, extent_m=26
    )


def codes_at(site: Terrain, height_m, bearing, tilt, roll, range_m, figure, eye_xy=(0.0, 0.0)):
    """Panorama and verdicts of a unit at a point."""
    eye = (*eye_xy, float(site.ground.height_at(*eye_xy)) + height_m)
    seen = panorama(site, eye, 12.0)
    return seen, verdict_codes(seen, TABLE, bearing, tilt, roll, range_m, figure, 0.5)


@slow
@given(waves, heights, bearings, leans, leans, ranges, figures, st.floats(0, 0.5))
def test_a_taller_figure_never_breaks_fewer_layers(
    wave, height_m, bearing, tilt, roll, range_m, figure, more
):
    """Whatever a figure breaks, one that stands taller on the same spot breaks too."""
    site = terrain(waved(wave))
    seen, low = codes_at(site, height_m, bearing, tilt, roll, range_m, figure)
    high = verdict_codes(seen, TABLE, bearing, tilt, roll, range_m, figure + more, 0.5)
    setting = unit(KIND, height_m, bearing, tilt_deg=tilt, roll_deg=roll, range_m=range_m)
    before, after = (layer_outcomes(seen, TABLE, setting, f) == BROKEN for f in (figure, figure + more))
    assert np.all(after[before])
    assert np.all(high >= low)


@slow
@given(waves, heights, bearings, leans, ranges, st.floats(0, 360), st.floats(1, 9), st.floats(0.3, 3))
def test_a_solid_never_adds_sight(wave, height_m, bearing, tilt, range_m, at_deg, at_m, tall):
    """A wall put anywhere uncovers nothing: fewer heights seen, no verdict better."""
    on = waved(wave)
    wall = box((-2, at_m, -5), (2, at_m + 0.3, tall), at_deg)
    open_view, before = codes_at(terrain(on), height_m, bearing, tilt, 0.0, range_m, 1.7)
    cut_view, after = codes_at(terrain(on, wall), height_m, bearing, tilt, 0.0, range_m, 1.7)
    assert np.all(after <= before)

    def seen_length(view):
        lengths = np.zeros(len(view.cells) + 1)
        np.cumsum(np.diff(view.pieces[:, :2], axis=1)[:, 0], out=(s := np.zeros(len(view.pieces) + 1))[1:])
        lengths[1:] = np.diff(s[view.piece_start])
        return lengths

    assert np.all(seen_length(cut_view) <= seen_length(open_view) + 1e-9)


@slow
@given(waves, heights, bearings, ranges, st.floats(0, 5), st.floats(0.1, 3))
def test_foliage_never_adds_sight(wave, height_m, bearing, range_m, density, top_m):
    """Leaves put on half the site make no verdict better."""
    on = waved(wave)
    grown = leaves(on, lambda x, y: np.abs(x + y) > 4, 0.0, top_m, density)
    _, before = codes_at(terrain(on), height_m, bearing, 0.0, 0.0, range_m, 1.7)
    _, after = codes_at(terrain(on, foliage=grown), height_m, bearing, 0.0, 0.0, range_m, 1.7)
    assert np.all(after <= before)


@slow
@given(waves, heights, bearings, leans, leans, ranges, st.sampled_from([1, 2, 3]))
def test_turning_site_and_unit_together_turns_the_verdicts(
    wave, height_m, bearing, tilt, roll, range_m, quarters
):
    """A quarter turn maps the grid onto itself, so verdicts must be the same cells turned.

    Cells whose band lies on a limit within rounding may fall either way; they are under 1 in 500.
    """
    on = waved(wave)
    wall = box((1, 3, -5), (3, 3.3, 1.0), 15)
    turn = np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1.0]])  # clockwise by 90 degrees
    turned_wall = wall
    z = on.z
    for _ in range(quarters):
        z = np.rot90(z, 1)  # rows run north, so this is a clockwise turn of the map
        vertices = turned_wall.vertices @ turn.T
        turned_wall = type(wall)(vertices, wall.triangles, wall.owners, wall.names)
    turned = Ground(on.x0, on.y0, CELL_M, z.copy())
    first = np.zeros(on.z.shape, np.uint8)
    seen, codes = codes_at(terrain(on, wall), height_m, bearing, tilt, roll, range_m, 1.7)
    first.ravel()[seen.cells] = codes
    second = np.zeros(on.z.shape, np.uint8)
    seen, codes = codes_at(
        terrain(turned, turned_wall), height_m, bearing + 90 * quarters, tilt, roll, range_m, 1.7
    )
    second.ravel()[seen.cells] = codes
    assert np.mean(np.rot90(first, quarters) != second) < 0.002


@slow
@given(waves, heights, bearings, ranges, st.floats(-5e4, 5e4), st.floats(-5e4, 5e4), st.floats(-100, 4000))
def test_moving_the_origin_changes_nothing(wave, height_m, bearing, range_m, dx, dy, dz):
    """The same site farther from zero, and higher, has the same verdicts (limits within rounding apart)."""
    on = waved(wave)
    wall = box((1, 3, -5), (3, 3.3, 1.0), 15)
    moved = Ground(on.x0 + dx, on.y0 + dy, CELL_M, on.z + dz)
    moved_wall = type(wall)(wall.vertices + np.array([dx, dy, dz]), wall.triangles, wall.owners, wall.names)
    _, here = codes_at(terrain(on, wall), height_m, bearing, 0.0, 0.0, range_m, 1.7, (0.013, 0.017))
    _, there = codes_at(
        terrain(moved, moved_wall), height_m, bearing, 0.0, 0.0, range_m, 1.7, (dx + 0.013, dy + 0.017)
    )
    assert abs(len(here) - len(there)) <= 4
    assert np.sum(np.bincount(here, minlength=5) != 0) == np.sum(np.bincount(there, minlength=5) != 0)
    counts = np.abs(np.bincount(here, minlength=5) - np.bincount(there, minlength=5))
    assert counts.max() <= max(2, 0.002 * len(here))


@slow
@given(waves, heights, bearings, leans, leans, ranges, figures)
def test_verdicts_and_causes_tell_one_story(wave, height_m, bearing, tilt, roll, range_m, figure):
    """The fast verdicts and the outcomes of layers are two kernels; they agree on every cell."""
    on = waved(wave)
    wall = box((1, 3, -5), (3, 3.3, 1.0), 15)
    grown = leaves(on, lambda x, y: (x < -3) & (x > -5), 0.0, 1.5, 1.5)
    seen, codes = codes_at(terrain(on, wall, grown), height_m, bearing, tilt, roll, range_m, figure)
    # One head at a time: the best head may differ from layer to layer.
    by_head = np.zeros(len(codes), np.uint8)
    for head in KIND.head:
        kind = KIND.model_copy(update={"head": (head,)})
        setting = unit(kind, height_m, bearing, tilt_deg=tilt, roll_deg=roll, range_m=range_m)
        upper, lower = layer_outcomes(seen, head_table(kind), setting, figure)
        worst_known = np.minimum(upper, lower)
        verdict = np.where(worst_known >= 7, Verdict.OUTSIDE, Verdict.DEAD)
        verdict = np.where(lower == BROKEN, Verdict.LOWER_ONLY, verdict)
        verdict = np.where(upper == BROKEN, Verdict.UPPER_ONLY, verdict)
        verdict = np.where((upper == BROKEN) & (lower == BROKEN), Verdict.BOTH, verdict)
        by_head = np.maximum(by_head, verdict)
    assert np.mean(by_head != codes) < 0.001


@slow
@given(
    waves, heights, bearings, leans, ranges, figures, st.floats(0, 360), st.floats(1.5, 8), st.floats(0.3, 2)
)
def test_a_layer_is_charged_to_what_a_ray_along_its_axis_meets_first(
    wave, height_m, bearing, tilt, range_m, figure, at_deg, at_m, tall
):
    """Embree and the march over the ground, ray by ray, name what takes each layer that is not broken.

    Where the axis meets nothing and passes over the head, that is the cause; where it comes to the figure
    free, whatever takes most of the band is. Axes close to an edge may fall either way: 1 in 100.
    """
    on = waved(wave)
    walls = box((-2, at_m, -5), (2, at_m + 0.3, tall), at_deg)
    walls = walls.joined(box((-1, at_m + 1.5, 0.4), (4, at_m + 2, 1.6), at_deg + 20))
    site = terrain(on, walls)
    kind = KIND.model_copy(update={"head": KIND.head[:1]})
    setting = replace(
        unit(kind, height_m, bearing, tilt_deg=tilt, range_m=range_m), ground_z=float(on.height_at(0.0, 0.0))
    )
    seen = panorama(site, setting.eye, 12.0)
    outcomes, takers = outcomes_and_takers(seen, head_table(kind), setting, figure)
    (head,) = posed_heads(setting)
    agree, asked = 0, 0
    for row, layer in enumerate(head_table(kind).layer_names):
        cells = np.flatnonzero(
            np.isin(outcomes[row], (BY_SOLID, BY_GROUND, LANDS_SHORT, PASSES_ABOVE, CLOSE_IN))
            & (seen.distance > 0.5)
        )[::7]
        if not len(cells):
            continue
        posed = next(one for one in head.layers if one.name == layer)
        azimuths = np.degrees(np.arctan2(seen.east[cells], seen.north[cells]))
        slopes = np.array([band_slopes(head, posed, float(azimuth))[1] for azimuth in azimuths])
        rays = np.column_stack([seen.east[cells], seen.north[cells], slopes])
        hits = first_hits(site, setting.eye, rays, 30.0)
        near = hits.distance < seen.distance[cells] * np.sqrt(1 + slopes**2) - 1e-6
        on_axis = seen.distance[cells] * slopes
        is_free = ~near & (on_axis <= seen.foot[cells] + figure)
        meant = np.where(near & (hits.what == Hit.SOLID), BY_SOLID, PASSES_ABOVE)
        meant = np.where(near & (hits.what == Hit.GROUND), BY_GROUND, meant)
        told = outcomes[row, cells]
        told = np.where(told == LANDS_SHORT, BY_GROUND, np.where(told == CLOSE_IN, PASSES_ABOVE, told))
        right = (told == meant) & ((meant != BY_SOLID) | (takers[row, cells] == hits.solid))
        agree += int((right | is_free).sum())
        asked += len(cells)
    assert agree >= 0.99 * asked - 1

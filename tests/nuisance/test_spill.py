"""What ends a layer, what is beyond the boundary, and what must hold on any site."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, leaves, plane, terrain, unit

from terrain3d.cover.heads import head_table
from terrain3d.cover.layer_outcomes import BROKEN, layer_outcomes
from terrain3d.cover.sighted import sighted
from terrain3d.detector.types import load_type
from terrain3d.nuisance.sight_lines import Lands, follow
from terrain3d.nuisance.spill import FOLLOW_ON, spill
from terrain3d.nuisance.upper_layer import upper_broken
from terrain3d.paper.nuisance import beyond_values
from terrain3d.sentences.beyond import beyond_notes
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Beyond, Ground

KIND = load_type("one-head-90", Path())
TWO = load_type("two-head-180", Path())
EYE = (0.0, 0.0, 1.0)
NORTH = np.array([[0.0, 1.0, 0.0]])


def square(half: float) -> np.ndarray:
    return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def test_a_solid_ends_a_layer_and_is_named():
    """A wall at 5 m stops the axis there; past the boundary at 3 m that makes 2 m."""
    wall = box((-20, 5, -1), (20, 5.2, 3))
    site = replace(terrain(plane(0.0, extent_m=90.0), wall), boundary=square(3.0))
    found = spill(site, (unit(KIND),), 1.7)
    (fan,), (rows,) = found.fans, found.landings
    middle = len(fan.bearing_deg) // 2
    assert fan.end_m[1, middle] == pytest.approx(5.0)
    assert fan.past_within_m[1, middle] == pytest.approx(2.0)
    assert [(row.lands, row.solid) for row in rows] == [(Lands.SOLID, "box")]
    assert rows[0].arc_deg == pytest.approx(90.0)
    assert found.past_on_m2 == 0


def test_the_right_one_of_two_solids_is_named():
    """Each line lands on the nearer of the things in its way."""
    near, far = box((-9, 4, -1), (0, 4.2, 3)), box((-9, 8, -1), (9, 8.2, 3))
    both = replace(near, names=("near",)).joined(replace(far, names=("far",)))
    rays = np.array([[-0.3, 1.0, 0.0], [0.3, 1.0, 0.0]])
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    _, lands, solid = follow(terrain(plane(0.0), both), EYE, rays, 12.0)
    assert lands.tolist() == [Lands.SOLID, Lands.SOLID]
    assert [both.names[k] for k in solid] == ["near", "far"]


@pytest.mark.parametrize(("density", "lands"), [(0.2, Lands.NOTHING), (4.0, Lands.FOLIAGE)])
def test_leaves_end_a_layer_where_they_have_taken_half_of_it(density, lands):
    """Beer-Lambert: half is gone after ln 2 / (0.5 density) metres; thin leaves let the layer go on."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 4) & (y < 6), 0.0, 2.0, density)
    end_m, found, _ = follow(terrain(on, foliage=hedge), EYE, NORTH, 12.0)
    assert found[0] == lands
    if lands == Lands.FOLIAGE:
        assert end_m[0] == pytest.approx(4.0 + np.log(2) / (0.5 * density), abs=0.011)


def test_the_end_of_the_survey_is_not_open_space():
    """A survey that ends at 10 m says nothing of what is beyond; a gap on the way is no end."""
    z = plane(0.0, extent_m=20.0).z.copy()
    site = terrain(Ground(-9.875, -9.875, 0.25, z))
    end_m, lands, _ = follow(site, EYE, NORTH, 36.0)
    assert lands[0] == Lands.UNSURVEYED
    assert end_m[0] == pytest.approx(10.0, abs=0.13)
    z[60:64] = np.nan
    assert follow(terrain(Ground(-9.875, -9.875, 0.25, z)), EYE, NORTH, 36.0)[0][0] == end_m[0]
    found = spill(replace(site, boundary=square(5.0)), (unit(KIND),), 1.7)
    assert found.known_until_m["D1"] == pytest.approx(10.0, abs=0.13)
    (note,) = beyond_notes(found, ())
    assert note.startswith("the upper layer of D1 leaves the known ground from 10 m on")


def test_without_a_boundary_nothing_is_said_of_it():
    """No boundary: no distance, no area, and the reader is told."""
    found = spill(terrain(plane(0.0, extent_m=90.0)), (unit(KIND),), 1.7)
    assert not found.has_boundary
    assert found.farthest_within_m is None
    assert found.farthest_on_m is None
    assert not found.past_within.any()
    assert "no boundary is drawn" in beyond_notes(found, ())[0]
    assert [(row.lands, row.solid) for row in found.landings[0]] == [(Lands.NOTHING, None)]
    assert found.fans[0].follow_m == FOLLOW_ON * 12


def test_a_unit_off_own_land_is_told():
    """All of its layer lies past the boundary, and a note says why."""
    site = replace(terrain(plane(0.0, extent_m=90.0)), boundary=square(2.0) - [0.0, 20.0])
    found = spill(site, (unit(KIND),), 1.7)
    assert found.farthest_within_m == pytest.approx(12.0)
    assert beyond_notes(found, ()) == ["D1 stands off own land"]


def test_a_notch_in_own_land_counts_and_the_land_beyond_it_does_not():
    """A strip of others' ground from 4 to 6 m across own land makes 2 m, wherever the layer ends."""
    land = np.array([[-30, -30], [30, -30], [30, 4], [-20, 4], [-20, 6], [30, 6], [30, 60], [-30, 60]])
    site = replace(terrain(plane(0.0, extent_m=90.0)), boundary=land.astype(float))
    (fan,) = spill(site, (unit(KIND),), 1.7).fans
    middle = len(fan.bearing_deg) // 2
    assert fan.past_within_m[1, middle] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("kind", "figure_height_m", "counts"),
    [("road", 0.6, True), ("neighbour", 0.6, False), ("road", 1.7, True)],
)
def test_on_a_road_the_larger_of_person_and_vehicle_counts(kind, figure_height_m, counts):
    """A figure under a level layer breaks nothing; a vehicle on the same ground does."""
    plot = Beyond("plot", kind, np.array([[-2.0, 5], [2, 5], [2, 7], [-2, 7]]))
    site = replace(terrain(plane(0.0)), beyond=(plot,))
    (piece,) = spill(site, (unit(KIND),), figure_height_m).pieces
    assert (piece.within_m2 == 8.0) == counts


@pytest.mark.parametrize(("fall", "figure_height_m"), [(0.055, 1.7), (0.0, 0.6)])
def test_a_road_counts_alike_by_itself_and_in_the_whole(fall, figure_height_m):
    """Ground 5 to 11 m off, all of it road and past the boundary: the piece is the whole, for any figure.

    On a fall of 5.5 % the layer stands 1.5 m up at 9.1 m and 1.7 m up at 12.7 m: people on the road
    are met all over it, vehicles on its nearer part alone.
    """
    plot = np.array([[-2.0, 5], [2, 5], [2, 11], [-2, 11]])
    own = shapely.box(-30, -30, 30, 30).difference(shapely.Polygon(plot).union(shapely.box(-2, 5, 2, 40)))
    site = replace(
        terrain(plane(-fall, extent_m=90.0)),
        beyond=(Beyond("lane", "road", plot),),
        boundary=np.array(own.exterior.coords[:-1]),
    )
    found = spill(site, (unit(KIND),), figure_height_m)
    (piece,) = found.pieces
    assert piece.within_m2 == pytest.approx(24.0)
    on_the_road = shapely.contains_xy(shapely.Polygon(plot), *np.meshgrid(site.ground.xs, site.ground.ys))
    assert (found.past_within & on_the_road).sum() * 0.25**2 == piece.within_m2
    x, y = np.meshgrid(site.ground.xs, site.ground.ys)
    assert not (found.past_on & (np.hypot(x, y) < 11.9)).any()


def test_what_runs_on_past_the_range_is_counted_from_there():
    """Boundary at 8 m, level ground: 4 m past it within range, 24 m on past the range, never 28."""
    land = np.array([[-40.0, -40], [40, -40], [40, 8], [-40, 8]])
    site = replace(terrain(plane(-0.1, extent_m=90.0, cell_m=0.5)), boundary=land)
    found = spill(site, (unit(KIND),), 1.7)
    assert found.farthest_within_m == pytest.approx(4.0)
    assert found.farthest_on_m == pytest.approx(24.0, abs=0.02)
    (layer,) = beyond_values(found, (), ())["beyond"]["layers"]
    assert layer["layer_past_on_past_range_m"] == pytest.approx(24.0, abs=0.02)


waves = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(0, 0.6), st.floats(1.5, 6))
slow = settings(max_examples=15, deadline=None)


def waved(wave) -> Ground:
    """A slope with waves on it."""
    a, b, size, length = wave
    return ground(
        lambda x, y: a * x + b * y + size * np.sin(x / length) * np.cos(y / length), 0.5, extent_m=40
    )


@slow
@given(waves, st.floats(0, 360), st.floats(-8, 8), st.floats(0, 360), st.floats(1, 15), st.floats(0.3, 3))
def test_a_solid_never_adds_spill(wave, bearing, tilt, at_deg, at_m, tall):
    """A wall put anywhere shortens every line or leaves it, and takes ground away or leaves it."""
    on = waved(wave)
    plot = Beyond("plot", "neighbour", np.array([[5.0, -15], [15, -15], [15, 15], [5, 15]]))
    setting = replace(unit(TWO, 1.0, bearing, tilt_deg=tilt), ground_z=float(on.height_at(0, 0)))
    without, walled = (
        spill(replace(terrain(on, wall), boundary=square(6.0), beyond=(plot,)), (setting,), 1.7)
        for wall in (None, box((-2, at_m, -5), (2, at_m + 0.3, tall), at_deg))
    )
    for before, after in zip(without.fans, walled.fans, strict=True):
        assert np.all(after.end_m <= before.end_m + 1e-9)
        assert np.all(after.past_within_m <= before.past_within_m + 1e-9)
        assert np.all(after.past_on_m <= before.past_on_m + 1e-9)
    assert not (walled.past_within & ~without.past_within).any()
    assert walled.pieces[0].within_m2 <= without.pieces[0].within_m2
    reached = [piece.within_m2 + piece.on_past_m2 for piece in (walled.pieces[0], without.pieces[0])]
    assert reached[0] <= reached[1]


@slow
@given(waves, st.floats(0, 360), st.floats(-8, 8), st.sampled_from([4.0, 8.0, 12.0]))
def test_the_upper_layer_by_itself_is_the_one_the_verdicts_have(wave, bearing, tilt, range_m):
    """The table of one layer breaks the same cells as the outcomes of the whole unit."""
    on = waved(wave)
    setting = replace(
        unit(TWO, 1.0, bearing, tilt_deg=tilt, range_m=range_m), ground_z=float(on.height_at(0, 0))
    )
    view = panorama(terrain(on), setting.eye, 12.0)
    table = head_table(TWO)
    outcomes = layer_outcomes(view, table, setting, 1.7)[table.layer_names.index("upper")]
    expected = np.zeros(on.z.shape, bool)
    expected.ravel()[view.cells[outcomes == BROKEN]] = True
    assert np.array_equal(upper_broken(on, sighted(terrain(on), setting), 1.7), expected)

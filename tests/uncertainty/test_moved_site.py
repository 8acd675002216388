"""A site on moved ground: what stands on it keeps its height above it, and nothing else changes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import box, ground, leaves, plane, terrain, unit

from terrain3d.cover.sighted import sighted
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Ground
from terrain3d.uncertainty.moved_site import finely, looked_at, moved


def site_with_things():
    """A slope with a wall, a hedge and a hole in the survey."""
    on = plane(0.1, 30)
    z = on.z.copy()
    z[40:44, 70:80] = np.nan
    holed = Ground(on.x0, on.y0, on.cell_m, z)
    hedge = leaves(on, lambda x, y: (x > 2) & (x < 4) & (y > 3) & (y < 4), 0.0, 1.5, 2.0)
    return terrain(holed, box((-6, 4, -1), (6, 4.2, 1.2)), hedge)


def test_everything_rides_on_the_ground():
    """Ground, solids and leaves rise by the error at their own place; unknown ground stays unknown."""
    site = site_with_things()
    x, y = np.meshgrid(site.ground.xs, site.ground.ys)
    error = 0.02 * x - 0.01 * y
    after = moved(site, error)
    np.testing.assert_array_equal(np.isnan(after.ground.z), np.isnan(site.ground.z))
    np.testing.assert_allclose(
        (after.ground.z - site.ground.z)[site.ground.known], error[site.ground.known], atol=1e-12
    )
    lift = after.solids.vertices - site.solids.vertices
    assert not lift[:, :2].any()
    np.testing.assert_allclose(lift[:, 2], site.solids.vertices[:, :2] @ (0.02, -0.01), atol=1e-12)
    rows, columns = np.nonzero(site.foliage.column >= 0)
    grown = site.foliage.column[rows, columns]
    np.testing.assert_allclose(
        (after.foliage.base_z - site.foliage.base_z)[grown], error[rows, columns], atol=1e-12
    )
    assert after.ground.z is not site.ground.z
    assert after.foliage.base_z is not site.foliage.base_z


@settings(max_examples=15, deadline=None)
@given(st.floats(-3, 3))
def test_a_shift_of_the_whole_survey_is_not_seen(by_m):
    """The same shift everywhere leaves what a unit sees as it was."""
    site = site_with_things()
    before = panorama(site, (0.0, 0.0, 1.0), 12.0)
    after = panorama(moved(site, np.full(site.ground.z.shape, by_m)), (0.0, 0.0, 1.0 + by_m), 12.0)
    np.testing.assert_array_equal(before.cells, after.cells)
    for name in ("foot", "lowest", "distance"):
        np.testing.assert_allclose(getattr(before, name), getattr(after, name), atol=1e-9)
    # A piece at the very brink of a bin of light may be cut a hair otherwise: compare what they add up to.
    seen = [
        np.add.reduceat(
            p.pieces[:, 2] * (p.pieces[:, 1] - p.pieces[:, 0]), p.piece_start[:-1][np.diff(p.piece_start) > 0]
        )
        for p in (before, after)
    ]
    np.testing.assert_allclose(*seen, atol=0.01)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.3, 9), st.floats(0.05, 9), st.floats(0.1, 4), st.floats(0.2, 3), st.floats(0, 90))
def test_cut_finely_a_solid_keeps_its_shape(length, depth, height, longest, turn):
    """No edge longer than asked in plan; same volume, closed, and of the same owner."""
    solid = box((-length / 2, -depth / 2, 0), (length / 2, depth / 2, height), turn)
    fine = finely(solid, longest)
    corners = fine.vertices[fine.triangles]
    edges = corners - np.roll(corners, 1, axis=1)
    assert np.hypot(edges[..., 0], edges[..., 1]).max() <= longest + 1e-9
    mesh = trimesh.Trimesh(fine.vertices, fine.triangles, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    np.testing.assert_allclose(mesh.volume, length * depth * height, rtol=1e-9)
    assert len(fine.owners) == len(fine.triangles)


def test_a_long_wall_follows_ground_that_bulges():
    """Cut finely, the top of a wall of two triangles a side stays at its height above the bulge."""
    site = terrain(plane(0.0), box((-8, 5, 0), (8, 5.2, 1.0)))
    bulge = ground(lambda x, y: 0.3 * np.exp(-(x**2) / 8)).z
    fine = finely(site.solids, 0.5)
    after = moved(terrain(site.ground, fine), bulge).solids.vertices
    top = after[fine.vertices[:, 2] > 0.999]
    assert np.ptp(top[:, 2]) > 0.25
    np.testing.assert_allclose(top[:, 2], 1.0 + 0.3 * np.exp(-(top[:, 0] ** 2) / 8), atol=5e-3)


def test_nothing_standing_is_no_trouble():
    """A bare plane is moved as well."""
    after = moved(terrain(plane(0.0)), np.full((120, 120), 0.5))
    assert after.ground.z.min() == 0.5
    assert len(finely(after.solids, 1.0).triangles) == 0


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["one-head-90", "two-head-180"]),
    st.floats(0, 360),
    st.floats(-14, 14),
    st.floats(-14, 14),
    st.floats(-0.2, 0.2),
    st.sampled_from([None, (-70.0, 30.0)]),
)
def test_looking_only_where_a_unit_looks_holds_the_same(kind, bearing, tilt, roll, rise, pan):
    """Verdicts within the arcs do not change when ground elsewhere is left out, on slopes with things."""
    site = site_with_things()
    _, y = np.meshgrid(site.ground.xs, site.ground.ys)
    site = moved(site, rise * y)
    detector = load_type(kind, Path())
    one = unit(
        detector, 1.0, bearing, tilt_deg=tilt, roll_deg=roll, pan_deg=pan if len(detector.head) == 2 else None
    )
    maps = []
    for ground_ in (site.ground, looked_at(site.ground, one)):
        maps.append(sighted(replace(site, ground=ground_), one).verdicts(site.ground, 1.7))
    np.testing.assert_array_equal(*maps)


def test_ground_behind_a_unit_is_left_out():
    """A unit of 90 degrees is spared more than half of the ground; one that leans far is spared none."""
    on = plane(0.1)
    one = unit(load_type("one-head-90", Path()), 1.0, 45.0)
    assert 0.3 < looked_at(on, one).known.mean() < 0.45
    assert looked_at(on, replace(one, tilt_deg=20.0)) is on

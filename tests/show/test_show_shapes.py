"""Bodies and shells against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scenes import box, flat_ground, unit

from terrain3d.cover.sighted import sighted, unit_on
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector, HeadSetting, posed_heads
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.show.extent import masked_outlines, open_outlines, stretch_outline, whole_cells
from terrain3d.show.parts import layer_parts
from terrain3d.show.shapes import (
    LAYER_ROWS,
    contour_levels,
    draped_lines,
    filled_heights,
    layer_body,
    leaf_ends,
    leaf_volume,
    smoothed_heights,
)
from terrain3d.sight.hits import reach_of
from terrain3d.terrain import Foliage, Ground, Mount, Solids, Terrain, terrain_from_heights


def flat_site(solids: Solids) -> Terrain:
    return Terrain(
        site_frame(None, 0, 0), flat_ground(60.0), solids, Foliage.none(), (Mount("pole", 0.0, 0.0),), ()
    )


def test_lower_layer_body_lands_where_the_closed_form_says():
    """On the level the axis of the lower layer ends at d = h / tan p, here 8 m; a test of drawn geometry."""
    site = flat_site(Solids.none())
    one = unit(site, "D1", "pole", "one-head-90", 30.0, range_m=8.0)
    head = posed_heads(one)[0]
    points, _ = layer_body(one, head, head.layers[1], reach_of(site))
    axis = points[1:].reshape(LAYER_ROWS, -1, 3)[LAYER_ROWS // 2]
    assert np.hypot(axis[:, 0], axis[:, 1]) == pytest.approx(8.0, abs=1e-6)
    assert axis[:, 2] == pytest.approx(0.0, abs=1e-6)


def test_upper_layer_body_ends_at_a_wall_and_at_maximum_range():
    """The level layer stops on the face of a wall straight ahead, and at 12 m beside it."""
    site = flat_site(box(flat_ground(60.0), "wall", -1.0, 5.0, 1.0, 5.4, 3.0))
    one = unit(site, "D1", "pole", "one-head-90", 0.0)
    head = posed_heads(one)[0]
    points, _ = layer_body(one, head, head.layers[0], reach_of(site))
    axis = points[1:].reshape(LAYER_ROWS, -1, 3)[LAYER_ROWS // 2]
    middle, edge = axis[len(axis) // 2], axis[0]
    assert middle == pytest.approx([0, 5, 1], abs=1e-5)
    assert np.linalg.norm(edge - [0, 0, 1]) == pytest.approx(12.0)


def test_layer_body_is_closed():
    """Every edge of a body belongs to two of its triangles, so it has an inside."""
    site = flat_site(Solids.none())
    one = unit(site, "D1", "pole", "one-head-90", 0.0)
    head = posed_heads(one)[0]
    _, triangles = layer_body(one, head, head.layers[0], reach_of(site))
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    _, counts = np.unique(edges, axis=0, return_counts=True)
    assert (counts == 2).all()


spans = st.tuples(st.integers(0, 3), st.integers(1, 4))


@settings(max_examples=60, deadline=None)
@given(arrays(bool, (4, 5)), st.lists(spans, min_size=20, max_size=20))
def test_drawn_leaves_are_as_many_as_there_are(grown, steps):
    """What is softened adds up to the volume of the columns, and lies around them."""
    column = np.full(grown.shape, -1, np.int32)
    column[grown] = np.arange(grown.sum())
    density = np.zeros((int(grown.sum()), 7))
    for row, (bare, leafy) in zip(density, steps, strict=False):
        row[bare : bare + leafy] = 1.0
    above = np.concatenate([np.zeros((len(density), 1)), np.cumsum(density * 0.5, axis=1)], axis=1)
    foliage = Foliage(0.0, 0.0, 1.0, column, np.full(len(density), 10.0), 0.5, above)
    everywhere = whole_cells(Ground(-10.0, -10.0, 1.0, np.zeros((30, 30))), -10, -10, 19, 19)
    found = leaf_volume(foliage, everywhere)
    if not len(density):
        assert found is None
        return
    values, origin, spacing = found
    # Both ends of a column are drawn, and half a step beyond each is about what one step more takes.
    steps_drawn = values.sum() * spacing[2] / 0.5 - len(density)
    assert steps_drawn == pytest.approx(density.sum(), abs=1e-3 * density.size + 0.5)
    ends = leaf_ends(foliage, everywhere)
    top = origin + spacing * (np.array(values.shape[::-1]) - 1)
    assert (ends.min(axis=0) >= origin).all()
    assert (ends.max(axis=0) <= top).all()


def test_foliage_that_only_leans_into_the_picture_is_left_out():
    """No slice of a tree hangs in the air at the picture's rim."""
    column = np.arange(4, dtype=np.int32).reshape(1, 4)
    foliage = Foliage(8.0, 5.0, 1.0, column, np.zeros(4), 1.0, np.tile([0.0, 1.0], (4, 1)))
    ground = Ground(0.0, 0.0, 1.0, np.zeros((12, 30)))
    assert leaf_volume(foliage, whole_cells(ground, 0, 0, 9, 11)) is None
    assert leaf_volume(foliage, whole_cells(ground, 0, 0, 20, 11)) is not None


def test_heights_to_draw_with():
    """Gaps are filled from beside them and stay unknown to contours; a plane stays a plane."""
    ground = Ground(0.0, 0.0, 0.5, np.add.outer(np.zeros(20), 0.2 * np.arange(20.0)))
    assert smoothed_heights(ground) == pytest.approx(ground.z, abs=1e-9)
    ground.z[8:12, 8:12] = np.nan
    assert np.isfinite(filled_heights(ground)).all()
    assert np.isnan(smoothed_heights(ground)[10, 10])
    levels, step = contour_levels(smoothed_heights(ground))
    assert step * len(levels) <= 0.2 * 19


def test_line_lies_on_the_ground():
    """A draped line follows a bank between its ends."""
    z = np.add.outer(np.zeros(21), np.where(np.arange(21.0) < 10, 0.0, 2.0))
    ground = Ground(0.0, 0.0, 1.0, z)
    (line,) = draped_lines(ground, z, np.array([[0.0, 10], [20, 10]]), lift_m=0.1)
    assert line[:, 2] == pytest.approx(ground.height_at(line[:, 0], line[:, 1]) + 0.1)
    assert (np.diff(line[:, 0]) <= 0.5 + 1e-9).all()


def masked_unit(**setting) -> Detector:
    """A unit of one head, facing north."""
    return replace(unit(flat_site(Solids.none()), "D1", "pole", "one-head-90", 0.0), **setting)


def test_layer_bodies_end_at_the_open_stretches():
    """Of nine zones of 10 degrees with the fifth masked, two bodies of 40 degrees, and none between them."""
    heads = (HeadSetting(masked=(5,)),)
    one = masked_unit(heads=heads)
    (head,) = posed_heads(one)
    bodies = [part for part in layer_parts(one, lambda _eye, rays: np.full(len(rays), 9.0)) if part.line_px]
    turns = []
    for part in bodies:
        points = np.asarray(part.mesh.points)[1:-1]
        azimuth = np.degrees(np.arctan2(points[:, 0], points[:, 1]))
        turns.append((round(azimuth.min(), 6), round(azimuth.max(), 6)))
    assert set(turns) == {(-45.0, -5.0), (5.0, 45.0)}
    assert list(head.open_deg) == [(-45.0, -5.0), (5.0, 45.0)]


def test_open_and_masked_stretches_make_up_the_arc():
    """Whatever is masked: what is drawn as open and what is drawn as covered is the sector, once."""
    whole = shapely.Polygon(stretch_outline(masked_unit(), 0, -45.0, 45.0))
    for masked in ((1,), (2, 3, 9), tuple(range(1, 10))):
        one = masked_unit(heads=(HeadSetting(masked=masked, masked_deg=((-3.0, 8.0),)),))
        parts = [shapely.Polygon(ring) for ring in (*open_outlines(one), *masked_outlines(one))]
        # Arcs are drawn as chords of two degrees at most.
        assert sum(part.area for part in parts) == pytest.approx(whole.area, rel=1e-3)
        assert shapely.union_all(parts).area == pytest.approx(whole.area, rel=1e-3)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 360), st.floats(-25, 25), st.floats(-15, 15))
def test_coloured_ground_lies_within_the_outline_of_its_arc(bearing, tilt, roll):
    """However a unit is tilted and rolled, no verdict is drawn outside what the plan shows as its arc."""
    z = np.add.outer(np.arange(60) * -0.1, np.arange(60) * 0.15)
    site = terrain_from_heights(z, 0.5, mounts=(Mount("pole", 0.0, 0.0),))
    one = unit_on(site, "pole", load_type("one-head-90"), 1.0, bearing, tilt, roll)
    told = sighted(site, one)
    codes = told.codes(1.7)
    x, y = (values.ravel()[told.seen.cells] for values in np.meshgrid(site.ground.xs, site.ground.ys))
    outline = shapely.union_all([shapely.Polygon(ring) for ring in open_outlines(one)])
    # Arcs are drawn as chords of two degrees at most: 12 m (1 - cos 1 degree) is 2 mm.
    inside = shapely.contains_xy(outline.buffer(0.01), x, y)
    assert not (codes[~inside] > Verdict.OUTSIDE).any()

"""What a unit sees, as drawn: layers where they point, colours by distance, words that keep clear."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from page_checks import check_texts, context_of
from shapes import box, plane, terrain, unit
from test_stills import with_bad_names

from terrain3d.cover.layer_shares import layer_shares
from terrain3d.detector.outline import layer_outline, span_of
from terrain3d.detector.pose import in_head, posed_heads
from terrain3d.detector.types import load_type
from terrain3d.job import run
from terrain3d.sentences.outlook import outlook_sentence
from terrain3d.show.lettering import page_style
from terrain3d.show.outlook_image import distance_share, shaded
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.outlook import outlook_sheet
from terrain3d.show.pages.stills import write_stills
from terrain3d.sight.picture import picture
from terrain3d.terrain import Foliage

ONE, TWO = (load_type(name, Path()) for name in ("one-head-90", "two-head-180"))


@settings(deadline=None)
@given(st.floats(0, 360), st.floats(-15, 15), st.floats(-15, 15))
def test_outlines_turned_back_are_the_layers(bearing, tilt, roll):
    """Every point of an outline has the layer's edge as its elevation in the head, within the arc."""
    at = unit(TWO, bearing_deg=bearing, tilt_deg=tilt, roll_deg=roll)
    for head in posed_heads(at):
        for layer in head.layers:
            outline = layer_outline(at, head, layer)
            a, e = np.radians(bearing + outline[:, 0]), np.radians(outline[:, 1])
            rays = np.column_stack([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
            azimuth, elevation = in_head(head, rays)
            off = np.abs(elevation - layer.elevation_deg)
            assert off == pytest.approx(np.full(len(off), layer.thickness_deg / 2), abs=1e-6)
            assert np.abs(azimuth).max() == pytest.approx(head.arc_deg / 2, abs=1e-6)


def test_a_tilted_layer_bends():
    """Nose down, a level layer points down ahead by the tilt, and less so at the ends of its arc."""
    at = unit(ONE, tilt_deg=8.0)
    head = posed_heads(at)[0]
    outline = layer_outline(at, head, head.layers[0])[:61]
    assert outline[30] == pytest.approx([0.0, 1.5 - 8.0], abs=1e-9)
    assert outline[0, 1] > outline[30, 1] + 1
    assert outline[0, 1] == pytest.approx(outline[60, 1])


@settings(deadline=None)
@given(st.floats(-20, 20), st.floats(-20, 20))
def test_the_picture_holds_every_layer(tilt, roll):
    """However the unit is set, its layers lie within what is drawn."""
    at = unit(TWO, tilt_deg=tilt, roll_deg=roll)
    span = span_of(at)
    for head in posed_heads(at):
        for layer in head.layers:
            outline = layer_outline(at, head, layer)
            assert span.low < outline[:, 1].min() < outline[:, 1].max() < span.high
            assert span.left < outline[:, 0].min() < outline[:, 0].max() < span.right


def test_near_is_darker_than_far_and_things_are_told_apart():
    """Ground darkens towards the unit; a wall has another hue; sky and ground out of range are palest."""
    site = terrain(plane(0.0), box((-1, 6, -0.5), (3, 6.3, 3.0)))
    elevations = np.array([-45.0, -20.0, -10.0, -4.0, 10.0])
    seen = picture(site, (0.0, 0.0, 1.0), [-30.0, 10.0], elevations, 48.0)
    image = shaded(seen, 12.0).astype(int)
    open_ground = image[:, 0].sum(axis=1)
    assert (np.diff(open_ground[:4]) > 0).all()
    red, _, blue = image[3, 1]
    assert red - blue > 40
    sky = image[4, 0]
    assert sky[2] > sky[0]
    assert sky.min() > 220


def test_the_scale_of_distance_is_logarithmic():
    """Twice as far is the same step everywhere on the scale."""
    shares = distance_share(np.array([1.0, 2.0, 4.0, 8.0]), 16.0)
    assert np.diff(shares) == pytest.approx(np.full(3, shares[1] - shares[0]))


def test_shares_of_a_layer_on_a_plane():
    """Level, 1 m over flat ground with 12 m range, the part of the lower layer under asin(1/12) lands.

    The band is 3 degrees about atan(1/12) = 4.76 and sight at slant range 12 m is asin(1/12) = 4.78
    degrees down: the share is (6.26 - 4.78) / 3 = 49 %; the upper layer meets nothing.
    """
    at = unit(ONE)
    elevations = np.arange(-20, 10, 0.02) + 0.01
    seen = picture(terrain(plane(0.0, extent_m=60.0)), at.eye, np.arange(-60, 60, 2.0), elevations, 48.0)
    said = outlook_sentence(layer_shares(at, seen))
    assert said == (
        "Of the upper layer 100% runs on past its range;"
        " of the lower layer 49% meets the ground, 51% runs on past its range."
    )


def seen_and_met(site, at):
    """The directions of a unit's layers, finely, followed to its range."""
    azimuths, elevations = np.arange(-50, 50, 0.25) + 0.125, np.arange(-10, 4, 0.02) + 0.01
    seen = picture(site, at.eye, azimuths, elevations, at.type.max_range)
    return seen, seen.solid


def test_shares_of_a_layer_that_a_wall_and_a_shed_stop():
    """A tall wall before the left of the arc and a post before a little of the right are told apart.

    The unit looks north over level ground from 1 m. The wall, 4 m north, runs from 4 m west to straight
    ahead: it covers azimuths -45 to 0 of the arc of -45 to 45, half of it. The post, 5 m off between
    tangents of 1/5 and 2/5, covers atan(0.4) - atan(0.2) = 10.5 of 90 degrees, 11.7 %.
    """
    at = unit(ONE)
    wall, post = box((-4.2, 4, -0.5), (0, 4.3, 4.0)), box((1, 5, -0.5), (2, 5.1, 4.0))
    solids = replace(wall, names=("garden wall",)).joined(replace(post, names=("gate post",)))
    site = terrain(plane(0.0, extent_m=60.0), solids)
    seen, owners = seen_and_met(site, at)
    upper, _ = shares = layer_shares(at, seen, owners)
    assert upper.ground + upper.solids + upper.leaves + upper.past == pytest.approx(1.0)
    met = 0.5 + np.degrees(np.arctan(0.4) - np.arctan(0.2)) / 90
    assert upper.solids == pytest.approx(met, abs=0.005)
    assert upper.past == pytest.approx(1 - met, abs=0.005)
    assert (upper.solid, upper.solid_share) == (0, pytest.approx(0.5 / met, abs=0.01))
    said = outlook_sentence(shares, solids.names)
    assert said.startswith('Of the upper layer 62% meets solids, mostly "garden wall", 38% runs on')
    alone = terrain(plane(0.0, extent_m=60.0), replace(wall, names=("garden wall",)))
    seen, owners = seen_and_met(alone, at)
    said = outlook_sentence(layer_shares(at, seen, owners), alone.solids.names)
    assert said.startswith('Of the upper layer 50% meets "garden wall", 50% runs on past its range;')


def test_leaves_take_what_their_depth_says():
    """Half a metre of leaves, 0.8 m2 a cubic metre, takes 1 - exp(-0.5 x 0.8 x 0.5) of a level layer.

    Beer's law with half the leaf area across the line, as leaves of every slope have (Ross's projection
    0.5 of the spherical distribution, from memory). Straight ahead the path through the hedge is its
    thickness; aside by a it is longer by 1 / cos a.
    """
    at = unit(ONE)
    site = replace(terrain(plane(0.0, extent_m=60.0)), foliage=leaf_wall(3.0, 0.5, 0.8))
    seen, owners = seen_and_met(site, at)
    upper, _ = shares = layer_shares(at, seen, owners)
    aside = np.radians(np.arange(-45, 45, 0.01) + 0.005)
    wanted = (1 - np.exp(-0.2 / np.cos(aside))).mean()
    assert upper.leaves == pytest.approx(wanted, abs=0.004)
    assert upper.past == pytest.approx(1 - wanted, abs=0.004)
    assert f"{wanted:.0%} is taken by leaves" in outlook_sentence(shares)


def leaf_wall(north_m, thick_m, area_per_m3):
    """A wide, tall stand of leaves across the view, its near side so far north of the origin."""
    cell, step = 0.25, 0.5
    x = np.arange(-8, 8, cell) + cell / 2
    y = np.arange(north_m, north_m + thick_m - 1e-9, cell) + cell / 2
    column = np.arange(len(x) * len(y), dtype=np.int32).reshape(len(y), len(x))
    above = np.tile(np.arange(9) * step * area_per_m3, (column.size, 1))
    return Foliage(float(x[0]), float(y[0]), cell, column, np.full(column.size, -0.5), step, above)


@pytest.mark.usefixtures("seen_once")
@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_no_text_leaves_the_page_or_covers_other_text(outcome, hostile, size):
    """Every line of the page keeps clear of every other, whatever the names."""
    drawn = with_bad_names(outcome) if hostile else outcome
    with page_style():
        for option in drawn.options:
            check_texts(outlook_sheet(context_of(drawn, size, "1 May"), option, option.detectors[0]))


def test_a_unit_that_sees_no_ground_still_gets_its_page(tmp_path):
    """Inside a solid nothing lies at any distance on the ground: a page comes, without a warning."""
    site = tmp_path / "site.toml"
    site.write_text(
        """
[site]
name = "Boxed in"
cell = 0.5
[ground]
plane = { fall = 10, towards = 90, extent = 20 }
[[solid]]
name = "tank"
outline = [[-1, -1], [1, -1], [1, 1], [-1, 1]]
height = 3
[[mount]]
name = "pole"
at = [0, 0]
[[option]]
name = "boxed in"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 0
"""
    )
    [page] = write_stills(PageContext(run(site)), tmp_path, ("outlook",))
    assert page.stat().st_size > 10_000

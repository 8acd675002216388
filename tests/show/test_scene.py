"""The scene as rendered: the ground lies the right way round, names and layers are where they belong."""

from dataclasses import replace

import numpy as np
import pytest
from scenes import PERSON, box, flat_ground, hedge, option, plane_reach, unit

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.frame import site_frame
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.camera import fitted_camera, framed_points
from terrain3d.show.extent import site_extent
from terrain3d.show.legend import GROWN
from terrain3d.show.pages.oblique import render
from terrain3d.show.scene import build_scene, standing_place
from terrain3d.sight.hits import reach_of
from terrain3d.terrain import Area, Foliage, Ground, Mount, Solids, Terrain

VIEW = np.array([0.0, 1.0, -0.9])


def quarters(ground):
    """A site whose north-east quarter is dead ground and whose other quarters are held."""
    terrain = Terrain(
        site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (Mount("pole", 0.0, 0.0),), ()
    )
    base = option(terrain, "quarters", (unit(terrain, "D1", "pole", "one-head-90", 0.0),))
    x, y = np.meshgrid(ground.xs, ground.ys)
    codes = np.where((x > 0) & (y > 6), Verdict.DEAD, Verdict.BOTH).astype(np.uint8)
    codes[~ground.known] = UNKNOWN
    return Outcome(site_of(terrain, "quarters"), (replace(base, verdicts=codes),), ("quarters",))


def pictured(outcome, hide=("layers", "marks", "units", "contours")):
    extent = site_extent(outcome)
    camera = fitted_camera(VIEW, framed_points(outcome, extent), 1.5)
    scene = build_scene(outcome, outcome.options[0], extent, plane_reach(outcome.terrain), camera)
    bare = replace(scene, parts=tuple(part for part in scene.parts if part.group not in hide))
    return scene, camera, render(bare, camera, 300, 200)


def test_a_page_of_paper_is_rendered_in_parts_that_meet():
    """Finer than the screen's it is drawn in four parts: it shows the same, with no seam between them."""
    outcome = quarters(flat_ground())
    extent = site_extent(outcome)
    camera = fitted_camera(VIEW, framed_points(outcome, extent), 1.5)
    scene = build_scene(outcome, outcome.options[0], extent, plane_reach(outcome.terrain), camera)
    # Lines are as wide as they are asked for in both.
    whole, parts = (render(scene, camera, 300, 200, fineness).astype(int) for fineness in (1.0, 1.0001))
    differs = np.abs(whole - parts).max(axis=2) > 30
    assert differs.mean() < 0.002
    assert not differs.all(axis=0).any()
    assert not differs.all(axis=1).any()


def colour_at(image, camera, point):
    x, y = camera.project(np.array([point]), 1.5)[0]
    return image[round((1 - y) * image.shape[0]), round(x * image.shape[1])].astype(int)


def test_ground_is_draped_the_right_way_round():
    """Dead ground in the north-east shows there and nowhere else, seen from the south."""
    _, camera, image = pictured(quarters(flat_ground()))
    for x, y, is_dead in ((4, 10, True), (-4, 10, False), (4, 3, False), (-4, 3, False)):
        red, _, blue = colour_at(image, camera, (x, y, 0.0))
        assert (red > blue) == is_dead, (x, y)


def test_held_ground_keeps_its_colour_in_the_light():
    """On level ground the drape's colour comes out within a tenth of full scale of the legend's."""
    _, camera, image = pictured(quarters(flat_ground()))
    assert colour_at(image, camera, (-4, 3, 0.0)) == pytest.approx([0x66, 0xC0, 0xE5], abs=25)


def verdict_of(colour):
    """The verdict whose colour in the key is nearest to a colour of a picture."""
    off = {code: np.abs(colour - palette.rgb(own)).sum() for code, own in palette.VERDICT_COLOURS.items()}
    return min(off, key=off.__getitem__)


@pytest.mark.parametrize("towards", [(0.0, 1.0), (0.0, -1.0), (1.0, 0.0)])
def test_verdicts_on_a_bank_have_the_colours_of_the_key(towards):
    """Thirty degrees of slope, whichever way it faces: within a twentieth of full scale."""
    flat = flat_ground()
    x, y = np.meshgrid(flat.xs, flat.ys)
    bank = Ground(flat.x0, flat.y0, flat.cell_m, 0.577 * (towards[0] * x + towards[1] * y))
    _, camera, image = pictured(quarters(bank))
    z = float(bank.height_at([-4], [3])[0])
    held = palette.rgb(palette.VERDICT_COLOURS[Verdict.BOTH])
    assert colour_at(image, camera, (-4, 3, z)) == pytest.approx(held, abs=13)


def test_verdicts_under_leaves_can_be_told_by_the_key():
    """Seen through a hedge held ground looks held and dead ground dead; the hedge has an outline."""
    bare = quarters(flat_ground())
    terrain = bare.terrain
    grown = replace(terrain, foliage=hedge(terrain.ground, -10, 8, 10, 11, 1.5))
    outcome = replace(bare, site=site_of(grown, "quarters"))
    scene, camera, image = pictured(outcome)
    lines = [part for part in scene.parts if part.group == "foliage" and part.line_px]
    assert {part.colour for part in lines} == {GROWN.line}
    for x, held in ((-5, Verdict.BOTH), (5, Verdict.DEAD)):
        seen = colour_at(image, camera, (x, 10.4, 0.0))
        assert (seen != colour_at(pictured(bare)[2], camera, (x, 10.4, 0.0))).any()
        assert verdict_of(seen) == held


def test_the_person_for_scale_shows_on_the_darkest_ground():
    """The figure has its colour of the key and a light rim."""
    outcome = quarters(flat_ground())
    codes = np.full_like(outcome.options[0].verdicts, Verdict.DEAD)
    dark = replace(outcome, options=(replace(outcome.options[0], verdicts=codes),))
    scene, camera, _ = pictured(dark)
    x, y, z = standing_place(dark, plane_reach(dark.terrain))
    parts = tuple(part for part in scene.parts if part.group in ("ground", "marks"))
    image = render(replace(scene, parts=parts), camera, 1200, 800).astype(int)
    low, high = camera.project(np.array([[x, y, z], [x, y, z + PERSON.height_m]]), 1.5) * [1200, 800]
    around = image[800 - round(high[1]) : 800 - round(low[1]), round(low[0]) - 12 : round(low[0]) + 12]
    assert np.abs(around - palette.rgb(palette.FIGURE)).max(axis=-1).min() <= 3
    assert (around.min(axis=-1) > 180).sum() > 10


def area(name, west, south, east, north):
    return Area(name, np.array([[west, south], [east, south], [east, north], [west, north]], float))


def test_the_person_for_scale_stands_clear_of_poles():
    """In the middle of an area with the pole in it nobody would see the figure."""
    bare = quarters(flat_ground())
    terrain = replace(bare.terrain, protect=(area("yard", -6, -6, 6, 6),))
    outcome = replace(bare, site=site_of(terrain, "quarters"))
    place = standing_place(outcome, plane_reach(terrain))
    assert place is not None
    assert np.hypot(*place[:2]) >= 1.5


def test_no_name_of_an_area_stands_on_the_house_before_it():
    """What a house hides has no name; what reaches out behind it has its name where it is seen."""
    bare = quarters(flat_ground())
    house = box(bare.terrain.ground, "house", -6, 4, 6, 6, 6.0)
    areas = (area("hidden", -4, 7, 4, 9), area("wide", -13, 7, 13, 9), area("before", -3, -4, 3, -1))
    terrain = replace(bare.terrain, solids=house, protect=areas)
    outcome = replace(bare, site=site_of(terrain, "quarters"))
    extent = site_extent(outcome)
    camera = fitted_camera(VIEW, framed_points(outcome, extent), 1.5)
    scene = build_scene(outcome, outcome.options[0], extent, reach_of(terrain), camera)
    named = {tag.text: tag.point for tag in scene.tags if tag.kind == "area"}
    assert set(named) == {"wide", "before"}
    assert abs(named["wide"][0]) > 6


def test_unknown_ground_is_drawn_pale_not_missing():
    """A gap in the survey is filled in shape and left without a verdict."""
    ground = flat_ground()
    ground.z[60:76, 40:56] = np.nan
    _, camera, image = pictured(quarters(ground))
    x, y = ground.xs[48], ground.ys[68]
    around = colour_at(image, camera, (x, y, 0.0))
    assert around.min() > 150


def test_layers_end_on_a_slope_before_they_end_in_the_open():
    """On ground that rises towards the unit's front no part of a layer lies under the ground."""
    flat = flat_ground()
    rising = Ground(flat.x0, flat.y0, flat.cell_m, flat.z + 0.15 * flat.ys[:, None])
    outcome = quarters(rising)
    scene, _, _ = pictured(outcome)
    for part in scene.parts:
        if part.group == "layers":
            points = np.asarray(part.mesh.points)
            assert (points[:, 2] > rising.height_at(points[:, 0], points[:, 1]) - 0.12).all()
            assert np.linalg.norm(points - [0, 0, 1], axis=1).max() < 12.01


def test_every_unit_and_area_is_named(outcome):
    """Names stand at the units, the protected ground, the figure and the scale."""
    extent = site_extent(outcome)
    camera = fitted_camera(VIEW, framed_points(outcome, extent), 1.5)
    for one in outcome.options:
        scene = build_scene(outcome, one, extent, plane_reach(outcome.terrain), camera)
        said = {tag.text for tag in scene.tags}
        assert {f"{u.name}\n{u.mount}" for u in one.detectors} <= said
        assert {area.name for area in outcome.terrain.protect} <= said
        assert "person, 1.7 m" in said
        assert "0" in said
        for tag in scene.tags:
            assert (camera.project(np.array([tag.point]), 1.5) > 0).all(), tag


def test_solids_are_cut_at_the_block(outcome):
    """Nothing stands outside the drawn ground."""
    extent = site_extent(outcome)
    camera = fitted_camera(VIEW, framed_points(outcome, extent), 1.5)
    narrow = replace(extent, west=-6.0, columns=slice(extent.columns.start, extent.columns.stop))
    scene = build_scene(outcome, outcome.options[0], narrow, plane_reach(outcome.terrain), camera)
    for part in scene.parts:
        if part.group == "solids":
            assert part.mesh.bounds[0] >= -6.0 - 1e-6

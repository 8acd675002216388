"""The scene as rendered: the ground lies the right way round, names and layers are where they belong."""

from dataclasses import replace

import numpy as np
import pytest
from scenes import flat_ground, option, plane_reach, unit

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.frame import site_frame
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.camera import fitted_camera, framed_points
from terrain3d.show.extent import site_extent
from terrain3d.show.pages.oblique import render
from terrain3d.show.scene import build_scene
from terrain3d.terrain import Foliage, Ground, Mount, Solids, Terrain

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

"""The page of proposed mounts: every mount at its number, nothing written over anything else."""

import dataclasses

import numpy as np
import pytest
import shapes
from page_checks import check_texts, texts_of
from PIL import Image

from terrain3d.frame import site_frame
from terrain3d.opened import site_of
from terrain3d.search.mounts import propose
from terrain3d.search.propose import Proposed
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.mounts import mounts_sheet, write_mounts_page
from terrain3d.survey.solids import block, wall
from terrain3d.terrain import Area, Foliage, Mount, Solids, Terrain

GROUND = shapes.plane(0.1, 30, extent_m=40)
SHED = np.array([[2.0, 6.0], [7.0, 6.0], [7.0, 10.0], [2.0, 10.0]])
YARD = Area("yard of the long house behind the hill", np.array([[-6.0, -6], [4, -6], [4, 4], [-6, 4]]))


def found(every_m=5.0, terrain=None):
    """Mounts of a yard with a shed, a wall and a hedge, within a boundary."""
    if terrain is None:
        solids = block(SHED, 2.5, 0.0, GROUND.height_at, "shed").joined(
            wall(np.array([[-12.0, -9], [8, -9]]), 0.2, 1.5, 0.0, GROUND.height_at, "garden wall")
        )
        hedge = shapes.leaves(GROUND, lambda x, y: (x < -13) & (x > -14), 0, 1.5, 2.0)
        terrain = shapes.terrain(GROUND, solids, hedge, (YARD,))
        outline = np.array([[-17.0, -12], [10, -12], [10, 13], [-17, 13]])
        terrain = dataclasses.replace(terrain, boundary=outline, mounts=(Mount("old pole", 9.0, 0.0),))
    mounts = propose(terrain, (0.8, 1.0), 12.0, every_m)
    return Proposed(site_of(terrain, "farm"), None, every_m, mounts)


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize("every_m", [5.0, 1.5])
def test_nothing_runs_into_anything(every_m):
    """With few mounts and with many, no text leaves the page or covers another."""
    with page_style():
        check_texts(mounts_sheet(found(every_m)))


def test_every_mount_is_at_its_number():
    """Each number stands nearest its own mark, once, and the column says which numbers are what."""
    proposed = found()
    with page_style():
        page = mounts_sheet(proposed)
        (axes,) = page.figure.axes
        marks = axes.transData.transform([(p.mount.x, p.mount.y) for p in proposed.mounts])
        numbers = [text for text in axes.texts if text.get_text().isdigit()]
        boxes = [text.get_window_extent() for text in numbers]
    assert sorted(int(text.get_text()) for text in numbers) == list(range(1, len(marks) + 1))
    for text, box in zip(numbers, boxes, strict=True):
        middle = (box.min + box.max) / 2
        assert np.hypot(*(marks - middle).T).argmin() == int(text.get_text()) - 1
    told = [text for text, _ in texts_of(page)]
    assert f"{len(marks)} proposed mounts" in told
    corners = sum(p.kind == "corner" for p in proposed.mounts)
    assert told[told.index("shed") + 1] == f"1 to {corners}"
    assert {"old pole", "At corners", "Poles inside the boundary", "boundary"} <= set(told)


def test_the_same_mounts_give_the_same_picture(tmp_path):
    """Drawn twice the bytes are the same, and it is a picture of a page's size."""
    first = write_mounts_page(found(), tmp_path / "a.png").read_bytes()
    assert write_mounts_page(found(), tmp_path / "b.png").read_bytes() == first
    with Image.open(tmp_path / "a.png") as picture:
        assert picture.size == (1600, 1132)


def test_a_site_without_a_place_for_a_mount_has_its_page():
    """Bare ground with nothing on it gets a page that says so, not a fault."""
    bare = Terrain(site_frame(None, 0, 0), GROUND, Solids.none(), Foliage.none(), (), ())
    with page_style():
        page = mounts_sheet(found(terrain=bare))
        check_texts(page)
        assert "0 proposed mounts" in [text for text, _ in texts_of(page)]

"""One drawn set of stills for all tests that look at it; pages whose ground nobody looks at."""

import pytest
from scenes import slope_outcome

from terrain3d.show.drape import drape
from terrain3d.show.pages import plan, section, shading
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.section_image import Window, cut_image
from terrain3d.show.pages.stills import write_stills


@pytest.fixture(scope="session")
def outcome():
    """The invented slope with two options."""
    return slope_outcome()


@pytest.fixture(scope="session")
def stills(outcome, tmp_path_factory):
    """The pictures of the invented slope, drawn once."""
    return write_stills(PageContext(outcome), tmp_path_factory.mktemp("stills"))


@pytest.fixture
def coarse_ground(monkeypatch):
    """Ground in few pixels, for tests of what is written on pages: words lie as on fine ground."""

    def cut(profile, foliage, window, fineness):
        few = Window(*window[:4], window.width_px // 8, window.height_px // 8)
        return cut_image(profile, foliage, few, fineness)

    monkeypatch.setattr(plan, "drape", lambda codes, shade, _pixels: drape(codes, shade, 1))
    monkeypatch.setattr(shading, "DRAPE_PIXELS", 200)
    monkeypatch.setattr(section, "cut_image", cut)

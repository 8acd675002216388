"""One drawn set of stills for all tests that look at it; pages whose ground nobody looks at."""

import pytest
from scenes import slope_outcome

from terrain3d.show.drape import drape
from terrain3d.show.pages import outlook, plan, section, shading, sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.stills import write_stills
from terrain3d.show.section_image import Window, cut_image
from terrain3d.sight.picture import picture


@pytest.fixture(scope="session")
def outcome():
    """The invented slope with two options."""
    return slope_outcome()


@pytest.fixture(scope="session")
def stills(outcome, tmp_path_factory):
    """The pictures of the invented slope, drawn once; those that nobody looks at are white paper."""

    def save(page, path):
        if not any(kind in path.name for kind in ("oblique", "outlook", "side-by-side", "against", "survey")):
            page.figure.clear()
        return page.figure.save(path, page.size) or path

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sheet.Sheet, "save", save)
        # Which of all pages one is hangs on what else is drawn.
        patch.setattr(sheet.Sheet, "number", lambda page, *_: page)
        return write_stills(PageContext(outcome), tmp_path_factory.mktemp("stills"))


_seen: dict = {}


@pytest.fixture
def seen_once(monkeypatch):
    """An eye on the invented slope looks in the same directions once, whatever things are called."""

    def look(terrain, eye, azimuths_deg, elevations_deg, reach_m):
        parts = (terrain.ground.z, terrain.solids.vertices, terrain.foliage.base_z)
        key = (eye, azimuths_deg.tobytes(), elevations_deg.tobytes(), reach_m, *map(id, parts))
        if key not in _seen:
            # The parts are kept with it, so that no others take their place in memory.
            _seen[key] = picture(terrain, eye, azimuths_deg, elevations_deg, reach_m), parts
        return _seen[key][0]

    monkeypatch.setattr(outlook, "picture", look)


@pytest.fixture
def coarse_ground(monkeypatch):
    """Ground in few pixels, for tests of what is written on pages: words lie as on fine ground."""

    def cut(profile, foliage, window, fineness):
        few = Window(*window[:4], window.width_px // 8, window.height_px // 8)
        return cut_image(profile, foliage, few, fineness)

    monkeypatch.setattr(plan, "drape", lambda codes, shade, _pixels, _seen: drape(codes, shade, 1))
    monkeypatch.setattr(shading, "DRAPE_PIXELS", 200)
    monkeypatch.setattr(section, "cut_image", cut)

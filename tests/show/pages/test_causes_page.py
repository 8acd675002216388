"""The page of causes: what it draws is what was judged, and its words keep clear."""

from pathlib import Path

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from PIL import Image
from shapes import box, judged, plane, terrain, unit

from terrain3d import palette
from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.layer_outcomes import BROKEN, BY_SOLID, LANDS_SHORT
from terrain3d.detector.types import load_type
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.legend import cause_sign, layer_sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.causes import causes_of, causes_sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import COLUMN_LEFT
from terrain3d.show.pages.size import WIDTH_PX
from terrain3d.show.pages.stills import write_stills

ONE = load_type("one-head-90", Path())


@pytest.fixture(scope="module")
def uphill():
    """One unit that looks up a plain slope of 15 %, with a shed on its left."""
    site = terrain(plane(0.15), box((-2.5, 3.5, -1.0), (-1.0, 4.5, 4.0)))
    option = judged(site, unit(ONE), name="uphill")
    return Outcome(site_of(site), (option,), ("uphill",))


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize("size", ["screen", "a4"])
@pytest.mark.parametrize("layer", ["upper", "lower"])
def test_words_keep_clear(uphill, size, layer):
    """Nothing runs into another or leaves the page."""
    with page_style():
        check_texts(causes_sheet(context_of(uphill, size), uphill.options[0], layer))


def test_its_areas_are_those_of_the_results(uphill):
    """Square metres by cause are those of `causes` in the results; broken and lost make up all in reach."""
    context, option = PageContext(uphill), uphill.options[0]
    for layer in ("upper", "lower"):
        told = causes_of(context, option, layer)
        for code, area in told.items():
            if code != BROKEN:
                assert area == pytest.approx(option.causes[layer][CAUSE_KEYS[code]])
        # A sector of 90 degrees and 12 m (plane geometry); cells count by their middles.
        assert sum(told.values()) == pytest.approx(np.pi * 144 / 4, rel=0.03)


def test_the_lower_layer_lands_short_uphill_where_the_closed_form_says(uphill, tmp_path):
    """Past h / (h / 12 + 0.15) m, plane geometry, most is taken because the layer lands, and is drawn so."""
    context, option = PageContext(uphill), uphill.options[0]
    told = causes_of(context, option, "lower")
    assert next(code for code in told if code != BROKEN) == LANDS_SHORT
    assert told[BY_SOLID] > 1.0
    with page_style():
        said = [text for text, _ in texts_of(causes_sheet(context, option, "lower"))]
    assert CAUSE_KEYS[LANDS_SHORT] in said
    drawn = write_stills(context, tmp_path, ("causes",))
    assert [path.name for path in drawn] == ["01-causes-1-uphill.png", "01-causes-2-uphill.png"]
    with Image.open(drawn[1]) as page:
        image = np.asarray(page.convert("RGB"))[:, : round(COLUMN_LEFT * WIDTH_PX)]
    signs = {BROKEN: layer_sign("lower"), LANDS_SHORT: cause_sign(LANDS_SHORT)}
    broken, short = ((image == palette.rgb(sign.on_paper)).all(axis=-1).sum() for sign in signs.values())
    # Names, arcs and contours cover a little of both.
    assert broken / short == pytest.approx(told[BROKEN] / told[LANDS_SHORT], rel=0.1)

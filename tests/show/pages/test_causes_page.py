"""The page of causes: what it draws is what was judged, and its words keep clear."""

from collections import Counter
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from page_checks import check_texts, context_of, texts_of
from PIL import Image
from shapes import box, judged, plane, terrain, unit

from terrain3d import palette
from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.layer_outcomes import BROKEN, BY_SOLID, LANDS_SHORT
from terrain3d.detector.types import load_type
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.extent import site_extent
from terrain3d.show.legend import GAINED, HELD_BY_BOTH, LOST, cause_sign, layer_sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.causes import _CAUSES, causes_of, causes_sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.pixels import Pixels
from terrain3d.show.pages.shading import shade, whole_patch
from terrain3d.show.pages.sheet import COLUMN_LEFT
from terrain3d.show.pages.size import WIDTH_PX
from terrain3d.show.pages.stills import write_stills

#: What takes a layer; what takes a microwave is on a page of its own.
_OF_LAYERS = {
    "hidden by foliage", "hidden by a solid", "hidden by ground", "passes above the figure", "lands short",
    "below the layer",
}  # fmt: skip
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


def grey(colour: str) -> float:
    """How light a colour is in grey print, L* of CIE 1976, 0 to 100."""
    share = float(palette.rgb(colour) @ [0.2126, 0.7152, 0.0722]) / 255
    return 116 * float(np.cbrt(share**2.2)) - 16


def test_in_grey_print_no_two_patches_of_a_page_are_one():
    """Causes, and what two options hold: by how light they are, or by their stripes."""
    causes = [cause_sign(code) for code, key in CAUSE_KEYS.items() if code in _CAUSES and key in _OF_LAYERS]
    for signs in ([layer_sign("upper"), layer_sign("lower"), *causes], [HELD_BY_BOTH, GAINED, LOST]):
        for one, other in combinations(signs, 2):
            if {one.text, other.text} == {"upper layer", "lower layer"}:
                continue  # Never on one page.
            is_apart = abs(grey(one.on_paper) - grey(other.on_paper)) > 10 or (
                one.stripe.hatch != other.stripe.hatch
            )
            assert is_apart, (one.text, other.text)


def test_stripes_of_a_sign_lie_on_its_fill(uphill):
    """A striped patch is drawn whole: most of it in its own colour, and stripes over that."""
    axes = Figure().add_subplot()
    ground = uphill.terrain.ground
    where = np.ones(ground.z.shape, bool)
    shade(axes, whole_patch(where, LOST), site_extent(uphill))
    (image,) = axes.findobj(Pixels)
    seen = Counter(map(tuple, image.image[..., :3].reshape(-1, 3).tolist()))
    (fill, count), (stripe, fewer) = seen.most_common(2)
    assert fill == tuple(palette.rgb(LOST.fill))
    assert stripe == tuple(palette.rgb(LOST.stripe.colour))
    assert count > 2 * fewer

"""What plans on pages show: each colour is in a key, and nothing lies over the words in their corners."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Rectangle
from page_checks import check_texts, context_of, lay_out, texts_of

from terrain3d.cover.verdict import UNKNOWN
from terrain3d.show.legend import verdict_sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages import plan
from terrain3d.show.pages.against import against_sheet
from terrain3d.show.pages.plan import draw_plan, unknown_signs
from terrain3d.show.pages.sheet import Sheet

pytestmark = pytest.mark.usefixtures("coarse_ground")


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_ground_not_known_is_told_where_it_is_drawn(outcome, size):
    """On plans that show something else than verdicts it has its sign in the key."""
    context = context_of(outcome, size)
    best, other = context.best_first
    extent = context.printed.extent
    assert (best.verdicts[extent.rows, extent.columns] == UNKNOWN).any()
    with page_style():
        page = against_sheet(context, other)
        check_texts(page)
    assert verdict_sign(UNKNOWN).text in [text for text, _ in texts_of(page)]


def test_ground_that_is_all_known_needs_no_sign(outcome):
    """A key tells of nothing that is not there."""
    extent, ground = context_of(outcome).printed.extent, outcome.terrain.ground
    whole = replace(ground, z=np.where(ground.known, ground.z, 0.0))
    assert unknown_signs(ground, extent) == [verdict_sign(UNKNOWN)]
    assert unknown_signs(whole, extent) == []


def test_the_scale_bar_lies_clear_of_the_coordinates_of_the_corner(outcome, monkeypatch):
    """Whoever sets the plan out on site reads them."""
    words = "E 559999.9, N 4949999.2"
    monkeypatch.setattr(plan, "corner_words", lambda *_: words)
    context = context_of(outcome)
    with page_style():
        page = Sheet()
        axes = draw_plan(page, outcome, outcome.options[0], context.printed)
        lay_out(page.figure)
        said = [text.get_window_extent() for text in axes.texts if text.get_text() == words]
    boxes = [one.get_window_extent() for one in page.figure.artists if isinstance(one, Rectangle)]
    assert len(said) == 2
    assert len(boxes) >= 3
    frame = axes.get_window_extent()
    for box in boxes:
        # Whichever corner the bar chose, it would be as clear of words in the lower left one.
        assert box.y0 > max(text.y1 for text in said if text.y0 < frame.y0 + frame.height / 2) or (
            box.y0 > frame.y0 + frame.height / 2
        )

"""Pages of units with a microwave: both senses along a walk, what takes it, what it reaches past own land."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import Rectangle
from microwave_types import kind
from page_checks import check_texts, context_of, texts_of
from shapes import box, judged, plane, terrain, unit

from terrain3d import palette
from terrain3d.cover.layer_outcomes import BROKEN, MOVES_ACROSS, NOT_REACHED
from terrain3d.job import Outcome
from terrain3d.nuisance.spill import spill
from terrain3d.opened import site_of
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.causes import causes_of, causes_sheet
from terrain3d.show.pages.fans import fans_sheet
from terrain3d.show.pages.spill import spill_sheet
from terrain3d.show.pages.walk_strip import draw_strip
from terrain3d.show.pages.walks import walk_pages, walks_sheet
from terrain3d.terrain import Area, Walk
from terrain3d.walk.option import option_walks

pytestmark = pytest.mark.usefixtures("coarse_ground")

#: Straight at the unit, and across it.
WALKS = (
    Walk("straight", np.array([[0.3, 12.0], [0.3, 1.0]])),
    Walk("across", np.array([[-8.0, 6.0], [8.0, 6.0]])),
)


@pytest.fixture(scope="module", params=["also", "either"])
def sensed(request, tmp_path_factory):
    """A unit with a microwave on level ground, a wall in its lobe, own land that ends 7 m off."""
    own = kind(tmp_path_factory.mktemp("types"), needs=request.param, range_m=11.0, slowest=0.4)
    yard = Area("yard", np.array([[-3.0, 2.0], [3.0, 2.0], [3.0, 6.0], [-3.0, 6.0]]))
    site = replace(
        terrain(plane(0.0), box((-5, 4, -1), (-3, 4.3, 3)), protect=(yard,)),
        walks=WALKS,
        boundary=np.array([[-14.0, -14.0], [14.0, -14.0], [14.0, 7.0], [-14.0, 7.0]]),
    )
    option = judged(site, unit(own), name="with microwave")
    return Outcome(site_of(site), (option,), (option.name,))


def words_of(page):
    """All that is written on a page."""
    return [text for text, _ in texts_of(page)]


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_words_keep_clear(sensed, size):
    """Walks, fans, causes and what lies beyond: every line stays on the page and covers no other."""
    (option,) = sensed.options
    walks = option_walks(sensed.terrain, option, sensed.figure)
    spilt = spill(sensed.terrain, option.detectors, 1.7)
    with page_style():
        context = context_of(sensed, size)
        for part in walk_pages(walks):
            page = walks_sheet(context, option, part)
            check_texts(page)
            assert "microwave senses" in words_of(page)
        check_texts(fans_sheet(context, option, option.detectors[0], *walks.fans[:2]))
        check_texts(causes_sheet(context, option, "microwave"))
        page = spill_sheet(
            context_of(sensed, size, "1 May", lambda _: {"spill": spilt, "nuisances": ()}), option
        )
        check_texts(page)
        assert "a person, by microwave" in words_of(page)


def test_the_strip_shows_what_is_sensed_and_what_moves_across(sensed):
    """Blocks of either colour are as long as the walk is sensed, or reached and walked across."""
    (option,) = sensed.options
    straight, across = option_walks(sensed.terrain, option, sensed.figure).walks
    with page_style():
        page = causes_sheet(context_of(sensed, "screen"), option, "microwave")
        for walk in (straight, across):
            axes = draw_strip(page, walk, sensed.terrain.protect, (0.1, 0.1, 0.8, 0.1), walk.length_m)
            for colour, code in (
                (palette.layer_colour("microwave"), BROKEN),
                (palette.CAUSES["moves across"], MOVES_ACROSS),
            ):
                drawn = sum(
                    patch.get_width()
                    for patch in axes.patches
                    if isinstance(patch, Rectangle) and to_hex(patch.get_facecolor()) == colour
                )
                assert drawn == pytest.approx(walk.sensed[0].length_m(code))
    assert straight.sensed[0].length_m(MOVES_ACROSS) < 0.5
    assert across.sensed[0].length_m(MOVES_ACROSS) > 3


def test_its_causes_are_drawn_as_they_are_told(sensed):
    """The page of the microwave has its ground and what keeps it from it, and does not call it a layer."""
    (option,) = sensed.options
    with page_style():
        context = context_of(sensed, "screen")
        told = causes_of(context, option, "microwave")
        texts = words_of(causes_sheet(context, option, "microwave"))
    assert set(told) == {BROKEN, NOT_REACHED}
    assert told[NOT_REACHED] == pytest.approx(option.causes["microwave"]["microwave does not reach"])
    assert "it reaches a figure" in texts
    assert not any("microwave layer" in text for text in texts)

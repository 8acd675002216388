"""Pages of what is seen of the units: which there are, what they say, and that words keep clear."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names
from test_walk_pages import LONG, SHORT, TINY, with_walks

from terrain3d.sentences.views import seen_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import Lines
from terrain3d.show.pages.stills import listed_pages
from terrain3d.show.pages.views import views_sheet
from terrain3d.terrain import Approach, Mark
from terrain3d.walk.viewpoints import seen_unit, viewpoints

BAD = "<b>$x$</b> \u4e2d " + "a name without an end " * 9
LANE = Approach("the lane", np.array([[-20.0, -14.0], [20.0, -14.0]]))


@pytest.fixture
def looked(outcome):
    """The invented slope with walks, a way in and four marks."""
    walked = with_walks(outcome, LONG, SHORT, TINY)
    marks = tuple(Mark(f"stone {k}", 3.0 * k, -8.0, 0.0) for k in range(4))
    return walked.on(replace(walked.terrain, approaches=(LANE,), marks=marks))


def test_each_walk_has_a_page_ways_in_and_marks_share_some(looked):
    """Three walks, a way in, four marks on two pages: six pages of each option."""
    pages = listed_pages(context_of(looked), ("views",))
    assert len([page for page in pages if page.option == looked.options[0].name]) == 6
    one = replace(context_of(looked), lines=Lines(("D2",)))
    assert {page.option for page in listed_pages(one, ("views",))} == {looked.options[1].name}


def test_no_page_where_nobody_stands(outcome):
    """Without walks, ways in and marks."""
    assert listed_pages(context_of(outcome), ("views",)) == []


def test_each_place_tells_where_each_unit_is(looked):
    """In the words of what was looked at, unit by unit."""
    option = looked.options[1]
    group = viewpoints(looked.terrain, looked.figure)[0]
    with page_style():
        page = views_sheet(context_of(looked), option, group)
    text = " ".join(" ".join(text.split()) for text, _ in texts_of(page))
    for point in group:
        for unit in option.detectors:
            words = seen_words(seen_unit(looked.terrain, point, unit), looked.terrain.solids.names)
            assert words.partition(":")[0] in text
    for heading in ("From its start", "From its middle", "From its end"):
        assert heading in text


@pytest.mark.parametrize(("size", "hostile"), [("screen", False), ("a4", True)])
def test_words_keep_clear(looked, size, hostile):
    """Every line stays on the page and covers no other, whatever the names."""
    shown = with_bad_names(looked) if hostile else looked
    groups = viewpoints(looked.terrain, looked.figure)
    with page_style():
        for option in shown.options:
            for group in groups:
                named = tuple(replace(point, name=BAD) if hostile else point for point in group[:3])
                check_texts(views_sheet(context_of(shown, size), option, named))

"""The table of walks: each walk of each option once, in the words of its verdict, clear of each other."""

from dataclasses import replace

import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names
from test_walk_pages import LONG, SHORT, TINY, TO_HOUSE, tried, with_walks

from terrain3d.sentences.walks import short_walk_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.stills import listed_pages
from terrain3d.study import OptionStudy, Study

pytestmark = pytest.mark.usefixtures("coarse_ground")


def walked(outcome, *walks, size="screen") -> PageContext:
    """A study of walks over the invented slope."""
    told = with_walks(outcome, *walks)
    options = tuple(OptionStudy(option.name, tried(told, option)) for option in told.options)
    return replace(context_of(told, size), study=Study(told, options, None, ("walks",), None))


def test_every_walk_of_every_option_is_told_once(outcome):
    """Thirteen walks take two pages; each box says what the walk's own page says."""
    walks = [replace((LONG, SHORT, TINY, TO_HOUSE)[k % 4], name=f"walk {k}") for k in range(13)]
    context = walked(outcome, *walks)
    pages = listed_pages(context, ("walks-table",))
    assert [page.name for page in pages] == ["00-walks-table-1", "00-walks-table-2"]
    with page_style():
        text = " ".join(text for page in pages for text, _ in texts_of(page.draw()))
    for walk in walks:
        assert f"{walk.name} " in f"{text} "
    told = [short_walk_words(one) for option in context.study.options for one in option.walks.walks]
    starts = ("after ", "no alarm")
    assert sum(text.count(start) for start in starts) >= len(told) == 26
    assert {words.split(",")[0].split(" ")[0] for words in told} <= {"after", "no"}


@pytest.mark.parametrize(("size", "hostile"), [("screen", False), ("a4", True)])
def test_words_keep_clear(outcome, size, hostile):
    """Every line stays on the page and covers no other, whatever the names."""
    shown = with_bad_names(outcome) if hostile else outcome
    bad = "<b>$x$</b> \u4e2d " + "a name without an end " * 9
    walks = [replace(one, name=bad) if hostile else one for one in (LONG, SHORT, TINY, TO_HOUSE)]
    with page_style():
        for page in listed_pages(walked(shown, *walks, size=size), ("walks-table",)):
            check_texts(page.draw())

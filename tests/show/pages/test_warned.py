"""What voids an option is on each of its pages, and all warnings are on pages of their own."""

from dataclasses import replace

import pytest
from page_checks import check_texts, context_of, texts_of

from terrain3d.sentences.warnings import voiding, warnings_by_option
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.beside import beside_sheet
from terrain3d.show.pages.contact import contact_sheet
from terrain3d.show.pages.names import KINDS
from terrain3d.show.pages.stills import listed_pages

pytestmark = pytest.mark.usefixtures("coarse_ground")


@pytest.fixture
def void(outcome):
    """The first option's unit is inside a solid."""
    first, *others = outcome.options
    facts = (replace(first.facts[0], is_inside_solid=True), *first.facts[1:])
    return replace(outcome, options=(replace(first, facts=facts), *others))


def said(page):
    return " ".join(text for text, _ in texts_of(page))


def test_what_voids_an_option_is_on_each_of_its_pages(void):
    """On every kind of page that is its own, and on those beside others; on no page of another."""
    option = void.options[0]
    (told,) = voiding(option)
    with page_style():
        context = context_of(void)
        for page in listed_pages(context, KINDS):
            if page.option:
                assert (f"! {told}" in said(page.draw())) == (page.option == option.name), page.name
        for draw in (beside_sheet, lambda *given: contact_sheet(*given, "")):
            assert said(draw(context, void.options)).count("! D1 stands inside") == 1


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_no_band_covers_other_words(void, size):
    """The band has room of its own wherever it is."""
    with page_style():
        context = context_of(void, size)
        check_texts(beside_sheet(context, void.options))
        check_texts(contact_sheet(context, void.options, ""))
        for page in listed_pages(context, ("plan", "warnings")):
            check_texts(page.draw())


def test_every_warning_is_whole_on_the_pages_of_warnings(outcome):
    """Forty doubts take pages; each is there from its first word to its last, with whom it is about."""
    doubts = tuple(
        f"doubt {k} of the survey, which takes a line or two to tell of: {'word ' * 30}end {k}"
        for k in range(40)
    )
    terrain = replace(outcome.terrain, doubts=doubts)
    doubted = replace(outcome, site=replace(outcome.site, terrain=terrain))
    with page_style():
        pages = [page.draw() for page in listed_pages(context_of(doubted), ("warnings",))]
        text = " ".join(" ".join(said(page).split()) for page in pages)
        for page in pages:
            check_texts(page)
    assert len(pages) > 1
    for warning, _who in warnings_by_option(doubted):
        assert " ".join(warning.split()).replace(" m2", " m²") in text


def test_warnings_about_the_same_options_stand_under_one_head(outcome):
    """Three doubts of the survey are about every option, which is told once."""
    terrain = replace(outcome.terrain, doubts=("doubt one", "doubt two", "doubt three"))
    doubted = replace(outcome, site=replace(outcome.site, terrain=terrain))
    with page_style():
        (page,) = listed_pages(context_of(doubted), ("warnings",))
        told = [text for text, _ in texts_of(page.draw())]
    assert [text for text in told if text.startswith("doubt")] == ["doubt one", "doubt two", "doubt three"]
    assert told.count("every option") == 1


def test_no_page_where_there_is_nothing_to_warn_of(outcome):
    """A page that says nothing is none."""
    terrain = replace(outcome.terrain, doubts=())
    bare = replace(outcome, site=replace(outcome.site, terrain=terrain))
    if not warnings_by_option(bare):
        assert listed_pages(context_of(bare), ("warnings",)) == []

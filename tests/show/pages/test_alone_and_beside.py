"""The page of an option that is the only one, and long names of options side by side."""

from dataclasses import replace

import pytest
from page_checks import check_texts, context_of, texts_of

from terrain3d.ranking.reasons import Reason, rivals
from terrain3d.sentences.outlay import outlay_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.beside import beside_sheet
from terrain3d.show.pages.contact import pages
from terrain3d.show.pages.stills import listed_pages

pytestmark = pytest.mark.usefixtures("coarse_ground")

#: A name of two lines, as clients write them.
LONG = "two heads on the pole by the gate, towards the terrace, and a second unit on the shed"


def alone(outcome, which):
    (one,) = [option for option in outcome.options if option.name == outcome.options[which].name]
    return replace(outcome, options=(one,), ranking=(one.name,), reasons=())


def four(outcome, name):
    options = tuple(replace(outcome.options[k % 2], name=f"{name} {k}") for k in range(4))
    found = tuple(Reason(rival.name) for rival in rivals(options))
    return replace(outcome, options=options, ranking=tuple(one.name for one in options), reasons=found)


def sizes_of(page, part):
    """The sizes of type of what is written on a page and has a part in it."""
    return [text.get_fontsize() for text in page.figure.texts if part in text.get_text()]


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_the_only_option_has_the_whole_page(outcome, which, size):
    """Its plan and section reach from the title to the key, and words stand on the lower half as well."""
    drawn = alone(outcome, which)
    with page_style():
        (one,) = pages(context_of(drawn, size, "1 May"))
        page = one.draw()
        check_texts(page)
        said = texts_of(page)
    boxes = [axes.get_position() for axes in page.figure.axes]
    assert min(box.y0 for box in boxes) < 0.2
    assert max(box.y1 for box in boxes) > 0.8
    assert max(box.width for box in boxes) > 0.3
    words = " ".join(text for text, _ in said)
    for there in ("Ground", "Units", drawn.options[0].name, f"{drawn.options[0].area_m2['both']:.0f} m²"):
        assert there in words
    assert "best first" not in words
    lower = [text for text, box in said if 0.15 < box.y1 / page.figure.bbox.height < 0.4]
    assert len(lower) >= 3


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_four_long_names_are_as_large_as_others(outcome, size):
    """A long name takes the whole width of its part of the page before it gets smaller than its figures."""
    drawn = four(outcome, LONG)
    with page_style():
        context = context_of(drawn, size, "1 May")
        page = beside_sheet(context, context.best_first)
        check_texts(page)
    assert min(sizes_of(page, LONG.split(" ")[0])) >= 8
    outlays = [outlay_words(option) for option in drawn.options if outlay_words(option)]
    assert outlays
    said = [text.get_text() for text in page.figure.texts]
    assert all(said.count(outlay) == outlays.count(outlay) for outlay in outlays)


def test_warnings_name_whole_whom_they_are_about(outcome):
    """The long names of three of four options stand over their warning from the first word to the last."""
    drawn = four(outcome, LONG)
    facts = (replace(drawn.options[0].facts[0], is_inside_solid=True),)
    inside = tuple(replace(one, units=drawn.options[0].units[:1], facts=facts) for one in drawn.options[:3])
    drawn = replace(drawn, options=(*inside, drawn.options[3]))
    with page_style():
        sheets = [page.draw() for page in listed_pages(context_of(drawn), ("warnings",))]
        for sheet in sheets:
            check_texts(sheet)
        said = " ".join(text for sheet in sheets for text, _ in texts_of(sheet))
    assert "; ".join(one.name for one in inside) in said
    assert "..." not in said


def test_a_short_name_has_what_its_option_costs_beside_it(outcome):
    """Where there is room, price and current stand on the line of the name."""
    with page_style():
        context = context_of(four(outcome, "pole"))
        page = beside_sheet(context, context.best_first)
    heights = {text.get_text(): text.get_position()[1] for text in page.figure.texts}
    outlay = outlay_words(context.outcome.options[0])
    assert any(abs(heights[outlay] - heights[f"pole {k}"]) < 1e-6 for k in range(4))


def test_the_bearing_of_a_small_section_is_read_on_ground_as_well(outcome):
    """A slope rises into the corner where it stands: it has a rim, with one option and with several."""
    with page_style():
        (one,) = pages(context_of(alone(outcome, 0)))
        (several,) = pages(context_of(outcome))
        for page in (one.draw(), several.draw()):
            told = [text for text in page.figure.texts if text.get_text().startswith("D1, ")]
            bearings = [text for text in told if text.get_text().endswith("\u00b0")]
            assert bearings
            assert all(text.get_path_effects() for text in bearings)

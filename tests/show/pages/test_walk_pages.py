"""Pages of walks and fans: what they show, and that no word runs into another."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.lines import Line2D
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.sentences.walks import fans_sentence, walk_words, walks_sentence
from terrain3d.sentences.words import unit_lines, unit_title
from terrain3d.show.extent import site_extent
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.base import plan_base, plan_with
from terrain3d.show.pages.fans import fans_sheet
from terrain3d.show.pages.size import SCALES, SIZES
from terrain3d.show.pages.walk_strip import runs, within
from terrain3d.show.pages.walks import PER_PAGE, walk_pages, walks_sheet
from terrain3d.terrain import Walk
from terrain3d.walk.option import option_walks

LONG = Walk("past the gap in the survey", np.array([[19.0, -2.0], [6.0, -2.0], [-2.0, -9.0]]), 0.8)
SHORT = Walk("along the garden wall", np.array([[-6.0, -5.0], [7.0, -5.0]]))
TINY = Walk("a step", np.array([[0.0, -2.0], [0.4, -2.0]]))
TO_HOUSE = Walk("to the house", np.array([[12.0, -12.0], [-3.0, 2.0]]), 1.5, "dog")

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def with_walks(outcome, *walks):
    """The invented slope with walks over it."""
    return outcome.on(replace(outcome.terrain, walks=walks))


def tried(outcome, option):
    return option_walks(outcome.terrain, option, outcome.figure)


@pytest.mark.parametrize(("size", "hostile"), [("screen", False), ("a4", True), ("a3", False)])
def test_words_keep_clear_on_pages_of_walks(outcome, size, hostile):
    """Every line stays on the page and covers no other, whatever the names."""
    walked = with_walks(outcome, LONG, SHORT, TINY, TO_HOUSE)
    if hostile:
        walked = with_bad_names(walked)
        bad = "<b>$x$</b> \u4e2d " + "a name without an end " * 9
        walked = with_walks(walked, *(replace(walk, name=bad) for walk in walked.terrain.walks))
    with page_style():
        context = context_of(walked, size, "25 November 2026")
        for option in walked.options:
            for part in walk_pages(tried(walked, option)):
                check_texts(walks_sheet(context, option, part))


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_words_keep_clear_on_pages_of_fans(outcome, size):
    """One page a unit; one head or two, all noticed or none."""
    tiny = Figure("cat", 0.2, "invented for the tests")
    with page_style():
        context = context_of(outcome, size)
        for figure in (outcome.figure, tiny):
            for option in outcome.options:
                units = option.detectors
                fans = option_walks(outcome.terrain, option, figure).fans
                page = fans_sheet(context, option, units[0], *fans[:2])
                check_texts(page)


def test_the_key_shows_the_marks_that_are_drawn(outcome):
    """The star of an alarm is one star: on the plan, on the strip and in the key below them."""
    walked = with_walks(outcome, LONG, SHORT, TO_HOUSE)
    with page_style():
        context = context_of(walked)
        for option in walked.options:
            for part in walk_pages(tried(walked, option)):
                page = walks_sheet(context, option, part)
                drawn = [line for axes in page.figure.axes for line in axes.lines]
                looks = [
                    {
                        (line.get_markerfacecolor(), line.get_markeredgecolor())
                        for line in lines
                        if is_star(line)
                    }
                    for lines in (page.figure.get_children(), drawn)
                ]
                if any(walk.alarm is not None for _, walk in part):
                    assert looks[0] == looks[1] == {(palette.ALARM, palette.INK)}
                    return
    raise AssertionError("no walk of the test raises an alarm")


def is_star(line):
    return isinstance(line, Line2D) and line.get_marker() == "*"


def test_names_on_a_strip_are_whole_or_left_out(outcome):
    """A name that ends in dots of its own is written; one that finds no room on its ground is not."""
    terrain = outcome.terrain
    area = replace(terrain.protect[0], name="yard...")
    long = replace(area, name="a name without an end " * 9)
    with page_style():
        for own, is_told in ((area, True), (long, False)):
            site = outcome.on(replace(terrain, protect=(own,), walks=(TO_HOUSE,)))
            ((part,),) = [walk_pages(tried(site, site.options[0]))]
            page = walks_sheet(context_of(site), site.options[0], part)
            strip = page.figure.axes[-1]
            assert within(part[0][1], own)
            assert [text.get_text() for text in strip.texts] == ([own.name] if is_told else [])


def test_every_walk_has_a_letter_and_a_place(outcome):
    """Walks go three to a page, lettered on from page to page; beyond Z with two letters."""
    many = with_walks(outcome, *(replace(TINY, name=f"step {k}") for k in range(28)))
    pages = walk_pages(tried(many, many.options[0]))
    assert [len(page) for page in pages] == [PER_PAGE] * 9 + [1]
    letters = [letter for page in pages for letter, _ in page]
    assert letters[:2] + letters[25:] == ["A", "B", "Z", "AA", "AB"]


def test_the_strip_is_the_walk_piece_by_piece(outcome):
    """Runs cover the walk from end to end and say where the survey has a gap, and where the yard is."""
    walked = with_walks(outcome, LONG, SHORT)
    long, short = tried(walked, walked.options[0]).walks
    pieces = runs(long)
    assert pieces[0][0] == 0.0
    assert pieces[-1][1] == pytest.approx(long.length_m)
    assert all(a[1] == pytest.approx(b[0]) and a[2] != b[2] for a, b in pairwise(pieces))
    gap = next(run for run in pieces if run[2] == UNKNOWN)
    # The gap lies from x = 15 to 18, the walk starts at 19 and goes west; cells beside it are lost too.
    assert gap[:2] == (pytest.approx(1.0, abs=0.4), pytest.approx(4.0, abs=0.4))
    assert Verdict.BOTH in {run[2] for run in runs(short)}
    # The yard lies from x = -4 to 7.
    ((start, stop),) = within(short, walked.terrain.protect[0])
    assert (start, stop) == (pytest.approx(2.0, abs=0.11), pytest.approx(13.0, abs=0.11))


def test_a_page_names_its_walks_and_the_verdict_on_each(outcome):
    """What a reader needs stands on the page itself."""
    walked = with_walks(outcome, SHORT, TO_HOUSE)
    option = walked.options[0]
    (part,) = walk_pages(tried(walked, option))
    with page_style():
        page = walks_sheet(context_of(walked), option, part)
    said = " ".join(text for text, _ in texts_of(page))
    for letter, walk in part:
        assert f"{letter}: {walk.name}" in said
        assert walk_words(walk).split(",")[0].split(":")[0] in said
    assert "dog, 1.5 m/s" in said
    assert "both layers" in said
    assert "walk-test" in said


def test_a_unit_with_a_long_name_is_told_whole(outcome):
    """With all that is set of it, on two lines where one has no room."""
    walked = with_walks(outcome, SHORT)
    mount = "west wall of the garage behind the old pear tree"
    first = walked.options[0]
    units = tuple(replace(one, unit=replace(one.unit, mount=mount)) for one in first.units)
    option = replace(first, units=units)
    (part,) = walk_pages(tried(walked, option))
    with page_style():
        page = walks_sheet(context_of(walked), option, part)
        check_texts(page)
    said = " ".join(text for text, _ in texts_of(page))
    for unit in option.detectors:
        assert f"{unit_title(unit)}, {', '.join(unit_lines(unit))}" in said


def test_sentences(outcome):
    """One walk speaks for itself; several are counted; a fan says how near a walker comes."""
    walked = with_walks(outcome, SHORT, TO_HOUSE)
    result = tried(walked, walked.options[0])
    (part,) = walk_pages(result)
    assert walks_sentence(result.walks[:1]) == walk_words(part[0][1])
    n = sum(walk.alarm is not None for walk in result.walks)
    assert walks_sentence(result.walks).startswith(
        f"{n} of 2 walks raise" if n else "None of the walks raises"
    )
    to, across = result.fans
    unit = walked.options[0].detectors[0]
    assert f"comes within {np.nanmin(to.left_m):.1f} to" in fans_sentence(unit, to, across)


@pytest.mark.parametrize("size", ["a4", "a3"])
def test_printed_plans_hold_the_walks_at_a_scale_of_rulers(outcome, size):
    """The whole of a walk is on the paper at a scale that rulers carry, and the plan fits its place."""
    place = (0.42, 0.455)
    base = plan_with(outcome, [LONG.line], plan_base(outcome, site_extent(outcome)), SIZES[size], place)
    assert base.scale in SCALES
    assert base.extent.east >= 19.0
    paper = SIZES[size]
    assert base.extent.width_m / base.scale <= paper.paper_m(place[0]) + 1e-9
    assert (
        base.extent.depth_m / base.scale <= paper.paper_m(place[1] * paper.height_px / paper.width_px) + 1e-9
    )

"""Pages of a site whose file asks for feet: every number is that of results.json, and no metre is left."""

import json
import re
from pathlib import Path

import pytest
from page_checks import check_texts
from page_numbers import FOOT_M, is_told, numbers_of, numbers_said, part_of_page
from studied_sites import studied
from whole_pages import Laid, laid_out_pages

from terrain3d.job import run
from terrain3d.lengths import lengths_in
from terrain3d.paper.study import study_json
from terrain3d.study import Study, study_of

DEMO = Path(__file__).parents[3] / "data" / "demo.toml"
#: Radiance has no foot in it in any country.
METRE = re.compile(r"\bm\b|\bm2\b|m²(?!/sr)|metre|\b[cmk]m\b")


@pytest.fixture(scope="module")
def demo() -> Study:
    """The demo, studied with a few draws."""
    return study_of(run(DEMO), draws=4)


@pytest.fixture(scope="module")
def demo_pages(demo) -> list[Laid]:
    """All its pages in feet."""
    with lengths_in("ft"):
        return laid_out_pages(demo)


@pytest.fixture(scope="module")
def steep_pages() -> list[Laid]:
    """Those of the site with long names."""
    with lengths_in("ft"):
        return laid_out_pages(studied("steep, long names"))


@pytest.fixture(params=["demo_pages", "steep_pages"])
def pages(request) -> list[Laid]:
    """Of both."""
    return request.getfixturevalue(request.param)


def test_no_page_has_a_metre(pages):
    """In its words, along its axes and on its scales; and feet there are on all of them that measure."""
    left = {laid.page.name: METRE.findall(laid.said) for laid in pages if METRE.search(laid.said)}
    assert left == {}
    assert sum(bool(re.search(r"\d ft", laid.said)) for laid in pages) > 0.9 * len(pages)


def test_no_text_leaves_its_page_or_covers_another(pages):
    """Numbers of feet are longer."""
    wrong = {}
    for laid in pages:
        try:
            check_texts(laid.sheet)
        except AssertionError as fault:
            wrong[laid.page.name] = str(fault).split("\n")[0]
    assert wrong == {}


def test_every_number_of_the_demo_is_in_its_results(demo, demo_pages):
    """Which are in metres: each length by the foot, each area by its square, rounded as it is written."""
    with lengths_in("ft"):
        results = json.loads(study_json(demo))
    wrong = {}
    for laid in demo_pages:
        pool = list(numbers_of(part_of_page(results, laid.page.option, laid.kind)))
        untold = [f"{one.unit}: {one.where}" for one in numbers_said(laid) if not is_told(one, pool)]
        if untold:
            wrong[laid.page.name] = untold
    assert wrong == {}


def test_a_number_that_was_not_turned_is_noticed(demo, demo_pages):
    """Held to results that were in feet already, all pages with several lengths fail."""
    results = json.loads(study_json(demo))
    told = noticed = 0
    for laid in demo_pages:
        own = numbers_of(part_of_page(results, laid.page.option, laid.kind))
        pool = [(key, one / FOOT_M) for key, one in own]
        lengths = [one for one in numbers_said(laid) if one.unit == "ft" and one.decimals and one.value > 10]
        if len({one.value for one in lengths}) >= 3:
            told += 1
            noticed += not all(is_told(one, pool) for one in lengths)
    assert told > 20
    assert noticed == told

"""The pages for a client and of two options against each other: results' numbers, clear words."""

import datetime
from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names

from terrain3d.cover.option import Covering
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import AntiMasking
from terrain3d.lengths import area_words
from terrain3d.sentences.client import client_numbers, open_lines, to_do_lines
from terrain3d.sentences.options import not_held_words
from terrain3d.show.legend import GAINED, HELD_BY_BOTH, LOST
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.against import against_sheet, gained_and_lost
from terrain3d.show.pages.client import client_sheet
from terrain3d.show.pages.stills import listed_pages
from terrain3d.site import WalkTested

pytestmark = pytest.mark.usefixtures("coarse_ground")


def said(page):
    return " ".join(text for text, _ in texts_of(page))


def test_gained_and_lost_add_up_to_what_each_holds(outcome):
    """Counted cell by cell: both and its own are all of one, both and the other's all of the other."""
    context = context_of(outcome)
    best, other = context.best_first
    told = gained_and_lost(other, best)
    assert not any((a & b).any() for a, b in ((told[GAINED], told[LOST]), (told[GAINED], told[HELD_BY_BOTH])))
    assert (told[HELD_BY_BOTH] | told[GAINED]).sum() == (other.verdicts == Verdict.BOTH).sum()
    assert (told[HELD_BY_BOTH] | told[LOST]).sum() == (best.verdicts == Verdict.BOTH).sum()
    swapped = gained_and_lost(best, other)
    assert np.array_equal(swapped[GAINED], told[LOST])
    with page_style():
        text = said(against_sheet(context, other))
    for where in told.values():
        assert area_words(float(where.sum()) * outcome.terrain.ground.cell_m**2) in text


def test_pages_of_an_option_tell_its_walk_test(outcome):
    """A plan and the client's page; those of an option that was not walked say nothing of it."""
    best, _ = context_of(outcome).best_first
    tested = WalkTested(name=best.name, on=datetime.date(2026, 5, 3), points=12, as_told=11)
    file = outcome.site.file.model_copy(update={"walk_tested": (tested,)})
    walked = replace(outcome, site=replace(outcome.site, file=file))
    with page_style():
        for page in listed_pages(context_of(walked), ("plan", "client")):
            drawn = page.draw()
            told = "walk-tested on 2026-05-03: 11 of 12 points as told" in said(drawn)
            assert told == (page.option in (best.name, "")), page.name
            check_texts(drawn)


def test_only_what_is_not_best_stands_against_the_best(outcome):
    """One page for each other option; of one option none."""
    pages = listed_pages(context_of(outcome), ("against",))
    assert [page.option for page in pages] == [context_of(outcome).best_first[1].name]


@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_words_keep_clear(outcome, size, hostile):
    """Nothing runs into another or leaves the page, whatever the names."""
    shown = with_bad_names(outcome) if hostile else outcome
    with page_style():
        context = context_of(shown, size)
        best, other = context.best_first
        check_texts(against_sheet(context, other))
        check_texts(client_sheet(context, best))


def test_the_client_reads_what_was_judged(outcome):
    """Share held, what stays open of each area, how each unit is fixed: as in the results."""
    context = context_of(outcome)
    best = context.best_first[0]
    with page_style():
        text = said(client_sheet(context, best))
    for figure, what in [(figure, what) for what, figure in client_numbers(best)]:
        assert figure in text
        assert what in text
    held_m2 = sum(area.both_fraction * area.area_m2 for area in best.protect)
    assert client_numbers(best)[0][1] == f"{held_m2 / sum(area.area_m2 for area in best.protect):.0%}"
    for unit in best.detectors:
        assert any(f"Fix {unit.name} on {unit.mount}" in line for line in to_do_lines(best))
    assert "Walk-test every unit" in text
    assert open_lines(best) == [
        f'"{area.name}": {not_held_words(area)}.' for area in best.protect if not_held_words(area)
    ]


def test_what_stands_in_a_units_watch_is_to_be_done(outcome, monkeypatch):
    """Whoever fixes the unit has to clear what its watch needs free: the client reads of it too."""
    best = context_of(outcome).best_first[0]
    near = Covering("foliage", "yew", 0.1)
    monkeypatch.setattr(type(best), "covering", lambda _option, number: [near] if number == 0 else [])
    watched = best.detectors[0].type.model_copy(update={"anti_masking": AntiMasking(reach=0.5)})
    first = replace(best.units[0], unit=replace(best.units[0].unit, type=watched))
    option = replace(best, units=(first, *best.units[1:]))
    assert any('"yew" is within 0.10 m' in line for line in to_do_lines(option))

"""The page of the survey: its numbers are those of the ground, its doubts whole, its words clear."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names

from terrain3d.cover.areas import KnownGround, known_ground, standing_by_source
from terrain3d.paper.results import results_values
from terrain3d.sentences.surveys import measured_figure, part_figures, survey_facts, survey_line
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.stills import listed_pages
from terrain3d.show.pages.surveyed import leaves_found, survey_sheet
from terrain3d.terrain import SURVEYED_LEAVES, Area, Dated, Foliage, Ground

pytestmark = pytest.mark.usefixtures("coarse_ground")


def said(page):
    return " ".join(" ".join(text.split()) for text, _ in texts_of(page))


def surveyed(outcome, **changes):
    """The invented slope as a survey of 0.4 m, with a bridged patch within the yard, and other changes."""
    ground = outcome.terrain.ground
    filled = np.zeros(ground.z.shape, bool)
    x, y = np.meshgrid(ground.xs, ground.ys)
    filled[(x > 0) & (x < 4) & (y > -2) & (y < 1)] = True
    terrain = replace(outcome.terrain, ground=replace(ground, filled=filled), spacing_m=0.4, **changes)
    return replace(outcome, site=replace(outcome.site, terrain=terrain))


def test_ground_is_counted_cell_by_cell():
    """Four cells of 4 m2: two measured, one bridged, one not known; an area half off the grid loses that."""
    z = np.array([[0.0, 0.0], [np.nan, 0.0]])
    ground = Ground(1.0, 1.0, 2.0, z, np.array([[False, True], [False, False]]))
    assert known_ground(ground) == KnownGround(8.0, 4.0, 4.0)
    west = Area("west", np.array([[-2.0, 0.0], [2.0, 0.0], [2.0, 4.0], [-2.0, 4.0]]))
    assert known_ground(ground, west) == KnownGround(4.0, 0.0, 4.0 + 8.0)


def test_leaves_are_told_by_where_they_come_from():
    """Of three columns of 1 m2 the survey has one, the site file one, and they share one."""
    foliage = Foliage(
        0.0, 0.0, 1.0, np.array([[0, 1], [2, -1]], np.int32), np.zeros(3), 1.0,
        np.tile([0.0, 1.0], (3, 1)), np.array([0, 1, 1], np.int32), (SURVEYED_LEAVES, "hedge"),
        np.array([2, 2], np.int32), np.array([0, 1], np.int32), np.tile([0.0, 0.5], (2, 1)),
    )  # fmt: skip
    assert foliage.columns_of(SURVEYED_LEAVES).tolist() == [[True, False], [True, False]]
    assert foliage.columns_of("hedge").tolist() == [[False, True], [True, False]]
    assert not foliage.columns_of("none of them").any()


def test_leaves_found_lie_where_they_grow(outcome):
    """The hedge of the invented slope, 7 m by 1.5 m, cell by cell of the ground."""
    shown = leaves_found(outcome.terrain)
    ground = outcome.terrain.ground
    rows, columns = np.nonzero(shown)
    x, y = ground.xs[columns], ground.ys[rows]
    assert (x.min(), x.max()) == pytest.approx((5.0, 12.0), abs=0.26)
    assert (y.min(), y.max()) == pytest.approx((4.5, 6.0), abs=0.26)
    assert standing_by_source(outcome.terrain).leaves_found_m2 == pytest.approx(7 * 1.5)


def test_the_page_tells_the_numbers_of_the_results(outcome):
    """Areas of all ground and of each protected area, spacing, error, date: as results.json has them."""
    dated = Dated(date(2024, 3, 1), date(2024, 3, 2), "its header", is_flown=True)
    shown = surveyed(outcome, dated=dated, error_m=0.07, error_from="the survey's header")
    ground = json.loads(json.dumps(results_values(shown)))["site"]["ground"]
    known = known_ground(shown.terrain.ground)
    with page_style():
        text = said(survey_sheet(context_of(shown)))
    assert known.measured_m2 == pytest.approx(ground["known_m2"] - ground["bridged_m2"])
    assert known.unknown_m2 == pytest.approx(ground["unknown_m2"])
    for part in (known.measured_m2, known.bridged_m2, known.unknown_m2):
        assert part_figures(part, known) in text
    for area, told in zip(shown.terrain.protect, ground["protected"], strict=True):
        own = known_ground(shown.terrain.ground, area)
        assert told["bridged_m2"] == pytest.approx(own.bridged_m2)
        assert told["known_m2"] + told["unknown_m2"] == pytest.approx(own.all_m2)
        assert measured_figure(own) in text
    assert own.bridged_m2 == 0.0  # the patch lies in the yard alone
    assert "bridged" in text
    for line in ("about 0.4 m apart", "within 0.07 m (RMSE)", "2024-03-01 to 2024-03-02"):
        assert line in text
    assert ground["standing"]["solids_drawn"] == 2
    assert "2 solids" in text


def test_what_nobody_states_is_said_to_be_not_stated(outcome):
    """No error and no date; and of drawn ground neither is asked for."""
    facts = " ".join(survey_facts(surveyed(outcome).terrain))
    assert "No error" in facts
    assert "No date" in facts
    assert survey_facts(outcome.terrain) == ["Ground drawn in the site file, in cells of 0.25 m."]
    assert "drawn, not surveyed" in survey_line(outcome.terrain, KnownGround(5.0, 0.0, 0.0))


def test_nearly_all_is_not_all():
    """Three cells of a thousand are told, however small their share."""
    assert part_figures(997.0, KnownGround(997.0, 3.0, 0.0)) == "997 m², 99.7%"
    assert part_figures(3.0, KnownGround(997.0, 3.0, 0.0)) == "3.0 m², 0.3%"
    assert part_figures(1000.0, KnownGround(1000.0, 0.0, 0.0)) == "1000 m², 100%"


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_words_keep_clear_and_doubts_are_whole(outcome, size):
    """Forty doubts: as many as find room from first word to last, then how many there are besides."""
    doubts = tuple(f"doubt {k} takes a line or two to tell of: {'word ' * 18}end {k}" for k in range(40))
    shown = surveyed(with_bad_names(outcome), doubts=doubts)
    with page_style():
        page = survey_sheet(context_of(shown, size))
        check_texts(page)
        text = said(page)
    told = [k for k in range(40) if f"doubt {k} takes" in text]
    assert told
    assert all(f"end {k}" in text for k in told)
    assert f"and {40 - len(told)} more: see the page of warnings" in text


def test_one_page_for_all_options(outcome):
    """It is of the ground, which they share."""
    assert [page.name for page in listed_pages(context_of(outcome), ("survey",))] == ["00-survey"]

"""The map of ground returns on the page of the survey: its colours, its key and its numbers."""

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_surveyed_page import said, surveyed

from terrain3d import palette
from terrain3d.cover.areas import known_ground, measured_by
from terrain3d.paper.results import results_values
from terrain3d.sentences.surveys import part_figures, returns_words
from terrain3d.show.legend import LEAVES_FOUND, LEAVES_GUESSED
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.pixels import Pixels
from terrain3d.show.pages.surveyed import survey_sheet
from terrain3d.terrain import Returns

pytestmark = pytest.mark.usefixtures("coarse_ground")


def counted(outcome):
    """The invented slope with more returns to the east, from none to 40 a square metre."""
    base = surveyed(outcome)
    ground = base.terrain.ground
    x, _ = np.meshgrid(ground.xs, ground.ys)
    per_m2 = np.clip(20 + 1.2 * x, 0, 40).astype(np.float32)
    return surveyed(outcome, returns=Returns(per_m2, 1.75, x < -10))


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_the_map_has_a_key_with_the_numbers_of_the_results(outcome, size):
    """Each step of returns has its row and area, as results.json has it; words keep clear."""
    shown = counted(outcome)
    read = json.loads(json.dumps(results_values(shown)))["site"]["ground"]["returns"]
    found, known = measured_by(shown.terrain), known_ground(shown.terrain.ground)
    with page_style():
        page = survey_sheet(context_of(shown, size))
        check_texts(page)
        words, texts = said(page), [text for text, _ in texts_of(page)]
    for step, m2 in enumerate(found.area_m2):
        assert read["steps"][step]["area_m2"] == pytest.approx(m2)
        assert (returns_words(step) in texts) == (m2 > 0)
        assert not m2 or part_figures(m2, known) in words
    assert read["steps"][-1]["below_per_m2"] is None
    assert read["median_per_m2"] == pytest.approx(found.median_per_m2, abs=1e-4)
    assert read["guessed_leaves_m2"] == pytest.approx(found.guessed_m2)
    assert "or more a square metre" in words
    assert LEAVES_GUESSED.text in texts
    assert LEAVES_FOUND.text not in texts


def test_the_map_is_darker_where_returns_are_more(outcome):
    """From west to east the ground of the plan takes the colours of the key, light to dark."""
    shown = counted(outcome)
    with page_style():
        page = survey_sheet(context_of(shown))
    laid = [one.image for one in page.figure.axes[0].get_children() if isinstance(one, Pixels)]
    pixels = [image for image in laid if image.shape[-1] == 4][-1]
    colours = [tuple(palette.rgb(colour)) for colour in palette.RETURNS_SCALE]
    where = [np.flatnonzero((pixels[..., :3] == colour).all(axis=-1).any(axis=0)) for colour in colours]
    there = [columns.mean() for columns in where if columns.size]
    assert len(there) >= 2
    assert there == sorted(there)


def test_without_a_count_the_page_tells_leaves_as_before(outcome):
    """A grid has no returns: measured ground keeps its sign, and leaves found theirs."""
    with page_style():
        texts = [text for text, _ in texts_of(survey_sheet(context_of(surveyed(outcome))))]
    assert LEAVES_FOUND.text in texts
    assert not any("returns" in text for text in texts)
    assert json.loads(json.dumps(results_values(replace(outcome))))["site"]["ground"]["returns"] is None


def test_colours_of_returns_part_in_grey_print():
    """Each is darker than the one before by more than eyes need: steps of 1 are just seen (CIE 1976 L*)."""
    grey = [float(palette.rgb(colour) @ [0.2126, 0.7152, 0.0722]) / 255 for colour in palette.RETURNS_SCALE]
    lightness = [116 * np.cbrt(level**2.2) - 16 for level in grey]
    assert all(light - dark > 4 for light, dark in pairwise(lightness))

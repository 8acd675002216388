"""The page of doubt: it keeps what every page keeps, and shows what was counted."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_palette import SIGHT, lab

from terrain3d import palette
from terrain3d.sentences.uncertainty import uncertainty_line
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.uncertainty import uncertainty_sheet
from terrain3d.uncertainty.error_field import ErrorSizes, Source
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty, run_monte_carlo
from terrain3d.uncertainty.tolerance import Slack, UnitTolerance, option_tolerances

SIZES_OF_ERRORS = ErrorSizes(0.1, 5.0, 0.02, 2.5, 1.0, Source.SILENT_SURVEY)

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


@pytest.fixture(scope="module")
def uncertainty(outcome) -> Uncertainty:
    """Five draws of the invented slope."""
    return run_monte_carlo(outcome.terrain, outcome.options, 1.7, SIZES_OF_ERRORS, 5, 2)


def page_of(outcome, uncertainty, number, units, size="screen"):
    """The page of an option."""
    names = zip(outcome.options, uncertainty.options, strict=True)
    drawn = replace(uncertainty, options=tuple(replace(one, name=option.name) for option, one in names))
    found = context_of(outcome, size, "25 November 2026", lambda _: {"tolerances": units}, drawn)
    return uncertainty_sheet(found, outcome.options[number])


@pytest.mark.parametrize("size", ["screen", "a4"])
@pytest.mark.parametrize("number", [0, 1])
def test_nothing_leaves_the_page_or_runs_into_another(outcome, uncertainty, number, size):
    """One unit or two, on a screen or on paper to scale."""
    units = option_tolerances(outcome.terrain, outcome.options[number], 1.7)
    with page_style():
        page = page_of(outcome, uncertainty, number, units, size)
        check_texts(page)
        written = [text for text, _ in texts_of(page)]
    assert "0%" in written
    assert "95%" in written
    assert any(text.startswith("A planning aid") for text in written)
    assert any("quality level 2" in text for text in written)


def test_the_numbers_are_those_counted(outcome, uncertainty):
    """Shares, tolerances and what was varied stand on the page as they were worked out."""
    slacks = (
        Slack("height", "m", 0.1468, 0.3, more_open=True),
        Slack("bearing", "deg", 1.27, 41.9),
        Slack("range", "m", 4.0, 0.0),
    )
    shares = np.array([0.2, 0.5, 0.5, 0.5, 0.5])
    found = OptionUncertainty("x", uncertainty.options[0].chance, shares, shares, 0.4)
    with page_style():
        page = page_of(
            outcome,
            replace(uncertainty, options=(found, uncertainty.options[1])),
            0,
            (UnitTolerance("D1", 9.0, slacks),),
        )
        written = {text for text, _ in texts_of(page)}
    assert {"50%", "20%", "2 of 5 draws", "-0.14 m", "free", "-1.2°", "+41.9°", "down by 4 m"} <= written


def test_many_units_end_in_a_word_of_more(outcome, uncertainty):
    """What does not fit the column is counted, not cut off."""
    slacks = tuple(
        Slack(setting, "deg", 3.0, 4.0) for setting in ("height", "bearing", "tilt", "roll", "range")
    )
    option = outcome.options[0]
    seen = option.units[0]
    many = replace(
        option,
        units=tuple(replace(seen, unit=replace(seen.unit, name=f"D{k}")) for k in range(6)),
        facts=option.facts[:1] * 6,
    )
    units = tuple(UnitTolerance(f"D{k}", 9.0, slacks) for k in range(6))
    crowded = replace(outcome, options=(many, outcome.options[1]))
    with page_style():
        page = page_of(crowded, uncertainty, 0, units)
        check_texts(page)
        written = [text for text, _ in texts_of(page)]
    assert any(text.startswith("and ") and text.endswith("more: see results.json") for text in written)


def test_ground_that_is_never_or_always_held_has_no_line(outcome, uncertainty):
    """A map of one chance is drawn without a contour and without a warning."""
    never = replace(uncertainty.options[0], chance=np.zeros_like(uncertainty.options[0].chance))
    with page_style():
        page = page_of(
            outcome,
            replace(uncertainty, options=(never, uncertainty.options[1])),
            0,
            (UnitTolerance("D1", 0.0, ()),),
        )
        assert "nothing held to lose" in [text for text, _ in texts_of(page)]


def test_same_doubt_same_bytes(outcome, uncertainty, tmp_path):
    """Nothing on the page depends on when it is drawn."""
    units = option_tolerances(outcome.terrain, outcome.options[0], 1.7)
    with page_style():
        first, again = (
            page_of(outcome, uncertainty, 0, units).save(tmp_path / f"{k}.png").read_bytes() for k in range(2)
        )
    assert first == again


@pytest.mark.parametrize("sight", SIGHT)
def test_chances_grow_darker_for_every_eye(sight):
    """From never to always the colours darken in clear steps, under every kind of sight and in grey."""
    lightness = [lab(colour, SIGHT[sight])[0] for colour in palette.CHANCE_SCALE]
    assert all(lighter - darker > 5 for lighter, darker in pairwise(lightness))
    tight, wide = lab(palette.TIGHT, SIGHT[sight]), lab(palette.TOLERANT, SIGHT[sight])
    assert np.linalg.norm(tight - wide) > 30


def test_the_sentence_says_what_is_held_and_how_it_ranks(uncertainty):
    """One sentence on the option, one on the ranking."""
    line = uncertainty_line(uncertainty, uncertainty.options[1])
    assert line.startswith("In half of the draws it holds ")
    assert f'"{uncertainty.ranking[0]}" stays the best option in ' in line

"""What is said of an option: what it holds, and where most of the rest is lost."""

import re
from dataclasses import replace

import pytest
from ranked_options import WEIGHT, option
from shapes import plane, terrain

from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.ranking.reasons import reasons
from terrain3d.sentences.options import area_lines, loss_line, most_lost, one_line
from terrain3d.sentences.verdicts import CAUSES, VERDICT_WORDS
from terrain3d.sentences.why import why
from terrain3d.sentences.words import place_in_ranking


@pytest.fixture
def outcome():
    """Two options, the first the better one."""
    options = (option("a", (10.0, 0.6, 1.0), held=6), option("b", (10.0, 0.2, 1.0), held=2))
    return Outcome(site_of(terrain(plane(0.0))), options, ("a", "b"), reasons(options, WEIGHT, 1.0))


def test_the_best_option_says_why_and_another_what_it_holds(outcome):
    """The sentence for the client stands under the best option; every one says what it holds."""
    best, other = outcome.options
    assert one_line(outcome, best).endswith(why(outcome))
    for one in outcome.options:
        assert re.match(r"Holds \d+% of the protected ground with both layers", one_line(outcome, one))
    assert place_in_ranking(outcome, other) == "2nd of 2"


def test_the_main_loss_is_the_largest_one(outcome):
    """Of all layers and causes the one that takes most protected ground is named, with its area."""
    lost = {"upper": {"lands short": 55.2, "outside arc": 3.0}, "lower": {"hidden by a solid": 12.0}}
    line = one_line(outcome, replace(outcome.options[1], lost_m2=lost))
    assert line.endswith("; most is lost where the upper layer lands short (55 m²).")


@pytest.mark.parametrize("cause", CAUSE_KEYS.values())
def test_every_cause_has_its_words(outcome, cause):
    """No cause that the verdicts know is missing from the sentences."""
    losing = replace(outcome.options[1], lost_m2={"lower": {cause: 9.0}})
    assert "9.0 m²" in loss_line(outcome, losing)
    assert CAUSES[cause].does


def test_without_protected_ground_reach_is_what_counts(outcome):
    """What lies outside every arc is no loss where nothing is said to matter there."""
    causes = {"upper": {"outside arc": 900.0, "passes above the figure": 20.0}}
    line = loss_line(outcome, replace(outcome.options[1], protect=(), causes=causes))
    assert line.startswith("Holds ")
    assert "passes over the person (20 m²)" in line


def test_rows_name_the_same_loss(outcome):
    """In a row as in the sentence the largest loss is named; where a unit was pointed needs no layer."""
    lost = {"upper": {"lands short": 55.2, "outside arc": 3.0}, "lower": {"hidden by a solid": 12.0}}
    assert most_lost(replace(outcome.options[1], lost_m2=lost)) == "upper layer lands short (55.2 m2)"
    aside = replace(outcome.options[1], lost_m2={"upper": {"outside arc": 3.0}})
    assert most_lost(aside) == "outside arc (3.0 m2)"
    assert most_lost(outcome.options[1]) == "nothing"
    assert "upper layer, on protected ground not held, lost to: lands short 55.2 m2, outside arc 3.0 m2" in (
        area_lines(replace(outcome.options[1], lost_m2=lost))
    )


def test_each_cause_and_verdict_is_told_apart():
    """Every wording is there for every cause, and no two causes or verdicts read alike."""
    for words in ("does", "where", "because"):
        assert len({getattr(cause, words) for cause in CAUSES.values()}) == len(CAUSE_KEYS)
    assert CAUSES.keys() == set(CAUSE_KEYS.values())
    assert len(set(VERDICT_WORDS.values())) == 5

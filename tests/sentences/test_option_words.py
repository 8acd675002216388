"""What is said of an option: what it holds, and where most of the rest is lost."""

import re
from dataclasses import replace

import pytest
from ranked_options import WEIGHT, option
from shapes import plane, terrain

from terrain3d.cover.causes import CAUSE_KEYS, Loss
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.ranking.reasons import reasons
from terrain3d.sentences.options import area_lines, brief_line, loss_line, most_lost, one_line
from terrain3d.sentences.verdicts import CAUSES, VERDICT_WORDS
from terrain3d.sentences.why import why
from terrain3d.sentences.words import place_in_ranking


@pytest.fixture
def outcome():
    """Two options, the first the better one."""
    options = (option("a", (10.0, 0.6, 1.0), held=6), option("b", (10.0, 0.2, 1.0), held=2))
    return Outcome(site_of(terrain(plane(0.0))), options, ("a", "b"), reasons(options, WEIGHT, 1.0))


def losing(option, *losses, protect=None):
    """The option with other things that take what it does not hold, of its one area or of several."""
    areas = protect or (losses,)
    one = option.protect[0]
    found = tuple(replace(one, name=f"area {k}", lost_to=own) for k, own in enumerate(areas))
    return replace(option, protect=found)


def test_the_best_option_says_why_and_another_what_it_holds(outcome):
    """The sentence for the client stands under the best option; every one says what it holds."""
    best, other = outcome.options
    assert one_line(outcome, best).endswith(why(outcome))
    for one in outcome.options:
        assert re.match(r'Both layers hold \d+% of "area 0"', one_line(outcome, one))
        assert re.match(r"Holds \d+% of the protected ground with both layers", brief_line(outcome, one))
    assert place_in_ranking(outcome, other) == "2nd of 2"


def test_causes_of_one_kind_stand_together_with_names(outcome):
    """Three things that take 9 m2 each outdo 20 m2 outside the arc, and are called by their names."""
    things = [Loss("hidden by a solid", name, 9.0) for name in ("wall", "bank", None)]
    one = losing(outcome.options[1], *things, Loss("outside arc", None, 20.0))
    assert loss_line(outcome, one) == (
        'Both layers hold 20% of "area 0" (10 m²); not held: 27 m² behind "bank" and "wall",'
        " 20 m² outside the arc."
    )
    assert brief_line(outcome, one).endswith('; most of the rest is behind "bank" and "wall" (27 m²).')


def test_each_protected_area_has_its_sentence(outcome):
    """Each with its own loss, the one that loses most first; of more than three the rest is counted."""
    own = [(Loss("lands short", None, 1.0 + k),) for k in range(5)]
    one = losing(outcome.options[1], protect=tuple(own))
    sizes = tuple(replace(area, area_m2=10.0 + k) for k, area in enumerate(one.protect))
    line = loss_line(outcome, replace(one, protect=sizes))
    assert line.startswith(
        'Holds 20% of the protected ground with both layers. Both layers hold 20% of "area 4"'
    )
    assert line.count("Both layers hold") == 3
    assert line.endswith("Of 2 more areas less is missing.")


@pytest.mark.parametrize("cause", CAUSE_KEYS.values())
def test_every_cause_has_its_words(outcome, cause):
    """No cause that the verdicts know is missing from the sentences."""
    one = losing(outcome.options[1], Loss(cause, None, 9.0))
    assert "9.0 m²" in loss_line(outcome, one)
    assert CAUSES[cause].does


def test_without_protected_ground_reach_is_what_counts(outcome):
    """What lies outside every arc is no loss where nothing is said to matter there."""
    causes = {"upper": {"outside arc": 900.0, "passes above the figure": 20.0}}
    line = loss_line(outcome, replace(outcome.options[1], protect=(), causes=causes))
    assert line.startswith("Holds ")
    assert "passes over the person (20 m²)" in line


def test_rows_name_the_same_loss(outcome):
    """In a row as in the sentence the largest loss is named."""
    lost = {"upper": {"lands short": 55.2, "outside arc": 3.0}, "lower": {"hidden by a solid": 12.0}}
    one = losing(outcome.options[1], Loss("lands short", None, 55.2), Loss("outside arc", None, 3.0))
    assert most_lost(one) == "past where a layer lands (55.2 m2)"
    assert most_lost(outcome.options[1]) == "nothing"
    assert "upper layer, on protected ground not held, lost to: lands short 55.2 m2, outside arc 3.0 m2" in (
        area_lines(replace(one, lost_m2=lost))
    )


def test_each_cause_and_verdict_is_told_apart():
    """Every wording is there for every cause, and no two causes or verdicts read alike."""
    for words in ("does", "where", "because"):
        assert len({getattr(cause, words) for cause in CAUSES.values()}) == len(CAUSE_KEYS)
    assert CAUSES.keys() == set(CAUSE_KEYS.values())
    assert len(set(VERDICT_WORDS.values())) == 5

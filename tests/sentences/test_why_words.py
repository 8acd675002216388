"""The sentence that says why the first option is the best."""

import numpy as np
import pytest
from ranked_options import WEIGHT, option

from terrain3d.cover.layer_outcomes import BY_SOLID, LANDS_SHORT, OUTSIDE_ARC, PASSES_ABOVE
from terrain3d.job import Steady
from terrain3d.ranking.reasons import reasons
from terrain3d.sentences.why import steady_why, why_words


def told(*options, figure="person", weight=WEIGHT):
    """The sentence on cells of 1 m2."""
    return why_words(options, figure, reasons(options, weight, 1.0))


def test_a_share_by_weight_is_told_apart():
    """A small heavy area held whole is no large share of the ground."""
    best = option("a", (4.0, 1.0, 100.0), (200.0, 0.0, 1.0), held=1)
    other = option("b", (4.0, 0.0, 100.0), (200.0, 0.5, 1.0), held=0)
    assert 'Option "a" holds 2% (67% by weight) of the protected ground' in told(best, other)


def test_the_sentence_names_what_takes_the_ground_that_the_winner_holds():
    """Ground that both lose explains nothing, however much of it there is."""
    best = option("north", (10.0, 0.6, 1.0), held=6)
    other = option(
        "south", (10.0, 0.2, 1.0), held=2, upper=[0] * 6 + [OUTSIDE_ARC] * 4, lower=[0, 0] + [5] * 8
    )
    assert told(best, other) == (
        'Option "north" holds 60% of the protected ground with both layers; "south" holds 20%,'
        ' because its lower layer meets the ground before all 4 m2 that only "north" holds.'
    )


@pytest.mark.parametrize(
    ("takers", "because"),
    [
        ([-1] * 6 + [0] * 4, '"garden wall" hides all 4 m2 that only "north" holds from its lower layer'),
        ([-1] * 6 + [0, 0, 1, 1], '"garden wall" hides all 4 m2'),
        ([-1] * 6 + [0, 1, 1, 1], "walls or buildings hide all 4 m2"),
    ],
)
def test_a_drawn_thing_that_takes_most_is_named(takers, because):
    """What the site file calls by a name is told by it; what a survey shows has but a number."""
    best = option("north", (10.0, 1.0, 1.0), held=10)
    other = option("south", (10.0, 0.6, 1.0), held=6, lower=[0] * 6 + [BY_SOLID] * 4, takers=takers)
    assert because in told(best, other)


def test_weights_choose_the_cause_and_square_metres_tell_it():
    """Four cells of weight three outweigh six of weight one, and are told as 4 m2."""
    best = option("a", (10.0, 1.0, 1.0), held=10)
    other = option("b", (10.0, 0.0, 1.0), upper=[OUTSIDE_ARC] * 6 + [BY_SOLID] * 4)
    assert 'walls or buildings hide 4 of the 10 m2 that only "a" holds from its upper layer' in told(
        best, other
    )
    unweighted = np.ones((1, 10))
    assert '6 of the 10 m2 that only "a" holds lie outside its arc' in told(best, other, weight=unweighted)


def test_without_protected_ground_all_cells_tell():
    """Where nothing is protected the whole ground is compared."""
    best, other = option("a", both=10.0, held=10), option("b", both=4.0, held=4, lower=[0] * 4 + [5] * 6)
    assert 'Option "a" holds 10 m2 of the ground' in told(best, other, weight=np.zeros((1, 10)))
    assert 'before all 6 m2 that only "a" holds' in told(best, other, weight=np.zeros((1, 10)))


def test_ties_and_single_options_claim_no_cause():
    """One option is told alone; equals are told as equals; none is said to be none."""
    one = option("one", (10.0, 0.5, 1.0), held=5)
    assert told(one).endswith("both layers.")
    assert "holds as much" in told(one, option("two", (10.0, 0.5, 1.0), held=5))
    assert "no option" in told()


def test_the_figure_is_named_as_it_is():
    """A layer that passes over a dog passes over a dog."""
    best = option("a", (10.0, 1.0, 1.0), held=10)
    other = option("b", (10.0, 0.5, 1.0), held=5, upper=[0] * 5 + [PASSES_ABOVE] * 5)
    assert "passes over a dog on all 5 m2" in told(best, other, figure="dog")


def test_the_other_mount_is_named_even_where_it_comes_third():
    """When winner and runner-up share a pole, the best from another pole is told with its cause."""
    best = option("a1", (10.0, 0.9, 1.0), held=9, mount="a")
    second = option("a2", (10.0, 0.8, 1.0), held=8, mount="a")
    third = option("b1", (10.0, 0.1, 1.0), held=1, mount="b", lower=[0] + [LANDS_SHORT] * 9)
    text = told(best, second, third)
    assert text.endswith(
        'From other mounts the best is this: "b1" holds 10%,'
        ' because its lower layer meets the ground before all 8 m2 that only "a1" holds.'
    )
    assert "From other mounts" not in told(best, third, second)


@pytest.mark.parametrize(("share", "says"), [(0.6, True), (0.5, False)])
def test_after_the_tolerance_of_aim_that_is_said_first(share, says):
    """Where aim counts the sentence names the tolerance, and how equals are told apart."""
    one, other = option("best set", (10.0, 0.6, 1.0), held=6), option("runner-up", (10.0, share, 1.0), held=6)
    text = steady_why(Steady((one, other), 5.0, 1.0), "person", reasons((one, other), WEIGHT, 1.0))
    start = (
        'Wherever each unit is aimed within 5 degrees of bearing and 1 of tilt: option "best set" holds 60%'
    )
    assert text.startswith(start)
    assert ("Of equals fewer units or less cost go first" in text) is says

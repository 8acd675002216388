"""Ranking by weighted protected ground, and the sentence that says why."""

from pathlib import Path

import numpy as np
from shapes import plane, terrain, unit

from terrain3d.cover.layer_outcomes import BY_SOLID, LANDS_SHORT, OUTSIDE_ARC, PASSES_ABOVE
from terrain3d.cover.option import OptionResult, ProtectedResult
from terrain3d.cover.sighted import sighted
from terrain3d.detector.types import load_type
from terrain3d.ranking.compare import held_m2, held_share, ranked, weighted_share
from terrain3d.ranking.why import Reason, reasons, why

#: One row of ten cells of 1 m2; the last four weigh three times as much.
WEIGHT = np.array([[1.0] * 6 + [3.0] * 4])


def option(name, *protect, both=0.0, held=0, upper=(), lower=(), mount="") -> OptionResult:
    """An option that holds the first `held` of ten cells, with the fates of each layer on all of them.

    `protect` gives (area, fraction, weight) for each protected area.
    """
    areas = tuple(ProtectedResult(f"area {k}", *values) for k, values in enumerate(protect))
    area_m2 = {"both": both, "upper_only": 0.0, "lower_only": 0.0, "dead": 0.0, "outside": 0.0}
    verdicts = np.array([[4] * held + [1] * (10 - held)], np.uint8)
    here = terrain(plane(0.0, extent_m=2.0))
    units = (sighted(here, unit(load_type("one-head-90", Path()), mount=mount)),) if mount else ()
    outcomes = {"upper": np.zeros((1, 10), np.uint8), "lower": np.zeros((1, 10), np.uint8)}
    for layer, codes in (("upper", upper), ("lower", lower)):
        if codes:
            outcomes[layer] = np.array([codes], np.uint8)
    return OptionResult(name, units, verdicts, area_m2, areas, {}, (), {}, outcomes)


def told(*options, figure="person", weight=WEIGHT):
    """The sentence on cells of 1 m2."""
    return why(options, figure, weight, 1.0)


def test_weights_decide():
    """Half of a heavy area beats all of a light one of the same size."""
    heavy = option("heavy", (10.0, 0.5, 5.0), (10.0, 0.0, 1.0))
    light = option("light", (10.0, 0.0, 5.0), (10.0, 1.0, 1.0))
    assert held_m2(heavy) == 25.0
    assert weighted_share(light) == 10 / 60
    assert held_share(light) == 0.5
    assert [o.name for o in ranked((light, heavy))] == ["heavy", "light"]


def test_a_share_of_ground_is_plain_ground():
    """A small heavy area held whole is no large share of the ground; the weighted share says so apart."""
    best = option("a", (4.0, 1.0, 100.0), (200.0, 0.0, 1.0), held=1)
    other = option("b", (4.0, 0.0, 100.0), (200.0, 0.5, 1.0), held=0)
    assert 'Option "a" holds 2% (67% by weight) of the protected ground' in told(best, other)
    assert weighted_share(option("c", (4.0, 1.0, 3.0), (200.0, 0.0, 3.0))) is None


def test_without_protected_ground_all_ground_counts():
    """Nothing protected: the option that holds more ground wins, and no share is told."""
    less, more = option("less", both=10.0), option("more", both=11.0)
    assert ranked((less, more))[0].name == "more"
    assert held_share(more) is None


def test_equals_keep_their_order():
    """Two options that hold the same stay as the site file has them."""
    assert [o.name for o in ranked((option("b", both=3.0), option("a", both=3.0)))] == ["b", "a"]


def test_the_sentence_names_what_takes_the_ground_that_the_winner_holds():
    """Ground that both lose explains nothing, however much of it there is."""
    best = option("north", (10.0, 0.6, 1.0), held=6)
    other = option(
        "south", (10.0, 0.2, 1.0), held=2, upper=[0] * 6 + [OUTSIDE_ARC] * 4, lower=[0, 0] + [5] * 8
    )
    assert told(best, other) == (
        'Option "north" holds 60% of the protected ground with both layers; "south" holds 20%,'
        " because its lower layer meets the ground before 4 m2 of that ground."
    )


def test_weights_choose_the_cause_and_square_metres_tell_it():
    """Four cells of weight three outweigh six of weight one, and are told as 4 m2."""
    best = option("a", (10.0, 1.0, 1.0), held=10)
    other = option("b", (10.0, 0.0, 1.0), upper=[OUTSIDE_ARC] * 6 + [BY_SOLID] * 4)
    assert "walls or buildings hide 4 m2 of that ground from its upper layer" in told(best, other)
    unweighted = np.ones((1, 10))
    assert "6 m2 of that ground lie outside its arc" in told(best, other, weight=unweighted)


def test_without_protected_ground_all_cells_tell():
    """Where nothing is protected the whole ground is compared."""
    best, other = option("a", both=10.0, held=10), option("b", both=4.0, held=4, lower=[0] * 4 + [5] * 6)
    assert 'Option "a" holds 10 m2 of the ground' in told(best, other, weight=np.zeros((1, 10)))
    assert "before 6 m2 of that ground" in told(best, other, weight=np.zeros((1, 10)))


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
    assert "passes over a dog on 5 m2" in told(best, other, figure="dog")


def test_the_other_mount_is_named_even_where_it_comes_third():
    """When winner and runner-up share a pole, the best from another pole is told with its cause."""
    best = option("a1", (10.0, 0.9, 1.0), held=9, mount="a")
    second = option("a2", (10.0, 0.8, 1.0), held=8, mount="a")
    third = option("b1", (10.0, 0.1, 1.0), held=1, mount="b", lower=[0] + [LANDS_SHORT] * 9)
    text = told(best, second, third)
    assert text.endswith(
        'From other mounts the best is this: "b1" holds 10%,'
        " because its lower layer meets the ground before 8 m2 of that ground."
    )
    assert "From other mounts" not in told(best, third, second)


def test_the_reasons_are_what_the_sentence_says():
    """Option, layer, cause and square metres of both rivals; of one that holds as much its name alone."""
    best = option("a1", (10.0, 0.9, 1.0), held=9, mount="a")
    second = option("a2", (10.0, 0.9, 1.0), held=9, mount="a")
    third = option("b1", (10.0, 0.1, 1.0), held=1, mount="b", lower=[0] + [LANDS_SHORT] * 9)
    assert reasons((best, second, third), WEIGHT, 1.0) == (
        Reason("a2"),
        Reason("b1", "lower", "lands short", 8.0),
    )
    assert reasons((best,), WEIGHT, 1.0) == ()

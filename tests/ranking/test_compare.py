"""Ranking by weighted protected ground, and what costs the others most."""

from ranked_options import WEIGHT, option

from terrain3d.cover.layer_outcomes import LANDS_SHORT
from terrain3d.ranking.compare import held_m2, held_share, ranked, weighted_share
from terrain3d.ranking.reasons import Reason, reasons


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
    assert held_share(best) == 4 / 204
    assert weighted_share(best) == 400 / 600
    assert weighted_share(option("c", (4.0, 1.0, 3.0), (200.0, 0.0, 3.0))) is None


def test_without_protected_ground_all_ground_counts():
    """Nothing protected: the option that holds more ground wins, and no share is told."""
    less, more = option("less", both=10.0), option("more", both=11.0)
    assert ranked((less, more))[0].name == "more"
    assert held_share(more) is None


def test_equals_keep_their_order():
    """Two options that hold the same stay as the site file has them."""
    assert [o.name for o in ranked((option("b", both=3.0), option("a", both=3.0)))] == ["b", "a"]


def test_the_reasons_are_what_the_sentence_says():
    """Option, layer, cause and square metres of both rivals; of one that holds as much its name alone."""
    best = option("a1", (10.0, 0.9, 1.0), held=9, mount="a")
    second = option("a2", (10.0, 0.9, 1.0), held=9, mount="a")
    third = option("b1", (10.0, 0.1, 1.0), held=1, mount="b", lower=[0] + [LANDS_SHORT] * 9)
    assert reasons((best, second, third), WEIGHT, 1.0) == (
        Reason("a2"),
        Reason("b1", "lower", "lands short", 8.0, of_m2=8.0),
    )
    assert reasons((best,), WEIGHT, 1.0) == ()

"""Ranking by weighted protected ground, and the sentence that says why."""

from pathlib import Path

import numpy as np
from shapes import unit

from terrain3d.choose.compare import held_m2, held_share, ranked
from terrain3d.choose.why import why
from terrain3d.cover.option import OptionResult, ProtectedResult
from terrain3d.detector.types import load_type


def option(name, *protect, both=0.0, lost=None, weighted=None, causes=None, mount="") -> OptionResult:
    """An option with given shares: (area, fraction, weight) for each protected area."""
    areas = tuple(ProtectedResult(f"area {k}", *values) for k, values in enumerate(protect))
    area_m2 = {"both": both, "upper_only": 0.0, "lower_only": 0.0, "dead": 0.0, "outside": 0.0}
    lost = lost or {}
    verdicts = np.zeros((2, 2), np.uint8)
    units = (unit(load_type("one-head-90", Path()), mount=mount),) if mount else ()
    return OptionResult(name, units, verdicts, area_m2, areas, causes or {}, (), lost, weighted or lost)


def test_weights_decide():
    """Half of a heavy area beats all of a light one of the same size."""
    heavy = option("heavy", (10.0, 0.5, 5.0), (10.0, 0.0, 1.0))
    light = option("light", (10.0, 0.0, 5.0), (10.0, 1.0, 1.0))
    assert held_m2(heavy) == 25.0
    assert held_share(light) == 10 / 60
    assert [o.name for o in ranked((light, heavy))] == ["heavy", "light"]


def test_without_protected_ground_all_ground_counts():
    """Nothing protected: the option that holds more ground wins, and no share is told."""
    less, more = option("less", both=10.0), option("more", both=11.0)
    assert ranked((less, more))[0].name == "more"
    assert held_share(more) is None


def test_equals_keep_their_order():
    """Two options that hold the same stay as the site file has them."""
    assert [o.name for o in ranked((option("b", both=3.0), option("a", both=3.0)))] == ["b", "a"]


def test_the_sentence_names_the_cause_that_costs_most_beyond_the_winner():
    """A loss both share explains nothing; the difference does."""
    best = option("north", (10.0, 0.9, 1.0), lost={"upper": {"outside arc": 30.0}})
    other = option(
        "south", (10.0, 0.4, 1.0), lost={"upper": {"outside arc": 31.0}, "lower": {"lands short": 5.0}}
    )
    assert why((best, other), "person") == (
        'Option "north" holds 90% of the protected ground with both layers; "south" holds 40%,'
        " because its lower layer meets the ground too early on 5 m2 more."
    )


def test_ties_and_single_options_claim_no_cause():
    """One option is told alone; equals are told as equals; none is said to be none."""
    one = option("one", (10.0, 0.5, 1.0))
    assert why((one,), "person").endswith("both layers.")
    assert "holds as much" in why((one, option("two", (10.0, 0.5, 1.0))), "person")
    assert "no option" in why((), "person")


def test_the_figure_is_named_as_it_is():
    """A layer that passes over a dog passes over a dog."""
    best = option("a", (10.0, 0.9, 1.0))
    other = option("b", (10.0, 0.4, 1.0), lost={"upper": {"passes above the figure": 5.0}})
    assert "passes over a dog on 5 m2" in why((best, other), "dog")


def test_weights_choose_the_cause_and_square_metres_tell_it():
    """The cause on the heavier ground is named, with the ground it costs, not the ground times its weight."""
    best = option("a", (10.0, 0.9, 1.0))
    other = option(
        "b",
        (10.0, 0.4, 1.0),
        lost={"upper": {"outside arc": 6.0}, "lower": {"lands short": 4.0}},
        weighted={"upper": {"outside arc": 6.0}, "lower": {"lands short": 12.0}},
    )
    assert "lower layer meets the ground too early on 4 m2 more" in why((best, other), "person")


def test_the_other_mount_is_named_even_where_it_comes_third():
    """When winner and runner-up share a pole, the best from another pole is told with its cause."""
    best = option("a1", (10.0, 0.9, 1.0), mount="a")
    second = option("a2", (10.0, 0.8, 1.0), mount="a", lost={"upper": {"outside arc": 1.0}})
    third = option("b1", (10.0, 0.1, 1.0), mount="b", lost={"lower": {"lands short": 8.0}})
    text = why((best, second, third), "person")
    assert text.endswith(
        'From other mounts the best is this: "b1" holds 10%,'
        " because its lower layer meets the ground too early on 8 m2 more."
    )
    assert "From other mounts" not in why((best, third, second), "person")

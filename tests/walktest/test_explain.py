"""What answers say, against Bayes worked by hand; walks chosen, against every set; the order, against every
order."""

import itertools

import numpy as np
import pytest

from terrain3d.fixing.places import Taped
from terrain3d.sentences.walktest import reading_lines, unit_answer
from terrain3d.walktest.choose import least_walk, likelihood, told_bits
from terrain3d.walktest.explain import explain
from terrain3d.walktest.faults import CAUSES, Cause, Guesses
from terrain3d.walktest.plan import WalkPoint
from terrain3d.walktest.read import UnitReading, Walked, WalkReading
from terrain3d.walktest.spots import Proof


def guesses(causes: list[Cause], values: list[float], weights: list[float]) -> Guesses:
    """Guesses of which nothing but cause, value and weight is asked."""
    n, none = len(causes), np.zeros(len(causes))
    cause = np.array([CAUSES.index(one) for one in causes])
    zero = np.zeros(n, np.int64)
    return Guesses(
        cause, np.array(values, float), np.array(weights, float), none, none, none, none, zero - 1, zero,
        np.zeros(1), np.ones(1), ((0, 0.0),),
    )  # fmt: skip


def test_bayes_by_hand():
    """A rule of school: 0.6 and 0.4 before, answers 0.9 x 0.1 and 0.9 x 0.9 likely: 1/7 and 6/7 after."""
    one = guesses([Cause.AS_SET, Cause.TILT], [0.0, 2.0], [0.6, 0.4])
    lights = np.array([[True, True], [True, False]])
    seen = np.array([True, False])
    assert likelihood(lights, seen, 0.1) == pytest.approx([0.09 / 0.81, 1.0])
    told = explain(one, lights, seen, 0.1)
    assert told.causes[0].cause is Cause.TILT
    assert told.causes[0].chance == pytest.approx(0.324 / (0.324 + 0.054))
    assert told.is_told
    assert sum(cause.chance for cause in told.causes) == pytest.approx(1)


def test_answers_that_nothing_explains():
    """Four hundred that differ from all guesses say as little as one that does."""
    one = guesses([Cause.AS_SET, Cause.TILT], [0.0, 2.0], [0.6, 0.4])
    told = explain(one, np.zeros((2, 400), bool), np.ones(400, bool), 0.05)
    assert [cause.chance for cause in told.causes] == pytest.approx([0.6, 0.4])


def test_what_a_cause_is_off_by():
    """Its middle and the ends of 90 % are quantiles of its own guesses, weighed."""
    values = np.linspace(1.0, 3.0, 201)
    one = guesses([Cause.TILT] * 201 + [Cause.AS_SET], [*values, 0.0], [1 / 202] * 202)
    lights = np.array([[True]] * 201 + [[False]])
    (tilt, _) = explain(one, lights, np.array([True]), 0.01).causes
    assert (tilt.low, tilt.value, tilt.high) == pytest.approx((1.1, 2.0, 2.9), abs=0.02)


@pytest.mark.parametrize(
    ("causes", "words"),
    [
        ([Cause.TILT, Cause.HEIGHT], "these results do not tell tilt from height: "),
        ([Cause.TILT, Cause.HEIGHT, Cause.ROLL], "these results do not tell tilt, height and roll apart: "),
        (
            [Cause.AS_SET, Cause.HEIGHT],
            "do not tell yet whether anything is off: all is as set (60 %) or it hangs",
        ),
    ],
)
def test_what_is_not_told_is_said(causes, words):
    """Causes that explain alike are named beside each other, with how likely each is."""
    one = guesses(causes, [2.0] * len(causes), [0.6, 0.4] if len(causes) == 2 else [0.4, 0.35, 0.25])
    told = explain(one, np.ones((len(causes), 1), bool), np.array([True]), 0.05)
    assert words in unit_answer(UnitReading("D1", (), (), told, ()))


def test_a_walk_that_is_to_be_made_again_says_so():
    """One at a walked place and the same way is that point again; one the other way, or elsewhere, is new."""

    def point(number: int, x: float, towards: float) -> WalkPoint:
        taped = Taped("post", 3.0, 3.0, 90.0)
        return WalkPoint(number, "D1", x, 2.0, towards, 2.0, "person", 1.7, True, Proof("edge"), taped)

    one = guesses([Cause.TILT, Cause.HEIGHT], [2.0, 2.0], [0.6, 0.4])
    told = explain(one, np.ones((2, 1), bool), np.array([True]), 0.05)
    to_do = (point(13, 0.1, 357.0), point(14, 0.1, 177.0), point(15, 1.0, 0.0))
    unit = UnitReading("D1", (Walked(point(3, 0.0, 2.0), True),), (), told, to_do)
    lines = [line for line in reading_lines(WalkReading("one", (unit,))) if "Next:" in line]
    assert ["That is point 3 again." in line for line in lines] == [True, False, False]


def test_alike_causes_are_told_together():
    """Two causes with the same answers keep their chances, and neither is named."""
    one = guesses([Cause.TILT, Cause.HEIGHT, Cause.AS_SET], [2.0, 0.05, 0.0], [0.3, 0.3, 0.4])
    lights = np.array([[True, True], [True, True], [False, False]])
    told = explain(one, lights, np.array([True, True]), 0.05)
    assert not told.is_told
    assert {cause.cause for cause in told.likely} == {Cause.TILT, Cause.HEIGHT}


def test_what_is_left_out_is_little():
    """Where none is sure, those are told that make up nine tenths; where one is, it alone."""
    causes = [Cause.AS_SET, Cause.TILT, Cause.GROUND, Cause.ROLL]
    for weights, count in (([0.5, 0.33, 0.09, 0.08], 3), ([0.82, 0.1, 0.05, 0.03], 1)):
        one = guesses(causes, [0.0, 2.0, 0.0, 2.0], weights)
        told = explain(one, np.ones((4, 1), bool), np.array([True]), 0.05)
        assert [cause.cause for cause in told.likely] == causes[:count]


@pytest.mark.parametrize("seed", range(5))
def test_bits_are_mutual_information(seed):
    """I(class; answer) = sum p log2 p / (p p) over the joint table, summed here cell by cell."""
    rng = np.random.default_rng(seed)
    n, m, wrong = 30, 6, 0.07
    weights = rng.dirichlet(np.ones(n))
    lights, classes = rng.random((n, m)) < 0.5, rng.integers(0, 4, n)
    bits = told_bits(weights[None, :], lights, classes, wrong)
    for walk in range(m):
        yes = np.where(lights[:, walk], 1 - wrong, wrong)
        table = np.array([[(weights * p)[classes == z].sum() for p in (yes, 1 - yes)] for z in range(4)])
        outer = table.sum(axis=1, keepdims=True) * table.sum(axis=0)
        inside = table > 0
        assert bits[walk] == pytest.approx(
            (table[inside] * np.log2(table[inside] / outer[inside])).sum(), abs=2e-6
        )


@pytest.mark.parametrize("seed", range(12))
def test_the_order_walks_least(seed):
    """Against every order of six places; the way that is found is the shortest or within 3 % of it."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-10, 10, (2, 6))

    def length(order) -> float:
        way = np.array([[0, 0], *([x[k], y[k]] for k in order)], float)
        return float(np.hypot(*np.diff(way, axis=0).T).sum())

    found = least_walk(x, y, (0.0, 0.0))
    assert sorted(found) == list(range(6))
    assert length(found) <= 1.03 * min(length(order) for order in itertools.permutations(range(6)))

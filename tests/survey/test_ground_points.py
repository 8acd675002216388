"""Ground as classed and as filtered: on made scenes with known answers."""

import os
import subprocess
import sys

import numpy as np
import pytest

from terrain3d.survey.classes import Treatment
from terrain3d.survey.ground_points import filtered_ground, ground_points


def hillside(slope: float, seed: int = 0, terrace_m: float = 0.0):
    """A slope with a flat-eaved house of 10 x 8 m, 20 points a square metre, 3 cm noise."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-20, 20, (32_000, 2))
    x, y = xy.T
    roof = (np.abs(x) < 5) & (np.abs(y) < 4)
    ground = slope * x + terrace_m * (y > 10)
    z = np.where(roof, 5 * slope + 5.5 - 0.5 * np.abs(y), ground) + rng.normal(0, 0.03, x.size)
    return np.column_stack([xy, z]), roof


@pytest.mark.parametrize("slope", [0.0, 0.2, 0.6])
def test_the_filter_does_not_mind_the_slope(slope):
    """All of the roof goes, all of the ground stays, level or at 60 %."""
    xyz, roof = hillside(slope)
    ground = filtered_ground(xyz)
    assert ground[roof].mean() < 0.002
    assert ground[~roof].mean() > 0.998


@pytest.mark.parametrize("terrace_m", [1.0, 2.0, 3.0])
def test_a_terrace_keeps_its_ground(terrace_m):
    """A step, not a roof: at most a strip at its top edge is taken for something standing."""
    xyz, roof = hillside(0.2, terrace_m=terrace_m)
    ground = filtered_ground(xyz)
    away = np.abs(xyz[:, 1] - 10) > 1.0
    assert ground[~roof & away].mean() > 0.995
    assert ground[~roof & ~away].mean() > 0.6


def test_the_filter_is_silent_and_does_the_same_twice(capfd):
    """Its library prints; results of ours may be going to stdout."""
    xyz, _ = hillside(0.1)
    first, again = filtered_ground(xyz), filtered_ground(xyz)
    assert first.tobytes() == again.tobytes()
    assert capfd.readouterr().out == ""


def test_classes_are_believed_and_their_absence_is_told():
    """Class 2, 10 and 11 are ground, 9 is not; without class 2 a doubt says that ground was filtered."""
    xyz, roof = hillside(0.0)
    classes = np.where(roof, 6, 2).astype(np.uint8)
    classes[:3] = (9, 10, 11)
    ground, _, doubts = ground_points(xyz, classes)
    assert ground[:3].tolist() == [False, True, True]
    assert (ground == (classes != 6))[3:].all()
    assert doubts == ()
    _, _, doubts = ground_points(xyz, np.zeros(len(xyz), np.uint8))
    assert "filtered" in doubts[0]


def test_ground_that_is_flat_to_the_millimetre_is_told():
    """With nothing on it, it may be a floor; no land is so flat, and heights above ground are."""
    x, y = np.random.default_rng(0).uniform(0, 20, (2, 400))
    for bump, told in ((0.0, True), (0.02, False)):
        xyz = np.column_stack([x, y, bump * np.sin(x)])
        _, _, doubts = ground_points(xyz, np.full(400, 2, np.uint8))
        assert any("flat to the millimetre, 0 m throughout, as no land is" in one for one in doubts) == told


def test_treat_as_ground_makes_ground():
    """A roof inside the outline is ground, the rest of it is not."""
    xyz, roof = hillside(0.0)
    classes = np.where(roof, 6, 2).astype(np.uint8)
    outline = np.array([[0.0, -10], [10, -10], [10, 10], [0, 10]])
    ground, _, _ = ground_points(xyz, classes, [Treatment(outline, "ground")])
    east = xyz[:, 0] > 0
    assert ground[roof & east].all()
    assert not ground[roof & ~east].any()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other libraries say it in other words")
def test_threads_of_the_filter_yield_while_they_wait():
    """The library itself says how often it looks before it yields: not once, as GOMP_SPINCOUNT has it.

    That is libgomp's manual under OMP_WAIT_POLICY and GOMP_SPINCOUNT (from memory); it tells its settings
    where OMP_DISPLAY_ENV is "verbose".
    """
    code = (
        "import numpy as np\nfrom terrain3d.survey.ground_points import filtered_ground\n"
        "filtered_ground(np.random.default_rng(0).random((100, 3)) * [30, 30, 1])"
    )
    told = {key: value for key, value in os.environ.items() if key != "OMP_WAIT_POLICY"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**told, "OMP_DISPLAY_ENV": "verbose"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "GOMP_SPINCOUNT = '0'" in done.stderr


@pytest.mark.parametrize("deck_class", [10, 11])
def test_a_deck_of_rail_or_road_is_no_ground_and_what_leads_to_it_is(deck_class):
    """A cut 5 m deep with sides of 1 in 1 and a bridge over it: its deck stands, its ends are ground.

    Class 11 is road surface, 10 rail, 17 a bridge deck (LAS 1.4 R15, table 17), but many class decks as road.
    """
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-30, 30, (2, 36_000))

    def land(x):
        return -np.clip(10 - np.abs(x), 0, 5)

    road = np.abs(y) < 3
    z = np.where(road, 0.0, land(x)) + rng.normal(0, 0.03, x.size)
    classes = np.where(road, deck_class, 2).astype(np.uint8)
    ground, off, doubts = ground_points(np.column_stack([x, y, z]), classes)
    over = road & (np.abs(x) < 8)
    assert ground[over & (np.abs(y) > 0.3)].mean() < 0.02
    assert ground[road & (np.abs(x) > 12)].mean() > 0.99
    assert ground[~road].all()
    assert not off.any()
    assert any("of classes 10 and 11 (rail, road) off the ground beside" in doubt for doubt in doubts)


def test_a_road_on_a_slope_and_in_a_cutting_is_ground():
    """Rail and road that lie on the land, 40 % steep across or a metre lower, stay and no word is said."""
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-20, 20, (2, 16_000))
    for z in (0.4 * y, np.where(np.abs(y) < 3, -1.0, -1.0 + np.clip((np.abs(y) - 3) / 1.5, 0, 1))):
        xyz = np.column_stack([x, y, z + rng.normal(0, 0.03, x.size)])
        classes = np.where(np.abs(y) < 2, 11, 2).astype(np.uint8)
        ground, _, doubts = ground_points(xyz, classes)
        assert ground.mean() > 0.999
        assert doubts == ()

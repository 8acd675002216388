"""Draws: no error gives the plain map, the same seed the same numbers, whoever draws them."""

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapes
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import terrain

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.ranking.compare import held_m2, held_share, ranked
from terrain3d.sentences.uncertainty import held_words, ranking_words
from terrain3d.terrain import Ground
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty, fixed_by_hand, run_monte_carlo

NONE = ErrorSizes(0.0, 5.0, 0.0, 0.0, 0.0)
SOME = ErrorSizes(0.08, 4.0, 0.03, 3.0, 1.0)


def numbers(uncertainty: Uncertainty) -> list[bytes]:
    """Everything that was counted, as bytes."""
    arrays = [array for one in uncertainty.options for array in (one.chance, one.held_m2, one.held_share)]
    return [array.tobytes() for array in arrays] + [
        repr((uncertainty.order_share, uncertainty.best_holds)).encode()
    ]


def test_no_error_gives_the_plain_map(site, options):
    """Without errors every cell is held always or never, just as in the verdicts, and so are the shares."""
    uncertainty = run_monte_carlo(site, options, 1.7, NONE, draws=3)
    for found, option in zip(uncertainty.options, options, strict=True):
        plain = np.where(option.verdicts == UNKNOWN, np.nan, option.verdicts == Verdict.BOTH)
        np.testing.assert_array_equal(found.chance, plain.astype(np.float32))
        assert found.chance.dtype == np.float32
        assert found.middle == found.worst == pytest.approx(held_share(option), abs=1e-12)
        np.testing.assert_allclose(found.held_m2, held_m2(option))
    assert uncertainty.order_share == uncertainty.best_holds == 1.0
    assert [o.best_share for o in uncertainty.options] == [float(o is ranked(options)[0]) for o in options]


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_workers_change_no_number(site, options, workers):
    """However many threads draw, the bytes are the same."""
    again = run_monte_carlo(site, options, 1.7, SOME, draws=12, seed=4, workers=workers)
    assert numbers(again) == numbers(run_monte_carlo(site, options, 1.7, SOME, draws=12, seed=4))


def test_another_seed_other_draws(site, options):
    """The seed counts, and more draws begin with the same ones."""
    few = run_monte_carlo(site, options, 1.7, SOME, draws=6, seed=4)
    more = run_monte_carlo(site, options, 1.7, SOME, draws=9, seed=4)
    other = run_monte_carlo(site, options, 1.7, SOME, draws=6, seed=5)
    for a, b, c in zip(few.options, more.options, other.options, strict=True):
        np.testing.assert_array_equal(a.held_m2, b.held_m2[:6])
        assert not np.array_equal(a.held_m2, c.held_m2)


def test_options_stand_on_the_same_moved_ground(site, options):
    """Without errors of fixing, two options of the same units hold the same in every draw."""
    twins = (options[0], replace(options[0], name="the same again"))
    uncertainty = run_monte_carlo(site, twins, 1.7, ErrorSizes(0.1, 4.0, 0.0, 0.0, 0.0), draws=8)
    first, second = uncertainty.options
    np.testing.assert_array_equal(first.chance, second.chance)
    assert np.ptp(first.held_m2) > 0
    # Of equals the first in the site file is the better one, as in the ranking.
    assert (first.best_share, second.best_share) == (1.0, 0.0)


def test_errors_of_fixing_belong_to_the_unit(site, options):
    """Two options of the same unit are each fixed by hand: they differ from draw to draw."""
    twins = (options[0], replace(options[0], name="the same again"))
    first, second = run_monte_carlo(site, twins, 1.7, ErrorSizes(0.0, 4.0, 0.05, 5.0, 2.0), draws=8).options
    assert not np.array_equal(first.held_m2, second.held_m2)


def test_only_the_part_in_reach_is_drawn(site, options):
    """Ground far from the units changes nothing but is counted in the shares."""
    ground = site.ground
    wide = np.full((ground.z.shape[0] + 80, ground.z.shape[1] + 40), 3.0)
    wide[60:-20, 30:-10] = ground.z
    large = replace(site, ground=Ground(ground.x0 - 15.0, ground.y0 - 30.0, ground.cell_m, wide))
    judged = tuple(
        shapes.judged(large, *option.detectors, combine=option.combine, name=option.name)
        for option in options
    )
    uncertainty = run_monte_carlo(large, judged, 1.7, NONE, draws=2)
    for found, option in zip(uncertainty.options, judged, strict=True):
        plain = np.where(option.verdicts == UNKNOWN, np.nan, option.verdicts == Verdict.BOTH)
        np.testing.assert_array_equal(found.chance, plain.astype(np.float32))


def test_progress_runs_to_the_end(site, options):
    """Told after each draw, once, never backwards."""
    told = []
    run_monte_carlo(site, options[:1], 1.7, SOME, draws=5, progress=told.append)
    assert told == [0.2, 0.4, 0.6, 0.8, 1.0]


def test_an_interrupt_ends_it(site, options):
    """Ctrl-C while it draws leaves no thread behind and is handed on."""

    def interrupt(_share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_monte_carlo(site, options, 1.7, SOME, draws=500, progress=interrupt)
    assert not [one for one in threading.enumerate() if one.name.startswith("uncertainty")]


def test_nothing_protected_counts_all_ground(site, options):
    """Without protected ground square metres are told, and shares are not."""
    bare = replace(site, protect=())
    judged = shapes.judged(bare, *options[0].detectors, name="south pole")
    uncertainty = run_monte_carlo(bare, (judged,), 1.7, NONE, draws=2)
    (found,) = uncertainty.options
    assert found.held_share is None
    assert found.middle == pytest.approx(judged.area_m2["both"])
    assert "m2 of ground or more" in held_words(found)
    assert ranking_words(uncertainty) == ""


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.floats(0, 1), st.floats(0, 45), st.floats(0, 15))
def test_a_unit_fixed_by_hand_stays_possible(seed, height_m, bearing_deg, tilt_deg):
    """However badly a unit is fixed, it hangs above the ground and within what a head may tilt."""
    site = terrain(Ground(-2.0, -2.0, 1.0, np.full((5, 5), 7.0)))
    one = Detector("D1", load_type("one-head-90", Path()), "pole", 0.0, 0.0, 6.9, 0.8, 350.0, -29.0, 3.0)
    error_sizes = ErrorSizes(0.1, 5.0, height_m, bearing_deg, tilt_deg)
    fixed = fixed_by_hand(site.ground, one, error_sizes, np.random.default_rng(seed))
    assert fixed.ground_z == 7.0
    assert fixed.height_m >= 0.05
    assert 0 <= fixed.bearing_deg < 360
    assert -30 <= fixed.tilt_deg <= 30
    assert -30 <= fixed.roll_deg <= 30
    assert fixed.range_m == one.range_m


def test_units_err_as_widely_as_stated():
    """Height, bearing, tilt and roll of 4000 units: standard deviations within four standard errors."""
    ground = Ground(-2.0, -2.0, 1.0, np.zeros((5, 5)))
    one = Detector("D1", load_type("one-head-90", Path()), "pole", 0.0, 0.0, 0.0, 1.0, 180.0)
    rng = np.random.default_rng(0)
    fixed = [fixed_by_hand(ground, one, ErrorSizes(0.1, 5.0, 0.02, 2.5, 1.0), rng) for _ in range(4000)]
    for key, sigma in (("height_m", 0.02), ("bearing_deg", 2.5), ("tilt_deg", 1.0), ("roll_deg", 1.0)):
        found = np.array([getattr(f, key) for f in fixed])
        assert found.std() == pytest.approx(sigma, rel=4 / np.sqrt(2 * 4000))
        assert found.mean() == pytest.approx(getattr(one, key), abs=4 * sigma / np.sqrt(4000))


def test_middle_and_worst_are_of_the_draws():
    """The middle is the median; the worst is what one draw in twenty does not better."""
    shares = np.arange(1, 101) / 100
    one = OptionUncertainty("pole", np.zeros((1, 1), np.float32), shares * 40, shares, 1.0)
    assert (one.middle, one.worst, one.mean) == pytest.approx((0.505, 0.05, 0.505))

"""Every share of protected ground is of all of it: what is not known is not held, wherever it is told."""

import json

import numpy as np
import pytest
from shapes import plane, terrain, unit

from terrain3d.conditions.heat import held_by_temperature
from terrain3d.detector.types import load_type
from terrain3d.job import judge_units
from terrain3d.opened import site_of
from terrain3d.paper.results import results_values
from terrain3d.ranking.compare import held_share, weighted_share
from terrain3d.search.target import target_of
from terrain3d.sentences.options import one_line, protected_words
from terrain3d.sentences.why import why
from terrain3d.show.sections import protected_sections
from terrain3d.site import HeatSetting
from terrain3d.terrain import Area
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import run_monte_carlo

ONE = load_type("one-head-90")


@pytest.fixture(scope="module")
def outcome():
    """A yard of 40 m2 ahead, 8 of them not known; a rim of 20 m2, more than half of it off the survey."""
    on = plane(0.0)
    on.z[np.ix_((on.ys > 6) & (on.ys < 8), (on.xs > -2) & (on.xs < 2))] = np.nan
    yard = Area("yard", np.array([[-2, 2], [2, 2], [2, 12], [-2, 12.0]]))
    rim = Area("rim", np.array([[-2, 13], [2, 13], [2, 18], [-2, 18.0]]), 3.0)
    site = site_of(terrain(on, protect=(yard, rim)))
    return judge_units(site, {"ahead": (unit(ONE),)})


def test_the_whole_is_all_ground_of_the_outline(outcome):
    """40 and 20 m2, 8 and 12 of them not known; what is held is divided by all of it."""
    yard, rim = outcome.options[0].protect
    assert (yard.area_m2, yard.unknown_m2) == pytest.approx((40.0, 8.0))
    assert (rim.area_m2, rim.unknown_m2) == pytest.approx((20.0, 12.0))
    held_m2 = yard.both_fraction * 40
    assert 28 < held_m2 < 32
    assert sum(loss.area_m2 for loss in yard.lost_to) + held_m2 == pytest.approx(32.0)
    assert outcome.options[0].unknown_m2 == pytest.approx(20.0)


def test_all_that_tell_a_share_tell_the_same(outcome):
    """Ranking, results, sentences, pages, the search, heat and doubt divide by the same 60 m2."""
    (option,) = outcome.options
    held_m2 = option.protect[0].both_fraction * 40
    share = held_m2 / 60
    assert held_share(option) == pytest.approx(share)
    assert weighted_share(option) == pytest.approx(held_m2 / (40 + 3 * 20))
    (values,) = json.loads(json.dumps(results_values(outcome)))["options"]
    assert values["protected_share"] == pytest.approx(share, abs=1e-6)
    assert [area["unknown_m2"] for area in values["protect"]] == pytest.approx([8.0, 12.0])
    assert values["unknown_m2"] == pytest.approx(20.0)
    for text in (one_line(outcome, option), why(outcome)):
        assert f"{share:.0%}" in text
    assert f"hold {option.protect[0].both_fraction:.0%}" in protected_words(option.protect[0])
    assert "8.0 m² not known" in protected_words(option.protect[0])
    (section,) = protected_sections((option,))
    assert f"{option.protect[0].both_fraction:.0%} of 40 m²" in repr(section)
    target = target_of(outcome.terrain, 1.7)
    cell_m2 = outcome.terrain.ground.cell_m**2
    assert target.whole * cell_m2 == pytest.approx(40 + 3 * 20)
    assert target.weight.sum() * cell_m2 == pytest.approx(32 + 3 * 8)
    curve = held_by_temperature(outcome.terrain, option, 1.7, HeatSetting(grounds=(0.0, 10.0))).curve
    assert curve.protected_share[0] == pytest.approx(share)
    surely = ErrorSizes(0.0, 10.0, 0.0, 0.0, 0.0)
    (drawn,) = run_monte_carlo(outcome.terrain, outcome.options, 1.7, surely, draws=1, workers=1).options
    assert drawn.held_share == pytest.approx(share)

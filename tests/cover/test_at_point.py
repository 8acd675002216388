"""What layers do at one place, against closed forms on planes and the law of leaves."""

import math

import numpy as np
import pytest
from shapes import box, judged, leaves, plane, terrain, unit

from terrain3d.cover.at_point import place_at
from terrain3d.cover.layer_outcomes import BROKEN, BY_FOLIAGE, BY_SOLID, LANDS_SHORT, PASSES_ABOVE
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.types import load_type

ONE, TWO = load_type("one-head-90"), load_type("two-head-180")
#: A unit of nominal height 1 m set to 12 m has its lower axis so steep (the design page, 3).
SLOPE = 1.0 / 12.0


def at(site, *units, x=0.0, y=6.0, combine="any"):
    return place_at(site, units, combine, x, y, 1.7)


def layers(place, number=0):
    (head,) = place.units[number].heads
    return {one.layer: one for one in head.layers}


@pytest.mark.parametrize("y", [3.0, 6.0, 9.0])
@pytest.mark.parametrize("rise", [-0.12, 0.0, 0.08])
def test_axes_pass_as_high_as_a_ruler_says(rise, y):
    """Over a plane of slope s the upper axis passes h - s d over the ground, the lower one h - (p + s) d."""
    found = layers(at(terrain(plane(rise)), unit(ONE), y=y))
    assert found["upper"].passes_m == pytest.approx(1.0 - rise * y, abs=1e-9)
    assert found["lower"].passes_m == pytest.approx(1.0 - (SLOPE + rise) * y, abs=1e-9)
    half = math.tan(math.radians(1.5)) * y
    assert found["upper"].high_m - found["upper"].low_m == pytest.approx(2 * half, abs=1e-9)


def test_a_layer_lands_where_the_closed_form_has_it():
    """On ground rising by s the lower layer lands at h / (tan p + s) (the design page, 3)."""
    found = layers(at(terrain(plane(0.15)), unit(ONE), y=8.0))
    assert found["lower"].outcome == LANDS_SHORT
    assert found["lower"].met_m == pytest.approx(1.0 / (SLOPE + 0.15), abs=0.01)
    assert found["upper"].met_m is None or found["upper"].outcome != BROKEN


def test_a_layer_clears_the_figure_on_falling_ground():
    """On ground falling by s the upper layer clears a figure of height H past (H - h) / s = 7 m."""
    site = terrain(plane(-0.10))
    assert layers(at(site, unit(ONE), y=6.8))["upper"].outcome == BROKEN
    over = layers(at(site, unit(ONE), y=7.2))["upper"]
    assert over.outcome == PASSES_ABOVE
    assert over.passes_m == pytest.approx(1.72, abs=1e-9)


def test_a_wall_is_named_with_its_distance():
    """A wall 4 m away, as high as a metre and a half, takes both layers behind it."""
    wall = box((-3, 4.0, -1), (3, 4.2, 1.5))
    place = at(terrain(plane(0.0), wall), unit(ONE), y=7.0)
    for layer in layers(place).values():
        assert (layer.outcome, layer.taker) == (BY_SOLID, "box")
        assert layer.met_m == pytest.approx(4.0, abs=1e-6)
    assert place.code == Verdict.DEAD


def test_leaves_let_through_what_the_law_says():
    """Beer-Lambert with leaves that hang every way: exp(-0.5 x 2 m2/m3 x 1 m) = 0.37 of the light is left."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 4) & (y < 5), 0.0, 2.0, 2.0)
    place = at(terrain(on, None, hedge), unit(ONE), y=7.0)
    for layer in layers(place).values():
        assert layer.outcome == BY_FOLIAGE
        assert layer.light == pytest.approx(math.exp(-1.0), abs=0.01)
        assert layer.met_m == pytest.approx(4.0, abs=0.1)
    assert place.code == Verdict.DEAD
    assert place.code_without_leaves == Verdict.BOTH


def test_heads_that_look_elsewhere_say_nothing():
    """Of two heads the one whose arc holds the place is told; behind the unit none is."""
    site = terrain(plane(0.0))
    place = at(site, unit(TWO), x=4.0, y=4.0)
    assert [head.head for head in place.units[0].heads] == [1]
    behind = at(site, unit(TWO), x=0.0, y=-5.0)
    assert behind.units[0].heads == ()
    assert abs(behind.units[0].off_deg) == pytest.approx(180.0)


def test_places_agree_with_the_map():
    """At the middle of any cell the verdict is that of the map, for one unit and for two of either kind."""
    rng = np.random.default_rng(2)
    on = plane(0.06, 70)
    site = terrain(
        on, box((-2, 3, -2), (1, 3.2, 1.4)), leaves(on, lambda x, y: (x > 3) & (x < 4), 0.2, 1.5, 1.5)
    )
    both = unit(ONE), unit(TWO, bearing_deg=80.0)
    for combine, units in (("any", both[:1]), ("any", both), ("all", both)):
        option = judged(site, *units, combine=combine)
        for i, j in rng.integers(10, 110, (60, 2)):
            x, y = float(on.xs[i]), float(on.ys[j])
            place = at(site, *units, x=x, y=y, combine=combine)
            assert place.code == option.verdicts[j, i]
            hangs = option.without_leaves[j, i]
            assert place.code_without_leaves == (hangs or option.verdicts[j, i])


def test_ground_that_is_not_known_is_told():
    """Where nothing was measured nothing is said; with no unit all is outside."""
    on = plane(0.0)
    on.z[60:64, 60:64] = np.nan
    assert at(terrain(on), unit(ONE), x=0.3, y=0.3).code == UNKNOWN
    assert at(terrain(plane(0.0))).code == Verdict.OUTSIDE

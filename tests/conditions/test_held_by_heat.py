"""Figure against ground, and what an option holds as the ground warms."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapes
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.conditions.heat import (
    HeatResult,
    band_radiance,
    contrast,
    held_by_temperature,
    reference_contrast,
)
from terrain3d.detector.types import load_type
from terrain3d.sentences.heat import heat_words
from terrain3d.site import HeatSetting
from terrain3d.terrain import Area

FIGURE_M = 1.7
YARD = Area("yard", np.array([[-3.0, 2.0], [3.0, 2.0], [3.0, 10.0], [-3.0, 10.0]]))


def judged(heat=None, combine="any", rise=0.0, **setting):
    """The plain result and the result by temperature of a unit on a plane; settings of several by lists."""
    site = shapes.terrain(shapes.plane(rise), protect=(YARD,))
    several = max((len(v) for v in setting.values() if isinstance(v, list)), default=1)
    units = tuple(
        shapes.unit(
            load_type("one-head-90", Path()),
            **{key: value[n] if isinstance(value, list) else value for key, value in setting.items()},
        )
        for n in range(several)
    )
    plain = shapes.judged(site, *units, combine=combine, figure_height_m=FIGURE_M)
    return plain, held_by_temperature(site, plain, FIGURE_M, heat or HeatSetting())


@given(
    st.floats(-10, 45),
    st.floats(0.5, 1.0),
    st.floats(0.5, 1.0),
    st.floats(0, 60),
)
def test_no_contrast_at_equal_radiance(ground_c, emissivity, ground_emissivity, sky_below):
    """A figure that radiates and reflects just what the ground does cannot be told from it."""
    sky = float(band_radiance(ground_c - sky_below))
    ground = ground_emissivity * float(band_radiance(ground_c)) + (1 - ground_emissivity) * sky
    own = (ground - (1 - emissivity) * (ground + sky) / 2) / emissivity
    low, high = -80.0, 80.0
    for _ in range(80):  # the surface temperature of that radiance, by halving
        middle = (low + high) / 2
        low, high = (middle, high) if float(band_radiance(middle)) < own else (low, middle)
    if -50 <= low <= 80:
        heat = HeatSetting(
            figure=low, emissivity=emissivity, ground_emissivity=ground_emissivity, sky_below=sky_below
        )
        assert contrast(heat, [ground_c])[0] == pytest.approx(0.0, abs=1e-9)


def test_under_cloud_the_ground_s_emissivity_plays_no_part():
    """A sky of the ground's temperature makes all ground look black."""
    heat = HeatSetting(figure=25.0, emissivity=0.9, ground_emissivity=0.7)
    grounds = np.array([5.0, 25.0, 35.0])
    assert contrast(heat, grounds) == pytest.approx(0.9 * (band_radiance(25.0) - band_radiance(grounds)))
    assert contrast(heat, [25.0])[0] == pytest.approx(0.0, abs=1e-13)


@given(st.floats(0.3, 1.0), st.floats(0.3, 1.0), st.floats(0, 60))
def test_contrast_only_falls_as_the_ground_warms(emissivity, ground_emissivity, sky_below):
    """What the search for a temperature leans on."""
    heat = HeatSetting(emissivity=emissivity, ground_emissivity=ground_emissivity, sky_below=sky_below)
    assert (np.diff(contrast(heat, np.linspace(-40, 80, 200))) < 0).all()


def test_full_contrast_is_the_plain_map():
    """Over the reference contrast nothing is made harder, and nothing easier."""
    plain, warm = judged(rise=0.06)
    strong = warm.table.ratio >= 1
    assert 0 < strong.sum() < len(strong)
    assert (warm.table.held_m2[strong] == plain.area_m2["both"]).all()
    assert warm.table.protected_share[strong] == pytest.approx(plain.protect[0].both_fraction)


def test_weak_contrast_is_a_higher_mark():
    """At half as much again as half the reference contrast, the map is that of mark / ratio."""
    heat = HeatSetting(figure=30.0, emissivity=1.0)
    level = 0.75 * reference_contrast()
    low, high = 20.0, 30.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if contrast(heat, [middle])[0] > level else (low, middle)
    _, warm = judged(heat.model_copy(update={"grounds": (0.0, low)}), rise=0.06)
    higher, _ = judged(rise=0.06, fill=0.5 / 0.75)
    full, _ = judged(rise=0.06)
    assert warm.table.ratio[1] == pytest.approx(0.75)
    assert warm.table.held_m2[1] == higher.area_m2["both"] < full.area_m2["both"]


def test_silent_at_the_figure_s_own_temperature():
    """No contrast, no claim; and the span is bounded where a whole layer would have to be filled."""
    plain, warm = judged()
    assert plain.area_m2["both"] > 0
    assert warm.table.held_m2[warm.table.grounds_c == 30.0] == 0.0
    # On level ground both layers are filled whole somewhere, so all goes at mark / ratio = 1.
    ends = contrast(HeatSetting(), [warm.silent_from_c, warm.silent_to_c]) / reference_contrast()
    assert ends == pytest.approx([0.5, -0.5], abs=1e-9)


@pytest.mark.parametrize("mark", [0.3, 0.5, 0.8])
def test_the_silent_span_goes_with_the_mark(mark):
    """A unit of mark m falls silent at m times the reference contrast, by closed form under cloud."""
    _, warm = judged(HeatSetting(emissivity=1.0), fill=mark)
    for end, sign in ((warm.silent_from_c, 1), (warm.silent_to_c, -1)):
        there = float(band_radiance(30.0) - band_radiance(end))
        assert there == pytest.approx(sign * mark * reference_contrast(), abs=1e-9)


def held_near(warm: HeatResult, ground_c: float, **setting) -> float:
    """What is held at one ground temperature."""
    return float(
        judged(warm.setting.model_copy(update={"grounds": (0.0, ground_c)}), **setting)[1].table.held_m2[1]
    )


@pytest.mark.parametrize("setting", [{"rise": 0.06}, {"rise": -0.04, "tilt_deg": 2.0}])
def test_losses_begin_where_they_say(setting):
    """Just before each temperature less is lost than told, just after it as much or more."""
    plain, warm = judged(**setting)
    for loss in warm.losses:
        kept = (1 - loss.share) * plain.area_m2["both"] + 1e-9
        for edge, inwards in ((loss.from_c, 1), (loss.to_c, -1)):
            assert held_near(warm, edge + inwards * 1e-6, **setting) <= kept
            assert held_near(warm, edge - inwards * 1e-6, **setting) > kept
    shares = [loss.share for loss in warm.losses]
    assert shares == [0.05, 0.5, 1.0]
    starts = [loss.from_c for loss in warm.losses]
    assert starts == sorted(starts)


def test_several_units_share_the_work():
    """Any: what either holds; all: what both hold, silent as soon as the one of the higher mark is."""
    turned = {"bearing_deg": [-20.0, 20.0], "fill": [0.4, 0.6]}
    heat = HeatSetting(emissivity=1.0)
    either, any_warm = judged(heat, "any", **turned)
    both, all_warm = judged(heat, "all", **turned)
    assert both.area_m2["both"] < either.area_m2["both"]
    for warm, mark in ((any_warm, 0.4), (all_warm, 0.6)):
        at = float(band_radiance(30.0) - band_radiance(warm.silent_from_c))
        assert at == pytest.approx(mark * reference_contrast(), abs=1e-9)


def test_an_option_that_holds_nothing():
    """There is nothing to lose, and the words say so."""
    _, warm = judged(height_m=4.0)
    assert warm.losses == ()
    assert (warm.silent_from_c, warm.silent_to_c) == (None, None)
    assert (warm.table.held_m2 == 0).all()
    assert heat_words(warm)[0].startswith("Nothing is held")


def test_a_figure_that_hardly_radiates():
    """Of an emissivity so low that no ground gives contrast enough, nothing is ever held by it."""
    plain, warm = judged(HeatSetting(emissivity=0.01))
    assert plain.area_m2["both"] > 0
    assert warm.losses[-1].from_c is None
    assert "30 °C, nothing is held from the coldest to" in heat_words(warm)[0]


def test_without_protected_ground_there_is_no_share():
    """No protected ground, no share; the held ground is told all the same."""
    site = shapes.terrain(shapes.plane(0.0))
    unit = shapes.unit(load_type("one-head-90", Path()))
    warm = held_by_temperature(site, shapes.judged(site, unit), FIGURE_M, HeatSetting())
    assert warm.curve.protected_share is None
    assert warm.curve.held_m2.max() > 0
    assert len(warm.curve.grounds_c) == 401
    assert math.isclose(float(warm.curve.grounds_c[1]), 0.1)


def test_words_tell_the_span_and_where_the_measure_is_from():
    """The temperatures of the losses, and that the measure is borrowed and not verified."""
    _, warm = judged(rise=0.06)
    assert f"{warm.silent_from_c:.1f} to {warm.silent_to_c:.1f} °C" in heat_words(warm)[0]
    assert "not verified" in heat_words(warm)[-1]
    early = warm.losses[0]
    assert f"5% of it is lost from {early.from_c:.1f} °C on" in heat_words(warm)[0]

"""What can be set on a unit, and in which steps; what is typed and what is refused."""

import dataclasses
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.lengths import lengths_in
from terrain3d.sentences.warnings import height_warning
from terrain3d.show.live import controls
from terrain3d.show.live.controls import BEARING, HEIGHT, RANGE, SETTINGS, TILT

KIND = load_type("one-head-90", Path())
UNIT = Detector("D1", KIND, "pole", 0, 0, 0, 1.0, 135.0)


@pytest.mark.parametrize(
    ("setting", "start", "by", "end"),
    [
        (HEIGHT, 1.0, 1, 1.05),
        (HEIGHT, 1.02, -1, 1.0),
        (HEIGHT, 0.05, -1, 0.05),
        (HEIGHT, 9.98, 3, 10.0),
        (BEARING, 0.0, -1, 357.5),
        (BEARING, 134.0, 1, 135.0),
        (TILT, 29.5, 4, 30.0),
        (RANGE, 8.0, -1, 6.0),
        (RANGE, 12.0, 1, 12.0),
    ],
)
def test_steps_go_to_the_next_mark_and_end_at_the_limits(setting, start, by, end):
    """A step from between two marks goes to the next one; no step leaves what can be set."""
    unit = dataclasses.replace(UNIT, **{setting.attribute: start})
    assert controls.value_of(controls.stepped(unit, setting, by), setting) == pytest.approx(end)


@given(st.sampled_from(SETTINGS), st.floats(-0.5, 1.5))
def test_a_slider_sets_what_it_then_shows(setting, share):
    """The knob stays within half a step of where it was put, and the other settings stay."""
    moved = controls.at_share(UNIT, setting, share)
    low, high = controls.slider_span(UNIT, setting)
    half_step = 1.0 if setting is RANGE else setting.step / 2
    wanted = low + min(max(share, 0), 1) * (high - low)
    assert abs(controls.value_of(moved, setting) - wanted) <= half_step + 1e-6
    for other in SETTINGS:
        if other is not setting:
            assert controls.value_of(moved, other) == controls.value_of(UNIT, other)


@given(st.floats(0.05, 10.0))
def test_a_high_unit_still_has_its_knob_on_the_slider(height):
    """Whatever height is set, the slider reaches it."""
    unit = dataclasses.replace(UNIT, height_m=height)
    low, high = controls.slider_span(unit, HEIGHT)
    assert low <= height <= high
    assert 0 <= controls.share_of(unit, HEIGHT) <= 1


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("baring 140", "no setting 'baring'.*did you mean 'bearing'"),
        ("colour 3", "no setting 'colour'.*there are height, bearing, tilt, range"),
        ("bearing east", "'east' is not a number.*write it like"),
        ("1,2", "'1,2' is not a number"),
        ("nan", "'nan' is not a number"),
        ("tilt 3 4", "'tilt 3 4' is not a setting.*bearing 140"),
        ("", "is not a setting"),
    ],
)
def test_what_is_typed_wrongly_is_refused_in_words(typed, says):
    """The message names what was typed and what can be typed instead."""
    with pytest.raises(InputError) as refused:
        controls.read_entry(typed, TILT)
    assert re.search(says, f"{refused.value.what} {refused.value.mend}")


@pytest.mark.parametrize(
    ("setting", "value", "says"),
    [
        (HEIGHT, 0.0, "height cannot be 0.00 m.*0.05 m to 10.00 m"),
        (HEIGHT, 11.0, "height cannot be 11.00 m"),
        (TILT, -31.0, "tilt cannot be -31.*-30"),
        (BEARING, 400.0, "bearing cannot be 400"),
        (RANGE, 9.0, "one-head-90 has no range of 9 m.*it has 4, 6, 8, 10, 12"),
    ],
)
def test_values_out_of_reach_are_refused_in_words(setting, value, says):
    """The message names the value and what the setting takes."""
    with pytest.raises(InputError) as refused:
        controls.with_value(UNIT, setting, value)
    assert re.search(says, f"{refused.value.what} {refused.value.mend}")


def test_what_is_typed_in_feet_is_set_in_metres():
    """A height by the international foot (NIST SP 811, B.8), a range as it is told; refusals say feet."""
    with lengths_in("ft"):
        setting, value = controls.read_entry("height 3.5", TILT)
        assert (setting, value) == (HEIGHT, pytest.approx(1.0668))
        assert controls.shown(value, HEIGHT) == "3.50 ft"
        for range_m in controls.ranges_offered(UNIT):
            told = controls.shown(range_m, RANGE).removesuffix(" ft")
            assert controls.with_value(UNIT, *controls.read_entry(f"range {told}", TILT)).range_m == range_m
        assert controls.read_entry("tilt 3.5", HEIGHT) == (TILT, 3.5)
        with pytest.raises(InputError) as refused:
            controls.with_value(UNIT, RANGE, 9.0)
    assert re.search(
        "no range of 29.5 ft.*13.1, 19.7, 26.2, 32.8, 39.4", f"{refused.value.what} {refused.value.mend}"
    )


def test_only_a_height_the_type_does_not_allow_is_doubted():
    """Outside the type's own span the height is set, with a warning beside it."""
    assert height_warning(UNIT) == ""
    high = controls.with_value(UNIT, HEIGHT, 1.25)
    assert height_warning(high) == "outside 0.8 to 1.2 m"

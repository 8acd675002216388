"""One head set by itself in the window: its range, its zones, sensitivity and pulses."""

import re

import numpy as np
import pytest

from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.job import with_units
from terrain3d.ready import check_units
from terrain3d.show.live import controls
from terrain3d.show.live.controls import BEARING, RANGE
from terrain3d.show.live.head_controls import next_sensitivity, read_head_entry, with_head, with_head_entry
from terrain3d.show.live.state import WindowState
from terrain3d.show.window import panels

TWO = load_type("two-head-180")
NAMED = TWO.model_copy(
    update={
        "sensitivity": {"low": 0.65, "middle": 0.5, "high": 0.35},
        "pulses": (1, 3),
        "head": (TWO.head[0].model_copy(update={"range_settings": (4.0, 9.0)}), TWO.head[1]),
    }
)
UNIT = Detector("D1", NAMED, "pole", 0, 0, 0, 1.0, 135.0)


def entered(text, unit=UNIT, chosen=None):
    """The unit once a line is typed."""
    head, what, rest = read_head_entry(text, unit, chosen)
    return with_head_entry(unit, head, what, rest)


def test_the_range_of_a_head_is_one_of_its_own():
    """The first head has 4 and 9 m, the second what the type has; the unit's own stays."""
    near = controls.with_value(UNIT, RANGE, 9.0, 0)
    assert (near.range_m, near.range_of(0), near.range_of(1)) == (12.0, 9.0, 12.0)
    assert controls.stepped(near, RANGE, -1, 0).range_of(0) == 4.0
    assert controls.slider_span(near, RANGE, 0) == (4.0, 9.0)
    assert controls.at_share(near, RANGE, 0.1, 0).range_of(0) == 4.0
    assert controls.share_of(near, RANGE, 0) == 1.0
    with pytest.raises(InputError, match="head 1 of two-head-180 has no range of 12 m"):
        controls.with_value(UNIT, RANGE, 12.0, 0)
    # Bearing is of all of the unit, whichever head is chosen.
    assert controls.with_value(UNIT, BEARING, 90.0, 0).bearing_deg == 90.0


def test_the_range_of_the_unit_is_one_that_every_head_that_follows_it_has():
    """With a range of its own the first head no longer follows, and the second may have any of the type's."""
    near = controls.with_value(UNIT, RANGE, 4.0, 0)
    assert controls.ranges_offered(near) == sorted(TWO.range_settings)
    shared = sorted({4.0, 9.0} & {*TWO.range_settings})
    assert controls.ranges_offered(UNIT) == shared


def test_zones_are_masked_and_opened_by_their_numbers():
    """Typed with a head's number or for the chosen one; what is open again is as if never masked."""
    masked = entered("head 2 mask 3, 4")
    assert masked.heads == (HeadSetting(), HeadSetting(masked=(3, 4)))
    assert entered("mask 9", masked, 1).heads[1].masked == (3, 4, 9)
    assert entered("open 3 4", masked, 1) == UNIT
    arcs = with_head(UNIT, 0, masked_deg=((0.0, 4.0),))
    assert entered("head 1 open all", arcs) == UNIT


def test_sensitivity_and_pulses_of_a_head_or_of_all():
    """By the type's names, round and round; without a head they are the unit's."""
    assert entered("sensitivity high").sensitivity == "high"
    assert entered("sensitivity low", chosen=1).heads[1].sensitivity == ("low",)
    assert entered("pulses 3").pulses == 3
    assert entered("head 1 pulses 3").pulses_of(0) == 3
    names = []
    unit = UNIT
    for _ in range(4):
        unit = next_sensitivity(unit, None)
        names.append(unit.sensitivity)
    assert names == ["low", "middle", "high", "low"]
    assert next_sensitivity(next_sensitivity(UNIT, 1), 1).heads[1].sensitivity == ("middle",)


@pytest.mark.parametrize(
    ("typed", "chosen", "says"),
    [
        ("head 3 mask 1", None, "there is no head 3.*it has 1 to 2"),
        ("head mask 1", None, "there is no head mask"),
        ("head 1 bearing 3", None, "no 'bearing' to set.*mask, open, sensitivity, pulses"),
        ("mask 3", None, "no head is chosen.*head 1 mask 3"),
        ("mask 10", 0, "head 1 has no zone 10.*1 to 9, from the left"),
        ("mask x", 0, "'x' is no zone.*mask 3 4"),
        ("mask", 0, "is no zone"),
        ("sensitivity hihg", 0, "no sensitivity 'hihg'.*did you mean 'high'"),
        ("pulses 2", 0, "no pulse setting '2'.*it has 1, 3"),
    ],
)
def test_what_is_typed_wrongly_is_refused_in_words(typed, chosen, says):
    """The message names what was typed and what can be typed instead."""
    with pytest.raises(InputError) as refused:
        entered(typed, chosen=chosen)
    assert re.search(says, f"{refused.value.what} {refused.value.mend}")


def test_some_zone_of_a_unit_stays_open():
    """A site file may not mask everything either."""
    left = entered("head 1 mask 1 2 3 4 5 6 7 8 9")
    with pytest.raises(InputError, match="every zone of it is masked"):
        entered("head 2 mask 1 2 3 4 5 6 7 8 9", left)


def test_a_mask_is_judged_told_and_taken_back(outcome):
    """Verdicts are those of a fresh judgement; the settings are written beside the view."""
    state = WindowState(outcome, 1)
    before = panels.draw_column(state, 900)
    state.begin_mask()
    for letter in "4 5 6":
        state.type_letter(letter)
    state.end_entry()
    assert state.mode == "look", state.message
    assert state.unit.heads[state.head_at or 0].masked == (4, 5, 6)
    fresh = with_units(outcome, state.option.name, state.option.detectors)
    (now,) = (option for option in fresh.options if option.name == state.option.name)
    assert np.array_equal(state.option.verdicts, now.verdicts)
    assert not np.array_equal(state.option.verdicts, outcome.options[1].verdicts)
    assert not np.array_equal(panels.draw_column(state, 900), before)
    assert state.unsaved
    state.take_back()
    assert state.unit == outcome.options[1].detectors[0]


def test_a_unit_of_a_script_may_set_one_thing_of_a_head():
    """What a head does not set is no fault, as in a site file."""
    for own in ({"masked": (1,)}, {"sensitivity": ("low",)}, {"pulses": 3}):
        check_units("north", (with_head(with_head(UNIT, 0, range_m=9.0), 1, **own),), "any")


def test_heads_are_gone_round_and_left_with_their_unit(outcome):
    """After the last head comes all of the unit; another unit has its own heads."""
    state = WindowState(outcome, 1)
    count = len(state.unit.type.head)
    seen = []
    for _ in range(count + 1):
        state.step_head()
        seen.append(state.head_at)
    assert seen == [*range(count), None]
    state.step_head()
    state.step_unit(1)
    assert state.head_at is None

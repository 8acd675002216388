"""What the window holds: units set and set back, values typed, settings saved or not."""

import dataclasses

import numpy as np
import pytest

from terrain3d.cover.sighted import unit_on
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.job import judge_units, with_units
from terrain3d.opened import site_of
from terrain3d.show.live import controls
from terrain3d.show.live.state import WindowState
from terrain3d.terrain import Mount, terrain_from_heights


@pytest.fixture
def state(outcome):
    """A state without a site file, at the option with two units."""
    return WindowState(outcome, 1)


def typed(state, text):
    state.begin_entry()
    for letter in text:
        state.type_letter(letter)
    state.end_entry()


@pytest.mark.parametrize(
    ("setting", "by"),
    [(controls.HEIGHT, 4), (controls.BEARING, -7), (controls.TILT, 3), (controls.RANGE, -2)],
)
def test_a_step_is_judged_as_a_fresh_look_judges_it(state, outcome, setting, by):
    """Remembered panoramas give the verdicts, areas, causes and ranking of a fresh judgement."""
    state.setting = setting
    for _ in range(abs(by)):
        state.step_value(1 if by > 0 else -1)
    fresh = with_units(outcome, state.option.name, state.option.detectors)
    (now,) = (option for option in fresh.options if option.name == state.option.name)
    assert np.array_equal(state.option.verdicts, now.verdicts)
    assert (state.option.area_m2, state.option.protect) == (now.area_m2, now.protect)
    assert (state.option.lost_m2, state.option.facts) == (now.lost_m2, now.facts)
    assert state.outcome.ranking == fresh.ranking
    assert state.outcome.options[0] is outcome.options[0]


def test_only_the_chosen_unit_is_set(state, outcome):
    """Steps act on the unit that is chosen, by turns or by its number."""
    state.step_unit(1)
    state.step_value(1)
    assert state.option.detectors[0] == outcome.options[1].detectors[0]
    assert state.option.detectors[1].bearing_deg == 142.5
    state.step_unit(1)
    assert state.unit_at == 0
    state.choose_unit(4)
    assert state.unit_at == 0
    assert state.is_refusal
    assert "this option has 2" in state.message


def test_changes_are_taken_back_one_by_one(state, outcome):
    """Undo goes back through steps, a slider's way in one, and across options."""
    state.step_value(1)
    for share in (0.2, 0.4, 0.6):
        state.slide(controls.TILT, share, is_same_change=share > 0.2)
    state.step_option(1)
    state.setting = controls.BEARING
    state.step_value(1)
    state.take_back()
    assert state.outcome.options[0].detectors == outcome.options[0].detectors
    state.take_back()
    assert state.at == 1
    assert state.unit.tilt_deg == 0.0
    assert state.unit.bearing_deg == outcome.options[1].detectors[0].bearing_deg + 2.5
    state.take_back()
    assert state.unsaved == ()
    state.take_back()
    assert "no change to take back" in state.message


def test_an_option_goes_back_to_what_was_read(state, outcome):
    """Back to as read undoes all changes of the option in view, and can itself be undone."""
    state.step_value(3)
    changed = state.option.detectors
    state.as_read()
    assert state.option.detectors == outcome.options[1].detectors
    state.take_back()
    assert state.option.detectors == changed


def test_a_typed_value_is_set_and_a_wrong_one_stays_to_be_mended(state):
    """A refusal keeps what was typed, says why, and sets nothing."""
    typed(state, "bearing 140")
    assert (state.mode, state.unit.bearing_deg) == ("look", 140.0)
    typed(state, "150")
    assert state.unit.bearing_deg == 150.0
    typed(state, "range 9")
    assert (state.mode, state.entry, state.is_refusal) == ("type", "range 9", True)
    assert "has no range of 9 m; it has 4, 6" in state.message
    state.rub_out()
    state.type_letter("8")
    state.end_entry()
    assert (state.mode, state.unit.range_m, state.message) == ("look", 8.0, "")
    state.begin_entry()
    state.type_letter("7")
    state.cancel()
    assert (state.mode, state.unit.bearing_deg) == ("look", 150.0)


def test_saving_hands_over_all_options_and_is_remembered(outcome):
    """What is saved is no longer unsaved; undoing it is a change again."""
    saved = []
    state = WindowState(outcome, 0, saved.append)
    assert state.save()
    assert not saved
    state.step_value(1)
    state.step_option(1)
    state.step_value(1)
    assert state.unsaved == tuple(option.name for option in outcome.options)
    assert state.save()
    assert saved == [state.outcome]
    assert state.unsaved == ()
    state.take_back()
    assert state.unsaved == (outcome.options[1].name,)


def test_a_refused_save_is_said_and_nothing_counts_as_saved(outcome):
    """The words of the refusal come on the screen."""

    def refuse(_):
        raise InputError("the file changed on disk", "site.toml", "open the file again")

    state = WindowState(outcome, 0, refuse)
    state.step_value(1)
    assert not state.save()
    assert state.message == "Not saved: the file changed on disk; open the file again"
    assert state.unsaved
    without = WindowState(outcome, 0)
    without.step_value(1)
    assert not without.save()
    assert "no site file" in without.message


def test_one_option_alone_cannot_be_compared(outcome):
    """Compare says so instead of showing one option twice."""
    one = dataclasses.replace(outcome, options=outcome.options[:1])
    state = WindowState(one)
    state.compare()
    assert state.shown == (0,)
    assert state.is_refusal


@pytest.fixture
def on_a_wall():
    """A unit flat on a wall facing north: 10 degrees each way and 5 up to 10 down, on its bracket 60."""
    mounts = (Mount("wall", 0.0, 0.0, wall_deg=0.0),)
    site = site_of(terrain_from_heights(np.zeros((61, 61)), 0.5, mounts=mounts))
    unit = unit_on(site.terrain, "wall", load_type("one-head-90-watched"), 1.0, 5.0, name="D1")
    return WindowState(judge_units(site, {"flat": (unit,)}))


def test_a_unit_ends_where_its_housing_does_and_that_is_said(on_a_wall):
    """Steps and sliders go to the limit and not past it, round north as well."""
    state = on_a_wall
    for by, end in ((40, 10.0), (1, 10.0), (-1, 7.5), (-40, 350.0)):
        state.step_value(by)
        assert state.unit.bearing_deg == end
        assert state.is_refusal == (by != -1)
    assert "cannot face" in state.message
    assert "nearest: 350 degrees" in state.message
    for share, end in ((1.0, 10.0), (0.0, -5.0), (0.5, 0.0)):
        state.slide(controls.TILT, share)
        assert state.unit.tilt_deg == end
        assert state.is_refusal == (share != 0.5)
    state.take_back()
    assert state.unit.tilt_deg == -5.0


def test_a_typed_setting_past_the_housing_stays_to_be_mended(on_a_wall):
    """It is refused with the nearest that can be set; nothing is set."""
    before = on_a_wall.unit
    typed(on_a_wall, "bearing 40")
    assert on_a_wall.mode == "type"
    assert "nearest: 10 degrees; on its bracket it can" in on_a_wall.message
    assert on_a_wall.unit == before


def test_a_state_goes_on_where_the_site_is_drawn_anew(outcome):
    """What is chosen stays chosen by its name; what is gone gives way to what is there."""
    state = WindowState(outcome)
    state.step_option(1)
    state.setting = controls.TILT
    again = state.renewed(dataclasses.replace(outcome, options=outcome.options[::-1]))
    assert again.option.name == state.option.name
    assert again.setting is controls.TILT
    alone = state.renewed(dataclasses.replace(outcome, options=outcome.options[:1]))
    assert alone.option.name == outcome.options[0].name
    state.compare()
    assert not state.renewed(dataclasses.replace(outcome, options=outcome.options[:1])).is_comparing
    assert state.renewed(outcome).is_comparing


def test_an_option_is_compared_with_the_one_that_is_named(outcome):
    """Beside the chosen option stands the named one, and never itself."""
    state = WindowState(outcome)
    state.compare()
    names = [option.name for option in outcome.options]
    state.beside = names[1]
    assert [names[index] for index in state.shown] == [names[1], names[0]]
    state.step_option(1)
    assert [names[index] for index in state.shown] == [names[0], names[1]]

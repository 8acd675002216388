"""What the window holds: units set and set back, values typed, settings saved or not."""

import dataclasses

import numpy as np
import pytest

from terrain3d.errors import InputError
from terrain3d.job import with_units
from terrain3d.show.window import controls
from terrain3d.show.window.desk import Desk


@pytest.fixture
def desk(outcome):
    """A desk without a site file, at the option with two units."""
    return Desk(outcome, 1)


def typed(desk, text):
    desk.begin_entry()
    for letter in text:
        desk.type_letter(letter)
    desk.end_entry()


@pytest.mark.parametrize(
    ("setting", "by"),
    [(controls.HEIGHT, 4), (controls.BEARING, -7), (controls.TILT, 3), (controls.RANGE, -2)],
)
def test_a_step_is_judged_as_a_fresh_look_judges_it(desk, outcome, setting, by):
    """Remembered panoramas give the verdicts, areas, causes and ranking of a fresh judgement."""
    desk.setting = setting
    for _ in range(abs(by)):
        desk.step_value(1 if by > 0 else -1)
    fresh = with_units(outcome, desk.option.name, desk.option.detectors)
    (now,) = (option for option in fresh.options if option.name == desk.option.name)
    assert np.array_equal(desk.option.verdicts, now.verdicts)
    assert (desk.option.area_m2, desk.option.protect) == (now.area_m2, now.protect)
    assert (desk.option.lost_m2, desk.option.warnings) == (now.lost_m2, now.warnings)
    assert desk.outcome.ranking == fresh.ranking
    assert desk.outcome.options[0] is outcome.options[0]


def test_only_the_chosen_unit_is_set(desk, outcome):
    """Steps act on the unit that is chosen, by turns or by its number."""
    desk.step_unit(1)
    desk.step_value(1)
    assert desk.option.detectors[0] == outcome.options[1].detectors[0]
    assert desk.option.detectors[1].bearing_deg == 142.5
    desk.step_unit(1)
    assert desk.unit_at == 0
    desk.choose_unit(4)
    assert desk.unit_at == 0
    assert desk.is_refusal
    assert "this option has 2" in desk.message


def test_changes_are_taken_back_one_by_one(desk, outcome):
    """Undo goes back through steps, a slider's way in one, and across options."""
    desk.step_value(1)
    for share in (0.2, 0.4, 0.6):
        desk.slide(controls.TILT, share, is_same_change=share > 0.2)
    desk.step_option(1)
    desk.setting = controls.BEARING
    desk.step_value(1)
    desk.take_back()
    assert desk.outcome.options[0].detectors == outcome.options[0].detectors
    desk.take_back()
    assert desk.at == 1
    assert desk.unit.tilt_deg == 0.0
    assert desk.unit.bearing_deg == outcome.options[1].detectors[0].bearing_deg + 2.5
    desk.take_back()
    assert desk.unsaved == ()
    desk.take_back()
    assert "no change to take back" in desk.message


def test_an_option_goes_back_to_what_was_read(desk, outcome):
    """Back to as read undoes all changes of the option in view, and can itself be undone."""
    desk.step_value(3)
    changed = desk.option.detectors
    desk.as_read()
    assert desk.option.detectors == outcome.options[1].detectors
    desk.take_back()
    assert desk.option.detectors == changed


def test_a_typed_value_is_set_and_a_wrong_one_stays_to_be_mended(desk):
    """A refusal keeps what was typed on the desk, says why, and sets nothing."""
    typed(desk, "bearing 140")
    assert (desk.mode, desk.unit.bearing_deg) == ("look", 140.0)
    typed(desk, "150")
    assert desk.unit.bearing_deg == 150.0
    typed(desk, "range 9")
    assert (desk.mode, desk.entry, desk.is_refusal) == ("type", "range 9", True)
    assert "has no range of 9 m; it has 4, 6" in desk.message
    desk.rub_out()
    desk.type_letter("8")
    desk.end_entry()
    assert (desk.mode, desk.unit.range_m, desk.message) == ("look", 8.0, "")
    desk.begin_entry()
    desk.type_letter("7")
    desk.cancel()
    assert (desk.mode, desk.unit.bearing_deg) == ("look", 150.0)


def test_saving_hands_over_all_options_and_is_remembered(outcome):
    """What is saved is no longer unsaved; undoing it is a change again."""
    saved = []
    desk = Desk(outcome, 0, saved.append)
    assert desk.save()
    assert not saved
    desk.step_value(1)
    desk.step_option(1)
    desk.step_value(1)
    assert desk.unsaved == tuple(option.name for option in outcome.options)
    assert desk.save()
    assert saved == [desk.outcome]
    assert desk.unsaved == ()
    desk.take_back()
    assert desk.unsaved == (outcome.options[1].name,)


def test_a_refused_save_is_said_and_nothing_counts_as_saved(outcome):
    """The words of the refusal come on the screen."""

    def refuse(_):
        raise InputError("the file changed on disk", "site.toml", "open the file again")

    desk = Desk(outcome, 0, refuse)
    desk.step_value(1)
    assert not desk.save()
    assert desk.message == "Not saved: the file changed on disk; open the file again"
    assert desk.unsaved
    without = Desk(outcome, 0)
    without.step_value(1)
    assert not without.save()
    assert "no site file" in without.message


def test_one_option_alone_cannot_be_compared(outcome):
    """Compare says so instead of showing one option twice."""
    one = dataclasses.replace(outcome, options=outcome.options[:1])
    desk = Desk(one)
    desk.compare()
    assert desk.shown == (0,)
    assert desk.is_refusal

"""Heads put back into the site file: what was set is read again, and every other byte stays."""

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import plane, terrain

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import sighted
from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.paper.write_back import with_settings
from terrain3d.ready import head_settings
from terrain3d.site import DetectorSetting

KIND = load_type("two-head-180", Path()).model_copy(update={"sensitivity": {"low": 0.65, "high": 0.35}})
UNIT = Detector("D1", KIND, "pole", 0, 0, 0, 1.0, 135.0)
HERE = terrain(plane(0.0, extent_m=2.0))

BARE = """\
# a plan
[[option]] # first
name = "north"
[[option.detector]]
name = "D1"  # the pole
mount = "pole"
type = "two-head-180"
height = 1.0
bearing = 135 # as walked

# between
[[option]]
name = "south"
[[option.detector]]
name = "D1"
mount = "pole"
type = "two-head-180"
height = 1.0
bearing = 135"""
SET = BARE.replace(
    "as walked\n",
    """as walked
  sensitivity = "low" # in winter

  # the left one
  [[option.detector.head]]
  range = 6   # short
  masked = [ # the lawn
    1, 2,
  ]          # and no more
  [[option.detector.head]]
  fill = [0.4, 0.6]
  pulses = 3
""",
)
HEADS = (HeadSetting(range_m=6.0, masked=(1, 2)), HeadSetting(fill=(0.4, 0.6), pulses=3))


def options(unit):
    """Both options, the unit of the first set so."""
    return tuple(
        OptionResult(name, (sighted(HERE, one),), np.zeros((2, 2), np.uint8), {}, (), {}, {})
        for name, one in (("north", unit), ("south", UNIT))
    )


def read(text):
    """What a text sets of the unit of its first option: its own keys and its heads."""
    table = tomllib.loads(text)["option"][0]["detector"][0]
    setting = DetectorSetting.model_validate(table)
    return setting.sensitivity, setting.fill, setting.pulses, head_settings(setting)


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_new_heads_stand_under_the_keys_of_their_unit(newline):
    """In the order of their keys, set in as the header is, before what is said of the next option."""
    text = BARE.replace("\n", newline)
    unit = dataclasses.replace(UNIT, sensitivity="high", heads=HEADS)
    added = (
        'sensitivity = "high"\n[[option.detector.head]]\nrange = 6\nmasked = [1, 2]\n'
        "[[option.detector.head]]\nfill = [0.4, 0.6]\npulses = 3\n"
    ).replace("\n", newline)
    after = f"as walked{newline}"
    assert with_settings(text, options(unit)) == text.replace(after, after + added)


def test_nothing_changed_keeps_every_byte():
    """Heads as the file has them leave the text alone."""
    unit = dataclasses.replace(UNIT, sensitivity="low", heads=HEADS)
    assert with_settings(SET, options(unit)) == SET


@pytest.mark.parametrize(
    ("changes", "before", "after"),
    [
        ({"heads": (dataclasses.replace(HEADS[0], range_m=12.0), HEADS[1])}, "6   # short", "12   # short"),
        (
            {"heads": (dataclasses.replace(HEADS[0], masked=(1, 2, 3)), HEADS[1])},
            "[ # the lawn\n    1, 2,\n  ]          #",
            "[1, 2, 3]          #",
        ),
        ({"heads": (dataclasses.replace(HEADS[0], masked=()), HEADS[1])},
         "  masked = [ # the lawn\n    1, 2,\n  ]          # and no more\n", ""),
        ({"heads": (HEADS[0], dataclasses.replace(HEADS[1], pulses=None))}, "  pulses = 3\n", ""),
        ({"heads": (HEADS[0], dataclasses.replace(HEADS[1], masked_deg=((-10.0, 2.5),)))},
         "  pulses = 3\n", "  pulses = 3\n  masked_arc = [-10, 2.5]\n"),
        ({"heads": (HEADS[0], dataclasses.replace(HEADS[1], masked_deg=((-10.0, 2.5), (30.0, 40.0))))},
         "  pulses = 3\n", "  pulses = 3\n  masked_arc = [[-10, 2.5], [30, 40]]\n"),
        ({"heads": (HEADS[0], HeadSetting(sensitivity=("low",), pulses=3))},
         "  fill = [0.4, 0.6]\n  pulses = 3\n", '  pulses = 3\n  sensitivity = "low"\n'),
        ({"sensitivity": "high"}, '"low" # in', '"high" # in'),
        ({"sensitivity": None}, '  sensitivity = "low" # in winter\n', ""),
        ({"sensitivity": None, "fill": 0.3}, '  sensitivity = "low" # in winter\n', "  fill = 0.3\n"),
        ({"pulses": 1}, "in winter\n", "in winter\n  pulses = 1\n"),
    ],
)  # fmt: skip
def test_one_key_changes_and_no_other_byte(changes, before, after):
    """Comments beside it stay, arrays over several lines are one value."""
    unit = dataclasses.replace(UNIT, sensitivity="low", heads=HEADS)
    assert SET.count(before) == 1
    new = with_settings(SET, options(dataclasses.replace(unit, **changes)))
    assert new == SET.replace(before, after)


def test_heads_that_set_nothing_any_more_stay_as_tables():
    """All taken back: the tables are empty, and read as no setting."""
    new = with_settings(SET, options(UNIT))
    assert read(new) == (None, None, None, (HeadSetting(), HeadSetting()))
    assert "[[option.detector.head]]" in new
    assert with_settings(new, options(UNIT)) == new


head = st.builds(
    HeadSetting,
    pan_deg=st.none() | st.integers(-60, 60).map(float),
    range_m=st.none() | st.sampled_from([4.0, 12.0]),
    sensitivity=st.none() | st.sampled_from([("low",), ("low", "high")]),
    pulses=st.none() | st.sampled_from([1, 3]),
    masked=st.sets(st.integers(1, 9), max_size=6).map(lambda zones: tuple(sorted(zones))),
    masked_deg=st.sampled_from([(), ((-10.0, 5.25),), ((-40.0, -30.0), (1.0, 2.0))]),
)


@settings(max_examples=60, deadline=None)
@given(head, head, head, head, st.sampled_from([None, "low", "high"]), st.sampled_from([BARE, SET]))
def test_what_is_set_is_read_again(first, second, third, fourth, name, text):
    """Whatever is set, saved, set otherwise and saved again; another reader of TOML reads it too."""
    for heads in ((first, second), (third, fourth)):
        is_set = any(own != HeadSetting() for own in heads)
        unit = dataclasses.replace(UNIT, sensitivity=name, heads=heads if is_set else ())
        text = with_settings(text, options(unit))
        told = read(text)
        assert told[:3] == (name, None, None)
        assert told[3] == unit.heads or not any(own != HeadSetting() for own in (*told[3], *unit.heads))
        assert tomlkit.parse(text).unwrap() == tomllib.loads(text)
        assert text.count("# between") == text.count("# as walked") == 1


def test_a_layout_that_hides_the_table_is_refused():
    """In braces there is no line to put a table under; numbers alone can be changed there."""
    braces = (
        '[[option]]\nname = "north"\n'
        'detector = [{ name = "D1", mount = "pole", type = "two-head-180", height = 1.0, bearing = 135 }]\n'
        '[[option]]\nname = "south"\n'
        'detector = [{ name = "D1", mount = "pole", type = "two-head-180", height = 1.0, bearing = 135 }]\n'
    )
    assert with_settings(braces, options(UNIT)) == braces
    with pytest.raises(InputError, match="laid out so that its settings cannot be changed alone"):
        with_settings(braces, options(dataclasses.replace(UNIT, heads=HEADS)))

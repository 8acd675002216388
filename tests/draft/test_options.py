"""Options and units of a draft: set key by key, in the words and within the limits of the site file."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.draft.document import checked_draft, draft_of, read_draft
from terrain3d.draft.options import (
    HEAD_FIELDS,
    UNIT_FIELDS,
    added_option,
    added_unit,
    combined_option,
    copied_option,
    options_of,
    removed_option,
    removed_unit,
    renamed_option,
    set_unit,
)
from terrain3d.errors import InputError

DATA = Path(__file__).parents[2] / "data"
TEXT = """\
[site]
name = "yard"
[ground]
plane = { fall = 12, towards = 180, extent = 40 }

[[mount]]
name = "pole"
at = [0, 6]
heights = [0.5, 1.1, 2.0]

# The two that the owner asked for.
[[option]]
name = "south"
# by the gate
[[option.detector]]
name = "D1"      # the old one
mount = "pole"
type = "two-head-180"
height = 1.0
bearing = 180.0  # by compass
range = 8

[[option]]
name = "north"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 0
"""


def yard():
    return draft_of(TEXT.encode(), None)


def test_an_option_begins_without_units():
    """It can be named first; until it has a unit it is left aside, and nothing else suffers."""
    draft = added_option(yard(), "both")
    assert options_of(draft)[-1].units == ()
    assert [option.name for option in checked_draft(draft).site.option] == ["south", "north"]
    draft, name = added_unit(draft, "both", {"mount": "pole", "type": "one-head-90"})
    assert name == "D1"
    (unit,) = options_of(draft)[-1].units
    # Of the mount's heights the one within what the type allows.
    assert unit == {
        "name": "D1",
        "mount": "pole",
        "type": "one-head-90",
        "height": 1.1,
        "bearing": 0,
        "range": 12,
    }
    assert [option.name for option in checked_draft(draft).site.option] == ["south", "north", "both"]
    draft, name = added_unit(draft, "both", {"mount": "pole", "type": "one-head-90", "bearing": 90.0})
    assert name == "D2"
    assert draft.text.startswith(TEXT)


def test_a_copy_is_a_copy():
    """Units and all, under its own name, after the others."""
    draft = copied_option(combined_option(yard(), "south", "all"), "south", "south again")
    tables = draft.tables["option"]
    assert {**tables[2], "name": "south"} == tables[0]
    assert [one.combine for one in options_of(draft)] == ["all", "any", "all"]
    assert removed_option(draft, "south again").text == combined_option(yard(), "south", "all").text
    assert combined_option(combined_option(yard(), "south", "all"), "south", "any").text == TEXT


def test_a_number_keeps_its_place_and_its_looks():
    """What is said behind it stays, and a point where there was one."""
    draft = set_unit(yard(), "south", "D1", {"bearing": 190.0, "range": 12.0, "tilt": 2.0000000001})
    assert "bearing = 190.0  # by compass\ntilt = 2\nrange = 12\n" in draft.text
    assert set_unit(draft, "south", "D1", {"bearing": 180.0, "range": 8.0, "tilt": None}).text == TEXT


def test_heads_are_set_one_by_one():
    """Each head has a table; what goes without saying has no key; all of them go together."""
    heads = [{"range": 12.0, "pan": None, "masked": ()}, {"masked": (1, 2)}]
    draft = set_unit(yard(), "south", "D1", {"head": heads})
    assert draft.tables["option"][0]["detector"][0]["head"] == [{"range": 12}, {"masked": [1, 2]}]
    assert "range = 8\n[[option.detector.head]]\nrange = 12\n[[option.detector.head]]\nmasked" in draft.text
    draft = set_unit(draft, "south", "D1", {"head": [{}, {"masked": (1, 2, 3), "pulses": 3}]})
    assert draft.tables["option"][0]["detector"][0]["head"] == [{}, {"pulses": 3, "masked": [1, 2, 3]}]
    assert set_unit(draft, "south", "D1", {"head": None}).text == TEXT


def test_a_type_takes_what_it_has_not_with_it():
    """Range, heads, pulses and sensitivity of another type are not left behind to be refused."""
    draft = set_unit(yard(), "south", "D1", {"head": [{}, {"masked": (1,)}], "pulses": 3})
    draft = set_unit(draft, "south", "D1", {"type": "one-head-narrow"})
    unit = draft.tables["option"][0]["detector"][0]
    assert "head" not in unit
    assert checked_draft(draft).site.option[0].detector[0].type == "one-head-narrow"


def test_a_unit_moves_to_another_mount_and_takes_another_name():
    """Names of units are told apart within their option alone."""
    draft, _ = added_unit(yard(), "north", {"mount": "pole", "type": "one-head-90"})
    draft = set_unit(draft, "north", "D2", {"name": "gate", "mount": "other"})
    assert [unit["name"] for unit in options_of(draft)[1].units] == ["D1", "gate"]
    with pytest.raises(InputError, match="'D1' already"):
        set_unit(draft, "north", "gate", {"name": "D1"})
    with pytest.raises(InputError, match="no mount 'other'"):
        checked_draft(draft)


def test_an_option_goes_with_its_last_unit():
    """One of several goes alone; what is said of the first of several options stays."""
    draft, _ = added_unit(yard(), "north", {"mount": "pole", "type": "one-head-90"})
    assert removed_unit(draft, "north", "D2").text == TEXT
    left = removed_unit(yard(), "south", "D1")
    assert [option.name for option in options_of(left)] == ["north"]
    assert "# The two that the owner asked for." in left.text


@pytest.mark.parametrize(
    ("values", "match"),
    [
        ({"bearing": 400.0}, "out of bounds"),
        ({"bearing": float("nan")}, "finite"),
        ({"colour": "red"}, "has no 'colour'"),
        ({"fill": 0.4, "sensitivity": "low"}, "the same thing twice"),
        ({"type": "no-such-type"}, "unknown detector type"),
        ({"type": "../../../etc/passwd"}, "unknown detector type|no such|must end|toml"),
        ({"height": None}, "missing"),
        ({"head": [{"range": -1.0}]}, "out of bounds"),
    ],
)
def test_what_a_unit_cannot_be_is_refused(values, match):
    """In the words of the site file's own checks."""
    with pytest.raises(InputError, match=match):
        set_unit(yard(), "south", "D1", values)


def test_what_is_not_there_is_told():
    """With the names that there are."""
    with pytest.raises(InputError, match="known: south, north"):
        removed_option(yard(), "west")
    with pytest.raises(InputError, match="known: D1"):
        removed_unit(yard(), "south", "D7")
    with pytest.raises(InputError, match="'north' already"):
        added_option(yard(), "north")
    with pytest.raises(InputError, match="'north' already"):
        renamed_option(yard(), "south", "north")
    with pytest.raises(InputError, match="cannot be printed"):
        renamed_option(yard(), "south", "a\nb")
    assert [one.name for one in options_of(renamed_option(yard(), "south", "x"))] == ["x", "north"]


def test_fields_of_units_and_heads():
    """As the models have them."""
    tilt = next(field for field in UNIT_FIELDS if field.key == "tilt")
    assert (tilt.unit, tilt.low, tilt.high, tilt.default) == ("degrees", -30.0, 30.0, 0.0)
    assert [field.key for field in HEAD_FIELDS][:2] == ["pan", "range"]


KEYS = st.fixed_dictionaries(
    {},
    optional={
        "bearing": st.floats(-360, 360).map(lambda one: round(one, 6) + 0.0),
        "tilt": st.none() | st.floats(-30, 30).map(lambda one: round(one, 6) + 0.0),
        "height": st.floats(0.1, 10).map(lambda one: round(one, 6)),
        "pulses": st.none() | st.integers(1, 3),
        "head": st.none()
        | st.lists(
            st.fixed_dictionaries({}, optional={"range": st.floats(1, 12), "masked": st.just([1, 3])}),
            min_size=2,
            max_size=2,
        ),
    },
)


@settings(max_examples=150)
@given(
    st.lists(st.tuples(st.sampled_from(["gate pole, one head", "shed pole, two heads"]), KEYS), max_size=6),
    st.sampled_from(["\n", "\r\n"]),
)
def test_whatever_is_set_nothing_else_changes(changes, newline):
    """On the demo: the tables are just what is meant, and no line but those of the units is another."""
    text = (DATA / "demo.toml").read_text(encoding="utf-8").replace("\n", newline)
    draft = draft_of(text.encode(), None)
    for option, values in changes:
        before = draft.tables
        draft = set_unit(draft, option, "D1", values)
        place = next(n for n, one in enumerate(before["option"]) if one["name"] == option)
        meant = {**before["option"][place]["detector"][0], **values}
        meant = {key: value for key, value in meant.items() if value is not None}
        found = draft.tables["option"][place]["detector"][0]
        assert {key: value for key, value in found.items() if key != "head"} == {
            key: value for key, value in meant.items() if key != "head"
        }
        assert len(found.get("head", [])) == len(meant.get("head", []))
        assert tomllib.loads(draft.text) == draft.tables
    begin = text.index("[[option]]")
    assert draft.text[:begin] == text[:begin]
    assert "# Nose up with the hill" in draft.text


def test_options_that_are_in_braces():
    """One line for all of it is a layout too."""
    unit = '{ name = "D1", mount = "pole", type = "two-head-180", height = 1.0, bearing = 10, range = 8 }'
    draft = draft_of(f'option = [{{ name = "a", detector = [{unit}] }}]\n'.encode(), None)
    draft = set_unit(draft, "a", "D1", {"tilt": 3.0, "bearing": 20.0, "head": [{}, {"range": 12.0}]})
    draft, _ = added_unit(draft, "a", {"mount": "pole", "type": "one-head-90"})
    draft = added_option(draft, "b")
    assert draft.text.count("\n") == 1
    units = draft.tables["option"][0]["detector"]
    assert [unit["bearing"] for unit in units] == [20, 0]
    assert units[0]["head"] == [{}, {"range": 12}]
    assert tomllib.loads(draft.text) == draft.tables


def test_every_site_that_comes_along_can_be_read():
    """And checked, as the commands do."""
    for path in sorted(DATA.glob("*.toml")):
        assert checked_draft(read_draft(path)).site.option

"""One thing of a TOML text changed: the tables say just what is meant, and all other bytes stay."""

import copy
import difflib
import tomllib

import pytest
import tomlkit
from draft_files import ODD, in_lines_of
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.draft.edits import with_entry, with_value, without
from terrain3d.draft.layout import contents, layout_of
from terrain3d.errors import InputError


def places(value, above=()):
    """Every place of tables within which something stands."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for part, below in inner:
        yield (*above, part)
        yield from places(below, (*above, part))


def set_in(tables, path, value):
    """Tables with a place set, by another way than the one that is tested."""
    new = copy.deepcopy(tables)
    here = new
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = value
    return new


def taken_from(tables, path):
    """Tables without a place; a list that lost its last table goes with it."""
    new = copy.deepcopy(tables)
    here = new
    for part in path[:-1]:
        here = here[part]
    del here[path[-1]]
    return new


def bare(value):
    """Tables without empty ones in them: a list of tables without any has no header."""
    if isinstance(value, dict):
        inner = {key: bare(one) for key, one in value.items()}
        return {key: one for key, one in inner.items() if one not in ({}, [])}
    return [bare(one) for one in value] if isinstance(value, list) else value


VALUES = (
    st.integers(-1000, 1000)
    | st.floats(-1e6, 1e6).map(lambda number: round(number, 3) + 0.0)
    | st.text(max_size=8).filter(lambda text: "\r" not in text)
    | st.booleans()
    | st.lists(st.lists(st.floats(-100, 100).map(lambda one: round(one, 3) + 0.0), min_size=2, max_size=2))
)
KEYS = st.sampled_from(["name", "height", "path", "new", "by the gate"])


@st.composite
def texts(draw):
    """A text in one of the odd layouts."""
    text = draw(st.sampled_from(ODD)) + draw(st.sampled_from(["", "\n", "\n\n# the end\n"]))
    return in_lines_of(text, draw(st.sampled_from(["\n", "\r\n"])))


@settings(max_examples=400)
@given(texts(), st.data())
def test_a_value_is_set(text, data):
    """Any key of any table, there or not, in any layout."""
    layout = layout_of(text)
    tables = contents(layout).tables
    tables_of_it = [(), *(path for path in places(tables) if isinstance(at(tables, path), dict))]
    path = (*data.draw(st.sampled_from(tables_of_it)), data.draw(KEYS))
    value = data.draw(VALUES)
    new = with_value(layout, path, value)
    meant = set_in(tables, path, value)
    assert bare(contents(new).tables) == bare(meant)
    assert bare(tomllib.loads(new.text)) == bare(meant)
    assert tomlkit.parse(new.text).unwrap() is not None
    assert said(text) - said(new.text) <= lost_with(text, path)


@settings(max_examples=300)
@given(texts(), st.data())
def test_anything_is_taken_out(text, data):
    """Whatever stands anywhere."""
    layout = layout_of(text)
    tables = contents(layout).tables
    path = data.draw(st.sampled_from(list(places(tables))))
    new = without(layout, path)
    assert bare(tomllib.loads(new.text)) == bare(taken_from(tables, path))
    assert contents(new).tables == tomllib.loads(new.text)


@settings(max_examples=200)
@given(texts(), st.sampled_from(["mount", "solid", "option", "walk"]), st.data())
def test_an_entry_is_added(text, kind, data):
    """After those that are there, in the layout that they have; every byte that was there stays."""
    layout = layout_of(text)
    table = {"name": data.draw(st.text(max_size=8)), "at": [1.5, 2.0], "detector": [{"name": "D1"}]}
    new = with_entry(layout, (kind,), table, ("site", "ground", "solid", "mount", "walk", "option"))
    before = contents(layout).tables
    assert tomllib.loads(new.text) == {**before, kind: [*before.get(kind, []), table]}
    assert is_only_longer(text, new.text)


@settings(max_examples=300)
@given(texts(), st.data())
def test_points_of_a_line_come_and_go(text, data):
    """Lists of points in any layout: those that stay are as they were written."""
    layout = layout_of(text)
    tables = contents(layout).tables
    lists = [path for path in places(tables) if path[-1] in ("path", "outline")]
    if not lists:
        return
    path = data.draw(st.sampled_from(lists))
    points = list(at(tables, path))
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(points)))
        if data.draw(st.booleans()):
            points.insert(place, [data.draw(st.integers(0, 9)), 0.125])
        elif place < len(points):
            points.pop(place)
        if points:
            layout = with_value(layout, path, list(points))
            assert tomllib.loads(layout.text) == set_in(tables, path, points)


def at(tables, path):
    for part in path:
        tables = tables[part]
    return tables


def said(text):
    """The comments of a text."""
    return {line[line.index("#") :] for line in text.splitlines() if "#" in line}


def lost_with(text, path):
    """Comments that stand within a list or table in brackets, which may go with it."""
    return said(text) if path[0] in ("protect", "solid", "mount") else set()


def is_only_longer(text, new):
    """Whether a text holds another, in order, letter by letter."""
    letters = iter(new)
    return all(letter in letters for letter in text)


OUTLINE = """\
[[protect]]
name = "yard"  # the front
outline = [
    [0.0, 0.0],   # corner post
    [4.0, 0.0],
    # along the hedge
    [4.0, 4.0],
    [0.0, 4.0],
]
"""


@pytest.mark.parametrize(
    ("points", "lines"),
    [
        ([[0, 0], [4, 0], [4, 4], [0, 4.25]], {"-    [0.0, 4.0],", "+    [0.0, 4.25],"}),
        ([[0, 0], [4, 0], [4.0, 5.0], [4, 4], [0, 4]], {"+    [4.0, 5.0],"}),
        ([[0, 0], [4, 0], [4, 4], [0, 4], [0, 2.5]], {"+    [0.0, 2.5],"}),
        ([[4, 0], [4, 4], [0, 4]], {"-    [0.0, 0.0],   # corner post"}),
        ([[0, 0], [4, 0], [4, 4]], {"-    [0.0, 4.0],"}),
    ],
)
def test_a_corner_is_a_line_of_the_file(points, lines):
    """Where each corner has a line, only lines of corners that change do, in the layout of the others."""
    points = [[float(one) for one in point] for point in points]
    new = with_value(layout_of(OUTLINE), ("protect", 0, "outline"), points).text
    assert tomllib.loads(new)["protect"][0]["outline"] == points
    changed = difflib.ndiff(OUTLINE.splitlines(), new.splitlines())
    assert {line.replace(" ", "", 1) for line in changed if line[0] in "+-"} == lines


def test_a_new_key_stands_where_its_order_has_it():
    """Set in as its neighbours, in the order of the guide, not at the end of all."""
    text = '[[solid]]\n  name = "wall"\n  height = 1\n\n[site]\nname = "x"\n'
    order = ("name", "path", "height", "base")
    layout = with_value(layout_of(text), ("solid", 0, "path"), [[0, 0], [1, 0]], order)
    layout = with_value(layout, ("solid", 0, "base"), 0.25, order)
    lines = ['  name = "wall"', "  path = [[0, 0], [1, 0]]", "  height = 1", "  base = 0.25"]
    assert layout.text == "\n".join(["[[solid]]", *lines, "", "[site]", 'name = "x"', ""])


def test_what_is_said_of_several_stays_with_the_rest():
    """A comment above the first of several is not taken away with it; one above a single thing is."""
    text = "# Walks to try.\n[[walk]]\nname = 'a'\n\n[[walk]]\nname = 'b'\n"
    text += "\n# By the gate.\n[[mark]]\nname = 'c'\n"
    first = without(layout_of(text), ("walk", 0)).text
    assert first == "# Walks to try.\n\n[[walk]]\nname = 'b'\n\n# By the gate.\n[[mark]]\nname = 'c'\n"
    assert without(layout_of(text), ("mark", 0)).text == text.partition("\n# By")[0]
    each = "# One.\n[[walk]]\nname = 'a'\n\n# Two.\n[[walk]]\nname = 'b'\n\n[[walk]]\nname = 'c'\n"
    assert "# One." not in without(layout_of(each), ("walk", 0)).text
    assert "# Two." not in without(layout_of(each), ("walk", 1)).text
    assert "# Two." in without(layout_of(each), ("walk", 2)).text


def test_a_table_that_stands_in_no_block_of_its_own_is_refused_where_it_cannot_be_set():
    """A text in braces takes no comment lines, and what cannot be meant is refused in words."""
    layout = layout_of("a = 1\n")
    with pytest.raises(InputError, match="cannot be changed alone: a b"):
        with_value(layout, ("a", "b"), 1)

"""What is drawn in a draft, read and changed: as a careful person writes it, named everywhere alike."""

import difflib
import tomllib
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from site_files import ALL_PARTS

from terrain3d.draft.document import checked_draft, draft_of, new_draft, read_draft
from terrain3d.draft.kinds import KINDS
from terrain3d.draft.options import removed_unit, renamed_option
from terrain3d.draft.things import added, layers_of, moved, removed, renamed, things_of, valued
from terrain3d.errors import InputError
from terrain3d.site import NuisanceShape, Site
from terrain3d.units import direction

DATA = Path(__file__).parents[2] / "data"
PLANE = {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}}
#: Points of each form, in metres.
SHAPES = {
    "point": [(1.0, 2.0)],
    "line": [(0.0, 0.0), (4.0, 0.5)],
    "outline": [(0, 0), (4, 0), (4, 4), (0, 4)],
}

FARM = """\
[site]
name = "farm"
[ground]
shots = [
    { from = "pole", bearing = 90, tape = 9.0, drop = 0.1 },
    { from = "pole", bearing = 180, tape = 9.0, drop = 0.4, name = "post" },
]
[[solid]]
name = "gate"  # swings
path = [[0, 5], [3, 5]]
height = 1.2
thickness = 0.1
[[foliage]]
name = "hedge"
path = [[0, 6], [3, 6]]
height = 1.2
thickness = 0.8
density = "thin"
[[mount]]
name = "pole"
at = [0, 0]
[[mark]]
name = "post"
at = [0, -9]
[[scenario]]
name = "open"
without = ["gate"]
[[scenario]]
name = "bare"
without = ["gate", "hedge"]
[[option]]
name = "north"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 0
[[option.detector]]
name = "D2"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 180
"""


def farm():
    return draft_of(FARM.encode(), None)


@pytest.mark.parametrize("name", KINDS)
def test_each_kind_is_drawn_and_stands_at_once(name):
    """A shape alone makes a thing that the site file takes, under its own name, and it is found again."""
    kind = KINDS[name]
    draft, id_ = added(new_draft(".", "yard", PLANE), name, SHAPES[kind.form])
    assert checked_draft(draft).site.site.name == "yard"
    (thing,) = things_of(draft)
    assert (thing.id, thing.kind, thing.name) == (id_, name, name if kind.has_name else "")
    assert [tuple(point) for point in thing.points] == SHAPES[kind.form]
    assert removed(draft, id_).tables == new_draft(".", "yard", PLANE).tables


def test_all_drawn_tables_of_the_site_file_have_a_kind():
    """What the site file can draw, a person can: every table whose entries have points."""
    drawn = {
        table
        for table, info in Site.model_fields.items()
        if any(key in str(info.annotation) for key in ("Shape",)) and table not in ("figure", "scenario")
    }
    assert {kind.table for kind in KINDS.values()} == drawn


def test_fields_are_those_of_the_site_file():
    """Units, bounds and words of the models, never written twice."""
    height = KINDS["wall"].field("height")
    assert (height.unit, height.low, height.high, height.is_above) == ("metres", 0.0, 200.0, True)
    assert height.is_required
    assert height.meaning == "its top, above the ground beneath"
    assert KINDS["block"].field("thickness") is None
    assert KINDS["hedge"].field("density").choices == ("thin", "medium", "thick")
    assert KINDS["hedge"].field("density").high == 50.0
    assert KINDS["keep-out ground"].field("keep_out").form == "yes or no"
    kinds = get_args(NuisanceShape.model_fields["kind"].annotation)
    assert KINDS["nuisance"].field("kind").choices == kinds
    assert KINDS["mount"].field("wall").default is None
    assert KINDS["mount"].field("heights").form == "list"


def test_coordinates_are_written_to_the_millimetre():
    """No more digits than anybody measured; of degrees as many as make a millimetre."""
    draft, id_ = added(new_draft(".", "x", PLANE), "mount", [(1.23456, -0.00001)])
    assert "at = [1.235, 0.0]\n" in draft.text
    assert "at = [2.0, 3.5]\n" in moved(draft, id_, [(2.00004, 3.5)]).text
    world = new_draft(".", "x", {"file": "a.laz"}, crs="EPSG:4326")
    text = added(world, "mount", [(3.757123456789, 44.7)])[0].text
    assert "at = [3.75712346, 44.7]\n" in text


def test_a_new_thing_stands_with_its_kind():
    """After the last of its table, else after the tables that come before it in the guide."""
    draft = read_draft(DATA / "demo.toml")
    draft, _ = added(draft, "mount", [(560030.0, 4950020.0)], {"name": "third"})
    draft, _ = added(draft, "mark", [(560031.0, 4950020.0)])
    order = [line for line in draft.text.splitlines() if line.startswith("[[")]
    assert order[3:7] == ["[[mount]]", "[[mount]]", "[[mount]]", "[[mark]]"]
    before = (DATA / "demo.toml").read_text(encoding="utf-8").splitlines()
    assert not [line for line in difflib.ndiff(before, draft.text.splitlines()) if line.startswith("-")]


def test_a_kind_kept_in_a_layer_of_its_own_takes_drawn_ones_too():
    """`[mount] file = ...` becomes the first of a list; what it names stays."""
    draft = draft_of(b"[site]\nname = 'x'\n[mount]\nfile = 'poles.gpkg'\n", None)
    draft, id_ = added(draft, "mount", [(0.0, 0.0)])
    assert tomllib.loads(draft.text)["mount"] == [{"file": "poles.gpkg"}, {"name": "mount", "at": [0, 0]}]
    assert id_ == "mount/1"
    assert [(one.id, one.file) for one in layers_of(draft)] == [("mount/0", "poles.gpkg")]
    with pytest.raises(InputError, match=r"drawn in poles\.gpkg"):
        moved(draft, "mount/0", [(1.0, 1.0)])


@pytest.mark.parametrize(
    ("kind", "points", "values", "match"),
    [
        ("protected ground", [(0, 0), (2, 2), (2, 0), (0, 2)], {}, r"crosses or touches itself at \(1, 1\)"),
        ("protected ground", [(0, 0), (2, 2)], {}, "2 points cannot make a protected ground"),
        ("mount", [(0, 0), (1, 1)], {}, "2 points cannot make a mount"),
        ("wall", [(0, 0), (0.0001, 0)], {}, "no length"),
        ("wall", [(0, 0), (1, 0)], {"height": -1.0}, "out of bounds"),
        ("wall", [(0, 0), (1, 0)], {"hieght": 1.0}, "did you mean 'height'"),
        ("mount", [(0, 0)], {"name": "pole"}, "named 'pole' already"),
        ("mark", [(0, 0)], {"name": "pole"}, "named 'pole' already"),
        ("mount", [(float("nan"), 0)], {}, "finite"),
        ("mount", [(1e9, 0)], {}, "out of bounds"),
        ("mark", [(0, 0)], {"name": "\x1b[2J"}, "cannot be printed"),
    ],
)
def test_what_cannot_be_drawn_is_refused(kind, points, values, match):
    """In the words of the site file's own checks."""
    with pytest.raises(InputError, match=match):
        added(farm(), kind, points, values)


def test_there_is_one_boundary():
    """A second one is refused; the first can be moved, and goes as a whole."""
    draft, id_ = added(farm(), "boundary", SHAPES["outline"])
    assert id_ == "boundary"
    with pytest.raises(InputError, match="already"):
        added(draft, "boundary", SHAPES["outline"])
    other = moved(draft, id_, [(0, 0), (5, 0), (5, 5)])
    assert other.tables["boundary"] == {"outline": [[0, 0], [5, 0], [5, 5]]}
    assert removed(other, id_).tables == farm().tables


def test_a_value_is_set_and_taken_out():
    """In its place, with what is said behind the other keys; what the model refuses is refused."""
    draft = valued(farm(), "solid/0", "base", 0.1)
    assert 'name = "gate"  # swings' in draft.text
    assert "height = 1.2\nthickness = 0.1\nbase = 0.1\n" in draft.text
    assert valued(draft, "solid/0", "base", None).text == FARM
    for key, value, match in (
        ("base", 2.0, "is not below height"), ("height", None, "missing"), ("colour", 1, "has no 'colour'"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=match):
            valued(farm(), "solid/0", key, value)


def test_a_thing_that_is_wrong_can_be_mended_key_by_key():
    """What was wrong already refuses no step towards the mend."""
    draft = draft_of(b"[[solid]]\nname = 'a'\npath = [[0, 0], [1, 0]]\nheight = -1\nthickness = 0\n", None)
    draft = valued(valued(draft, "solid/0", "height", 1.0), "solid/0", "thickness", 0.2)
    assert draft.tables["solid"][0] == {"name": "a", "path": [[0, 0], [1, 0]], "height": 1, "thickness": 0.2}


def test_names_are_followed():
    """Units, lines of tape and scenarios name a thing by its new name."""
    draft = renamed(farm(), "mount/0", "corner pole")
    assert {unit["mount"] for unit in draft.tables["option"][0]["detector"]} == {"corner pole"}
    assert [shot["from"] for shot in draft.tables["ground"]["shots"]] == ["corner pole"] * 2
    draft = renamed(renamed(draft, "mark/0", "old post"), "solid/0", "big gate")
    assert draft.tables["ground"]["shots"][1]["name"] == "old post"
    assert [one["without"] for one in draft.tables["scenario"]] == [["big gate"], ["big gate", "hedge"]]
    assert checked_draft(draft).site.solid[0].name == "big gate"
    with pytest.raises(InputError, match="named 'hedge' already"):
        renamed(draft, "solid/0", "hedge")
    back = renamed(renamed(renamed(draft, "solid/0", "gate"), "mark/0", "post"), "mount/0", "pole")
    assert back.text == FARM


CABLES = """\
[supply]
volts = 12.0
[[supply.run]]
to = "joint"
length = 10.0
awg = 18
[[supply.run]]
from = "joint"
to = "pole"
length = 5.0
awg = 18
[[walk_tested]]
name = "north"
"""


def test_cables_and_walk_tests_are_followed():
    """Runs of cable name mounts, and what was walked names options."""
    flat = FARM[: FARM.index("[ground]")] + FARM[FARM.index("[[solid]]") :] + CABLES
    draft = renamed_option(renamed(draft_of(flat.encode(), None), "mount/0", "shed"), "north", "up")
    runs = draft.tables["supply"]["run"]
    assert [(run.get("from"), run["to"]) for run in runs] == [(None, "joint"), ("joint", "shed")]
    assert draft.tables["walk_tested"] == [{"name": "up"}]
    units = removed_unit(removed_unit(draft, "up", "D1"), "up", "D2")
    with pytest.raises(InputError, match="a cable leads to 'shed'"):
        removed(units, "mount/0")
    assert removed(draft, "mount/0", with_units=True).tables["supply"]["run"] == runs[:1]


def test_a_scenario_about_two_of_one_name_goes_on_to_be_about_both():
    """A wall and a hedge may have one name; once they are told apart both are gone all the same."""
    text = FARM.replace('"hedge"\npath', '"gate"\npath')
    draft = renamed(draft_of(text.encode(), None), "foliage/0", "green gate")
    assert draft.tables["scenario"][0]["without"] == ["gate", "green gate"]


def test_what_something_hangs_on_is_not_removed_unasked():
    """It is told what hangs on it; asked, that goes too."""
    with pytest.raises(InputError, match="a line of tape is held at 'pole'"):
        removed(farm(), "mount/0", with_units=True)
    flat = draft_of(FARM[: FARM.index("[ground]")].encode() + FARM[FARM.index("[[solid]]") :].encode(), None)
    with pytest.raises(InputError, match="D1 of 'north' and D2 of 'north'"):
        removed(flat, "mount/0")
    assert "option" not in removed(flat, "mount/0", with_units=True).tables
    with pytest.raises(InputError, match="the scenario 'open' is about 'gate' alone"):
        removed(farm(), "solid/0")
    without = removed(farm(), "solid/0", with_units=True)
    assert without.tables["scenario"] == [{"name": "bare", "without": ["hedge"]}]


def test_the_sites_that_come_along_are_listed():
    """Everything that is drawn in them, each once, and every kind in its place."""
    draft = read_draft(DATA / "demo.toml")
    names = {(one.kind, one.name) for one in things_of(draft)}
    assert {
        ("wall", "retaining wall"), ("crown", "young hedge"), ("mount", "gate pole"),
        ("ground of others", "lane"), ("keep-out ground", "paddock"), ("nuisance", "flue"),
        ("nuisance along a line", "greenhouse window"), ("nuisance over ground", "pond"),
        ("way in", "the lane"), ("walk", "across the slope"), ("returns taken otherwise", ""),
        ("boundary", ""),
    } <= names  # fmt: skip
    n_tables = sum(len(draft.get((table,), [])) for table in {k.table for k in KINDS.values()} - {"boundary"})
    assert len(things_of(draft)) == n_tables + 1


def ring(n, radius=5.0):
    """Corners around a place: an outline that never crosses itself."""
    return [(x * radius, y * radius) for x, y in (direction(360 * k / n) for k in range(n))]


@settings(max_examples=60)
@given(st.data())
def test_whatever_is_done_the_text_says_what_is_meant(data):
    """Any sequence of changes: the text is TOML, its tables those of the draft, and all else stays."""
    text = data.draw(st.sampled_from([FARM, ALL_PARTS, FARM.replace("\n", "\r\n")]))
    draft = draft_of(text.encode(), None)
    drafts = [draft]
    for _ in range(data.draw(st.integers(1, 12))):
        things = things_of(draft)
        one = data.draw(st.sampled_from(things)) if things else None
        what = data.draw(st.sampled_from(["add", "move", "name", "value", "remove"]))
        try:
            if what == "add" or one is None:
                kind = KINDS[data.draw(st.sampled_from(list(KINDS)))]
                shape = ring(data.draw(st.integers(3, 9)))[: 1 if kind.form == "point" else None]
                draft, id_ = added(draft, kind.name, shape)
                assert [t.kind for t in things_of(draft) if t.id == id_] == [kind.name]
            elif what == "move":
                by = data.draw(st.floats(-50, 50))
                points = [(x + by, y - by) for x, y in one.points]
                draft = moved(draft, one.id, points)
                (now,) = (t for t in things_of(draft) if t.id == one.id)
                assert np.abs(np.subtract(now.points, points)).max() <= 0.0005 + 1e-9
            elif what == "name":
                draft = renamed(draft, one.id, data.draw(st.sampled_from(["a", "b", "ü 'c' \"d\""])))
            elif what == "value":
                fields = KINDS[one.kind].fields
                if fields:
                    draft = valued(draft, one.id, data.draw(st.sampled_from(fields)).key, None)
            else:
                draft = removed(draft, one.id, data.draw(st.booleans()))
        except InputError:
            pass
        drafts.append(draft)
        assert tomllib.loads(draft.text) == draft.tables
        assert ("\n" in draft.text.replace("\r\n", "")) == ("\r\n" not in text)
    assert drafts[0].text == text

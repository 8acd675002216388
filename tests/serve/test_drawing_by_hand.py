"""Every kind of thing drawn, moved, given values, named and removed; what is refused, in words, still up."""

import math

import numpy as np
import pytest

from terrain3d.draft.kinds import KINDS

LINE, RING = [[-8.0, -6.0], [-5.0, -7.0]], [[-8.0, -8.0], [-5.0, -8.0], [-5.0, -6.0]]
POINTS = {"point": [[-7.0, -7.0]], "line": LINE, "outline": RING}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_is_drawn_moved_named_and_removed(page, kind):
    """It is there in local metres on the ground, chosen, and gone from the text when it is taken back."""
    form, before = KINDS[kind].form, page.text
    if kind == "boundary":
        assert not any(one["kind"] == kind for one in page.state["things"])
    page("draw", kind=kind, points=POINTS[form])
    assert not page.state["said"]["is_refusal"], page.said
    id_ = page.state["chosen"]
    drawn = next(one for one in page.state["things"] if one["id"] == id_)
    assert drawn["kind"] == kind
    for (x, y, z), (px, py) in zip(drawn["points"], POINTS[form], strict=True):
        assert (x, y) == pytest.approx((px, py))
        # The plane falls 10 % towards the south, z = 0 at the origin.
        assert z == pytest.approx(0.1 * py, abs=1e-6)
    moved = [[x + 0.5, y - 0.25] for x, y in POINTS[form]]
    page("move", id=id_, points=moved)
    again = next(one for one in page.state["things"] if one["id"] == id_)
    assert np.array(again["points"])[:, :2] == pytest.approx(np.array(moved))
    if KINDS[kind].has_name:
        page("rename", id=id_, name="called otherwise")
        assert page.thing("called otherwise")["id"] == id_
    page("remove", id=id_)
    assert page.state["chosen"] is None
    assert page.text == before
    while page.state["site"]["undo"]:
        page("undo")
    assert page.text == before


def test_fields_have_units_limits_and_starts(page):
    """What a wall needs is offered with its bounds, as the site file has them, and begins with something."""
    kinds = {one["kind"]: one for one in page.state["kinds"]}
    fields = {one["key"]: one for one in kinds["wall"]["fields"]}
    assert fields["height"]["unit"] == "metres"
    assert fields["height"]["is_required"]
    assert fields["height"]["default"] == 1.0
    assert fields["height"]["low"] == 0.0
    assert kinds["wall"]["form"] == "line"
    assert kinds["site"]["form"] == "none"


def test_values_are_set_and_taken_out_again(page):
    """A value goes into the text and the numbers, None takes it out; so with the site's own table."""
    wall = page.thing("garden wall")["id"]
    held = page.state["options"]
    page("value", id=wall, key="height", value=0.3)
    assert page.thing("garden wall")["values"]["height"] == 0.3
    assert page.state["options"] != held
    page("value", id=wall, key="microwave_db", value=6.0)
    page("value", id=wall, key="microwave_db", value=None)
    assert "microwave_db" not in page.text
    page("value", id="site", key="name", value="Slope, drawn on")
    page("value", id="paper", key="client", value="a client")
    assert page.state["site"]["name"] == "Slope, drawn on"
    assert 'client = "a client"' in page.text


@pytest.mark.parametrize(
    ("do", "keys", "words"),
    [
        ("draw", {"kind": "protected ground", "points": [[-8, -8], [-5, -5], [-5, -8], [-8, -5]]}, "crosses"),
        ("draw", {"kind": "protected ground", "points": LINE}, "2 points"),
        ("draw", {"kind": "wall", "points": [[1, 1], [1, 1]]}, "no length"),
        ("draw", {"kind": "wall", "points": LINE, "values": {"height": -1}}, "height"),
        ("draw", {"kind": "mount", "points": [[90, 0]]}, "no ground is known"),
        ("draw", {"kind": "mount", "points": [[1, 1]], "name": "low pole"}, "low pole"),
        ("draw", {"kind": "no such kind", "points": LINE}, "nothing is called"),
        ("draw", {"kind": "wall", "points": [[math.nan, 1], [2, 2]]}, "a number"),
        ("draw", {"kind": "wall", "points": [[2e5, 1], [2, 2]]}, "100 km"),
        ("draw", {"kind": "wall", "points": LINE, "name": "x" * 201}, "200 letters"),
        ("draw", {"kind": "wall", "points": [[k, 0] for k in range(2001)]}, "2001 points"),
        ("draw", {"kind": "wall", "points": "everywhere"}, "points"),
        ("value", {"id": "mount/0", "key": "colour", "value": "red"}, "colour"),
        ("value", {"id": "solid/0", "key": "height", "value": "high"}, "height"),
        ("value", {"id": "site", "key": "cell", "value": 0}, "cell"),
        ("value", {"id": "ground", "key": "photo", "value": "../../etc/passwd"}, "outside of the folder"),
        ("value", {"id": "search", "key": "types", "value": ["../type.toml"]}, "outside of the folder"),
        ("move", {"id": "solid/9", "points": LINE}, "no such thing"),
        ("rename", {"id": "mount/0", "name": ""}, "name"),
        ("rename", {"id": "mount/0", "name": "side pole"}, "side pole"),
        ("remove", {"id": "mount/0"}, "D1"),
        ("set", {"setting": "height", "value": 99}, "height"),
        ("set", {"setting": "range", "value": 7}, "range"),
        ("set", {"setting": "mask", "value": list(range(1, 10))}, "masked"),
        ("set", {"setting": "colour", "value": 1}, "no setting"),
        ("set", {"setting": "tilt", "value": "steep"}, "no number"),
        ("type", {"type": "no-such-type"}, "no-such-type"),
        ("type", {"type": "../type.toml"}, "outside of the folder"),
        ("take", {"change": {"option": "from below", "unit": "D1", "values": {"type": "../type.toml"},
                             "at": [0, 0]}}, "outside of the folder"),
        ("add_unit", {"option": None, "mount": "no pole", "type": "one-head-90"}, "no pole"),
        ("show_option", {"name": "no option"}, "no option"),
        ("compare", {"name": "from below"}, "no other option"),
        ("turn", {"across": 1e9}, "across"),
        ("ask", {"x": "here", "y": 0}, "x is no number"),
        ("save_as", {"file": "../elsewhere.toml"}, "outside of the folder"),
        ("open", {"file": "/etc/passwd"}, "outside of the folder"),
        ("dance", {}, "nothing called"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words_with_nothing_changed(page, do, keys, words):
    """Nothing is written, nothing breaks, and the next thing can be done."""
    page("choose_unit", option="from below", unit="D1")
    page.refuses(do, words, **keys)
    page("set", setting="tilt", value=3)
    assert page.session.unit.tilt_deg == 3


@pytest.mark.parametrize(
    "message", [None, [], "turn", {"turn": 1}, {"do": 5}, {"do": "turn", "a": {"b": object()}}]
)
def test_what_is_no_message_is_refused(page, message):
    """Whatever comes, words go back."""
    page.session.do(message)
    assert page.state["said"]["is_refusal"]


def test_a_mount_goes_with_its_units_where_that_is_asked(page):
    """A pole with a unit on it is not removed by mistake; asked to, its units go with it."""
    page.refuses("remove", "D1", id=page.thing("side pole")["id"])
    page("remove", id=page.thing("side pole")["id"], with_units=True)
    assert [option["name"] for option in page.state["options"]] == ["from below"]


def test_a_thousand_things_are_the_most(page, monkeypatch):
    """Where there are as many things as may be drawn, one more is refused."""
    monkeypatch.setattr("terrain3d.serve.drawing.MOST_THINGS", 6)
    page.refuses("draw", "6 drawn things", kind="mount", points=[[1.0, 1.0]])


def test_an_outline_that_crosses_is_told_while_it_is_drawn(page):
    """A line may bend back, but not cross itself; points come back with the ground's height."""
    told = page("check_draw", points=[[0, 0], [2, 2], [2, 0], [0, 2]], form="line")
    assert "crosses itself at (1.0, 1.0)" in told["refusal"]
    told = page("check_draw", points=[[0, 0], [2, 2], [2, 0]], form="outline")
    assert told["refusal"] is None
    assert told["points"][1] == pytest.approx([2.0, 2.0, 0.2])


def test_a_tape_is_held_at_a_pole_or_at_the_last_point(page):
    """5 m towards bearing 90 lie 5 m to the east, from the chosen pole or from what is drawn already."""
    pole = page.thing("side pole")["id"]
    assert page("tape", points=[], length_m=5, bearing_deg=90, **{"from": pole})["point"][
        :2
    ] == pytest.approx([13, 5])
    there = page("tape", points=[[0, 0], [1, 1]], length_m=2, bearing_deg=180)
    assert there["point"] == pytest.approx([1.0, -1.0, -0.1])


def test_units_are_put_moved_and_taken_off(page):
    """A unit put on a pole looks to the yard; moved it stands on the other; the last takes its option."""
    page("add_unit", option="from below", mount="side pole", type="one-head-90")
    unit = page.session.unit
    assert (unit.mount, unit.name) == ("side pole", "D2")
    # From (8, 5) the middle of the yard, (0, 5.5), lies nearly due west.
    assert unit.bearing_deg == pytest.approx(272.5)
    page("move_unit", option="from below", unit="D2", mount="low pole")
    assert (page.session.unit.x, page.session.unit.y) == (0.0, 0.0)
    page("type", type="two-head-180")
    assert page.session.unit.type.name == "two-head-180"
    for unit in ("D2", "D1"):
        page("remove_unit", option="from below", unit=unit)
    assert [option["name"] for option in page.state["options"]] == ["from the side"]


def test_options_are_added_copied_named_and_removed(page):
    """An option without units waits for one; a copy is set on its own."""
    page("add_option", name="later")
    assert next(one for one in page.state["options"] if one["name"] == "later")["held_share"] is None
    page("add_option", name=None, copy_of="from below")
    page("choose_unit", option="option 1", unit="D1")
    page("set", setting="bearing", value=20)
    outcome = page.session.now.outcome
    assert outcome.option("from below").detectors[0].bearing_deg == 0.0
    assert outcome.option("option 1").detectors[0].bearing_deg == 20.0
    page("rename_option", name="option 1", new="turned")
    assert page.session.now.option.name == "turned"
    page("remove_option", name="turned")
    page("remove_option", name="later")
    assert {one["name"] for one in page.state["options"]} == {"from below", "from the side"}


def test_lengths_in_feet(page):
    """A height in feet is set in feet and written in metres: 0.3048 m to the foot, exactly."""
    page("choose_unit", option="from below", unit="D1")
    page("units", units="ft")
    height = next(one for one in page.state["controls"] if one["setting"] == "height")
    assert height["value"] == pytest.approx(1.0 / 0.3048, abs=1e-5)
    assert height["unit"] == "ft"
    page("set", setting="height", value=3.5)
    assert page.session.unit.height_m == pytest.approx(3.5 * 0.3048, abs=1e-4)


def test_ground_that_is_typed_grows_beside_its_table(empty_page):
    """A plane, then spot levels, then lines of tape: each is the ground at once, in the same frame."""
    page = empty_page
    assert page.state["site"] is None
    page("begin_plane", fall=12, towards=180, extent=40, name="Yard below the house")
    assert page.state["ground_table"]["plane"]["fall"] == 12
    assert "mount" in page.state["next"]
    page("ground_set", points=[[-8, 7, 0.1], [8, 7, 0.0], [8, -8, -1.6], [0, -8, -1.4], [-8, -8, -1.2]])
    assert page.state["ground_table"]["kind"] == "points"
    assert page.session.site.terrain.ground.height_at(0.0, -8.0) == pytest.approx(-1.4, abs=0.05)
    page("draw", kind="mount", points=[[0.0, 6.0]], name="corner pole")
    page("draw", kind="protected ground", points=[[-6, -4], [6, -4], [6, 4], [-6, 4]], name="yard")
    assert "unit" in page.state["next"]
    page("add_unit", option=None, mount="corner pole", type="one-head-90")
    assert page.state["next"] == ""
    (option,) = page.state["options"]
    assert option["held_share"] > 0
    page("save_as", file="site")
    assert (page.session.folder / "site.toml").is_file()
    tape = {"from": "corner pole", "tape": 12.0, "drop": 1.0}
    page("ground_set", shots=[{**tape, "bearing": bearing} for bearing in (90, 150, 210, 270)])
    assert page.state["ground_table"]["kind"] == "shots"
    assert len(page.state["ground_table"]["rows"]) == 4


def test_a_folder_offers_its_sites_and_surveys(folder):
    """Site files and surveys are told apart from what else lies there; a survey is looked at before."""
    from terrain3d.serve.session import Session

    (folder / "my-type.toml").write_text('name = "x"\n', encoding="utf-8")
    (folder / "levels.csv").write_text(
        "".join(f"{x},{y},{0.1 * x}\n" for x in range(20) for y in range(20)), encoding="utf-8"
    )
    (folder / "notes.md").write_text("nothing", encoding="utf-8")
    session = Session(folder)
    begin = session.state()["begin"]
    assert begin["sites"] == ["site.toml"]
    assert [one["file"] for one in begin["surveys"]] == ["levels.csv"]
    told = session.do({"do": "inspect", "file": "levels.csv"})
    assert told["lines"]
    session.do({"do": "begin_survey", "file": "levels.csv", "name": "Levels"})
    assert session.site.terrain.ground.height_at(1.0, 0.0) - session.site.terrain.ground.height_at(
        0.0, 0.0
    ) == pytest.approx(0.1, abs=0.01)
    session.do({"do": "drop"})
    assert session.state()["site"] is None
    session.end()

"""The page as a person has it: in Debian's Chromium, against the server as it is."""

import csv
import io
import re
import tomllib
from datetime import date

import pytest
from page_tests import SITE, choose, click_at, in_plan, named, pixel_of, quiet, settled, state_of
from playwright.sync_api import expect
from site_files import written


def test_a_first_time_person_gets_a_verdict_and_its_reason(tmp_path, serve, look):
    """A pole placed, a yard protected, a unit put on, a verdict and why: by what is labelled alone."""
    page = look(serve(tmp_path).address)
    page.get_by_label("what it is called").fill("Yard below the house")
    page.get_by_role("radio", name=re.compile("A slope")).check()
    page.get_by_role("button", name="Begin").click()
    settled(page, lambda state: state["site"]["name"] == "Yard below the house")
    page.wait_for_selector("[data-serial]")
    expect(page.locator("#picture-hint")).to_contain_text("Draw a mount")
    picture = page.get_by_role("application", name="Picture of the hillside")
    box = picture.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    page.get_by_role("button", name="mount", exact=True).click()
    page.mouse.click(middle[0], middle[1] - 60)
    settled(page, lambda state: [thing for thing in state["things"] if thing["kind"] == "mount"])
    page.get_by_label("name", exact=True).fill("corner pole")
    page.get_by_label("name", exact=True).press("Tab")

    page.get_by_role("button", name="protected ground", exact=True).click()
    for x, y in ((-60, -20), (60, -20), (60, 40), (-60, 40)):
        page.mouse.click(middle[0] + x, middle[1] + y)
        quiet(page)
    page.get_by_role("button", name="End", exact=True).click()
    settled(page, lambda state: [one for one in state["things"] if one["kind"] == "protected ground"])

    page.get_by_role("button", name="corner pole").click()
    page.get_by_role("button", name="Put the unit on").click()
    state = settled(page, lambda state: state["options"] and state["options"][0]["held_share"] is not None)
    assert state["options"][0]["held_share"] > 0  # a unit set to where it looks holds something of a yard
    expect(page.get_by_label("Options, best first")).to_contain_text("%")

    page.get_by_role("button", name="Ask why").click()
    page.mouse.click(middle[0], middle[1] + 10)
    why = settled(page, lambda state: state.get("why"))["why"]
    expect(page.get_by_role("tabpanel", name="Why here")).to_contain_text(why["lines"][0])
    assert list(tmp_path.glob("*.toml")) == []  # nothing is written before it is saved


#: Where each kind is drawn, where nothing else of the site lies in the way.
PLACES = {
    "point": [(-9, -2)],
    "line": [(-9, -2), (-6, -2), (-6, -5)],
    "outline": [(-9, -2), (-6, -2), (-6, -5), (-9, -5)],
}


def test_each_kind_is_drawn_moved_and_removed(yard):
    """In plan, with clicks, a double click, a drag of a point and a button; and all taken back."""
    page, _server, path = yard
    in_plan(page)
    page.get_by_text("More to draw").click()
    before = state_of(page)
    kinds = [kind for kind in before["kinds"] if kind["form"] != "none"]
    assert len(kinds) >= 12
    for kind in kinds:
        count = len(state_of(page)["things"])
        page.get_by_role("button", name=kind["label"], exact=True).first.click()
        *first, last = PLACES[kind["form"]]
        click_at(page, *first)
        if kind["form"] == "point":
            click_at(page, last)
        else:
            page.mouse.dblclick(*pixel_of(page, [*last, 0]))
        state = settled(page, lambda state, n=count: len(state["things"]) == n + 1, f"a {kind['label']}")
        (drawn,) = [one for one in state["things"] if one["id"] == state["chosen"]]
        assert drawn["kind"] == kind["kind"]
        assert len(drawn["points"]) == len(PLACES[kind["form"]])
        for point, wanted in zip(drawn["points"], PLACES[kind["form"]], strict=True):
            assert point[:2] == pytest.approx(wanted, abs=0.12), kind["label"]  # some three pixels
        quiet(page)
        from_, to = pixel_of(page, drawn["points"][0]), pixel_of(page, [-11, 2, 0])
        page.mouse.move(*from_)
        page.mouse.down()
        page.mouse.move((from_[0] + to[0]) / 2, (from_[1] + to[1]) / 2)
        page.mouse.move(*to, steps=4)
        quiet(page)
        page.mouse.up()
        moved = settled(
            page,
            lambda state, id_=drawn["id"]: (
                next(one for one in state["things"] if one["id"] == id_)["points"][0][0] < -10.5
            ),
            f"a moved {kind['label']}",
        )
        assert next(one for one in moved["things"] if one["id"] == drawn["id"])["points"][0][
            :2
        ] == pytest.approx((-11, 2), abs=0.15)
        page.get_by_role("button", name="Remove", exact=True).click()
        settled(page, lambda state, n=count: len(state["things"]) == n, f"no {kind['label']} any more")
    assert state_of(page)["things"] == before["things"]
    # The last was removed, moved and drawn: taken back one by one.
    for count in (1, 1, 0):
        page.get_by_role("button", name="Take back").click()
        quiet(page)
        assert len(state_of(page)["things"]) == len(before["things"]) + count
    assert path.read_text() == SITE


def test_a_plan_says_how_long_the_ground_is(yard):
    """A bar as long as its number of metres on the ground, as near as one looks; none in 3-D."""
    page, _server, _path = yard
    quiet(page)
    expect(page.locator(".over .scale")).to_have_count(0)
    in_plan(page)
    lengths = []
    for _ in range(2):
        words = page.locator(".over .scale + .label").text_content()
        found = re.fullmatch(r"(\d+) m", words)
        assert found, words
        from_, to = pixel_of(page, [0, 0, 0]), pixel_of(page, [float(found[1]), 0, 0])
        bar_px = page.locator(".over .scale").evaluate("(bar) => bar.getBBox().width * bar.getScreenCTM().a")
        assert bar_px == pytest.approx(to[0] - from_[0], abs=1.5)
        lengths.append(float(found[1]))
        for _ in range(6):
            page.get_by_role("button", name="nearer").click()
            quiet(page)
    assert lengths[1] < lengths[0]


def test_the_keyboard_alone_draws(yard):
    """The picture is reached with Tab, a cross is moved with the arrows, Space places, Enter ends."""
    page, _server, _path = yard
    page.get_by_role("button", name="protected ground", exact=True).focus()
    page.keyboard.press("Enter")
    picture = page.get_by_role("application", name="Picture of the hillside")
    picture.focus()
    for keys in ("ArrowLeft", "ArrowDown", "ArrowRight"):
        page.keyboard.press("Space")
        quiet(page)
        for _ in range(5):
            page.keyboard.press(keys)
    page.keyboard.press("Enter")
    state = settled(page, lambda state: state["chosen"] and state["chosen"].startswith("protect"))
    drawn = next(one for one in state["things"] if one["id"] == state["chosen"])
    assert len(drawn["points"]) == 3
    assert len({tuple(point) for point in drawn["points"]}) == 3


def test_places_are_given_by_numbers_and_by_tape(yard):
    """Metres from the middle of the site, or a length and a bearing from the last place."""
    page, _server, _path = yard
    page.get_by_role("button", name="wall", exact=True).click()
    page.get_by_label("east, m").fill("-2")
    page.get_by_label("north, m").fill("-5.5")
    page.get_by_role("button", name="Place", exact=True).click()
    expect(page.get_by_text("1 place so far")).to_be_visible()
    page.get_by_label("length, m").fill("four")
    page.get_by_role("button", name="Tape", exact=True).click()
    expect(page.get_by_role("status").last).to_contain_text("give a number")
    page.get_by_label("length, m").fill("4")
    page.get_by_label("bearing, \u00b0").fill("90")
    page.get_by_label("bearing, \u00b0").press("Enter")
    expect(page.get_by_text("2 places so far")).to_be_visible()
    page.get_by_role("button", name="End", exact=True).click()
    state = settled(page, lambda state: len([one for one in state["things"] if one["kind"] == "wall"]) == 2)
    drawn = next(one for one in state["things"] if one["id"] == state["chosen"])
    # Due east is a bearing of 90 degrees: 4 m on from (-2, -5.5).
    assert [point[:2] for point in drawn["points"]] == [pytest.approx((-2, -5.5)), pytest.approx((2, -5.5))]


def test_what_is_drawn_wrongly_is_refused_and_what_is_dropped_is_gone(yard):
    """An outline that crosses itself goes no further than where it does; Escape leaves nothing."""
    page, _server, _path = yard
    in_plan(page)
    before = state_of(page)["things"]
    page.get_by_role("button", name="block", exact=True).click()
    click_at(page, (-9, -5), (-5, -1), (-9, -1), (-5.5, -4.5))
    expect(page.locator(".said.refused")).to_contain_text("crosses itself")
    expect(page.get_by_text("3 places so far")).to_be_visible()
    page.keyboard.press("Backspace")
    expect(page.get_by_text("2 places so far")).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.locator(".said.refused")).to_contain_text("it needs 3 places")
    page.keyboard.press("Escape")
    expect(page.get_by_role("heading", name="Draw", exact=True)).to_be_visible()
    assert state_of(page)["things"] == before


def test_a_place_snaps_to_what_stands_there(yard):
    """Near the end of a wall it is that end, near its edge it lies on the edge."""
    page, _server, _path = yard
    in_plan(page)
    page.get_by_role("button", name="walk", exact=True).click()
    x, y = pixel_of(page, [-2, 5, -0.25])
    page.mouse.click(x + 4, y - 3)
    quiet(page)
    x, y = pixel_of(page, [-4.5, 5, -0.25])
    page.mouse.click(x, y + 5)
    quiet(page)
    page.keyboard.press("Enter")
    state = settled(page, lambda state: len([one for one in state["things"] if one["kind"] == "walk"]) == 2)
    drawn = next(one for one in state["things"] if one["id"] == state["chosen"])
    assert drawn["points"][0][:2] == pytest.approx((-2, 5), abs=1e-6)
    assert drawn["points"][1][1] == pytest.approx(5, abs=1e-3)


def test_wrong_values_are_refused_in_words(yard):
    """Each field says its limits; what is past them, or no number, changes nothing."""
    page, _server, _path = yard
    choose(page, "low wall")
    field = page.locator("[data-field=height]")
    expect(page.locator("#help-height")).to_contain_text("up to 200")
    before = named(state_of(page), "low wall")
    for text, told in (
        ("500", "200"),
        ("-1", "0"),
        ("high", "no number"),
        ("", "needed"),
        ("1e999", "no number"),
    ):
        field.fill(text)
        field.press("Tab")
        expect(page.locator(".said.refused")).to_contain_text(told)
        assert named(state_of(page), "low wall") == before
    field.fill("0.8")
    field.press("Tab")
    settled(page, lambda state: named(state, "low wall")["values"]["height"] == 0.8)


def test_a_unit_is_turned_by_its_handle_and_dragged_to_another_mount(yard):
    """The handle on the arc turns it about its mount; the unit itself is dragged to another."""
    page, _server, _path = yard
    in_plan(page)
    unit = settled(page, lambda state: state["units_drawn"])["units_drawn"][0]
    foot = unit["foot"]
    page.mouse.move(*pixel_of(page, unit["handle"]))
    page.mouse.down()
    # From the pole at (0, 8) to (6, 2) is south-east: a bearing of 135 degrees.
    page.mouse.move(*pixel_of(page, [foot[0] + 6, foot[1] - 6, unit["handle"][2]]), steps=6)
    quiet(page)
    page.mouse.up()
    turned = settled(page, lambda state: abs(state["units_drawn"][0]["bearing_deg"] - 135) < 1.5)
    assert turned["site"]["undo"]
    quiet(page)
    page.mouse.move(*pixel_of(page, turned["units_drawn"][0]["at"]))
    page.mouse.down()
    page.mouse.move(*pixel_of(page, [6, 2, 0]), steps=6)
    page.mouse.up()
    settled(page, lambda state: state["units_drawn"][0]["mount"] == "shed pole")
    # Each was one change, however far the hand went.
    page.get_by_role("button", name="Take back").click()
    settled(page, lambda state: state["units_drawn"][0]["mount"] == "pole")
    page.get_by_role("button", name="Take back").click()
    state = settled(page, lambda state: state["site"]["undo"] is None)
    assert state["units_drawn"][0]["bearing_deg"] == unit["bearing_deg"]


def test_every_control_of_a_unit_sets_it(yard):
    """Sliders with their keys, numbers, lists, zones; and back as it was."""
    page, _server, _path = yard
    page.get_by_role("button", name="D1 on pole").click()
    controls = settled(page, lambda state: state["controls"])["controls"]
    assert {"height", "bearing", "tilt", "range", "mask"} <= {one["setting"] for one in controls}

    def value(setting):
        return next(one for one in state_of(page)["controls"] if one["setting"] == setting)["value"]

    for one in controls:
        setting, before = one["setting"], one["value"]
        if one.get("is_many"):
            page.get_by_role("button", name=f"{one['label']}: 2").click()
            settled(page, lambda _state, s=setting: value(s) == [2])
            page.get_by_role("button", name=f"{one['label']}: 2").click()
            settled(page, lambda _state, s=setting: value(s) == [])
        elif one["choices"]:
            others = [choice for choice in one["choices"] if choice != before]
            if others:
                page.locator(f"[data-field={setting}]").select_option(index=one["choices"].index(others[0]))
                settled(page, lambda _state, s=setting, to=others[0]: value(s) == to)
        else:
            page.locator(f"[data-slider={setting}]").focus()
            page.keyboard.press("ArrowRight")
            settled(
                page,
                lambda _state, s=setting, b=before, step=one["step"]: value(s) == pytest.approx(b + step),
                setting,
            )
            number = page.locator(f"[data-field={setting}]")
            number.fill(str(before))
            number.press("Enter")
            settled(page, lambda _state, s=setting, b=before: value(s) == pytest.approx(b), setting)
    page.locator("[data-field=tilt]").fill("80")
    page.locator("[data-field=tilt]").press("Enter")
    expect(page.locator(".said.refused")).to_contain_text("30")


def test_an_edge_is_dragged_with_both_its_ends(yard):
    """A wall moved by its middle keeps its length and its bearing."""
    page, _server, _path = yard
    in_plan(page)
    choose(page, "low wall")
    page.mouse.move(*pixel_of(page, [-4.5, 5, 0.25]))
    page.mouse.down()
    page.mouse.move(*pixel_of(page, [-5.5, 3, 0.15]), steps=5)
    quiet(page)
    page.mouse.up()
    state = settled(page, lambda state: named(state, "low wall")["points"][0][1] < 3.2)
    (x0, y0, _), (x1, y1, _) = named(state, "low wall")["points"]
    assert (x1 - x0, y1 - y0) == pytest.approx((4, 0), abs=1e-6)
    assert (x0, y0) == pytest.approx((-7, 3), abs=0.15)


def test_long_work_is_told_and_stopped(yard):
    """A search goes on beside the page, which says so; Stop ends it, and nothing of it stays."""
    page, _server, _path = yard
    page.get_by_role("button", name="Search\u2026").click()
    page.get_by_role("dialog").get_by_role("button", name="Search", exact=True).click()
    page.get_by_role("button", name="Stop", exact=True).click()
    state = settled(page, lambda state: not state["work"])
    assert not state["found"]
    choose(page, "low wall")


def test_a_still_of_what_is_seen_is_handed_over(yard):
    """One click, and a PNG is downloaded."""
    page, _server, _path = yard
    page.get_by_role("button", name="Hand over\u2026").click()
    with page.expect_download() as handed:
        page.get_by_role("button", name="A still of this view").click()
    # The first bytes of any PNG (ISO/IEC 15948).
    assert handed.value.path().read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_walk_test_goes_out_and_comes_back(yard):
    """Its sheet is written, filled in, chosen and read; what it says is listed and taken with one click."""
    page, _server, path = yard
    page.get_by_role("button", name="Hand over\u2026").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name="as set today")).to_be_visible()
    expect(dialog.get_by_role("button", name="Read it")).to_be_hidden()
    dialog.get_by_role("button", name="Walk test", exact=True).click()
    settled(page, lambda state: state["found"] and not state["work"])
    page.get_by_text("Sheet of the walk test, written into the folder out").wait_for()
    sheet = path.parent / "out" / "walktest.csv"
    head, *rows = csv.reader(io.StringIO(sheet.read_text(encoding="utf-8")))
    with (path.parent / "seen.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *([*row[:-1], row[head.index("expect")]] for row in rows)])
    page.get_by_role("button", name="Hand over\u2026").click()
    page.get_by_label("day of the work").fill("2026-05-03")
    page.get_by_label("sheet of its walk test").select_option("seen.csv")
    dialog.get_by_role("button", name="Read it").click()
    settled(page, lambda state: state["found"] and not state["work"] and "reading" in state["found"]["title"])
    page.get_by_text(f"{len(rows)} of {len(rows)} points as told").wait_for()
    page.get_by_role("button", name="Take it").click()
    settled(page, lambda state: state["site"]["unsaved"])
    page.get_by_role("button", name="Save", exact=True).click()
    settled(page, lambda state: not state["site"]["unsaved"])
    tested = {"name": "as set today", "on": date(2026, 5, 3), "points": len(rows), "as_told": len(rows)}
    assert tomllib.loads(path.read_text(encoding="utf-8"))["walk_tested"] == [tested]


#: A pole and ground to hold on a slope, in UTM zone 31N.
IN_UTM = """[site]
name = "slope"
crs = "EPSG:32631"
[ground]
plane = { fall = 10, towards = 180, extent = 40 }
[[mount]]
name = "corner pole"
at = [560018.125, 4950020.75]
[[protect]]
name = "yard"
outline = [[560015, 4950023], [560021, 4950023], [560021, 4950028], [560015, 4950028]]
"""


def test_places_are_typed_and_read_as_the_site_file_has_them(tmp_path, serve, look):
    """A pole is put by easting and northing, in its fields and while it is drawn; one far away is refused."""
    page = look(serve(written(tmp_path, IN_UTM)).address)
    settled(page, lambda state: state["things"])
    page.wait_for_selector("[data-serial]")
    choose(page, "corner pole")
    expect(page.get_by_label("What is chosen")).to_contain_text("The site file is in WGS 84 / UTM zone 31N.")
    expect(page.get_by_label("point 1, east", exact=True)).not_to_have_value("560018.125")
    page.get_by_role("button", name="site file", exact=True).click()
    easting = page.get_by_label("point 1, easting")
    expect(easting).to_have_value("560018.125")
    easting.fill("560019.5")
    easting.press("Tab")
    settled(page, lambda state: named(state, "corner pole")["of_file"] == [[560019.5, 4950020.75]])
    easting.fill("570019.5")
    easting.press("Tab")
    settled(page, lambda state: state["said"]["is_refusal"])
    expect(page.get_by_role("status")).to_contain_text("lies 10.0 km from the ground")

    page.get_by_role("button", name="mount", exact=True).click()
    page.get_by_label("easting, m").fill("560017.25")
    page.get_by_label("northing, m").fill("4950021.5")
    page.get_by_role("button", name="Place", exact=True).click()
    state = settled(page, lambda state: len([one for one in state["things"] if one["kind"] == "mount"]) == 2)
    drawn = next(one for one in state["things"] if one["id"] == state["chosen"])
    assert drawn["of_file"][0] == pytest.approx([560017.25, 4950021.5], abs=0.0011)
    page.mouse.move(*pixel_of(page, drawn["points"][0]))
    quiet(page)
    expect(page.locator("#picture-hint")).to_contain_text("easting 5600")

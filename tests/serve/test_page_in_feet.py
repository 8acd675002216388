"""The page in feet: all that is told turns with its switch, and begins as the site file asks."""

import io
import re
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from test_working import wait

from terrain3d.draft.document import read_draft
from terrain3d.lengths import lengths_in
from terrain3d.sentences.asking import place_lines
from terrain3d.serve.session import Session

FOOT_M = 0.3048  # NIST SP 811 (2008), B.8
METRE = re.compile(r"\bm\b|\bm2\b|m²|metre|\b[ck]?m/s|\b[ck]m\b")
#: Codes of units and what keys mean, which the page words itself; what types say of themselves; what the
#: coordinates of the site file are in, which stay as they are.
NOT_TOLD = {"kinds", "types", "things", "ground_table", "coordinates"}


def texts(value, key=""):
    """Every text of a state."""
    if isinstance(value, dict):
        for name, below in value.items():
            yield from texts(below, f"{key}.{name}") if name not in NOT_TOLD else ()
    elif isinstance(value, list):
        for below in value:
            yield from texts(below, key)
    elif isinstance(value, str):
        yield value


def metres_left(page):
    return [text for text in texts(page.state) if METRE.search(text)]


def feet_told(page):
    return [text for text in texts(page.state) if re.search(r"\d ft", text)]


def asked(page):
    """A page on which much is told: a unit chosen, a place asked about, and what would hold it."""
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="tilt", value=0)
    page("would_hold", x=0.0, y=6.0)


def test_all_that_is_told_turns_with_the_switch_and_back(page):
    """Figures, sentences, warnings, the answer and what would hold; back in metres it is what it was."""
    asked(page)
    before = [text for text in texts(page.state) if not text.startswith("/picture")]
    assert metres_left(page)
    page("units", units="ft")
    assert metres_left(page) == []
    assert len(feet_told(page)) > 15
    page("units", units="m")
    assert [text for text in texts(page.state) if not text.startswith("/picture")] == before


def test_the_answer_in_feet_says_the_same_place(page):
    """Its distance is that in metres, by the foot of the standard."""
    asked(page)
    (there,) = page.session.answer.place.units[:1]
    page("units", units="ft")
    line = page.state["why"]["lines"][1]
    told = float(re.search(r"D1, ([\d.]+) ft away", line)[1])
    assert told == pytest.approx(there.distance_m / FOOT_M, abs=0.051)
    with lengths_in("ft"):
        assert page.state["why"]["lines"][: len(place_lines(page.session.answer.place, "person"))] == (
            place_lines(page.session.answer.place, "person")
        )


def test_areas_turn_by_the_square_of_the_foot(page):
    """The row of both layers, as its option has it."""
    page("units", units="ft")
    (row,) = [one for one in page.state["blocks"] if one.get("text") == "both layers"][:1]
    held = float(row["figures"][0].removesuffix(" ft²"))
    area_m2 = page.session.now.option.area_m2["both"]
    assert held == pytest.approx(area_m2 / 0.09290304, abs=0.51)  # NIST SP 811 (2008), B.8


def test_the_picture_is_drawn_anew(page):
    """Contours and the scale of the scene are round in the unit, and so are the pictures beside it."""
    page("choose_unit", option="from below", unit="D1")
    first = np.asarray(Image.open(io.BytesIO(page.session.frame().jpeg)), int)
    section, url = page.session.picture("section")[0], page.state["section"]
    page("units", units="ft")
    second = np.asarray(Image.open(io.BytesIO(page.session.frame().jpeg)), int)
    assert (abs(second - first).max(axis=2) > 60).sum() > 50
    assert page.session.picture("section")[0] != section
    assert page.state["section"] != url


def test_it_begins_as_the_site_file_asks(folder):
    """With `[paper] units = "ft"`; the switch goes the other way too, and writes nothing."""
    path = folder / "site.toml"
    path.write_text(f'{path.read_text(encoding="utf-8")}\n[paper]\nunits = "ft"\n', encoding="utf-8")
    session = Session(folder, read_draft(path))
    try:
        page = SimpleNamespace(state=session.state())
        assert page.state["units"] == page.state["site"]["units"] == "ft"
        assert metres_left(page) == []
        assert feet_told(page)
        text = session.draft.text
        session.do({"do": "units", "units": "m"})
        page.state = session.state()
        assert page.state["site"]["units"] == "m"
        assert metres_left(page)
        assert feet_told(page) == []
        assert session.draft.text == text
    finally:
        session.end()


def test_what_work_found_turns_too(page):
    """A fixing sheet that was made in metres, and a study: their lines are there in both."""
    for order in ({"do": "sheet"}, {"do": "study", "parts": ["walks", "close-in"]}):
        page.session.do(order)
        wait(page)
        in_metres = [row["words"] for row in page.state["found"]["rows"]]
        assert any(re.search(r"\d m\b", words) for words in in_metres)
        page("units", units="ft")
        assert metres_left(page) == []
        in_feet = [row["words"] for row in page.state["found"]["rows"]]
        assert len(in_feet) == len(in_metres)
        assert any(re.search(r"\d ft\b", words) for words in in_feet)
        page("units", units="m")


def test_it_follows_what_is_set_for_paper(page):
    """The key is a field of the page too; taken back, the lengths are metres again."""
    page("units", units="m")
    page("value", id="paper", key="units", value="ft")
    assert 'units = "ft"' in page.text
    assert page.state["site"]["units"] == "ft"
    assert metres_left(page) == []
    page("undo")
    assert page.state["site"]["units"] == "m"
    assert feet_told(page) == []

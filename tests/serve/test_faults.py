"""A fault of the program amid an order is told, what it changed is put back, and the page goes on."""

import io

import numpy as np
import pytest
from PIL import Image

from terrain3d.draft.history import History
from terrain3d.serve import keeping
from terrain3d.serve.session import Session
from terrain3d.serve.work import Done
from terrain3d.show.live.picture import Picture


def seen(page):
    """All that a page shows but what was said; the picture in pixels."""
    page.session.due()
    image = np.asarray(Image.open(io.BytesIO(page.session.frame().jpeg)), int)
    state = page.state
    # What counts pictures may go on: they are drawn anew.
    counted = ("said", "section", "outlook", "why")
    return {key: value for key, value in state.items() if key not in counted}, image


def falls_over(*_args, **_keys):
    raise ZeroDivisionError("as a test has it")


#: An order, and what falls over in it: early, in the middle, and when nearly all is done.
WALL = {"do": "draw", "kind": "wall", "points": [[-2.0, 1.5], [2.0, 1.5]], "values": {"height": 1.2}}
TILT = {"do": "set", "setting": "tilt", "value": 3}
FAULTS = [
    (WALL, History, "push"),
    (WALL, Picture, "renew"),
    (WALL, Session, "keep_journal"),
    (TILT, Picture, "draw"),
    (TILT, Session, "_keep_soon"),
    ({"do": "undo"}, Session, "show_live"),
    ({"do": "open", "file": "site.toml"}, keeping, "bring_back"),
    ({"do": "compare", "name": "from the side"}, Picture, "draw"),
    ({"do": "remove_option", "name": "from below"}, Session, "keep_journal"),
]


@pytest.mark.parametrize(("order", "place", "name"), FAULTS, ids=lambda one: getattr(one, "__name__", None))
def test_a_fault_is_told_and_leaves_all_as_it_was(page, monkeypatch, capsys, order, place, name):
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="bearing", value=5)
    before, image = seen(page)
    text = page.text
    with monkeypatch.context() as broken:
        broken.setattr(place, name, falls_over)
        assert page.session.do(order) is None
    said = page.state["said"]
    assert said["is_refusal"]
    assert said["text"].startswith("a fault in the program: ZeroDivisionError: as a test has it")
    assert "in falls_over" in capsys.readouterr().err
    page.session.tick()
    assert page.text == text
    after, again = seen(page)
    assert after == before
    assert np.abs(again - image).mean() < 0.1
    page("undo")
    assert page.session.unit.bearing_deg == 0
    page("redo")
    page.session.do(order)
    assert not page.state["said"]["is_refusal"], page.said


def test_a_fault_in_what_comes_of_work_is_told_and_the_page_goes_on(page, monkeypatch):
    monkeypatch.setattr(page.session.work, "poll", lambda: Done("mounts", object(), page.session.draft))
    monkeypatch.setattr("terrain3d.serve.working.done_words", falls_over)
    page.session.tick()
    assert page.said.startswith("a fault in the program: ZeroDivisionError")
    assert page.session.frame() is not None

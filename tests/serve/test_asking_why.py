"""Asking why: what is answered agrees with the ground, and what is taken holds."""

import io

import numpy as np
import pytest
from PIL import Image

from terrain3d import palette
from terrain3d.cover.verdict import Verdict
from terrain3d.serve.shown import code_at


def places_of(page, code, most):
    """Some places of the yard with a verdict of the option in view."""
    ground, option = page.session.site.terrain.ground, page.session.now.option
    x, y = np.meshgrid(ground.xs, ground.ys)
    where = (option.verdicts == code) & (abs(x) < 4) & (y > 2) & (y < 9)
    rows = np.argwhere(where)
    return [(float(ground.xs[i]), float(ground.ys[j])) for j, i in rows[:: max(len(rows) // most, 1)][:most]]


def test_the_answer_begins_with_the_verdict_of_the_ground(page):
    """Of ground of every verdict the first words are those of the key."""
    page("show_option", name="from below")
    words = {Verdict.BOTH: "Both layers", Verdict.UPPER_ONLY: "Upper only", Verdict.DEAD: "Dead ground"}
    told = 0
    for code, begins in words.items():
        for x, y in places_of(page, code, 3):
            page("ask", x=x, y=y)
            why = page.state["why"]
            assert why["lines"][0].startswith(begins)
            assert why["at"][:2] == pytest.approx([x, y])
            told += 1
    assert told > 4


def test_what_takes_a_layer_is_named_with_its_distance(page):
    """Behind the garden wall, which stands 4 m north of the pole, the wall is named, 3.8 to 4.2 m away."""
    page("show_option", name="from below")
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="tilt", value=0)
    page("ask", x=0.0, y=5.0)
    (line,) = [line for line in page.state["why"]["lines"] if "garden wall" in line]
    away = float(line.split('"garden wall" ')[1].split(" m")[0])
    assert 3.7 < away < 4.3


def test_the_section_leads_to_the_place(page):
    """It is a picture of its own, another for another place."""
    page("show_option", name="from below")
    page("ask", x=0.0, y=6.0)
    first = page.state["why"]["section"]
    data, kind = page.session.picture("why")
    assert kind == "image/png"
    assert Image.open(io.BytesIO(data)).size == (760, 250)
    page("ask", x=-2.0, y=7.0)
    assert page.state["why"]["section"] != first
    assert page.session.picture("why")[0] != data


def test_what_would_hold_it_holds_it_when_it_is_taken(page):
    """Each change that is offered, taken, makes the place held, is in the text, and can be taken back."""
    page("show_option", name="from below")
    taken = 0
    for code in (Verdict.UPPER_ONLY, Verdict.DEAD, Verdict.OUTSIDE):
        for x, y in places_of(page, code, 2):
            page("would_hold", x=x, y=y)
            why = page.state["why"]
            for offered in why["would_hold"]:
                before = page.text
                page("take", change=offered["change"])
                assert not page.state["said"]["is_refusal"], page.said
                assert page.state["why"]["lines"][0] == "Both layers here."
                assert code_at(page.session.site, page.session.now.option, x, y) == Verdict.BOTH
                assert page.text != before
                page("undo")
                assert page.text == before
                taken += 1
            if not why["would_hold"]:
                assert "would hold it" in why["lines"][-1]
    assert taken > 3


def test_an_answer_is_forgotten_once_the_ground_is_another(page):
    """A unit that is turned or a wall that is drawn makes the answer stale, and it is shown no more."""
    page("show_option", name="from below")
    for change in (
        {"do": "set", "setting": "bearing", "value": 10},
        {"do": "draw", "kind": "wall", "points": [[0, 2], [1, 2]]},
    ):
        page("ask", x=0.0, y=6.0)
        assert page.state["why"] is not None
        page("choose_unit", option="from below", unit="D1")
        page.session.do(change)
        assert page.state["why"] is None
    page("ask", x=0.0, y=6.0)
    page("forget")
    assert page.state["why"] is None


def test_ground_that_is_held_needs_no_change(page):
    """It is said so."""
    page("show_option", name="from below")
    (x, y), *_ = places_of(page, Verdict.BOTH, 1)
    page("would_hold", x=x, y=y)
    assert page.state["why"]["would_hold"] == []
    assert page.state["why"]["lines"][-1] == "Both layers hold this ground already."


def test_without_a_unit_nothing_can_be_set_otherwise(page):
    """It is said so, and the place is told all the same."""
    for option in ("from below", "from the side"):
        page("remove_option", name=option)
    page("ask", x=0, y=5)
    assert page.state["why"]["lines"]
    page.refuses("would_hold", "no unit", x=0, y=5)
    assert page.state["why"]["lines"]


def test_a_line_that_is_chosen_is_cut(page):
    """Along the walk the strip of the section has the verdicts of the option, in the line's own shares."""
    page("show_option", name="from below")
    page("choose", id=page.thing("across")["id"])
    before = page.state["section"]
    data, _ = page.session.picture("section")
    image = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert image.shape == (250, 760, 3)
    # The line lies 6 m north of the pole, from 9 m west of it to 9 m east.
    ground, option = page.session.site.terrain.ground, page.session.now.option
    row = round((6.0 - ground.y0) / ground.cell_m)
    codes = [option.verdicts[row, round((x - ground.x0) / ground.cell_m)] for x in np.linspace(-8.9, 8.9, 90)]
    for verdict in (Verdict.BOTH, Verdict.UPPER_ONLY):
        colour = palette.rgb(palette.VERDICT_COLOURS[verdict])
        share = (image == colour).all(axis=-1).any(axis=0).mean()
        assert share == pytest.approx(np.mean([code == verdict for code in codes]), abs=0.08)
    page("move", id=page.thing("across")["id"], points=[[-9, 5], [9, 7]])
    assert page.state["section"] != before
    assert page.session.picture("section")[0] != data

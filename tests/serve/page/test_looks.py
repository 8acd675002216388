"""How the page looks and is reached: light and dark, at both sizes, by keyboard and by finger."""

import base64
import io
import re
from importlib.resources import files

import numpy as np
import pytest
from page_tests import choose, click_at, in_plan, pixel_of, quiet, settled, state_of
from PIL import Image
from playwright.sync_api import expect

from terrain3d import palette
from terrain3d.cover.verdict import Verdict

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
#: Levels A and AA of WCAG 2.0, 2.1 and 2.2, by the tags of the checker; and what it holds good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: A laptop's screen; a tablet held upright.
SIZES = {"wide": (1280, 720), "narrow": (768, 1024)}


def faults_of(page):
    """What the checker finds wrong with the page as it stands: rule, element, and what it says of it."""
    page.evaluate(AXE)
    found = page.evaluate("(tags) => axe.run({ runOnly: { type: 'tag', values: tags } })", RULES)
    assert found["passes"]
    return [
        (fault["id"], node["target"], node["failureSummary"])
        for fault in found["violations"]
        for node in fault["nodes"]
    ]


def states(page):
    """Bring the page to one state after the other, each with its name."""
    tabs = page.get_by_role("group", name="Below the picture")

    def tab(name):
        if tabs.is_visible():
            tabs.get_by_role("button", name=name).click()

    tab("Things")
    page.get_by_role("button", name="D1 on pole").click()
    quiet(page)
    yield "a unit"
    tab("Things")
    choose(page, "low wall")
    page.get_by_text("2 points").click()
    yield "a thing"
    tab("Things")
    page.get_by_role("button", name="block", exact=True).click()
    yield "drawing"
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Ask why").click()
    at = pixel_of(page, [0, 1, 0])
    page.mouse.click(*at)
    settled(page, lambda state: state["why"])
    page.get_by_role("button", name="Look for it").or_(page.get_by_text("already")).first.wait_for()
    yield "why"
    page.keyboard.press("Escape")
    tab("Numbers")
    yield "numbers"
    for name in ("Study\u2026", "Search\u2026", "Hand over\u2026", "Save as\u2026", "Page\u2026"):
        page.get_by_role("button", name=name, exact=True).click()
        expect(page.get_by_role("dialog")).to_be_visible()
        yield name
        page.keyboard.press("Escape")
        expect(page.get_by_role("dialog")).to_be_hidden()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible_in_every_state(yard, size, scheme):
    """WCAG 2.2 AA as far as axe-core can tell: contrast, names, roles, labels, sizes of what is touched."""
    page, _server, _path = yard
    page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
    page.emulate_media(color_scheme=scheme)
    quiet(page)
    for state in states(page):
        assert faults_of(page) == [], state


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_beginning_is_accessible(tmp_path, serve, look, scheme):
    """What comes before a site, with each way to begin."""
    page = look(serve(tmp_path).address, color_scheme=scheme)
    for way in ("A slope", "Spot levels", "Tape, compass and level"):
        page.get_by_text(way, exact=True).click()
        assert faults_of(page) == [], way


@pytest.mark.parametrize("size", SIZES)
def test_nothing_has_to_be_scrolled_to(yard, size):
    """The page fits its window, in every state; what is longer scrolls in its own panel."""
    page, _server, _path = yard
    page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
    quiet(page)
    for state in states(page):
        over = page.evaluate(
            """() => {
                const whole = document.documentElement;
                return [whole.scrollWidth - innerWidth, whole.scrollHeight - innerHeight];
            }"""
        )
        assert over == [0, 0], state
        box = page.locator("#picture").bounding_box()
        assert box["width"] >= 700, state
        assert box["height"] >= 300, state


def test_every_control_is_reached_with_tab_and_shows_it(yard):
    """Round the page with Tab alone: each control comes, has a name, and a ring that is seen."""
    page, _server, _path = yard
    page.get_by_role("button", name="D1 on pole").click()
    quiet(page)
    wanted = page.evaluate(
        """() => [...document.querySelectorAll('button, input, select, summary, [tabindex="0"]')]
            .filter((node) => !node.disabled && node.checkVisibility()).length"""
    )
    page.evaluate("document.activeElement.blur()")
    seen = set()
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        told = page.evaluate(
            """() => {
                const node = document.activeElement;
                if (node === document.body) return null;
                window.tabbed ??= new Map();
                if (!window.tabbed.has(node)) window.tabbed.set(node, window.tabbed.size);
                const look = getComputedStyle(node);
                const label = node.labels?.[0]?.innerText ?? '';
                const name = node.getAttribute('aria-label') || node.innerText || label;
                const ring = [look.outlineStyle, parseFloat(look.outlineWidth)];
                return [window.tabbed.get(node), name.trim(), ...ring, node.outerHTML.slice(0, 120)];
            }"""
        )
        if told is not None:
            number, name, style, width, source = told
            seen.add(number)
            assert name, source
            assert style == "solid", source
            assert width >= 2, source
    assert len(seen) == wanted


def test_a_finger_turns_pinches_and_places(yard):
    """At a tablet's size, with touches alone: one finger turns, two come nearer, a tap places."""
    _first, _server, _path = yard
    page = _first.context.browser.new_context(
        viewport={"width": 768, "height": 1024}, has_touch=True
    ).new_page()
    page.context.add_cookies(_first.context.cookies())
    try:
        page.goto(_first.url)
        settled(page, lambda state: state["options"])
        page.wait_for_selector("[data-serial]")
        quiet(page)
        touch = page.context.new_cdp_session(page)
        box = page.locator("#picture").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] * 0.8

        def touched(kind, *points):
            found = [{"x": px, "y": py, "id": k} for k, (px, py) in enumerate(points)]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": found})

        def matrix():
            quiet(page)
            return page.evaluate("import('/page.js').then((page) => page.own.frame.panes[0].matrix)")

        before = matrix()
        touched("touchStart", (x, y))
        for k in range(1, 6):
            touched("touchMove", (x + 12 * k, y))
        touched("touchEnd")
        turned = matrix()
        assert not np.allclose(before, turned)
        touched("touchStart", (x - 40, y), (x + 40, y))
        for k in range(1, 6):
            touched("touchMove", (x - 40 - 8 * k, y), (x + 40 + 8 * k, y))
        touched("touchEnd")
        nearer = matrix()
        # Coming nearer by a pinch is no turn: a metre is longer in the picture, and lies as it lay.
        assert not np.allclose(turned, nearer)
        page.get_by_role("button", name="At the start").tap()
        page.get_by_role("button", name="Things").tap()
        page.get_by_role("button", name="mark", exact=True).tap()
        quiet(page)
        count = len(state_of(page)["things"])
        page.touchscreen.tap(*pixel_of(page, [5, -3, 0]))
        state = settled(page, lambda state: len(state["things"]) == count + 1)
        drawn = next(one for one in state["things"] if one["kind"] == "mark")
        assert drawn["points"][0][:2] == pytest.approx((5, -3), abs=0.4)
    finally:
        page.context.close()


def test_the_picture_shows_what_the_numbers_say(yard):
    """In plan, shares of the verdicts' colours in the picture are those of the figures beside it."""
    page, _server, _path = yard
    in_plan(page)
    page.get_by_text("Shown", exact=True).click()
    for layer in page.locator(".menu-box input").all():
        if layer.is_checked():
            layer.click()
        # The answer to the one before it may still show this one as it was.
        expect(layer).not_to_be_checked()
    quiet(page)
    shown = np.asarray(picture(page)).astype(int)
    colours = {
        verdict: palette.rgb(colour).astype(int) for verdict, colour in palette.VERDICT_COLOURS.items()
    }
    # JPEG and the daylight of the scene move a colour a little, and no further than to its own neighbours.
    far = np.stack([np.abs(shown - colour).sum(axis=-1) for colour in colours.values()])
    nearest = np.where(far.min(axis=0) < 60, far.argmin(axis=0), -1)
    count = {verdict: int((nearest == k).sum()) for k, verdict in enumerate(colours)}
    told = {row["text"]: row["figures"] for row in state_of(page)["blocks"] if row["kind"] == "row"}
    both_m2 = float(told["both layers"][0].split()[0])
    # A square metre in pixels, by the page's own scale: two places ten metres apart.
    (x0, y0), (x1, y1) = pixel_of(page, [-5, 0, 0]), pixel_of(page, [5, 0, 0])
    pixels_a_m2 = ((x1 - x0) ** 2 + (y1 - y0) ** 2) / 100
    # Lines that are drawn over the ground take a little of what is seen of it.
    assert 0.85 * both_m2 < count[Verdict.BOTH] / pixels_a_m2 < 1.02 * both_m2
    assert 0 < count[Verdict.UPPER_ONLY] / pixels_a_m2 < 0.06 * both_m2
    assert count[Verdict.LOWER_ONLY] == count[Verdict.DEAD] == 0


def picture(page):
    """The picture as it is on the page, without what lies over it."""
    url = page.locator("#picture canvas").evaluate("(canvas) => canvas.toDataURL('image/png')")
    return Image.open(io.BytesIO(base64.b64decode(url.partition(",")[2]))).convert("RGB")


def test_light_dark_and_feet_are_chosen_on_the_page(yard):
    """Against what the system says; lengths in feet everywhere, in the fields too, and metres in the file."""
    page, _server, path = yard
    page.get_by_role("button", name="Page\u2026").click()
    page.get_by_role("radio", name="dark", exact=True).check()
    assert page.evaluate("getComputedStyle(document.body).colorScheme") == "dark"
    page.get_by_role("radio", name="feet").check()
    settled(page, lambda state: state["site"]["units"] == "ft")
    page.keyboard.press("Escape")
    choose(page, "low wall")
    field = page.locator("[data-field=height]")
    assert float(field.input_value()) == pytest.approx(0.6 / 0.3048, abs=0.01)  # the international foot
    field.fill("3")
    field.press("Enter")
    settled(page, lambda state: any(one["values"].get("height") == 0.9144 for one in state["things"]))
    # With a unit chosen, and what it holds: no metre is left on the page but in what a type says of itself.
    page.get_by_role("button", name="D1 on pole").click()
    quiet(page)
    words = page.locator("body").inner_text()
    assert re.findall(r"[^\n]*(?:\bm\b|\bm2\b|m²|metre)[^\n]*", words) == []
    assert "ft²" in words
    page.keyboard.press("Control+s")
    settled(page, lambda state: not state["site"]["unsaved"])
    assert "height = 0.914" in path.read_text()


def test_two_options_are_compared_side_by_side(yard):
    """Copied, set otherwise, seen beside each other with one camera; named, removed, ranked best first."""
    page, _server, _path = yard
    page.get_by_role("button", name="more for as set today").click()
    page.get_by_role("button", name="Copy it").click()
    state = settled(page, lambda state: len(state["options"]) == 2)
    copy = next(one["name"] for one in state["options"] if one["name"] != "as set today")
    page.get_by_role("button", name="D1 on pole").click()
    quiet(page)
    page.locator("[data-field=bearing]").fill("0")
    page.locator("[data-field=bearing]").press("Enter")
    state = settled(page, lambda state: state["options"][1]["held_share"] == 0)
    assert [one["name"] for one in state["options"]] == ["as set today", copy]
    page.get_by_role("button", name="compare with as set today").click()
    settled(page, lambda state: len(state["side"]) == 2)
    quiet(page)
    panes = page.evaluate("import('/page.js').then((page) => page.own.frame.panes)")
    assert len(panes) == 2
    assert panes[0]["matrix"] == pytest.approx(panes[1]["matrix"])
    expect(page.get_by_label("Numbers", exact=True).last).to_contain_text("Gained and lost")
    page.get_by_role("button", name="compare with as set today").click()
    settled(page, lambda state: not state["side"])
    page.get_by_role("button", name=f"more for {copy}").click()
    page.get_by_role("dialog").get_by_label("name").fill("turned away")
    page.get_by_role("button", name="Rename").click()
    settled(page, lambda state: any(one["name"] == "turned away" for one in state["options"]))
    page.get_by_role("button", name="more for turned away").click()
    page.get_by_role("button", name="Remove it").click()
    settled(page, lambda state: len(state["options"]) == 1)


def test_ground_that_is_typed_grows_beside_its_table(tmp_path, serve, look):
    """Three levels begin; a fourth makes the ground larger; no number is none, and is said."""
    page = look(serve(tmp_path).address)
    page.get_by_label("what it is called").fill("Garden")
    page.get_by_text("Spot levels", exact=True).click()
    for row, cells in enumerate((("-8", "7", "0.1"), ("8", "7", "0"), ("8", "-8", "-1.6")), 1):
        for column, text in zip(("east", "north", "height"), cells, strict=True):
            page.get_by_label(f"row {row}, {column}").fill(text)
            page.get_by_label(f"row {row}, {column}").press("Tab")
    page.get_by_role("button", name="Begin").click()
    settled(page, lambda state: len(state["ground_table"]["rows"]) == 3)
    page.wait_for_selector("[data-serial]")
    page.get_by_role("tab", name="Ground").click()
    for column, text in zip(("east", "north", "height"), ("-8", "-8", "low"), strict=True):
        page.get_by_label(f"row 4, {column}").fill(text)
        page.get_by_label(f"row 4, {column}").press("Tab")
    assert len(state_of(page)["ground_table"]["rows"]) == 3
    page.get_by_label("row 4, height").fill("-1.2")
    page.get_by_label("row 4, height").press("Tab")
    state = settled(page, lambda state: len(state["ground_table"]["rows"]) == 4)
    assert state["ground_table"]["rows"][3] == [-8, -8, -1.2]
    click_at(page, (0, 0, -0.7))

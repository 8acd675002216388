"""The scene as Debian's Chromium opens it from disk: what it asks for, shows, says and lets a person do."""

import base64
import io
import json
import re
from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from packed import NAMES, WALK_TESTED
from PIL import Image
from playwright.sync_api import Page

from terrain3d import palette
from terrain3d.cover.verdict import VERDICT_KEYS, Verdict
from terrain3d.pack import scene
from terrain3d.pack.meshes import hillside
from terrain3d.pack.three import three_js
from terrain3d.sentences.verdicts import VERDICT_WORDS

DESKTOP, TELEPHONE = (1280, 800), (390, 844)


@pytest.fixture
def opened(look, strange) -> Callable[..., Page]:
    """Opens the scene in a window and waits for its picture."""

    def open_(size: tuple[int, int] = DESKTOP, **how: Any) -> Page:
        page = look((strange.folder / "scene.html").as_uri(), size, **how)
        drawn(page)
        return page

    return open_


def drawn(page: Page) -> None:
    """Wait until the picture is drawn with its ground, and stands still."""
    page.wait_for_function("Number(document.body.dataset.drawn) > 0")
    page.wait_for_function(
        "() => { const n = document.body.dataset.drawn, was = window.n; window.n = n; return n === was; }",
        polling=250,
    )


def picture(page: Page) -> np.ndarray:
    """(h, w, 3) of the canvas as it is shown."""
    return np.asarray(Image.open(io.BytesIO(page.locator("#canvas").screenshot())).convert("RGB")).astype(int)


def share_of(image: np.ndarray, colour: str) -> float:
    return float((np.abs(image - palette.rgb(colour).astype(int)).max(axis=2) < 14).mean())


def page_data(strange) -> dict:
    text = (strange.folder / "scene.html").read_text(encoding="utf-8")
    return json.loads(
        re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.DOTALL)[1]
    )


def test_the_drawing_library_is_whole_and_named_with_its_licence(strange):
    """three.js as trimesh brings it: its licence text (SPDX: MIT) goes with it, and no other address runs."""
    library = three_js()
    assert library.script.startswith("/**\n * @license")
    assert "MIT" in library.script[:200]
    text = (strange.folder / "scene.html").read_text(encoding="utf-8")
    assert library.name in text
    assert "Permission is hereby granted, free of charge" in text
    assert (strange.folder / "scene.html").stat().st_size < scene.MOST_BYTES


def test_it_opens_without_a_request_and_shows_the_verdicts(opened, strange):
    """The colours of the key are on the picture; asked and failed is looked at when the window closes."""
    page = opened()
    page.locator('#groups input[name="layers"]').uncheck()  # they tint what lies behind them
    drawn(page)
    image = picture(page)
    for verdict in (Verdict.BOTH, Verdict.OUTSIDE):
        assert share_of(image, palette.VERDICT_COLOURS[verdict]) > 0.01
    assert page.inner_text("h1") == NAMES["site"]
    assert page.locator("#failed").is_hidden()
    labels = page.locator("#options label").all_inner_texts()
    assert [label.split("\n")[0] for label in labels] == strange.document["ranking"]
    assert "A planning aid, not proof of detection" in page.inner_text("footer")


def test_whoever_points_is_told_the_verdict_of_that_cell(strange):
    """Decoded as the page does, what every cell is told is the verdict of verdicts.tif, row by row."""
    import rasterio

    data = page_data(strange)
    words = {word.capitalize(): int(verdict) for verdict, word in VERDICT_WORDS.items()}
    with rasterio.open(strange.copy / "verdicts.tif") as raster:
        bands = dict(zip(raster.descriptions, raster.read(), strict=True))
        left, top = raster.transform.c, raster.transform.f
        size = raster.transform.a
    for option in data["options"]:
        runs = np.frombuffer(base64.b64decode(option["pointed"]), "<u4").reshape(-1, 2)
        rows, columns = data["cells"]["rows"], data["cells"]["columns"]
        told = np.repeat(runs[:, 1], runs[:, 0]).reshape(rows, columns)
        verdicts = np.array([words.get(lines[0], 255) for lines in option["words"]])[told]
        # Where the block lies in the raster: the middle of the block is where the page's metres begin.
        west = data["cells"]["west"] + data["ground"]["width"] / 2
        assert west == pytest.approx(0.0, abs=1e-6)
        band = bands[option["name"]]
        ground = strange.outcome.terrain.ground
        from terrain3d.show.extent import site_extent

        extent = site_extent(strange.outcome)
        column, row = round((extent.west - left) / size), round((top - extent.north) / size)
        assert (verdicts == band[row : row + rows, column : column + columns]).all()
        assert ground.cell_m == size


def test_a_tap_tells_verdict_and_cause(opened):
    """In the middle of the picture, by the keyboard and by the mouse, the same."""
    page = opened()
    page.focus("#canvas")
    page.keyboard.press("Enter")
    drawn(page)
    by_key = page.inner_text("#told")
    assert any(by_key.startswith(word.capitalize()) for word in VERDICT_WORDS.values())
    assert "of the draws" in by_key
    box = page.locator("#canvas").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.inner_text("#told") == by_key


def test_a_walk_test_is_told_of_each_option(strange):
    """First of what is told of it."""
    options = page_data(strange)["options"]
    assert len(options) == 2
    assert all(option["lines"][0] == f"W{WALK_TESTED}." for option in options)


def test_another_option_and_two_beside_each_other(opened, strange):
    """The picture changes with the option; side by side both have their names and their verdict told."""
    page = opened()
    first = picture(page)
    page.locator("#options input").nth(1).check()
    drawn(page)
    other = picture(page)
    assert (np.abs(first - other).max(axis=2) > 20).mean() > 0.01
    page.locator("#beside").select_option(index=1)
    drawn(page)
    assert page.locator("#names p").count() == 2
    shown = page.locator("#names").inner_text()
    assert all(name.split(" ")[0] in shown for name in strange.document["ranking"])
    page.focus("#canvas")
    page.keyboard.press("Enter")
    drawn(page)
    assert page.locator("#told h2").count() == 2
    both = picture(page)
    middle = both.shape[1] // 2
    assert (np.abs(both[:, : middle - 1] - both[:, middle : 2 * middle - 1]).max(axis=2) > 20).mean() > 0.005


@pytest.mark.parametrize("group", ["foliage", "solids", "layers", "units", "protected"])
def test_what_is_switched_off_is_not_drawn(opened, group):
    page = opened()
    before = picture(page)
    page.locator(f'#groups input[name="{group}"]').uncheck()
    drawn(page)
    assert (np.abs(before - picture(page)).max(axis=2) > 8).any()


def test_the_ground_shows_chances_and_turns(opened):
    page = opened()
    before = picture(page)
    page.locator("#grounds input").nth(1).check()
    drawn(page)
    chances = picture(page)
    assert share_of(chances, palette.CHANCE_SCALE[-1]) > share_of(before, palette.CHANCE_SCALE[-1])
    page.get_by_role("button", name="From above").click()
    drawn(page)
    assert (np.abs(chances - picture(page)).max(axis=2) > 20).mean() > 0.05
    page.get_by_role("button", name="As at first").click()
    drawn(page)
    assert (np.abs(chances - picture(page)).max(axis=2) > 20).mean() < 0.001


def test_a_telephone_has_no_line_to_scroll_sideways_and_turns_by_finger(opened):
    """390 pixels wide, as a common telephone is (common practice, no source), in the dark."""
    page = opened(TELEPHONE, has_touch=True, is_mobile=True, device_scale_factor=2, color_scheme="dark")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for button in page.locator("button").all():
        assert button.bounding_box()["height"] >= 44
    before = picture(page)
    box = page.locator("#canvas").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    drawn(page)
    assert any(page.inner_text("#told").startswith(word.capitalize()) for word in VERDICT_WORDS.values())
    page.get_by_role("button", name="Turn left").tap()
    drawn(page)
    assert (np.abs(before - picture(page)).max(axis=2) > 20).mean() > 0.02


def test_buttons_stand_under_the_picture_on_a_telephone(opened):
    """None covers ground of either option; the picture ends where they begin."""
    page = opened(TELEPHONE)
    canvas = page.locator("#canvas").bounding_box()
    for button in page.locator("#views button").all():
        assert button.bounding_box()["y"] >= canvas["y"] + canvas["height"]


def test_an_answer_is_seen_however_far_the_list_was_scrolled(opened):
    """Whoever looks at the key, at the end of what stands beside the picture, and points at ground."""
    page = opened((1280, 500))
    page.locator("#side").evaluate("side => side.scrollTo(0, side.scrollHeight)")
    box = page.locator("#canvas").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    told = page.locator("#told").bounding_box()
    side = page.locator("#side").bounding_box()
    assert side["y"] <= told["y"] <= side["y"] + 20


def test_names_are_letters_everywhere(opened):
    """Markup in a name makes no element, and what ends a script does not end it."""
    page = opened()
    assert page.locator("body script").count() == 3
    assert page.locator("h1 b").count() == 0
    shown = page.locator("#about").inner_text()
    assert NAMES["unit"] in shown
    assert NAMES["yard"] in shown


def test_areas_of_the_options_are_those_of_the_results(strange):
    """Of every cell that the page tells a verdict of: square metres within the block, not more than all."""
    data = page_data(strange)
    cell_m2 = data["cells"]["size"] ** 2
    words = {VERDICT_WORDS[verdict].capitalize(): key for verdict, key in VERDICT_KEYS.items()}
    for option in data["options"]:
        runs = np.frombuffer(base64.b64decode(option["pointed"]), "<u4").reshape(-1, 2)
        areas = dict.fromkeys(words.values(), 0.0)
        for count, place in runs.tolist():
            areas[words[option["words"][place][0]]] += count * cell_m2
        told = strange.option(option["name"])["area_m2"]
        # All that is not outside lies on the block.
        assert {key: areas[key] for key in areas if key != "outside"} == {
            k: told[k] for k in areas if k != "outside"
        }


def test_a_page_that_would_be_too_large_leaves_out_what_weighs_most(strange, monkeypatch):
    """And says so on the page; units, ground and options stay."""
    whole = scene.scene_html(strange.study, hillside(strange.study))
    data = page_data(strange)
    weights: Counter[str] = Counter()
    for mesh in data["meshes"]:
        if mesh["group"] in ("foliage", "solids"):
            weights[mesh["name"]] += len(json.dumps(mesh, ensure_ascii=False))
    heaviest = weights.most_common(1)[0][0]
    monkeypatch.setattr(scene, "MOST_BYTES", len(whole.encode()) - 100)
    smaller = scene.scene_html(strange.study, hillside(strange.study))
    assert len(smaller.encode()) <= len(whole.encode()) - 100
    left = json.loads(re.search(r'id="data">(.*?)</script>', smaller, re.DOTALL)[1])
    assert heaviest not in {mesh["name"] for mesh in left["meshes"]}
    assert heaviest in left["leftOut"]
    assert data["leftOut"] == ""

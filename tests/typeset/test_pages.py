"""Pages set in type: what comes from files is text, a page a unit, legible, the same bytes."""

import io
import re
import sys

import numpy as np
import pypdf
import pytest
from PIL import Image

from terrain3d.paper.pages import laid_out
from terrain3d.typeset.pages import _elsewhere, pdf, png_pages

#: What markup would take for a call, a comment, emphasis, mathematics, a label; and letters that have no
#: sign.
HOSTILE = '#read("/etc/passwd") *x* _y_ $1/0$ <a> @b // c /* \\ " ] } \u202e \U0001f600 中'

#: A picture that is black all over.
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="10" height="10"/></svg>'
#: One with nothing in it.
NOTHING = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"/>'
PICTURES = {"plan": SQUARE, "section": NOTHING}


def unit(title: str, lines: int = 2) -> dict:
    """A page with parts of so many lines."""
    part = {"title": "Where", "main": "10.00 m from the post", "size": 15, "lines": [title] * lines}
    return {
        "title": title, "subtitle": title, "code": "", "code-mm": 0, "parts": [part] * 6, "plan": "plan",
        "section": "section", "is_spread": False, "scale": 1.0, "key": "Grey is held.",
        "cautions": ["Isolate the supply."],
    }  # fmt: skip


def sheet(*units: dict) -> dict:
    return {"head": HOSTILE, "units": list(units), "foot": HOSTILE}


def test_what_comes_from_files_is_text():
    """Names full of markup are set as they are, and neither run nor break the page."""
    assert pdf("sheet", sheet(unit(HOSTILE)), PICTURES)[:5] == b"%PDF-"
    assert len(png_pages("sheet", sheet(unit(HOSTILE)), PICTURES, dots_an_inch=40)) == 1


def test_a_page_a_unit():
    """A4 in black on white, one page each."""
    pages = png_pages("sheet", sheet(unit("D1"), unit("D2")), PICTURES, dots_an_inch=40)
    assert len(pages) == 2
    picture = np.asarray(Image.open(io.BytesIO(pages[0])).convert("RGB")).astype(int)
    assert picture.shape[1] / picture.shape[0] == pytest.approx(210 / 297, abs=0.01)
    # No ink has a colour.
    assert np.abs(picture - picture.mean(axis=2, keepdims=True)).max() < 2


def test_what_is_long_gets_pages():
    """A unit with little to say has large letters and one page, one with more small ones, one with too much
    its pictures on a page of their own, drawn as large."""
    asked: list[tuple[int, bool]] = []

    def drawn(number: int, is_large: bool) -> tuple[str, str]:
        asked.append((number, is_large))
        picture = SQUARE.replace("0 0 10 10", "0 0 182 108") if is_large else SQUARE
        return picture, picture

    line = "a line of some length that is told of it "
    units = [unit("D1", 1), unit(line * 2, 3), unit(line * 3, 3)]
    data, pictures = laid_out(sheet(*units), {}, drawn)
    assert [page["is_spread"] for page in data["units"]] == [False, False, True]
    assert asked == [(1, False), (2, False), (3, False), (3, True)]
    scales = [page["scale"] for page in data["units"]]
    assert scales[0] > scales[1] >= 1
    assert len(png_pages("sheet", data, pictures, dots_an_inch=9)) == 4


def walk_test(count: int) -> dict:
    """The walk test of a unit with so many points, the longer words of each on the end of it."""
    points = [
        {"number": k, "place": f"place{k} " * 6, "walk": f"walk{k} " * 30, "should": "lights"}
        for k in range(1, count + 1)
    ]
    return {
        "head": "A site", "how": ["Walk."], "asked": ["Walked on"], "heads": ["Walk", "Indicator", "Lit?"],
        "units": [{"title": "D1: a unit", "plan": "plan", "points": points}], "cautions": ["Isolate."],
        "foot": "A site",
    }  # fmt: skip


@pytest.mark.parametrize("lines", range(1, 5))
def test_a_point_of_a_walk_test_is_whole_on_its_page(lines):
    """Wherever the page ends no row is torn, and each page says whose points are on it."""
    data = walk_test(20) | {"how": ["Walk."] * lines}
    texts = [
        page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf("walktest", data, PICTURES))).pages
    ]
    assert len(texts) > 2
    assert all("D1: a unit" in text for text in texts)
    for k in range(1, 21):
        assert sum(bool(re.search(rf"(place|walk){k}\b", text)) for text in texts) == 1, k


def test_the_same_bytes():
    """No day of the machine and no name of its own is in the file."""
    one, other = (pdf("sheet", sheet(unit("D1")), PICTURES) for _ in range(2))
    assert one == other
    assert not re.search(rb"/CreationDate \(D:20[^0]", one)


def test_a_picture_goes_in_as_it_is():
    """An SVG of one black square blackens its part of the page."""

    def ink(pictures: dict[str, str]) -> float:
        page = png_pages("sheet", sheet(unit("D1", 1)), pictures, dots_an_inch=30)[0]
        return float((np.asarray(Image.open(io.BytesIO(page)).convert("L")) < 60).mean())

    assert ink(PICTURES) > ink({**PICTURES, "plan": NOTHING}) + 0.07


def test_names_are_read_in_every_script():
    """Of letters that the first typeface lacks none is a box: Chinese, Japanese, Korean, Devanagari, Hebrew,
    Arabic. "Last Resort" has a box for each letter there is (from memory)."""
    name = "\u4e2d\u5ead \u30e4\u30fc\u30c9 \ub098\ubb34 \u0932\u0915\u095c\u0940"
    name += " \u05e2\u05e5 \u0634\u062c\u0631\u0629"
    document = pypdf.PdfReader(io.BytesIO(pdf("sheet", sheet(unit(name)), PICTURES)))
    fonts = document.pages[0]["/Resources"]["/Font"].values()
    used = {str(font.get_object()["/BaseFont"]).split("+")[-1] for font in fonts}
    assert not [one for one in used if "LastResort" in one]
    assert {"KurintoSansSC-Rg", "KurintoSansKR-Rg"} <= used


def test_the_process_that_sets_a_report_imports_nothing_from_the_folder(tmp_path, monkeypatch):
    """A file beside a site that is named as a library is no library."""
    (tmp_path / "typst.py").write_text("raise SystemExit('taken from the folder')")
    (tmp_path / "page.typ").write_text('#set document(title: "A page")\n#set text(lang: "en")\nA page')
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [one for one in sys.path if one])
    assert _elsewhere(tmp_path, "page")[:5] == b"%PDF-"

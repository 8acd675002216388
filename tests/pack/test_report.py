"""The report as pypdf and qpdf read it: tags, language, bookmarks, words for pictures, fonts, letters."""

import itertools
import re
from io import BytesIO

import numpy as np
import pikepdf
import pypdf
import pytest
from packed import NAMES, WALK_TESTED
from PIL import Image
from site_files import EVERYTHING, SLOPE, option_text, run, written

from terrain3d.errors import InputError
from terrain3d.job import run as judged
from terrain3d.pack.report import _printable, report_of
from terrain3d.readers.logos import logo_png
from terrain3d.sentences.report import GLOSSARY, HEADINGS, NOTHING_HELD, RANKED_FIRST
from terrain3d.study import study_of
from terrain3d.typeset.pages import pdf, png_pages

#: Ground to be held that lies behind the only unit.
NOTHING = """
[site]
name = "Behind"
cell = 0.5
[ground]
plane = { fall = 10, towards = 180, extent = 30 }
[[mount]]
name = "pole"
at = [0, 0]
[[protect]]
name = "yard"
outline = [[-3, 3], [3, 3], [3, 8], [-3, 8]]
""" + option_text("south", bearing=180)


@pytest.fixture(scope="module")
def report(strange):
    return pypdf.PdfReader(strange.folder / "report.pdf")


@pytest.fixture(scope="module")
def text(report) -> str:
    """All that is written, without breaks between lines."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in report.pages))


def structure(element) -> list:
    """Every element of the tags below one."""
    found = [element]
    kids = element.get("/K", [])
    for kid in kids if isinstance(kids, list) else [kids]:
        kid = kid.get_object() if hasattr(kid, "get_object") else kid
        if isinstance(kid, dict) and "/S" in kid:
            found += structure(kid)
    return found


def test_it_is_tagged_and_says_its_language_and_title(report):
    """ISO 14289-1: marked (7.1), the language (7.2), the title shown (7.1), all pictures with words (7.3)."""
    root = report.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712  a value of pypdf
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert report.metadata.title == NAMES["site"]
    tags = structure(root["/StructTreeRoot"])
    pictures = [tag for tag in tags if tag.get("/S") == "/Figure"]
    assert len(pictures) >= 7
    assert all(len(tag.get("/Alt", "")) > 10 for tag in pictures)
    assert any(tag.get("/S") == "/TH" for tag in tags)


def tags_of(document) -> list:
    """Every element of the tags of a file that pikepdf has opened, in the order of reading aloud."""

    def below(element) -> list:
        if not isinstance(element, pikepdf.Dictionary) or "/S" not in element:
            return []
        kids = element.get("/K", [])
        return [element, *(one for kid in _listed(kids) for one in below(kid))]

    return [one for kid in _listed(document.Root.StructTreeRoot.K) for one in below(kid)]


def _listed(kids) -> list:
    return list(kids) if isinstance(kids, pikepdf.Array) else [kids]


def test_another_reader_finds_no_fault_in_it(strange):
    """qpdf, by pikepdf, reads every object and stream (what `qpdf --check` does) and warns of nothing.

    Headings go down by one step at most (ISO 14289-1, 7.4.2), pictures have words, every page is in the tags.
    """
    with pikepdf.open(strange.folder / "report.pdf") as document:
        assert document.check_pdf_syntax() == []
        assert document.get_warnings() == []
        assert str(document.Root.Lang) == "en"
        tags = tags_of(document)
        kinds = [str(tag.S)[1:] for tag in tags]
        levels = [int(kind[1:]) for kind in kinds if re.fullmatch(r"H\d", kind)]
        assert levels[0] == 1
        assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
        figures = [tag for tag, kind in zip(tags, kinds, strict=True) if kind == "Figure"]
        assert len(figures) >= 7
        assert all(len(str(tag.Alt)) > 10 for tag in figures)
        told = {tag.Pg.objgen for tag in tags if "/Pg" in tag}
        assert {page.objgen for page in document.pages} <= told
        fonts = [
            one for one in document.objects if isinstance(one, pikepdf.Dictionary) and "/FontName" in one
        ]
        assert fonts
        assert all({"/FontFile2", "/FontFile3"} & set(one.keys()) for one in fonts)


def test_bookmarks_are_its_headings(report):
    """Those of the parts, from the answer to the ten words."""

    def titles(outline) -> list[str]:
        return [title for one in outline for title in (titles(one) if isinstance(one, list) else [one.title])]

    found = titles(report.outline)
    assert [title for title in found if title in HEADINGS.values()] == list(HEADINGS.values())
    assert "Plan" in found
    (unit, *_) = [title.removeprefix("From the unit: ") for title in found if "From the unit: " in title]
    assert any(title.startswith(f"Section: {unit}, ") and "bearing" in title for title in found)
    assert {"What takes a layer: upper layer", "What takes a layer: lower layer"} <= set(found)


def test_every_typeface_is_in_the_file(report):
    """Fonts are embedded (ISO 14289-1, 7.21.4)."""
    for page in report.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            (below,) = font.get_object()["/DescendantFonts"]
            descriptor = below.get_object()["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_pages_are_a4_and_numbered(report, text):
    """ISO 216: 297 x 210 mm, lying."""
    for page in report.pages:
        width, height = (float(side) * 25.4 / 72 for side in page.mediabox[2:])
        assert (width, height) == (pytest.approx(297, abs=0.2), pytest.approx(210, abs=0.2))
    for number in range(1, len(report.pages) + 1):
        assert f"{number} / {len(report.pages)}" in text
    assert text.count("A planning aid, not proof of detection") >= len(report.pages)


def test_the_numbers_are_those_of_the_results(text, strange):
    """On the cover the share held; in the table the areas of every option; sentences word for word."""
    joined = text.replace(" ", "").replace("\u200b", "")
    best = strange.option(strange.document["ranking"][0])
    assert f"{best['protected_share']:.0%}" in text[: text.index(HEADINGS["asked"])]
    for name in strange.document["ranking"]:
        option = strange.option(name)
        assert f"{option['area_m2']['both']:.0f}m²" in joined
    for sentence in (strange.document["why"], best["protect"][0]["words"], best["routes"][0]["words"]):
        said = sentence.replace(" m2", "m²")
        assert said.replace(" ", "") in joined
    assert all(word in text for word, _ in GLOSSARY)
    assert WALK_TESTED.replace(" ", "") in joined


def test_letters_of_every_script_are_there(text):
    """Greek, Cyrillic, Japanese and Korean and a dog as they are."""
    for letters in (
        "\u03b1\u03c5\u03bb\u03ae",
        "\u0434\u0432\u043e\u0440",
        "\u6728\u306e\u67f1",
        "\ub098\ubb34",
    ):
        assert letters in text
    # Arabic, Hebrew and Devanagari have glyphs that are no single letters; at least each script is there.
    for low, high in ((0x0600, 0x06FF), (0x0590, 0x05FF), (0x0900, 0x097F)):
        assert any(low <= ord(letter) <= high for letter in text)
    assert "\U0001f415" in text


def test_markup_of_the_typesetter_is_text():
    """Calls, emphasis, mathematics and comments in what the data says are letters."""
    name = '#read("/etc/passwd") *a* _b_ $x^2$ // c /* d */ = e <f> @g \\ #panic()'
    block = {"kind": "line", "text": name}
    cover = {
        "heading": name,
        "option": name,
        "numbers": [[name, "1"]],
        "areas": [name],
        "picture": "p.png",
        "alt": name,
    }
    data = {
        "title": name, "by": name, "named": [["for", name]], "caution": name, "logo": None, "logo_alt": "",
        "cover": cover,
        "parts": [{"heading": name, "blocks": [
            block,
            {"kind": "list", "items": [name]},
            {"kind": "table", "headers": [name, "b"], "rows": [[name, "1"]]},
            {"kind": "terms", "rows": [[name, name]]},
        ]}],
    }  # fmt: skip
    picture = BytesIO()
    Image.new("RGB", (20, 10), "#808080").save(picture, "PNG")
    pictures = {"p.png": picture.getvalue()}
    written_pdf = pdf("report", data, pictures)
    assert written_pdf == pdf("report", data, pictures)
    shown = "".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(written_pdf)).pages)
    assert shown.replace("\n", "").replace(" ", "").count(name.replace(" ", "")) >= 8
    page = np.asarray(Image.open(BytesIO(png_pages("report", data, pictures, 30)[0])).convert("L"))
    assert page.min() < 150


def test_pictures_go_in_dot_by_dot():
    """As qpdf unpacks them (pikepdf): none is made smaller or packed with a loss."""
    dots = np.random.default_rng(0).integers(0, 256, (50, 80, 3), np.uint8)
    picture = BytesIO()
    Image.fromarray(dots).save(picture, "PNG")
    data, pictures = _report_of([], {})
    document = pikepdf.open(BytesIO(pdf("report", data, {name: picture.getvalue() for name in pictures})))
    streams = [one for one in document.objects if isinstance(one, pikepdf.Stream)]
    (image,) = [one for one in streams if one.get("/Subtype") == "/Image"]
    np.testing.assert_array_equal(np.asarray(pikepdf.PdfImage(image).as_pil_image().convert("RGB")), dots)


def _report_of(parts: list, cover: dict) -> tuple[dict, dict]:
    """Data of a report of these parts and its picture."""
    picture = BytesIO()
    Image.new("RGB", (20, 10), "#808080").save(picture, "PNG")
    whole = {
        "heading": "h",
        "option": "o",
        "numbers": [],
        "areas": [],
        "picture": "p.png",
        "alt": "a picture",
    }
    data = {
        "title": "t", "by": None, "named": [], "caution": "c", "logo": None, "logo_alt": "",
        "cover": {**whole, **cover}, "parts": parts,
    }  # fmt: skip
    return data, {"p.png": picture.getvalue()}


def _places(page) -> dict[str, tuple[float, float]]:
    """Where each piece of text of a page begins, points from its lower left."""
    found: dict[str, tuple[float, float]] = {}

    def see(text, matrix, of_text, _font, _size):
        if text.strip():
            found[text.strip()] = (
                of_text[4] * matrix[0] + matrix[4],
                of_text[5] * matrix[3] + matrix[5],
            )

    page.extract_text(visitor_text=see)
    return found


def test_columns_of_what_fits_a_page_are_of_one_height():
    """Three parts of one height and a glossary: none of its words stands alone in a column of its own."""
    lines = [{"kind": "line", "text": f"line {k}"} for k in range(24)]
    words = {"kind": "terms", "rows": [[f"word{k}", "what it means"] for k in range(10)]}
    parts = [{"heading": "Lines", "blocks": lines}, {"heading": "Words", "blocks": [words]}]
    page = pypdf.PdfReader(BytesIO(pdf("report", *_report_of(parts, {})))).pages[1]
    middle = float(page.mediabox[2]) / 2
    sides: dict[bool, list[float]] = {False: [], True: []}
    for text, (x, y) in _places(page).items():
        if re.match(r"line \d|word\d", text):
            sides[x > middle].append(y)
    low, other = (min(sides[side]) for side in (False, True))
    assert abs(low - other) < 60


def test_what_follows_an_arabic_name_stands_after_it():
    """By the standard's own rules (UAX #9) a number would go to the name's other side; a mark keeps it."""
    name = "\u0627\u0644\u0645\u0645\u0631"
    told = _printable({"text": f'Held 5% of "{name}" (48 m2).'})["text"]
    assert f'{name}\u200e" (48' in told


def test_an_option_that_holds_nothing_is_not_recommended(tmp_path):
    """Protected ground behind the unit, no other option: the cover says so, and no heading contradicts it."""
    site = written(tmp_path, NOTHING)
    data = report_of(study_of(judged(site), draws=2)).data
    assert data["cover"]["numbers"][0][1] == "0%"
    assert data["cover"]["areas"][0] == NOTHING_HELD
    headings = [part["heading"] for part in data["parts"]]
    assert RANKED_FIRST in headings
    assert HEADINGS["best"] not in headings


def test_an_option_that_stands_in_a_block_is_not_recommended(tmp_path):
    """Its unit would see nothing of the ground: cover and list of options say that all of it is void."""
    block = '[[solid]]\nname = "shed"\noutline = [[-1, -1], [1, -1], [1, 1], [-1, 1]]\nheight = 2.4\n'
    site = written(tmp_path, SLOPE + block + option_text("inside"))
    data = report_of(study_of(judged(site), draws=2)).data
    told = '"inside": D1 stands inside a solid: all this is void until it is moved.'
    assert data["cover"]["areas"][0] == told
    parts = {part["heading"]: part["blocks"] for part in data["parts"]}
    assert {"kind": "line", "text": told} in parts[HEADINGS["options"]]
    assert RANKED_FIRST in parts
    assert HEADINGS["best"] not in parts


def test_a_logo_is_its_pixels_alone(tmp_path):
    """What else its file holds stays behind; another kind of file is refused."""
    picture = Image.new("RGB", (40, 20), "#124b66")
    notes = Image.Exif()
    notes[0x010E] = "a secret place"
    picture.save(tmp_path / "sign.jpg", exif=notes)
    found = logo_png(tmp_path / "sign.jpg")
    assert b"secret" not in found
    assert Image.open(BytesIO(found)).size == (40, 20)
    assert found == logo_png(tmp_path / "sign.jpg")
    (tmp_path / "sign.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    with pytest.raises(InputError, match="no PNG or JPEG"):
        logo_png(tmp_path / "sign.svg")
    Image.new("1", (8000, 5001)).save(tmp_path / "large.png")
    with pytest.raises(InputError, match="8000 x 5001 pixels"):
        logo_png(tmp_path / "large.png")
    (tmp_path / "cut.png").write_bytes(found[:60])
    with pytest.raises(InputError, match="no PNG or JPEG"):
        logo_png(tmp_path / "cut.png")


def test_a_logo_that_cannot_be_used_is_told_before_the_work(tmp_path, capsys):
    (tmp_path / "sign.png").write_text("no picture")
    site = written(tmp_path, EVERYTHING + '[paper]\nlogo = "sign.png"\n' + option_text("north"))
    assert run("pack", site, "--out", tmp_path / "pack") == 2
    assert "sign.png" in capsys.readouterr().err
    assert not (tmp_path / "pack").exists()

"""The pages that go out to the site: every letter large enough, the code read by another program."""

import datetime
import io
from dataclasses import replace

import numpy as np
import pypdf
import pyproj
import pytest
import zxingcpp
from PIL import Image
from site_files import option_text, written

from terrain3d.fixing.unit import UnitFixing, option_fixing
from terrain3d.job import Outcome, run
from terrain3d.pack.on_site import sheet_files, walk_files
from terrain3d.paper.pages import SHEET_PDF, WALK_PDF, laid_out, sheet_data
from terrain3d.sentences.fixing import settings_text, sheet_parts
from terrain3d.typeset.pages import png_pages
from terrain3d.walktest.plan import WalkTest, walk_point
from terrain3d.walktest.spots import candidate_spots

#: Letters that have to be read outdoors are no smaller (common practice, no source).
LEAST_PT = 10.0
#: The line at the foot of a page names the paper and is nothing to work by: points from the bottom.
FOOT_PT = 45.0
CRS = pyproj.CRS("EPSG:32631")
#: Two units, one of them with much to say, their names long and in several scripts.
SITE = (
    """
[site]
name = "농가 뒤뜰"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 12, towards = 180, extent = 40 }
[[mount]]
name = "столб верхних ворот, самый северный"
at = [560000, 4950006]
[[solid]]
name = "納屋と道具小屋"
outline = [[560004, 4950010], [560010, 4950010], [560010, 4950014], [560004, 4950014]]
height = 3.0
[[nuisance]]
name = "flue of the boiler in the cellar"
kind = "flue"
at = [560001, 4950001]
width = 0.3
base = 0.4
height = 1.6
"""
    + option_text("one", "столб верхних ворот, самый северный", bearing=180, tilt=5, range=10)
    + option_text("two", "столб верхних ворот, самый северный", "two-head-180-fitted", bearing=200, roll=2)
    .partition('name = "two"\n')[2]
    .replace("D1", "детектор 2")
)


@pytest.fixture(scope="module")
def outcome(tmp_path_factory) -> Outcome:
    return run(written(tmp_path_factory.mktemp("site"), SITE))


@pytest.fixture(scope="module")
def units(outcome) -> tuple[UnitFixing, ...]:
    return option_fixing(outcome, "one", CRS, datetime.date(2026, 11, 27))


def texts(data: bytes) -> list[list[tuple[float, str]]]:
    """Of each page the texts above its foot, each with the size of its letters, points."""
    pages = []
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        found: list[tuple[float, str]] = []

        def note(text, cm, tm, _font, size, found=found):
            if text.strip() and tm[5] * cm[3] + cm[5] > FOOT_PT:
                found.append((abs(size * tm[3] * cm[3]), text))

        page.extract_text(visitor_text=note)
        pages.append(found)
    return pages


def test_every_letter_of_a_sheet_can_be_read_outdoors(outcome, units):
    """None is under ten points, and what is to be done is larger, on two pages a unit at most."""
    pages = texts(sheet_files(outcome, "one", units)[SHEET_PDF])
    assert 2 <= len(pages) <= 4
    for page in pages:
        assert page
        assert min(size for size, _ in page) >= LEAST_PT - 0.01
    main = sheet_parts(units[0])[1].main
    (size,) = {size for size, text in pages[0] if text.replace("\u00a0", " ").strip() == main}
    assert size >= 15


def test_every_letter_of_a_walk_test_can_be_read_outdoors(outcome):
    """On the pages of each unit, which has a plan and a table of its own."""
    option = outcome.option("one")
    points = []
    for one in option.units:
        spots = candidate_spots(outcome.terrain, one, (outcome.figure,))
        for row in (0, 1, 2):
            points.append(walk_point(outcome, one.unit.name, len(points) + 1, spots, row, row > 0))
    pages = texts(walk_files(outcome, WalkTest("one", tuple(points)), CRS)[WALK_PDF])
    assert min(size for page in pages for size, _ in page) >= LEAST_PT - 0.01
    titles = [text for page in pages for size, text in page if size > 17]
    assert any("D1" in title for title in titles)
    assert any("детектор 2" in title for title in titles)


@pytest.mark.parametrize("dots_an_inch", [200, 300])
def test_the_code_is_read_by_another_program(outcome, units, dots_an_inch):
    """ZXing finds it on the page, and reads the settings of that very unit from it."""
    blank = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 88 74"/>'
    data, pictures = laid_out(
        *sheet_data(outcome, outcome.option("one"), units), lambda _number, _is_large: (blank, blank)
    )
    read = []
    for page in png_pages("sheet", data, pictures, dots_an_inch=dots_an_inch):
        grey = np.asarray(Image.open(io.BytesIO(page)).convert("L"))
        read += [code.text for code in zxingcpp.read_barcodes(grey)]
    assert read == [settings_text(fixing) for fixing in units]
    assert "bearing 180.0° true" in read[0]
    assert "tilt +5.0° nose down" in read[0]


def test_what_no_code_holds_is_left_to_the_words(outcome, units):
    """Names of 300 letters, three bytes each in UTF-8: a code holds 2331 (ISO/IEC 18004, version 40, M)."""
    kind = units[0].unit.type.model_copy(update={"name": "형" * 300})
    long = replace(units[0], unit=replace(units[0].unit, name="농" * 300, mount="문" * 300, type=kind))
    assert len(settings_text(long).encode()) > 2331
    data, codes = sheet_data(outcome, outcome.option("one"), (long, units[1]))
    assert data["units"][0]["code"] == ""
    assert list(codes) == ["code-2"]

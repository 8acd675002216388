"""Long names in several scripts: whole on their pages, as is all else that a page says."""

# ruff: noqa: RUF001 (letters of other scripts are what is asked here)

from dataclasses import replace

import pytest
from matplotlib.colors import to_rgba
from matplotlib.patches import Rectangle
from page_checks import check_texts, context_of, texts_of

from terrain3d import palette
from terrain3d.opened import site_of
from terrain3d.ranking.reasons import Reason, rivals
from terrain3d.sentences.options import one_line
from terrain3d.show.blocks import Row, Section, fill
from terrain3d.show.extent import site_extent
from terrain3d.show.legend import FOLIAGE, PROTECTED, SOLID, Sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.beside import beside_sheet
from terrain3d.show.pages.client import client_sheet
from terrain3d.show.pages.column import option_sheet
from terrain3d.show.pages.contact import contact_sheet
from terrain3d.show.pages.frames import frame_signs
from terrain3d.show.pages.sheet import COLUMN_RIGHT, Sheet
from terrain3d.show.pages.size import WIDTH_PX
from terrain3d.show.pages.walks import walk_signs
from terrain3d.show.sections import unit_section

pytestmark = pytest.mark.usefixtures("coarse_ground")
OPTIONS = (
    "Столб у старых ворот в дальнем конце подъездной дороги, обращённый во двор",
    "Ο στύλος δίπλα στην παλιά πύλη στο τέλος του δρόμου, στραμμένος προς την αυλή",
)
AREA = "Внутренний двор перед старым домом у дороги"
SITE = "Yard and outbuildings of the old house at the upper end of the long drive, as surveyed in autumn"


@pytest.fixture(scope="module")
def named(outcome):
    """The invented slope with long names."""
    options = tuple(
        replace(one, name=name, protect=tuple(replace(area, name=AREA) for area in one.protect))
        for one, name in zip(outcome.options, OPTIONS, strict=True)
    )
    found = tuple(Reason(rival.name) for rival in rivals(options))
    site = site_of(outcome.terrain, SITE)
    return replace(outcome, site=site, options=options, ranking=OPTIONS, reasons=found)


def said(page):
    return " ".join(text for text, _ in texts_of(page))


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_names_of_options_site_and_areas_are_whole(named, size):
    """On a page of an option, on that for a client and on those of several; and nothing runs into another."""
    context = context_of(named, size)
    with page_style():
        pages = [
            client_sheet(context, named.options[0]),
            option_sheet(context, named.options[0], "plan, north up", context.base.extent),
            contact_sheet(context, named.options, ""),
            beside_sheet(context, named.options),
        ]
        for page in pages:
            check_texts(page)
    for page, options in zip(pages, (OPTIONS[:1], OPTIONS[:1], OPTIONS, OPTIONS), strict=True):
        text = said(page)
        assert SITE in text
        assert "figure: " in text
        # The sentence under the picture has the names as well, but in quotes.
        unquoted = text.replace(f'"{OPTIONS[0]}"', "").replace(f'"{OPTIONS[1]}"', "")
        assert all(name in unquoted for name in options)
    assert AREA in said(pages[1])


def test_a_figure_for_the_client_says_whole_what_it_is():
    """A scenario with a long name runs on over more lines."""
    page, words = Sheet(), f'is still held with "{OPTIONS[0]}"'
    with page_style():
        page.figure_and_words("60%", words)
        check_texts(page)
    assert words in said(page)


def test_a_row_runs_on_beside_its_figure():
    """The words of a row that may, and no others; the next row starts under it."""
    page = Sheet()
    with page_style():
        rows = Row(AREA, ("49% of 64 m2",), most=2), Row(AREA, ("1 m2",)), Row("last")
        fill(page, [Section("Rows", rows)])
        check_texts(page)
        assert page.height_of(rows[0]) == pytest.approx(2 * page.height_of(rows[1]))
    assert said(page).count(AREA) == 1


@pytest.mark.parametrize("count", [4, 10, 12, 20])
def test_a_key_of_many_signs_can_be_read(count):
    """Two rows where one has no room: letters of nine tenths of their size or more up to a dozen signs."""
    signs = [Sign(f"a sign of {k}, some words", palette.SOLID, palette.INK) for k in range(count)]
    page = Sheet()
    with page_style():
        page.say("One. " * 160)
        page.key(signs)
        check_texts(page)
    words = [text for text in page.figure.texts if text.get_text().startswith("a sign")]
    assert [text.get_text() for text in words] == [sign.text for sign in signs]
    assert max(text.get_window_extent().x1 for text in words) <= COLUMN_RIGHT * WIDTH_PX + 1
    assert len({text.get_position()[1] for text in words}) == (1 if count == 4 else 2)
    if count <= 12:
        assert min(text.get_fontsize() for text in words) >= 0.9 * 7.2
    rectangles = [one for one in page.figure.artists if isinstance(one, Rectangle)]
    assert sum(one.get_facecolor() == to_rgba(palette.SOLID) for one in rectangles) == count


def test_a_key_of_two_rows_stands_off_the_sentence_under_it():
    """By half a line of its large letters, or it reads as a third row of the key."""
    signs = [Sign(f"a sign of {k}, some words", palette.SOLID, palette.INK) for k in range(10)]
    page = Sheet()
    with page_style():
        page.say("Letters that are large fill two lines. " * 5)
        page.key(signs)
    patches = [one for one in page.figure.artists if isinstance(one, Rectangle)]
    assert len({one.get_y() for one in patches}) == 2
    foot = min(one.get_y() for one in patches) * page.figure.bbox.height
    lines = [text.get_window_extent() for text in page.figure.texts if "Letters that" in text.get_text()]
    assert len(lines) == 2
    assert foot - max(line.y1 for line in lines) >= lines[0].height / 2


def test_a_sentence_that_finds_no_room_gives_way_to_a_shorter_one(named):
    """What stays open stands in the column of the page; cut off in the middle nothing is said."""
    best = named.options[0]
    areas = tuple(replace(best.protect[0], name=f"{5 * AREA} {k}") for k in range(6))
    many = replace(named, options=(replace(best, protect=areas), *named.options[1:]))
    assert len(one_line(many, many.options[0])) > 900
    with page_style():
        page = client_sheet(context_of(many), many.options[0])
    told = [text for text, box in texts_of(page) if 0.03 < box.y0 / page.figure.bbox.height < 0.1]
    assert told
    assert not any(text.endswith("...") for text in told)


def test_what_a_plan_of_walks_shows_is_in_its_key(outcome):
    """Solids, leaves and protected ground have their signs there as on other plans."""
    assert {SOLID, FOLIAGE, PROTECTED} <= set(walk_signs(outcome, outcome.options[0], site_extent(outcome)))
    assert {SOLID, FOLIAGE, PROTECTED} <= set(frame_signs(context_of(outcome)))


def test_room_for_warnings_is_kept_only_where_there_are_some(outcome):
    """Three units find room in a column that holds them."""
    units = tuple(unit for option in outcome.options for unit in option.detectors) * 2
    page = Sheet()
    with page_style():
        page.begin_column(0.73, 0.978, 0.43, 0.15)
        fill(page, [unit_section(units[:3])])
        assert "more: see" not in said(page)
        page.begin_column(0.73, 0.978, 0.43, 0.15)
        fill(page, [unit_section(units[:3], spare=5)])
    assert "more: see" in said(page)

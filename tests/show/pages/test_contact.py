"""Pages that show several options: which ones, at which scale, and words that keep clear."""

from dataclasses import replace

import numpy as np
import pytest
from blank_pages import draw_blanks
from page_checks import check_texts, context_of, texts_of
from PIL import Image
from test_stills import with_bad_names

from terrain3d.cover.verdict import Verdict
from terrain3d.palette import INK
from terrain3d.ranking.reasons import Reason, rivals
from terrain3d.show.extent import site_extent
from terrain3d.show.legend import FOLIAGE, SOLID, verdict_sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages import contact
from terrain3d.show.pages.base import plan_extent
from terrain3d.show.pages.beside import beside_sheet
from terrain3d.show.pages.contact import PER_PAGE, contact_pages, contact_sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.size import SCALES, SIZES, scale_for
from terrain3d.show.pages.stills import write_stills

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def many(outcome, count):
    """The same site with its options over and over, ranked backwards."""
    options = tuple(
        replace(outcome.options[k % len(outcome.options)], name=f"option {k}") for k in range(count)
    )
    best_first = options[::-1]
    found = tuple(Reason(rival.name) for rival in rivals(best_first))
    return replace(outcome, options=options, ranking=tuple(o.name for o in best_first), reasons=found)


@pytest.mark.parametrize(("count", "pages"), [(1, [1]), (4, [4]), (5, [4, 1]), (9, [4, 4, 1])])
def test_options_are_spread_over_pages_best_first(outcome, count, pages):
    """Every option is on one page, in the order of the ranking, at most so many to a page."""
    drawn = many(outcome, count)
    found = contact_pages(PageContext(drawn))
    assert [len(page) for page in found] == pages
    assert max(pages) <= PER_PAGE
    assert tuple(option.name for page in found for option in page) == drawn.ranking


def test_of_very_many_options_the_best_are_there(outcome):
    """Of 45 the first 40, and each of the ten pages says so."""
    context = PageContext(many(outcome, 45))
    found = contact_pages(context)
    assert tuple(option.name for page in found for option in page) == context.outcome.ranking[:40]
    assert [page.draw.args[-1] for page in contact.pages(context)] == [
        f"the first 40 of 45 options, page {number} of 10" for number in range(1, 11)
    ]


def test_options_that_are_not_ranked_keep_their_order(outcome):
    """Without a ranking the site file's order holds."""
    assert PageContext(replace(outcome, ranking=())).best_first == outcome.options


def test_files_of_many_options(outcome, tmp_path, monkeypatch):
    """Pages of a long list are numbered; the best four stand side by side; one option has no beside."""
    draw_blanks(monkeypatch)
    drawn = write_stills(PageContext(many(outcome, 5)), tmp_path, ("contact", "side-by-side"))
    assert [path.name for path in drawn] == ["00-contact-1.png", "00-contact-2.png", "00-side-by-side.png"]
    alone = write_stills(PageContext(many(outcome, 1)), tmp_path, ("contact", "side-by-side"))
    assert [path.name for path in alone] == ["00-contact.png"]


@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("count", [2, 3, 4])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_no_text_leaves_the_pages_or_covers_other_text(outcome, hostile, count, size):
    """Every line keeps clear of every other, for two to four options, whatever the names."""
    drawn = many(outcome, count)
    if hostile:
        names = with_bad_names(outcome).options
        options = tuple(names[k % 2] for k in range(count))
        drawn = replace(with_bad_names(outcome), options=options)
    with page_style():
        context = context_of(drawn, size, "1 May")
        check_texts(beside_sheet(context, context.best_first))
        check_texts(contact_sheet(context, context.best_first, "page 1 of 2"))


def test_every_row_has_its_numbers_and_its_reason(outcome):
    """Names, square metres and the main loss of each option are on the contact sheet."""
    with page_style():
        page = contact_sheet(PageContext(outcome), outcome.options, "")
        said = " ".join(text for text, _ in texts_of(page))
    for option in outcome.options:
        assert option.name[:20] in said
        assert f"{option.area_m2['both']:.0f} m²" in said
    assert said.count("Holds ") == len(outcome.options)
    assert outcome.site_name in said
    assert "walk-test every unit" in said


@pytest.mark.parametrize("name", ["a4", "a3"])
def test_printed_plans_are_to_scale(outcome, name):
    """The plan's frame on paper times the scale is the ground it shows; the scale is a ruler's."""
    size = SIZES[name]
    extent, scale = plan_extent(outcome, size, (0.655, 0.725))
    assert scale in SCALES
    with page_style():
        page = beside_sheet(context_of(outcome, name), outcome.options)
        frame = page.figure.axes[0].get_position()
        low, high = page.figure.axes[0].get_xlim()
        (told,) = [text for text, _ in texts_of(page) if " on A" in text]
    stated = int(told.split("1:")[1].split(" ")[0])
    assert frame.width * size.width_mm / 1000 * stated == pytest.approx(high - low, rel=1e-6)
    assert extent.width_m / scale <= 0.655 * size.width_mm / 1000 + 1e-9
    assert extent.west <= site_extent(outcome).west
    assert extent.east >= site_extent(outcome).east


def test_paper_has_its_pixels(outcome, tmp_path):
    """A4 and A3 at 300 dots an inch (ISO 216: 297 x 210 and 420 x 297 mm), and say so themselves."""
    for name, pixels in (("a4", (3508, 2480)), ("a3", (4961, 3508))):
        (path,) = write_stills(PageContext(many(outcome, 1), SIZES[name]), tmp_path, ("contact",))
        with Image.open(path) as image:
            assert image.size == pixels
            assert image.info["dpi"] == pytest.approx((300, 300), abs=0.01)


def test_the_date_is_printed_as_given_and_only_then(outcome):
    """No page makes up a date."""
    with page_style():
        dated = contact_sheet(PageContext(outcome, date="spring, second visit"), outcome.options, "")
        plain = contact_sheet(PageContext(outcome), outcome.options, "")
        texts = [{text for text, _ in texts_of(page)} for page in (dated, plain)]
    assert texts[0] - texts[1] == {"spring, second visit"}


@pytest.mark.parametrize(
    ("ground", "paper", "scale"), [((10, 5), (0.1, 0.1), 100), ((10.1, 5), (0.1, 0.1), 125)]
)
def test_scales_are_the_largest_that_fit(ground, paper, scale):
    """Ten metres on ten centimetres is 1:100; a little more needs the next ruler."""
    assert scale_for(ground, paper) == scale


def test_the_key_has_the_second_cue_of_the_colours(outcome):
    """In grey print the key's swatches are told apart by the stripes that the ground has."""
    with page_style():
        page = contact_sheet(PageContext(outcome), outcome.options, "")
    key = [patch for patch in page.figure.get_children() if hasattr(patch, "get_hatch") and patch.get_hatch()]
    on_key = {patch.get_hatch() for patch in key if patch.get_y() < 0.12}
    signs = verdict_sign(Verdict.UPPER_ONLY), verdict_sign(Verdict.DEAD), FOLIAGE, SOLID
    assert on_key == {sign.stripe.hatch for sign in signs}


def test_the_scale_of_a_section_lies_where_the_earth_is_deep(outcome):
    """Under the end of the section where the ground is higher, away from who stands at the lower one."""
    with page_style():
        page = contact_sheet(PageContext(outcome), outcome.options[:PER_PAGE], "")
        falls = []
        for axes in page.figure.axes:
            bars = [line for line in axes.lines if line.get_zorder() == 20 and line.get_color() == INK]
            grounds = [line for line in axes.lines if line.get_zorder() == 6 and len(line.get_xdata()) > 50]
            if not bars or not grounds:
                continue
            x, y = (np.asarray(data, float) for data in (grounds[0].get_xdata(), grounds[0].get_ydata()))
            low, high = axes.get_xlim()
            seen = np.isfinite(y) & (x >= low) & (x <= high)
            at = float(np.mean(bars[0].get_xdata()))
            here, there = np.interp([at, low + high - at], x[seen], y[seen])
            falls.append(here - there)
    assert len(falls) == len(outcome.options[:PER_PAGE])
    assert min(falls) >= 0
    assert max(falls) > 0.3

"""What every page of every kind keeps to, on a plain site and on a steep one whose things have long names."""

import json
import re
from functools import lru_cache

import numpy as np
import pytest
from page_checks import check_texts
from page_colours import drawn, key_swatches, pixels_drawn, swatches, verdicts_drawn
from page_numbers import is_told, numbers_of, numbers_said, part_of_page
from studied_sites import SITES, studied
from whole_pages import Laid, laid_out

from terrain3d import palette
from terrain3d.lengths import area_words
from terrain3d.paper.study import study_json
from terrain3d.sentences.warnings import voiding
from terrain3d.show.legend import UNIT
from terrain3d.show.lettering import has_glyph, printable

sites = pytest.mark.parametrize("site", list(SITES))


@sites
def test_no_text_leaves_its_page_or_covers_another(site):
    """On every kind of page; what is wrong on any of them is told together."""
    wrong = {}
    for laid in laid_out(site):
        try:
            check_texts(laid.sheet)
        except AssertionError as fault:
            wrong[laid.page.name] = str(fault).split("\n")[0]
    assert wrong == {}


@sites
def test_what_voids_an_option_is_on_each_of_its_pages_and_on_no_other(site):
    """A unit inside a solid makes all else that a page tells of its option worthless."""
    outcome = studied(site).outcome
    (void,) = [option for option in outcome.options if voiding(option)]
    (told,) = voiding(void)
    for laid in laid_out(site):
        if laid.page.option:
            assert (f"! {told}" in laid.said) == (laid.page.option == void.name), laid.page.name
        elif laid.kind in ("contact", "side-by-side"):
            assert laid.said.count(f"! {told}") == 1, laid.page.name


@sites
def test_what_is_cut_stands_whole_on_the_same_page(site):
    """Three dots at the end of a name or a line: the rest of it can be read elsewhere on the page."""
    cut = []
    for laid in laid_out(site):
        lines = [" ".join(text.split()) for text, _ in laid.texts]
        for line in lines:
            if line.endswith("..."):
                whole = " ".join(other for other in lines if other != line)
                if line.removesuffix("...").strip() not in whole:
                    cut.append((laid.page.name, line))
    assert cut == []


@sites
def test_units_stand_within_their_frames(site):
    """The mark of a unit, wherever it is drawn, lies within the axes it is drawn in."""
    count = 0
    for laid in laid_out(site):
        for axes in laid.sheet.figure.axes:
            frame = axes.get_window_extent()
            for line in axes.lines:
                if line.get_marker() != UNIT.mark.shape or line.get_markeredgecolor() != UNIT.mark.rim:
                    continue
                if line.get_markersize() < 0.6 * UNIT.mark.size or not len(line.get_xdata()):
                    continue
                for x, y in line.get_transform().transform(np.column_stack(line.get_data())):
                    assert frame.x0 <= x <= frame.x1, laid.page.name
                    assert frame.y0 <= y <= frame.y1, laid.page.name
                    count += 1
    assert count > 100


@lru_cache
def document(site: str) -> dict:
    """results.json of a site."""
    return json.loads(study_json(studied(site)))


def untold(laid: Laid, results: dict) -> list[str]:
    """The numbers of a page that results.json does not have."""
    pool = list(numbers_of(part_of_page(results, laid.page.option, laid.kind)))
    return [f"{said.unit}: {said.where}" for said in numbers_said(laid) if not is_told(said, pool)]


@sites
def test_every_number_on_a_page_is_in_the_results(site):
    """Each with its unit, rounded as it is written; what is no result is named in `page_numbers`."""
    wrong = {laid.page.name: found for laid in laid_out(site) if (found := untold(laid, document(site)))}
    assert wrong == {}


AREAS_AND_SHARES = r"_m2|share|fraction|causes|taken_by|protected_lost"
#: What pages measure on their own pictures.
MEASURED = r"\.(sections|outlook|seen_from|moments)\."


def larger(values, which=AREAS_AND_SHARES, key=""):
    """The same results with every area and share, or what else is asked for, a seventh larger."""
    if isinstance(values, dict):
        return {name: larger(below, which, f"{key}.{name}") for name, below in values.items()}
    if isinstance(values, list):
        return [larger(below, which, key) for below in values]
    is_told = isinstance(values, float) and re.search(which, key)
    return values * 8 / 7 if is_told else values


def test_numbers_that_are_changed_are_noticed():
    """Held to results in which all areas and shares are a seventh larger, no page that tells any passes."""
    site = "slope"
    changed, noticed, told = larger(document(site)), [], []
    for laid in laid_out(site):
        areas = [said for said in numbers_said(laid) if said.unit in ("m2", "share") and said.value >= 10]
        if len(areas) > 2 and laid.kind not in ("doubt", "heat"):
            told.append(laid.page.name)
            noticed += [laid.page.name] if untold(laid, changed) else []
    assert len(told) > 20
    assert noticed == told


@pytest.mark.parametrize("kind", ["section", "outlook", "views", "frames"])
def test_measures_that_are_changed_are_noticed(kind):
    """Held to results in which all that pages measure is a seventh larger, no page of these kinds passes.

    The many walks of fans lie too close together for that: any figure is near one of them.
    """
    changed = larger(document("slope"), MEASURED)
    found = {laid.page.name: untold(laid, changed) for laid in laid_out("slope") if laid.kind == kind}
    assert found
    assert [name for name, wrong in found.items() if not wrong] == []


def rows_wanted(option: dict, part: dict, factor: float = 1.0) -> list[str]:
    """What the column of an option's page says of its ground and of an area, from results.json."""
    areas = {key: area_words(factor * m2) for key, m2 in option["area_m2"].items()}
    share = round(100 * part["both_fraction"] * factor)
    return [
        f"both layers {areas['both']} upper only {areas['upper_only']}"
        f" lower only {areas['lower_only']} dead ground {areas['dead']} outside",
        f"{printable(part['name'], has_glyph)} {share}% of {area_words(part['area_m2'] * factor)}",
    ]


@sites
@pytest.mark.parametrize("kind", ["plan", "oblique"])
def test_rows_of_ground_say_what_the_results_say(site, kind):
    """Verdict by verdict and area by area; of an option that holds a tenth more they would say otherwise."""
    for laid in laid_out(site):
        if laid.kind != kind:
            continue
        (option,) = [one for one in document(site)["options"] if one["name"] == laid.page.option]
        # The figure of a row is written after the first line of its words.
        said = re.sub(r"\s+", " ", laid.said)
        for part in option["protect"]:
            ground, area = rows_wanted(option, part)
            assert ground in said
            figure = area.removeprefix(printable(part["name"], has_glyph)).strip()
            assert figure in said
            changed, _ = rows_wanted(option, part, 1.1)
            assert changed not in said


#: Kinds whose picture is rendered as a scene, or seen from a place: what is drawn there are pixels.
SCENES = {"client", "oblique", "routes-oblique", "outlook", "views"}
#: Signs that stand in keys whatever there is of them: the verdicts and the alarm, so that two pages can be
#: compared; where a layer lands, which a column says of each unit; leaves, which a section blends.
ALWAYS = {colour.lower() for colour in palette.VERDICT_COLOURS.values()} | {
    colour.lower()
    for colour in (
        palette.BOTH_EDGE, palette.UPPER_STRIPE, palette.DEAD_STRIPE, palette.UNKNOWN_GROUND,
        palette.UNKNOWN_STRIPE, palette.ALARM, palette.LANDING, palette.FOLIAGE,
    )
}  # fmt: skip


@sites
def test_every_colour_of_a_picture_has_its_swatch(site):
    """What is drawn in a colour, a mark or a verdict has that colour in a key or a row of the same page."""
    without = {}
    for laid in laid_out(site):
        missing = (drawn(laid) | verdicts_drawn(laid)) - swatches(laid)
        if missing:
            without[laid.page.name] = missing
    assert without == {}


@sites
def test_every_sign_of_a_key_is_in_its_picture(site):
    """But for those that a key has always, no colour stands in a key that nothing is drawn in."""
    idle = {}
    for laid in laid_out(site):
        if laid.kind not in SCENES and laid.sheet.figure.axes:
            left = key_swatches(laid) - drawn(laid) - pixels_drawn(laid) - ALWAYS
            if left:
                idle[laid.page.name] = left
    assert idle == {}

"""The pages that go out to the site, set in type: the fixing sheet and the walk test, as PDF."""

import io
from collections.abc import Mapping, Sequence
from typing import Any

import segno

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.fixing.unit import UnitFixing
from terrain3d.job import Outcome
from terrain3d.paper.supply import supply_of
from terrain3d.sentences.fixing import CAUTIONS, SheetPart, settings_text, sheet_parts
from terrain3d.sentences.supply import unit_words
from terrain3d.sentences.walktest import HOW_TO_WALK, WALK_CAUTION, place_words, should_words, walk_words
from terrain3d.sentences.words import unit_title
from terrain3d.typeset.pages import pdf, png_pages
from terrain3d.walktest.plan import WalkTest

SHEET_PDF, WALK_PDF = "sheet.pdf", "walktest.pdf"
#: Letters of the line that is read from afar, points; what is longer than a line is set smaller.
_LARGE, _SMALLER, _LONG = 15.0, 12.5, 44
#: How large the letters are and how high the pictures, millimetres, the largest that fit first.
_FITS = ((1.15, 74), (1.0, 74), (1.0, 60), (0.9, 56), (0.8, 48), (0.7, 40))
#: A code of more letters is too fine to be read off wet paper.
_MOST_CODED = 420


def sheet_pdf(
    outcome: Outcome, option: OptionResult, units: Sequence[UnitFixing], pictures: Mapping[str, str]
) -> bytes:
    """The bytes of `sheet.pdf`: a page a unit.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    units : sequence of UnitFixing
        Of the option, in its order.
    pictures : mapping of str to str
        SVG: `plan-1` and `section-1` of the first unit, and so on.
    """
    data, drawn = sheet_data(outcome, option, units, pictures)
    return pdf("sheet", on_a_page_each(data, drawn), drawn)


def on_a_page_each(data: dict[str, Any], pictures: Mapping[str, str]) -> dict[str, Any]:
    """The sheet with the largest letters and pictures at which each unit keeps to its page."""
    for scale, picture_mm in _FITS:
        sized = {**data, "scale": scale, "picture": picture_mm}
        # So coarse a picture of each page costs next to nothing.
        if len(png_pages("sheet", sized, pictures, dots_an_inch=9)) <= len(data["units"]):
            break
    return sized


def sheet_data(
    outcome: Outcome, option: OptionResult, units: Sequence[UnitFixing], pictures: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """What `sheet.pdf` is made of: its words, and its pictures with the codes among them."""
    drawn, pages = dict(pictures), []
    supply = supply_of(outcome, option)
    for number, fixing in enumerate(units, 1):
        code = _code(settings_text(fixing))
        if code:
            drawn[f"code-{number}"] = code
        fed = "" if supply is None else unit_words(supply.units[number - 1])
        pages.append(
            {
                "title": unit_title(fixing.unit),
                "subtitle": f'{outcome.site_name}, option "{option.name}"',
                "code": f"code-{number}" if code else "",
                "parts": [_part(part) for part in sheet_parts(fixing)]
                + ([_part(SheetPart("Supply", "", (fed,)))] if fed else []),
                "plan": f"plan-{number}",
                "section": f"section-{number}",
                "cautions": list(CAUTIONS),
            }
        )
    data = {"head": f"{outcome.site_name}: {option.name}", "units": pages, "foot": _foot(outcome)}
    return data, drawn


def walk_pdf(outcome: Outcome, plan: WalkTest, pictures: Mapping[str, str]) -> bytes:
    """The bytes of `walktest.pdf`; `pictures` holds the `plan` as SVG."""
    return pdf("walktest", walk_data(outcome, plan), pictures)


def walk_data(outcome: Outcome, plan: WalkTest) -> dict[str, Any]:
    """The words of `walktest.pdf`."""
    points = [
        {
            "number": point.number,
            "place": place_words(point.taped),
            "walk": walk_words(point),
            "should": f"{point.unit} {should_words(point.lights)}",
        }
        for point in plan.points
    ]
    return {
        "head": f"Walk test: {outcome.site_name}, {plan.option}",
        "how": [HOW_TO_WALK],
        "points": points,
        "cautions": [WALK_CAUTION, SHORT_CAUTION],
        "foot": _foot(outcome),
    }


def _foot(outcome: Outcome) -> str:
    paper = outcome.site.file.paper
    told = [paper.client, paper.by, paper.revision, None if paper.date is None else paper.date.isoformat()]
    return ", ".join([outcome.site_name, *(one for one in told if one)])


def _part(part: SheetPart) -> dict[str, Any]:
    size = _LARGE if len(part.main) <= _LONG else _SMALLER
    return {"title": part.title, "main": part.main, "size": size, "lines": list(part.lines)}


def _code(text: str) -> str:
    """A text as a QR code, SVG; empty where it is too long to be read off paper."""
    if len(text) > _MOST_CODED:
        return ""
    told = io.BytesIO()
    segno.make(text, error="m", micro=False).save(told, kind="svg", border=2, xmldecl=False)
    return told.getvalue().decode("utf-8")

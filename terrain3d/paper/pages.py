"""The pages that go out to the site, set in type: the fixing sheet and the walk test, as PDF."""

import io
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import segno

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.fixing.unit import UnitFixing
from terrain3d.job import Outcome
from terrain3d.paper.supply import supply_of
from terrain3d.sentences.fixing import CAUTIONS, PICTURES_KEY, SheetPart, settings_text, sheet_parts
from terrain3d.sentences.supply import unit_words
from terrain3d.sentences.walktest import (
    FILLED_IN,
    HOW_TO_WALK,
    PLAN_KEY,
    TABLE_HEADS,
    WALK_CAUTION,
    place_words,
    should_words,
    walk_words,
)
from terrain3d.sentences.words import unit_title
from terrain3d.typeset.pages import pdf, png_pages
from terrain3d.walktest.plan import WalkTest

SHEET_PDF, WALK_PDF = "sheet.pdf", "walktest.pdf"
#: Letters of the line that is read from afar, points; what is longer than a line is set smaller.
_LARGE, _SMALLER, _LONG = 16.0, 13.0, 44
#: How large the letters are, the largest that fit first: 1 is ten points, and nothing to be read is smaller.
_SCALES = (1.15, 1.08, 1.0)
#: A code is so wide at least and at most, and its squares at least so wide, to be read off wet paper: mm
#: (common practice, no source).
_CODE_MM, _SQUARE_MM = (24.0, 36.0), 0.35
#: Squares of white about a code; what is around it on the page is white too.
_QUIET = 2


#: The plan and the section of a unit, SVG, by its number from 1 and whether they have a page of their own.
Drawn = Callable[[int, bool], tuple[str, str]]


def sheet_pdf(outcome: Outcome, option: OptionResult, units: Sequence[UnitFixing], drawn: Drawn) -> bytes:
    """The bytes of `sheet.pdf`: a page a unit; two where there is so much to say that one does not hold it.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    units : sequence of UnitFixing
        Of the option, in its order.
    drawn : callable
        Draws the two pictures of a unit.
    """
    data, pictures = laid_out(*sheet_data(outcome, option, units), drawn)
    return pdf("sheet", data, pictures)


def laid_out(
    data: dict[str, Any], codes: Mapping[str, str], drawn: Drawn
) -> tuple[dict[str, Any], dict[str, str]]:
    """A sheet with the largest letters at which each unit keeps to its page, and its pictures.

    Where the smallest do not, the pictures go onto a page of their own, and are drawn as large as that is.
    """
    pages, pictures = [], dict(codes)
    for number, unit in enumerate(data["units"], 1):
        page = {**unit, "plan": f"plan-{number}", "section": f"section-{number}", "is_spread": False}
        own = {page["plan"]: "", page["section"]: ""}
        own[page["plan"]], own[page["section"]] = drawn(number, False)
        scale = _largest(data, page, {**codes, **own}, 1)
        if scale is None:
            page["is_spread"] = True
            own[page["plan"]], own[page["section"]] = drawn(number, True)
            scale = _largest(data, page, {**codes, **own}, 2)
        pages.append({**page, "scale": scale or _SCALES[-1]})
        pictures |= own
    return {**data, "units": pages}, pictures


def _largest(
    data: Mapping[str, Any], page: dict[str, Any], pictures: Mapping[str, str], most_pages: int
) -> float | None:
    """The largest letters at which a unit takes no more pages; None where even the smallest take more."""
    for scale in _SCALES:
        alone = {**data, "units": [{**page, "scale": scale}]}
        # So coarse a picture of each page costs next to nothing.
        if len(png_pages("sheet", alone, pictures, dots_an_inch=9)) <= most_pages:
            return scale
    return None


def sheet_data(
    outcome: Outcome, option: OptionResult, units: Sequence[UnitFixing]
) -> tuple[dict[str, Any], dict[str, str]]:
    """The words of `sheet.pdf`, and the codes with the settings of its units, SVG."""
    codes: dict[str, str] = {}
    pages = []
    supply = supply_of(outcome, option)
    for number, fixing in enumerate(units, 1):
        code, code_mm = _code(settings_text(fixing))
        if code:
            codes[f"code-{number}"] = code
        fed = "" if supply is None else unit_words(supply.units[number - 1])
        pages.append(
            {
                "title": unit_title(fixing.unit),
                "subtitle": f'{outcome.site_name}, option "{option.name}"',
                "code": f"code-{number}" if code else "",
                "code-mm": code_mm,
                "parts": [_part(part) for part in sheet_parts(fixing)]
                + ([_part(SheetPart("Supply", "", (fed,)))] if fed else []),
                "key": PICTURES_KEY,
                "cautions": list(CAUTIONS),
            }
        )
    return {"head": f"{outcome.site_name}: {option.name}", "units": pages, "foot": _foot(outcome)}, codes


def walk_pdf(outcome: Outcome, plan: WalkTest, pictures: Mapping[str, str]) -> bytes:
    """The bytes of `walktest.pdf`; `pictures` holds `plan-1` of the first unit as SVG, and so on."""
    return pdf("walktest", walk_data(outcome, plan), pictures)


def walk_data(outcome: Outcome, plan: WalkTest) -> dict[str, Any]:
    """The words of `walktest.pdf`: a plan and a table for each unit."""
    units = []
    for number, unit in enumerate(outcome.option(plan.option).detectors, 1):
        points = [
            {
                "number": point.number,
                "place": _whole(place_words(point.taped)),
                "walk": _whole(walk_words(point)),
                "should": should_words(point.lights),
            }
            for point in plan.points
            if point.unit == unit.name
        ]
        units.append({"title": unit_title(unit), "plan": f"plan-{number}", "points": points})
    return {
        "head": f'Walk test: {outcome.site_name}, option "{plan.option}"',
        "how": [HOW_TO_WALK, PLAN_KEY],
        "asked": list(FILLED_IN),
        "heads": list(TABLE_HEADS),
        "units": units,
        "cautions": [WALK_CAUTION, SHORT_CAUTION],
        "foot": _foot(outcome),
    }


def _foot(outcome: Outcome) -> str:
    paper = outcome.site.file.paper
    told = [paper.client, paper.by, paper.revision, None if paper.date is None else paper.date.isoformat()]
    return ", ".join([outcome.site_name, *(one for one in told if one)])


def _part(part: SheetPart) -> dict[str, Any]:
    size = _LARGE if len(part.main) <= _LONG else _SMALLER
    main = _whole(part.main[:1].upper() + part.main[1:])
    return {"title": part.title, "main": main, "size": size, "lines": [_whole(line) for line in part.lines]}


def _whole(words: str) -> str:
    """Words in which a number stays on the line of its unit, and a bearing on that of its name.

    >>> _whole("7.6 m off, bearing 212\u00b0") == "7.6\u00a0m off, bearing\u00a0212\u00b0"
    True
    """
    return re.sub(r"(?<=\d) (?=(?:mm?|ft|in|%)(?:\W|$))|(?<=bearing) (?=\d)", "\u00a0", words)


def _code(text: str) -> tuple[str, float]:
    """A text as a QR code (ISO/IEC 18004), SVG, and how wide it is set, mm; empty where that is too much."""
    try:
        code = segno.make(text, error="m", micro=False)
    except segno.DataOverflowError:  # no code holds so much, however wide
        return "", 0.0
    wide_mm = max(_SQUARE_MM * code.symbol_size(border=_QUIET)[0], _CODE_MM[0])
    if wide_mm > _CODE_MM[1]:
        return "", 0.0
    told = io.BytesIO()
    code.save(told, kind="svg", border=_QUIET, xmldecl=False, omitsize=True)
    return told.getvalue().decode("utf-8"), wide_mm

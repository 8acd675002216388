"""What is taken along to the site, as files: the sheet that units are fixed by, and the walk test."""

from collections.abc import Sequence

import pyproj

from terrain3d.fixing.unit import UnitFixing
from terrain3d.job import Outcome
from terrain3d.paper.pages import SHEET_PDF, WALK_PDF, sheet_pdf, walk_pdf
from terrain3d.paper.walktest import NEXT, SHEET, sheet_csv
from terrain3d.show.line_pictures import unit_plan_svg, unit_section_svg, walk_plan_svg
from terrain3d.walktest.answers import Answer
from terrain3d.walktest.plan import WalkTest
from terrain3d.walktest.read import WalkReading

#: How large the pictures of a unit are beside each other on its page, those on a page of their own, and the
#: plan of a walk test: millimetres.
_BESIDE_MM, _OWN_PAGE_MM, _PLAN_MM = (88.0, 71.0), (182.0, 108.0), (182.0, 112.0)


def sheet_files(outcome: Outcome, name: str, units: Sequence[UnitFixing]) -> dict[str, bytes]:
    """The fixing sheet of an option, a page or two a unit, by the name of its file.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option.
    units : sequence of UnitFixing
        Of its units, in their order.
    """
    judged = outcome.option(name)

    def drawn(number: int, is_large: bool) -> tuple[str, str]:
        one, fixing = judged.units[number - 1], units[number - 1]
        size = _OWN_PAGE_MM if is_large else _BESIDE_MM
        return unit_plan_svg(outcome, one, fixing, *size), unit_section_svg(outcome, fixing, *size)

    return {SHEET_PDF: sheet_pdf(outcome, judged, units, drawn)}


def walk_files(outcome: Outcome, plan: WalkTest, crs: pyproj.CRS | None) -> dict[str, bytes]:
    """A walk test to walk by and to fill in, by the names of its files; `crs` is the site file's."""
    pictures = {}
    for number, one in enumerate(outcome.option(plan.option).units, 1):
        own = [point for point in plan.points if point.unit == one.unit.name]
        pictures[f"plan-{number}"] = walk_plan_svg(outcome, one, own, *_PLAN_MM)
    return {
        SHEET: sheet_csv(plan.points, outcome.terrain.frame, crs),
        WALK_PDF: walk_pdf(outcome, plan, pictures),
    }


def next_files(
    outcome: Outcome, answers: Sequence[Answer], reading: WalkReading, crs: pyproj.CRS | None
) -> dict[str, bytes]:
    """What to walk next, to be filled in, by the name of its file; nothing where it is all on the sheet."""
    known = {answer.point for answer in answers}
    new = tuple(point for unit in reading.units for point in unit.next if point.number not in known)
    return {NEXT: sheet_csv(new, outcome.terrain.frame, crs)} if new else {}

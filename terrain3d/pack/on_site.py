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

#: How large the plan of a walk test is, millimetres.
_PLAN_MM = (170.0, 92.0)


def sheet_files(outcome: Outcome, name: str, units: Sequence[UnitFixing]) -> dict[str, bytes]:
    """The fixing sheet of an option, a page a unit, by the name of its file.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option.
    units : sequence of UnitFixing
        Of its units, in their order.
    """
    judged = outcome.option(name)
    pictures = {}
    for number, (one, fixing) in enumerate(zip(judged.units, units, strict=True), 1):
        pictures[f"plan-{number}"] = unit_plan_svg(outcome, one, fixing)
        pictures[f"section-{number}"] = unit_section_svg(outcome, fixing)
    return {SHEET_PDF: sheet_pdf(outcome, judged, units, pictures)}


def walk_files(outcome: Outcome, plan: WalkTest, crs: pyproj.CRS | None) -> dict[str, bytes]:
    """A walk test to walk by and to fill in, by the names of its files; `crs` is the site file's."""
    picture = walk_plan_svg(outcome, outcome.option(plan.option).units, plan.points, *_PLAN_MM)
    return {
        SHEET: sheet_csv(plan.points, outcome.terrain.frame, crs),
        WALK_PDF: walk_pdf(outcome, plan, {"plan": picture}),
    }


def next_files(
    outcome: Outcome, answers: Sequence[Answer], reading: WalkReading, crs: pyproj.CRS | None
) -> dict[str, bytes]:
    """What to walk next, to be filled in, by the name of its file; nothing where it is all on the sheet."""
    known = {answer.point for answer in answers}
    new = tuple(point for unit in reading.units for point in unit.next if point.number not in known)
    return {NEXT: sheet_csv(new, outcome.terrain.frame, crs)} if new else {}

"""A walk test: the sheet as CSV, its part of `results.json`, its lines on the terminal, and what it puts
back."""

import csv
import datetime
import io
from pathlib import Path
from typing import Any

import pyproj
from rich.console import Group
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.frame import Frame
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in
from terrain3d.paper.added_tables import entries, parsed, with_table_replaced, with_tables
from terrain3d.paper.results import json_text, place, results_values
from terrain3d.paper.rounded import share, size
from terrain3d.paper.site_file import rewrite
from terrain3d.paper.taped import taped_values
from terrain3d.paper.write_options import with_options
from terrain3d.sentences.walktest import (
    WALK_CAUTION,
    plan_lines,
    proof_words,
    reading_lines,
    should_words,
    unit_answer,
)
from terrain3d.site import Option
from terrain3d.terminal import lay_out
from terrain3d.walktest.explain import Told
from terrain3d.walktest.faults import Cause
from terrain3d.walktest.plan import WalkPoint, WalkTest
from terrain3d.walktest.read import UnitReading, Walked, WalkReading, as_it_hangs

SHEET, NEXT = "walktest.csv", "walktest-next.csv"
_COLUMNS = (
    "point", "unit", "x", "y", "direction", "length", "posture", "from", "bearing", "metres", "paces",
    "proves", "expect", "seen",
)  # fmt: skip
#: A table program takes a cell that begins so for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@lengths_in("m")
def sheet_csv(points: tuple[WalkPoint, ...], frame: Frame, crs: pyproj.CRS | None) -> bytes:
    """The sheet to be filled in: column `seen` is empty. Coordinates are those of the site file."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(_COLUMNS)
    digits = 8 if crs is not None and crs.is_geographic else 3
    for point in points:
        xs, ys = frame.from_local([point.x], [point.y], crs)
        taped = point.taped
        writer.writerow(
            [
                point.number, _cell(point.unit), f"{float(xs[0]):.{digits}f}", f"{float(ys[0]):.{digits}f}",
                f"{point.towards_deg:.0f}", f"{point.length_m:.1f}", _cell(point.figure),
                _cell(taped.name),
                f"{taped.bearing_deg:.0f}",
                f"{taped.tape_m:.1f}",
                taped.paces,
                _cell(proof_words(point.proof)), "yes" if point.lights else "no", "",
            ]
        )  # fmt: skip
    return text.getvalue().encode("utf-8")


def _cell(text: str) -> str:
    """A text that no program for tables takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def plan_json(outcome: Outcome, plan: WalkTest) -> str:
    """The text of `results.json` with the walk test of an option."""
    return json_text(_with_part(outcome, plan.option, plan_values(outcome, plan)))


@lengths_in("m")
def plan_values(outcome: Outcome, plan: WalkTest) -> dict[str, Any]:
    """What `results.json` says of a walk test that is to be walked."""
    return {
        "points": [_point(point, outcome.terrain.frame) for point in plan.points],
        "words": plan_lines(plan),
        "reading": None,
        "caution": WALK_CAUTION,
    }


@lengths_in("m")
def reading_json(outcome: Outcome, reading: WalkReading) -> str:
    """The text of `results.json` with the answers of a walk test, read."""
    frame = outcome.terrain.frame
    points = [one.point for unit in reading.units for one in unit.walked]
    points += [point for unit in reading.units for point in unit.left_out]
    points.sort(key=lambda point: point.number)
    told = {
        "walked_count": reading.n_walked,
        "as_told_count": reading.n_as_told,
        "units": [_unit(unit, frame) for unit in reading.units],
    }
    values = {"points": [_point(point, frame) for point in points], "words": reading_lines(reading)}
    part = {**values, "reading": told, "caution": WALK_CAUTION}
    return json_text(_with_part(outcome, reading.option, part))


def _with_part(outcome: Outcome, name: str, part: dict[str, Any]) -> dict[str, Any]:
    document = results_values(outcome)
    for option in document["options"]:
        if option["name"] == name:
            option["walktest"] = part
    return document


def _point(point: WalkPoint, frame: Frame) -> dict[str, Any]:
    return {
        "number": point.number,
        "unit": point.unit,
        **place(point.x, point.y, frame),
        "towards_deg": size(point.towards_deg),
        "length_m": size(point.length_m),
        "figure": point.figure,
        "figure_height_m": point.figure_height_m,
        "expect": should_words(point.lights),
        "proves": point.proof.kind,
        "name": point.proof.name or None,
        "from_place": taped_values(point.taped),
    }


def _unit(unit: UnitReading, frame: Frame) -> dict[str, Any]:
    told = unit.explanation
    return {
        "name": unit.unit,
        "walked": [_walked(one) for one in unit.walked],
        "left_out": [point.number for point in unit.left_out],
        "causes": [] if told is None else [_told(one) for one in told.causes],
        "is_told": told is not None and told.is_told,
        "next": [_point(point, frame) for point in unit.next],
        "words": unit_answer(unit),
    }


def _walked(one: Walked) -> dict[str, Any]:
    return {"number": one.point.number, "seen": should_words(one.seen), "is_as_told": one.is_as_told}


def _told(told: Told) -> dict[str, Any]:
    off: dict[str, Any] = dict.fromkeys(("height_m", "angle_deg", "range_m", "head", "leaves_ratio"))
    ends = [size(told.low), size(told.value), size(told.high)]
    if told.cause is Cause.HEIGHT:
        off["height_m"] = ends
    elif told.cause in (Cause.BEARING, Cause.TILT, Cause.ROLL):
        off["angle_deg"] = ends
    elif told.cause is Cause.RANGE:
        off["range_m"] = told.value
    elif told.cause is Cause.HEAD:
        off["head"] = round(told.value)
    elif told.cause is Cause.LEAVES:
        off["leaves_ratio"] = ends
    return {"cause": told.cause.value, "chance": share(told.chance), **off}


def print_lines(title: str, lines: list[str]) -> None:
    """Print what is told of a walk test."""
    cautions = [Text(line, style="dim") for line in (WALK_CAUTION, SHORT_CAUTION)]
    lay_out(Group(Text(title, style="bold"), *map(Text, lines), *cautions))


def write_reading(
    path: Path, as_read: bytes, outcome: Outcome, reading: WalkReading, on: datetime.date
) -> bool:
    """Put a walk test into the site file: that it was done, and the option as its units hang, where that
    differs.

    Returns
    -------
    bool
        Whether there is such an option.

    Raises
    ------
    InputError
        As `write_options.write_options`.
    """
    option = next(one for one in outcome.site.file.option if one.name == reading.option)
    rewrite(path, as_read, lambda text: with_reading(text, option, reading, on, str(path)))
    return as_it_hangs(option, reading) is not None


def with_reading(text: str, option: Option, reading: WalkReading, on: datetime.date, where: str) -> str:
    """The text of a site file with a walk test: that it was done, and the option as its units hang, where
    that differs.

    Parameters
    ----------
    text : str
    option : Option
        That was walked, as the site file had it.
    reading : WalkReading
    on : date
        Of the walk test.
    where : str
        What the file is called in messages.

    Raises
    ------
    InputError
        Where the file is laid out so that this cannot be put into it.
    """
    tested = {"name": reading.option, "on": on, "points": reading.n_walked, "as_told": reading.n_as_told}
    there = [entry.get("name") for entry in entries(parsed(text, where), "walk_tested", where)]
    if reading.option in there:
        text = with_table_replaced(text, "walk_tested", tested, "", where)
    else:
        text = with_tables(text, "walk_tested", [(tested, "")], where)
    hanging = as_it_hangs(option, reading)
    if hanging is None:
        return text
    comment = f"as the walk test of {on.isoformat()} found its units to hang"
    return with_options(text, (hanging,), replace=True, comment=comment, where=where)

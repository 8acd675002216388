"""What installers take along: the part `fixing` of an option in `results.json`."""

from typing import Any

from rich.console import Group
from rich.text import Text

from terrain3d.fixing.aim import AimMark, HeadAim
from terrain3d.fixing.magnetism import Magnetic
from terrain3d.fixing.unit import BESIDE_M, HeadSet, HeightOnSlope, UnitFixing
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in
from terrain3d.paper.results import json_text, place, results_values
from terrain3d.paper.rounded import share, size
from terrain3d.paper.taped import taped_values
from terrain3d.paper.uncertainty import tolerance_values
from terrain3d.sentences.fixing import CAUTIONS, coordinates_words, fixing_lines, told_lines
from terrain3d.sentences.words import unit_title
from terrain3d.terminal import lay_out


def fixing_json(outcome: Outcome, name: str, units: tuple[UnitFixing, ...]) -> str:
    """The text of `results.json` with what fixes the units of an option."""
    document = results_values(outcome)
    for option in document["options"]:
        if option["name"] == name:
            option["fixing"] = fixing_values(outcome, units)
    return json_text(document)


@lengths_in("m")
def fixing_values(outcome: Outcome, units: tuple[UnitFixing, ...]) -> list[dict[str, Any]]:
    """What `results.json` says of what fixes the units of an option."""
    return [_unit(outcome, unit) for unit in units]


def print_fixing(outcome: Outcome, name: str, units: tuple[UnitFixing, ...]) -> None:
    """Print what fixes each unit of an option."""
    lines = [Text(f'{outcome.site_name}, fixing of "{name}"', style="bold")]
    for fixing in units:
        lines.append(Text(unit_title(fixing.unit), style="bold"))
        lines += [Text(f"  {line}") for line in fixing_lines(fixing)]
    lay_out(Group(*lines, *(Text(line, style="dim") for line in CAUTIONS)))


def _unit(outcome: Outcome, fixing: UnitFixing) -> dict[str, Any]:
    unit = fixing.unit
    return {
        "name": unit.name,
        **place(unit.x, unit.y, outcome.terrain.frame),
        "coordinates": coordinates_words(fixing.site_xy),
        "lonlat": None if fixing.lonlat is None else [round(value, 8) for value in fixing.lonlat],
        "tapes": [taped_values(tape) for tape in fixing.tapes],
        "paced": None if fixing.paced is None else taped_values(fixing.paced),
        "height_m": unit.height_m,
        "height_on_slope": None if fixing.height is None else _height(fixing.height),
        "bearing_deg": unit.bearing_deg,
        "magnetic": None if fixing.magnetic is None else _magnetic(fixing.magnetic, unit.bearing_deg),
        "mark": None if fixing.mark is None else _mark(fixing.mark),
        "tilt_deg": unit.tilt_deg,
        "roll_deg": unit.roll_deg,
        "level_mm": size(fixing.level_mm),
        "heads": [_head(head) for head in fixing.heads],
        "aims": [_aim(aim) for aim in fixing.aims],
        "tolerances": tolerance_values(fixing.tolerance),
        "words": told_lines(fixing),
        "cautions": list(CAUTIONS),
    }


def _height(height: HeightOnSlope) -> dict[str, Any]:
    return {
        "fall_share": share(height.fall_percent / 100),
        "fall_deg": size(height.fall_deg),
        "beside_m": BESIDE_M,
        "uphill_m": size(height.uphill_m),
        "downhill_m": size(height.downhill_m),
    }


def _magnetic(magnetic: Magnetic, bearing_deg: float) -> dict[str, Any]:
    return {
        "model": magnetic.model,
        "on": magnetic.on.isoformat(),
        "compass_deg": size(magnetic.compass_deg(bearing_deg)),
        "declination_deg": size(magnetic.declination_deg),
        "error_deg": size(magnetic.error_deg),
        "horizontal_nt": size(magnetic.horizontal_nt),
    }


def _mark(mark: AimMark) -> dict[str, Any]:
    return {
        "name": mark.name,
        "part": mark.part or None,
        "distance_m": size(mark.distance_m),
        "bearing_deg": size(mark.bearing_deg),
        "right_deg": size(mark.right_deg),
        "right_m": size(mark.right_m),
    }


def _head(head: HeadSet) -> dict[str, Any]:
    return {
        "bearing_deg": size(head.bearing_deg),
        "pan_deg": head.pan_deg,
        "range_m": head.range_m,
        "pulses": head.pulses,
        "fill": list(head.fill),
        "masked": list(head.masked),
        "masked_deg": [list(arc) for arc in head.masked_deg],
    }


def _aim(aim: HeadAim) -> dict[str, Any]:
    return {
        "bearing_deg": size(aim.bearing_deg),
        "staff_m": aim.staff_m,
        "lower_m": size(aim.lower_m),
        "upper_m": size(aim.upper_m),
        "lands_m": size(aim.lands_m),
        "lights_m": [[size(low), size(high)] for low, high in aim.lights_m],
    }

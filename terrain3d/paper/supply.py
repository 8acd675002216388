"""The supply of an option: its part of `results.json`, and its lines on the terminal."""

from typing import Any

from rich.console import Group
from rich.text import Text

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.paper.rounded import size
from terrain3d.sentences.supply import SUPPLY_CAUTION, material_words, supply_lines, total_words
from terrain3d.supply.option import (
    Change,
    FedUnit,
    LoadedRun,
    Material,
    OptionSupply,
    cable_name,
    judge_supply,
)
from terrain3d.terminal import lay_out


def supply_of(outcome: Outcome, option: OptionResult) -> OptionSupply | None:
    """The supply of an option, judged; None where the site file has none."""
    site = outcome.site
    if site.file.supply is None:
        return None
    return judge_supply(site.file.supply, site.runs, option.detectors)


def supply_values(found: OptionSupply) -> dict[str, Any]:
    """What `results.json` says of a supply."""
    battery = found.battery
    return {
        "holds": found.holds,
        "units": [_unit(unit) for unit in found.units],
        "runs": [_run(run, found.units) for run in found.runs],
        "rest": size(found.rest_milliamps),
        "alarm": size(found.alarm_milliamps),
        "panel": found.panel_milliamps,
        "battery": None
        if battery is None
        else {
            "rest": size(battery.rest_milliamps),
            "alarm": size(battery.alarm_milliamps),
            "needed": size(battery.needed_ah),
            "given": battery.given_ah,
            "rest_hours": battery.rest_hours,
            "alarm_hours": battery.alarm_hours,
            "ageing": battery.ageing,
            "coldest_c": battery.temperature_c,
            "colder": size(battery.colder),
        },
        "thinnest": found.thinnest_mm2,
        "changes": [_change(change) for change in found.changes],
        "materials": [_material(material) for material in found.materials],
        "words": supply_lines(found),
        "caution": SUPPLY_CAUTION,
    }


def print_supply(outcome: Outcome) -> None:
    """Print the supply of each option, best first, with the list of materials."""
    lines: list[Text] = []
    for name in outcome.ranking:
        found = supply_of(outcome, outcome.option(name))
        if found is None:
            continue
        lines.append(Text(name, style="bold"))
        told = [
            *supply_lines(found), "Materials:", *(f"  {material_words(one)}" for one in found.materials),
            f"  {total_words(found.materials)}",
        ]  # fmt: skip
        lines += [Text(f"  {line}") for line in told]
    lay_out(Group(*lines, Text(SUPPLY_CAUTION, style="dim")))


def _unit(unit: FedUnit) -> dict[str, Any]:
    return {
        "name": unit.name,
        "mount": unit.mount,
        "fit": unit.fit.value,
        "rest_v": size(unit.rest_v),
        "alarm_v": size(unit.alarm_v),
        "allowed_v": None if unit.allowed_v is None else list(unit.allowed_v),
    }


def _run(loaded: LoadedRun, units: tuple[FedUnit, ...]) -> dict[str, Any]:
    run = loaded.run
    return {
        "from": run.start,
        "to": run.end,
        "length_m": size(run.length_m),
        "unknown_m": size(run.unknown_m),
        "cable": cable_name(run),
        "resistance": size(run.ohm),
        "copper_c": run.conductor.temperature_c,
        "units": [units[number].name for number in loaded.units],
        "milliamps": size(loaded.milliamps),
        "drop_v": size(loaded.drop_v),
        "thinnest": loaded.thinnest_mm2,
    }


def _change(change: Change) -> dict[str, Any]:
    by_kind = {
        "run": "mm2", "all runs": "mm2", "volts": "volts", "less volts": "volts", "panel": "milliamps",
        "battery": "ah",
    }  # fmt: skip
    told = dict.fromkeys(("mm2", "volts", "milliamps", "ah"))
    values: dict[str, Any] = {"kind": change.kind, "run": change.run or None, **told}
    if change.kind in by_kind:
        values[by_kind[change.kind]] = size(change.value)
    return values


def _material(material: Material) -> dict[str, Any]:
    return {
        "name": material.name,
        "pieces_count": None if material.is_cable else round(material.amount),
        "length_m": size(material.amount) if material.is_cable else None,
        "price": size(material.price),
    }

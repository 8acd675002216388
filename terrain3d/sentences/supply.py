"""What is told of the supply of an option: voltages, runs, battery, what mends it and what to buy."""

from terrain3d.lengths import length
from terrain3d.supply.option import (
    Battery,
    Change,
    FedUnit,
    Fit,
    LoadedRun,
    Material,
    OptionSupply,
    cable_name,
)
from terrain3d.wording import counted, listed, money_words

#: What has to be told with every number of a supply.
SUPPLY_CAUTION = (
    "Planned voltages and batteries are arithmetic on what is stated. Licensed practice and the makers'"
    " instructions decide; isolate the supply before you open a unit or a junction box, and measure at each"
    " unit."
)


def supply_lines(found: OptionSupply) -> list[str]:
    """All that is told of an option's supply, the answer first."""
    lines = [supply_answer(found)]
    lines += [unit_words(unit) for unit in found.units]
    lines += [run_words(run, found.units) for run in found.runs]
    if found.rest_milliamps is not None and found.alarm_milliamps is not None and found.runs:
        limit = "" if found.panel_milliamps is None else f"; it can give {found.panel_milliamps:g} mA"
        lines.append(
            f"From the panel the units draw {found.rest_milliamps:.0f} mA at rest and"
            f" {found.alarm_milliamps:.0f} mA in alarm{limit}."
        )
    if found.battery is not None:
        lines.append(battery_words(found.battery))
    if found.thinnest_mm2 is not None:
        lines.append(f"The thinnest conductor that does for all runs is {found.thinnest_mm2:g} mm².")
    return lines


def supply_answer(found: OptionSupply) -> str:
    """Whether the supply holds, and what mends it where it does not."""
    bad = [unit for unit in found.units if unit.fit not in (Fit.FITS, Fit.NOT_STATED)]
    if found.holds:
        silent = [unit for unit in found.units if unit.fit is Fit.NOT_STATED]
        if silent:
            return (
                f"Not all of it can be said: {_names(silent)} {'has' if len(silent) == 1 else 'have'}"
                " a type that states no supply."
            )
        return "The supply holds: every unit gets a voltage that its type allows."
    what = f"{_names(bad)} {'is' if len(bad) == 1 else 'are'} not fed as the types ask" if bad else ""
    if found.battery is not None and not found.battery.is_enough:
        what = " and ".join(filter(None, [what, "the battery is too small"]))
    if any(change.kind == "panel" for change in found.changes):
        what = " and ".join(filter(None, [what, "the panel gives too little current"]))
    cures = "; ".join(change_words(change) for change in found.changes)
    return f"The supply does not hold: {what}. To change: {cures}."


def unit_words(unit: FedUnit) -> str:
    """The voltage that one unit gets."""
    who = f'{unit.name} on "{unit.mount}"'
    if unit.fit is Fit.NOT_FED:
        return f"{who}: no run of the supply ends there."
    if unit.fit is Fit.NOT_STATED or unit.allowed_v is None:
        return f"{who}: its type states no supply."
    allowed = f"its type allows {unit.allowed_v[0]:g} to {unit.allowed_v[1]:g} V"
    if unit.fit is Fit.STARVED or unit.rest_v is None or unit.alarm_v is None:
        return f"{who}: the runs cannot carry what is drawn; {allowed}."
    verdict = {Fit.TOO_LOW: " Too low.", Fit.TOO_HIGH: " The panel gives too much."}.get(unit.fit, "")
    return (
        f"{who}: {unit.rest_v:.2f} V at rest, {unit.alarm_v:.2f} V at the lowest, all units in alarm;"
        f" {allowed}.{verdict}"
    )


def run_words(loaded: LoadedRun, units: tuple[FedUnit, ...]) -> str:
    """One run: its length, what it carries and drops."""
    run = loaded.run
    start = "the panel" if run.start == "panel" else f'"{run.start}"'
    over = f", {length(run.unknown_m)} of it over ground that is not known" if run.unknown_m >= 0.05 else ""
    carried = ""
    if loaded.milliamps is not None and loaded.drop_v is not None:
        warm = f"with its copper at {run.conductor.temperature_c:g} °C"
        carried = f"; {warm} {loaded.milliamps:.0f} mA drop {loaded.drop_v:.2f} V"
    shared = f", shared by {_names([units[n] for n in loaded.units])}" if len(loaded.units) > 1 else ""
    least = (
        "no size of the table does"
        if loaded.thinnest_mm2 is None
        else f"the thinnest that does here is {loaded.thinnest_mm2:g} mm²"
    )
    return (
        f'From {start} to "{run.end}": {length(run.length_m)} of {cable_name(run)}{over}{shared}{carried};'
        f" {least}."
    )


def battery_words(battery: Battery) -> str:
    """What the battery has to be, and whether it is."""
    carries = (
        f"The battery carries {battery.rest_milliamps:.0f} mA for {counted_hours(battery.rest_hours)} at rest"
        f" and then {battery.alarm_milliamps:.0f} mA for {counted_hours(battery.alarm_hours)} in alarm"
    )
    cold = f", {battery.colder:.2f} times as much in the cold of {battery.temperature_c:g} °C"
    needed = (
        f"new it has to have {battery.needed_ah:.2f} Ah ({battery.ageing:g} times as much, for it ages"
        f"{cold if battery.colder > 1 else ''})"
    )
    if battery.given_ah is None:
        return f"{carries}: {needed}."
    verdict = "enough" if battery.is_enough else "too little"
    return f"{carries}: {needed}, and {battery.given_ah:g} Ah are {verdict}."


def counted_hours(hours: float) -> str:
    """So many hours, whole or not.

    >>> counted_hours(12.0), counted_hours(0.5), counted_hours(1.0)
    ('12 hours', '0.5 hours', '1 hour')
    """
    return f"{hours:g} {'hour' if hours == 1 else 'hours'}"


def change_words(change: Change) -> str:
    """One thing that mends the supply.

    >>> change_words(Change("run", 1.5, "gate pole")), change_words(Change("volts", 12.6))
    ('make the run to "gate pole" 1.5 mm²', 'let the panel give at least 12.60 V when it is lowest')
    """
    return {
        "run": f'make the run to "{change.run}" {change.value:g} mm²',
        "all runs": f"make all runs {change.value:g} mm²",
        "two cores": "take two cores side by side, both ways, in every run",
        "volts": f"let the panel give at least {change.value:.2f} V when it is lowest",
        "less volts": f"let the panel give no more than {change.value:g} V",
        "panel": f"take a panel that gives {change.value:g} mA to the units",
        "battery": f"take a battery of {change.value:.2f} Ah",
        "feed": f'lay a run to "{change.run}"',
        "none": "no thicker conductor, second core or higher voltage does: bring the panel nearer",
    }[change.kind]


def material_words(material: Material) -> str:
    """One line of the list of materials.

    >>> material_words(Material("cable of 0.5 mm², class 5", 42.25, True, 21.125))
    '42.3 m of cable of 0.5 mm², class 5: 21.13'
    """
    amount = f"{length(material.amount)} of" if material.is_cable else f"{material.amount:g} x"
    price = "not priced" if material.price is None else money_words(round(material.price + 1e-9, 2))
    return f"{amount} {material.name}: {price}"


def total_words(materials: tuple[Material, ...]) -> str:
    """What all of it costs, as far as it is priced."""
    priced = [material.price for material in materials if material.price is not None]
    left = len(materials) - len(priced)
    but = f", without {counted(left, 'line')} that {'has' if left == 1 else 'have'} no price" if left else ""
    return f"Together {money_words(round(sum(priced) + 1e-9, 2))}{but}."


def _names(units: list[FedUnit]) -> str:
    return listed([unit.name for unit in units], 4)

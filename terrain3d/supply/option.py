"""What the supply of a site makes of one option's units: voltages, battery, what would mend it, what to
buy."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import Supply
from terrain3d.site import SupplySetting
from terrain3d.supply.battery import colder, needed_ah
from terrain3d.supply.circuit import solve_volts
from terrain3d.supply.conductors import SIZES_MM2
from terrain3d.supply.runs import Run, way_to
from terrain3d.units import Floats

#: Voltages are told to a hundredth: a least one is rounded up to that.
_STEP_V = 0.01
#: What rounding may take from a voltage that just reaches its limit.
_ROUNDING_V = 1e-9


class Fit(Enum):
    """How a unit is off with the voltage it gets."""

    FITS = "fits"
    TOO_LOW = "too low"
    TOO_HIGH = "too high"
    STARVED = "cannot be fed"
    NOT_FED = "no run"
    NOT_STATED = "not stated"


@dataclass(frozen=True)
class FedUnit:
    """A unit with the voltage it gets.

    `rest_v` is with mains and all units at rest, the most that it gets in use; `alarm_v` with the panel at
    its lowest and all units in alarm. Both are None where no run feeds it, its type states no supply, or
    the runs cannot carry what is drawn. `allowed_v` is as its type states it.
    """

    name: str
    mount: str
    fit: Fit
    rest_v: float | None = None
    alarm_v: float | None = None
    allowed_v: tuple[float, float] | None = None


@dataclass(frozen=True)
class LoadedRun:
    """A run that feeds something, as it is loaded with the panel at its lowest and all units in alarm.

    `units` are the numbers of those it feeds. `milliamps` and `drop_v` (over both cores) are None where the
    runs cannot carry it. `thinnest_mm2` is the least size that feeds all of them, the other runs as they
    are; None where no size of the table does.
    """

    run: Run
    units: tuple[int, ...]
    milliamps: float | None
    drop_v: float | None
    thinnest_mm2: float | None


@dataclass(frozen=True)
class Battery:
    """What the battery has to carry for how long, and what it would have to be.

    Currents are those from the panel. `ageing` is by how much a new one is larger than an old one has to be,
    `temperature_c` the coldest that it has to work in, and `colder` by how much that makes it larger.
    """

    rest_milliamps: float
    alarm_milliamps: float
    needed_ah: float
    given_ah: float | None
    rest_hours: float
    alarm_hours: float
    ageing: float
    temperature_c: float

    @property
    def colder(self) -> float:
        return colder(self.temperature_c)

    @property
    def is_enough(self) -> bool:
        return self.given_ah is None or self.given_ah >= self.needed_ah - 1e-9


@dataclass(frozen=True)
class Change:
    """One thing that mends the supply by itself.

    `kind` is "run" (the run that ends at `run`, of `value` mm2), "all runs" (all of `value` mm2), "volts"
    (at least `value` V from the panel when it is lowest), "less volts" (no more than that), "two cores" (two
    side by side in every run), "battery" (of `value` Ah), "panel" (one that gives `value` mA), "feed" (a run
    to the mount `run`), or "none" (nothing of these).
    """

    kind: str
    value: float = 0.0
    run: str = ""


@dataclass(frozen=True)
class Material:
    """Something to buy: `amount` of it, in metres where `is_cable`; `price` is of all of it, None where
    unknown."""

    name: str
    amount: float
    is_cable: bool
    price: float | None


@dataclass(frozen=True)
class OptionSupply:
    """The supply of one option, judged.

    `rest_milliamps` and `alarm_milliamps` are drawn from the panel by all units that are fed: at rest with
    mains, and in alarm with the panel at its lowest; None where the runs cannot carry it.
    """

    units: tuple[FedUnit, ...]
    runs: tuple[LoadedRun, ...]
    rest_milliamps: float | None
    alarm_milliamps: float | None
    panel_milliamps: float | None
    battery: Battery | None
    thinnest_mm2: float | None
    changes: tuple[Change, ...]
    materials: tuple[Material, ...]

    @property
    def holds(self) -> bool:
        """Whether all that is stated fits: no change is called for."""
        return not self.changes


@dataclass(frozen=True, eq=False)
class _Case:
    """One state of the circuit: volts at each fed unit, and the current that each draws, amperes."""

    volts: Floats
    amperes: Floats


def judge_supply(supply: SupplySetting, runs: Sequence[Run], units: Sequence[Detector]) -> OptionSupply:
    """Judge the supply of an option's units.

    Parameters
    ----------
    supply : SupplySetting
    runs : sequence of Run
        All of the site; those that feed no unit of the option are left out.
    units : sequence of Detector

    Examples
    --------
    70 mA over 120 m of 0.5 mm2 of class 5 at 20 °C drop 0.655 V:

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.supply.conductors import Conductor
    >>> kind = load_type("one-head-90")
    >>> kind = kind.model_copy(update={"supply": Supply(volts=(9.0, 16.0), milliamps=70.0)})
    >>> unit = Detector("D1", kind, "pole", 0, 0, 0, 1.0, 0.0)
    >>> run = Run("panel", "pole", 120.0, 0.0, Conductor(0.5, None, None, 5))
    >>> found = judge_supply(SupplySetting(volts=12.0), (run,), (unit,))
    >>> round(found.units[0].alarm_v, 4), found.holds, found.thinnest_mm2
    (11.3448, True, 0.22)
    """
    ways = [way_to(runs, unit.mount) for unit in units]
    drawn = [unit.type.supply for unit in units]
    fed = [n for n, (way, own) in enumerate(zip(ways, drawn, strict=True)) if way and own is not None]
    kinds = [own for n in fed if (own := drawn[n]) is not None]
    own_ways = [ways[n] for n in fed]
    low_v = _lowest_v(supply)
    shared = _shared([run.ohm for run in runs], own_ways)
    rest = _solved(supply.volts, shared, kinds, in_alarm=False)
    alarm = _solved(low_v, shared, kinds, in_alarm=True)
    told = {n: _fed_unit(units[n], kinds[k], k, rest, alarm, supply.volts) for k, n in enumerate(fed)}
    unit_facts = tuple(
        told.get(n) or FedUnit(unit.name, unit.mount, Fit.NOT_STATED if ways[n] else Fit.NOT_FED)
        for n, unit in enumerate(units)
    )
    used = sorted({number for way in own_ways for number in way})
    thinnest = {number: _thinnest(supply, runs, own_ways, kinds, (number,)) for number in used}
    all_thinnest = _thinnest(supply, runs, own_ways, kinds, tuple(used)) if used else None
    loaded = tuple(
        _loaded(
            runs[number], [k for k, way in enumerate(own_ways) if number in way], fed, alarm, thinnest[number]
        )
        for number in used
    )
    battery = _battery(supply, shared, kinds, low_v)
    alarm_ma = None if alarm is None else 1000 * float(alarm.amperes.sum())
    rest_ma = None if rest is None else 1000 * float(rest.amperes.sum())
    changes = _changes(
        supply, runs, own_ways, kinds, unit_facts, thinnest, all_thinnest, battery, alarm_ma, shared
    )
    return OptionSupply(
        unit_facts, loaded, rest_ma, alarm_ma, supply.milliamps, battery, all_thinnest, changes,
        _materials(supply, [runs[number] for number in used], units),
    )  # fmt: skip


def _shared(ohms: Sequence[float], ways: Sequence[tuple[int, ...]]) -> Floats:
    """(n, n) resistance that two units have in common on their ways."""
    return np.array(
        [[sum(ohms[r] for r in set(one) & set(other)) for other in ways] for one in ways]
    ).reshape(len(ways), len(ways))


def _solved(source_v: float, shared: Floats, kinds: Sequence[Supply], in_alarm: bool) -> _Case | None:
    amperes = np.array([(k.most_milliamps if in_alarm else k.milliamps) / 1000 for k in kinds])
    steady = np.array([k.power_at is None for k in kinds], bool)
    at_v = np.array([k.power_at or 0.0 for k in kinds])
    current, power = np.where(steady, amperes, 0.0), np.where(steady, 0.0, amperes * at_v)
    volts = solve_volts(source_v, shared, current, power)
    return None if volts is None else _Case(volts, current + power / volts)


def _fed_unit(
    unit: Detector, kind: Supply, k: int, rest: _Case | None, alarm: _Case | None, most_v: float
) -> FedUnit:
    if rest is None or alarm is None:
        return FedUnit(unit.name, unit.mount, Fit.STARVED, None, None, kind.volts)
    low, high = kind.volts
    rest_v, alarm_v = float(rest.volts[k]), float(alarm.volts[k])
    fit = Fit.FITS
    if alarm_v < low - _ROUNDING_V:
        fit = Fit.TOO_LOW
    # Nothing drops where nothing is drawn: a unit has to stand all that the panel gives.
    elif most_v > high + _ROUNDING_V:
        fit = Fit.TOO_HIGH
    return FedUnit(unit.name, unit.mount, fit, rest_v, alarm_v, kind.volts)


def _loaded(
    run: Run, below: Sequence[int], fed: Sequence[int], alarm: _Case | None, thinnest: float | None
) -> LoadedRun:
    amperes = None if alarm is None else float(alarm.amperes[list(below)].sum())
    return LoadedRun(
        run,
        tuple(fed[k] for k in below),
        None if amperes is None else 1000 * amperes,
        None if amperes is None else amperes * run.ohm,
        thinnest,
    )


def _is_fed(source_v: float, shared: Floats, kinds: Sequence[Supply]) -> bool:
    """Whether every unit gets its least voltage in alarm."""
    found = _solved(source_v, shared, kinds, in_alarm=True)
    return found is not None and all(
        volts >= kind.volts[0] - _ROUNDING_V for volts, kind in zip(found.volts, kinds, strict=True)
    )


def _lowest_v(supply: SupplySetting) -> float:
    return supply.volts if supply.lowest_volts is None else supply.lowest_volts


def _thinnest(
    supply: SupplySetting,
    runs: Sequence[Run],
    ways: Sequence[tuple[int, ...]],
    kinds: Sequence[Supply],
    changed: tuple[int, ...],
) -> float | None:
    """The least size of some runs that feeds all units which depend on them."""
    below = [k for k, way in enumerate(ways) if set(way) & set(changed)]
    for size in SIZES_MM2:
        shared = _shared(_ohms_with(runs, changed, size), ways)
        found = _solved(_lowest_v(supply), shared, kinds, in_alarm=True)
        if found is not None and all(found.volts[k] >= kinds[k].volts[0] - _ROUNDING_V for k in below):
            return size
    return None


def _ohms_with(runs: Sequence[Run], changed: tuple[int, ...], size: float) -> list[float]:
    """Of every run, some of them of another size."""
    return [
        replace(run, conductor=replace(run.conductor, mm2=size, awg=None, ohm_per_km=None)).ohm
        if number in changed
        else run.ohm
        for number, run in enumerate(runs)
    ]


def _battery(supply: SupplySetting, shared: Floats, kinds: Sequence[Supply], low_v: float) -> Battery | None:
    if supply.standby_hours is None:
        return None
    # What draws power draws most from a battery near its end: the hours are counted with that.
    rest, alarm = (_solved(low_v, shared, kinds, in_alarm) for in_alarm in (False, True))
    if rest is None or alarm is None:
        return None
    rest_a, alarm_a = (float(case.amperes.sum()) + supply.own_milliamps / 1000 for case in (rest, alarm))
    needed = needed_ah(
        rest_a, supply.standby_hours, alarm_a, supply.alarm_hours, supply.ageing, supply.battery_temperature
    )
    return Battery(
        1000 * rest_a, 1000 * alarm_a, needed, supply.battery_ah, supply.standby_hours, supply.alarm_hours,
        supply.ageing, supply.battery_temperature,
    )  # fmt: skip


def _changes(
    supply: SupplySetting,
    runs: Sequence[Run],
    ways: Sequence[tuple[int, ...]],
    kinds: Sequence[Supply],
    units: Sequence[FedUnit],
    thinnest: dict[int, float | None],
    all_thinnest: float | None,
    battery: Battery | None,
    alarm_ma: float | None,
    shared: Floats,
) -> tuple[Change, ...]:
    """What mends what fails, each by itself."""
    unfed = dict.fromkeys(unit.mount for unit in units if unit.fit is Fit.NOT_FED)
    found = [Change("feed", run=mount) for mount in unfed]
    low_v = _lowest_v(supply)
    if kinds and not _is_fed(low_v, shared, kinds):
        cures = []
        for number, size in thinnest.items():
            if size is None:
                continue
            if _is_fed(low_v, _shared(_ohms_with(runs, (number,), size), ways), kinds):
                cures.append(Change("run", size, runs[number].end))
        if all_thinnest is not None and len(thinnest) > 1:
            cures.append(Change("all runs", all_thinnest))
        if _is_fed(low_v, shared / 2, kinds):
            cures.append(Change("two cores"))
        least = _least_volts(shared, kinds)
        if least is not None:
            cures.append(Change("volts", least))
        found += cures or [Change("none")]
    # A unit that gets too little in alarm may be given too much at rest as well.
    most_v = min((kind.volts[1] for kind in kinds), default=math.inf)
    if supply.volts > most_v + _ROUNDING_V:
        found.append(Change("less volts", most_v))
    if supply.milliamps is not None and alarm_ma is not None and alarm_ma > supply.milliamps + 1e-6:
        found.append(Change("panel", math.ceil(alarm_ma - 1e-6)))
    if battery is not None and not battery.is_enough:
        found.append(Change("battery", battery.needed_ah))
    return tuple(found)


def _least_volts(shared: Floats, kinds: Sequence[Supply]) -> float | None:
    """The least voltage of the panel at which all units are fed; None where one could not stand it."""
    most = min(kind.volts[1] for kind in kinds)
    low, high = 0.0, most
    if not _is_fed(high, shared, kinds):
        return None
    while high - low > _STEP_V / 100:
        middle = (low + high) / 2
        low, high = (low, middle) if _is_fed(middle, shared, kinds) else (middle, high)
    return min(math.ceil(high / _STEP_V - 0.02) * _STEP_V, most)


def _materials(supply: SupplySetting, runs: Sequence[Run], units: Sequence[Detector]) -> tuple[Material, ...]:
    found: list[Material] = []
    for name in dict.fromkeys(unit.type.name for unit in units):
        same = [unit for unit in units if unit.type.name == name]
        price = same[0].type.price
        found.append(Material(name, len(same), False, None if price is None else price * len(same)))
    cables: dict[tuple[str, float | None], float] = {}
    for run in runs:
        one = (cable_name(run), run.price_a_m)
        cables[one] = cables.get(one, 0.0) + run.length_m
    for (name, price), metres in cables.items():
        found.append(Material(name, metres, True, None if price is None else price * metres))
    if supply.battery_ah is not None:
        found.append(Material(f"battery of {supply.battery_ah:g} Ah", 1, False, supply.battery_price))
    for item in supply.item:
        price = None if item.price is None else item.price * item.count
        found.append(Material(item.name, item.count, False, price))
    return tuple(found)


def cable_name(run: Run) -> str:
    """What a cable is asked for by.

    >>> from terrain3d.supply.conductors import Conductor
    >>> cable_name(Run("panel", "pole", 1.0, 0.0, Conductor(0.5, None, None, 5, is_tinned=True)))
    'cable of 0.5 mm², class 5, tinned'
    """
    core = run.conductor
    if core.mm2 is not None:
        size = f"{core.mm2:g} mm²"
    elif core.awg is not None:
        size = f"AWG {core.awg}"
    else:
        return f"cable of {core.ohm_per_km:g} ohm a kilometre"
    return f"cable of {size}, class {core.iec_class}{', tinned' if core.is_tinned else ''}"

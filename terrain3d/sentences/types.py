"""What a detector type can do, in words: for the page of a type and for the terminal."""

import math

from terrain3d.detector.level import LevelLayer, level_layers
from terrain3d.detector.types import DetectorType, Fixing
from terrain3d.lengths import given, given_figure, given_span, length, length_figure, length_unit, speed
from terrain3d.sentences.words import NO_FIGURE, tilt_words
from terrain3d.wording import counted, listed, money_words

#: A heading, and what is told under it: what it is, and its figure.
Told = tuple[str, tuple[tuple[str, str], ...]]


def type_sentence(kind: DetectorType, head: int, range_m: float) -> str:
    """How its layers run at a range setting, over level ground.

    >>> from terrain3d.detector.types import load_type
    >>> type_sentence(load_type("one-head-90"), 0, 8.0)[:75]
    'Set to 8 m and fixed 1 m high over level ground, the upper layer stays at 1'
    """
    clauses = [f"the {layer.name} layer {_runs(layer)}" for layer in level_layers(kind, head, range_m)]
    where = f"fixed {given(kind.nominal_height)} high over level ground"
    return f"Set to {given(range_m)} and {where}, {listed(clauses, 8)}."


def _runs(layer: LevelLayer) -> str:
    lands = layer.lands_m()
    if not math.isnan(lands):
        return f"comes down to the ground {length(lands)} out"
    if abs(layer.elevation_deg) < 0.05:
        return f"stays at {given(layer.height_m)} out to {given(layer.reach_m)}"
    end = layer.reach_m * math.cos(math.radians(layer.elevation_deg))
    return f"is {length(layer.at(end), 2)} high at the end of its range"


def height_words(layer: LevelLayer, distance_m: float) -> str:
    """The height of a layer over level ground at a distance: its axis, and in brackets its edges.

    >>> layer = LevelLayer("upper", 0.0, 3.0, 1.0, 12.0)
    >>> height_words(layer, 6.0), height_words(layer, 13.0)
    ('1.00 (0.84\u20131.16)', '\u2013')
    """
    axis, low, high = layer.at(distance_m), layer.at(distance_m, -1.0), layer.at(distance_m, 1.0)
    if math.isnan(axis) and math.isnan(high):
        return NO_FIGURE
    low = 0.0 if math.isnan(low) else low
    top = length_figure(high, 2) if not math.isnan(high) else NO_FIGURE
    middle = length_figure(axis, 2) if not math.isnan(axis) else NO_FIGURE
    return f"{middle} ({length_figure(low, 2)}\u2013{top})"


def type_told(kind: DetectorType) -> tuple[Told, ...]:
    """What a type states, heading by heading; how it is fixed is told by `fixing_told`."""
    low, high = kind.mount_height
    unit = (
        ("senses a person out to", given(kind.max_range)),
        ("height allowed", given_span(low, high)),
        ("layers lie as meant at", given(kind.nominal_height)),
    )
    needs = "every layer of a head" if kind.alarm == "all" else "any layer of a head"
    alarm = (
        ("takes", needs),
        ("pulses", f"{' or '.join(map(str, kind.pulses))} within {kind.pulse_window:g} s"),
        ("share of a layer to fill", f"{kind.fill:.0%}"),
        *((f"at {name} sensitivity", f"{share:.0%}") for name, share in (kind.sensitivity or {}).items()),
    )
    told: list[Told] = [("Unit", unit), ("Alarm", alarm), ("Supply and price", _supply_told(kind))]
    if kind.microwave is not None:
        lobe = kind.microwave
        told.append((
            "Microwave",
            (
                ("an alarm takes", "it and the layers" if lobe.needs == "also" else "it or the layers"),
                ("lobe", f"{lobe.arc:g}°, {given(lobe.range)}, {lobe.frequency_ghz:g} GHz"),
                ("axis", f"{tilt_words(lobe.elevation)}, {lobe.thickness:g}° thick"),
                ("slowest, to or fro", speed(lobe.slowest_mps)),
            ),
        ))  # fmt: skip
    told += [(_head_name(kind, head), _head_told(kind, head)) for head in range(len(kind.head))]
    return tuple(told)


def type_lines(kind: DetectorType) -> list[str]:
    """The same for the terminal."""
    lines = [f"{kind.name}: {kind.about}"]
    for heading, rows in (*type_told(kind), *fixing_told(kind)):
        lines += [f"  {heading}", *(f"    {what}: {figure}" for what, figure in rows)]
    return lines


def _head_name(kind: DetectorType, head: int) -> str:
    return "Head" if len(kind.head) == 1 else f"Head {head + 1}"


def _head_told(kind: DetectorType, head: int) -> tuple[tuple[str, str], ...]:
    own = kind.head[head]
    ranges = ", ".join(given_figure(r) for r in sorted(kind.ranges_of(head)))
    rows = [("arc", f"{own.arc:g}°" + (f", called {own.nominal_arc:g}°" if own.nominal_arc else ""))]
    if own.pan or len(kind.head) > 1:
        side = "right" if own.pan > 0 else "left"
        rows.append(("turned", f"{abs(own.pan):g}° {side}" if own.pan else "straight ahead"))
    rows.append(("range settings", f"{ranges} {length_unit()}"))
    for layer in own.layer:
        axis = "down to the range" if layer.elevation == "range" else tilt_words(layer.elevation)
        rows.append((f"{layer.name} layer", f"{axis}, {layer.thickness:g}°, {counted(layer.zones, 'zone')}"))
    return tuple(rows)


def turns_words(limits: Fixing) -> str:
    """How far a housing turns where it is fixed.

    >>> turns_words(Fixing(swivel=10, tilt=(-5, 10))), turns_words(Fixing(swivel=180))
    ('±10°, tilt -5 to 10°', 'any way, tilt -30 to 30°')
    """
    low, high = limits.tilt
    way = "any way" if limits.swivel >= 180 else f"±{limits.swivel:g}°"
    return f"{way}, tilt {low:g} to {high:g}°"


def fixing_told(kind: DetectorType) -> tuple[Told, ...]:
    """How its housing is fixed, and what has to stay free before it."""
    told: list[Told] = []
    if kind.mounting is not None:
        rows = [("flat", turns_words(kind.mounting))]
        if kind.mounting.bracket is not None:
            rows.append(("on bracket", turns_words(kind.mounting.bracket)))
        told.append(("Turns off its wall by", tuple(rows)))
    if kind.anti_masking is not None:
        watch = kind.anti_masking
        free = (("to be free", f"{given(watch.reach)}, {watch.arc:g}° ahead"),)
        told.append(("Watch against covering", free))
    return tuple(told)


def _supply_told(kind: DetectorType) -> tuple[tuple[str, str], ...]:
    rows = []
    if kind.supply is not None:
        rows.append(("draws", f"{kind.supply.milliamps:g} mA at {volts_words(kind.supply.volts)}"))
    else:
        rows.append(("draws", "not stated"))
    rows.append(("price", "not stated" if kind.price is None else money_words(kind.price)))
    return tuple(rows)


def volts_words(volts: tuple[float, float]) -> str:
    """The lowest and highest voltage of a supply.

    >>> volts_words((9.0, 16.0))
    '9 to 16 V'
    """
    return f"{volts[0]:g} to {volts[1]:g} V"

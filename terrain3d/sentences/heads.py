"""Words of what is set head by head: ranges, sensitivity, pulses, and the zones that are masked."""

from collections.abc import Iterable, Sequence

from terrain3d.cover.profile import MaskedZone
from terrain3d.detector.pose import Detector, masked_arcs
from terrain3d.lengths import given, given_figure, length_unit
from terrain3d.wording import counted, listed


def has_masks(units: Iterable[Detector]) -> bool:
    """Whether anything is masked of a head of these units."""
    return any(
        masked_arcs(kind, unit.head(head)) for unit in units for head, kind in enumerate(unit.type.head)
    )


def range_words(unit: Detector) -> str:
    """The range settings of a unit: one, or those of its heads in their order.

    >>> from terrain3d.detector.pose import HeadSetting
    >>> from terrain3d.detector.types import load_type
    >>> two = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> heads = (HeadSetting(range_m=6.0), HeadSetting())
    >>> range_words(two), range_words(Detector("D1", two.type, "pole", 0, 0, 0, 1.0, 0.0, heads=heads))
    ('range 12 m', 'ranges 6 and 12 m')
    """
    ranges = [given_figure(unit.range_of(head)) for head in range(len(unit.type.head))]
    what = f"range {ranges[0]}" if len(set(ranges)) == 1 else f"ranges {listed(ranges, len(ranges))}"
    return f"{what} {length_unit()}"


def pulse_words(units: Iterable[Detector]) -> str:
    """Pulses that an alarm takes of any of these units, such as "1 pulse or 3 pulses"."""
    takes = {unit.pulses_of(head) for unit in units for head in range(len(unit.type.head))}
    return " or ".join(counted(n, "pulse") for n in sorted(takes))


def setting_lines(unit: Detector) -> list[str]:
    """What is set by name or head by head, a line each; none where nothing is.

    >>> from terrain3d.detector.pose import HeadSetting
    >>> from terrain3d.detector.types import load_type
    >>> heads = (HeadSetting(range_m=6.0, pulses=3, masked=(1, 2)), HeadSetting(fill=(0.4, 0.6)))
    >>> two = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 0.0, heads=heads)
    >>> for line in setting_lines(two):
    ...     print(line)
    head 1: range 6 m, 3 pulses, zones 1 and 2 masked
    head 2: layers broken at 40% and 60%
    """
    lines = []
    if unit.sensitivity is not None:
        lines.append(f"sensitivity {sensitivity_words(unit, (unit.sensitivity,))}")
    for head in range(len(unit.type.head)):
        told = _own(unit, head)
        if told:
            lines.append(f"head {head + 1}: {', '.join(told)}")
    return lines


def _own(unit: Detector, head: int) -> list[str]:
    """What is set of one head by itself."""
    own, told = unit.head(head), []
    if own.pan_deg is not None and own.pan_deg != unit.type.head[head].pan:
        told.append(f"pan {own.pan_deg:+g}°")
    if own.range_m is not None:
        told.append(f"range {given(own.range_m)}")
    if own.sensitivity is not None:
        told.append(f"sensitivity {sensitivity_words(unit, own.sensitivity)}")
    if own.fill is not None:
        told.append(f"layers broken at {_listed([f'{fill:.0%}' for fill in own.fill])}")
    if own.pulses is not None:
        told.append(counted(own.pulses, "pulse"))
    masked = [zones_words(own.masked)] if own.masked else []
    masked += [f"{low:g}° to {high:g}°" for low, high in own.masked_deg]
    return [*told, f"{_listed(masked)} masked"] if masked else told


def sensitivity_words(unit: Detector, names: Sequence[str]) -> str:
    """Settings by the type's names, with the share of a layer that each stands for.

    >>> from terrain3d.detector.types import load_type
    >>> kind = load_type("one-head-90").model_copy(update={"sensitivity": {"low": 0.65, "high": 0.35}})
    >>> unit = Detector("D1", kind, "pole", 0, 0, 0, 1.0, 0.0)
    >>> sensitivity_words(unit, ("low",)), sensitivity_words(unit, ("low", "high"))
    ('low (65% of a layer)', 'low (65% of a layer) and high (35%)')
    """
    first, *others = names
    told = [f"{first} ({unit.share_of(first):.0%} of a layer)"]
    return _listed(told + [f"{name} ({unit.share_of(name):.0%})" for name in others])


def zones_words(zones: Iterable[int]) -> str:
    """Zones by their numbers, as a site file's `masked` counts them.

    >>> zones_words([3]), zones_words([4, 3]), zones_words([1, 2, 3, 5])
    ('zone 3', 'zones 3 and 4', 'zones 1 to 3 and 5')
    """
    numbers = sorted(set(zones))
    runs: list[list[int]] = []
    for zone in numbers:
        if runs and zone == runs[-1][-1] + 1:
            runs[-1].append(zone)
        else:
            runs.append([zone])
    told = []
    for run in runs:
        told += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(zone) for zone in run]
    return f"zone{'s' if len(numbers) > 1 else ''} {_listed(told)}"


def masked_words(masked: Sequence[MaskedZone]) -> str:
    """Which masked zones a bearing lies in; empty for none.

    >>> masked_words((MaskedZone(1, 3, True),)), masked_words((MaskedZone(2, 9, False),))
    ('zone 3 of head 1 is masked', 'part of zone 9 of head 2 is masked')
    """
    told = [f"{'' if zone.is_whole else 'part of '}zone {zone.zone} of head {zone.head}" for zone in masked]
    return f"{_listed(told)} {'are' if len(told) > 1 else 'is'} masked" if told else ""


def _listed(told: Sequence[str]) -> str:
    return listed(told, len(told))

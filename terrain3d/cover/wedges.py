"""Wedges that stay open between the heads on one mount, in plan."""

from collections.abc import Sequence
from dataclasses import dataclass

from terrain3d.detector.pose import Detector

#: Broader gaps are no wedge between heads but another way to look, degrees; narrower ones are none at all.
MOST_DEG, _LEAST_DEG = 45.0, 0.05


@dataclass(frozen=True)
class Wedge:
    """A gap between two heads on a mount: its middle, clockwise from true north, and its width."""

    mount: str
    bearing_deg: float
    width_deg: float


def wedges_of(units: Sequence[Detector]) -> tuple[Wedge, ...]:
    """The wedges between neighbouring heads on one mount, by what is left open of their arcs, as if level.

    A gap within one head is a mask and no wedge.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> wide = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 270.0)
    >>> wedges_of([wide])
    (Wedge(mount='pole', bearing_deg=270.0, width_deg=6.0),)
    >>> one = load_type("one-head-90")
    >>> wedges_of([Detector(f"D{facing}", one, "pole", 0, 0, 0, 1.0, facing) for facing in (225, 315)])
    ()
    """
    found = []
    for mount in dict.fromkeys(unit.mount for unit in units):
        arcs = [
            ((unit.bearing_deg + unit.pan_of(head) + low) % 360, high - low, (number, head))
            for number, unit in enumerate(units)
            if unit.mount == mount
            for head in range(len(unit.type.head))
            for low, high in unit.open_arcs(head)
        ]
        found += [Wedge(mount, *gap) for gap in _gaps(sorted(arcs))]
    return tuple(found)


def heads_on_a_mount(units: Sequence[Detector]) -> int:
    """The most heads that look from one mount.

    >>> from terrain3d.detector.types import load_type
    >>> heads_on_a_mount([Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 270.0)])
    2
    """
    counts: dict[str, int] = {}
    for unit in units:
        counts[unit.mount] = counts.get(unit.mount, 0) + len(unit.type.head)
    return max(counts.values(), default=0)


def _gaps(arcs: list[tuple[float, float, tuple[int, int]]]) -> list[tuple[float, float]]:
    """Middle and width of each gap between arcs of two heads: (start, width, head), by their starts."""
    gaps = {}
    for place, (start, _, head) in enumerate(arcs):
        # What ends last before this one starts; arcs that start as it does end a round before.
        ends = [
            (((start - other_start) % 360 or 360.0) - width, other_head)
            for other, (other_start, width, other_head) in enumerate(arcs)
            if other != place
        ]
        gap, before = min(ends, default=(0.0, head))
        if _LEAST_DEG < gap <= MOST_DEG and before != head:
            gaps[round((start - gap / 2) % 360, 6)] = round(gap, 6)
    return list(gaps.items())

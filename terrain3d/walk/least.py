"""The walk with the fewest pulses, the shorter of those alike, and a much shorter one beside it.

Pulses and metres are two things, and what a metre less is worth to somebody is in no guide. So the fewest
pulses are found first, whatever the way; then, of the walks that bring hardly more, the shortest. Prices of
a metre serve that second search alone: every price has its best walk, the dearer the metre the shorter it
is, and the dearest price is sought whose walk is still alike.

The fewest are exact over the steps of `walk.network`; from there lines are drawn taut and come to rest where
no small move lowers them. A shorter walk is missed where no price brings it out: where at every price a
longer one with fewer pulses or a shorter one with more is the better bargain.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from terrain3d.walk.lines import come_to_rest, lines_pulses, pulses_along
from terrain3d.walk.network import DEAR, FREE, Network, Reached, cells_to, reached
from terrain3d.walk.paths import Ints, Mask, drawn_taut

#: Pulses a metre: a line comes to rest near where it starts, so the walks at these prices are let go too.
_BEGINNINGS = (0.01, 0.1, 1.0)
#: Prices tried for one answer at most; each halves what is left, more or less.
_TRIES = 12
#: Walks that are worth the same at a price differ by less than this share of it.
_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class Way:
    """A walk over the grid: column and row of its corners, (n, 2); the pulses to be expected; its length."""

    corners: Ints
    pulses: float
    length_m: float


@dataclass(frozen=True, eq=False)
class LeastWays:
    """What is found of the ways to some goals.

    Parameters
    ----------
    fewest : float
        The fewest pulses of any walk.
    least : Way
        The shortest of those alike.
    shorter : Way or None
        Of the walks much shorter than that the one with the fewest pulses, and of those alike the shortest.
    """

    fewest: float
    least: Way
    shorter: Way | None


def least_ways(
    network: Network, goals: Mask, alike: Callable[[float], float], much_shorter: Callable[[float], float]
) -> LeastWays | None:
    """The walk with the fewest pulses from a network's starts to some goals, and a much shorter one.

    Parameters
    ----------
    network : Network
    goals : (ny, nx) bool
    alike : callable
        The most pulses of a walk that counts as alike to one with so many; more than that many.
    much_shorter : callable
        The greatest length of a walk that counts as much shorter than one of so many metres.

    Returns
    -------
    LeastWays or None
        None where no way leads.

    Examples
    --------
    A band of held ground lies across the way north; it ends two cells short of the eastern edge.

    >>> import numpy as np
    >>> from terrain3d.walk.chance import PulseField
    >>> from terrain3d.walk.network import network
    >>> from terrain3d.walk.paths import open_steps
    >>> row, column = np.mgrid[:9, :15]
    >>> band = np.where((row == 4) & (column < 13), 4.0, 0.0)[None]
    >>> field = PulseField(band, np.array([[1.0, -5.0]]), 1.0, 0.48, 0.3, False)
    >>> ways = np.ones((16, 9, 15), bool)
    >>> net = network(field, ways, open_steps(ways, 1.0), (row == 0) & (column == 3))
    >>> found = least_ways(net, (row == 8) & (column == 3), lambda n: n + 0.001, lambda m: m / 2)
    >>> found.least.pulses, round(found.least.length_m, 1), found.least.corners.tolist()
    (0.0, 21.8, [[3, 0], [12, 3], [13, 4], [12, 5], [3, 8]])
    >>> round(found.shorter.pulses, 2), round(found.shorter.length_m, 1)
    (0.02, 9.0)
    """
    first = _way(network, goals, network.least)
    if first is None:
        return None
    tried = [first]

    def at(price: float) -> Way:
        way = _way(network, goals, network.shortest if price == DEAR else reached(network, price))
        assert way is not None
        tried.append(way)
        return way

    shortest = at(DEAR)
    if first.pulses > 0.0 and alike(first.pulses) < shortest.pulses:
        for price in _BEGINNINGS:
            taut = _taut(network, goals, reached(network, price))
            assert taut is not None
            tried.append(_rested(network, goals, taut, FREE))
    least = _shortest_alike(network, tried, at, alike)
    shorter = None
    most_m = much_shorter(least.length_m)
    if shortest.length_m <= most_m:
        _narrow(network, at, least, shortest, lambda way: way.length_m > most_m)
        shorter = _shortest_alike(network, tried, at, alike, most_m)
        # Looking for the one may have brought out a better other.
        least = _shortest(tried, alike)
        if shorter.length_m > much_shorter(least.length_m):
            shorter = None
    return LeastWays(min(way.pulses for way in tried), least, shorter)


def _way(network: Network, goals: Mask, found: Reached) -> Way | None:
    """The best walk at a price, come to rest."""
    taut = _taut(network, goals, found)
    return None if taut is None else _rested(network, goals, taut, found.price)


def _taut(network: Network, goals: Mask, found: Reached) -> Ints | None:
    cells = cells_to(found, goals)
    if cells is None:
        return None
    lines = network.lines
    return drawn_taut(cells, partial(lines_pulses, lines), found.price * lines.field.cell_m)


def _rested(network: Network, goals: Mask, corners: Ints, price: float) -> Way:
    corners = come_to_rest(network.lines, corners, network.starts, goals, price)
    along, pulses = pulses_along(network.lines.field, corners)
    return Way(corners, float(pulses[-1]), float(along[-1]))


def _shortest(tried: list[Way], alike: Callable[[float], float]) -> Way:
    """Of walks alike to the one with the fewest pulses the shortest."""
    most = alike(min(way.pulses for way in tried))
    return min((way for way in tried if way.pulses <= most), key=lambda way: (way.length_m, way.pulses))


def _shortest_alike(
    network: Network,
    tried: list[Way],
    at: Callable[[float], Way],
    alike: Callable[[float], float],
    most_m: float = float("inf"),
) -> Way:
    """The same, with the prices tried that may bring out a shorter one; of walks up to a length."""
    known = [way for way in tried if way.length_m <= most_m]
    fewest, shortest = min(known, key=lambda way: way.pulses), min(known, key=lambda way: way.length_m)
    most = alike(fewest.pulses)
    if shortest.pulses > most:
        # A walk that saves so many metres is given no more pulses for them than are alike.
        saved_m = max(fewest.length_m - shortest.length_m, network.lines.field.cell_m)
        safe = at((most - fewest.pulses) / saved_m)
        few = safe if safe.pulses <= most else fewest
        _narrow(network, at, few, shortest, lambda way: way.pulses <= most)
    return _shortest([way for way in tried if way.length_m <= most_m], alike)


def _narrow(
    network: Network, at: Callable[[float], Way], few: Way, short: Way, is_few: Callable[[Way], bool]
) -> None:
    """Try prices between two walks until none is between those on either side of a limit."""
    for _ in range(_TRIES):
        saved_m, more = few.length_m - short.length_m, short.pulses - few.pulses
        if saved_m <= network.lines.field.cell_m or more <= 0.0:
            return
        price = more / saved_m
        new = at(price)
        if new.pulses + price * new.length_m >= (few.pulses + price * few.length_m) * (1 - _SAME):
            return
        few, short = (new, short) if is_few(new) else (few, new)

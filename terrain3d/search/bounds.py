"""Before the solver: a good set found quickly, and what no set can better, so that few columns are left.

The bound is Lagrangian: let every cell have a price of at most its weight, paid by each unit that holds it
instead of once. No set then holds more than what the cells are worth beyond their prices, plus the sum of
the dearest units allowed. The prices are improved by subgradient steps.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.search.kernel import row_sums
from terrain3d.search.problem import CoverProblem, Indices, cells_held, sums_limited, weight_held
from terrain3d.units import Floats

#: Steps in which the prices of cells are improved.
_STEPS = 120


@dataclass(frozen=True, eq=False)
class Prices:
    """What no set of columns can better.

    Parameters
    ----------
    price : (p,) float
        Of each cell, from 0 to its weight.
    beyond : float
        What all cells are worth beyond their prices.
    bound : float
        No set holds more.
    """

    price: Floats
    beyond: float
    bound: float


def worth_of(problem: CoverProblem, price: Floats) -> Floats:
    """(n,) what the cells that each column holds come to at some price each."""
    sums = np.zeros(len(problem.cost))
    row_sums(problem.holds.indptr, problem.holds.indices, price, sums)
    return sums


def first_set(problem: CoverProblem) -> Indices:
    """A set by taking what adds most time after time, then swapping as long as that gains.

    Within the limits always; where a weight is needed it stops there, or falls short of it.
    """
    chosen = _grown(problem, [])
    value = weight_held(problem, chosen)
    gained = problem.needed is None
    while gained and len(chosen) > 1:
        gained = False
        for k in list(chosen):
            rest = [c for c in chosen if c != k]
            other = _grown(problem, rest)
            other_value = weight_held(problem, other)
            if other_value > value * (1 + 1e-12):
                chosen, value, gained = other, other_value, True
                break
    return np.array(sorted(chosen), np.int64)


def many_sets(problem: CoverProblem, most: int) -> Indices:
    """Columns of as many sets found one after another, without those before, as are no more than `most`."""
    found: list[int] = []
    rest = problem
    while len(found) < most:
        again = _grown(rest, [])
        if not again:
            break
        found += again
        rest = replace(problem, at_most=(*problem.at_most, (np.array(found, np.int64), 0)))
    return np.array(sorted(found[:most]), np.int64)


def greedy_set(problem: CoverProblem) -> Indices:
    """Take what adds most, time after time; of equals the first."""
    return np.array(_grown(problem, []), np.int64)


def _grown(problem: CoverProblem, chosen: list[int]) -> list[int]:
    chosen = list(chosen)
    left = problem.weight.copy()
    left[cells_held(problem, chosen)] = 0.0
    while problem.most_units is None or len(chosen) < problem.most_units:
        gain = np.where(_open(problem, chosen), worth_of(problem, left), 0.0)
        if problem.needed is not None:
            if weight_held(problem, chosen) >= problem.needed - 1e-9:
                break
            # What a unit adds beyond what is needed is of no use; what it costs is.
            gain = gain / np.maximum(problem.cost, 1e-9)
        if not len(gain) or gain.max() <= 0:
            break
        k = int(gain.argmax())
        chosen.append(k)
        left[cells_held(problem, [k])] = 0.0
    return chosen


def _open(problem: CoverProblem, chosen: list[int]) -> NDArray[np.bool_]:
    """(n,) bool: columns that may be taken beside some others."""
    open_ = np.ones(len(problem.cost), bool)
    open_[chosen] = False
    taken = problem.group[chosen]
    open_ &= ~np.isin(problem.group, taken[taken >= 0])
    for each, most in sums_limited(problem):
        open_ &= float(each[chosen].sum()) + each <= most + 1e-9
    for columns, most in problem.at_most:
        if np.isin(columns, chosen).sum() >= most:
            open_[columns] = False
    return open_


def most_units(problem: CoverProblem) -> int:
    """How many units any set within the limits can have at most."""
    most = len(problem.cost) if problem.most_units is None else problem.most_units
    for each, limit in sums_limited(problem):
        least = float(each.min(initial=np.inf))
        if least > 0:
            most = min(most, int(limit / least + 1e-9))
    return most


def priced(problem: CoverProblem, held: float) -> Prices:
    """Prices whose bound is as low as a few steps bring it; `held` is the weight of a set already found."""
    groups = _groups(problem)
    k = most_units(problem)
    price = problem.weight.copy()
    best = Prices(price, 0.0, np.inf)
    pace = 1.0
    for step in range(_STEPS):
        worth = worth_of(problem, price)
        units = _dearest(worth, groups, k)
        beyond = float((problem.weight - price).sum())
        bound = beyond + float(worth[units].sum())
        if bound < best.bound:
            best = Prices(price.copy(), beyond, bound)
        elif step % 10 == 9:
            pace *= 0.7
        if best.bound - held < 1e-9 * max(held, 1.0):
            break
        slope = np.full(len(price), -1.0)
        for unit in units:
            slope[cells_held(problem, [int(unit)])] += 1.0
        # A cell that nobody holds and that has its full price can rise no further.
        slope[(slope < 0) & (price >= problem.weight)] = 0.0
        size = float(slope @ slope)
        if size == 0.0:
            break
        price = np.clip(price - pace * (bound - held) / size * slope, 0.0, problem.weight)
    return best


def could_better(worth: Floats, tops: Floats, n_units: int, prices: Prices) -> Floats:
    """For one column of each group, what no set that has it can better.

    Parameters
    ----------
    worth : (g,) float
        What the column comes to.
    tops : (g,) float
        The most that any column of the group comes to.
    n_units : int
    prices : Prices
    """
    order = np.argsort(-tops, kind="stable")
    others = np.full(len(tops), float(tops[order[: n_units - 1]].sum()))
    # A group does not stand beside itself: the next one takes its place.
    following = float(tops[order[n_units - 1]]) if n_units <= len(tops) else 0.0
    among = order[: n_units - 1]
    others[among] += following - tops[among]
    return np.asarray(prices.beyond + worth + others)


def reach_of(problem: CoverProblem, prices: Prices) -> Floats:
    """(n,) for each column, what no set that has it can better."""
    worth = worth_of(problem, prices.price)
    groups = _groups(problem)
    tops = np.zeros(groups.max(initial=-1) + 1)
    np.maximum.at(tops, groups, worth)
    return np.asarray(
        could_better(np.zeros(len(tops)), tops, most_units(problem), prices)[groups] + worth, float
    )


def _groups(problem: CoverProblem) -> Indices:
    """(n,) group of each column, those in none each their own, numbered from 0."""
    group = problem.group
    own = np.where(group >= 0, group, group.max(initial=-1) + 1 + np.arange(len(group)))
    return np.asarray(np.unique(own, return_inverse=True)[1], np.int64)


def _dearest(worth: Floats, groups: Indices, k: int) -> Indices:
    """The dearest column of each of the k dearest groups."""
    order = np.lexsort((-worth, groups))
    first = np.ones(len(order), bool)
    first[1:] = groups[order][1:] != groups[order][:-1]
    tops = order[first]
    tops = tops[worth[tops] > 0]
    return tops[np.argsort(-worth[tops], kind="stable")[:k]]

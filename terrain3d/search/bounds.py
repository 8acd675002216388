"""Before the solver: a good set found quickly, and what no set can better, so that few columns are left.

The bound is Lagrangian: let every cell have a price of at most its weight, paid by each unit that holds it
instead of once. No set then holds more than what the cells are worth beyond their prices, plus the sum of
the dearest units allowed. The prices are improved by subgradient steps.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.search.problem import CoverProblem, Indices, weight_held
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


def first_set(problem: CoverProblem) -> Indices:
    """A set by taking what adds most time after time, then swapping as long as that gains.

    Within the limits always; where a weight is needed, it may fall short of it.
    """
    if problem.needed is not None:
        return np.zeros(0, np.int64)
    chosen = _grown(problem, [])
    value = weight_held(problem, chosen)
    gained = True
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


def greedy_set(problem: CoverProblem) -> Indices:
    """Take what adds most, time after time; of equals the first."""
    return np.array(_grown(problem, []), np.int64)


def _grown(problem: CoverProblem, chosen: list[int]) -> list[int]:
    chosen = list(chosen)
    left = problem.weight.copy()
    open_ = np.ones(len(problem.cost), bool)
    for k in chosen:
        left[_row(problem, k)] = 0.0
        _close(problem, open_, k)
    spent = float(problem.cost[chosen].sum())
    while problem.most_units is None or len(chosen) < problem.most_units:
        may = open_ if problem.budget is None else open_ & (spent + problem.cost <= problem.budget + 1e-9)
        gain = np.where(may, problem.holds @ left, 0.0)
        if not len(gain) or gain.max() <= 0:
            break
        k = int(gain.argmax())
        chosen.append(k)
        spent += float(problem.cost[k])
        left[_row(problem, k)] = 0.0
        _close(problem, open_, k)
    return chosen


def _row(problem: CoverProblem, k: int) -> Indices:
    holds = problem.holds
    return np.asarray(holds.indices[holds.indptr[k] : holds.indptr[k + 1]], np.int64)


def _close(problem: CoverProblem, open_: NDArray[np.bool_], k: int) -> None:
    """Rule out what may not be taken together with a column."""
    open_[k] = False
    if problem.group[k] >= 0:
        open_[problem.group == problem.group[k]] = False
    for clash in problem.clashes:
        if k in clash:
            open_[clash] = False


def most_units(problem: CoverProblem) -> int:
    """How many units any set within the limits can have at most."""
    most = len(problem.cost) if problem.most_units is None else problem.most_units
    least = float(problem.cost.min(initial=np.inf))
    if problem.budget is not None and least > 0:
        most = min(most, int(problem.budget / least + 1e-9))
    return most


def priced(problem: CoverProblem, held: float) -> Prices:
    """Prices whose bound is as low as a few steps bring it; `held` is the weight of a set already found."""
    groups = _groups(problem)
    k = most_units(problem)
    by_cell = problem.holds.T.tocsr()
    price = problem.weight.copy()
    best = Prices(price, 0.0, np.inf)
    pace = 1.0
    for step in range(_STEPS):
        worth = problem.holds @ price
        units = _dearest(worth, groups, k)
        beyond = float((problem.weight - price).sum())
        bound = beyond + float(worth[units].sum())
        if bound < best.bound:
            best = Prices(price.copy(), beyond, bound)
        elif step % 10 == 9:
            pace *= 0.7
        if best.bound - held < 1e-9 * max(held, 1.0):
            break
        taken = np.zeros(len(worth))
        taken[units] = 1.0
        slope = by_cell @ taken - 1.0
        # A cell that nobody holds and that has its full price can rise no further.
        slope[(slope < 0) & (price >= problem.weight)] = 0.0
        size = float(slope @ slope)
        if size == 0.0:
            break
        price = np.clip(price - pace * (bound - held) / size * slope, 0.0, problem.weight)
    return best


def could_better(worth: Floats, group: Indices, n_units: int, prices: Prices) -> Floats:
    """For each column, what no set that has it can better.

    Parameters
    ----------
    worth : (n,) float
        The prices of the cells that each column holds, summed.
    group : (n,) int
    n_units : int
    """
    groups = _groups_of(group)
    tops = np.zeros(groups.max(initial=-1) + 1)
    np.maximum.at(tops, groups, worth)
    order = np.argsort(-tops, kind="stable")
    others = float(tops[order[: n_units - 1]].sum()) if n_units > 1 else 0.0
    among = np.zeros(len(tops), bool)
    among[order[: max(n_units - 1, 0)]] = True
    following = float(tops[order[n_units - 1]]) if 0 < n_units <= len(tops) else 0.0
    rest = np.where(among, others - tops + following, others)
    return prices.beyond + worth + rest[groups]


def narrowed(problem: CoverProblem, held: float) -> Indices:
    """The columns that a set as good as one that holds `held` may have."""
    prices = priced(problem, held)
    reach = could_better(problem.holds @ prices.price, problem.group, most_units(problem), prices)
    return np.flatnonzero(reach >= held - 1e-6 * max(held, 1.0))


def _groups(problem: CoverProblem) -> Indices:
    return _groups_of(problem.group)


def _groups_of(group: Indices) -> Indices:
    """(n,) group of each column, those in none each their own, numbered from 0."""
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

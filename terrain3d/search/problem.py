"""A covering problem: columns that hold rows, and what limits the columns that may be taken."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class CoverProblem:
    """Columns (settings of units) that hold rows (cells of ground).

    Parameters
    ----------
    holds : (n, p) scipy.sparse.csr_array of bool
        Which column holds which cell.
    weight : (p,) float
        Of each cell, more than 0.
    cost : (n,) float
        Of each column: what a cheapest set is counted in, and what a budget limits.
    group : (n,) int
        Columns of one group exclude each other (one unit a mount); -1 is in no group.
    most_units : int, or None
    budget : float, or None
        Greatest sum of costs.
    drawn : (n,) float, or None
        What each column draws of what `most_drawn` limits; None where nothing does.
    most_drawn : float, or None
        Greatest sum of that.
    needed : float, or None
        Weight that has to be held, at least cost; None asks for the most weight within the limits.
    at_most : tuple of ((k,) int, int)
        Columns of which no more than so many may be taken together.
    merits : tuple of (n,) float
        What decides between equals, in this order; more is better.
    uncounted : float
        Weight of ground that counts in every share and that no column can hold, as it is not known.
    """

    holds: Any
    weight: Floats
    cost: Floats
    group: Indices
    most_units: int | None = None
    budget: float | None = None
    drawn: Floats | None = None
    most_drawn: float | None = None
    needed: float | None = None
    at_most: tuple[tuple[Indices, int], ...] = ()
    merits: tuple[Floats, ...] = ()
    uncounted: float = 0.0


def cells_held(problem: CoverProblem, chosen: Iterable[int]) -> NDArray[np.bool_]:
    """(p,) bool: cells that any of some columns holds."""
    held = np.zeros(problem.holds.shape[1], bool)
    for k in chosen:
        held[problem.holds.indices[problem.holds.indptr[k] : problem.holds.indptr[k + 1]]] = True
    return held


def with_columns(problem: CoverProblem, rows: Indices) -> CoverProblem:
    """The same problem with some of its columns."""
    if len(rows) == len(problem.cost):
        return problem
    place = np.full(len(problem.cost), -1)
    place[rows] = np.arange(len(rows))
    limits = ((place[columns], most) for columns, most in problem.at_most)
    return replace(
        problem,
        holds=problem.holds[rows],
        cost=problem.cost[rows],
        drawn=None if problem.drawn is None else problem.drawn[rows],
        group=problem.group[rows],
        at_most=tuple((kept[kept >= 0], most) for kept, most in limits if (kept >= 0).sum() > most),
        merits=tuple(merit[rows] for merit in problem.merits),
    )


def sums_limited(problem: CoverProblem) -> tuple[tuple[Floats, float], ...]:
    """What columns add up to, (n,), that may come to no more than so much: money, and what is drawn."""
    limits = ((problem.cost, problem.budget), (problem.drawn, problem.most_drawn))
    return tuple((each, most) for each, most in limits if each is not None and most is not None)


def weight_held(problem: CoverProblem, chosen: Iterable[int]) -> float:
    """Weight of the cells that any of some columns holds."""
    return float(problem.weight[cells_held(problem, chosen)].sum())

"""The set of units that holds most, or the cheapest that holds enough, proved by a mixed-integer programme.

One call solves both, and plain set covering as well. Cells with the same coverers are one row with their
weights summed. The solver is HiGHS, through its own package: unlike what other libraries bring of it, that
can be stopped after work that is the same on every machine, and so gives the same set and the same bound
everywhere. A gap that is left is told, never hidden.
"""

import math
import threading
from dataclasses import dataclass, replace
from typing import Any

import highspy
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from terrain3d.errors import InputError
from terrain3d.search.bounds import first_set, many_sets, most_units, priced, reach_of
from terrain3d.search.problem import CoverProblem, Indices, sums_limited, weight_held, with_columns
from terrain3d.units import Floats

#: Work that the solver may take for one question, counted in places where it may be stopped, each times the
#: entries of its matrix: a minute or less for most. Seconds would depend on the machine, and the set on them.
MOST_WORK = 2e7
#: The same to settle which of equal sets is taken.
TIE_WORK = 1e6
#: Whatever the matrix, it may pass so many of those places.
_LEAST_STOPS = 20
#: Nodes of its tree that it may take to settle which of equal sets is taken: where near copies of settings
#: hold the same, a proof that none bears a little more error takes far longer than it is worth.
TIE_NODES = 50
#: Seconds after which Ctrl-C is heard at the latest.
_LISTEN_S = 0.1
#: Columns that the solver is given at most, and the cells held up to which it is given any number.
MOST_COLUMNS = 500
_MOST_HELD = 200_000
#: Share of the lightest cell by which two sets may differ and still count as holding the same.
SAME_SHARE = 0.25


@dataclass(frozen=True, eq=False)
class CoverSolution:
    """The columns chosen, ascending.

    `value` is the weight held and `cost` the sum of costs; `bound` is what the solver proved no set can
    better: weight, or cost where a weight is needed. `gap` is what lies between, as a share.
    """

    chosen: Indices
    value: float
    cost: float
    bound: float
    gap: float


def solve_cover(problem: CoverProblem, most_nodes: int | None = None) -> CoverSolution:
    """Solve a covering problem, proved as far as MOST_WORK and so many nodes of its tree allow.

    Neither limit is one in seconds: the answer is the same on every machine, however busy.

    Raises
    ------
    InputError
        When no set within the limits holds what is needed.

    Examples
    --------
    The best two of four sets, where taking the largest first goes wrong (ties go to the first):

    >>> sets = [[0, 1, 4, 5], [2, 6], [0, 1, 2, 3], [4, 5, 6, 7]]
    >>> holds = sparse.lil_array((4, 8), dtype=bool)
    >>> for k, cells in enumerate(sets):
    ...     holds[k, cells] = True
    >>> ones, alone = np.ones(4), np.full(4, -1)
    >>> best = solve_cover(CoverProblem(holds.tocsr(), np.ones(8), ones, alone, most_units=2))
    >>> best.chosen, best.value, best.gap
    (array([2, 3]), 8.0, 0.0)
    >>> solve_cover(CoverProblem(holds.tocsr(), np.ones(8), ones, alone, needed=8.0)).cost
    2.0
    """
    problem = replace(problem, holds=sparse.csr_array(problem.holds, dtype=bool))
    if not len(problem.cost) or most_units(problem) < 1:
        if problem.needed is not None:
            raise InputError("there is no unit to choose", "site.toml: search", "allow a unit, or more money")
        return CoverSolution(np.zeros(0, np.int64), 0.0, 0.0, 0.0, 0.0)
    if problem.needed is not None:
        return _cheapest(problem, most_nodes)
    return _most(problem, most_nodes)


def _most(problem: CoverProblem, most_nodes: int | None) -> CoverSolution:
    """The set that holds most."""
    first = first_set(problem)
    value = weight_held(problem, first)
    prices = priced(problem, value)
    reach = reach_of(problem, prices)
    rows = np.flatnonzero(reach >= value - 1e-6 * max(value, 1.0))
    is_whole = len(rows) <= MOST_COLUMNS
    if not is_whole:
        order = np.lexsort((*(-merit[rows] for merit in problem.merits[::-1]), -reach[rows].round(6)))
        rows = np.union1d(rows[order[:MOST_COLUMNS]], first)
    x, bound = _Programme.of(with_columns(problem, rows)).best(most_nodes)
    chosen = first if x is None else rows[np.flatnonzero(x)]
    # Where the solver was stopped the first set may be the better one.
    if weight_held(problem, chosen) < value:
        chosen = first
    value = weight_held(problem, chosen)
    bound = max(min(-bound, prices.bound) if is_whole else prices.bound, value)
    same = bound - value < SAME_SHARE * float(problem.weight.min(initial=1.0))
    cost = float(problem.cost[chosen].sum())
    return CoverSolution(np.sort(chosen), value, cost, bound, 0.0 if same else (bound - value) / bound)


def _cheapest(problem: CoverProblem, most_nodes: int | None) -> CoverSolution:
    """The cheapest set that holds what is needed; of very many columns, among those of many good sets."""
    rows = np.arange(len(problem.cost))
    if len(rows) > MOST_COLUMNS and problem.holds.nnz > _MOST_HELD:
        rows = many_sets(problem, MOST_COLUMNS)
    x, bound = _Programme.of(with_columns(problem, rows)).best(most_nodes)
    chosen = _enough(problem) if x is None else rows[np.flatnonzero(x)]
    cost = float(problem.cost[chosen].sum())
    bound = min(max(bound, 0.0), cost)
    gap = (cost - bound) / cost if cost - bound > 1e-6 else 0.0
    return CoverSolution(np.sort(chosen), weight_held(problem, chosen), cost, bound, gap)


def _enough(problem: CoverProblem) -> Indices:
    """A set that holds what is needed, where the solver found none: before it was stopped, or at all."""
    first = first_set(problem)
    if weight_held(problem, first) >= (problem.needed or 0.0) - 1e-9:
        return first
    most = _most(replace(problem, needed=None), None)
    if most.value >= (problem.needed or 0.0) - 1e-9:
        return most.chosen
    whole = float(problem.weight.sum()) + problem.uncounted
    raise InputError(
        f"no set of units holds {(problem.needed or 0.0) / whole:.0%} of the ground that counts;"
        f" the most is {most.value / whole:.1%}",
        "site.toml: search: hold",
        "ask for less, or for more units, money or current; or add mounts, heights or types",
    )


def _merged(problem: CoverProblem) -> tuple[Any, Floats]:
    """Patterns of coverers (patterns, columns) and the weight of each; cells that no column holds are out."""
    n = len(problem.cost)
    by_cell: Any = sparse.csr_array(problem.holds.T, dtype=np.uint64)
    by_cell.sort_indices()
    # Two sums of random numbers, 128 bits in all: equal for equal patterns, and for no others.
    marks = np.random.default_rng(0).integers(1, 2**63, (n, 2), dtype=np.uint64)
    keys = np.column_stack([by_cell @ marks[:, 0], by_cell @ marks[:, 1]])
    covered = np.flatnonzero(np.diff(by_cell.indptr) > 0)
    if not len(covered):
        return sparse.csr_array((0, n)), np.zeros(0)
    _, first, inverse = np.unique(keys[covered], axis=0, return_index=True, return_inverse=True)
    weight = np.bincount(inverse.ravel(), problem.weight[covered], minlength=len(first)).astype(float)
    return sparse.csr_array(by_cell[covered[first]], dtype=float), weight


def _summed(goal: Floats, taken: Floats) -> float:
    """What some variables come to; a product of vectors would hang on how many processors share it."""
    return float((goal * taken).sum())


def _marked(columns: Indices, n: int) -> Any:
    """(1, n) sparse row of ones at some columns."""
    return sparse.csr_array((np.ones(len(columns)), (np.zeros(len(columns), int), columns)), (1, n))


@dataclass(frozen=True, eq=False)
class _Programme:
    """Columns x (taken or not), then one z for each pattern (held or not)."""

    matrix: Any
    low: Floats
    high: Floats
    n_columns: int
    goals: tuple[Floats, ...]
    slips: tuple[float, ...]

    @staticmethod
    def of(problem: CoverProblem) -> "_Programme":
        n = len(problem.cost)
        patterns, weight = _merged(problem)
        p = len(weight)
        blocks: list[Any] = [sparse.hstack([-patterns, sparse.eye_array(p)])]
        low, high = [np.full(p, -np.inf)], [np.zeros(p)]

        def limit(rows: Any, least: float, most: float) -> None:
            rows = sparse.csr_array(np.atleast_2d(rows) if isinstance(rows, np.ndarray) else rows)
            if rows.shape[1] == n:
                rows = sparse.hstack([rows, sparse.csr_array((rows.shape[0], p))])
            blocks.append(rows)
            low.append(np.full(rows.shape[0], least))
            high.append(np.full(rows.shape[0], most))

        groups = (np.flatnonzero(problem.group == g) for g in np.unique(problem.group[problem.group >= 0]))
        for columns, most in (*((one, 1) for one in groups), *problem.at_most):
            if len(columns) > most:
                limit(_marked(columns, n), -np.inf, float(most))
        if problem.most_units is not None:
            limit(np.ones(n), -np.inf, float(problem.most_units))
        for each, most_of_it in sums_limited(problem):
            limit(each, -np.inf, most_of_it + 1e-9)
        no_z, no_x = np.zeros(p), np.zeros(n)
        held = np.concatenate([no_x, weight])
        cost = np.concatenate([problem.cost, no_z])
        slip = SAME_SHARE * float(problem.weight.min(initial=1.0))
        merits = [np.concatenate([-merit, no_z]) for merit in problem.merits]
        goals, slips = [-held, cost], [slip, 1e-6]
        if problem.needed is not None:
            limit(held, problem.needed - slip, np.inf)
            goals, slips = [cost, -held], [1e-6, slip]
        return _Programme(
            sparse.csr_array(sparse.vstack(blocks)), np.concatenate(low), np.concatenate(high), n,
            (*goals, *merits), (*slips, *(1e-6 for _ in merits)),
        )  # fmt: skip

    def best(self, most_nodes: int | None) -> tuple[NDArray[np.bool_] | None, float]:
        """Columns that are best by the first goal and, of equals, by the next; the first goal's bound."""
        taken, bound, optimum, proved = self._solve(self.goals[0], most_nodes, MOST_WORK)
        programme = self
        few = TIE_NODES if most_nodes is None else min(TIE_NODES, most_nodes)
        for goal, slip, following in zip(self.goals, self.slips, self.goals[1:], strict=False):
            if taken is None or not proved:
                break
            programme = programme._held_to(goal, optimum + slip)
            better, _, optimum, proved = programme._solve(following, few, TIE_WORK)
            # Of an unproved answer only what is an improvement is taken.
            if better is not None and _summed(following, better) < _summed(following, taken) + 1e-9:
                taken = better
        return None if taken is None else taken[: self.n_columns] > 0.5, bound

    def _held_to(self, goal: Floats, most: float) -> "_Programme":
        return replace(
            self,
            matrix=sparse.csr_array(sparse.vstack([self.matrix, sparse.csr_array(goal[None, :])])),
            low=np.append(self.low, -np.inf),
            high=np.append(self.high, most),
        )

    def _solve(
        self, goal: Floats, most_nodes: int | None, most_work: float
    ) -> tuple[Floats | None, float, float, bool]:
        """What is taken and held (None where nothing is found), bound, optimum, and whether it is proved."""
        solver = _Solver(max(_LEAST_STOPS, int(most_work / max(self.matrix.nnz, 1))))
        if most_nodes is not None:
            solver.setOptionValue("mip_max_nodes", most_nodes)
        columns = sparse.csc_array(self.matrix)
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = len(goal), columns.shape[0]
        model.col_cost_ = goal
        model.col_lower_, model.col_upper_ = np.zeros(len(goal)), np.ones(len(goal))
        model.row_lower_, model.row_upper_ = self.low, self.high
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        model.a_matrix_.start_, model.a_matrix_.index_ = columns.indptr, columns.indices
        model.a_matrix_.value_ = columns.data
        kinds = highspy.HighsVarType
        n_held = len(goal) - self.n_columns
        model.integrality_ = [kinds.kInteger] * self.n_columns + [kinds.kContinuous] * n_held
        return solver.solved(model)


class _Solver(highspy.Highs):  # type: ignore[misc]
    """HiGHS, silent, on one thread, and stopped where it has asked so many times whether to go on."""

    def __init__(self, most_stops: int) -> None:
        super().__init__()
        self.stops_left = most_stops
        self.is_broken_off = False
        for option, value in (("threads", 1), ("parallel", "off"), ("mip_rel_gap", 0.0)):
            self.setOptionValue(option, value)

    def enableCallbacks(self) -> None:  # noqa: N802  the library's own name
        """Called when it is made, and then tells its version on the standard output, unless it is silent."""
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()

    def solved(self, model: Any) -> tuple[Floats | None, float, float, bool]:
        """What the variables are (None where nothing is found), bound, optimum, and whether it is proved."""
        self.passModel(model)
        self.cbMipInterrupt.subscribe(self._asked)
        # In a thread of its own: Ctrl-C is then heard here, soon, and not lost within the library.
        working = threading.Thread(target=self.run, daemon=True)
        try:
            working.start()
            while working.is_alive():
                working.join(_LISTEN_S)
        except KeyboardInterrupt:
            self.is_broken_off = True
            raise
        info, is_proved = self.getInfo(), self.getModelStatus() == highspy.HighsModelStatus.kOptimal
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None, float(info.mip_dual_bound), math.inf, False
        taken = np.round(np.array(self.getSolution().col_value), 9)
        return taken, float(info.mip_dual_bound), float(info.objective_function_value), is_proved

    def _asked(self, event: Any) -> None:
        self.stops_left -= 1
        event.data_in.user_interrupt = self.is_broken_off or self.stops_left <= 0

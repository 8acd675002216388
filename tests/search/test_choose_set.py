"""The set solver against brute force and against what greedy choice is known to reach."""

import _thread
import itertools
import queue
import threading

import numpy as np
import pytest
from scipy import sparse

from terrain3d.errors import InputError
from terrain3d.search import choose_set
from terrain3d.search.bounds import greedy_set, priced
from terrain3d.search.choose_set import solve_cover
from terrain3d.search.problem import CoverProblem, weight_held


def instance(seed, n=9, p=40, **limits):
    """A small random problem: some cells held by each column, groups of three columns."""
    rng = np.random.default_rng(seed)
    holds = sparse.csr_array(rng.random((n, p)) < rng.uniform(0.1, 0.4))
    weight = rng.integers(1, 5, p).astype(float)
    cost = rng.integers(1, 6, n).astype(float)
    merits = (rng.integers(0, 3, n).astype(float), rng.integers(0, 9, n).astype(float))
    return CoverProblem(holds, weight, cost, np.arange(n) // 3, merits=merits, **limits)


def allowed(problem):
    """Every set within the limits, by trying all."""
    n = len(problem.cost)
    for size in range(n + 1):
        for chosen in itertools.combinations(range(n), size):
            rows = list(chosen)
            groups = problem.group[rows]
            if len(set(groups[groups >= 0])) < (groups >= 0).sum():
                continue
            if problem.most_units is not None and size > problem.most_units:
                continue
            if problem.budget is not None and problem.cost[rows].sum() > problem.budget:
                continue
            if any(np.isin(rows, columns).sum() > most for columns, most in problem.at_most):
                continue
            yield rows


LIMITS = [
    {"most_units": 1},
    {"most_units": 2},
    {"most_units": 3, "at_most": ((np.array([0, 4, 8]), 1),)},
    {"budget": 6.0},
    {"budget": 7.0, "most_units": 2},
]


@pytest.mark.parametrize("limits", LIMITS)
@pytest.mark.parametrize("seed", range(12))
def test_most_ground_is_that_of_brute_force(seed, limits):
    """Value, proof and the order in which ties are settled: cost, then each merit."""
    problem = instance(seed, **limits)

    def rank(rows):
        merits = tuple(float(merit[rows].sum()) for merit in problem.merits)
        return (weight_held(problem, rows), -float(problem.cost[rows].sum()), *merits)

    best = max(allowed(problem), key=rank)
    solution = solve_cover(problem)
    assert solution.gap == 0.0
    assert solution.bound == pytest.approx(solution.value)
    assert rank(solution.chosen.tolist()) == pytest.approx(rank(best))


@pytest.mark.parametrize("seed", range(12))
def test_the_cheapest_set_is_that_of_brute_force(seed):
    """Least cost that holds what is needed; of equals the one that holds more."""
    problem = instance(seed)
    reachable = max(weight_held(problem, rows) for rows in allowed(problem))
    problem = instance(seed, needed=0.8 * reachable)
    fits = [rows for rows in allowed(problem) if weight_held(problem, rows) >= problem.needed]
    best = min(fits, key=lambda rows: (problem.cost[rows].sum(), -weight_held(problem, rows)))
    solution = solve_cover(problem)
    assert solution.cost == problem.cost[best].sum()
    assert solution.value == weight_held(problem, best)
    assert solution.gap == 0.0


@pytest.mark.parametrize("k", [1, 2, 3, 4])
@pytest.mark.parametrize("seed", range(10))
def test_greedy_never_beats_it_and_stays_above_its_bound(seed, k):
    """Greedy choice of k holds at least 1 - (1 - 1/k)^k of the most, hence above 1 - 1/e.

    Nemhauser, Wolsey and Fisher 1978, Mathematical Programming 14:265 (page from memory).
    """
    problem = instance(seed, n=12, p=60, most_units=k)
    problem = CoverProblem(problem.holds, problem.weight, np.ones(12), np.full(12, -1), most_units=k)
    most = solve_cover(problem).value
    greedy = weight_held(problem, greedy_set(problem))
    assert greedy <= most
    assert greedy >= (1 - (1 - 1 / k) ** k) * most - 1e-9 > (1 - 1 / np.e) * most - 1e-6


@pytest.mark.parametrize("seed", range(10))
def test_prices_bound_every_set(seed):
    """No set holds more than the prices say, and they say no more than the largest values summed."""
    problem = instance(seed, most_units=2)
    prices = priced(problem, 0.0)
    assert max(weight_held(problem, rows) for rows in allowed(problem)) <= prices.bound + 1e-9
    tops = sorted((weight_held(problem, [k]) for k in range(9)), reverse=True)
    assert prices.bound <= tops[0] + tops[1] + 1e-9


def test_what_cannot_be_held_is_said_with_the_most_that_can():
    """A share out of reach ends in words that name the share that is not."""
    holds = sparse.csr_array(np.array([[True, True, False, False], [False, True, True, False]]))
    problem = CoverProblem(holds, np.ones(4), np.ones(2), np.arange(2), needed=4.0)
    with pytest.raises(InputError, match=r"no set of units holds 100% .* the most is 75.0%"):
        solve_cover(problem)


def hard(seed=0, n=60, p=200):
    """A problem that the solver has to branch for: many columns that hold much the same."""
    rng = np.random.default_rng(seed)
    holds = sparse.csr_array(rng.random((n, p)) < 0.08)
    return CoverProblem(holds, rng.integers(1, 4, p).astype(float), np.ones(n), np.arange(n), most_units=8)


def test_a_solver_that_is_stopped_gives_the_same_however_busy_the_machine(monkeypatch):
    """Broken off long before it is proved: the same set and the same gap, alone and beside other work."""
    monkeypatch.setattr(choose_set, "MOST_WORK", 0.0)
    alone = solve_cover(hard())
    assert 0.0 < alone.gap < 0.5
    stop = threading.Event()

    def busy():
        while not stop.is_set():
            sum(range(1000))

    others = [threading.Thread(target=busy) for _ in range(4)]
    for other in others:
        other.start()
    beside = solve_cover(hard())
    stop.set()
    for other in others:
        other.join()
    assert beside.chosen.tolist() == alone.chosen.tolist()
    assert (beside.value, beside.bound, beside.gap) == (alone.value, alone.bound, alone.gap)
    monkeypatch.setattr(choose_set, "MOST_WORK", 2e6)
    assert solve_cover(hard()).gap == 0.0


def test_the_solver_keeps_silent(capfd):
    """Nothing of its own comes between the lines of the command, nor into its log."""
    solve_cover(instance(0, most_units=2))
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("is_still_starting", [False, True])
def test_ctrl_c_is_heard_while_the_solver_works(monkeypatch, is_still_starting):
    """It stops the choosing, even where it comes as its thread begins, and is not lost within the library."""
    asked, start = choose_set._Solver._asked, threading.Thread.start
    solvers, answers, heard = [], queue.Queue(), threading.Event()

    def interrupted(self, event):
        if not solvers:  # once: one that nobody waits for would break off another test
            solvers.append(self)
            if not is_still_starting:
                _thread.interrupt_main()
            heard.wait(60)
        asked(self, event)
        answers.put(event.data_in.user_interrupt)

    def started(self):
        start(self)
        if is_still_starting:
            raise KeyboardInterrupt

    monkeypatch.setattr(choose_set._Solver, "_asked", interrupted)
    problem = hard()
    with monkeypatch.context() as patched:
        patched.setattr(threading.Thread, "start", started)
        with pytest.raises(KeyboardInterrupt):
            solve_cover(problem)
    heard.set()
    assert answers.get(timeout=60)


def test_nothing_to_choose_from_is_no_fault():
    """No column, or no unit allowed, gives the empty set."""
    none = CoverProblem(
        sparse.csr_array((0, 4), dtype=bool), np.ones(4), np.zeros(0), np.zeros(0, int), most_units=2
    )
    assert len(solve_cover(none).chosen) == 0
    poor = instance(0, budget=0.5)
    assert solve_cover(poor).value == 0.0

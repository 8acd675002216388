"""From what was judged to the best unit, the best set and the runner-up, and what no set can better."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from terrain3d.errors import InputError
from terrain3d.search.bounds import could_better, first_set, most_units, priced, worth_of
from terrain3d.search.choose_set import SAME_SHARE, CoverSolution, solve_cover
from terrain3d.search.columns import Columns, columns_of, joined, problem_of, same_row, taken
from terrain3d.search.in_sight import clashes
from terrain3d.search.judge import Judged, price_mount
from terrain3d.search.problem import CoverProblem, cells_held, weight_held, with_columns
from terrain3d.search.settings import Space
from terrain3d.search.target import Target
from terrain3d.search.tasks import DoTasks
from terrain3d.terrain import Mount, Terrain
from terrain3d.units import Floats

#: Settings of each height and type that are added in each pass of the proof: a few first, which bring the
#: bound down, then as many as the solver can be given.
_PASSES = (2, 2, 30)
#: Nodes of the solver's tree where it goes on from a set that is proved among the settings kept, and for the
#: runner-up.
_MOST_NODES = 50
#: Settings of each height and type among which ties are settled.
_MOST_TIED = 200
#: Mounts that are judged once more for the proof over all settings; where it takes more, the proof is
#: over the settings kept.
MOST_LOOKED_AT_AGAIN = 40


_Site = tuple[Terrain, Space, Target]


@dataclass(frozen=True)
class Limits:
    """What a set of units is to be.

    Parameters
    ----------
    units : int, or None
        Most units.
    budget : float, or None
        Most money.
    milliamps : float, or None
        Most current.
    hold : float, or None
        Share of the ground that counts, by weight, that has to be held, with as little money or as few
        units as can be; None asks for as much ground as can be.
    apart : bool
        Whether two units must not see each other.
    """

    units: int | None = 1
    budget: float | None = None
    hold: float | None = None
    apart: bool = False
    milliamps: float | None = None


@dataclass(frozen=True, eq=False)
class Best:
    """What was found; `single` and the sets are rows of `columns`.

    `bound_all` is the weight that no set of any settings of the space can better; None where a share has
    to be held. The solutions' own bounds are over the settings in `columns`.
    """

    columns: Columns
    single: CoverSolution
    chosen: CoverSolution
    runner_up: CoverSolution | None
    bound_all: float | None


def best_sets(
    terrain: Terrain,
    mounts: Sequence[Mount],
    judged: Sequence[Judged],
    space: Space,
    target: Target,
    limits: Limits,
    do_tasks: DoTasks,
) -> Best:
    """Choose the best unit, the best set, and the best set that has another mount or type in it.

    Parameters
    ----------
    terrain : Terrain
    mounts : sequence of Mount
    judged : sequence of Judged
        Of each mount.
    space : Space
    target : Target
    limits : Limits
    do_tasks : DoTasks
        Does the looking once more that the proof over all settings needs.
    """

    def problem_for(columns: Columns) -> CoverProblem:
        needed = None if limits.hold is None else limits.hold * target.whole
        return problem_of(
            columns, space, target, clashes(terrain, mounts, columns, space) if limits.apart else (),
            most_units=limits.units, budget=limits.budget, most_drawn=limits.milliamps, needed=needed,
        )  # fmt: skip

    site = (terrain, space, target)
    columns = columns_of(judged, list(range(len(mounts))), len(target.cells))
    problem = problem_for(columns)
    chosen = solve_cover(problem)
    bound_all = None
    n_kept, is_whole = len(columns.mount), False
    if limits.hold is None:
        bests = np.array([one.best.max(initial=0.0) for one in judged])
        for most in _PASSES:
            again = _looked_at_again(site, mounts, columns, problem, bests, chosen.value, most, do_tasks)
            bound_all, is_whole = min(again.bound, bound_all or np.inf), again.is_whole
            if again.found is None or bound_all - chosen.value <= _same(target):
                break
            columns = joined(columns, again.found)
            problem = problem_for(columns)
        # Whatever else could be in a better set is among the columns now, where nothing is missing.
        grown = len(columns.mount) > n_kept
        if grown and (is_whole or weight_held(problem, first_set(problem)) > chosen.value):
            better = solve_cover(problem, _MOST_NODES)
            bound_all = min(bound_all or np.inf, better.bound) if is_whole else bound_all
            chosen = better if better.value > chosen.value + _same(target) else chosen
        bound_all = max(bound_all or 0.0, chosen.value)
    # The best unit is one that may be had: what is beyond the budget, or the current, is not.
    single = solve_cover(replace(problem, most_units=1, needed=None, at_most=()))
    # Near copies of good settings, which the proof brings in, make the second question hard and no better.
    among = problem if is_whole else with_columns(problem, np.arange(n_kept))
    other = _runner_up(among, columns, chosen, space)
    sets = [chosen, single, *([other] if other is not None else [])]
    if not limits.apart:
        columns, sets = _settled(site, mounts, columns, problem, sets)
    return Best(columns, sets[1], sets[0], sets[2] if other is not None else None, bound_all)


def _runner_up(
    problem: CoverProblem, columns: Columns, chosen: CoverSolution, space: Space
) -> CoverSolution | None:
    """The best set that is not of the same types on the same mounts; None where there is none.

    A dearer version of a type that senses nothing else is the same here.
    """
    senses = space.senses_as[columns.type_index]
    pairs = columns.mount * (senses.max(initial=0) + 1) + senses
    same = np.flatnonzero(np.isin(pairs[: len(problem.cost)], pairs[chosen.chosen]))
    barred = replace(problem, at_most=(*problem.at_most, (same, max(len(chosen.chosen) - 1, 0))))
    try:
        other = solve_cover(barred, _MOST_NODES)
    except InputError:
        return None
    return other if len(other.chosen) else None


def _same(target: Target) -> float:
    return SAME_SHARE * float(target.weight.min(initial=1.0))


@dataclass(frozen=True, eq=False)
class _Again:
    """Settings found that were not kept (None: too many mounts); the bound; whether none is missing."""

    found: Columns | None
    bound: float
    is_whole: bool


def _looked_at_again(
    site: _Site, mounts: Sequence[Mount], columns: Columns, problem: CoverProblem, bests: Floats,
    value: float, most: int, do_tasks: DoTasks,
) -> _Again:  # fmt: skip
    """Settings that were not kept and could be in a set as good as `value`; what no set can better.

    Every cell has a price (see `bounds`). What a mount's settings come to at these prices bounds every
    set that has one of them, and is never more than their value: only mounts whose best value could
    matter are looked at once more.
    """
    target = site[2]
    n_units = most_units(problem)
    prices = priced(problem, value)
    kept = np.zeros(len(mounts))
    np.maximum.at(kept, columns.mount, worth_of(problem, prices.price))
    # The dearest units are on mounts whose best value is no less than what the last of them comes to.
    ordered = np.sort(kept)[::-1]
    threshold = float(ordered[n_units - 1]) if n_units <= len(ordered) else 0.0
    # What a setting has to come to at least, were the mounts' other settings no better than those kept.
    least = value - _same(target) / 2 - could_better(np.zeros(len(kept)), kept, n_units, prices)
    again = np.flatnonzero((bests > threshold) | ((bests >= least) & (bests > 0))).tolist()
    if len(again) > MOST_LOOKED_AT_AGAIN:
        return _Again(None, float(np.sort(bests)[::-1][:n_units].sum()), False)
    tops = bests.copy()
    found: list[tuple[int, Judged]] = []
    items = [(mounts[m], float(least[m]), most) for m in again]
    for k, one in do_tasks(_priced, (*site, prices.price), items):
        tops[again[k]] = one.best.max(initial=0.0)
        found.append((again[k], one))
    found.sort(key=lambda pair: pair[0])
    bound = prices.beyond + float(np.sort(tops)[::-1][:n_units].sum())
    # With what the mounts come to now, less may be enough than was asked for above.
    needed = value - _same(target) / 2 - could_better(np.zeros(len(tops)), tops, n_units, prices)
    is_whole = bool((needed >= least - 1e-9).all()) and all(_is_all(one, most) for _, one in found)
    if not found:
        return _Again(None, bound, is_whole)
    new = columns_of([one for _, one in found], [m for m, _ in found], len(target.cells))
    return _Again(new, bound, is_whole)


def _priced(shared: tuple[Terrain, Space, Target, Floats], item: tuple[Mount, float, int]) -> Judged:
    terrain, space, target, price = shared
    return price_mount(terrain, item[0], space, target, price, item[1], item[2])


def _is_all(judged: Judged, most: int) -> bool:
    """Whether pricing left nothing out that came to enough."""
    rows = np.column_stack([judged.type_index, judged.height_m])
    return bool(np.unique(rows, axis=0, return_counts=True)[1].max(initial=0) < most)


def _settled(
    site: _Site, mounts: Sequence[Mount], columns: Columns, problem: CoverProblem, sets: list[CoverSolution]
) -> tuple[Columns, list[CoverSolution]]:
    """The same sets with each unit set as well as its mount allows, the others as they are.

    Over all settings of its type there: the one that adds most to the others, of equals the one with
    more slack, then the one that breaks less on an animal.
    """
    terrain, space, target = site
    slip = _same(target)
    settled = []
    for solution in sets:
        chosen = solution.chosen.copy()
        for place in range(len(chosen)):
            row = int(chosen[place])
            price = target.weight.copy()
            price[cells_held(replace(problem, holds=columns.holds), np.delete(chosen, place))] = 0.0
            own = float(price[cells_held(replace(problem, holds=columns.holds), [row])].sum())
            mount = int(columns.mount[row])
            one = price_mount(terrain, mounts[mount], space, target, price, own - slip, _MOST_TIED)
            new = columns_of([one], [mount], len(target.cells))
            new = taken(new, np.flatnonzero(new.type_index == columns.type_index[row]))
            if len(new.mount):
                worth = new.holds @ price
                top = np.where(worth >= worth.max() - slip, 0.0, -1.0)
                best = int(np.lexsort((new.animal, -new.slack_deg, -top))[0])
                columns = joined(columns, taken(new, np.array([best])))
                chosen[place] = same_row(columns, new, best)
        held = cells_held(replace(problem, holds=columns.holds), chosen)
        value = float(target.weight[held].sum())
        bound = solution.bound if problem.needed is not None else max(solution.bound, value)
        settled.append(replace(solution, chosen=np.sort(chosen), value=value, bound=bound))
    return columns, settled

"""The set solver against published covering instances."""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from terrain3d.search.bounds import greedy_set
from terrain3d.search.choose_set import solve_cover
from terrain3d.search.problem import CoverProblem, weight_held

#: Where a copy of OR-Library's scp41.txt lies; it is not part of this project.
SCP41 = os.environ.get("TERRAIN3D_SCP41", "")


def test_greedy_choice_can_lose_a_quarter():
    """The tight instance for two sets: greedy 6, optimum 8, that is 0.75 = 1 - (1 - 1/2)^2.

    Bound: Nemhauser, Wolsey and Fisher 1978, Mathematical Programming 14:265 (page from memory); the
    instance is worked by hand: C1 = {1, 2, 5, 6}, C2 = {3, 7}, R1 = {1, 2, 3, 4}, R2 = {5, 6, 7, 8}.
    """
    sets = [[1, 2, 5, 6], [3, 7], [1, 2, 3, 4], [5, 6, 7, 8]]
    holds = np.zeros((4, 8), bool)
    for row, cells in enumerate(sets):
        holds[row, np.array(cells) - 1] = True
    problem = CoverProblem(sparse.csr_array(holds), np.ones(8), np.ones(4), np.full(4, -1), most_units=2)
    best = solve_cover(problem)
    assert weight_held(problem, greedy_set(problem)) == 6
    assert (best.value, best.chosen.tolist(), best.gap) == (8, [2, 3], 0.0)


@pytest.mark.parametrize(
    ("v", "n_blocks", "cover"),
    [(7, 7, 3), (13, 13, 4)],
    ids=["Fano plane", "projective plane of order 3"],
)
def test_blocking_sets_of_projective_planes(v, n_blocks, cover):
    """Fewest lines that meet every point of a projective plane of order q are q + 1: those through a point.

    Plain mathematics: q + 1 lines of q + 1 points each through one point cover 1 + (q + 1) q = v points,
    and q lines cover at most q (q + 1) < v. The planes are made from difference sets {0, 1, 3} mod 7 and
    {0, 1, 3, 9} mod 13.
    """
    difference = {7: [0, 1, 3], 13: [0, 1, 3, 9]}[v]
    holds = np.zeros((n_blocks, v), bool)
    for k in range(n_blocks):
        holds[k, (np.array(difference) + k) % v] = True
    problem = CoverProblem(
        sparse.csr_array(holds), np.ones(v), np.ones(n_blocks), np.full(n_blocks, -1), needed=float(v)
    )
    best = solve_cover(problem)
    assert (best.cost, best.bound, best.gap) == (cover, cover, 0.0)


@pytest.mark.skipif(
    not Path(SCP41).is_file(), reason="set TERRAIN3D_SCP41 to a copy of OR-Library's scp41.txt to run this"
)
def test_a_published_set_covering_instance():
    """OR-Library scp41: 200 rows, 1000 columns, optimum 429 (Beasley 1990, JORS 41:1069).

    Greedy by cost for each new row, lowest index on ties, gives 463.
    """
    numbers = np.array(Path(SCP41).read_text().split(), int)
    n_rows, n_columns = numbers[:2]
    cost = numbers[2 : 2 + n_columns].astype(float)
    holds = np.zeros((n_columns, n_rows), bool)
    at = 2 + n_columns
    for row in range(n_rows):
        count = numbers[at]
        holds[numbers[at + 1 : at + 1 + count] - 1, row] = True
        at += 1 + count
    assert holds.sum() == 4009
    problem = CoverProblem(
        sparse.csr_array(holds), np.ones(n_rows), cost, np.full(n_columns, -1), needed=float(n_rows)
    )
    best = solve_cover(problem)
    assert (best.cost, best.value, best.gap) == (429.0, n_rows, 0.0)
    assert cost[greedy_set(problem)].sum() == 463

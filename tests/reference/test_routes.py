"""Routes against published coverage results, and against brute force over every way there is."""

import heapq
import itertools
import math

import numpy as np
import pytest

from terrain3d.walk.paths import explored, least_exposed, path_to, steps, widest_berth

#: A grid of 16 directions cannot make a turning path longer than this beside the true one; the cost of a
#: cell is that of its centre, which adds a part of the cell's size over the distance from the sensor.
GRID = 0.02


def exposure_field(n: int, half: float, sensor: tuple[float, float] = (0.0, 0.0)):
    """Cells of a square of half width `half` with the sensitivity 1/d of one sensor, the same every way."""
    cell = 2 * half / (n - 1)
    axis = np.linspace(-half, half, n)
    x, y = np.meshgrid(axis, axis)
    # The sensor's own cell has no finite cost; nothing here leads over it.
    d = np.maximum(np.hypot(x - sensor[0], y - sensor[1]), cell / 4)
    return x, y, cell, np.broadcast_to(1 / d, (16, n, n))


def at(x, y, east: float, north: float):
    """The one cell whose centre is nearest to a point."""
    d = np.hypot(x - east, y - north)
    return d == d.min()


@pytest.mark.parametrize(
    ("start", "goal", "half", "exact"),
    [
        # Meguerdichian, Koushanfar, Qu, Potkonjak, MobiCom 2001: one sensor, sensitivity 1/d. The quarter
        # circle costs pi/2, the straight chord 2 asinh 1 = 1.7627.
        ((1, 0), (0, 1), 3.0, math.pi / 2),
        # Between corners of a square that must not be left: along its edges and the quarter circle between.
        ((1, -1), (-1, 1), 1.0, math.pi / 2 + 2 * math.asinh(1)),
        # The same with room to leave it. In the metric ds/r a path is as long as sqrt(ln(r2/r1)^2 + turn^2).
        ((1, -1), (-1, 1), 3.0, math.pi),
        ((1, 0), (0, 2), 3.0, math.hypot(math.log(2), math.pi / 2)),
        ((1, 0), (2, 0), 3.0, math.log(2)),
    ],
)
def test_least_exposure_of_one_sensor(start, goal, half, exact):
    """The least exposed path costs what the published closed forms say, within what a grid can."""
    n = 401 if half > 1 else 201
    x, y, cell, cost = exposure_field(n, half)
    path = least_exposed(cost, np.ones((n, n), bool), cell, at(x, y, *start), at(x, y, *goal))
    assert path.cost == pytest.approx(exact, rel=GRID)
    # The ends of a path are cells, so it can be cheaper by no more than half a cell's cost at either end.
    assert path.cost > exact - cell


def test_quarter_circle_is_kept():
    """Along the whole of the published quarter circle the path stays at the sensor's distance."""
    n = 401
    x, y, cell, cost = exposure_field(n, 3.0)
    path = least_exposed(cost, np.ones((n, n), bool), cell, at(x, y, 1, 0), at(x, y, 0, 1))
    radius = np.hypot(*(path.line - 3.0).T)
    assert np.abs(radius - 1).max() < 0.12
    assert path.cost < 2 * math.asinh(1) * 0.95


def clearance(x, y, sensors) -> np.ndarray:
    """Distance of every cell from the nearest sensor."""
    return np.min([np.hypot(x - sx, y - sy) for sx, sy in sensors], axis=0)


def plan(n: int, half: float):
    """Cells of a square, open every way."""
    axis = np.linspace(-half, half, n)
    x, y = np.meshgrid(axis, axis)
    return x, y, 2 * half / (n - 1), np.ones((16, n, n), bool)


# Maximal breach, Meguerdichian et al., INFOCOM 2001: the path that stays as far as can be from every sensor
# runs on Voronoi edges; the values are half the widest gap it must pass, plain geometry from there.
def test_breach_between_two_sensors():
    """Between two sensors 2a apart a path keeps a, where it cannot go round."""
    x, y, cell, ways = plan(201, 5.0)
    berth = widest_berth(clearance(x, y, [(-5, 0), (5, 0)]), ways, y == y.min(), y == y.max())
    assert berth == pytest.approx(5.0, abs=cell)


def test_breach_of_a_row():
    """Through a row of sensors at spacing s whose ends are sealed a path keeps s / 2."""
    x, y, cell, ways = plan(241, 6.0)
    row = [(sx, 0.0) for sx in np.arange(-6, 6.1, 3.0)]
    berth = widest_berth(clearance(x, y, row), ways, y == y.min(), y == y.max())
    assert berth == pytest.approx(1.5, abs=cell)


@pytest.mark.parametrize("n", [4, 6, 8])
def test_breach_of_a_ring(n):
    """From outside to the centre of a ring of n sensors on radius r a path keeps r sin(pi / n)."""
    x, y, cell, ways = plan(321, 8.0)
    turn = 2 * math.pi * (np.arange(n) + 0.3) / n
    ring = np.column_stack([4 * np.cos(turn), 4 * np.sin(turn)])
    outside = (np.abs(x) > 7.99) | (np.abs(y) > 7.99)
    berth = widest_berth(clearance(x, y, ring), ways, outside, at(x, y, 0, 0))
    assert berth == pytest.approx(min(4 * math.sin(math.pi / n), 4.0), abs=cell)


def every_way(cost, walkable, start, goal) -> float:
    """Cost of the cheapest of all simple paths, each tried: slow and without any search."""
    k, ny, nx = cost.shape
    moves = steps(k)
    best = math.inf

    def follow(i, j, seen, spent):
        nonlocal best
        if (i, j) == goal:
            best = min(best, spent)
            return
        for d, (di, dj) in enumerate(moves):
            a, b = i + di, j + dj
            if not (0 <= a < nx and 0 <= b < ny) or (a, b) in seen or not walkable[b, a]:
                continue
            if di and dj and not (walkable[j, a] and walkable[b, i]):
                continue
            step = math.hypot(di, dj) * (cost[d, j, i] + cost[d, b, a]) / 2
            if spent + step < best:
                follow(a, b, seen | {(a, b)}, spent + step)

    follow(*start, {start}, 0.0)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_least_exposed_against_every_way(seed):
    """No simple path of 8-way steps over a small grid is cheaper, whatever way the cost depends on."""
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.0, 3.0, (8, 4, 4))
    walkable = rng.random((4, 4)) > 0.2
    walkable[0, 0] = walkable[3, 3] = True
    start, goal = np.zeros((4, 4), bool), np.zeros((4, 4), bool)
    start[0, 0] = goal[3, 3] = True
    reached = explored(cost, walkable, 1.0, start)
    least = every_way(cost, walkable, (0, 0), (3, 3))
    # The hair is what a metre costs besides, so that the shorter of two equals is taken.
    assert reached.total[3, 3] == pytest.approx(least, abs=1e-4)
    path = path_to(reached, goal)
    # Straight lines in place of steps may be cheaper still.
    assert path is None if math.isinf(least) else path.cost <= least + 1e-9


def sampled_steps(cost, walkable):
    """An explicit graph of steps, each judged by many points along it and a hair to either side."""
    k, ny, nx = cost.shape
    share = (np.arange(400) + 0.5) / 400
    graph = {}
    for j, i in itertools.product(range(ny), range(nx)):
        for d, (di, dj) in enumerate(steps(k)):
            if not (0 <= i + di < nx and 0 <= j + dj < ny):
                continue
            x, y = i + share * di, j + share * dj
            length = math.hypot(di, dj)
            sides = [(x - h * dj / length, y + h * di / length) for h in (-0.01, 0.0, 0.01)]
            cells = [np.rint(side).astype(int) for side in sides]
            if all(walkable[row, column].all() for column, row in cells):
                column, row = cells[1]
                graph.setdefault((i, j), []).append(
                    ((i + int(di), j + int(dj)), length * cost[d, row, column].mean())
                )
    return graph


def plain_dijkstra(graph, start):
    """Least costs from a start over an explicit graph, by the textbook (Dijkstra 1959)."""
    least, queue = {}, [(0.0, start)]
    while queue:
        spent, at_ = heapq.heappop(queue)
        if at_ in least:
            continue
        least[at_] = spent
        for target, more in graph.get(at_, []):
            heapq.heappush(queue, (spent + more, target))
    return least


@pytest.mark.parametrize("k", [16, 32])
@pytest.mark.parametrize("seed", range(4))
def test_long_steps_against_plain_dijkstra(k, seed):
    """Steps that run over several cells cost and are closed as their sampled lines are."""
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.0, 3.0, (k, 8, 8))
    walkable = rng.random((8, 8)) > 0.2
    walkable[0, 0] = True
    start = np.zeros((8, 8), bool)
    start[0, 0] = True
    total = explored(cost, walkable, 1.0, start).total
    least = plain_dijkstra(sampled_steps(cost, walkable), (0, 0))
    for j, i in itertools.product(range(8), range(8)):
        if (i, j) in least:
            # 400 points tell where a step leaves a cell within 1/400 of its length.
            assert total[j, i] == pytest.approx(least[i, j], rel=0.01, abs=1e-4)
        else:
            assert math.isinf(total[j, i])


@pytest.mark.parametrize(("k", "most"), [(8, 45.0), (16, 26.565), (32, 18.435)])
def test_stairs_are_no_longer_than_their_directions_allow(k, most):
    """Over open ground steps are longer than straight by 1 / cos of half the widest gap at most."""
    n = 61
    start = np.zeros((n, n), bool)
    start[30, 30] = True
    total = explored(np.ones((k, n, n)), np.ones((n, n), bool), 1.0, start).total
    y, x = np.mgrid[-30:31, -30:31]
    longer = total[~start] / np.hypot(x, y)[~start]
    assert longer.max() <= 1 / math.cos(math.radians(most / 2)) + 1e-4
    assert longer.max() > 1 / math.cos(math.radians(most / 2)) - 2e-3


@pytest.mark.parametrize("seed", range(12))
def test_widest_berth_against_every_level(seed):
    """The room kept is the highest level at which the two sides still hang together, edge to edge."""
    rng = np.random.default_rng(seed)
    room = rng.integers(0, 9, (7, 7)).astype(float)
    start, goal = np.zeros((7, 7), bool), np.zeros((7, 7), bool)
    start[0], goal[-1] = True, True

    def leads(level):
        reached = start & (room >= level)
        for _ in range(49):
            for dj, di in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                for j, i in itertools.product(range(7), range(7)):
                    if (
                        0 <= j - dj < 7
                        and 0 <= i - di < 7
                        and reached[j - dj, i - di]
                        and room[j, i] >= level
                    ):
                        reached[j, i] = True
        return (reached & goal).any()

    assert widest_berth(room, np.ones((8, 7, 7), bool), start, goal) == max(v for v in range(9) if leads(v))

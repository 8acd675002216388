"""How far the map can be trusted: the options judged again and again on a site that is a little off.

In a draw all options stand on the same moved ground, so that they are compared fairly; the errors of fixing
a unit are its own. A draw's errors come from the seed and its number alone, whoever works on it.
"""

import os
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import all_protected_m2, cells_within, protected_weight
from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict, combined
from terrain3d.detector.pose import Detector
from terrain3d.ranking.compare import ranked
from terrain3d.sight.panorama import eye_over
from terrain3d.terrain import Ground, Terrain
from terrain3d.uncertainty.error_field import ErrorSizes, FieldLaw, draw_field, field_law
from terrain3d.uncertainty.moved_site import finely, looked_at, moved
from terrain3d.units import Floats

#: The worst protected share told: what one draw in so many falls short of.
WORST = 0.05
#: A unit fixed by hand is never this near the ground, nor tilted more than a head may be.
LOWEST_M, MOST_TILT_DEG = 0.05, 30.0
#: Ground kept around what the units reach, cells.
_MARGIN_CELLS = 4
#: Walls follow moved ground in steps of this share of the length over which errors are alike: the ground
#: between leaves them by some fifth of its error.
_FOLLOWING = 0.1

Progress = Callable[[float], None]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class OptionUncertainty:
    """How one option fares when the site and its units are a little off.

    Parameters
    ----------
    name : str
    chance : (ny, nx) float32
        Share of draws in which both layers hold the cell; NaN where no ground is known.
    held_m2 : (n,) float
        What options are ranked by, for each draw: weighted protected ground that is held, or all ground
        held where none is protected.
    held_share : (n,) float or None
        Share of the protected ground held, by plain area; None where none is protected.
    best_share : float
        Share of draws in which the option is the best.
    """

    name: str
    chance: NDArray[np.float32]
    held_m2: Floats
    held_share: Floats | None
    best_share: float

    @property
    def told(self) -> Floats:
        """(n,) what a person is told of each draw: the share of protected ground, else square metres."""
        return self.held_m2 if self.held_share is None else self.held_share

    @property
    def middle(self) -> float:
        """The median over the draws."""
        return float(np.median(self.told))

    @property
    def worst(self) -> float:
        """Reached or bettered in 95 % of the draws."""
        return float(np.quantile(self.told, WORST, method="inverted_cdf"))

    @property
    def mean(self) -> float:
        return float(np.mean(self.told))


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """All options with what their errors make of them, in the order of the site file.

    `ranking` names them best first, as they rank without errors; `order_share` is the share of draws in
    which they rank just so, `best_holds` that in which the same one is best.
    """

    options: tuple[OptionUncertainty, ...]
    error_sizes: ErrorSizes
    draws: int
    seed: int
    ranking: tuple[str, ...]
    order_share: float
    best_holds: float


@dataclass(frozen=True, eq=False)
class _Plan:
    """What every draw starts from: the part of the site that matters, cut out of the whole."""

    part: Terrain
    rows: slice
    columns: slice
    options: tuple[OptionResult, ...]
    law: FieldLaw
    error_sizes: ErrorSizes
    figure_height_m: float
    weight: Floats
    count: Floats


def run_monte_carlo(
    terrain: Terrain,
    options: tuple[OptionResult, ...],
    figure_height_m: float,
    error_sizes: ErrorSizes,
    draws: int = 200,
    seed: int = 0,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Uncertainty:
    """Judge options on sites that differ from the given one as its errors may.

    Parameters
    ----------
    terrain : Terrain
    options : tuple of OptionResult
        Judged without errors; their units, how they combine, and their verdicts are used.
    figure_height_m : float
        Height of the figure.
    error_sizes : ErrorSizes
        Sizes of the errors.
    draws, seed : int
        Of the same seed the first draws are the same, however many follow.
    progress : callable, optional
        Told the share that is done.
    workers : int, optional
        Threads; as many as processors where not given. They change no number.

    Raises
    ------
    InputError
        Where the errors' correlation length is too long for the grid.
    """
    plan = _planned(terrain, options, figure_height_m, error_sizes)
    counts = np.zeros((len(options), *plan.part.ground.z.shape), np.int64)
    held_m2 = np.empty((draws, len(options)))
    shares = np.empty((draws, len(options)))
    guard = threading.Lock()
    n_units = sum(len(option.detectors) for option in options)
    seeds = [own.spawn(1 + n_units) for own in np.random.SeedSequence(seed).spawn(draws)]

    def one(k: int) -> None:
        maps = _held_in_draw(plan, seeds[k])
        for n, held in enumerate(maps):
            held_m2[k, n] = _summed(plan.weight, held) * terrain.ground.cell_m**2
            shares[k, n] = _summed(plan.count, held)
        with guard:
            np.add(counts, maps, out=counts)

    # The kernels let go of the interpreter: threads share the ground, and need no second start of Python.
    pool = ThreadPoolExecutor(workers or os.cpu_count() or 1, thread_name_prefix="uncertainty")
    try:
        for done, _ in enumerate(pool.map(one, range(draws)), 1):
            if progress is not None:
                progress(done / draws)
    finally:
        # Interrupted, what has begun ends within a moment; nothing more is begun.
        pool.shutdown(wait=True, cancel_futures=True)
    return _summary(terrain, options, plan, counts, held_m2, shares, seed)


def _planned(
    terrain: Terrain, options: tuple[OptionResult, ...], figure_height_m: float, error_sizes: ErrorSizes
) -> _Plan:
    units = [unit for option in options for unit in option.detectors]
    part, rows, columns = part_around(terrain, units)
    solids = finely(terrain.solids, max(_FOLLOWING * error_sizes.correlation_m, terrain.ground.cell_m))
    weight = protected_weight(terrain.ground, terrain.protect)
    count = protected_count(terrain)
    if not terrain.protect:
        weight = np.ones_like(weight)
    return _Plan(
        replace(part, solids=solids),
        rows,
        columns,
        options,
        field_law(part.ground, error_sizes.ground_m, error_sizes.correlation_m),
        error_sizes,
        figure_height_m,
        weight[rows, columns],
        count[rows, columns],
    )


def protected_count(terrain: Terrain) -> Floats:
    """(ny, nx) in how many protected areas each cell lies: plain ground, as shares are told."""
    count = np.zeros(terrain.ground.z.shape)
    for area in terrain.protect:
        count += cells_within(terrain.ground, area)
    return count


def part_around(terrain: Terrain, units: list[Detector]) -> tuple[Terrain, slice, slice]:
    """The part of a site that lies in reach of the units; elsewhere nothing is ever held."""
    ground = terrain.ground
    reach = [unit.type.reach_m + _MARGIN_CELLS * ground.cell_m for unit in units]
    spans = []
    for at, start, n in (
        ([unit.x for unit in units], ground.x0, ground.z.shape[1]),
        ([unit.y for unit in units], ground.y0, ground.z.shape[0]),
    ):
        low = min((a - r for a, r in zip(at, reach, strict=True)), default=start)
        high = max((a + r for a, r in zip(at, reach, strict=True)), default=start)
        first = min(max(int((low - start) / ground.cell_m), 0), n - 2)
        last = max(min(int((high - start) / ground.cell_m) + 2, n), first + 2)
        spans.append(slice(first, last))
    columns, rows = spans
    x0, y0 = ground.x0 + columns.start * ground.cell_m, ground.y0 + rows.start * ground.cell_m
    part = Ground(x0, y0, ground.cell_m, ground.z[rows, columns].copy(), ground.filled[rows, columns])
    return replace(terrain, ground=part), rows, columns


def _held_in_draw(plan: _Plan, seeds: list[np.random.SeedSequence]) -> list[Mask]:
    """What each option holds in one draw, on the part of the ground that matters."""
    ground_seed, *unit_seeds = seeds
    site = moved(plan.part, draw_field(plan.law, np.random.default_rng(ground_seed)))
    own_seeds = iter(unit_seeds)
    maps = []
    for option in plan.options:
        codes = []
        for unit in option.detectors:
            actual = fixed_by_hand(
                site.ground, unit, plan.error_sizes, np.random.default_rng(next(own_seeds))
            )
            ahead = replace(site, ground=looked_at(site.ground, actual))
            codes.append(sighted(ahead, actual).verdicts(site.ground, plan.figure_height_m))
        maps.append(combined(codes, option.combine) == Verdict.BOTH)
    return maps


def fixed_by_hand(
    ground: Ground, unit: Detector, error_sizes: ErrorSizes, rng: np.random.Generator
) -> Detector:
    """A unit as it may come to hang: its errors in height, bearing, tilt and roll, on the ground given."""
    height, bearing, tilt, roll = rng.standard_normal(4) * (
        error_sizes.height_m,
        error_sizes.bearing_deg,
        error_sizes.tilt_deg,
        error_sizes.tilt_deg,
    )
    return replace(
        unit,
        ground_z=eye_over(ground, unit.x, unit.y, 0.0)[2],
        height_m=max(unit.height_m + float(height), min(unit.height_m, LOWEST_M)),
        bearing_deg=(unit.bearing_deg + float(bearing)) % 360,
        tilt_deg=tilted_within(unit.tilt_deg + float(tilt)),
        roll_deg=tilted_within(unit.roll_deg + float(roll)),
    )


def tilted_within(angle_deg: float) -> float:
    return min(max(angle_deg, -MOST_TILT_DEG), MOST_TILT_DEG)


def _summed(weight: Floats, held: Mask) -> float:
    return float(weight[held].sum())


def _summary(
    terrain: Terrain,
    options: tuple[OptionResult, ...],
    plan: _Plan,
    counts: NDArray[np.int64],
    held_m2: Floats,
    held_cells: Floats,
    seed: int,
) -> Uncertainty:
    draws = len(held_m2)
    order = np.argsort(-held_m2.round(6), axis=1, kind="stable")
    names = [option.name for option in options]
    plain = [names.index(option.name) for option in ranked(options)]
    whole = all_protected_m2(terrain.ground, terrain.protect) / terrain.ground.cell_m**2
    results = []
    for n, option in enumerate(options):
        chance = np.where(terrain.ground.known, np.float32(0), np.float32(np.nan))
        part = chance[plan.rows, plan.columns]
        part[...] = np.where(np.isnan(part), part, (counts[n] / draws).astype(np.float32))
        results.append(
            OptionUncertainty(
                option.name,
                chance,
                held_m2[:, n].copy(),
                held_cells[:, n] / whole if whole > 0 else None,
                float((order[:, 0] == n).mean()),
            )
        )
    return Uncertainty(
        tuple(results),
        plan.error_sizes,
        draws,
        seed,
        tuple(names[n] for n in plain),
        float((order == plain).all(axis=1).mean()),
        float((order[:, 0] == plain[0]).mean()),
    )

"""Why a layer is not broken: one cause for each layer and cell, over the whole ground."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BROKEN,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    LANDS_SHORT,
    MOVES_ACROSS,
    NO_TAKER,
    NOT_REACHED,
    OUTSIDE_ARC,
    PASSES_ABOVE,
)
from terrain3d.cover.verdict import Codes
from terrain3d.detector.pose import Arc, Detector, head_axes, posed_heads
from terrain3d.detector.types import MICROWAVE
from terrain3d.terrain import Ground
from terrain3d.units import Floats

#: Keys of the causes, as `results.json` has them.
CAUSE_KEYS = {
    BY_FOLIAGE: "hidden by foliage",
    BY_SOLID: "hidden by a solid",
    BY_GROUND: "hidden by ground",
    PASSES_ABOVE: "passes above the figure",
    LANDS_SHORT: "lands short",
    CLOSE_IN: "below the layer",
    BEYOND: "beyond range",
    OUTSIDE_ARC: "outside arc",
    NOT_REACHED: "microwave does not reach",
    MOVES_ACROSS: "moves across",
}
#: Those that say no more than where the unit was pointed.
ELSEWHERE = (CAUSE_KEYS[OUTSIDE_ARC], CAUSE_KEYS[BEYOND])

#: In place of an outcome, on ground that is not known.
NO_OUTCOME = 255

LayerOutcomes = dict[str, NDArray[np.uint8]]


@dataclass(frozen=True, eq=False)
class LayerMaps:
    """What became of each layer over the whole ground, by the layer's name.

    Parameters
    ----------
    outcomes : dict of str to (ny, nx) uint8
        Codes of `layer_outcomes`; NO_OUTCOME where no ground is known.
    takers : dict of str to (ny, nx) int32
        The solid or foliage that takes it, by its place in `taker_names`; NO_TAKER for none.
    """

    outcomes: LayerOutcomes
    takers: dict[str, NDArray[np.int32]]


def combined_outcomes(units: list[LayerMaps], verdicts: list[Codes], combine: str) -> LayerMaps:
    """One outcome a layer for several units: those of the unit that decides a cell's verdict.

    Under `any` that is the unit with the best verdict, under `all` the one with the worst; of equals
    the one that comes nearer to success, or farther from it. Taking each layer from another unit would
    leave ground that no single unit holds without a cause.

    Parameters
    ----------
    units : list of LayerMaps
    verdicts : list of (ny, nx) uint8
        Of the same units.
    combine : {"any", "all"}
    """
    if len(units) == 1:
        return units[0]
    names = list(dict.fromkeys(name for maps in units for name in maps.outcomes))
    shape = verdicts[0].shape
    # A unit without some layer has nothing to say of it, as if it looked elsewhere.
    elsewhere, nobody = np.full(shape, OUTSIDE_ARC, np.uint8), np.full(shape, NO_TAKER, np.int32)
    outcomes = {name: np.stack([maps.outcomes.get(name, elsewhere) for maps in units]) for name in names}
    takers = {name: np.stack([maps.takers.get(name, nobody) for maps in units]) for name in names}
    misses = sum(np.where(stack == NOT_REACHED, 1, stack).astype(np.int32) for stack in outcomes.values())
    score = 10_000 * np.stack(verdicts).astype(np.int32) - misses
    chosen = (score.argmin(axis=0) if combine == "all" else score.argmax(axis=0))[None]
    return LayerMaps(
        {name: np.take_along_axis(stack, chosen, axis=0)[0] for name, stack in outcomes.items()},
        {name: np.take_along_axis(stack, chosen, axis=0)[0] for name, stack in takers.items()},
    )


def cause_areas(
    maps: LayerOutcomes, cell_m2: float, where: NDArray[np.bool_] | Literal[True] = True
) -> dict[str, dict[str, float]]:
    """Square metres by layer and cause.

    Parameters
    ----------
    maps : LayerOutcomes
    cell_m2 : float
        Area of a cell.
    where : (ny, nx) bool, or True
        Cells that count.
    """
    areas = {}
    for name, outcomes in maps.items():
        counts = np.bincount(outcomes[np.broadcast_to(where, outcomes.shape)], minlength=NO_OUTCOME + 1)
        areas[name] = {
            cause: float(counts[code]) * cell_m2 for code, cause in CAUSE_KEYS.items() if counts[code] > 0
        }
    return areas


def reach_areas(maps: LayerOutcomes, cell_m2: float) -> dict[str, tuple[float, float]]:
    """Square metres by layer: within the arc and range of a unit, and of that where the layer is broken.

    >>> reach_areas({"upper": np.array([BROKEN, BROKEN, OUTSIDE_ARC, BEYOND], np.uint8)}, 0.25)
    {'upper': (0.5, 0.5)}
    """
    told = {}
    for name, causes in cause_areas(maps, cell_m2).items():
        broken_m2 = float(np.count_nonzero(maps[name] == BROKEN)) * cell_m2
        told[name] = (
            broken_m2 + sum(m2 for cause, m2 in causes.items() if cause not in ELSEWHERE),
            broken_m2,
        )
    return told


def blamed(maps: LayerOutcomes, name: str) -> NDArray[np.bool_] | Literal[True]:
    """Where a layer may be blamed for ground not held: the microwave only where all layers are broken."""
    if name != MICROWAVE:
        return True
    layers = [outcomes == BROKEN for layer, outcomes in maps.items() if layer != MICROWAVE]
    return np.asarray(np.logical_and.reduce(layers))


def taken_areas(maps: LayerMaps, names: tuple[str, ...], cell_m2: float) -> dict[str, dict[str, float]]:
    """Square metres by layer and by the name of the solid or foliage that takes it; most first.

    Parameters
    ----------
    maps : LayerMaps
    names : tuple of str
        Those of `taker_names`; things of one name count together.
    cell_m2 : float
        Area of a cell.
    """
    areas: dict[str, dict[str, float]] = {}
    for layer, takers in maps.takers.items():
        counts = np.bincount(takers[takers != NO_TAKER], minlength=len(names))
        by_name: dict[str, float] = {}
        for name, count in zip(names, counts.tolist(), strict=True):
            if count:
                by_name[name] = by_name.get(name, 0.0) + count * cell_m2
        areas[layer] = dict(sorted(by_name.items(), key=lambda item: (-item[1], item[0])))
    return areas


def deciding(maps: LayerMaps) -> tuple[NDArray[np.int64], NDArray[np.uint8], NDArray[np.int32]]:
    """The one layer that keeps each cell from being held: of those not broken the one farthest from success.

    What a hedge takes would not be held without it as long as another layer looks elsewhere. The microwave
    counts where all layers are broken.

    Parameters
    ----------
    maps : LayerMaps
        Of one layer at least.

    Returns
    -------
    layer : (ny, nx) int64
        By its place in `maps.outcomes`.
    outcome : (ny, nx) uint8
        What became of it: BROKEN where every layer is, NO_OUTCOME where no ground is known.
    taker : (ny, nx) int32
        The thing that takes it, by its place in `taker_names`; NO_TAKER for none.
    """
    # BROKEN is what no cell is charged to.
    outcomes = np.stack(
        [np.where(blamed(maps.outcomes, layer), own, BROKEN) for layer, own in maps.outcomes.items()]
    ).astype(np.uint8)
    takers = np.stack([maps.takers[layer] for layer in maps.outcomes])
    farthest = outcomes.argmax(axis=0)
    outcome, taker = (np.take_along_axis(rows, farthest[None], axis=0)[0] for rows in (outcomes, takers))
    return farthest, outcome, taker


@dataclass(frozen=True)
class Loss:
    """Ground that is not held, m2, the cause that keeps it so, and the thing where it has a name."""

    cause: str
    name: str | None
    area_m2: float


def losses(
    maps: LayerMaps, names: tuple[str, ...], cell_m2: float, where: NDArray[np.bool_]
) -> tuple[Loss, ...]:
    """What keeps ground from being held, each cell once, most first.

    The layer that counts is that of `deciding`.

    Parameters
    ----------
    maps : LayerMaps
    names : tuple of str
        Those of `taker_names`.
    cell_m2 : float
        Area of a cell.
    where : (ny, nx) bool
        The ground in question; cells that are not known or on which every layer is broken are left out.
    """
    if not maps.outcomes or not where.any():
        return ()
    code, taker = (values[where] for values in deciding(maps)[1:])
    kept = (code != NO_OUTCOME) & (code != BROKEN)
    # A code and a thing as one number: places start at NO_TAKER.
    width = len(names) + 1
    # In eight bits the product of the two would run over from some twenty things on.
    counts = np.bincount(code[kept].astype(np.intp) * width + taker[kept] - NO_TAKER)
    found: dict[tuple[str, str | None], float] = {}
    for both in np.flatnonzero(counts).tolist():
        outcome, place = both // width, both % width + NO_TAKER
        what = CAUSE_KEYS[outcome], None if place == NO_TAKER else names[place]
        found[what] = found.get(what, 0.0) + float(counts[both]) * cell_m2
    most_first = sorted(found.items(), key=lambda item: (-item[1], item[0][0], item[0][1] or ""))
    return tuple(Loss(cause, name, area) for (cause, name), area in most_first)


def outcomes_beyond_reach(ground: Ground, unit: Detector) -> NDArray[np.uint8]:
    """(ny, nx) uint8: cells out of a unit's reach, within one of its arcs, at the horizon, or not."""
    heads = [(head.right, head.forward, head.open_deg) for head in posed_heads(unit)]
    return _beyond_reach(ground, unit, heads)


def microwave_beyond_reach(ground: Ground, unit: Detector) -> NDArray[np.uint8]:
    """The same of a unit's microwave."""
    assert unit.type.microwave is not None
    right, forward, _ = head_axes(unit.bearing_deg, unit.tilt_deg, unit.roll_deg)
    half = unit.type.microwave.arc / 2
    return _beyond_reach(ground, unit, [(right, forward, ((-half, half),))])


def _beyond_reach(
    ground: Ground, unit: Detector, senses: list[tuple[Floats, Floats, tuple[Arc, ...]]]
) -> NDArray[np.uint8]:
    """Of senses, each with its right and forward axes and its arcs."""
    dx, dy = ground.xs - unit.x, (ground.ys - unit.y)[:, None]
    in_any_arc = np.zeros(ground.z.shape, bool)
    for right, forward, arcs in senses:
        azimuth = np.arctan2(dx * right[0] + dy * right[1], dx * forward[0] + dy * forward[1])
        for low, high in arcs:
            in_any_arc |= np.abs(azimuth - np.radians((low + high) / 2)) <= np.radians((high - low) / 2)
    outcomes = np.where(in_any_arc, np.uint8(BEYOND), np.uint8(OUTSIDE_ARC))
    outcomes[~ground.known] = NO_OUTCOME
    return outcomes

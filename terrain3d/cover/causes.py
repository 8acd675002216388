"""Why a layer is not broken: one cause for each layer and cell, over the whole ground."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    LANDS_SHORT,
    OUTSIDE_ARC,
    PASSES_ABOVE,
)
from terrain3d.cover.verdict import Codes
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.terrain import Ground

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
}
#: Those that say no more than where the unit was pointed.
ELSEWHERE = (CAUSE_KEYS[OUTSIDE_ARC], CAUSE_KEYS[BEYOND])

#: In place of an outcome, on ground that is not known.
NO_OUTCOME = 255

LayerOutcomes = dict[str, NDArray[np.uint8]]


def combined_outcomes(units: list[LayerOutcomes], verdicts: list[Codes], combine: str) -> LayerOutcomes:
    """One outcome a layer for several units: those of the unit that decides a cell's verdict.

    Under `any` that is the unit with the best verdict, under `all` the one with the worst; of equals
    the one that comes nearer to success, or farther from it. Taking each layer from another unit would
    leave ground that no single unit holds without a cause.

    Parameters
    ----------
    units : list of LayerOutcomes
    verdicts : list of (ny, nx) uint8
        Of the same units.
    combine : {"any", "all"}
    """
    names = list(dict.fromkeys(name for maps in units for name in maps))
    shape = verdicts[0].shape
    # A unit without some layer has nothing to say of it, as if it looked elsewhere.
    elsewhere = np.full(shape, OUTSIDE_ARC, np.uint8)
    stacked = {name: np.stack([maps.get(name, elsewhere) for maps in units]) for name in names}
    misses = sum(stack.astype(np.int32) for stack in stacked.values())
    score = 10_000 * np.stack(verdicts).astype(np.int32) - misses
    chosen = (score.argmin(axis=0) if combine == "all" else score.argmax(axis=0))[None]
    return {name: np.take_along_axis(stack, chosen, axis=0)[0] for name, stack in stacked.items()}


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


def outcomes_beyond_reach(ground: Ground, unit: Detector) -> NDArray[np.uint8]:
    """(ny, nx) uint8: cells out of a unit's reach, within one of its arcs, at the horizon, or not."""
    dx, dy = ground.xs - unit.x, (ground.ys - unit.y)[:, None]
    in_any_arc = np.zeros(ground.z.shape, bool)
    for head in posed_heads(unit):
        side, ahead = dx * head.right[0] + dy * head.right[1], dx * head.forward[0] + dy * head.forward[1]
        in_any_arc |= np.abs(np.arctan2(side, ahead)) <= np.radians(head.arc_deg / 2)
    outcomes = np.where(in_any_arc, np.uint8(BEYOND), np.uint8(OUTSIDE_ARC))
    outcomes[~ground.known] = NO_OUTCOME
    return outcomes

"""Why one option is better: whom it is held against, and what costs those most of what it holds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.causes import CAUSE_KEYS, blamed
from terrain3d.cover.layer_outcomes import NO_TAKER
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.ranking.compare import held_m2
from terrain3d.units import Floats


@dataclass(frozen=True)
class Reason:
    """What costs an option most of the ground that the best one holds and it does not.

    `of_m2` is all the ground that the best holds and it does not, of that `lost_m2` is what the cause takes;
    plain ground, both. `layer`, `cause`, `lost_m2` and `of_m2` are None where it holds as much, or no cause
    takes half a square metre. `name` is that of the drawn solid or foliage that takes most of that ground,
    None where none takes half of it.
    """

    option: str
    layer: str | None = None
    cause: str | None = None
    lost_m2: float | None = None
    name: str | None = None
    of_m2: float | None = None


def reasons(options: tuple[OptionResult, ...], weight: Floats, cell_m2: float) -> tuple[Reason, ...]:
    """Why the first of several ranked options wins: a reason for each of its `rivals`.

    Names the cause that costs a rival most of the ground that the winner holds and it does not.

    Parameters
    ----------
    options : tuple of OptionResult
        Best first.
    weight : (ny, nx) float
        Weight of each cell as protected ground; where nothing is protected, all ground counts.
    cell_m2 : float
        Area of a cell.
    """
    against = rivals(options)
    if not against:
        return ()
    counts = weight if weight.any() else np.ones(options[0].verdicts.shape)
    return tuple(_reason(options[0], rival, counts, cell_m2) for rival in against)


def rivals(options: tuple[OptionResult, ...]) -> list[OptionResult]:
    """The runner-up; where it stands on the winner's mounts, the best of those that do not as well.

    Whoever chooses between poles wants the other pole named, even where it comes third.
    """
    if len(options) < 2:
        return []
    best, runner_up, *others = options
    if _mounts(runner_up) != _mounts(best):
        return [runner_up]
    return [runner_up, *[other for other in others if _mounts(other) != _mounts(best)][:1]]


def _mounts(option: OptionResult) -> set[str]:
    return {unit.mount for unit in option.detectors}


def _reason(best: OptionResult, other: OptionResult, counts: Floats, cell_m2: float) -> Reason:
    loss = None if holds_as_much(best, other) else _heaviest_loss(best, other, counts, cell_m2)
    return Reason(other.name) if loss is None else Reason(other.name, *loss)


def holds_as_much(best: OptionResult, other: OptionResult) -> bool:
    """Whether what two options are ranked by is the same."""
    return abs(held_m2(best) - held_m2(other)) < 1e-6


def holds_at_least(one: OptionResult, other: OptionResult) -> bool:
    """Whether one holds as much as another or more."""
    return held_m2(one) > held_m2(other) - 1e-6


def _heaviest_loss(
    best: OptionResult, other: OptionResult, counts: Floats, cell_m2: float
) -> tuple[str, str, float, str | None, float] | None:
    """Of ground that `best` alone holds: layer, cause, m2 and thing of what takes most; all."""
    lost = (best.verdicts == Verdict.BOTH) & (other.verdicts != Verdict.BOTH) & (counts > 0)
    losses = []
    for layer, outcomes in other.layer_outcomes.items():
        may = lost & blamed(other.layer_outcomes, layer)
        for code, cause in CAUSE_KEYS.items():
            where = may & (outcomes == code)
            if where.any():
                losses.append((float(counts[where].sum()), layer, cause, where))
    if not losses:
        return None
    _, layer, cause, where = max(losses, key=lambda loss: loss[:3])
    area = float(where.sum()) * cell_m2
    if area < 0.5:
        return None
    return layer, cause, area, _main_thing(other, layer, where), float(lost.sum()) * cell_m2


def _main_thing(option: OptionResult, layer: str, where: NDArray[np.bool_]) -> str | None:
    """The drawn thing that takes half of a layer or more on some cells."""
    if layer not in option.layer_takers:
        return None
    takers = option.layer_takers[layer][where]
    found = takers[takers != NO_TAKER]
    if not len(found):
        return None
    counts = np.bincount(found)
    most = int(counts.argmax())
    return option.things[most] or None if 2 * counts[most] >= len(takers) else None

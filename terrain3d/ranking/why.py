"""The sentence that says why one option is better, in words a client understands."""

from dataclasses import dataclass

import numpy as np

from terrain3d.cover.causes import CAUSE_WORDS
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.ranking.compare import held_m2, held_share, weighted_share
from terrain3d.units import Floats

#: How each cause reads in a sentence.
_TELLING = {
    "hidden by foliage": "foliage hides {area} of that ground from its {layer} layer",
    "hidden by a solid": "walls or buildings hide {area} of that ground from its {layer} layer",
    "hidden by ground": "the ground itself hides {area} of that ground from its {layer} layer",
    "passes above the figure": "its {layer} layer passes over a {figure} on {area} of that ground",
    "lands short": "its {layer} layer meets the ground before {area} of that ground",
    "below the layer": "its {layer} layer passes over {area} of that ground, close to the unit",
    "beyond range": "{area} of that ground lie beyond its range",
    "outside arc": "{area} of that ground lie outside its arc",
}


@dataclass(frozen=True)
class Reason:
    """What costs an option most of the ground that the best one holds and it does not.

    `layer`, `cause` and `lost_m2`, plain ground, are None where it holds as much, or no cause takes half
    a square metre.
    """

    option: str
    layer: str | None = None
    cause: str | None = None
    lost_m2: float | None = None


def reasons(options: tuple[OptionResult, ...], weight: Floats, cell_m2: float) -> tuple[Reason, ...]:
    """What the sentence of `why` is made of, in its order; its parameters."""
    rivals = _rivals(options)
    if not rivals:
        return ()
    counts = weight if weight.any() else np.ones(options[0].verdicts.shape)
    return tuple(_reason(options[0], rival, counts, cell_m2) for rival in rivals)


def why(options: tuple[OptionResult, ...], figure: str, weight: Floats, cell_m2: float) -> str:
    """Why the first of several ranked options wins.

    Names the cause that costs the runner-up most of the ground that the winner holds and it does
    not; where the runner-up stands on the same mounts, the best option from other mounts as well.

    Parameters
    ----------
    options : tuple of OptionResult
        Best first.
    figure : str
        Name of the figure the verdicts are for.
    weight : (ny, nx) float
        Weight of each cell as protected ground; where nothing is protected, all ground counts.
    cell_m2 : float
        Area of a cell.
    """
    return why_words(options, figure, reasons(options, weight, cell_m2))


def why_words(options: tuple[OptionResult, ...], figure: str, found: tuple[Reason, ...]) -> str:
    """The sentence of `why`, of reasons that `reasons` has found for these options."""
    if not options:
        return "There is no option to compare."
    best = options[0]
    ground = "protected ground" if best.protect else "ground"
    text = f'Option "{best.name}" holds {_amount(best)} of the {ground} with both layers'
    against = [
        _against(best, rival, reason, figure) for rival, reason in zip(_rivals(options), found, strict=True)
    ]
    if not against:
        return f"{text}."
    elsewhere = [f" From other mounts the best is this: {told}." for told in against[1:]]
    return "".join([text, f"; {against[0]}.", *elsewhere])


def _rivals(options: tuple[OptionResult, ...]) -> list[OptionResult]:
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
    loss = None if _equal(best, other) else _heaviest_loss(best, other, counts, cell_m2)
    return Reason(other.name) if loss is None else Reason(other.name, *loss)


def _against(best: OptionResult, other: OptionResult, reason: Reason, figure: str) -> str:
    """What another option holds, and the cause that costs it most."""
    if _equal(best, other):
        return f'"{other.name}" holds as much'
    text = f'"{other.name}" holds {_amount(other)}'
    if reason.cause is None:
        return text
    telling = _TELLING[reason.cause].format(
        area=f"{reason.lost_m2:.0f} m2", layer=reason.layer, figure=figure
    )
    return f"{text}, because {telling}"


def _equal(best: OptionResult, other: OptionResult) -> bool:
    return abs(held_m2(best) - held_m2(other)) < 1e-6


def _amount(option: OptionResult) -> str:
    share, weighted = held_share(option), weighted_share(option)
    if share is None:
        return f"{held_m2(option):.0f} m2"
    return f"{share:.0%}" if weighted is None else f"{share:.0%} ({weighted:.0%} by weight)"


def _heaviest_loss(
    best: OptionResult, other: OptionResult, counts: Floats, cell_m2: float
) -> tuple[str, str, float] | None:
    """Of the ground that `best` holds and `other` does not: the layer and cause that take most, in m2."""
    lost = (best.verdicts == Verdict.BOTH) & (other.verdicts != Verdict.BOTH) & (counts > 0)
    losses = []
    for layer, outcomes in other.layer_outcomes.items():
        for code, cause in CAUSE_WORDS.items():
            where = lost & (outcomes == code)
            if where.any():
                losses.append((float(counts[where].sum()), layer, cause, float(where.sum()) * cell_m2))
    if not losses:
        return None
    _, layer, cause, area = max(losses, key=lambda loss: loss[0])
    return (layer, cause, area) if area >= 0.5 else None

"""The sentence that says why one option is better, in words a client understands."""

import numpy as np

from terrain3d.choose.compare import held_m2, held_share, weighted_share
from terrain3d.cover.causes import CAUSE_WORDS
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
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
    if not options:
        return "There is no option to compare."
    best, *others = options
    counts = weight if weight.any() else np.ones(best.verdicts.shape)
    ground = "protected ground" if best.protect else "ground"
    text = f'Option "{best.name}" holds {_amount(best)} of the {ground} with both layers'
    if not others:
        return f"{text}."
    text += f"; {_against(best, others[0], figure, counts, cell_m2)}."
    # Whoever chooses between poles wants the other pole named, even where it comes third.
    if _mounts(others[0]) == _mounts(best):
        elsewhere = next((other for other in others if _mounts(other) != _mounts(best)), None)
        if elsewhere is not None:
            text += (
                f" From other mounts the best is this: {_against(best, elsewhere, figure, counts, cell_m2)}."
            )
    return text


def _mounts(option: OptionResult) -> set[str]:
    return {unit.mount for unit in option.detectors}


def _against(best: OptionResult, other: OptionResult, figure: str, counts: Floats, cell_m2: float) -> str:
    """What another option holds, and the cause that costs it most."""
    if abs(held_m2(best) - held_m2(other)) < 1e-6:
        return f'"{other.name}" holds as much'
    text = f'"{other.name}" holds {_amount(other)}'
    loss = _heaviest_loss(best, other, counts, cell_m2)
    if loss is None:
        return text
    layer, cause, area = loss
    telling = _TELLING[cause].format(area=f"{area:.0f} m2", layer=layer, figure=figure)
    return f"{text}, because {telling}"


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
    for layer, fates in other.fates.items():
        for code, cause in CAUSE_WORDS.items():
            where = lost & (fates == code)
            if where.any():
                losses.append((float(counts[where].sum()), layer, cause, float(where.sum()) * cell_m2))
    if not losses:
        return None
    _, layer, cause, area = max(losses, key=lambda loss: loss[0])
    return (layer, cause, area) if area >= 0.5 else None

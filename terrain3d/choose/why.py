"""The sentence that says why one option is better, in words a client understands."""

from terrain3d.choose.compare import held_m2, held_share
from terrain3d.cover.option import OptionResult

#: How each cause reads in a sentence, of the layer named before it.
_TELLING = {
    "hidden by foliage": "is hidden by foliage",
    "hidden by a solid": "is hidden by a wall or building",
    "hidden by ground": "is hidden by the ground itself",
    "passes above the figure": "passes over a {figure}",
    "lands short": "meets the ground too early",
    "below the layer": "passes over what is close to the unit",
    "beyond range": "does not reach so far",
    "outside arc": "looks elsewhere",
}


def why(options: tuple[OptionResult, ...], figure: str) -> str:
    """Why the first of several ranked options wins.

    Names the cause that costs the runner-up most compared with the winner; where the runner-up stands
    on the same mounts, the best option from other mounts as well.

    Parameters
    ----------
    options : tuple of OptionResult
        Best first.
    figure : str
        Name of the figure the verdicts are for.
    """
    if not options:
        return "There is no option to compare."
    best, *others = options
    ground = "protected ground" if best.protect else "ground"
    text = f'Option "{best.name}" holds {_amount(best)} of the {ground} with both layers'
    if not others:
        return f"{text}."
    text += f"; {_against(best, others[0], figure)}."
    # Whoever chooses between poles wants the other pole named, even where it comes third.
    if _mounts(others[0]) == _mounts(best):
        elsewhere = next((other for other in others if _mounts(other) != _mounts(best)), None)
        if elsewhere is not None:
            text += f" From other mounts the best is this: {_against(best, elsewhere, figure)}."
    return text


def _mounts(option: OptionResult) -> set[str]:
    return {unit.mount for unit in option.detectors}


def _against(best: OptionResult, other: OptionResult, figure: str) -> str:
    """What another option holds, and the cause that costs it most."""
    if abs(held_m2(best) - held_m2(other)) < 1e-6:
        return f'"{other.name}" holds as much'
    text = f'"{other.name}" holds {_amount(other)}'
    loss = _heaviest_loss(best, other)
    if loss is None:
        return text
    layer, cause, area = loss
    telling = _TELLING[cause].replace("{figure}", figure)
    return f"{text}, because its {layer} layer {telling} on {area:.0f} m2 more"


def _amount(option: OptionResult) -> str:
    share = held_share(option)
    return f"{held_m2(option):.0f} m2" if share is None else f"{share:.0%}"


def _heaviest_loss(best: OptionResult, other: OptionResult) -> tuple[str, str, float] | None:
    """The layer and cause that cost `other` most beyond what they cost `best`, and the ground in m2."""
    if not best.protect:
        more = _beyond(other.causes, best.causes)
        heaviest = more
    else:
        more = _beyond(other.lost_m2, best.lost_m2)
        heaviest = _beyond(other.lost_weighted_m2, best.lost_weighted_m2)
    if not heaviest:
        return None
    layer, cause = max(heaviest, key=lambda key: heaviest[key])
    area = more[layer, cause]
    return (layer, cause, area) if area >= 0.5 else None


def _beyond(
    these: dict[str, dict[str, float]], those: dict[str, dict[str, float]]
) -> dict[tuple[str, str], float]:
    """How much more each layer and cause counts in these areas than in those."""
    return {
        (layer, cause): area - those.get(layer, {}).get(cause, 0.0)
        for layer, causes in these.items()
        for cause, area in causes.items()
    }

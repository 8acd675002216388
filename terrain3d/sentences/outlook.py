"""What a unit sees, and what becomes of its layers on their way."""

from terrain3d.cover.layer_shares import LayerShares
from terrain3d.detector.pose import PosedLayer
from terrain3d.lengths import given, span
from terrain3d.sentences.words import capital, tilt_words
from terrain3d.walk.along import LayerOver

#: A solid is named where it is at least this much of all that is met, and alone where it is nearly all.
_MOSTLY, _ALONE = 0.6, 0.99
#: Shares too small to be told.
_TRIFLE = 0.005


def outlook_sentence(shares: tuple[LayerShares, ...], names: tuple[str, ...] = ()) -> str:
    """What to take from the picture: what becomes of each layer on its way; `names` are the solids'.

    >>> outlook_sentence((LayerShares("upper", 0.3, 0.5, 0.0, 0.2, 0, 0.4),), ("shed", "wall"))
    'Of the upper layer 30% meets the ground, 50% meets solids, 20% runs on past its range.'
    """
    return f"{capital('; '.join(_layer_clause(own, names) for own in shares))}."


def _layer_clause(own: LayerShares, names: tuple[str, ...]) -> str:
    told = [
        f"{share:.0%} {what}"
        for share, what in (
            (own.ground, "meets the ground"),
            (own.solids, f"meets {_solid_words(own, names)}"),
            (own.leaves, "is taken by leaves"),
            (own.past, "runs on past its range"),
        )
        if share >= _TRIFLE
    ]
    return f"of the {own.layer} layer {', '.join(told)}"


def _solid_words(own: LayerShares, names: tuple[str, ...]) -> str:
    """The solids that are met: by name where it is one alone, or one for the most part."""
    if own.solid is None or own.solid_share < _MOSTLY:
        return "solids"
    name = f'"{names[own.solid]}"'
    return name if own.solid_share > _ALONE else f"solids, mostly {name}"


def layer_words(layer: PosedLayer, elevation_deg: float) -> str:
    """A layer as the unit is set: where its axis points, and how thick it is."""
    return f"{layer.name}: axis {tilt_words(elevation_deg)}, {layer.thickness_deg:g}° thick"


def figure_lines(away_m: float, layers: tuple[LayerOver, ...], ground_z: float) -> list[str]:
    """What is written at a figure's feet: how far it is, and how high over its ground each layer passes.

    `layers` are those over its one place; of two heads the one that passes there is told.
    """
    told: dict[str, str] = {}
    for layer in layers:
        over = layer.over(0, ground_z)
        if over is not None:
            told.setdefault(layer.layer, f"{layer.layer} {span(*over, 2)}")
    return [f"{given(away_m)} away", *(told.values() or ["no layer passes"])]

"""The colours of the pictures: told apart by colour-blind people, and ordered in grey print.

From the best verdict to the worst the colours grow darker, so a grey print keeps the order; ground
outside a unit's arc and range stays near the paper. The hues (blue, amber, purple, dark red) were
searched for the largest smallest distance under simulated colour blindness; the tests measure it.
"""

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict

Rgb = NDArray[np.uint8]

PAPER = "#ffffff"
INK = "#1d1d1b"
QUIET_INK = "#5d5b57"
HAIRLINE = "#c9c5bb"

VERDICT_COLOURS = {
    Verdict.BOTH: "#66c0e5",
    Verdict.UPPER_ONLY: "#d67f22",
    Verdict.LOWER_ONLY: "#734897",
    Verdict.DEAD: "#680a1a",
    Verdict.OUTSIDE: "#f3f1eb",
}
#: Thin stripes, slanting over dead ground and level over ground of the upper layer alone: a second cue
#: beside the colour, for grey print above all.
UPPER_STRIPE = "#a05a10"
DEAD_STRIPE = "#b0525f"
#: The line around ground held by both layers: where good ends shows without any colour.
BOTH_EDGE = "#124b66"
UNKNOWN_GROUND = "#ffffff"
UNKNOWN_STRIPE = "#b9b5ab"

# A layer's body takes the colour of the ground that it holds alone.
LAYER_COLOURS = {"upper": VERDICT_COLOURS[Verdict.UPPER_ONLY], "lower": VERDICT_COLOURS[Verdict.LOWER_ONLY]}
OTHER_LAYER = "#3f7f6f"
SOLID = "#a39a8b"
SOLID_EDGE = "#4d473e"
FOLIAGE = "#7c9a4c"
FOLIAGE_LIGHT = "#c1d0a7"
FOLIAGE_EDGE = "#4f6a29"
PROTECTED = "#111111"
UNIT = "#111111"
FIGURE = "#2c5d57"
POLE = "#6b6459"
BLOCK_SIDE = "#e4dfd4"
CONTOUR = "#8b8578"


def rgb(colour: str) -> Rgb:
    """A `#rrggbb` colour as three bytes.

    >>> rgb("#66c0e5")
    array([102, 192, 229], dtype=uint8)
    """
    return np.frombuffer(bytes.fromhex(colour.removeprefix("#")), np.uint8)


def mixed(colour: str, share: float) -> str:
    """A colour thinned with paper.

    >>> mixed("#000000", 0.5)
    '#808080'
    """
    mix = share * rgb(colour).astype(float) + (1 - share) * rgb(PAPER)
    return "#" + "".join(f"{round(v + 1e-9):02x}" for v in mix)


def layer_colour(name: str) -> str:
    """The colour of a layer's body; layers of other names share one.

    >>> layer_colour("lower") == VERDICT_COLOURS[Verdict.LOWER_ONLY]
    True
    """
    return LAYER_COLOURS.get(name, OTHER_LAYER)


def verdict_rgb(codes: Codes) -> Rgb:
    """Colour every code of a verdict grid; 255 is ground that is not known.

    Parameters
    ----------
    codes : (ny, nx) uint8

    Returns
    -------
    (ny, nx, 3) uint8

    Examples
    --------
    >>> verdict_rgb(np.array([[4, 255]], np.uint8)).tolist()
    [[[102, 192, 229], [255, 255, 255]]]
    """
    table = np.zeros((256, 3), np.uint8)
    for verdict, colour in VERDICT_COLOURS.items():
        table[verdict] = rgb(colour)
    table[UNKNOWN] = rgb(UNKNOWN_GROUND)
    return table[codes]

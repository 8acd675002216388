"""The colours of the pictures: told apart by colour-blind people, and ordered in grey print.

From the best verdict to the worst the colours grow darker, so a grey print keeps the order; ground
outside a unit's arc and range stays near the paper. The hues (blue, amber, purple, dark red) were
searched for the largest smallest distance under simulated colour blindness; the tests measure it.
"""

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.detector.types import MICROWAVE
from terrain3d.units import Floats

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
DEAD_STRIPE = "#d58a95"
#: The line around ground held by both layers: where good ends shows without any colour.
BOTH_EDGE = "#124b66"
UNKNOWN_GROUND = "#ffffff"
UNKNOWN_STRIPE = "#b9b5ab"
BRIDGED_GROUND = "#e3cfa8"
BRIDGED_STRIPE = "#7a5c2e"

# A layer's body takes the colour of the ground that it holds alone.
LAYER_COLOURS = {
    "upper": VERDICT_COLOURS[Verdict.UPPER_ONLY],
    "lower": VERDICT_COLOURS[Verdict.LOWER_ONLY],
    # The second sense, which holds none alone.
    MICROWAVE: "#320032",
}
OTHER_LAYER = "#3f7f6f"
SOLID = "#a39a8b"
SOLID_EDGE = "#4d473e"
FOLIAGE = "#7c9a4c"
FOLIAGE_EDGE = "#4f6a29"
PROTECTED = "#111111"
UNIT = "#111111"
#: Stripes over what is covered of an arc.
MASKED = "#5d5b57"
FIGURE = "#2c5d57"
#: A much shorter walk, beside the least likely one in the figure's colour.
MUCH_SHORTER = "#bf00e6"
POLE = "#6b6459"
BLOCK_SIDE = "#e4dfd4"
CONTOUR = "#8b8578"
#: Where an alarm is raised: lighter than any verdict, always with a dark rim.
ALARM = "#ffe14d"
#: Ground of animals, from the tallest animal alone to every animal: light to dark, also in grey print.
ANIMAL_SCALE = ("#f7e3a6", "#eeb45c", "#d4732f", "#a33a20", "#560d15")
#: Stripes over ground on which a person who crawls passes unnoticed.
CRAWLING_STRIPE = "#124b66"
#: The upper layer past the boundary, and the line along which it comes down to ground.
SPILT = "#c4331d"
LANDING = "#6b3d12"
BOUNDARY = "#111111"
ROAD = "#8d8f94"
NEIGHBOUR = "#9aa98a"
NUISANCE = "#3a2a7a"
#: How often ground is held, from hardly ever to always: light to dark, also in grey print.
CHANCE_SCALE = ("#f3f1eb", "#cfe3ec", "#93c8e0", "#4d9cc4", "#1f5f8b")
#: How densely ground was measured, from next to nothing on: light to dark, also in grey print.
RETURNS_SCALE = ("#faf8f4", "#e6ebe7", "#ccd8d4", "#abbfbc", "#84a09f")
#: What takes a layer in reach, by its key: a colour for each in `cover.causes` but those `ELSEWHERE`. Any two
#: are told apart by colour-blind people, and from a layer's own ground.
CAUSES = {
    "hidden by foliage": "#6ee614",
    "hidden by a solid": "#461414",
    "hidden by ground": "#be4614",
    "passes above the figure": "#be14e6",
    "lands short": "#14146e",
    "below the layer": "#146e6e",
    # What takes the microwave, which no layer's page shows: told from each other and from its own ground.
    "microwave does not reach": "#0000fa",
    "moves across": "#fa9664",
}
#: Ground that two options hold alike.
HELD_BY_BOTH = "#cfd9c4"
#: Options as lines, best first, beside their dashes.
OPTION_LINES = (BOTH_EDGE, "#c0561f", "#6a4a8c", "#4f7a2a")
#: Contrast weaker than the borrowed condition, and ground on which nothing is held.
WEAK_CONTRAST, NOTHING_HELD = "#e9eef2", "#d9c3c6"
#: A day without a layer in the sun's way: under level, up, hidden near a layer; and near several of them.
SUN_DOWN, SUN_UP, SUN_HIDDEN, SUN_IN_SEVERAL = "#d7dbe2", "#fdfaf0", "#b5ad9f", "#241a20"
#: What a unit sees, from near to far: ground and solids; past its range; and where it meets nothing.
GROUND_BY_DISTANCE, SOLID_BY_DISTANCE = ("#6e675b", "#efece4"), ("#4d3b2f", "#d9bfa6")
PAST_RANGE, SKY = "#faf8f3", "#e6eef3"
#: In the window: what is refused, to be read on paper; what is chosen; a slider, and what a type allows.
REFUSED, CHOSEN, GROOVE, ALLOWED = "#8c1226", "#e4eff4", "#d5d1c7", "#7d9aa8"
#: Tolerances: wider than an ordinary error of fixing, narrower, and that error itself.
TOLERANT = "#4d9cc4"
TIGHT = "#d67f22"
TIGHT_STRIPE = "#8a4d0c"
FIXING_ERROR = "#e3ded3"


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


def animal_colour(rank: int, count: int) -> str:
    """The colour of ground on which the animal of a rank is the lowest to raise the alarm.

    Parameters
    ----------
    rank : int
        0 for the lowest of all animals.
    count : int
        How many animals there are.

    Examples
    --------
    >>> animal_colour(0, 8) == ANIMAL_SCALE[-1], animal_colour(7, 8) == ANIMAL_SCALE[0]
    (True, True)
    >>> animal_colour(0, 1) == ANIMAL_SCALE[-1]
    True
    """
    mix = _on_scale(ANIMAL_SCALE, np.array(1 - rank / max(count - 1, 1)))
    return "#" + "".join(f"{round(v + 1e-9):02x}" for v in mix)


def _on_scale(scale: tuple[str, ...], share: Floats) -> Floats:
    """(..., 3) colours of shares of a scale, from its first colour (0) to its last (1)."""
    colours = np.stack([rgb(colour).astype(float) for colour in scale])
    place = np.clip(share, 0.0, 1.0) * (len(colours) - 1)
    channels = [np.interp(place, np.arange(len(colours)), colours[:, channel]) for channel in range(3)]
    return np.stack(channels, axis=-1)


def chance_rgb(share: Floats) -> Rgb:
    """Colours of how often ground is held.

    Parameters
    ----------
    share : (...,) float
        Of draws, 0 to 1.

    Returns
    -------
    (..., 3) uint8

    Examples
    --------
    >>> chance_rgb(np.array([1.0])).tolist()
    [[31, 95, 139]]
    """
    return np.asarray(_on_scale(CHANCE_SCALE, share) + 0.5, np.uint8)


def piece_colour(kind: str) -> str:
    """The colour of others' ground.

    >>> piece_colour("road") == ROAD, piece_colour("other") == NEIGHBOUR
    (True, True)
    """
    return ROAD if kind == "road" else NEIGHBOUR


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

"""The legend: the one sign of each thing, for plan, section, oblique view, window and all their keys.

Widths are points on a page; dashes are lengths of dash and gap by turns, in widths of the line.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from terrain3d import palette
from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import MICROWAVE
from terrain3d.lengths import given
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.surveys import returns_words
from terrain3d.sentences.verdicts import UNKNOWN_WORDS, VERDICT_WORDS
from terrain3d.show.shapes import contour_levels
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: How strongly a layer covers the paper where nothing dims it.
LAYER_STRENGTH = 0.42


@dataclass(frozen=True)
class Stripe:
    """The second cue of a patch, as the ground has it: a hatch of matplotlib, and its colour."""

    hatch: str = ""
    colour: str = ""

    @property
    def slant(self) -> int:
        """Whether it rises to the left (1), to the right (-1) or lies level (0), as for `drape.stripes`."""
        return {"\\": 1, "/": -1}.get(self.hatch[:1], 0)


@dataclass(frozen=True)
class Mark:
    """What stands at a place: a shape of matplotlib, its size in points, a dot within it of `dot` points."""

    shape: str = "o"
    size: float = 5.5
    fill: str = palette.PAPER
    rim: str = palette.INK
    rim_width: float = 1.0
    dot: float = 0.0

    def looks(self, weight: float = 1.0) -> list[dict[str, Any]]:
        """The mark and its dot as matplotlib's `plot` takes them, `weight` times as large.

        >>> [look["markersize"] for look in Mark(size=8.0, dot=3.0).looks(0.5)]
        [4.0, 1.5]
        """
        looks = [(self.shape, self.size, self.fill, self.rim_width)]
        if self.dot:
            looks.append(("o", self.dot, self.rim, 0.0))
        return [
            {"marker": shape, "markersize": size * weight, "markerfacecolor": fill,
             "markeredgecolor": self.rim, "markeredgewidth": width * weight, "linestyle": ""}
            for shape, size, fill, width in looks
        ]  # fmt: skip


@dataclass(frozen=True)
class Sign:
    """How a thing is shown, and its word: a patch where `fill` names a colour, else a line, a mark, or both.

    `line` is the colour of the line or of the patch's edge; without a width there is a mark alone. A patch
    covers what is under it by `strength`, 0 to 1. `key_dashes` are closer together where a key is too short
    for `dashes`. In a scene the line is `scene_px` wide, its dashes and gaps `scene_m` metres long.
    """

    text: str
    fill: str = ""
    line: str = palette.INK
    width: float = 1.0
    dashes: tuple[float, ...] = ()
    mark: Mark = Mark("")
    strength: float = 1.0
    stripe: Stripe = Stripe()
    key_dashes: tuple[float, ...] = ()
    scene_px: float = 3.0
    scene_m: tuple[float, ...] = ()

    @property
    def style(self) -> Any:
        """Its dashes as matplotlib takes them."""
        return (0, self.dashes) if self.dashes else "-"

    @property
    def stroke(self) -> dict[str, Any]:
        """Its line as matplotlib's `plot` takes it."""
        return {"color": self.line, "linewidth": self.width, "linestyle": self.style}

    @property
    def on_paper(self) -> str:
        """The colour of its patch where nothing is under it."""
        return palette.mixed(self.fill, self.strength)

    @property
    def patch(self) -> dict[str, Any]:
        """Its patch with stripes and without an edge, as matplotlib's patches take it."""
        stripe: dict[str, Any] = {
            "hatch": self.stripe.hatch or None,
            "edgecolor": self.stripe.colour or "none",
        }
        return {"facecolor": (self.fill, self.strength), "linewidth": 0.0, **stripe}

    @property
    def rim(self) -> dict[str, Any]:
        """The edge of its patch, likewise."""
        return {"fill": False, "edgecolor": self.line, "linewidth": self.width, "linestyle": self.style}

    @property
    def in_key(self) -> "Sign":
        """As a key shows it."""
        return replace(self, dashes=self.key_dashes or self.dashes)

    @property
    def in_scene(self) -> "Sign":
        """As the key of a scene shows it: what has no dashes there is a whole line.

        >>> PROTECTED.in_scene.dashes, MUCH_SHORTER.in_scene is MUCH_SHORTER
        ((), True)
        """
        return self if self.scene_m else replace(self, dashes=(), key_dashes=())


UNIT = Sign(
    "unit, its arc and maximum range", line=palette.UNIT, scene_px=1.9,
    mark=Mark(size=8.0, rim=palette.UNIT, rim_width=1.4, dot=3.2),
)  # fmt: skip
RANGE_SETTING = Sign("range setting", line=palette.UNIT, width=0.8, dashes=(4, 3))
#: What is covered of an arc: over whatever lies there, for another head or unit may hold it.
MASKED = Sign(
    "masked zones of an arc", fill=palette.PAPER, line=palette.UNIT, width=0.9, dashes=(1.5, 1.5),
    strength=0.0, stripe=Stripe("||||", palette.MASKED), scene_px=1.9, scene_m=(0.25, 0.25),
)  # fmt: skip
#: The same in a scene: the edge of what is covered.
MASKED_ARC = replace(MASKED, fill="", stripe=Stripe())
MOUNT = Sign("named already", line=palette.QUIET_INK, width=0.0, mark=Mark(size=5.0, rim=palette.QUIET_INK))
MARKED = Sign(
    "mark to measure from", line=palette.INK, width=0.0, mark=Mark("^", 4.5, palette.PAPER, palette.INK, 0.9)
)
PROTECTED = Sign("protected ground", line=palette.PROTECTED, width=1.5, dashes=(5, 2.2), scene_px=3.5)
#: Hatched, as what stands on a drawing is: in grey print its colour is that of ground held.
SOLID = Sign(
    "solid", fill=palette.SOLID, line=palette.SOLID_EDGE, width=0.9, scene_px=1.5,
    stripe=Stripe("xxxx", palette.SOLID_EDGE),
)  # fmt: skip
#: The same in a scene, where its edges tell it.
BLOCK = replace(SOLID, stripe=Stripe())
#: On a plan an outline and dots: what lies under leaves keeps its colour.
FOLIAGE = Sign(
    "foliage", fill=palette.FOLIAGE, line=palette.FOLIAGE_EDGE, width=1.1, strength=0.0,
    stripe=Stripe("...", palette.FOLIAGE_EDGE),
)  # fmt: skip
#: The same where it stands upright, in a scene, a section or an outlook.
LEAVES = replace(FOLIAGE, width=0.9, strength=0.45, stripe=Stripe())
#: In a scene thinner still, with an outline: the verdicts beneath keep colours that the key has.
GROWN = replace(LEAVES, strength=0.22, scene_px=1.4)
HANGS_ON_LEAVES = Sign(
    "verdict hangs on leaves", line=palette.FOLIAGE_EDGE, width=0.0,
    mark=Mark("D", 2.6, rim=palette.FOLIAGE_EDGE, rim_width=0.8),
)  # fmt: skip
CONTOUR = Sign("contour", line=palette.CONTOUR, scene_px=1.0)
SECTION_LINE = Sign("line of the section", width=1.7)
BRIDGED = Sign("bridged gap of the survey", width=1.3, dashes=(4, 2))
MEASURED_GROUND = Sign("measured", fill=palette.VERDICT_COLOURS[Verdict.OUTSIDE], line=palette.QUIET_INK)
DRAWN_GROUND = replace(MEASURED_GROUND, text="drawn")
BRIDGED_GROUND = Sign(
    "bridged gap", fill=palette.BRIDGED_GROUND, line=palette.QUIET_INK,
    stripe=Stripe("\\\\\\\\", palette.BRIDGED_STRIPE),
)  # fmt: skip
LEAVES_FOUND = Sign(
    "leaves found in the survey", fill=palette.FOLIAGE, line=palette.FOLIAGE_EDGE, strength=0.3
)
LEAVES_GUESSED = Sign(
    "leaves there are a guess", fill=palette.PAPER, line=palette.FOLIAGE_EDGE,
    stripe=Stripe("////", palette.FOLIAGE_EDGE),
)  # fmt: skip
TURNS = Sign("the line turns", line=palette.QUIET_INK, width=0.8, dashes=(2, 2))
GROUND_LINE = Sign("ground", width=1.3)
BETWEEN_HEADS = Sign(
    "open between heads", fill=palette.PAPER, line=palette.QUIET_INK, stripe=Stripe("\\\\\\\\", palette.SPILT)
)
ZONE_EDGE = Sign("zones, by number", line=palette.QUIET_INK, width=0.5)
TURNS_FLAT = Sign("flat it turns so far", width=1.4)
TURNS_ON_BRACKET = Sign("on its bracket", width=1.4, dashes=(5, 2.2), key_dashes=(3, 1.4))
WATCH = Sign(
    "watch against covering", fill=palette.ALARM, line=palette.QUIET_INK, strength=0.75,
    stripe=Stripe("xx", palette.QUIET_INK),
)  # fmt: skip
ARC_END = Sign("end of an arc", line=palette.UNIT, width=0.9, dashes=(5, 3))
LEVEL = Sign("level", width=0.8, dashes=(1, 2))
EQUAL_DISTANCE = Sign("equal distance on the ground, heavy at the range", width=1.3)

WALK = Sign("walk and its pulses", line=palette.FIGURE, width=1.9, mark=Mark(size=3.8, rim_width=0.9))
LOBE = Sign(
    "microwave, its arc and range", line=palette.layer_colour(MICROWAVE), width=1.0, dashes=(1.5, 1.5)
)
#: On the strip of a walk, over its pulses.
MICROWAVE_SENSES = Sign("microwave senses", fill=palette.layer_colour(MICROWAVE))
MICROWAVE_ACROSS = Sign("it reaches, moves across", fill=palette.CAUSES["moves across"])
ALARM = Sign("alarm", width=0.0, mark=Mark("*", 14.0, palette.ALARM, rim_width=1.1))
UNNOTICED = Sign("way walked unnoticed", line=palette.FIGURE, width=1.7)
NOTICED = Sign("noticed here", width=0.0, mark=Mark(size=4.6))
ALONG_WALL = Sign("walk along a wall", line=palette.FIGURE, width=1.9, mark=NOTICED.mark)
APPROACH = Sign("way in", line=palette.QUIET_INK, width=2.8)
LEAST_LIKELY = Sign("least likely walk", line=palette.FIGURE, width=2.1, scene_px=5.0)
#: The same to the middle of protected ground.
LEAST_LIKELY_INSIDE = replace(LEAST_LIKELY, dashes=(5, 2))
CLEAR = Sign(
    "clear route", width=2.6, dashes=(0.1, 2.2), key_dashes=(1, 1.4), scene_px=5.0, scene_m=(0.5, 0.5)
)
LEAST_HELD = replace(CLEAR, text="least held")
MUCH_SHORTER = Sign(
    "much shorter", line=palette.MUCH_SHORTER, width=2.1, dashes=(6, 1.5, 1.2, 1.5),
    key_dashes=(3, 1.1, 1, 1.1), scene_px=5.0, scene_m=(1.6, 0.5, 0.5, 0.5),
)  # fmt: skip

BOUNDARY = Sign(
    "boundary", line=palette.BOUNDARY, width=1.7, dashes=(7, 1.8, 1.8, 1.8), key_dashes=(4, 1.2, 1, 1.2),
    scene_m=(1.6, 0.9),
)  # fmt: skip
LANDS_ON_GROUND = Sign("upper layer lands", line=palette.LANDING, width=1.7)
LANDS_ON_SOLID = replace(LANDS_ON_GROUND, line=palette.SOLID_EDGE)
LANDS_ON_LEAVES = replace(LANDS_ON_GROUND, line=palette.FOLIAGE_EDGE)
OUT_OF_SIGHT = Sign("it runs out of sight", line=palette.QUIET_INK, width=1.7, dashes=(1, 1.5))
SPILT_WITHIN = Sign("a person, within range", fill=palette.SPILT, line=palette.QUIET_INK)
SPILT_ON = Sign(
    "a vehicle, past its range", fill=palette.PAPER, line=palette.QUIET_INK,
    stripe=Stripe("\\\\\\\\", palette.SPILT),
)  # fmt: skip
#: The layer's axis where it passes over, within range; past its range it is drawn fainter by `FAINTER`.
SPILT_OVER = Sign("nothing: it passes over", fill=palette.SPILT, line=palette.QUIET_INK, strength=0.4)
FAINTER = 0.425
SPILT_MICROWAVE = Sign(
    "a person, by microwave", fill=palette.layer_colour(MICROWAVE), line=palette.QUIET_INK, strength=0.35
)
NUISANCE = Sign(
    "nuisance thing in a layer", fill=palette.NUISANCE, line=palette.NUISANCE, width=1.3, scene_px=2.0
)
NUISANCE_HIDDEN = replace(NUISANCE, text="nuisance thing, hidden", fill=palette.PAPER)
#: On a plan, where it is drawn alike whether it is hidden or lies in no layer.
NUISANCE_UNSEEN = replace(NUISANCE_HIDDEN, text="nuisance thing that no layer sees")
#: Ground that two options hold, and that one of them alone holds.
HELD_BY_BOTH = Sign("held by both", fill=palette.HELD_BY_BOTH, line=palette.QUIET_INK)
GAINED = Sign("held by this alone", fill=palette.VERDICT_COLOURS[Verdict.BOTH], line=palette.BOTH_EDGE)
#: Its blue and this orange are one grey in print: this has stripes.
LOST = Sign(
    "held by the best alone", fill=palette.VERDICT_COLOURS[Verdict.UPPER_ONLY], line=palette.QUIET_INK,
    stripe=Stripe("////", palette.UPPER_STRIPE),
)  # fmt: skip
CRAWLING = Sign(
    "silent for a crawler", fill=palette.PAPER, line=palette.QUIET_INK,
    stripe=Stripe("////", palette.CRAWLING_STRIPE),
)  # fmt: skip
_UNKNOWN = Sign(
    UNKNOWN_WORDS, fill=palette.UNKNOWN_GROUND, line=palette.QUIET_INK,
    stripe=Stripe("////", palette.UNKNOWN_STRIPE),
)  # fmt: skip
_STRIPES = {
    Verdict.UPPER_ONLY: Stripe("---", palette.UPPER_STRIPE),
    Verdict.DEAD: Stripe(r"\\\\", palette.DEAD_STRIPE),
}

#: What parts causes of one darkness, and the layer itself, in grey print.
_CAUSE_STRIPES = {
    "hidden by foliage": Stripe("////", palette.CRAWLING_STRIPE),
    "hidden by a solid": Stripe(r"\\\\", palette.DEAD_STRIPE),
    "passes above the figure": Stripe("////", palette.DEAD_STRIPE),
    "below the layer": Stripe(r"\\\\", palette.DEAD_STRIPE),
}

#: Options as lines, best first: told apart by colour or by dashes.
OPTION_LINES = tuple(
    Sign("", line=colour, width=1.8, dashes=dashes)
    for colour, dashes in zip(
        palette.OPTION_LINES, ((), (7, 2), (4, 1.5, 1, 1.5), (2, 1.5)), strict=True
    )
)  # fmt: skip
CONTRAST = Sign("contrast", width=1.8)
WEAK_CONTRAST = Sign("weaker than the borrowed condition", fill=palette.WEAK_CONTRAST, line=palette.QUIET_INK)
NOTHING_HELD = Sign("nothing is held", fill=palette.NOTHING_HELD)

SUN_UP = Sign("sun up", fill=palette.SUN_UP, line=palette.QUIET_INK)
SUN_DOWN = Sign("sun under level", fill=palette.SUN_DOWN, line=palette.QUIET_INK)
SUN_HIDDEN = Sign("near one, but hidden", fill=palette.SUN_HIDDEN, line=palette.QUIET_INK)
SUN_IN_SEVERAL = Sign("near several", fill=palette.SUN_IN_SEVERAL)
PAST_RANGE = Sign("beyond the range", fill=palette.PAST_RANGE, line=palette.QUIET_INK)
SKY = Sign("nothing met: sky, or off the survey", fill=palette.SKY, line=palette.QUIET_INK)


def sun_sign(layer: str) -> Sign:
    """Where the sun stands in view near a layer."""
    return Sign(f"sun near the {layer} layer", fill=palette.layer_colour(layer))


def verdict_sign(code: int) -> Sign:
    """The patch of a verdict, or of ground that is not known.

    >>> verdict_sign(Verdict.DEAD).stripe.hatch, verdict_sign(UNKNOWN).text
    ('\\\\\\\\\\\\\\\\', 'ground not known')
    """
    if code == UNKNOWN:
        return _UNKNOWN
    verdict = Verdict(code)
    edge = palette.BOTH_EDGE if verdict == Verdict.BOTH else palette.QUIET_INK
    stripe = _STRIPES.get(verdict, Stripe())
    return Sign(VERDICT_WORDS[verdict], palette.VERDICT_COLOURS[verdict], edge, stripe=stripe)


def cause_sign(code: int) -> Sign:
    """Ground on which a cause takes a layer."""
    key = CAUSE_KEYS[code]
    return Sign(
        key, fill=palette.CAUSES[key], line=palette.QUIET_INK, stripe=_CAUSE_STRIPES.get(key, Stripe())
    )


def layer_sign(name: str, text: str = "") -> Sign:
    """The body of a layer."""
    colour = palette.layer_colour(name)
    return Sign(text or f"{name} layer", fill=colour, line=colour, strength=LAYER_STRENGTH)


def layer_signs(units: Iterable[Detector], most: int = 4) -> list[Sign]:
    """The layers of some units, by name."""
    names = dict.fromkeys(layer.name for unit in units for head in unit.type.head for layer in head.layer)
    return [layer_sign(name) for name in list(names)[:most]]


def masked_signs(units: Iterable[Detector], is_scene: bool = False) -> list[Sign]:
    """The sign of what is masked, where anything is."""
    return [MASKED_ARC if is_scene else MASKED] if has_masks(units) else []


def lobe_signs(units: Iterable[Detector]) -> list[Sign]:
    """The sign of a microwave's arc, where any unit has one."""
    return [LOBE] * any(unit.type.microwave is not None for unit in units)


def piece_sign(name: str, kind: str) -> Sign:
    """Others' ground."""
    colour = palette.piece_colour(kind)
    return Sign(name, fill=colour, line=colour, width=1.1, strength=0.3, scene_px=2.0)


def returns_sign(step: int) -> Sign:
    """Measured ground with as many returns a square metre as a step of `areas.RETURN_STEPS` stands for."""
    return Sign(returns_words(step), fill=palette.RETURNS_SCALE[step], line=palette.QUIET_INK)


def animal_sign(rank: int, count: int) -> Sign:
    """Ground on which the animal of a rank is the lowest to raise the alarm."""
    return Sign("animals", fill=palette.animal_colour(rank, count), line=palette.QUIET_INK)


def site_signs(terrain: Terrain, heights: Floats | None = None, leaves: Sign = FOLIAGE) -> list[Sign]:
    """What lies and stands on a site, as far as it is there; contours where the drawn heights are given."""
    there = [
        (PROTECTED, bool(terrain.protect)),
        (SOLID if leaves is FOLIAGE else BLOCK, bool(terrain.solids.names)),
        (leaves, bool((terrain.foliage.column >= 0).any())),
    ]
    signs = [sign for sign, is_there in there if is_there]
    levels, step = contour_levels(terrain.ground.z[:0] if heights is None else heights)
    if len(levels):
        signs.append(replace(CONTOUR, text=f"contour, every {given(step)}"))
    return signs

"""Words of the verdicts and of the causes: each wording is said once, here."""

from dataclasses import dataclass

from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.layer_outcomes import (
    BEYOND,
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    CLOSE_IN,
    LANDS_SHORT,
    MOVES_ACROSS,
    NOT_REACHED,
    OUTSIDE_ARC,
    PASSES_ABOVE,
)
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import MICROWAVE

VERDICT_WORDS = {
    Verdict.BOTH: "both layers",
    Verdict.UPPER_ONLY: "upper only",
    Verdict.LOWER_ONLY: "lower only",
    Verdict.DEAD: "dead ground",
    Verdict.OUTSIDE: "outside",
}
#: Beside the verdicts: ground of which none is told.
UNKNOWN_WORDS = "ground not known"


def sense_words(name: str) -> str:
    """A layer by its name, or the microwave beside the layers.

    >>> sense_words("lower"), sense_words("microwave")
    ('lower layer', 'microwave')
    """
    return name if name == MICROWAVE else f"{name} layer"


#: What ground outside the verdicts is drawn as, where it has colours of its own.
PHOTOGRAPHED, SCANNED = "as photographed", "as the scan saw it"


@dataclass(frozen=True)
class CauseWords:
    """How one cause reads in a sentence; its key says it in a row.

    Parameters
    ----------
    does : str
        After the layer that it takes, as in "the lower layer lands short".
    where : str
        After "most is lost", with `{layer}` and `{figure}` to fill in.
    because : str
        After "because", with `{area}` (so much of which ground), `{layer}` and `{figure}` to fill in.
    lost : str
        After an area of ground that is not held; things with names follow it.
    """

    does: str
    where: str
    because: str
    lost: str


#: After "because", where one thing with a name takes half of the ground or more.
NAMED_BECAUSE = '"{name}" hides {area} from its {sense}'

#: By the keys of the causes.
CAUSES = {
    CAUSE_KEYS[code]: words
    for code, words in {
        BY_FOLIAGE: CauseWords(
            "is hidden by foliage",
            "where foliage hides the {figure} from the {layer} layer",
            "foliage hides {area} from its {layer} layer",
            "hidden by",
        ),
        BY_SOLID: CauseWords(
            "is hidden by a solid",
            "where walls or buildings hide the {figure} from the {layer} layer",
            "walls or buildings hide {area} from its {layer} layer",
            "behind",
        ),
        BY_GROUND: CauseWords(
            "is hidden by ground",
            "where the ground hides the {figure} from the {layer} layer",
            "the ground itself hides {area} from its {layer} layer",
            "hidden by the ground",
        ),
        PASSES_ABOVE: CauseWords(
            "passes over the figure",
            "where the {layer} layer passes over the {figure}",
            "its {layer} layer passes over a {figure} on {area}",
            "passed over by a layer",
        ),
        LANDS_SHORT: CauseWords(
            "lands short",
            "where the {layer} layer lands short",
            "its {layer} layer meets the ground before {area}",
            "past where a layer lands",
        ),
        CLOSE_IN: CauseWords(
            "passes over, close in",
            "close in, under the {layer} layer",
            "its {layer} layer passes over {area}, close to the unit",
            "close in, under a layer",
        ),
        BEYOND: CauseWords(
            "is out of range",
            "beyond the range",
            "{area} lie beyond its range",
            "beyond the range",
        ),
        OUTSIDE_ARC: CauseWords(
            "is outside its arc",
            "outside the arc",
            "{area} lie outside its arc",
            "outside the arc",
        ),
        NOT_REACHED: CauseWords(
            "does not reach the figure",
            "where the microwave does not reach the {figure}",
            "its microwave does not reach a {figure} on {area}",
            "not reached by the microwave",
        ),
        MOVES_ACROSS: CauseWords(
            "is moved across",
            "where the {figure} moves too much across",
            "a {figure} moves too much across on {area} for its microwave",
            "moved across too much for the microwave",
        ),
    }.items()
}

#: The last of them where a unit has masks: what is masked of an arc counts as outside it.
_OUTSIDE_OR_MASKED = CauseWords(
    "is outside its arc or masked",
    "outside the arc or masked",
    "{area} lie outside its arc or are masked",
    "outside the arc or masked",
)


def cause_words(cause: str, has_masks: bool = False) -> CauseWords:
    """The words of a cause by its key; `has_masks` tells whether anything is masked of the units.

    >>> cause_words("outside arc").lost, cause_words("outside arc", has_masks=True).lost
    ('outside the arc', 'outside the arc or masked')
    """
    return _OUTSIDE_OR_MASKED if has_masks and cause == CAUSE_KEYS[OUTSIDE_ARC] else CAUSES[cause]


def cause_name(cause: str, has_masks: bool = False) -> str:
    """A cause in a row: its key, and what counts as it.

    >>> cause_name("lands short", True), cause_name("outside arc", True)
    ('lands short', 'outside arc or masked')
    """
    return f"{cause} or masked" if has_masks and cause == CAUSE_KEYS[OUTSIDE_ARC] else cause

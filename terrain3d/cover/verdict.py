"""The five verdicts on a piece of ground, and how units combine."""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray


class Verdict(IntEnum):
    """What a unit makes of a cell, worst first; the numbers are those of `verdicts.tif`."""

    OUTSIDE = 0
    DEAD = 1
    LOWER_ONLY = 2
    UPPER_ONLY = 3
    BOTH = 4


#: Value of a cell whose ground is not known.
UNKNOWN = 255

#: Keys of the verdicts, best first, as `results.json` has them.
VERDICT_KEYS = {
    Verdict.BOTH: "both",
    Verdict.UPPER_ONLY: "upper_only",
    Verdict.LOWER_ONLY: "lower_only",
    Verdict.DEAD: "dead",
    Verdict.OUTSIDE: "outside",
}

Codes = NDArray[np.uint8]


def combined(verdicts: list[Codes], combine: str) -> Codes:
    """One grid of verdicts for several detectors.

    Under `any` a cell gets its best verdict; under `all` every detector must hold it, so it gets
    its worst.

    >>> a, b = np.array([4, 0], np.uint8), np.array([3, 4], np.uint8)
    >>> combined([a, b], "any"), combined([a, b], "all")
    (array([4, 4], dtype=uint8), array([3, 0], dtype=uint8))
    """
    reduce = np.minimum if combine == "all" else np.maximum
    result: Codes = reduce.reduce(np.stack(verdicts), axis=0)
    return result

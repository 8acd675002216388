"""Whether a survey was taken from above or from the ground, by how its returns lie."""

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats

#: Returns are counted on squares of this side.
_SQUARE_M = 1.0
#: A scanner on the ground puts most of its returns near itself: on the square of a middling return lie so
#: many times as many as on a middling square. Flights give 1 to 2.5 times, tripods 20 and more.
_CROWDED = 6.0


def from_above(xy: Floats, n_returns: NDArray[np.uint8]) -> bool:
    """Whether returns were taken from the air.

    Parameters
    ----------
    xy : (n, 2) float
        Metres.
    n_returns : (n,) uint8
        Of the pulse that each is of. Of pulses from the air some give several, of many scanners on the ground
        none does.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> two, flown = np.full(4000, 2, np.uint8), rng.uniform(-20, 20, (4000, 2))
    >>> tripod = flown * rng.uniform(0, 1, (4000, 1)) ** 3
    >>> from_above(flown, two), from_above(tripod, two), from_above(flown, two // 2)
    (True, False, False)
    """
    if n_returns.max(initial=1) <= 1:
        return False
    x, y = np.floor((xy - xy.min(axis=0)) / _SQUARE_M).astype(np.int64).T
    _, square, on_square = np.unique(y * (x.max() + 1) + x, return_inverse=True, return_counts=True)
    return bool(np.median(on_square[square]) <= _CROWDED * np.median(on_square))

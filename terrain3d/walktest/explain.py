"""What the answers of a walk test say of a unit: which cause explains them, how far it is off, how surely.

Each guess is weighed by how likely the answers are under it (Bayes); a cause is as likely as its guesses
together.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats
from terrain3d.walktest.choose import likelihood
from terrain3d.walktest.faults import CAUSES, Cause, Guesses

Mask = NDArray[np.bool_]

#: A cause is named where it is at least this likely; else those are told that together are so likely.
SURE, TOGETHER = 0.80, 0.90
#: Of what a cause is off by, the part that is told holds so much of its chance.
_INSIDE = 0.90


@dataclass(frozen=True)
class Told:
    """One cause with how likely it is.

    `value` is the middle of what it is off by, `low` and `high` hold 90 % of that: metres, degrees, a share
    of leaf area. Of a range and a head `value` is the setting, or the number from 1, and both ends are that
    too.
    """

    cause: Cause
    chance: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Explanation:
    """All causes, the likeliest first, and the weights of the guesses that say so."""

    causes: tuple[Told, ...]
    weights: Floats

    @property
    def is_told(self) -> bool:
        """Whether one cause is sure enough to be named."""
        return self.causes[0].chance >= SURE

    @property
    def likely(self) -> tuple[Told, ...]:
        """The one cause that is sure enough to be named, else the fewest that together leave little out."""
        chances = np.cumsum([one.chance for one in self.causes])
        return self.causes[: 1 if self.is_told else int(np.searchsorted(chances, TOGETHER - 1e-12)) + 1]


def explain(guesses: Guesses, lights: Mask, seen: Mask, wrong: float) -> Explanation:
    """What some answers say.

    Parameters
    ----------
    guesses : Guesses
    lights : (n, m) bool
        What each guess shows on each walk.
    seen : (m,) bool
        What was seen.
    wrong : float
        Share of answers that may be wrong by chance.
    """
    weights = guesses.weight * likelihood(lights, seen, wrong)
    weights = weights / weights.sum()
    told = [
        _told(cause, guesses, np.where(guesses.cause == number, weights, 0.0))
        for number, cause in enumerate(CAUSES)
        if (guesses.cause == number).any()
    ]
    told.sort(key=lambda one: -one.chance)
    return Explanation(tuple(told), weights)


def _told(cause: Cause, guesses: Guesses, weights: Floats) -> Told:
    chance = float(weights.sum())
    own = weights > 0
    value, weight = guesses.value[own], weights[own]
    if cause in (Cause.AS_SET, Cause.GROUND, Cause.UNIT) or chance <= 0:
        return Told(cause, chance, 0.0, 0.0, 0.0)
    if cause in (Cause.RANGE, Cause.HEAD):
        choices = np.unique(value)
        best = float(choices[np.argmax([weight[value == one].sum() for one in choices])])
        best += 1 if cause is Cause.HEAD else 0
        return Told(cause, chance, best, best, best)
    order = np.argsort(value, kind="stable")
    share = np.cumsum(weight[order]) / weight.sum()
    low, middle, high = (
        float(value[order][np.searchsorted(share, part)])
        for part in ((1 - _INSIDE) / 2, 0.5, (1 + _INSIDE) / 2)
    )
    return Told(cause, chance, middle, low, high)

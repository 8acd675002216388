"""Which walks to make: those that tell most of what may be off, then those that prove what is left of the
map.

Standard Bayesian design of experiments: the next walk is the one whose answer is expected to tell most of
the cause and its size (mutual information, bits), given what the walks before it may have shown; chosen one
by one, which for such a measure is never far from the best set.
"""

import math

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats
from terrain3d.walktest.faults import CAUSES, Cause, Guesses
from terrain3d.walktest.spots import Spots

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]

#: Made-up tests over which what a walk tells is averaged.
_TESTS = 64
#: A walk that tells less than this, bits, is not worth making.
_LEAST_BITS = 0.01
#: Bits are compared to this: the last digits of a sum may hang on the machine.
_DIGITS = 6
#: Sizes of tilt that are told apart, in standard deviations: no other setting opens so much by so little.
_STEPS = (1.5, 2.5, 4.0)
#: Of the numbers that are drawn for made-up tests.
_TESTING = 3
#: How much walks are to tell of each cause before any was made: a tilt or a range that is off opens most.
_TELLING = {
    Cause.AS_SET: 3.0, Cause.TILT: 3.0, Cause.RANGE: 4.0, Cause.BEARING: 2.0, Cause.HEIGHT: 1.0,
    Cause.ROLL: 1.0, Cause.HEAD: 0.5, Cause.LEAVES: 0.5, Cause.GROUND: 0.5, Cause.UNIT: 0.5,
}  # fmt: skip
#: Most walks that are added to prove pieces of the map.
_MOST_MUST = 8


def classes_of(guesses: Guesses) -> Ints:
    """(n,) what a walk test is to tell apart: the cause and to which side, of tilt also how far, in steps."""
    cause, value = guesses.cause, guesses.value
    size = np.zeros(len(cause))
    for number, one in enumerate(CAUSES):
        own = cause == number
        if not own.any():
            continue
        if one in (Cause.HEIGHT, Cause.BEARING, Cause.ROLL):
            size[own] = value[own] > 0
        elif one is Cause.TILT:
            smallest = np.abs(value[own]).min()
            size[own] = np.digitize(np.abs(value[own]) / max(smallest, 1e-12), _STEPS) + 10 * (value[own] > 0)
        elif one in (Cause.RANGE, Cause.HEAD):
            size[own] = value[own]
        elif one is Cause.LEAVES:
            size[own] = value[own] > 1
    pairs = np.column_stack([cause, size])
    return np.asarray(np.unique(pairs, axis=0, return_inverse=True)[1]).ravel().astype(np.int64)


def told_bits(weights: Floats, lights: Mask, classes: Ints, wrong: float) -> Floats:
    """(m,) bits that the answer of each walk is expected to tell of the class.

    Parameters
    ----------
    weights : (t, n) float
        How likely each guess is, of t tests; each row sums to 1.
    lights : (n, m) bool
    classes : (n,) int
    wrong : float
        Share of answers that are wrong.

    Examples
    --------
    Two guesses alike, which a walk tells apart for certain, are one bit:

    >>> told_bits(np.array([[0.5, 0.5]]), np.array([[True, True], [False, True]]), np.array([0, 1]), 1e-12)
    array([1., 0.])
    """
    chance = np.where(lights, 1 - wrong, wrong)
    order = np.argsort(classes, kind="stable")
    starts = np.flatnonzero(np.diff(classes[order], prepend=-1))
    whole = np.zeros((len(weights), lights.shape[1]))
    within = np.zeros_like(whole)
    for rows in np.split(order, starts[1:]):
        joint = weights[:, rows] @ chance[rows]
        share = weights[:, rows].sum(axis=1)[:, None]
        whole += joint
        within += share * _entropy(joint / np.maximum(share, 1e-300))
    bits = (_entropy(whole) - within).mean(axis=0)
    return np.asarray(np.round(bits, _DIGITS)) + 0.0


def _entropy(chance: Floats) -> Floats:
    """Bits of a yes or no."""
    p = np.clip(chance, 1e-15, 1 - 1e-15)
    return np.asarray(-(p * np.log2(p) + (1 - p) * np.log2(1 - p)))


def likelihood(lights: Mask, seen: Mask, wrong: float) -> Floats:
    """(n,) how likely some answers, (m,), are under each guess, by the guess that explains them best."""
    differ = (lights != seen).sum(axis=1)
    # By themselves the chances of some hundred answers that differ would be too small for a number.
    return np.asarray((wrong / (1 - wrong)) ** (differ - differ.min()))


def most_telling(
    guesses: Guesses, lights: Mask, n: int, wrong: float, weights: Floats | None = None, seed: int = 0
) -> list[int]:
    """Walks that tell most, at most n of them, the most telling first.

    Parameters
    ----------
    guesses : Guesses
    lights : (g, m) bool
        What each guess shows on each walk.
    n : int
    wrong : float
    weights : (g,) float, optional
        How likely each guess is by now; before any walk, as much as is to be told of it.
    seed : int
        Of the made-up tests.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, _TESTING]))
    now, classes, lights = _alike(guesses, lights, weights_to_tell(guesses) if weights is None else weights)
    true = np.searchsorted(np.cumsum(now), (np.arange(_TESTS) + 0.5) / _TESTS)
    tests = np.tile(now, (_TESTS, 1))
    chosen: list[int] = []
    left = np.ones(lights.shape[1], bool)
    # Walks that say the same of every guess are one.
    same = np.unique(lights, axis=1, return_inverse=True)[1].ravel()
    while len(chosen) < n and left.any():
        rows = np.flatnonzero(left)
        rows = rows[np.unique(same[rows], return_index=True)[1]]
        bits = told_bits(tests if chosen else tests[:1], lights[:, rows], classes, wrong)
        best = int(rows[np.argmax(bits)])
        if bits.max() < _LEAST_BITS:
            break
        chosen.append(best)
        left[best] = False
        # Twice the same answer guards against a wrong one, thrice is too much of it.
        if sum(same[k] == same[best] for k in chosen) >= 2:
            left &= same != same[best]
        seen = lights[true, best] ^ (rng.random(_TESTS) < wrong)
        tests = tests * np.where(lights[:, best] == seen[:, None], 1 - wrong, wrong)
        tests /= tests.sum(axis=1, keepdims=True)
    return chosen


def weights_to_tell(guesses: Guesses) -> Floats:
    """(n,) weights of guesses under which walks are chosen: by how much they are to tell of each cause."""
    count = np.bincount(guesses.cause, minlength=len(CAUSES))
    telling = np.array([_TELLING[cause] for cause in CAUSES])
    weights = (telling / np.maximum(count, 1))[guesses.cause]
    return np.asarray(weights / weights.sum())


def _alike(guesses: Guesses, lights: Mask, weights: Floats) -> tuple[Floats, Ints, Mask]:
    """Weights, classes and answers with the guesses put together that no walk tells apart."""
    classes = classes_of(guesses)
    keys = np.column_stack(
        [classes.astype(np.uint32).view(np.uint8).reshape(-1, 4), np.packbits(lights, axis=1)]
    )
    _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    summed = np.bincount(group.ravel(), weights, minlength=len(first))
    return summed / summed.sum(), classes[first], lights[first]


def proving(spots: Spots, chosen: list[int]) -> list[int]:
    """Walks to be added so that each piece of the map that has to be proved is walked."""
    added: list[int] = []
    for row in range(len(spots)):
        proof = spots.proves[row]
        beside = [
            other
            for other in chosen + added
            if spots.proves[other].kind == proof.kind
            and math.hypot(spots.x[other] - spots.x[row], spots.y[other] - spots.y[row]) < 2.0
        ]
        if proof.is_must and not beside and len(added) < _MOST_MUST:
            added.append(row)
    return added


def least_walk(x: Floats, y: Floats, start: tuple[float, float]) -> list[int]:
    """The order in which places are walked with the least way from a start, which it does not come back to.

    Nearest first, then turned and moved stretch by stretch for as long as that shortens it.

    >>> least_walk(np.array([5.0, 1.0, 3.0]), np.zeros(3), (0.0, 0.0))
    [1, 2, 0]
    """
    n = len(x)
    px, py = np.append(x, start[0]), np.append(y, start[1])
    away = np.hypot(px[:, None] - px, py[:, None] - py)
    order, left, at = [], set(range(n)), n
    while left:
        at = min(left, key=lambda k: (away[at, k], k))
        order.append(at)
        left.remove(at)

    def length(row: list[int]) -> float:
        return float(sum(away[a, b] for a, b in zip([n, *row[:-1]], row, strict=True)))

    best, better = length(order), True
    while better:
        better = False
        for i in range(n):
            for j in range(i + 1, n + 1):
                part, rest = order[i:j], order[:i] + order[j:]
                tries = [order[:i] + part[::-1] + order[j:]]
                if len(part) <= 3:
                    tries += [rest[:k] + part + rest[k:] for k in range(len(rest) + 1)]
                for one in tries:
                    if (now := length(one)) < best - 1e-9:
                        order, best, better = one, now, True
                        break
    return order

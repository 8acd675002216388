"""Walks cut into fine steps: where the middle of a figure is, and which way it faces."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats

#: Length of a fine step, metres: well under the width of any figure and of any zone beyond half a metre.
STEP_M = 0.05


@dataclass(frozen=True, eq=False)
class Track:
    """One walk or several, as spots in the order they are walked.

    At a corner there are two spots in one place, before and after the figure turns.

    Parameters
    ----------
    x, y : (n,) float
        Local metres.
    along_m : (n,) float
        Distance walked.
    facing_deg : (n,) float
        Bearing of the walk, clockwise from north.
    walk : (n,) int64
        Which walk each spot belongs to.
    """

    x: Floats
    y: Floats
    along_m: Floats
    facing_deg: Floats
    walk: NDArray[np.int64]


def track(lines: Sequence[Floats], step_m: float = STEP_M) -> Track:
    """Cut lines into steps of at most `step_m`.

    >>> one = track([np.array([[0.0, 0.0], [0.0, 1.0], [1.0, 1.0]])], 0.5)
    >>> one.along_m, one.facing_deg
    (array([0. , 0.5, 1. , 1. , 1.5, 2. ]), array([ 0.,  0.,  0., 90., 90., 90.]))
    """
    parts = []
    for w, line in enumerate(lines):
        start_m = 0.0
        for a, b in itertools.pairwise(np.asarray(line, float)):
            length = float(np.hypot(*(b - a)))
            if length == 0.0:
                continue
            share = np.linspace(0.0, 1.0, int(np.ceil(length / step_m)) + 1)
            x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
            facing = np.full(len(share), np.degrees(np.arctan2(b[0] - a[0], b[1] - a[1])) % 360.0)
            parts.append((x, y, start_m + share * length, facing, np.full(len(share), w)))
            start_m += length
    if not parts:
        nothing = np.zeros(0)
        return Track(nothing, nothing, nothing, nothing, np.zeros(0, np.int64))
    x, y, along, facing, walk = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Track(x, y, along, facing, walk.astype(np.int64))


def line_length_m(line: Floats) -> float:
    """Plan length of a line.

    >>> line_length_m(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0]]))
    6.0
    """
    return float(np.hypot(*np.diff(np.asarray(line, float), axis=0).T).sum())


def spots_at(line: Floats, along_m: Floats) -> tuple[Floats, Floats]:
    """Where a walk is after some distances, x and y in local metres.

    >>> spots_at(np.array([[0.0, 0.0], [0.0, 2.0], [2.0, 2.0]]), np.array([1.0, 3.0]))
    (array([0., 1.]), array([1., 2.]))
    """
    corners = np.asarray(line, float)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    return np.interp(along_m, walked, corners[:, 0]), np.interp(along_m, walked, corners[:, 1])

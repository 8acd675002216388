"""What a unit's microwave makes of a walk: it senses a figure in its reach that comes nearer or goes away.

A figure that moves at v m/s towards or away shifts the waves by 2 v f / c; one that moves straight across
shifts nothing. So the walk straight at a unit, which its layers notice last, is what its microwave notices
first, and the walk across it the other way round. The speed is that in plan between the unit and the middle
of the figure: arms and legs, which move towards and away whichever way a person walks, are left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.cover.causes import NO_OUTCOME
from terrain3d.cover.layer_outcomes import BROKEN, MOVES_ACROSS
from terrain3d.cover.microwave import microwave_outcomes
from terrain3d.cover.sighted import sighted_over
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.track import Track

#: Of light, and so of microwaves, metres a second.
LIGHT_MPS = 299_792_458.0


@dataclass(frozen=True, eq=False)
class SensedWalk:
    """What a unit's microwave makes of a walk, in the pieces of its strip.

    Parameters
    ----------
    unit : Detector
    piece_m : float
        Length of a piece.
    outcomes : (m,) uint8
        BROKEN where it senses the figure, MOVES_ACROSS where it only reaches it, else why it does not reach
        it; NO_OUTCOME where no ground is known.
    away_mps : (m,) float
        How fast the figure goes away from the unit; negative towards it.
    """

    unit: Detector
    piece_m: float
    outcomes: NDArray[np.uint8]
    away_mps: Floats

    @property
    def sensed_m(self) -> float:
        """Length walked where it senses the figure, metres."""
        return self.length_m(BROKEN)

    def length_m(self, outcome: int) -> float:
        """Length walked on which this became of it, metres."""
        return self.piece_m * int((self.outcomes == outcome).sum())

    @property
    def fastest_mps(self) -> float:
        """The greatest speed towards or away where it senses the figure, m/s; 0 where it never does."""
        return float(np.abs(self.away_mps[self.outcomes == BROKEN]).max(initial=0.0))

    @property
    def shift_hz(self) -> float:
        """The Doppler shift at that speed, hertz."""
        microwave = self.unit.type.microwave
        assert microwave is not None
        return float(doppler_hz(self.fastest_mps, microwave.frequency_ghz))


def doppler_hz(speed_mps: ArrayLike, frequency_ghz: float) -> Floats:
    """Doppler shift of what moves towards or away: 2 v f / c, hertz.

    >>> float(doppler_hz(1.0, 10.525).round(1)), float(doppler_hz(1.0, 24.125).round(1))
    (70.2, 160.9)
    """
    return np.asarray(2 * np.asarray(speed_mps, float) * frequency_ghz * 1e9 / LIGHT_MPS)


def away_mps(unit: Detector, way: Track, speed_mps: float) -> Floats:
    """(n,) how fast a figure goes away from a unit at each spot of its walks, m/s; negative towards it."""
    dx, dy = way.x - unit.x, way.y - unit.y
    turned = np.radians(way.facing_deg) - np.arctan2(dx, dy)
    return np.asarray(speed_mps * np.cos(turned))


def sensing(
    terrain: Terrain, unit: Detector, figure_height_m: float, way: Track, speed_mps: float
) -> NDArray[np.uint8]:
    """(n,) what becomes of a unit's microwave at each spot of walks, codes as in `SensedWalk`."""
    microwave = unit.type.microwave
    assert microwave is not None
    outcomes = np.full(len(way.x), NO_OUTCOME, np.uint8)
    sighted = sighted_over(terrain, unit, way.x, way.y)
    outcomes[sighted.seen.cells] = microwave_outcomes(sighted.seen, unit, figure_height_m)[0]
    is_across = np.abs(away_mps(unit, way, speed_mps)) < microwave.slowest_mps * (1 - 1e-9)
    outcomes[(outcomes == BROKEN) & is_across] = MOVES_ACROSS
    return outcomes


def sensed_times(way: Track, outcomes: NDArray[np.uint8], walk: int, speed_mps: float) -> Floats:
    """Moments of one of some walks at which the microwave senses, seconds from its start, ascending."""
    return np.asarray(way.along_m[(outcomes == BROKEN) & (way.walk == walk)] / speed_mps)


def sensed_walk(
    unit: Detector, way: Track, outcomes: NDArray[np.uint8], speed_mps: float, n: int, piece_m: float
) -> SensedWalk:
    """What becomes of the microwave in the middle of each of `n` pieces of a walk."""
    if not len(way.along_m):
        return SensedWalk(unit, piece_m, np.full(n, NO_OUTCOME, np.uint8), np.zeros(n))
    middle = (np.arange(n) + 0.5) * piece_m
    # The nearest spot.
    after = np.clip(np.searchsorted(way.along_m, middle), 1, max(len(way.along_m) - 1, 1))
    spot = after - (middle - way.along_m[after - 1] < way.along_m[after] - middle)
    return SensedWalk(unit, piece_m, outcomes[spot], away_mps(unit, way, speed_mps)[spot])

"""Microwaves against figures from outside: Doppler shifts, and the loss in leaves.

Doppler: 2 v f / c; 70.2 and 160.9 Hz for 1 m/s at 10.525 and 24.125 GHz; at 24.15 GHz a shift of 50 Hz is
0.31 m/s (a printed 0.62 leaves out the two). Leaves: Recommendation ITU-R P.833-10 section 2.1,
A = Am (1 - exp(-d g / Am)), its form from memory, its scope (30 MHz to 100 GHz) read; 3 to 5 dB/m near 10 GHz
in leaf, from memory (C).
"""

import numpy as np
import pytest

from terrain3d.sight.microwave import LEAF_MOST_DB, leaf_loss_db
from terrain3d.terrain import LEAF_DB_PER_M
from terrain3d.walk.microwave import doppler_hz


def test_doppler_shifts():
    """Of 1 m/s towards or away, and back from a shift to the speed."""
    assert float(doppler_hz(1.0, 10.525)) == pytest.approx(70.2, abs=0.05)
    assert float(doppler_hz(1.0, 24.125)) == pytest.approx(160.9, abs=0.05)
    assert 50.0 / float(doppler_hz(1.0, 24.15)) == pytest.approx(0.31, abs=0.005)
    assert doppler_hz(0.0, 10.525) == 0.0


def test_leaves_take_less_of_each_metre_more():
    """A few metres cost so many decibels each; many cost Am and no more; no metre costs nothing."""
    assert 3.0 <= LEAF_DB_PER_M <= 5.0
    metres = np.array([0.0, 0.01, 1.0, 2.0, 1000.0])
    lost = leaf_loss_db(metres, 4.0)
    assert lost[0] == 0.0
    assert lost[1] == pytest.approx(0.04, rel=1e-3)
    assert lost[2:4] == pytest.approx(LEAF_MOST_DB * (1 - np.exp(-4.0 * metres[2:4] / LEAF_MOST_DB)))
    assert lost[4] == pytest.approx(LEAF_MOST_DB)
    assert (np.diff(lost) > 0).all()
    assert lost[3] < 2 * lost[2]

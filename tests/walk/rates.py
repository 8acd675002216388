"""The pulses of a metre over the centre of every cell, for tests that look at all of them."""

import math

import numpy as np
from numba import njit

from terrain3d.walk.chance import metre_pulses, pulse_field


def step_pulses(ground, option, figure, directions_deg):
    """(k, ny, nx) expected pulses per metre walked in each of k directions, degrees clockwise from north."""
    field = pulse_field(ground, option, figure)
    return _rates(field, np.radians(directions_deg))


@njit
def _rates(field, directions):
    _, ny, nx = field.density.shape
    rates = np.zeros((len(directions), ny, nx))
    for k in range(len(directions)):
        east, north = math.sin(directions[k]), math.cos(directions[k])
        for j in range(ny):
            for i in range(nx):
                rates[k, j, i] = metre_pulses(field, i, j, i * field.cell_m, j * field.cell_m, east, north)
    return rates

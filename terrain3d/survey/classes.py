"""What the classes of a survey's points stand for, and what a person may say of them otherwise."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.units import Floats

Classes = NDArray[np.uint8]
#: ASPRS LAS 1.4 standard classes. Water (9) reflects what it likes: no ground to stand on.
GROUND = (2, 10, 11)
VEGETATION = (3, 4, 5)
STRUCTURES = (6, 15, 17, 19)
#: Wires, their fittings, water, noise and points withdrawn by the surveyor.
IGNORED = (7, 9, 13, 14, 16, 18, 20, 21, 22)
#: Lower things are grass, kerbs and noise of the survey.
STANDS_ABOVE_M = 0.3


@dataclass(frozen=True, eq=False)
class Treatment:
    """What points standing above the ground inside an outline are taken for."""

    outline: Floats
    take_as: str

"""A small site with everything on it and three options, judged once."""

from pathlib import Path

import numpy as np
import pytest
import shapes
from shapes import box, leaves, plane, terrain

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.terrain import Area, Ground


@pytest.fixture(scope="session")
def site():
    """A slope of 8 % with a wall, a hedge, a hole in the survey and two protected areas that overlap."""
    on = plane(0.08, 20, cell_m=0.5, extent_m=34)
    z = on.z.copy()
    z[50:54, 20:26] = np.nan
    yard = Area("yard", np.array([[-4.0, 2], [4, 2], [4, 8], [-4, 8]]), 3.0)
    gate = Area("gate", np.array([[2.0, 6], [6, 6], [6, 9], [2, 9]]))
    hedge = leaves(on, lambda x, y: (x > -6) & (x < -5) & (y > 0) & (y < 6), 0.0, 1.2, 2.0)
    wall = box((-3, 9, -1), (3, 9.2, 2.0))
    return terrain(Ground(on.x0, on.y0, on.cell_m, z), wall, hedge, (yard, gate))


@pytest.fixture(scope="session")
def options(site):
    """One head from the south; two heads; a pair that must agree, one of them off in a corner."""

    def unit(name, kind, x, y, bearing):
        foot = float(site.ground.height_at(x, y))
        return Detector(name, load_type(kind, Path()), "pole", x, y, foot, 1.0, bearing)

    def judged(name, combine, *units):
        return shapes.judged(site, *units, combine=combine, name=name)

    return (
        judged("south pole", "any", unit("D1", "one-head-90", 0.0, 0.0, 0.0)),
        judged("two heads", "any", unit("D1", "two-head-180", 0.0, -1.0, 10.0)),
        judged(
            "pair",
            "all",
            unit("D1", "one-head-90", 0.5, 0.0, 0.0),
            unit("D2", "one-head-90", 5.0, 1.0, 330.0),
        ),
    )

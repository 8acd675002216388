"""The ground of the invented slope, thinned out once for all windows that show it."""

import numpy as np
import pytest

from terrain3d.show.live import stage
from terrain3d.show.live.coarse import coarse_surface

_thinned: dict = {}


@pytest.fixture(autouse=True)
def thinned_once(monkeypatch):
    """The same surface has the same few faces: two views of one window share them as well."""

    def thinned(surface):
        names = list(surface.point_data.keys())
        arrays = [np.asarray(array) for array in (surface.points, *map(surface.point_data.get, names))]
        key = (*names, *(array.tobytes() for array in arrays))
        if key not in _thinned:
            _thinned[key] = coarse_surface(surface)
        return _thinned[key]

    monkeypatch.setattr(stage, "coarse_surface", thinned)

"""Where something lies, in words: in the coordinates of the site file, so that it can be found."""

from collections.abc import Callable

import numpy as np
import pyproj

from terrain3d.frame import Frame
from terrain3d.readers.crs import crs_words
from terrain3d.wording import pair

#: A place in words, from x and y in local metres.
TellPlace = Callable[[float, float], str]
#: Decimals of a place: a decimetre, or as much of a degree. What is told is a thing, not a survey point.
_DECIMALS, _DECIMALS_DEG = 1, 6


def local_place(x: float, y: float) -> str:
    """A place of a site that has no other coordinates.

    >>> local_place(1.84, -10.0)
    '(1.8, -10) in local metres'
    """
    return f"{pair(round(float(x), _DECIMALS), round(float(y), _DECIMALS))} in local metres"


def place_in(frame: Frame, crs: pyproj.CRS | None) -> TellPlace:
    """Tells places in the CRS that the site file is in; None is local metres, as the site file counts them.

    >>> from terrain3d.frame import site_frame
    >>> utm = pyproj.CRS("EPSG:32631")
    >>> place_in(site_frame(utm, 500_000.0, 5_000_000.0), utm)(3.0, -4.0)
    '(500003, 4999996) in WGS 84 / UTM zone 31N'
    >>> place_in(site_frame(None, 0.0, 0.0), None)(3.0, -4.0)
    '(3, -4) in local metres'
    """

    def tell(x: float, y: float) -> str:
        world_x, world_y = (float(np.ravel(v)[0]) for v in frame.from_local([x], [y], crs))
        if crs is None or not frame.is_georeferenced:
            return local_place(world_x, world_y)
        decimals = _DECIMALS_DEG if crs.is_geographic else _DECIMALS
        return f"{pair(round(world_x, decimals), round(world_y, decimals))} in {crs_words(crs)}"

    return tell

"""What one unit sees as pixels: for pages, and beside the views."""

import math

import numpy as np

from terrain3d import palette
from terrain3d.palette import Rgb
from terrain3d.show.legend import PAST_RANGE, SKY
from terrain3d.sight.hits import Hit
from terrain3d.sight.picture import Picture
from terrain3d.units import Floats

#: Nothing nearer is told apart, metres.
NEAREST_M = 0.5
#: Near and far ends of the shading, dark to light, of what stands there.
_SHADES = {Hit.GROUND: palette.GROUND_BY_DISTANCE, Hit.SOLID: palette.SOLID_BY_DISTANCE}


def shaded(seen: Picture, range_m: float) -> Rgb:
    """Colour every direction: dark near, light far, paler beyond range, white for the sky.

    Parameters
    ----------
    seen : Picture
    range_m : float
        The unit's maximum range.

    Returns
    -------
    (m, n, 3) uint8
        Rows as the picture has them.
    """
    image = np.empty((*seen.what.shape, 3))
    image[:] = palette.rgb(SKY.fill)
    for what, (near, far) in _SHADES.items():
        here = seen.what == what
        share = distance_share(seen.distance[here], range_m)[:, None]
        image[here] = (1 - share) * palette.rgb(near) + share * palette.rgb(far)
        image[here & (seen.distance > range_m)] = palette.rgb(PAST_RANGE.fill)
    # Leaves stand before what is hit; what they let through shows behind them.
    veil = (1 - seen.through)[..., None] * 0.85
    image += veil * (palette.rgb(palette.FOLIAGE) - image)
    return np.asarray(np.rint(image), np.uint8)


def distance_share(distance: Floats, range_m: float) -> Floats:
    """Where a distance lies between the nearest told apart (0) and the range (1), by its logarithm.

    >>> distance_share(np.array([0.5, 12.0, 50.0]), 12.0).tolist()
    [0.0, 1.0, 1.0]
    """
    share = np.log(np.maximum(distance, NEAREST_M) / NEAREST_M) / math.log(range_m / NEAREST_M)
    return np.minimum(share, 1.0)

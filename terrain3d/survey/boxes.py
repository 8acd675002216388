"""Boxes (west, south, east, north): grown, met and joined."""

from collections.abc import Sequence

import numpy as np
import pyproj
from numpy.typing import NDArray

from terrain3d.frame import Frame
from terrain3d.readers.source import Box
from terrain3d.units import Floats

#: A box that ends this little past another is held by it.
_SLACK_M = 0.5
#: Places along an edge that are turned with it.
_PER_EDGE = 21


def box_around(places: Sequence[Floats]) -> Box:
    """The box around some (n, 2) points.

    >>> box_around([np.array([[0.0, 1.0], [2.0, 0.0]]), np.array([[-1.0, 0.5]])])
    (-1.0, 0.0, 2.0, 1.0)
    """
    points = np.vstack(places)
    (west, south), (east, north) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return west, south, east, north


def grown(box: Box, by: float) -> Box:
    """A box larger on every side, or smaller where `by` is negative."""
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def meeting(box: Box, other: Box) -> Box:
    """Where two boxes meet; its west lies past its east where they do not."""
    return max(box[0], other[0]), max(box[1], other[1]), min(box[2], other[2]), min(box[3], other[3])


def joined(box: Box, other: Box) -> Box:
    """The box around two."""
    return min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]), max(box[3], other[3])


def holds(box: Box, other: Box) -> bool:
    """Whether a box in metres holds another, but for half a metre.

    >>> holds((0, 0, 10, 10), (-0.4, 5, 8, 10.5)), holds((0, 0, 10, 10), (5, 5, 11, 8))
    (True, False)
    """
    wide = grown(box, _SLACK_M)
    return joined(wide, other) == wide


def holds_points(box: Box, points: Floats) -> NDArray[np.bool_]:
    """Which of (n, 2) or (n, 3) points lie in a box, or on its edge.

    >>> holds_points((0, 0, 1, 1), np.array([[0.5, 1.0], [1.5, 0.5]]))
    array([ True, False])
    """
    x, y = points[:, 0], points[:, 1]
    return np.asarray((x >= box[0]) & (x <= box[2]) & (y >= box[1]) & (y <= box[3]))


def turned_box(box: Box, frame: Frame, crs: pyproj.CRS | None, to_local: bool) -> Box:
    """The box around a box whose edges bend when turned into another CRS."""
    # A box that is a line, or a place, has edges too.
    share = np.linspace(0.0, 1.0, _PER_EDGE)
    across, along = box[0] + share * (box[2] - box[0]), box[1] + share * (box[3] - box[1])
    x = np.concatenate([across, across, np.full(_PER_EDGE, box[0]), np.full(_PER_EDGE, box[2])])
    y = np.concatenate([np.full(_PER_EDGE, box[1]), np.full(_PER_EDGE, box[3]), along, along])
    x, y = frame.to_local(x, y, crs) if to_local else frame.from_local(x, y, crs)
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())

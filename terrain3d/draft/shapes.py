"""Help for whoever draws by hand, in local metres: what crosses, what is measured by tape, what is near."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
import shapely

from terrain3d.units import direction

Points = Sequence[Sequence[float]]


def crosses_itself(points: Points, is_closed: bool) -> tuple[float, float] | None:
    """Where a line crosses or touches itself; None where it does not.

    Parameters
    ----------
    points : sequence of (x, y)
        Local metres. Points that follow each other at one place count as one.
    is_closed : bool
        Whether its end is joined to its start, as of a whole outline; not while it is drawn.

    Examples
    --------
    >>> bow = [(0, 0), (2, 2), (2, 0), (0, 2)]
    >>> crosses_itself(bow, True), crosses_itself(bow[:3], True), crosses_itself(bow, False)
    ((1.0, 1.0), None, (1.0, 1.0))
    """
    rows = [(float(x), float(y)) for x, y, *_ in points]
    if is_closed and rows:
        rows.append(rows[0])
    corners = [row for n, row in enumerate(rows) if n == 0 or row != rows[n - 1]]
    if len(corners) < 3:
        return None
    line = shapely.LineString(corners)
    if line.is_simple:
        return None
    legs = [shapely.LineString(leg) for leg in pairwise(corners)]
    tree = shapely.STRtree(legs)
    last = len(legs) - 1
    is_ring = corners[0] == corners[-1]
    for n, leg in enumerate(legs):
        for other in sorted(int(k) for k in tree.query(leg, predicate="intersects")):
            if other <= n:
                continue
            met = shapely.intersection(leg, legs[other])
            shared = [corners[other]] if other == n + 1 else []
            shared += [corners[0]] if is_ring and n == 0 and other == last else []
            if met.geom_type == "Point" and (met.x, met.y) in shared:
                continue
            if len(shared) == 2 and met.geom_type == "MultiPoint":
                continue
            x, y = (float(one) for one in shapely.get_coordinates(met)[-1])
            return x, y
    return None


def from_tape(points: Points, length_m: float, bearing_deg: float) -> tuple[float, float]:
    """The point that lies so far from the last one, along a bearing clockwise from true north, in plan.

    >>> x, y = from_tape([(0, 0), (1, 2)], 5.0, 90.0)
    >>> round(x, 9), round(y, 9)
    (6.0, 2.0)
    """
    east, north = direction(bearing_deg)
    x, y, *_ = points[-1]
    return float(x + length_m * east), float(y + length_m * north)


def snapped(point: Sequence[float], edges: Iterable[Points], within_m: float) -> tuple[float, float] | None:
    """The corner, or else the place on an edge, that is nearest to a point; None where none is near enough.

    Parameters
    ----------
    point : (x, y)
        Local metres.
    edges : iterable of sequences of (x, y)
        Lines; of an outline its first point comes again at its end.
    within_m : float

    Examples
    --------
    >>> wall = [(0, 0), (10, 0)]
    >>> snapped((5, 0.2), [wall], 0.5), snapped((9.8, 0.2), [wall], 0.5), snapped((5, 2), [wall], 0.5)
    ((5.0, 0.0), (10.0, 0.0), None)
    """
    at = np.array(point[:2], float)
    lines = [np.array([row[:2] for row in edge], float) for edge in edges]
    lines = [line for line in lines if len(line)]
    if not lines:
        return None
    corners = np.vstack(lines)
    far = np.hypot(*(corners - at).T)
    if far.min() <= within_m:
        x, y = corners[far.argmin()]
        return float(x), float(y)
    legs = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    if not legs:
        return None
    start, end = np.concatenate(legs).transpose(1, 0, 2)
    along = end - start
    length2 = (along**2).sum(axis=1)
    share = ((at - start) * along).sum(axis=1) / np.where(length2 > 0, length2, 1.0)
    feet = start + np.clip(share, 0.0, 1.0)[:, None] * along
    far = np.hypot(*(feet - at).T)
    if far.min() > within_m:
        return None
    x, y = feet[far.argmin()]
    return float(x), float(y)

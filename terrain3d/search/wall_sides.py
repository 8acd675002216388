"""What stands at a height above the ground, in plan: where a unit can be fixed, and where none fits."""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt

from terrain3d.terrain import Ground, Solids
from terrain3d.units import Floats

#: Cuts are made this much beside a height, for faces may end just there.
_HAIR_M = 1e-6
#: Ends of cuts that lie closer than this are one.
_JOINT_M = 1e-5
#: What was surveyed is built of columns on a grid, and a wall aslant to it of steps. A line that leaves the
#: corners of the steps by up to this share of their width is that wall; a box that leaves the outline by
#: this share of it on the mean is that building.
_STEP_SHARE, _WIDEST_STEP_M = 1.8, 1.0
_OFF_BOX = 0.7
#: A drawn face is straight where it bends by less than this.
_STRAIGHT_M = 0.02


@dataclass(frozen=True, eq=False)
class Side:
    """One straight side of a plan: ends (2,) seen from outside left to right, and which way out is."""

    start: Floats
    end: Floats
    outward: Floats

    @property
    def length_m(self) -> float:
        return float(np.hypot(*(self.end - self.start)))

    def at(self, along_m: float) -> Floats:
        return np.asarray(self.start + (self.end - self.start) * (along_m / self.length_m))


def plans_at(solids: Solids, ground: Ground, above_m: float) -> list[Any]:
    """The plan of each solid where it stands at a height above the ground beneath it.

    Parameters
    ----------
    solids : Solids
    ground : Ground
        Where it is not known, the nearest known height is taken.
    above_m : float

    Returns
    -------
    list of shapely geometry
        In the order of their names, local metres; empty where a solid does not reach the height, or
        only hangs over it.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0], [0, 0, 2]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    >>> heap = Solids(corners, faces, np.zeros(4, int), ("heap",))
    >>> level = Ground(-1.0, -1.0, 1.0, np.zeros((5, 5)))
    >>> [round(plans_at(heap, level, h)[0].area, 3) for h in (0.0, 1.0, 3.0)]
    [2.0, 0.5, 0.0]
    """
    height = solids.vertices[:, 2] - _carried_on(ground, solids.vertices) - above_m - _HAIR_M
    corners = solids.triangles
    over = height[corners] > 0
    cut = over.any(axis=1) & ~over.all(axis=1) & np.isfinite(height[corners]).all(axis=1)
    ends, owners = _cut_ends(solids.vertices[:, :2], corners[cut], height, over[cut]), solids.owners[cut]
    order = np.argsort(owners, kind="stable")
    lines = shapely.linestrings(np.round(ends[order] / _JOINT_M) * _JOINT_M)
    starts = np.searchsorted(owners[order], np.arange(len(solids.names) + 1))
    return [shapely.build_area(shapely.multilinestrings(lines[a:b])) for a, b in pairwise(starts)]


def fixing_plans(solids: Solids, ground: Ground, height_m: float, housing_m: float) -> list[Any]:
    """The plan of each solid where a face holds a unit: it is there above and below the unit's middle."""
    low, high = (plans_at(solids, ground, height_m + by) for by in (-housing_m, housing_m))
    return [shapely.intersection(a, b) for a, b in zip(low, high, strict=True)]


def sides(plan: Any, is_stepped: bool) -> list[list[Side]]:
    """The straight sides of a plan, ring by ring, each clockwise from its northernmost corner.

    Parameters
    ----------
    plan : shapely geometry
    is_stepped : bool
        Whether it is built of columns on a grid: then steps are taken for the wall they stand for.

    Examples
    --------
    >>> (ring,) = sides(shapely.box(0, 0, 4, 2), False)
    >>> [side.outward.tolist() for side in ring]
    [[0.0, 1.0], [1.0, 0.0], [0.0, -1.0], [-1.0, 0.0]]
    """
    rings = []
    for part in shapely.get_parts(plan):
        if not isinstance(part, shapely.Polygon) or part.is_empty:
            continue
        turned = part.normalize()  # shells clockwise, holes the other way: outside is on the left
        rings += [_sides_of(ring, is_stepped) for ring in (turned.exterior, *turned.interiors)]
    return rings


def _sides_of(ring: Any, is_stepped: bool) -> list[Side]:
    straight = shapely.simplify(_opened(shapely.get_coordinates(ring)[:-1]), _STRAIGHT_M)
    line = shapely.get_coordinates(_without_steps(straight) if is_stepped else straight)
    found = []
    for start, end in pairwise(line):
        along = end - start
        length = math.hypot(*along)
        if length > 0:
            found.append(Side(start, end, np.array([-along[1], along[0]]) / length + 0.0))
    return found


def _opened(corners: Floats) -> Any:
    """A ring that starts at its northernmost corner: no simpler line loses that one."""
    corners = np.roll(corners, -int(np.lexsort((corners[:, 0], -corners[:, 1]))[0]), axis=0)
    return shapely.LinearRing(np.vstack([corners, corners[:1]]))


def _without_steps(ring: Any) -> Any:
    """The outline that steps stand for: a rectangle where they keep close to one, as most buildings do."""
    plan = shapely.Polygon(ring)
    width = float(np.hypot(*np.diff(shapely.get_coordinates(ring), axis=0).T).min())
    box = shapely.oriented_envelope(plan)
    if shapely.symmetric_difference(plan, box).area < _OFF_BOX * width * plan.length:
        corners = shapely.get_coordinates(box.normalize().exterior)[:-1]
        return _opened(corners[::-1] if shapely.is_ccw(ring) else corners)
    return shapely.simplify(ring, min(_STEP_SHARE * width, _WIDEST_STEP_M))


def _carried_on(ground: Ground, vertices: Floats) -> Floats:
    """Heights of the ground under vertices; beyond what is known that of the nearest known node."""
    z = ground.z
    if not ground.known.all() and ground.known.any():
        rows, columns = distance_transform_edt(~ground.known, return_distances=False, return_indices=True)
        z = z[rows, columns]
    west, south, east, north = ground.bounds
    x, y = np.clip(vertices[:, 0], west, east), np.clip(vertices[:, 1], south, north)
    return Ground(ground.x0, ground.y0, ground.cell_m, z).height_at(x, y)


def _cut_ends(plan: Floats, corners: Any, height: Floats, over: Any) -> Floats:
    """(n, 2, 2) ends of the cut through each triangle that has corners over and under it."""
    # The corner that is alone on its side shares both edges that are cut.
    alone = np.where(over.sum(axis=1) == 1, over.argmax(axis=1), over.argmin(axis=1))
    rows = np.arange(len(corners))
    tip = corners[rows, alone]
    ends = np.empty((len(corners), 2, 2))
    for k in (1, 2):
        other = corners[rows, (alone + k) % 3]
        # From the lower index on, so that two triangles find the same place on the edge they share.
        a, b = np.minimum(tip, other), np.maximum(tip, other)
        share = height[a] / (height[a] - height[b])
        ends[:, k - 1] = plan[a] + share[:, None] * (plan[b] - plan[a])
    return ends

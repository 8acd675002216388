"""Things that may drive away: what stands in a survey and has the size of a car or a van."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_opening, distance_transform_edt, label, maximum_filter

from terrain3d.survey.gaps import Mask, spacing
from terrain3d.survey.lattice import lattice_over
from terrain3d.units import Floats

Indices = NDArray[np.int64]

#: Width, length and height of cars and vans, metres (common practice, no source): a small car is 1.5 by 3.4
#: and 1.4 high, a van 2.1 by 5.5 and 2.7 high, both a pulse's width wider in a survey.
_WIDTH_M, _LENGTH_M, _HEIGHT_M = (1.4, 2.5), (3.0, 6.2), (1.1, 2.8)
_CELL_M = 0.25
#: A disc of 1.25 m, wider than what may join two vehicles by chance and narrower than any, and how many cells
#: of its rim a thing loses where all is cut off that the disc does not fit into.
_BRIDGE = np.add.outer(np.arange(-2, 3) ** 2, np.arange(-2, 3) ** 2) <= 5
_RIM_CELLS = 2.5
#: Share of its rectangle that a vehicle fills.
_FILLED = 0.75
#: Of the returns in its middle at most so many lie within it, below its skin and above the ground, or came
#: through it from above: leaves give half of theirs or more from there.
_BETWEEN, _SKIN_M = 0.3, 0.3
#: What has this share of its rim beside something taller than a van is the low part of that, such as a roof
#: on a slope.
_BESIDE_TALL = 0.2
#: Returns in the middle that tell so, and how few do where none came from within: of leaves, which give half
#: from there, one in 16 shows none in four.
_FEWEST, _FEWEST_CLEAR = 6, 4
#: What is lower came from under it, or through it; pulses at the rim light both, the vehicle and the ground
#: beside it.
_LOW_M, _RIM_M = 0.3, 0.4
#: A side lies this far past the outermost returns, in their spacings: past a corner that few returns leave
#: out there would be sight.
_PAST_LAST = 0.3


@dataclass(frozen=True, eq=False)
class Vehicle:
    """A rectangle in plan (4, 2), the height of what stands in it, metres, and its points."""

    outline: Floats
    height_m: float
    members: Mask


def _told_apart(things: Indices, n: int, some: Mask, bare: Mask) -> tuple[Indices, int]:
    """Things too large for a vehicle, cut where returns of the ground show a way between two that stand side
    by side; numbered on from the others."""
    size = np.bincount(things.ravel(), minlength=n + 1) * _CELL_M**2
    large = (size > _FILLED * _WIDTH_M[1] * _LENGTH_M[1])[things] & (things > 0)
    if not (large & bare).any():
        return things, n
    own = distance_transform_edt(~some) < distance_transform_edt(~bare)
    # Where chance left out the ground between, a narrow bridge remains.
    parts, more = label(binary_opening(large & own, _BRIDGE))
    away, nearest = distance_transform_edt(parts == 0, return_indices=True)
    parts = np.where(large & own & (away < _RIM_CELLS), parts[tuple(nearest)], 0)
    return np.asarray(np.where(large, np.where(parts > 0, parts + n, 0), things), np.int64), n + more


def vehicles(xyz: Floats, above_m: Floats, stands: Mask, from_above: bool = False) -> list[Vehicle]:
    """What has the shape of a vehicle among the points of a survey.

    Parameters
    ----------
    xyz : (n, 3) float
        All returns, local metres.
    above_m : (n,) float
        Height of each above the ground beneath.
    stands : (n,) bool
        Those that may be of a vehicle: standing, and classed as neither leaves nor building.
    from_above : bool
        Whether they were seen from the air: what lies near the ground in its middle then came through it. A
        scan from the ground sees what is under a vehicle.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> ground = np.column_stack([rng.uniform(-10, 10, (4000, 2)), np.zeros(4000)])
    >>> ground = ground[(np.abs(ground[:, 0]) > 0.95) | (np.abs(ground[:, 1]) > 2.2)]
    >>> car = np.column_stack([rng.uniform(-0.9, 0.9, 80), rng.uniform(-2.2, 2.2, 80), np.full(80, 1.4)])
    >>> xyz = np.vstack([ground, car])
    >>> len(vehicles(xyz, xyz[:, 2], xyz[:, 2] > 0.3))
    1
    """
    may = np.flatnonzero(stands & (above_m < _HEIGHT_M[1]))
    if len(may) < _FEWEST:
        return []
    apart = max(spacing(xyz[:, :2]), _CELL_M) / _CELL_M
    west, south = xyz[may, :2].min(axis=0) - 1.0
    east, north = xyz[may, :2].max(axis=0) + 1.0
    lattice = lattice_over((west, south, east, north), _CELL_M)
    shape = (lattice.ny, lattice.nx)
    i, j, inside = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    cell = np.where(inside, j * lattice.nx + i, -1)
    tall = np.zeros(shape, bool)
    # What towers over a place is no vehicle's: nothing under a crown is looked at.
    high = stands & inside & (above_m >= _HEIGHT_M[1])
    tall[j[high], i[high]] = True
    top_m = np.zeros(shape)
    np.maximum.at(top_m, (j[may], i[may]), above_m[may])
    highest = maximum_filter(top_m, 3).ravel()
    some = np.zeros(shape, bool)
    some[j[may], i[may]] = True
    near = distance_transform_edt(~some) <= 1.3 * apart
    closed = (distance_transform_edt(near) > 1.3 * apart - 0.5) | some
    bare = np.zeros(shape, bool)
    low = inside & (above_m <= _LOW_M)
    bare[j[low], i[low]] = True
    by_tall = distance_transform_edt(~tall) <= 1.3 * apart
    joined, n = label(closed & ~tall, np.ones((3, 3)))
    things, n = _told_apart(np.asarray(joined, np.int64), n, some, bare & ~some)
    found = []
    areas = np.bincount(things.ravel(), minlength=n + 1)[1:] * _CELL_M**2
    least, most = 0.6 * _WIDTH_M[0] * _LENGTH_M[0], _WIDTH_M[1] * _LENGTH_M[1]
    for k in np.flatnonzero((areas >= least) & (areas <= most)):
        plan, area = things == k + 1, areas[k]
        around = binary_dilation(plan, np.ones((3, 3), bool)) & ~plan
        if by_tall[around].mean() > _BESIDE_TALL:
            continue
        own = may[plan[j[may], i[may]]]
        rectangle = shapely.minimum_rotated_rectangle(shapely.MultiPoint(xyz[own, :2]))
        corners = shapely.get_coordinates(rectangle)[:4]
        if len(corners) < 4:
            continue
        sides = np.sort(np.hypot(*(corners[1:3] - corners[:2]).T))
        top = float(np.quantile(above_m[own], 0.95))
        middle = distance_transform_edt(plan) > max(_RIM_M / _CELL_M, 0.8 * apart) + 0.5
        there = middle.ravel()[cell] & inside
        under = there & (above_m < highest[cell] - _SKIN_M)
        if not from_above:
            under &= above_m > _LOW_M
        if (
            _WIDTH_M[0] <= sides[0] <= _WIDTH_M[1]
            and _LENGTH_M[0] <= sides[1] <= _LENGTH_M[1]
            and _HEIGHT_M[0] <= top <= _HEIGHT_M[1]
            and area >= _FILLED * np.prod(sides)
            and there.sum() >= (_FEWEST if under.any() else _FEWEST_CLEAR)
            and under.sum() <= _BETWEEN * there.sum()
        ):
            members = np.zeros(len(xyz), bool)
            members[own] = True
            past_m = _PAST_LAST * float(np.sqrt(rectangle.area / len(own)))
            outline = shapely.get_coordinates(rectangle.buffer(past_m, join_style="mitre"))[:4]
            found.append(Vehicle(outline, top, members))
    return found

"""Which points of a survey are ground: as it classed them, or as a filter finds them, none off the others."""

import os
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from terrain3d.errors import InputError
from terrain3d.readers.quiet import quiet
from terrain3d.survey.classes import (
    GROUND,
    IGNORED,
    STANDS_ABOVE_M,
    STRUCTURES,
    VEGETATION,
    Classes,
    Treatment,
)
from terrain3d.survey.gaps import Mask
from terrain3d.survey.outliers import flat_doubt, flat_level, off_neighbours, stands_over
from terrain3d.survey.places import TellPlace, local_place
from terrain3d.survey.surface import within
from terrain3d.units import Floats
from terrain3d.wording import counted, listed, plain

#: Rail and road are ground where they lie level with bare ground within this, but for a slope of 35 degrees.
_BESIDE_M, _BESIDE_SLOPE = 3.0, 0.7
#: Returns of bare ground that are asked for it, at least.
_FEWEST_SURE = 6
#: Cloth of the ground filter: nodes this far apart, ground within so much of it. Measured on made
#: hillsides: at 0.5 m whole terraces behind a 2 m wall are lost, at 0.2 m roofs of 30 x 20 m are draped.
_CLOTH_M, _CLOTH_THICKNESS_M = 0.3, 0.2
_MOST_CLOTH_NODES = 500_000


def ground_points(
    xyz: Floats, classes: Classes, treatments: Sequence[Treatment] = (), tell: TellPlace = local_place
) -> tuple[Mask, Mask, tuple[str, ...]]:
    """Ground: as the survey classed it, or else as the filter finds it.

    Parameters
    ----------
    xyz : (n, 3) float
        Local metres.
    classes : (n,) uint8
        ASPRS classes.
    treatments : sequence of Treatment
    tell : callable
        A place in local metres in words, for doubts.

    Returns
    -------
    (n,) bool
    (n,) bool
        Returns that are called ground and stand off it: they are nothing.
    doubts

    Raises
    ------
    InputError
        Where the heights are above the ground already.
    """
    ground = np.isin(classes, GROUND)
    doubts: tuple[str, ...] = ()
    classed = bool(np.any(classes == 2))
    if not classed:
        ground = np.zeros(len(xyz), bool)
        candidates = ~np.isin(classes, VEGETATION + STRUCTURES + IGNORED)
        ground[candidates] = filtered_ground(xyz[candidates])
        doubts = (
            "the survey does not class its points as ground: ground was filtered from all points "
            "(cloth simulation), so check it where banks, walls or low growth stand",
        )
    level = flat_level(xyz[ground, 2])
    if level is not None:
        _refuse_heights_above_it(level, float(xyz[:, 2].max()))
        doubts += (flat_doubt(level),)
    off = np.zeros(len(xyz), bool)
    off[np.flatnonzero(ground)[off_neighbours(xyz[ground])]] = True
    if off.any():
        doubts += (_told_off(xyz, classes, off, classed, tell),)
    ground &= ~off
    above = _off_the_sure(xyz, classes, ground)
    if above.any():
        doubts += (
            f"{counted(int(above.sum()), 'return')} of classes 10 and 11 (rail, road) off the ground beside: "
            "taken for something that stands on it",
        )
    ground &= ~above
    for treatment in treatments:
        if treatment.take_as == "ground":
            inside = within(treatment.outline, xyz[:, 0], xyz[:, 1])
            ground |= inside & ~np.isin(classes, IGNORED)
    return ground, off & ~ground, doubts


def _refuse_heights_above_it(level: float, highest_z: float) -> None:
    """Refuse a cloud whose ground is flat to the millimetre, with something on it."""
    if stands_over(level, highest_z):
        raise InputError(
            f"its ground is flat to the millimetre, {plain(level, 3)} m throughout: its heights are "
            "above the ground already, and the shape of the land is not in it",
            "site.toml: ground.file",
            'give [ground] heights = "above ground" and the land as terrain, an elevation grid',
        )


def _off_the_sure(xyz: Floats, classes: Classes, ground: Mask) -> Mask:
    """Returns of rail and road that lie off the returns of bare ground beside them: a bridge, a deck."""
    sure, other = ground & (classes == GROUND[0]), ground & np.isin(classes, GROUND[1:])
    above = np.zeros(len(xyz), bool)
    if sure.sum() < _FEWEST_SURE or not other.any():
        return above
    k = list(range(1, _FEWEST_SURE + 1))
    found: Any = cKDTree(xyz[sure, :2]).query(xyz[other, :2], k=k, distance_upper_bound=_BESIDE_M)
    away, near = found
    enough = np.isfinite(away[:, 2])
    rows = np.flatnonzero(other)[enough]
    beside = np.where(np.isfinite(away), xyz[sure, 2][np.minimum(near, sure.sum() - 1)], np.nan)[enough]
    off = np.abs(xyz[rows, 2] - np.nanmedian(beside, axis=1))
    above[rows[off > STANDS_ABOVE_M + _BESIDE_SLOPE * away[enough, 2]]] = True
    return above


def _told_off(xyz: Floats, classes: Classes, off: Mask, classed: bool, tell: TellPlace) -> str:
    """Returns called ground that stand off it, counted and placed."""
    far = np.flatnonzero(off)[np.argmax(xyz[off, 2])]
    counts = np.bincount(classes[off])
    of_class = listed([f"{counts[k]} of class {k}" for k in np.flatnonzero(counts)])
    of_what = of_class if classed else "found by the filter"
    x, y, z = (float(v) for v in xyz[far])
    return (
        f"left out, for the ground around lies elsewhere: {counted(int(off.sum()), 'return')} taken for "
        f"ground ({of_what}), the highest at {tell(x, y)}, at "
        f"a height of {round(z, 1):g} m"
    )


def filtered_ground(xyz: Floats) -> Mask:
    """Ground points by cloth simulation (Zhang et al. 2016, Remote Sensing 8:501).

    Notes
    -----
    The cloth falls along z, so the site's mean slope is taken out first: the answer on a steep
    site is then that on a level one.
    """
    found = np.zeros(len(xyz), bool)
    if len(xyz) < 4:
        return ~found
    # Its threads wait for each other at full speed unless told otherwise before it is loaded: beside other
    # work on the same processors that takes many times as long.
    os.environ.setdefault("OMP_WAIT_POLICY", "passive")
    import CSF

    flat = _without_slope(xyz)
    extent = np.ptp(flat[:, :2], axis=0)
    # The filter prints from C++; results of ours may be going to the same place.
    with quiet(1):
        cloth = CSF.CSF()
        cloth.params.bSloopSmooth = True
        cloth.params.cloth_resolution = max(_CLOTH_M, float(np.sqrt(np.prod(extent) / _MOST_CLOTH_NODES)))
        cloth.params.rigidness = 2
        cloth.params.class_threshold = _CLOTH_THICKNESS_M
        cloth.setPointCloud(flat)
        below, above = CSF.VecInt(), CSF.VecInt()
        cloth.do_filtering(below, above, False)
    found[np.array(below, dtype=np.int64)] = True
    return found


def _without_slope(xyz: Floats) -> Floats:
    """Heights above a plane through the lowest points: a robust fit to the lowest of each 2 m square."""
    x, y, z = (xyz - xyz.min(axis=0)).T
    square = np.floor(y / 2).astype(np.int64) * (int(x.max() / 2) + 1) + np.floor(x / 2).astype(np.int64)
    order = np.lexsort((z, square))
    first = np.concatenate([[True], np.diff(square[order]) > 0])
    low = order[first]
    design = np.column_stack([x, y, np.ones(len(x))])
    keep = np.ones(len(low), bool)
    fit = np.zeros(3)
    for _ in range(10):
        fit = np.linalg.lstsq(design[low][keep], z[low][keep], rcond=None)[0]
        rest = z[low] - design[low] @ fit
        # Squares under a roof or a crown hold no ground: they lie above the others.
        keep = rest < np.median(rest) + 0.5
    return np.column_stack([x, y, z - design @ fit])

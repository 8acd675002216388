"""Which points of a survey are ground, and what stands on it: solid, foliage or nothing."""

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from terrain3d.errors import InputError
from terrain3d.readers.quiet import quiet
from terrain3d.survey.connected import connected
from terrain3d.survey.gaps import Mask, spacing
from terrain3d.survey.outliers import flat_level, off_neighbours
from terrain3d.survey.surface import within
from terrain3d.survey.vehicles import Vehicle, vehicles
from terrain3d.units import Floats
from terrain3d.wording import counted, listed, pair, plain

Classes = NDArray[np.uint8]
Indices = NDArray[np.int32]

#: ASPRS LAS 1.4 standard classes. Water (9) reflects what it likes: no ground to stand on.
GROUND = (2, 10, 11)
VEGETATION = (3, 4, 5)
STRUCTURES = (6, 15, 17, 19)
#: Wires, their fittings, water, noise and points withdrawn by the surveyor.
IGNORED = (7, 9, 13, 14, 16, 18, 20, 21, 22)

#: Rail and road are ground where they lie level with bare ground within this, but for a slope of 35 degrees.
_BESIDE_M, _BESIDE_SLOPE = 3.0, 0.7
#: Lower things are grass, kerbs and noise of the survey.
STANDS_ABOVE_M = 0.3
#: Cloth of the ground filter: nodes this far apart, ground within so much of it. Measured on made
#: hillsides: at 0.5 m whole terraces behind a 2 m wall are lost, at 0.2 m roofs of 30 x 20 m are draped.
_CLOTH_M, _CLOTH_THICKNESS_M = 0.3, 0.2
_MOST_CLOTH_NODES = 500_000

#: Points are taken together in cubes of this side before their shape is judged, so that dense surveys
#: with noise of some centimetres are judged over half a metre or so, not over their noise.
_CUBE_M = 0.25
_NEIGHBOURS = 24
#: Places in plan that tell of a strip, at most: all within reach of one.
_PLAN_NEIGHBOURS = 48
#: Places whose neighbours are looked at together: they and theirs stay in the processor's own memory.
_AT_A_TIME = 20_000
#: Fewer points than this together have no shape.
_FEWEST = 6
#: Noise of a survey that must not make a face look thick: what QL1 and QL2 allow (RMSE 10 cm) or nearly.
_NOISE_M = 0.08
#: A neighbourhood thinner than this share of its width is a face. Measured: faces of roofs and walls
#: give 0.05 to 0.2, crowns 0.4 to 0.9 (tests/reference/test_real_clouds.py).
_FACE = 0.28
#: Neighbours farther than this, or than so many spacings, do not tell of a point's shape.
_NEAR_M, _NEAR_SPACINGS = 1.5, 4.0
#: A straight strip in plan, all that the air sees of a free-standing wall, a fence or a gate; higher up it is
#: a wire. Wide as a wall of 0.3 m in pulses that light a quarter of a metre.
_LINE, _LINE_WIDE_M, _LINE_BELOW_M = 0.25, 0.15, 2.5
#: A strip goes on to points this near to it, so far off its line at most.
_CARRIED_M, _CARRIED_OFF_M = 5.0, 0.25
#: Points that tell of the direction of a strip at its corner with another, at least.
_FEWEST_ON_LINE = 4
#: Low returns over ground of no class are leaves where higher leaves stand over them; lower ones are noise.
_LOW_M = 0.08
#: Faces smaller than this in plan with nothing below them for so far are taken for leaves: a flat spray
#: of a crown, which as a solid would stand as a tower down to the ground.
_AFLOAT_M2, _AFLOAT_M = 4.0, 2.5
#: Added to the ratio where every pulse near gave several returns: leaves let part of it through.
_SEVERAL_RETURNS = 0.3


@dataclass(frozen=True, eq=False)
class Treatment:
    """What points standing above the ground inside an outline are taken for."""

    outline: Floats
    take_as: str


@dataclass(frozen=True, eq=False)
class Standing:
    """Masks over the points of a survey, and what a person should know about them.

    `thin` are those of the solid ones that stand on a line: walls, fences, gates. `low` are neither ground
    nor anything that stands: growth that is lower than `STANDS_ABOVE_M`, or the foot of a hedge.
    """

    solid: Mask
    leaf: Mask
    thin: Mask
    low: Mask
    vehicles: tuple[Vehicle, ...] = ()
    doubts: tuple[str, ...] = ()


def ground_points(
    xyz: Floats, classes: Classes, treatments: Sequence[Treatment] = ()
) -> tuple[Mask, Mask, tuple[str, ...]]:
    """Ground: as the survey classed it, or else as the filter finds it.

    Parameters
    ----------
    xyz : (n, 3) float
        Local metres.
    classes : (n,) uint8
        ASPRS classes.

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
    _refuse_flat(xyz, ground)
    off = np.zeros(len(xyz), bool)
    off[np.flatnonzero(ground)[off_neighbours(xyz[ground])]] = True
    if off.any():
        doubts += (_told_off(xyz, classes, off, classed),)
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


def _refuse_flat(xyz: Floats, ground: Mask) -> None:
    """Refuse a cloud whose ground is flat to the millimetre, with something on it."""
    level = flat_level(xyz[ground, 2], float(xyz[:, 2].max(initial=-np.inf)))
    if level is not None:
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
    if sure.sum() < _FEWEST or not other.any():
        return above
    k = list(range(1, _FEWEST + 1))
    found: Any = cKDTree(xyz[sure, :2]).query(xyz[other, :2], k=k, distance_upper_bound=_BESIDE_M)
    away, near = found
    enough = np.isfinite(away[:, 2])
    rows = np.flatnonzero(other)[enough]
    beside = np.where(np.isfinite(away), xyz[sure, 2][np.minimum(near, sure.sum() - 1)], np.nan)[enough]
    off = np.abs(xyz[rows, 2] - np.nanmedian(beside, axis=1))
    above[rows[off > STANDS_ABOVE_M + _BESIDE_SLOPE * away[enough, 2]]] = True
    return above


def _told_off(xyz: Floats, classes: Classes, off: Mask, classed: bool) -> str:
    """Returns called ground that stand off it, counted and placed."""
    far = np.flatnonzero(off)[np.argmax(xyz[off, 2])]
    counts = np.bincount(classes[off])
    of_class = listed([f"{counts[k]} of class {k}" for k in np.flatnonzero(counts)])
    of_what = of_class if classed else "found by the filter"
    x, y, z = (float(v) for v in xyz[far])
    return (
        f"left out, for the ground around lies elsewhere: {counted(int(off.sum()), 'return')} taken for "
        f"ground ({of_what}), the highest at {pair(round(x, 1), round(y, 1))} in local metres, at "
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


def sort_standing(
    xyz: Floats,
    above_m: Floats,
    classes: Classes,
    n_returns: Classes,
    ground: Mask,
    treatments: Sequence[Treatment] = (),
) -> Standing:
    """What stands above the ground, split into solid and foliage.

    Parameters
    ----------
    above_m : (n,) float
        Height of each point above the ground beneath it.
    ground : (n,) bool

    Notes
    -----
    Vegetation classes are believed. Points without a class are judged by the shape of their
    neighbourhood; so are structures, since classifiers take crowns over roofs for roof: those
    that look like leaves, or float alone in the air, are taken for leaves, and the share is told.
    """
    stands = (above_m > STANDS_ABOVE_M) & ~ground & ~np.isin(classes, IGNORED)
    leaf = stands & np.isin(classes, VEGETATION)
    judged = np.flatnonzero(stands & ~leaf)
    leaf[judged], on_line = shapes_of(xyz[judged], above_m[judged], n_returns[judged])
    on_line = _along_strips(xyz[judged, :2], on_line, above_m[judged] < _LINE_BELOW_M)
    line = np.zeros(len(xyz), bool)
    line[judged] = on_line
    leaf[judged] &= ~on_line
    structure = stands & np.isin(classes, STRUCTURES)
    doubts = []
    # Each pulse of a scan from the ground gives one return, some of those from the air give several.
    from_above = bool(n_returns.max(initial=1) > 1)
    driven = vehicles(xyz, above_m, stands & ~np.isin(classes, VEGETATION + STRUCTURES), from_above)
    for vehicle in driven:
        leaf &= ~vehicle.members
        line &= ~vehicle.members
    face = np.flatnonzero(stands & ~leaf)
    leaf[face[afloat(xyz[face], above_m[face])]] = True
    solid = stands & ~leaf
    told = np.zeros(len(xyz), bool)
    taken = leaf & structure
    for treatment in treatments:
        inside = stands & within(treatment.outline, xyz[:, 0], xyz[:, 1])
        told |= inside
        solid[inside] = treatment.take_as == "solid"
        leaf[inside] = treatment.take_as == "foliage"
    taken &= ~told
    if taken.sum() > 0.02 * structure.sum():
        doubts.append(
            f"{taken.sum() / structure.sum():.0%} of the points classed as building look like foliage "
            "and are taken for it; [[treat]] outlines can say otherwise"
        )
    unknown = stands & ~structure & ~np.isin(classes, VEGETATION) & ~told
    if unknown.sum() > 0.02 * stands.sum():
        doubts.append(
            f"{unknown.sum() / stands.sum():.0%} of the points standing above the ground "
            f"{_unsaid(classes[unknown])} and "
            "were split into solid and foliage by their shape; [[treat]] outlines can say otherwise"
        )
    low = ~ground & (above_m > _LOW_M) & (above_m <= STANDS_ABOVE_M)
    low &= ~np.isin(classes, IGNORED + STRUCTURES)
    return Standing(solid, leaf, solid & line & ~told, low, tuple(driven), tuple(doubts))


def shapes_of(xyz: Floats, above_m: Floats, n_returns: Classes) -> tuple[Mask, Mask]:
    """Whether each point's neighbourhood is a volume rather than a face, and whether it stands on a line in
    plan.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> roof = np.column_stack([rng.uniform(0, 5, (500, 2)), rng.normal(4, 0.03, 500)])
    >>> crown = rng.uniform((10, 0, 2), (15, 5, 7), (2000, 3))
    >>> ones = np.ones(2500, np.uint8)
    >>> leaves, _ = shapes_of(np.vstack([roof, crown]), np.full(2500, 4.0), ones)
    >>> bool(leaves[:500].mean() < 0.01), bool(leaves[500:].mean() > 0.98)
    (True, True)
    """
    if len(xyz) < _FEWEST:
        return np.ones(len(xyz), bool), np.zeros(len(xyz), bool)
    cube = np.floor((xyz - xyz.min(axis=0)) / _CUBE_M).astype(np.int64)
    nx, ny, _ = cube.max(axis=0) + 1
    _, which, n = np.unique(
        (cube[:, 2] * ny + cube[:, 1]) * nx + cube[:, 0], return_inverse=True, return_counts=True
    )
    middle = np.column_stack([np.bincount(which, column) / n for column in xyz.T])
    height = np.bincount(which, above_m) / n
    several = np.bincount(which, n_returns > 1) / n
    reach = max(_NEAR_M, _NEAR_SPACINGS * spacing(xyz[:, :2]))
    near, spread = _neighbourhoods(middle, _NEIGHBOURS, reach)
    thin, across, _ = spread.T
    thickness = np.sqrt(np.maximum(thin**2 - _NOISE_M**2, 0)) / np.maximum(across, 1e-9)
    strip = _on_strips(middle, reach)
    thickness[strip & (height < _LINE_BELOW_M)] = 0.0
    thickness += _SEVERAL_RETURNS * np.maximum(_mean_of(near, several) - 0.5, 0) * 2
    thickness[(near >= 0).sum(axis=1) < _FEWEST] = np.inf
    # A ridge or a corner has neighbours in the faces beside it, a stray twig in the crown around it.
    thickness = _median_of(near, thickness)
    line = strip & (height < _LINE_BELOW_M)
    return np.asarray((thickness > _FACE)[which]), np.asarray(line[which])


def _on_strips(xyz: Floats, reach_m: float) -> Mask:
    """Points whose neighbours lie on a straight, narrow strip in plan, most of them on such strips too."""
    _, which = np.unique(np.floor(xyz[:, :2] / _CUBE_M).astype(np.int64), axis=0, return_inverse=True)
    which = which.ravel()
    middle = np.column_stack([np.bincount(which, column) / np.bincount(which) for column in xyz[:, :2].T])
    near, spread = _neighbourhoods(middle, _PLAN_NEIGHBOURS, reach_m)
    wide, long = spread.T
    strip = (wide < _LINE_WIDE_M) & (wide < _LINE * long)
    return np.asarray((_mean_of(near, strip.astype(float)) > 0.5)[which])


def _neighbourhoods(places: Floats, n: int, reach_m: float) -> tuple[Indices, Floats]:
    """(m, n) the places nearest to each, itself among them, -1 beyond reach; and how far they spread along
    their axes (standard deviations, least first)."""
    tree, k = cKDTree(places), list(range(1, min(n, len(places)) + 1))
    nearest = np.empty((len(places), len(k)), np.int32)
    spread = np.empty(places.shape)
    for part in _parts(len(places)):
        found: Any = tree.query(places[part], k=k)
        away, near = found
        within_reach = away <= reach_m
        near = np.where(within_reach, near, 0)
        share = (within_reach / within_reach.sum(axis=1, keepdims=True))[..., None]
        around = places[near]
        around -= (around * share).sum(axis=1, keepdims=True)
        moments = (around * share).transpose(0, 2, 1) @ around
        spread[part] = np.sqrt(np.maximum(np.linalg.eigvalsh(moments), 0))
        nearest[part] = np.where(within_reach, near, -1)
    return nearest, spread


def _mean_of(near: Indices, values: Floats) -> Floats:
    """Mean of a value over the places near each, -1 standing for none."""
    mean = np.empty(len(near))
    for part in _parts(len(near)):
        there = near[part] >= 0
        mean[part] = np.where(there, values[near[part]], 0.0).sum(axis=1) / there.sum(axis=1)
    return mean


def _median_of(near: Indices, values: Floats) -> Floats:
    """Median of a value over the places near each, -1 standing for none.

    >>> _median_of(np.array([[0, 1, 2], [1, 2, -1]], np.int32), np.array([1.0, 2.0, np.inf]))
    array([ 2., inf])
    """
    median = np.empty(len(near))
    for part in _parts(len(near)):
        there = near[part] >= 0
        # What is none goes last.
        ranked = np.sort(np.where(there, values[near[part]], np.nan), axis=1)
        n = there.sum(axis=1)
        rows = np.arange(len(n))
        median[part] = (ranked[rows, (n - 1) // 2] + ranked[rows, n // 2]) / 2
    return median


def _parts(n: int) -> Iterator[slice]:
    """Parts of so many places that what is worked out for each of their neighbours stays small."""
    return (slice(start, start + _AT_A_TIME) for start in range(0, n, _AT_A_TIME))


def _along_strips(xy: Floats, on_strip: Mask, may: Mask) -> Mask:
    """Points on strips, with those that only are too few to show a shape.

    They carry on the line of the points on a strip near them, and nothing stands beside it but other strips:
    where a gate hangs at the end of a fence, the two make a corner.
    """
    rest = np.flatnonzero(may & ~on_strip)
    if on_strip.sum() < _FEWEST or not len(rest):
        return on_strip
    carried = on_strip.copy()
    strip_xy = xy[on_strip]
    middle, ahead = _lines_through(strip_xy)
    strips = cKDTree(strip_xy)
    nearest_ones = list(range(1, min(_NEIGHBOURS, len(strip_xy)) + 1))
    found: Any = strips.query(xy[rest], k=nearest_ones, distance_upper_bound=_CARRIED_M)
    away, near = found
    whole = np.isfinite(away[:, _FEWEST - 1])
    rest, near = rest[whole], np.where(np.isfinite(away), near, near[:, :1])[whole]
    across = _off(ahead[near], xy[rest][:, None] - middle[near])
    # Directions are not known where no line goes through the points of a strip: those are NaN.
    on_line = np.abs(across) < _CARRIED_OFF_M
    others = cKDTree(xy[~on_strip])
    for k, nearest, on in zip(rest, near, on_line, strict=True):
        around = xy[~on_strip][others.query_ball_point(xy[k], 1.0)]
        for of in nearest[on]:
            beside = np.abs(_off(ahead[of], around - middle[of])) > 2 * _CARRIED_OFF_M
            if beside.sum() <= 1:
                carried[k] = True
                break
    return carried


def _off(ahead: Floats, to: Floats) -> Floats:
    """How far places lie to the left of lines with these directions."""
    return np.asarray(ahead[..., 0] * to[..., 1] - ahead[..., 1] * to[..., 0])


def _lines_through(xy: Floats) -> tuple[Floats, Floats]:
    """A point on the line through each point of a strip and those nearest to it, and its direction; NaN where
    they lie on none.

    At a corner of two strips those farther away belong to the other one, and are left out.
    """
    found: Any = cKDTree(xy).query(xy, k=_FEWEST, distance_upper_bound=_CARRIED_M)
    away, near = found
    middle, ahead = np.full((len(xy), 2), np.nan), np.full((len(xy), 2), np.nan)
    for n in range(_FEWEST, _FEWEST_ON_LINE - 1, -1):
        open_ = np.flatnonzero(np.isnan(middle[:, 0]) & np.isfinite(away[:, n - 1]))
        around = xy[near[open_, :n]]
        centre = around.mean(axis=1)
        spread = around - centre[:, None]
        values, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", spread, spread) / n)
        wide, long = np.sqrt(np.maximum(values, 0)).T
        straight = (wide < _LINE_WIDE_M) & (wide < _LINE * long)
        middle[open_[straight]], ahead[open_[straight]] = centre[straight], axes[straight, :, 1]
    return middle, ahead


def afloat(xyz: Floats, above_m: Floats) -> Mask:
    """Points of small things that hang together with nothing near the ground.

    Examples
    --------
    >>> x, y = (a.ravel() for a in np.mgrid[0:1:0.25, 0:1:0.25])
    >>> patch = np.column_stack([x, y, np.full(16, 8.0)])
    >>> post = np.column_stack([np.full(32, 5.0), np.zeros(32), np.arange(0.5, 8.5, 0.25)])
    >>> both = np.vstack([patch, post])
    >>> afloat(both, both[:, 2]).sum()        # the patch alone
    np.int64(16)
    """
    if len(xyz) < 2:
        return above_m > _AFLOAT_M
    side = max(0.5, 2 * spacing(xyz[:, :2]))
    n, thing = connected(xyz, side)
    cubes = np.floor(xyz / side).astype(np.int64)
    lowest = np.full(n, np.inf)
    np.minimum.at(lowest, thing, above_m)
    plan = np.unique(np.column_stack([thing, cubes[:, :2]]), axis=0)
    area_m2 = np.bincount(plan[:, 0], minlength=n) * side**2
    return np.asarray(((area_m2 < _AFLOAT_M2) & (lowest > _AFLOAT_M))[thing])


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


def _unsaid(classes: Classes) -> str:
    """What is said of points whose classes do not tell solid from foliage.

    >>> _unsaid(np.array([0, 1], np.uint8)), _unsaid(np.array([1, 31, 31], np.uint8))
    ('have no class', 'are of classes that tell neither solid nor foliage (1 and 31)')
    """
    numbers = np.unique(classes).tolist()
    if max(numbers) <= 1:
        return "have no class"
    return f"are of classes that tell neither solid nor foliage ({listed([str(n) for n in numbers])})"

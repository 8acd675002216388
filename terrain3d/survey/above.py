"""Which points of a survey are ground, and what stands on it: solid, foliage or nothing."""

import os
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from terrain3d.readers.quiet import quiet
from terrain3d.survey.gaps import Mask, spacing
from terrain3d.survey.surface import within
from terrain3d.units import Floats
from terrain3d.wording import listed

Classes = NDArray[np.uint8]

#: ASPRS LAS 1.4 standard classes. Water (9) reflects what it likes: no ground to stand on.
GROUND = (2, 10, 11)
VEGETATION = (3, 4, 5)
STRUCTURES = (6, 15, 17, 19)
#: Wires, their fittings, water, noise and points withdrawn by the surveyor.
IGNORED = (7, 9, 13, 14, 16, 18, 20, 21, 22)

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
#: Noise of a survey that must not make a face look thick: what QL1 and QL2 allow (RMSE 10 cm) or nearly.
_NOISE_M = 0.08
#: A neighbourhood thinner than this share of its width is a face. Measured: faces of roofs and walls
#: give 0.05 to 0.2, crowns 0.4 to 0.9 (tests/reference/test_real_clouds.py).
_FACE = 0.28
#: A straight top edge, all that the air sees of a free-standing wall; higher up it is a wire.
_LINE, _LINE_WIDE_M, _LINE_BELOW_M = 0.2, 0.1, 2.5
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
    """Masks over the points of a survey, and what a person should know about them."""

    solid: Mask
    leaf: Mask
    doubts: tuple[str, ...] = ()


def ground_points(
    xyz: Floats, classes: Classes, treatments: Sequence[Treatment] = ()
) -> tuple[Mask, tuple[str, ...]]:
    """Ground: as the survey classed it, or else as the filter finds it.

    Parameters
    ----------
    xyz : (n, 3) float
        Local metres.
    classes : (n,) uint8
        ASPRS classes.

    Returns
    -------
    (n,) bool, and doubts
    """
    ground = np.isin(classes, GROUND)
    doubts: tuple[str, ...] = ()
    if not np.any(classes == 2):
        ground = np.zeros(len(xyz), bool)
        candidates = ~np.isin(classes, VEGETATION + STRUCTURES + IGNORED)
        ground[candidates] = filtered_ground(xyz[candidates])
        doubts = (
            "the survey does not class its points as ground: ground was filtered from all points "
            "(cloth simulation), so check it where banks, walls or low growth stand",
        )
    for treatment in treatments:
        if treatment.take_as == "ground":
            inside = within(treatment.outline, xyz[:, 0], xyz[:, 1])
            ground |= inside & ~np.isin(classes, IGNORED)
    return ground, doubts


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
    leaf[judged] = looks_like_leaves(xyz[judged], above_m[judged], n_returns[judged])
    structure = stands & np.isin(classes, STRUCTURES)
    doubts = []
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
    return Standing(solid, leaf, tuple(doubts))


def looks_like_leaves(xyz: Floats, above_m: Floats, n_returns: Classes) -> Mask:
    """Whether each point's neighbourhood is a volume rather than a face.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> roof = np.column_stack([rng.uniform(0, 5, (500, 2)), rng.normal(4, 0.03, 500)])
    >>> crown = rng.uniform((10, 0, 2), (15, 5, 7), (2000, 3))
    >>> ones = np.ones(2500, np.uint8)
    >>> leaves = looks_like_leaves(np.vstack([roof, crown]), np.full(2500, 4.0), ones)
    >>> bool(leaves[:500].mean() < 0.01), bool(leaves[500:].mean() > 0.98)
    (True, True)
    """
    if len(xyz) <= _NEIGHBOURS:
        return np.ones(len(xyz), bool)
    cube = np.floor((xyz - xyz.min(axis=0)) / _CUBE_M).astype(np.int64)
    nx, ny, _ = cube.max(axis=0) + 1
    _, which, n = np.unique(
        (cube[:, 2] * ny + cube[:, 1]) * nx + cube[:, 0], return_inverse=True, return_counts=True
    )
    middle = np.column_stack([np.bincount(which, column) / n for column in xyz.T])
    height = np.bincount(which, above_m) / n
    several = np.bincount(which, n_returns > 1) / n
    _, near = cKDTree(middle).query(middle, k=min(_NEIGHBOURS, len(middle)))
    spread = middle[near] - middle[near].mean(axis=1, keepdims=True)
    width = np.sqrt(np.maximum(np.linalg.eigvalsh(np.einsum("nki,nkj->nij", spread, spread)), 0))
    width /= np.sqrt(near.shape[1])
    thin, across, along = width.T
    thickness = np.sqrt(np.maximum(thin**2 - _NOISE_M**2, 0)) / np.maximum(across, 1e-9)
    line = (across < _LINE_WIDE_M) & (across < _LINE * along) & (height < _LINE_BELOW_M)
    thickness[line] = 0.0
    thickness += _SEVERAL_RETURNS * np.maximum(several[near].mean(axis=1) - 0.5, 0) * 2
    # A ridge or a corner has neighbours in the faces beside it, a stray twig in the crown around it.
    return np.asarray((np.median(thickness[near], axis=1) > _FACE)[which])


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
    cubes, which = np.unique(np.floor(xyz / side).astype(np.int64), axis=0, return_inverse=True)
    which = which.ravel()
    # Cubes that touch, at a corner at least.
    pairs = cKDTree(cubes).query_pairs(1.75, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(cubes),) * 2)
    n, thing = connected_components(links, directed=False)
    lowest = np.full(n, np.inf)
    np.minimum.at(lowest, thing[which], above_m)
    plan = np.unique(np.column_stack([thing, cubes[:, :2]]), axis=0)
    area_m2 = np.bincount(plan[:, 0], minlength=n) * side**2
    return np.asarray(((area_m2 < _AFLOAT_M2) & (lowest > _AFLOAT_M))[thing[which]])


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

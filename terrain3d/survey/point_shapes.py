"""What points stand on, by the shape of what lies around each: a volume, a face, a line, or nothing."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from terrain3d.survey.classes import Classes
from terrain3d.survey.connected import connected
from terrain3d.survey.gaps import Mask, spacing
from terrain3d.units import Floats

Indices = NDArray[np.int32]
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
#: What is thicker may be the top of a low block with its sides: without the share of places that lies
#: farthest off, tops lie within noise.
_SIDES, _TOP = 0.2, 0.06
#: Neighbours farther than this, or than so many spacings, do not tell of a point's shape.
_NEAR_M, _NEAR_SPACINGS = 1.5, 4.0
#: A straight strip in plan, all that the air sees of a free-standing wall, a fence or a gate; higher up it is
#: a wire. Wide as a wall of 0.3 m in pulses that light a quarter of a metre.
_LINE, _LINE_WIDE_M, _LINE_BELOW_M = 0.25, 0.15, 2.5
#: A strip goes on to points this near to it, so far off its line at most.
_CARRIED_M, _CARRIED_OFF_M = 5.0, 0.25
#: Points that tell of the direction of a strip at its corner with another, at least.
_FEWEST_ON_LINE = 4
#: Places on strips that tell of the line of one, as many of them as lie on it.
_TELL_OF_STRIP = (24, 12, 6)
#: Nothing but strips stands so near to one, but for so many places at a corner.
_BESIDE_M, _FEW_BESIDE = 1.0, 2
#: Faces smaller than this in plan with nothing below them for so far are taken for leaves: a flat spray
#: of a crown, which as a solid would stand as a tower down to the ground.
_AFLOAT_M2, _AFLOAT_M = 4.0, 2.5
#: Added to the ratio where every pulse near gave several returns: leaves let part of it through.
_SEVERAL_RETURNS = 0.3


def shapes_of(xyz: Floats, above_m: Floats, n_returns: Classes) -> tuple[Mask, Mask]:
    """Which points stand in a volume rather than on a face, and which on a line in plan.

    Parameters
    ----------
    xyz : (n, 3) float
        Points that stand above the ground, local metres.
    above_m : (n,) float
        Height of each above the ground beneath it.
    n_returns : (n,) uint8
        Of the pulse that each is of.

    Returns
    -------
    (n,) bool
        Leaves, by the shape of what lies around.
    (n,) bool
        Walls, fences and gates, of which none are leaves.

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
    low = height < _LINE_BELOW_M
    thickness[low & (thickness > _FACE) & _on_top(middle, near, several)] = 0.0
    line = strip & low
    on_line = _along_strips(xyz[:, :2], line[which], above_m < _LINE_BELOW_M)
    return np.asarray((thickness > _FACE)[which] & ~on_line), on_line


def _on_strips(xyz: Floats, reach_m: float) -> Mask:
    """Points whose neighbours lie on a straight, narrow strip in plan, most of them on such strips too."""
    _, which = np.unique(np.floor(xyz[:, :2] / _CUBE_M).astype(np.int64), axis=0, return_inverse=True)
    which = which.ravel()
    middle = np.column_stack([np.bincount(which, column) / np.bincount(which) for column in xyz[:, :2].T])
    strip = _straight(middle, reach_m)
    strip |= _at_corners(middle, strip, reach_m)
    return np.asarray(strip[which])


def _straight(places: Floats, reach_m: float) -> Mask:
    near, spread = _neighbourhoods(places, _PLAN_NEIGHBOURS, reach_m)
    strip = _narrow(spread)
    return np.asarray(_mean_of(near, strip.astype(float)) > 0.5)


def _narrow(spread: Floats) -> Mask:
    wide, long = spread.T
    return np.asarray((wide < _LINE_WIDE_M) & (wide < _LINE * long))


def _at_corners(places: Floats, strip: Mask, reach_m: float) -> Mask:
    """Places in plan that are on a strip but for another one that meets it there.

    They lie on the line of a strip near them, or on none; and what else is near, but for strips and their
    lines, is straight itself, or next to nothing.
    """
    found, rest = np.zeros(len(places), bool), np.flatnonzero(~strip)
    if strip.sum() < _FEWEST or not len(rest):
        return found
    middle, ahead = _lines_through(places[strip], _TELL_OF_STRIP, reach_m)
    nearest = list(range(1, min(_NEIGHBOURS, int(strip.sum())) + 1))
    query: Any = cKDTree(places[strip]).query(places[rest], k=nearest, distance_upper_bound=reach_m)
    away, near = query
    near = np.where(np.isfinite(away), near, 0)
    across = np.abs(_off(ahead[near], places[rest][:, None] - middle[near]))
    carried = (np.isfinite(away) & (across < _CARRIED_OFF_M)).any(axis=1)
    others = places[rest[~carried]]
    if len(others) >= _FEWEST_ON_LINE:
        found[rest[~carried]] = _straight(others, reach_m) & (
            _count(others, others, reach_m) >= _FEWEST_ON_LINE
        )
    left = others[~found[rest[~carried]]]
    # The corner itself may lie on neither line; what is wider leaves more.
    few = _count(left, places[rest], _BESIDE_M) <= _FEW_BESIDE
    beside = _count(places[rest[carried]], places[rest], _BESIDE_M) >= _FEWEST
    found[rest] |= few & (carried | beside)
    return found


def _count(of: Floats, around: Floats, reach_m: float) -> Indices:
    """How many places lie within reach of each of some others."""
    if not len(of):
        return np.zeros(len(around), np.int32)
    return np.asarray(cKDTree(of).query_ball_point(around, reach_m, return_length=True), np.int32)


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


def _on_top(places: Floats, near: Indices, several: Floats) -> Mask:
    """Places whose neighbours, but for a few, lie on one even face: the top of a block with its sides."""
    on_top = np.empty(len(places))
    for part in _parts(len(places)):
        there = near[part] >= 0
        around, keep = places[near[part]], there
        n_kept = np.ceil(there.sum(axis=1) * (1 - _SIDES)).astype(np.int64)
        for _ in range(2):
            off, _, axes = _axes(around, keep)
            from_plane = np.where(there, np.abs((off @ axes[..., :1])[..., 0]), np.inf)
            most = np.take_along_axis(np.sort(from_plane, axis=1), n_kept[:, None] - 1, axis=1)
            keep = there & (from_plane <= most)
        thin, across, _ = np.sqrt(np.maximum(_axes(around, keep)[1], 0)).T
        on_top[part] = np.maximum(thin**2 - _NOISE_M**2, 0) <= (_TOP * across) ** 2
    return np.asarray((_mean_of(near, on_top) > 0.5) & (_mean_of(near, several) <= 0.5))


def _axes(around: Floats, keep: Mask) -> tuple[Floats, Floats, Floats]:
    """Places about the mean of those kept, and the variances and axes of these, least first."""
    share = (keep / keep.sum(axis=1, keepdims=True))[..., None]
    off = around - (around * share).sum(axis=1, keepdims=True)
    values, axes = np.linalg.eigh((off * share).transpose(0, 2, 1) @ off)
    return off, values, axes


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
    middle, ahead = _lines_through(strip_xy, range(_FEWEST, _FEWEST_ON_LINE - 1, -1), _CARRIED_M)
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
        around = xy[~on_strip][others.query_ball_point(xy[k], _BESIDE_M)]
        for of in nearest[on]:
            beside = np.abs(_off(ahead[of], around - middle[of])) > 2 * _CARRIED_OFF_M
            if beside.sum() <= 1:
                carried[k] = True
                break
    return carried


def _off(ahead: Floats, to: Floats) -> Floats:
    """How far places lie to the left of lines with these directions."""
    return np.asarray(ahead[..., 0] * to[..., 1] - ahead[..., 1] * to[..., 0])


def _lines_through(xy: Floats, counts: Sequence[int], reach_m: float) -> tuple[Floats, Floats]:
    """A point on the line through each point of a strip and those nearest to it, and its direction; NaN where
    they lie on none.

    At a corner of two strips those farther away belong to the other one, and are left out: of the counts,
    most first, the first that lie on a line tell of it.
    """
    found: Any = cKDTree(xy).query(xy, k=counts[0], distance_upper_bound=reach_m)
    away, near = found
    middle, ahead = np.full((len(xy), 2), np.nan), np.full((len(xy), 2), np.nan)
    for n in counts:
        open_ = np.flatnonzero(np.isnan(middle[:, 0]) & np.isfinite(away[:, n - 1]))
        around = xy[near[open_, :n]]
        centre = around.mean(axis=1)
        spread = around - centre[:, None]
        values, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", spread, spread) / n)
        straight = _narrow(np.sqrt(np.maximum(values, 0)))
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

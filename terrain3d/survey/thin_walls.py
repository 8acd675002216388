"""Points that stand on a line as walls, fences and gates: straight, thin, and as high as they are."""

from dataclasses import dataclass

import numpy as np

from terrain3d.survey.connected import connected
from terrain3d.survey.gaps import Mask, spacing
from terrain3d.survey.lattice import Relief
from terrain3d.survey.solids import FOOTING_M
from terrain3d.terrain import Solids
from terrain3d.units import Floats

#: Points this far from the middle line still belong to a wall.
_OFF_M = 0.25
#: A wall is at least this long, and told by so many points.
_SHORTEST_M, _FEWEST = 0.8, 6
#: Where no point lies for so far a wall ends; where none lies for this much less, or for so many spacings, it
#: ends if as many returns of the ground as this lie right on its line there: where chance left it out they do
#: not.
_MOST_GAP_M, _GAP_M, _GAP_SPACINGS = 3.0, 1.0, 4.0
_SHOW_GAP, _ON_LINE_M = 2, 0.15
#: Lines tried for one wall, through two of its points, and points that they are tried on.
_TRIES, _MOST_POINTS = 400, 4000
#: The scatter of points across a wall that is no thickness: noise, and the width of a pulse.
_SCATTER_M = 0.08
_THINNEST_M, _THICKEST_M = 0.06, 0.4
#: Heights are taken for each so many metres along, of so many points: a pulse that only grazes the top tells
#: of a lower one, and a few pulses may all do so.
_STATION_M, _TELL_OF_TOP = 0.5, 6
#: A wall whose lowest point is so far above the ground, seen by so many points a station, is open beneath.
_OPEN_M, _SEEN = 0.4, 12


@dataclass(frozen=True, eq=False)
class _Strip:
    """A straight run of points: its middle line from `start` along `ahead`, a unit vector, and its points."""

    start: Floats
    ahead: Floats
    length_m: float
    members: Mask


def thin_walls(xyz: Floats, ground_xyz: Floats, relief: Relief) -> tuple[Solids, Mask]:
    """Straight walls through points that stand on lines.

    Parameters
    ----------
    xyz : (n, 3) float
        Points found to stand on a line in plan, local metres.
    ground_xyz : (m, 3) float
        Ground points: where they lie on a wall's line there is a way through.
    relief : Relief

    Returns
    -------
    Solids
        One name a wall, numbered from 1; unnamed things of a survey.
    (n,) bool
        The points that are in a wall; the others are too few or too crooked for one.

    Examples
    --------
    >>> from terrain3d.survey.surface import plane
    >>> rng = np.random.default_rng(0)
    >>> top = np.column_stack([rng.uniform(0, 6, 40), rng.normal(2, 0.05, 40), rng.normal(1.1, 0.02, 40)])
    >>> walls, used = thin_walls(top, np.zeros((0, 3)), plane(0, 0, 20, 0.25))
    >>> walls.names, bool(used.all()), walls.vertices[:, 2].max().round(1)
    (('1',), True, np.float64(1.1))
    """
    used = np.zeros(len(xyz), bool)
    if len(xyz) < _FEWEST:
        return Solids.none(), used
    apart = spacing(xyz[:, :2])
    n, thing = connected(xyz[:, :2], max(_MOST_GAP_M, 2 * apart))
    walls = Solids.none()
    for k in range(n):
        own = np.flatnonzero(thing == k)
        # Nearest to each other on this wall, not on all.
        gap = max(_GAP_M, _GAP_SPACINGS * _along(xyz[own, :2]))
        low, high = xyz[own, :2].min(axis=0), xyz[own, :2].max(axis=0)
        bare = ground_xyz[((ground_xyz[:, :2] >= low - 1) & (ground_xyz[:, :2] <= high + 1)).all(axis=1), :2]
        for strip in _strips(xyz[own, :2], bare, gap):
            members = own[strip.members]
            used[members] = True
            walls = walls.joined(_standing(strip, xyz[members], relief, str(len(walls.names) + 1)))
    return walls, used


def _along(xy: Floats) -> float:
    """Mean distance from point to point along the longest axis."""
    spread = xy - xy.mean(axis=0)
    axis = np.linalg.svd(spread, full_matrices=False)[2][0] if len(xy) > 1 else np.zeros(2)
    return float(np.ptp(spread @ axis)) / len(xy)


def _strips(xy: Floats, bare: Floats, gap_m: float) -> list[_Strip]:
    """The straight runs in a set of points, the one with most points first, one after the other."""
    left = np.ones(len(xy), bool)
    found = []
    while left.sum() >= _FEWEST:
        strip = _best_strip(xy, bare, left, gap_m)
        if strip is None:
            break
        found.append(strip)
        left &= ~strip.members
    return found


def _best_strip(xy: Floats, bare: Floats, left: Mask, gap_m: float) -> _Strip | None:
    rest = np.flatnonzero(left)
    rng = np.random.default_rng(len(rest))
    sample = rest if len(rest) <= _MOST_POINTS else rng.choice(rest, _MOST_POINTS, replace=False)
    a, b = xy[rng.choice(sample, (2, _TRIES))]
    ahead = b - a
    length = np.hypot(*ahead.T)
    ahead, a = ahead[length > _SHORTEST_M], a[length > _SHORTEST_M]
    if not len(a):
        return None
    ahead = ahead / np.hypot(*ahead.T)[:, None]
    off = (xy[sample, None, 0] - a[:, 0]) * ahead[:, 1] - (xy[sample, None, 1] - a[:, 1]) * ahead[:, 0]
    best = int((np.abs(off) < _OFF_M / 2).sum(axis=0).argmax())
    start, line = a[best], ahead[best]
    for _ in range(3):
        members = left & (np.abs((xy - start) @ np.array([line[1], -line[0]])) < _OFF_M)
        if members.sum() < _FEWEST:
            return None
        on_line = np.abs((bare - start) @ np.array([line[1], -line[0]])) < _ON_LINE_M
        members = _longest_run(members, (xy - start) @ line, np.sort((bare[on_line] - start) @ line), gap_m)
        start = xy[members].mean(axis=0)
        line = np.linalg.svd(xy[members] - start, full_matrices=False)[2][0]
    t = (xy[members] - start) @ line
    if members.sum() < _FEWEST or np.ptp(t) < _SHORTEST_M:
        return None
    return _Strip(start + t.min() * line, line, float(np.ptp(t)), members)


def _longest_run(members: Mask, t: Floats, bare_t: Floats, gap_m: float) -> Mask:
    """Of the points on a line those of the run, without a gap in it, that has most of them."""
    which = np.flatnonzero(members)
    order = which[np.argsort(t[which], kind="stable")]
    wide = np.diff(t[order])
    shown = np.diff(np.searchsorted(bare_t, t[order])) >= _SHOW_GAP
    run = np.concatenate([[0], np.cumsum((wide > max(_MOST_GAP_M, gap_m)) | ((wide > gap_m) & shown))])
    keep = np.zeros(len(members), bool)
    keep[order[run == np.bincount(run).argmax()]] = True
    return keep


def _standing(strip: _Strip, xyz: Floats, relief: Relief, name: str) -> Solids:
    """A closed mesh along the run, as high as its points."""
    side = np.array([strip.ahead[1], -strip.ahead[0]])
    t = (xyz[:, :2] - strip.start) @ strip.ahead
    off = (xyz[:, :2] - strip.start) @ side
    thick = np.sqrt(12 * max(float(np.var(off)) - _SCATTER_M**2, 0.0))
    half = float(np.clip(thick, _THINNEST_M, _THICKEST_M)) / 2
    n = max(1, round(strip.length_m / _STATION_M))
    stations = np.linspace(0, strip.length_m, n + 1)
    middle = strip.start + stations[:, None] * strip.ahead
    top, low, count = _heights(t, xyz[:, 2], stations, relief.foot_at(*middle.T))
    corners = np.stack([middle - half * side, middle + half * side], axis=1)
    foot = relief.foot_at(corners[..., 0], corners[..., 1])
    is_open = ((low - foot.max(axis=1) > _OPEN_M) & (count >= _SEEN)).mean() > 0.5
    top = np.maximum(top, foot.max(axis=1) + 0.05)
    bottom = np.broadcast_to(low[:, None], foot.shape) if is_open else foot - FOOTING_M
    bottom = np.minimum(bottom, top[:, None] - 0.05)
    # Four to a station: left and right at the bottom, left and right at the top.
    rings = np.stack(
        [np.dstack([corners, bottom]), np.dstack([corners, np.broadcast_to(top[:, None], foot.shape)])],
        axis=1,
    ).reshape(len(stations), 4, 3)
    around = np.array([0, 1, 3, 2])
    quads = []
    for k in range(n):
        for c in range(4):
            a, b = around[c], around[(c + 1) % 4]
            quads.append([4 * k + a, 4 * k + b, 4 * k + 4 + b, 4 * k + 4 + a])
    quads.append([3, 1, 0, 2])
    quads.append([4 * n + 2, 4 * n + 0, 4 * n + 1, 4 * n + 3])
    q = np.array(quads)[:, ::-1]
    triangles = np.concatenate([q[:, [0, 1, 2]], q[:, [0, 2, 3]]]).astype(np.int64)
    return Solids(
        rings.reshape(-1, 3), triangles, np.zeros(len(triangles), np.int64), (name,), frozenset({0})
    )


def _heights(t: Floats, z: Floats, stations: Floats, foot_z: Floats) -> tuple[Floats, Floats, Floats]:
    """Top, lowest point and number of points about each station; those without take their neighbours'.

    Where few points lie near, those farther along tell of the top too, by their height above the ground.
    """
    step = stations[1] - stations[0] if len(stations) > 1 else 1.0
    up = z - np.interp(t, stations, foot_z)
    top, low, count = (np.full(len(stations), np.nan) for _ in range(3))
    for k, at in enumerate(stations):
        away = np.abs(t - at)
        near = away <= step
        count[k] = near.sum()
        if near.any():
            low[k] = z[near].min()
        # Of noisy tops the one that most reach: the highest of many is noise.
        if count[k] >= _TELL_OF_TOP:
            top[k] = _crest(z[near])
        else:
            nearest = np.argsort(away, kind="stable")[:_TELL_OF_TOP]
            top[k] = max(foot_z[k] + _crest(up[nearest]), _crest(z[near]) if near.any() else -np.inf)
    known = np.isfinite(low)
    return top, np.interp(stations, stations[known], low[known]), count


def _crest(heights: Floats) -> float:
    return float(np.quantile(heights[heights > heights.max() - 0.3], 0.7))

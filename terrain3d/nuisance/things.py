"""Things that may trouble a unit: which layer they lie in, how far off, and how much of a zone they fill.

A zone is one of a layer's equal parts: arc / zones wide, as high as the layer is thick. It is looked at
along directions FINENESS_DEG apart; a thing fills the share of them that meet it. A thing is an upright
body over its outline, between two heights above the ground beneath; one that starts at the ground with no
height to speak of, such as a road, is met where a direction comes down to it.

Ground and solids hide a thing; leaves do not, for they let some of it through and move.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector, PosedHead, is_open, posed_heads
from terrain3d.nuisance.masking import MaskCost, ZoneMask, mask_cost, zones_at
from terrain3d.nuisance.spill import FOLLOW_ON
from terrain3d.nuisance.upper_layer import head_rays
from terrain3d.sight.hits import Hit, first_hits
from terrain3d.terrain import Nuisance, Terrain
from terrain3d.units import Floats

#: Directions in which a zone is looked at, degrees apart at most.
FINENESS_DEG = 0.1
#: A thing fixed to a wall is drawn on the wall's line: so far behind its face it still shows, plan metres.
TOUCH_M = 0.15
#: What gives a road or a pond some thickness for lines to meet, metres.
SKIN_M = 0.002
#: Points at which a line through an outline is asked for its height above the ground.
_ALONG = 9


@dataclass(frozen=True)
class InLayer:
    """A nuisance thing that lies in one layer of a head.

    Parameters
    ----------
    thing, kind : str
    unit : str
    head : int
        From 1.
    layer : str
    distance_m : float
        Slant distance from the unit to the nearest part that lies in the layer; of what is seen, where
        any is.
    bearing_deg : float
        To the middle of what lies in the layer.
    is_within_range : bool
        Whether that distance is within the rated range; a thing is looked for up to FOLLOW_ON times it.
    zone : int
        The zone that it fills most, from 1 at the left; of what is seen, where any is.
    fill : float
        Share of one zone that it would fill if nothing stood between: that of the zone it fills most.
    seen_fill : float
        Most that is seen of it in one zone; 0 where ground and solids hide it.
    mask : tuple of int
        Zones of the head, as the site file's `masked` counts them, that hold all that is seen of it in the
        layer; none where nothing is.
    cost : MaskCost, optional
        What the option would lose by that mask, once it is judged.
    """

    thing: str
    kind: str
    unit: str
    head: int
    layer: str
    distance_m: float
    bearing_deg: float
    is_within_range: bool
    zone: int
    fill: float
    seen_fill: float
    mask: tuple[int, ...] = ()
    cost: MaskCost | None = None

    @property
    def is_seen(self) -> bool:
        return self.seen_fill > 0


def in_layers(terrain: Terrain, units: tuple[Detector, ...]) -> tuple[InLayer, ...]:
    """Every nuisance thing of the site in every layer it lies in, what is seen and near first.

    Parameters
    ----------
    terrain : Terrain
        With its `nuisances`.
    units : tuple of Detector
    """
    if not terrain.nuisances:
        return ()
    found = []
    for unit in units:
        for head, posed in enumerate(posed_heads(unit)):
            for layer, kind in enumerate(unit.type.head[head].layer):
                looked = _look(posed, layer, kind.zones, unit.type.head[head].zones)
                found += _met(terrain, unit, head + 1, kind.name, looked)
    return tuple(
        sorted(found, key=lambda item: (not item.is_seen, not item.is_within_range, item.distance_m))
    )


def with_costs(
    things: tuple[InLayer, ...], terrain: Terrain, option: OptionResult, figure_height_m: float
) -> tuple[InLayer, ...]:
    """The same with what masking each would cost the option, which was judged on this terrain."""

    def priced(thing: InLayer) -> InLayer:
        mask = ZoneMask(thing.unit, thing.head, thing.mask)
        return replace(thing, cost=mask_cost(terrain, option, (mask,), figure_height_m))

    return tuple(priced(thing) if thing.mask else thing for thing in things)


@dataclass(frozen=True, eq=False)
class _Look:
    """The directions in which a layer is looked at: unit vectors, and the zone of each from 0.

    `azimuth_deg` is that of each in the head, `arc_deg` and `head_zones` are what its zones are counted by.
    """

    rays: Floats
    zone: NDArray[np.int64]
    azimuth_deg: Floats
    arc_deg: float
    head_zones: int
    per_zone: int
    n_zones: int


def _look(head: PosedHead, layer: int, n_zones: int, head_zones: int) -> _Look:
    posed = head.layers[layer]
    columns = max(4, math.ceil(head.arc_deg / n_zones / FINENESS_DEG))
    rows = max(4, math.ceil(posed.thickness_deg / FINENESS_DEG))
    # Middles of equal pieces, so that a count of them is an area.
    azimuth = ((np.arange(columns * n_zones) + 0.5) / (columns * n_zones) - 0.5) * head.arc_deg
    elevation = posed.elevation_deg + ((np.arange(rows) + 0.5) / rows - 0.5) * posed.thickness_deg
    rays = head_rays(head, *np.broadcast_arrays(azimuth[None, :], elevation[:, None])).reshape(-1, 3)
    zone = np.tile(np.repeat(np.arange(n_zones), columns), rows)
    left = np.tile(is_open(head, azimuth), rows)
    return _Look(
        rays[left],
        zone[left],
        np.tile(azimuth, rows)[left],
        head.arc_deg,
        head_zones,
        columns * rows,
        n_zones,
    )


def _met(terrain: Terrain, unit: Detector, head: int, layer: str, look: _Look) -> list[InLayer]:
    found = []
    reach_m = FOLLOW_ON * unit.type.max_range
    for thing in terrain.nuisances:
        over = _towards(thing, unit, look)
        rays, zone, azimuth = look.rays[over], look.zone[over], look.azimuth_deg[over]
        met_m = first_met(terrain, unit.eye, rays, thing, np.full(len(rays), reach_m))
        met = np.isfinite(met_m)
        if not met.any():
            continue
        rays, zone, azimuth, met_m = rays[met], zone[met], azimuth[met], met_m[met]
        seen_m = first_met(terrain, unit.eye, rays, thing, clear_until(terrain, unit.eye, rays, reach_m))
        seen = np.isfinite(seen_m)
        shown = seen if seen.any() else np.ones(len(rays), bool)
        fills = [np.bincount(zone[of], minlength=look.n_zones) / look.per_zone for of in (met[met], seen)]
        nearest = float((seen_m if seen.any() else met_m).min())
        middle = rays[shown].sum(axis=0)
        found.append(
            InLayer(
                thing.name, thing.kind, unit.name, head, layer, nearest,
                float(np.degrees(np.arctan2(middle[0], middle[1])) % 360),
                nearest <= unit.type.max_range,
                int((fills[1] if seen.any() else fills[0]).argmax()) + 1,
                float(fills[0].max()), float(fills[1].max()),
                zones_at(azimuth[seen], look.arc_deg, look.head_zones),
            )
        )  # fmt: skip
    return found


def _towards(thing: Nuisance, unit: Detector, look: _Look) -> NDArray[np.bool_]:
    """Whether each direction passes over the smallest circle around a thing's outline."""
    circle = shapely.minimum_bounding_circle(shapely.MultiPoint(thing.outline))
    middle = np.array(circle.centroid.coords[0]) - (unit.x, unit.y)
    radius = float(np.hypot(*(thing.outline - (unit.x, unit.y) - middle).T).max()) + SKIN_M
    along = look.rays[:, :2] / np.hypot(look.rays[:, 0], look.rays[:, 1])[:, None]
    aside = np.abs(along[:, 0] * middle[1] - along[:, 1] * middle[0])
    return np.asarray((aside <= radius) & (along @ middle >= -radius))


def clear_until(terrain: Terrain, eye: tuple[float, float, float], rays: Floats, reach_m: float) -> Floats:
    """(n,) slant metres along each unit vector on which a thing would be seen."""
    hits = first_hits(terrain, eye, rays, reach_m)
    slack = np.where(hits.what == Hit.SOLID, TOUCH_M, SKIN_M)
    return np.asarray(np.minimum(hits.distance + slack / np.hypot(rays[:, 0], rays[:, 1]), reach_m))


def first_met(
    terrain: Terrain, eye: tuple[float, float, float], rays: Floats, thing: Nuisance, until_m: Floats
) -> Floats:
    """Slant distance at which each line first meets a thing.

    Parameters
    ----------
    terrain : Terrain
    eye : (x, y, z)
    rays : (n, 3) float
        Unit vectors, none of them upright.
    thing : Nuisance
    until_m : (n,) float
        Slant distance at which each line ends.

    Returns
    -------
    (n,) float
        Metres; inf where it does not meet it.

    Examples
    --------
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> site = Terrain(site_frame(None, 0, 0), Ground(-9.5, -9.5, 1.0, np.zeros((20, 20))), Solids.none(),
    ...                Foliage.none(), (), ())
    >>> vent = Nuisance("vent", "vent", np.array([[4.0, -1], [5, -1], [5, 1], [4, 1]]), 0.5, 1.5)
    >>> first_met(site, (0.0, 0.0, 1.0), np.array([[1.0, 0, 0], [0, 1.0, 0]]), vent, np.full(2, 9.0))
    array([ 4., inf])
    """
    flat = np.hypot(rays[:, 0], rays[:, 1])
    along, slope = rays[:, :2] / flat[:, None], rays[:, 2] / flat
    start, stop = _stretches(thing.outline - eye[:2], along)
    stop = np.minimum(stop, (until_m * flat)[:, None])
    line, stretch = np.nonzero(stop > start)
    span = np.linspace(0.0, 1.0, _ALONG)
    at = start[line, stretch, None] + (stop - start)[line, stretch, None] * span
    x, y = (eye[k] + along[line, k, None] * at for k in (0, 1))
    height = eye[2] + slope[line, None] * at - terrain.ground.height_at(x, y)
    # A line meets the thing by the time it has been at or under its top and at or over its base.
    lowest = np.minimum.accumulate(np.where(np.isfinite(height), height, np.inf), axis=1)
    highest = np.maximum.accumulate(np.where(np.isfinite(height), height, -np.inf), axis=1)
    in_body = (lowest <= thing.top_m + SKIN_M) & (highest >= thing.base_m - SKIN_M)
    hit = in_body.any(axis=1)
    met = np.full(len(rays), np.inf)
    first = _entry(at[hit], height[hit], in_body[hit].argmax(axis=1), thing)
    np.minimum.at(met, line[hit], first / flat[line[hit]])
    return met


def _entry(at: Floats, height: Floats, index: NDArray[np.int64], thing: Nuisance) -> Floats:
    """(n,) where each line comes into a thing: between the point at `index` and the one before it."""
    rows = np.arange(len(at))
    before = np.maximum(index - 1, 0)
    start, end = height[rows, before], height[rows, index]
    edge = np.where(start > thing.top_m, thing.top_m, thing.base_m)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((edge - start) / (end - start), 0.0, 1.0)
    share = np.where(np.isfinite(share) & (index > 0), share, 1.0)
    return np.asarray(at[rows, before] + share * (at[rows, index] - at[rows, before]))


def _stretches(outline: Floats, along: Floats) -> tuple[Floats, Floats]:
    """(n, m) plan distances from the origin at which lines enter and leave an outline, inf padded.

    `outline` is (k, 2), `along` (n, 2) unit vectors of the plan.
    """
    aside = along[:, :1] * outline[:, 1] - along[:, 1:] * outline[:, 0]
    ahead = along @ outline.T
    next_aside, next_ahead = np.roll(aside, -1, axis=1), np.roll(ahead, -1, axis=1)
    # Half-open, so that a line through a corner crosses one of its two edges and not both.
    crosses = (aside >= 0) != (next_aside >= 0)
    share = aside / np.where(crosses, aside - next_aside, 1.0)
    at = np.where(crosses, ahead + share * (next_ahead - ahead), -1.0)
    at = np.where(at > 0, at, np.inf)
    # Whoever stands inside leaves once more than he enters.
    inside = np.isfinite(at).sum(axis=1) % 2 == 1
    columns = [np.where(inside, 0.0, np.inf)[:, None], at]
    if at.shape[1] % 2 == 0:
        columns.append(np.full((len(at), 1), np.inf))
    at = np.sort(np.hstack(columns), axis=1)
    return at[:, ::2], at[:, 1::2]

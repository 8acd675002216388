"""Where the upper layer runs past own land, on what it lands, and whose ground lies in it.

The upper layer does not end at the boundary: over falling ground it runs on above everybody's heads. Two
reaches are kept apart throughout. *Within its range* is up to the slant distance that the type is rated
for. *On past its range* is from there to `FOLLOW_ON` times that distance: a passive unit has no
far end, and senses what is hot and large farther off than a person (common practice, no source).

What counts on ground of others, in cells of the ground's grid:

- within range a person (the site's figure) who breaks the upper layer; on a road the larger of a person and
  a vehicle, VEHICLE_M, for both use it;
- on past its range something as tall as a vehicle, whatever the ground.

The same holds for the ground past the boundary as a whole. Of a unit with a microwave the ground that this
reaches is counted beside it: it has a range of its own, and passes hedges and fences.

A cell counts when that height fills the layer as the unit's own fill has it, seen past ground, solids and
leaves, as for a verdict. How several units combine does not matter here: each is troubled by itself.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within
from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import SightedUnit, sighted
from terrain3d.detector.pose import Arc, Detector, PosedHead, posed_heads
from terrain3d.nuisance.masking import MaskCost, ZoneMask, axis_azimuths_deg, mask_cost, zones_at
from terrain3d.nuisance.sight_lines import Lands, follow
from terrain3d.nuisance.upper_layer import head_rays, upper_broken, upper_layer
from terrain3d.terrain import Area, Beyond, Ground, Terrain
from terrain3d.units import Floats

Mask = NDArray[np.bool_]

#: How far on the layer is followed, as a multiple of the rated range: the warm front of a vehicle, 1.5 m
#: wide, fills at three times the distance as much of a zone as a person, 0.5 m (invented sizes).
FOLLOW_ON = 3.0
#: Height of a vehicle; also of what is large and hot enough to be sensed past the range (invented).
VEHICLE_M = 1.5
#: Bearings at which a layer is followed, degrees apart.
STEP_DEG = 0.5


@dataclass(frozen=True, eq=False)
class Fan:
    """The upper layer of one head, followed along its lower edge, its axis and its upper edge.

    Where zones of the head are masked, each stretch left open is a fan.

    Parameters
    ----------
    unit : str
    head : int
        From 1.
    layer : str
    eye : (x, y, z)
        Local metres.
    bearing_deg : (n,) float
        Of the axis, clockwise from north.
    ends : (3, n, 3) float
        Where each line ends, local metres.
    end_m : (3, n) float
        Slant distance to there: to what it lands on, the end of the known ground, or `follow_m`.
    lands : (3, n) uint8
        Codes of `Lands`.
    solid : (3, n) int64
        Which solid it lands on, an index of the terrain's names; -1 for none.
    past_within_m, past_on_m : (3, n) float
        Plan metres beyond the boundary, within range and on past it; NaN where no boundary is drawn.
    range_m, follow_m : float
        Slant distances at which the two reaches end.
    """

    unit: str
    head: int
    layer: str
    eye: tuple[float, float, float]
    bearing_deg: Floats
    ends: Floats
    end_m: Floats
    lands: NDArray[np.uint8]
    solid: NDArray[np.int64]
    past_within_m: Floats
    past_on_m: Floats
    range_m: float
    follow_m: float

    @property
    def known_until_m(self) -> float | None:
        """Slant metres at which a line first leaves the known ground; None where none does."""
        lost = self.end_m[self.lands == Lands.UNSURVEYED]
        return float(lost.min()) if lost.size else None


@dataclass(frozen=True)
class Landing:
    """One kind of thing that the axes of a fan end on past the boundary.

    `solid` names the solid where they land on one; `arc_deg` is the arc of bearings; the distances are
    slant metres from the unit.
    """

    lands: Lands
    solid: str | None
    arc_deg: float
    nearest_m: float
    farthest_m: float


@dataclass(frozen=True)
class PieceSpill:
    """Ground of others that lies in the upper layer of any unit of an option.

    `nearest_m` is the plan distance from a unit to the nearest such cell, None where there is none.
    `microwave_m2` is what of it a microwave reaches, None where no unit has one.
    """

    name: str
    kind: str
    keep_out: bool
    within_m2: float
    on_past_m2: float
    nearest_m: float | None
    microwave_m2: float | None = None


@dataclass(frozen=True)
class KeepOff:
    """Zones to be masked so that nobody on some ground breaks an upper layer within its range.

    `ground` names a piece that is to be kept out of; None is all ground past the boundary. `cost` is what of
    its own ground the option would lose, once it is judged.
    """

    ground: str | None
    masks: tuple[ZoneMask, ...]
    cost: MaskCost | None = None


@dataclass(frozen=True, eq=False)
class Spill:
    """How an option's upper layers run past own land.

    Parameters
    ----------
    fans : tuple of Fan
        Each head of each unit.
    landings : tuple of tuple of Landing
        For each fan what its axis ends on, widest first; where a boundary is drawn only of bearings
        that run past it.
    has_boundary : bool
        Whether own land is drawn; without it nothing is said of running past.
    ground : Ground
        What was looked at: the ground of the terrain that was handed in.
    past_within, past_on : (ny, nx) bool
        Cells of `ground` beyond the boundary in the upper layer, within range and only on past it.
    past_within_m2, past_on_m2 : float
        Their areas.
    pieces : tuple of PieceSpill
        Every piece of ground of others that is drawn.
    off_own_land : tuple of str
        Units that do not stand on own land; none where no boundary is drawn.
    keep_off : tuple of KeepOff
        What would have to be masked for each piece to keep out of, and for all past the boundary, where
        somebody there breaks an upper layer.
    past_microwave : (ny, nx) bool or None
        Cells of `ground` beyond the boundary that a microwave reaches; None where no unit has one.
    """

    fans: tuple[Fan, ...]
    landings: tuple[tuple[Landing, ...], ...]
    has_boundary: bool
    ground: Ground
    past_within: Mask
    past_on: Mask
    past_within_m2: float
    past_on_m2: float
    pieces: tuple[PieceSpill, ...]
    off_own_land: tuple[str, ...]
    keep_off: tuple[KeepOff, ...] = ()
    past_microwave: Mask | None = None

    @property
    def past_microwave_m2(self) -> float | None:
        """Area of the ground beyond the boundary that a microwave reaches; None where no unit has one."""
        where = self.past_microwave
        return None if where is None else float(where.sum()) * self.ground.cell_m**2

    @property
    def known_until_m(self) -> dict[str, float]:
        """Slant metres at which the upper layer of a unit first leaves the known ground, of those that do."""
        nearest: dict[str, float] = {}
        for fan in self.fans:
            if fan.known_until_m is not None:
                nearest[fan.unit] = min(fan.known_until_m, nearest.get(fan.unit, math.inf))
        return nearest

    @property
    def farthest_within_m(self) -> float | None:
        """Farthest that any layer runs past the boundary within its range; None without a boundary."""
        if not self.has_boundary:
            return None
        return max((float(fan.past_within_m.max()) for fan in self.fans), default=0.0)

    @property
    def farthest_on_m(self) -> float | None:
        """Farthest that any layer runs past the boundary on past its range; None without a boundary.

        Only what lies past the range counts, as everywhere here.
        """
        if not self.has_boundary:
            return None
        return max((float(fan.past_on_m.max()) for fan in self.fans), default=0.0)


def spill(terrain: Terrain, units: tuple[Detector, ...], figure_height_m: float) -> Spill:
    """Follow the upper layers of an option's units past the boundary.

    Parameters
    ----------
    terrain : Terrain
        With its `boundary` and `beyond` where they are drawn.
    units : tuple of Detector
    figure_height_m : float
        Height of a person, metres.
    """
    fans = tuple(
        _fan(terrain, unit, index, head, stretch)
        for unit in units
        for index, head in enumerate(posed_heads(unit), 1)
        for stretch in head.open_deg
    )
    ground = terrain.ground
    none = np.zeros(ground.z.shape, bool)
    person, larger, on_past = none.copy(), none.copy(), none.copy()
    by_microwave, by_microwave_larger = none.copy(), none.copy()
    by_head = []
    for unit in units:
        follow_m = FOLLOW_ON * unit.type.max_range
        seen = sighted(terrain, unit, max(follow_m, unit.type.reach_m))
        persons, larger_ones = (
            seen.upper_broken(counted_height_m(kind, figure_height_m)) for kind in ("other", "road")
        )
        person.ravel()[seen.seen.cells] |= persons.any(axis=0)
        larger.ravel()[seen.seen.cells] |= larger_ones.any(axis=0)
        by_head.append((seen, persons, larger_ones))
        # Cells that the same height breaks in both reaches differ in their distance alone.
        vehicle = upper_broken(ground, seen, VEHICLE_M)
        on_past |= upper_broken(ground, seen, VEHICLE_M, follow_m) & ~vehicle
        if unit.type.microwave is not None:
            by_microwave |= _reached(ground, seen, counted_height_m("other", figure_height_m))
            by_microwave_larger |= _reached(ground, seen, counted_height_m("road", figure_height_m))
    road = none.copy()
    for piece in terrain.beyond:
        if piece.kind == "road":
            road |= _piece_cells(ground, piece)
    within = person | (larger & road)
    reached = None
    if any(unit.type.microwave is not None for unit in units):
        reached = by_microwave | (by_microwave_larger & road)
    pieces = tuple(_piece(ground, units, piece, within, on_past, reached) for piece in terrain.beyond)
    outside = none if terrain.boundary is None else ground.known & ~_own_cells(terrain)
    kept_out: dict[str | None, Mask] = {
        piece.name: within & _piece_cells(ground, piece) for piece in terrain.beyond if piece.keep_out
    }
    within, on = within & outside, on_past & ~within & outside
    if terrain.boundary is not None:
        kept_out[None] = within
    cell_m2 = ground.cell_m**2
    return Spill(
        fans,
        tuple(landings(fan, terrain.solids.names) for fan in fans),
        terrain.boundary is not None,
        ground,
        within,
        on,
        float(within.sum()) * cell_m2,
        float(on.sum()) * cell_m2,
        pieces,
        _off_own_land(terrain, units),
        tuple(
            KeepOff(name, tuple(mask for one in by_head for mask in _masks(*one, road, where)))
            for name, where in kept_out.items()
            if where.any()
        ),
        None if reached is None else reached & outside,
    )


def with_costs(spilt: Spill, terrain: Terrain, option: OptionResult, figure_height_m: float) -> Spill:
    """The same with what each of its masks would cost the option, which was judged on this terrain."""
    return replace(
        spilt,
        keep_off=tuple(
            replace(one, cost=mask_cost(terrain, option, one.masks, figure_height_m))
            for one in spilt.keep_off
        ),
    )


def _masks(sighted_unit: SightedUnit, person: Mask, larger: Mask, road: Mask, where: Mask) -> list[ZoneMask]:
    """The zones of a unit's heads in which somebody on some ground breaks an upper layer.

    `person` and `larger` are (h, n) over the cells it sees, `road` and `where` (ny, nx).
    """
    unit, seen = sighted_unit.unit, sighted_unit.seen
    on_road, counts = road.ravel()[seen.cells], where.ravel()[seen.cells]
    found = []
    for h, head in enumerate(posed_heads(unit)):
        hit = counts & (person[h] | (larger[h] & on_road))
        if hit.any():
            azimuth = axis_azimuths_deg(head, upper_layer(head), seen.east[hit], seen.north[hit])
            zones = zones_at(azimuth, head.arc_deg, unit.type.head[h].zones)
            found.append(ZoneMask(unit.name, h + 1, zones))
    return found


def counted_height_m(kind: str, figure_height_m: float) -> float:
    """Height of what counts on ground of a kind, within range, metres.

    >>> counted_height_m("neighbour", 1.7), counted_height_m("road", 1.7), counted_height_m("road", 0.6)
    (1.7, 1.7, 1.5)
    """
    return max(figure_height_m, VEHICLE_M) if kind == "road" else figure_height_m


def landings(fan: Fan, solid_names: tuple[str, ...]) -> tuple[Landing, ...]:
    """What the axis of a fan ends on, widest arc first; of bearings that run past the boundary alone."""
    counts = np.isnan(fan.past_within_m[1]) | (fan.past_within_m[1] + fan.past_on_m[1] > 0)
    # Each bearing stands for half the way to its neighbours.
    share_deg = np.gradient(np.unwrap(fan.bearing_deg, period=360))
    share_deg[[0, -1]] /= 2
    found: dict[tuple[Lands, str | None], list[int]] = {}
    for k in np.flatnonzero(counts):
        name = solid_names[fan.solid[1, k]] if fan.solid[1, k] >= 0 else None
        found.setdefault((Lands(fan.lands[1, k]), name), []).append(int(k))
    ends = fan.end_m[1]
    rows = [
        Landing(*what, float(share_deg[at].sum()), float(ends[at].min()), float(ends[at].max()))
        for what, at in found.items()
    ]
    return tuple(sorted(rows, key=lambda row: -row.arc_deg))


def _fan(terrain: Terrain, unit: Detector, index: int, head: PosedHead, stretch: Arc) -> Fan:
    layer, (left, right) = upper_layer(head), stretch
    n = max(2, math.ceil((right - left) / STEP_DEG) + 1)
    azimuth = (left + right) / 2 + np.linspace(-0.5, 0.5, n) * (right - left)
    edges = np.array([-0.5, 0.0, 0.5])
    elevation = layer.elevation_deg + edges * layer.thickness_deg
    rays = head_rays(head, *np.broadcast_arrays(azimuth[None, :], elevation[:, None])).reshape(-1, 3)
    range_m = unit.type.max_range
    follow_m = FOLLOW_ON * range_m
    end_m, lands, solid = follow(terrain, unit.eye, rays, follow_m)
    flat = np.hypot(rays[:, 0], rays[:, 1])
    rated_m = np.minimum(end_m, range_m)
    within = _outside_m(terrain, unit, rays, np.zeros(len(rays)), rated_m * flat)
    on = _outside_m(terrain, unit, rays, rated_m * flat, end_m * flat)
    axis = rays.reshape(3, n, 3)[1]
    return Fan(
        unit.name, index, layer.name, unit.eye,
        np.degrees(np.arctan2(axis[:, 0], axis[:, 1])) % 360,
        (np.array(unit.eye) + rays * end_m[:, None]).reshape(3, n, 3),
        end_m.reshape(3, n), lands.reshape(3, n), solid.reshape(3, n),
        within.reshape(3, n), on.reshape(3, n), range_m, follow_m,
    )  # fmt: skip


def _outside_m(terrain: Terrain, unit: Detector, rays: Floats, start: Floats, stop: Floats) -> Floats:
    """(n,) plan length of each line, between two plan distances, that lies off own land."""
    if terrain.boundary is None:
        return np.full(len(rays), np.nan)
    own = shapely.Polygon(terrain.boundary)
    shapely.prepare(own)
    along = rays[:, :2] / np.hypot(rays[:, 0], rays[:, 1])[:, None]
    points = np.array([unit.x, unit.y]) + along[:, None, :] * np.stack([start, stop], axis=1)[:, :, None]
    inside = shapely.length(shapely.intersection(shapely.linestrings(points), own))
    outside = stop - start - inside
    return np.asarray(np.where(outside > 1e-6, outside, 0.0))


def _off_own_land(terrain: Terrain, units: tuple[Detector, ...]) -> tuple[str, ...]:
    if terrain.boundary is None:
        return ()
    own = shapely.Polygon(terrain.boundary)
    return tuple(unit.name for unit in units if not own.covers(shapely.Point(unit.x, unit.y)))


def _own_cells(terrain: Terrain) -> Mask:
    assert terrain.boundary is not None
    return cells_within(terrain.ground, Area("own land", terrain.boundary))


@lru_cache(maxsize=64)
def _piece_cells(ground: Ground, piece: Beyond) -> Mask:
    return cells_within(ground, Area(piece.name, piece.outline))


def _piece(
    ground: Ground,
    units: tuple[Detector, ...],
    piece: Beyond,
    within: Mask,
    on_past: Mask,
    reached: Mask | None,
) -> PieceSpill:
    inside = _piece_cells(ground, piece)
    near, far = within & inside, on_past & ~within & inside
    rows, columns = np.nonzero(near | far)
    x, y = ground.xs[columns], ground.ys[rows]
    away = [float(np.hypot(x - unit.x, y - unit.y).min()) for unit in units] if len(rows) else []
    cell_m2 = ground.cell_m**2
    return PieceSpill(
        piece.name,
        piece.kind,
        piece.keep_out,
        float(near.sum()) * cell_m2,
        float(far.sum()) * cell_m2,
        min(away, default=None),
        None if reached is None else float((reached & inside).sum()) * cell_m2,
    )


def _reached(ground: Ground, seen: SightedUnit, figure_height_m: float) -> Mask:
    """(ny, nx) bool: cells on which a unit's microwave reaches a figure."""
    where = np.zeros(ground.z.shape, bool)
    where.ravel()[seen.seen.cells] = seen.reached(figure_height_m)
    return where

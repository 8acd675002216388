"""What each layer of a unit does at one place: broken, or what takes it, how far away, how high it passes."""

import math
from dataclasses import dataclass

import numpy as np

from terrain3d.cover.heads import one_head
from terrain3d.cover.layer_outcomes import (
    BY_FOLIAGE,
    BY_GROUND,
    BY_SOLID,
    LANDS_SHORT,
    NO_TAKER,
    OUTSIDE_ARC,
    drawn_names,
    outcomes_and_takers,
)
from terrain3d.cover.profile import band_slopes
from terrain3d.cover.sighted import sighted_over
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict, combined
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.sight.hits import first_hits
from terrain3d.sight.picture import light_along
from terrain3d.terrain import Terrain
from terrain3d.units import direction

#: Leaves are met where less than this of the light is left.
_LIT = 0.98
#: Places along a layer's axis at which the light is asked for, a metre.
_PER_M = 20


@dataclass(frozen=True)
class LayerAt:
    """One layer of a head at a place.

    Parameters
    ----------
    layer : str
    outcome : int
        Code of `cover.layer_outcomes`.
    taker : str
        Name of the solid or foliage that takes it; empty where none does, or a survey shows it.
    met_m : float or None
        Plan distance at which its axis meets what takes it; None where it comes to the place free.
    passes_m : float
        How high its axis passes over the ground there, metres; less than 0 under it.
    low_m, high_m : float
        From and to which height over the ground its band lies there, whatever takes it.
    light : float
        Share that leaves let through along its axis, up to there.
    """

    layer: str
    outcome: int
    taker: str
    met_m: float | None
    passes_m: float
    low_m: float
    high_m: float
    light: float


@dataclass(frozen=True)
class HeadAt:
    """A head, counted from 0, that looks to a place, and what its layers do there."""

    head: int
    layers: tuple[LayerAt, ...]


@dataclass(frozen=True)
class UnitAt:
    """A unit and a place.

    Parameters
    ----------
    unit : str
    distance_m : float
        In plan.
    bearing_deg, off_deg : float
        Towards it from true north, and off the unit's facing, right positive.
    code : int
        Verdict of the unit alone.
    code_without_leaves : int
    heads : tuple of HeadAt
        Those whose arc holds its bearing; none where it is outside every arc.
    max_range_m : float
    has_microwave, is_reached : bool
        Whether its type has one, and whether that reaches the figure there.
    """

    unit: str
    distance_m: float
    bearing_deg: float
    off_deg: float
    code: int
    code_without_leaves: int
    heads: tuple[HeadAt, ...]
    max_range_m: float
    has_microwave: bool = False
    is_reached: bool = False


@dataclass(frozen=True)
class PlaceAt:
    """A place under the units of an option.

    Parameters
    ----------
    x, y, z : float
        Local metres.
    code, code_without_leaves : int
        Verdict of the option there; UNKNOWN where no ground is known.
    units : tuple of UnitAt
        In the option's order; none where no ground is known.
    """

    x: float
    y: float
    z: float
    code: int
    code_without_leaves: int
    units: tuple[UnitAt, ...]


def place_at(
    terrain: Terrain, units: tuple[Detector, ...], combine: str, x: float, y: float, figure_height_m: float
) -> PlaceAt:
    """What the units of an option do at a place, exactly there.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
    combine : {"any", "all"}
    x, y : float
        Local metres.
    figure_height_m : float

    Examples
    --------
    On the level a unit of nominal height 1 m set to 12 m has its lower axis at 1 - 6 / 12 m over a place 6 m
    away:

    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> level = terrain_from_heights(np.zeros((101, 101)), 0.25)
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> there = place_at(level, (unit,), "any", 0.0, 6.0, 1.7)
    >>> [(one.layer, round(one.passes_m, 3)) for one in there.units[0].heads[0].layers], there.code
    ([('upper', 1.0), ('lower', 0.5)], 4)
    """
    z = float(terrain.ground.height_at(x, y))
    if not math.isfinite(z) or not units:
        code = UNKNOWN if not math.isfinite(z) else int(Verdict.OUTSIDE)
        return PlaceAt(x, y, z, code, code, ())
    found = tuple(_unit_at(terrain, unit, x, y, z, figure_height_m) for unit in units)

    def both(codes: list[int]) -> int:
        maps: list[Codes] = [np.array([code], np.uint8) for code in codes]
        return int(combined(maps, combine)[0])

    return PlaceAt(
        x, y, z, both([one.code for one in found]), both([one.code_without_leaves for one in found]), found
    )


def _unit_at(
    terrain: Terrain, unit: Detector, x: float, y: float, z: float, figure_height_m: float
) -> UnitAt:
    seeing = sighted_over(terrain, unit, [x], [y])
    east, north = x - unit.x, y - unit.y
    bearing = math.degrees(math.atan2(east, north)) % 360
    distance = math.hypot(east, north)
    code = int(seeing.codes(figure_height_m)[0])
    bare = int(seeing.without_leaves().codes(figure_height_m)[0])
    names = drawn_names(terrain)
    heads = []
    for h, posed in enumerate(posed_heads(unit)):
        table = one_head(seeing.heads, h)
        outcomes, takers = outcomes_and_takers(seeing.seen, table, unit, figure_height_m)
        layers = []
        for layer in posed.layers:
            row = table.layer_names.index(layer.name)
            outcome, taker = int(outcomes[row, 0]), int(takers[row, 0])
            low, axis, high = band_slopes(posed, layer, bearing)
            over = [unit.eye[2] + slope * distance - z for slope in (low, axis, high)]
            light = float(
                light_along(terrain, unit.eye, bearing, np.array([axis]), np.array([distance]))[0, 0]
            )
            name = "" if taker == NO_TAKER else names[taker]
            met = _met_m(terrain, unit, bearing, axis, distance, outcome)
            layers.append(LayerAt(layer.name, outcome, name, met, over[1], over[0], over[2], light))
        if any(one.outcome != OUTSIDE_ARC for one in layers):
            heads.append(HeadAt(h, tuple(layers)))
    has_microwave = unit.type.microwave is not None
    return UnitAt(
        unit.name, distance, bearing, (bearing - unit.bearing_deg + 180) % 360 - 180, code, bare,
        tuple(heads), unit.type.max_range, has_microwave,
        bool(seeing.reached(figure_height_m)[0]) if has_microwave else False,
    )  # fmt: skip


def _met_m(
    terrain: Terrain, unit: Detector, bearing_deg: float, slope: float, distance_m: float, outcome: int
) -> float | None:
    """Plan distance at which a layer's axis meets what takes it, on its way to a place."""
    if outcome == BY_FOLIAGE:
        at = np.linspace(0.0, distance_m, max(round(_PER_M * distance_m), 2))
        light = light_along(terrain, unit.eye, bearing_deg, np.array([slope]), at)[0]
        dimmed = np.flatnonzero(light < _LIT)
        return float(at[dimmed[0]]) if len(dimmed) else None
    if outcome not in (BY_SOLID, BY_GROUND, LANDS_SHORT):
        return None
    steep = math.hypot(1.0, slope)
    east, north = direction(bearing_deg)
    met = float(first_hits(terrain, unit.eye, [[east, north, slope]], distance_m * steep).distance[0]) / steep
    return met if met < distance_m else None

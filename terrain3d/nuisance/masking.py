"""Zones that have to be masked to keep a unit's layers off something, and the ground that this costs."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within
from terrain3d.cover.band import azimuths_over
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict, combined
from terrain3d.detector.pose import Detector, HeadSetting, PosedHead, PosedLayer
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: What lies this near to the edge of a zone belongs to both zones, degrees.
_EDGE_DEG = 1e-6


@dataclass(frozen=True)
class ZoneMask:
    """Zones of one head of a unit, head and zones from 1, counted as the site file's `masked` counts them."""

    unit: str
    head: int
    zones: tuple[int, ...]


@dataclass(frozen=True)
class MaskCost:
    """Ground that an option holds, m2, and what of it is lost once something is masked.

    Protected ground, or all ground where none is protected: then `is_protected` is False.
    """

    held_m2: float
    lost_m2: float
    is_protected: bool


def zones_at(azimuth_deg: Floats, arc_deg: float, n_zones: int) -> tuple[int, ...]:
    """The zones that some azimuths of a head lie in, from 1 at its left; on an edge both beside it.

    >>> zones_at(np.array([-45.0, 0.0, 5.0]), 90.0, 9)
    (1, 5, 6)
    """
    width = arc_deg / n_zones
    at = (azimuth_deg + arc_deg / 2) / width
    both = np.concatenate([np.floor(at + side * _EDGE_DEG / width) for side in (-1, 1)])
    return tuple(sorted({min(max(int(zone), 0), n_zones - 1) + 1 for zone in np.unique(both)}))


def axis_azimuths_deg(head: PosedHead, layer: PosedLayer, east: Floats, north: Floats) -> Floats:
    """(n,) azimuth in a head's frame at which a layer's axis passes over bearings, as verdicts have it."""
    azimuths = np.empty(len(east))
    axes = np.array([head.right, head.forward, head.up])
    azimuths_over(east, north, axes, math.sin(math.radians(layer.elevation_deg)), azimuths)
    return azimuths


def with_masks(unit: Detector, masks: Iterable[ZoneMask]) -> Detector:
    """The unit with more of its zones masked, by those of `masks` that are its own.

    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> with_masks(unit, [ZoneMask("D1", 1, (8, 9)), ZoneMask("D2", 1, (1,))]).heads[0].masked
    (8, 9)
    """
    heads = list(unit.heads or (HeadSetting(),) * len(unit.type.head))
    for mask in masks:
        if mask.unit == unit.name:
            own = heads[mask.head - 1]
            heads[mask.head - 1] = replace(own, masked=tuple(sorted({*own.masked, *mask.zones})))
    is_set = any(head != HeadSetting() for head in heads)
    return replace(unit, heads=tuple(heads)) if is_set else unit


def mask_cost(
    terrain: Terrain, option: OptionResult, masks: Iterable[ZoneMask], figure_height_m: float
) -> MaskCost:
    """What an option would lose by masking zones: judged from the same eyes, without a ray.

    Parameters
    ----------
    terrain : Terrain
        That the option was judged on.
    option : OptionResult
    masks : iterable of ZoneMask
    figure_height_m : float
    """
    masks, ground = tuple(masks), terrain.ground
    counts = np.zeros(ground.z.shape, bool)
    for area in terrain.protect:
        counts |= cells_within(ground, area)
    held: NDArray[np.bool_] = option.verdicts == Verdict.BOTH
    held = held & counts if terrain.protect else held
    maps = [one.set_to(with_masks(one.unit, masks)).verdicts(ground, figure_height_m) for one in option.units]
    lost = held & (combined(maps, option.combine) != Verdict.BOTH)
    cell_m2 = ground.cell_m**2
    return MaskCost(float(held.sum()) * cell_m2, float(lost.sum()) * cell_m2, bool(terrain.protect))

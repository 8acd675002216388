"""What becomes of each layer on its way, as shares of its directions."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.pose import Detector, is_open, posed_heads
from terrain3d.sight.hits import Hit
from terrain3d.sight.picture import Picture
from terrain3d.units import Floats


@dataclass(frozen=True)
class LayerShares:
    """What becomes of a layer; the four shares add up to one.

    Parameters
    ----------
    layer : str
    ground, solids, leaves, past : float
        What it meets, what leaves take, and what runs on past the unit's range.
    solid : int or None
        Of the solids that it meets the one that takes most of it, by its place in their names; None
        where it meets none.
    solid_share : float
        How much of all that solids take that one does.
    """

    layer: str
    ground: float
    solids: float
    leaves: float
    past: float
    solid: int | None
    solid_share: float


def layer_shares(
    unit: Detector, seen: Picture, owners: NDArray[np.int64] | None = None
) -> tuple[LayerShares, ...]:
    """What becomes of each layer of a unit, heads together.

    A direction that leaves dim counts for leaves by what they take, and for what is behind them by the rest.

    Parameters
    ----------
    unit : Detector
    seen : Picture
        Followed as far as the unit's range, or leaves beyond it are counted as well.
    owners : (m, n) int, optional
        Which solid is met; -1 for none.
    """
    names = dict.fromkeys(layer.name for head in posed_heads(unit) for layer in head.layers)
    return tuple(_shares(unit, seen, name, owners) for name in names)


def _shares(unit: Detector, seen: Picture, name: str, owners: NDArray[np.int64] | None) -> LayerShares:
    inside = _inside_layer(unit, seen, name)
    level = np.cos(np.radians(seen.elevation_deg))[:, None]
    weight = np.where(inside, np.broadcast_to(level, inside.shape), 0.0)
    weight /= float(weight.sum()) or 1.0
    left = weight * seen.through
    near = seen.distance <= unit.type.max_range
    on_solid = near & (seen.what == Hit.SOLID)
    ground = float(left[near & (seen.what == Hit.GROUND)].sum())
    solids, leaves = float(left[on_solid].sum()), float((weight - left).sum())
    past = float(weight.sum()) - sum((ground, solids, leaves))
    return LayerShares(name, ground, solids, leaves, past, *_main_solid(left, on_solid, owners))


def _main_solid(
    left: Floats, on_solid: NDArray[np.bool_], owners: NDArray[np.int64] | None
) -> tuple[int | None, float]:
    """The solid that takes most, and its share of what all of them take."""
    met = float(left[on_solid].sum())
    if owners is None or not met:
        return None, 0.0
    known = on_solid & (owners >= 0)
    by_solid = np.bincount(owners[known], left[known], minlength=1)
    first = int(by_solid.argmax())
    return first, float(by_solid[first]) / met


def _inside_layer(unit: Detector, seen: Picture, name: str) -> NDArray[np.bool_]:
    rays = directions(seen)
    inside = np.zeros(seen.what.shape, bool)
    for head in posed_heads(unit):
        for layer in head.layers:
            if layer.name == name:
                right, forward, up = rays @ head.right, rays @ head.forward, rays @ head.up
                elevation = np.degrees(np.arcsin(np.clip(up, -1, 1)))
                azimuth = np.degrees(np.arctan2(right, forward))
                inside |= is_open(head, azimuth) & (
                    np.abs(elevation - layer.elevation_deg) <= layer.thickness_deg / 2
                )
    return inside


def directions(seen: Picture) -> Floats:
    """(m, n, 3) the directions of a picture as unit vectors east, north, up."""
    a, e = np.radians(seen.azimuth_deg), np.radians(seen.elevation_deg)[:, None]
    level = np.cos(e)
    up = np.broadcast_to(np.sin(e), (len(e), len(a)))
    return np.stack([level * np.sin(a), level * np.cos(a), up], axis=-1)

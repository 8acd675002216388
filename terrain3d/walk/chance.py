"""How many pulses a step on any piece of ground may bring, and the chance that it raises the alarm.

A model, not a measured probability. Where exactly a zone's edge lies on the ground is not known: the unit
is turned by hand to within some degrees, and makers draw zones roughly. So the edges of a layer are
spread evenly over its arc, and the count on a step becomes an expected number. What is exact here is the
geometry: how fast the two sides of a figure turn about the unit, and where both layers are broken.
"""

import numpy as np
from numpy.typing import ArrayLike

from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import Panorama
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.bodies import Body, body_of, seen_width_m
from terrain3d.walk.zones import broken_layers, zoned_layers


def step_pulses(
    terrain: Terrain,
    units: tuple[Detector, ...],
    views: tuple[Panorama, ...],
    combine: str,
    figure: Figure,
    directions_deg: Floats,
) -> Floats:
    """Expected pulses per metre walked on each cell, in each of some directions.

    Parameters
    ----------
    terrain : Terrain
    units : tuple of Detector
    views : tuple of Panorama
        What each unit sees, in the same order, to its maximum range at least.
    combine : {"any", "all"}
    figure : Figure
    directions_deg : (k,) float
        Bearings of the walk, clockwise from north.

    Returns
    -------
    (k, ny, nx) float
        Pulses per metre in every layer that the alarm rule needs; 0 where the layers are not broken
        together and where no ground is known.

    Notes
    -----
    Both sides of a figure of width w at distance d turn about the unit as it walks at an angle t to the
    line of sight, by |sin t / d -+ (w / 2) cos t / (d^2 + w^2 / 4)| radians a metre; edges stand
    zones / arc to the radian. Across the unit that is 2 zones / (arc d); straight at it only what
    the growing width of the figure brings: the weak direction.

    Pulses of different units or heads are never added up, since each counts its own: under `any` the unit
    with the most stands for all, under `all` the one with the fewest.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.frame import site_frame
    >>> from terrain3d.sight.panorama import panorama
    >>> from terrain3d.terrain import Foliage, Ground, Solids
    >>> ground = Ground(-7.0, -7.0, 1.0, np.zeros((15, 15)))
    >>> flat = Terrain(site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (), ())
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0.0)
    >>> person = Figure("person", 1.7, "invented")
    >>> view = panorama(flat, unit.eye, 12.0)
    >>> rates = step_pulses(flat, (unit,), (view,), "any", person, np.array([90.0, 180.0]))
    >>> rates[:, 13, 7].round(2)          # 6 m north of the unit: across it, and straight at it
    array([1.91, 0.08])
    >>> float(rates[0, 0, 7])             # behind it
    0.0
    """
    body = body_of(figure)
    shape = (len(directions_deg), *terrain.ground.z.shape)
    rates = []
    for unit, seen in zip(units, views, strict=True):
        whole = np.zeros((shape[0], terrain.ground.z.size))
        whole[:, seen.cells] = turn_rates(seen, body, directions_deg) * edge_density(unit, seen, figure)
        rates.append(whole.reshape(shape))
    combined = np.minimum if combine == "all" else np.maximum
    return np.asarray(combined.reduce(rates)) if rates else np.zeros(shape)


def turn_rates(seen: Panorama, body: Body, directions_deg: ArrayLike) -> Floats:
    """How far the two sides of a body turn about the eye for each metre walked, added up.

    Returns
    -------
    (k, n) float
        Radians per metre; 0 at the foot of the mount, where no bearing is told.
    """
    bearing = np.degrees(np.arctan2(seen.east, seen.north))
    turn_deg = np.asarray(directions_deg, float)[:, None] - bearing
    half = seen_width_m(body, turn_deg) / 2
    turn = np.radians(turn_deg)
    d = np.where(seen.distance > half.max(), seen.distance, np.inf)
    across = np.sin(turn) / d
    growing = half * np.cos(turn) / np.where(np.isfinite(d), d**2 + half**2, np.inf)
    return np.asarray(np.abs(across - growing) + np.abs(across + growing))


def edge_density(unit: Detector, seen: Panorama, figure: Figure) -> Floats:
    """Zone edges to the radian on each cell of a panorama, where a unit's alarm rule is met; else 0.

    Of the layers that must all be broken the one with the fewest zones counts, of several heads the best.
    """
    layers = zoned_layers(unit)
    broken = broken_layers(seen, unit, figure.height_m)
    density = np.zeros(len(seen.cells))
    for h in range(len(unit.type.head)):
        rows = [k for k, layer in enumerate(layers) if layer.head == h]
        per_layer = [broken[k] * layers[k].zones / np.radians(layers[k].axes.arc_deg) for k in rows]
        own = np.max(per_layer, axis=0) if unit.type.alarm == "any" else np.min(per_layer, axis=0)
        density = np.maximum(density, own)
    return density


def option_pulses_needed(units: tuple[Detector, ...], combine: str) -> int:
    """Pulses that an option's alarm takes: of the quickest unit under `any`, of the slowest under `all`."""
    needed = [unit.pulses_needed for unit in units]
    return max(needed) if combine == "all" else min(needed)


def alarm_chance(pulses_per_metre: ArrayLike, step_m: float, pulses_needed: int) -> Floats:
    """Chance that a step raises the alarm, as a walk's steps can be added up.

    Parameters
    ----------
    pulses_per_metre : (...) float
        As `step_pulses` gives it.
    step_m : float
        Length of the step.
    pulses_needed : int
        Pulses that the alarm takes.

    Returns
    -------
    (...) float
        1 - exp(-pulses / pulses_needed). A model, not a measured probability: edges come by chance at
        the expected rate, and an alarm that takes n pulses comes after n times the way on average.
        No step remembers the ones before it, so -log(1 - chance) adds up along a walk; the time within
        which pulses must fall is left out. `walk.pulses` counts along one walk, with both.

    Examples
    --------
    >>> alarm_chance([0.0, 2.0], 0.25, 1).round(4), float(alarm_chance(2.0, 0.25, 3).round(4))
    (array([0.    , 0.3935]), 0.1535)
    """
    return np.asarray(-np.expm1(-np.asarray(pulses_per_metre, float) * step_m / pulses_needed))

"""All that an installer takes along to fix one unit of an option, as facts."""

import datetime
import math
from dataclasses import dataclass

import pyproj

from terrain3d.detector.pose import Detector, masked_arcs
from terrain3d.fixing.aim import AimMark, HeadAim, aim_mark, head_aims
from terrain3d.fixing.corners import corner_places, seen_from
from terrain3d.fixing.magnetism import Magnetic, check_day, magnetic_at
from terrain3d.fixing.places import Known, Taped, known_places, nearest_taped, tapes_from
from terrain3d.job import Outcome
from terrain3d.nuisance.things import InLayer, in_layers
from terrain3d.terrain import Terrain
from terrain3d.uncertainty.tolerance import UnitTolerance, option_tolerances

#: A tape that hangs plumb beside a pole rather than in it, metres from its middle (common practice, no
#: source).
BESIDE_M = 0.25


@dataclass(frozen=True)
class HeightOnSlope:
    """What a plumb tape from the ground beside a pole reads at the middle of the unit, metres.

    `fall_percent` and `fall_deg` are of the ground at the pole's foot, and the bearing it falls towards;
    `uphill_m` and `downhill_m` the readings `BESIDE_M` to either side along it.
    """

    fall_percent: float
    fall_deg: float
    uphill_m: float
    downhill_m: float


@dataclass(frozen=True)
class HeadSet:
    """One head as it is set: masked zones by number, from 1 at the left as the unit looks out."""

    head: int
    bearing_deg: float
    pan_deg: float
    range_m: float
    pulses: int
    fill: tuple[float, ...]
    masked: tuple[int, ...]
    masked_deg: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class UnitFixing:
    """One unit of an option, for whoever fixes it.

    Parameters
    ----------
    unit : Detector
    site_xy : (x, y)
        Coordinates of the site file.
    lonlat : (lon, lat) or None
        WGS 84; None without a CRS.
    tapes : tuple of Taped
        From the two places that fix it best: marks and mounts, and corners that it sees where these fix it
        ill; fewer where there are no two.
    paced : Taped or None
        From the nearest mark or mount; from the nearest corner where there is none.
    height : HeightOnSlope or None
        None where the ground about the pole is not known.
    magnetic : Magnetic or None
        None without a CRS or a day.
    mark : AimMark or None
    heads : tuple of HeadSet
    aims : tuple of HeadAim
    tolerance : UnitTolerance
    things : tuple of InLayer
        Nuisance things that show in its layers.
    level_mm : float
        How much lower the front end of a level of 100 mm is; nose down is positive.
    """

    unit: Detector
    site_xy: tuple[float, float]
    lonlat: tuple[float, float] | None
    tapes: tuple[Taped, ...]
    paced: Taped | None
    height: HeightOnSlope | None
    magnetic: Magnetic | None
    mark: AimMark | None
    heads: tuple[HeadSet, ...]
    aims: tuple[HeadAim, ...]
    tolerance: UnitTolerance
    things: tuple[InLayer, ...]
    level_mm: float


def option_fixing(
    outcome: Outcome, name: str, crs: pyproj.CRS | None, on: datetime.date | None
) -> tuple[UnitFixing, ...]:
    """Every unit of an option, for whoever fixes it.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option.
    crs : pyproj.CRS or None
        Of the coordinates of the site file.
    on : datetime.date or None
        The day for which the declination is told; None tells none.

    Raises
    ------
    InputError
        When there is no such option, or no magnetic model covers the day.
    """
    option, terrain = outcome.option(name), outcome.terrain
    tolerances = option_tolerances(terrain, option, outcome.figure.height_m)
    things, corners = in_layers(terrain, option.detectors), corner_places(terrain)
    return tuple(
        _unit_fixing(
            outcome, unit, corners, crs, on, tolerance,
            tuple(thing for thing in things if thing.unit == unit.name and thing.is_seen),
        )
        for unit, tolerance in zip(option.detectors, tolerances, strict=True)
    )  # fmt: skip


def _unit_fixing(
    outcome: Outcome,
    unit: Detector,
    corners: tuple[Known, ...],
    crs: pyproj.CRS | None,
    on: datetime.date | None,
    tolerance: UnitTolerance,
    things: tuple[InLayer, ...],
) -> UnitFixing:
    terrain = outcome.terrain
    frame, places = terrain.frame, known_places(terrain)
    east, north = frame.from_local([unit.x], [unit.y], crs)
    lonlat = None
    if frame.is_georeferenced:
        lon, lat = frame.from_local([unit.x], [unit.y], pyproj.CRS("EPSG:4326"))
        lonlat = float(lon[0]), float(lat[0])
    others = tuple(place for place in places if place.name != unit.mount)
    seen = seen_from(terrain, unit.eye, (*others, *corners))
    seen_corners = tuple(place for place in seen if place in corners)
    at = unit.x, unit.y, unit.ground_z
    return UnitFixing(
        unit,
        (float(east[0]), float(north[0])),
        lonlat,
        tapes_from(others, seen_corners, *at),
        nearest_taped(others or seen_corners, *at),
        height_on_slope(terrain, unit),
        _magnetic(lonlat, unit, on),
        aim_mark(seen, unit),
        tuple(_head_set(unit, head) for head in range(len(unit.type.head))),
        head_aims(terrain, unit, outcome.figure.height_m),
        tolerance,
        things,
        100 * math.tan(math.radians(unit.tilt_deg)),
    )


def _magnetic(
    lonlat: tuple[float, float] | None, unit: Detector, on: datetime.date | None
) -> Magnetic | None:
    if lonlat is None or on is None:
        return None
    check_day(on, "the day of the sheet")
    return magnetic_at(*lonlat, unit.ground_z, on)


def height_on_slope(terrain: Terrain, unit: Detector) -> HeightOnSlope | None:
    """What a plumb tape beside a pole reads at the middle of the unit.

    Examples
    --------
    Ground that falls by 20 % to the east: 25 cm uphill the tape reads 5 cm less.

    >>> import numpy as np
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> hill = terrain_from_heights(np.tile(-0.2 * np.arange(-6.0, 6.5, 0.5), (25, 1)), 0.5)
    >>> found = height_on_slope(hill, Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0))
    >>> round(found.fall_percent), round(found.fall_deg), round(found.uphill_m, 2), round(found.downhill_m, 2)
    (20, 90, 0.95, 1.05)
    """
    ground, step = terrain.ground, terrain.ground.cell_m
    x, y = unit.x, unit.y
    around = ground.height_at([x + step, x - step, x, x], [y, y, y + step, y - step])
    rise_e, rise_n = float(around[0] - around[1]) / (2 * step), float(around[2] - around[3]) / (2 * step)
    if not math.isfinite(rise_e + rise_n):
        return None
    steep = math.hypot(rise_e, rise_n)
    fall_deg = math.degrees(math.atan2(-rise_e, -rise_n)) % 360
    return HeightOnSlope(
        100 * steep, fall_deg, unit.height_m - BESIDE_M * steep, unit.height_m + BESIDE_M * steep
    )


def _head_set(unit: Detector, head: int) -> HeadSet:
    kind, own = unit.type.head[head], unit.head(head)
    fills = unit.fills_of(head) or (unit.fill_needed,) * len(kind.layer)
    return HeadSet(
        head + 1, (unit.bearing_deg + unit.pan_of(head)) % 360, unit.pan_of(head), unit.range_of(head),
        unit.pulses_of(head), tuple(fills), own.masked, tuple(masked_arcs(kind, own)),
    )  # fmt: skip

"""How many pulses a walk is to bring on any piece of ground, and the chance that it raises the alarm.

A model, not a measured probability. Where exactly a zone's edge lies on the ground is not known: the unit
is turned by hand to within some degrees, and makers draw zones roughly. So the edges of a layer are
spread evenly over its arc, and the count on a walk becomes an expected number. What is exact here is the
geometry: how fast the two sides of a figure turn about the unit, and where both layers are broken.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter
from scipy.special import gammainc, gammaincinv

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import SightedUnit
from terrain3d.detector.figures import Figure
from terrain3d.terrain import Ground
from terrain3d.units import Floats
from terrain3d.walk.bodies import body_of
from terrain3d.walk.zones import zoned_layers

#: How fast a route is walked, metres a second: the usual walk test.
SPEED_MPS = 1.0
#: What stands for the pulses of a metre on which a microwave senses that needs no layer: a step is certain.
SURE_A_METRE = 40.0


class PulseField(NamedTuple):
    """What pulses depend on, for every cell of a grid; kernels take it as it is.

    Distances are metres from the centre of the south-west cell.

    Parameters
    ----------
    density : (u, ny, nx) float
        Zone edges to the radian about each unit, where its alarm rule is met; else 0.
    units : (u, 2) float
        East and north of each unit.
    cell_m : float
    breadth_m, length_m : float
        Of the body.
    fewest : bool
        Of several units the one with the fewest pulses counts, since all have to alarm; else the one with
        the most.
    sure : (u, ny, nx) bool
        Where the microwave of a unit reaches that needs no layer; empty where no unit has such.
    least_cosine : (u,) float
        Share of a walk's speed, towards or away, from which it senses there.
    """

    density: Floats
    units: Floats
    cell_m: float
    breadth_m: float
    length_m: float
    fewest: bool
    sure: NDArray[np.bool_] = np.zeros((0, 0, 0), bool)
    least_cosine: Floats = np.zeros(0)


def pulse_field(ground: Ground, option: OptionResult, figure: Figure) -> PulseField:
    """Where and about which units a figure's walk brings pulses.

    Parameters
    ----------
    ground : Ground
    option : OptionResult
    figure : Figure

    Notes
    -----
    Pulses of different units or heads are never added up, since each counts its own: under `any` the unit
    with the most stands for all, under `all` the one with the fewest. Where an alarm takes the microwave
    also, pulses count where it reaches, whichever way the figure moves: hardly a walk is across a unit all
    the time that an alarm has.
    """
    body = body_of(figure)
    density = np.zeros((len(option.units), ground.z.size))
    sure, least = np.zeros(density.shape, bool), np.zeros(len(option.units))
    for u, sighted in enumerate(option.units):
        density[u, sighted.seen.cells] = edge_density(sighted, figure)
        microwave = sighted.unit.type.microwave
        if microwave is not None and microwave.needs == "either":
            sure[u, sighted.seen.cells] = sighted.reached(figure.height_m)
            least[u] = microwave.slowest_mps / SPEED_MPS
    places = np.array([[unit.x - ground.x0, unit.y - ground.y0] for unit in option.detectors]).reshape(-1, 2)
    return PulseField(
        density.reshape(len(option.units), *ground.z.shape),
        places,
        ground.cell_m,
        body.breadth_m,
        body.length_m,
        option.combine == "all",
        *((sure.reshape(len(sure), *ground.z.shape), least) if sure.any() else ()),
    )


def touched(field: PulseField) -> PulseField:
    """The same with ground where only a side of the body is held: the densest that it touches counts there.

    >>> density = np.array([[[0.0, 6.0, 0.0, 0.0]]])
    >>> row = PulseField(density, np.zeros((1, 2)), 0.25, 0.48, 0.3, False)
    >>> touched(row).density[0, 0]
    array([6., 6., 6., 0.])
    """
    reach = field.breadth_m / 2 / field.cell_m + 0.5
    span = np.arange(-int(reach), int(reach) + 1)
    beside = (np.hypot(*np.meshgrid(span, span)) < reach)[None]
    density = np.where(
        field.density > 0, field.density, maximum_filter(field.density, footprint=beside, mode="constant")
    )
    return field._replace(density=density)


@njit(cache=True, nogil=True)
def metre_pulses(field: PulseField, i: int, j: int, x: float, y: float, east: float, north: float) -> float:
    """Pulses to be expected of a metre walked at a place in column i and row j, towards a unit direction.

    Notes
    -----
    Both sides of a figure of width w at distance d turn about the unit as it walks at an angle t to the
    line of sight, by |sin t / d -+ (w / 2) cos t / (d^2 + w^2 / 4)| radians a metre; edges stand
    zones / arc to the radian. Across the unit that is 2 zones / (arc d); straight at it only what
    the growing width of the figure brings: the weak direction. No bearing is told over the foot of the mount.

    Examples
    --------
    Nine zones over 90 degrees, 6 m off: across the unit, and straight at it.

    >>> density = np.full((1, 1, 1), 9 / (np.pi / 2))
    >>> field = PulseField(density, np.array([[0.0, -6.0]]), 1.0, 0.48, 0.3, False)
    >>> [round(metre_pulses(field, 0, 0, 0.0, 0.0, *way), 2) for way in ((1.0, 0.0), (0.0, 1.0))]
    [1.91, 0.08]
    """
    pulses = 0.0
    foot = max(field.breadth_m, field.length_m) / 2
    for u in range(len(field.density)):
        own = 0.0
        dx, dy = x - field.units[u, 0], y - field.units[u, 1]
        square = dx * dx + dy * dy
        if field.density[u, j, i] > 0 and square > foot * foot:
            d = math.sqrt(square)
            cosine, sine = (dx * east + dy * north) / d, (dx * north - dy * east) / d
            half = math.hypot(field.breadth_m * cosine, field.length_m * sine) / 2
            # |a - b| + |a + b| is twice the larger of |a| and |b|.
            turn = 2 * max(abs(sine) / d, abs(half * cosine) / (square + half * half))
            own = turn * field.density[u, j, i]
        towards = abs(dx * east + dy * north)
        if (
            len(field.sure) > 0
            and field.sure[u, j, i]
            and towards >= field.least_cosine[u] * math.sqrt(square)
        ):
            own = max(own, SURE_A_METRE)
        pulses = own if u == 0 else (min(pulses, own) if field.fewest else max(pulses, own))
    return pulses


def edge_density(sighted: SightedUnit, figure: Figure) -> Floats:
    """Zone edges to the radian on each cell of a panorama, where a unit's alarm rule is met; else 0.

    Of the layers that must all be broken the one with the fewest zones counts, of several heads the best.
    """
    unit = sighted.unit
    layers = zoned_layers(unit)
    broken = sighted.broken(figure.height_m)
    density = np.zeros(len(sighted.seen.cells))
    for h in range(len(unit.type.head)):
        rows = [k for k, layer in enumerate(layers) if layer.head == h]
        per_layer = [broken[k] * layers[k].zones / np.radians(layers[k].axes.arc_deg) for k in rows]
        own = np.max(per_layer, axis=0) if unit.type.alarm == "any" else np.min(per_layer, axis=0)
        density = np.maximum(density, own)
    microwave = unit.type.microwave
    if microwave is not None and microwave.needs == "also":
        density[~sighted.reached(figure.height_m)] = 0.0
    return density


def option_pulses_needed(option: OptionResult) -> int:
    """Pulses that an option's alarm takes: of the quickest unit under `any`, of the slowest under `all`."""
    needed = [min(unit.pulses_of(head) for head in range(len(unit.type.head))) for unit in option.detectors]
    return max(needed) if option.combine == "all" else min(needed)


def chance_of(pulses: ArrayLike, needed: int) -> Floats:
    """Chance of so many pulses at least, where they come at random and so many are to be expected.

    The tail of a Poisson count; it rises with the pulses, so the walk with the fewest is the least likely.

    >>> chance_of([0.0, 1.0], 1).round(4), float(chance_of(1.0, 3).round(4))
    (array([0.    , 0.6321]), 0.0803)
    """
    return np.asarray(gammainc(needed, np.asarray(pulses, float)), float)


def pulses_of_chance(chance: float, needed: int) -> float:
    """How many pulses are to be expected where they bring a chance; infinite where it is certain.

    >>> round(pulses_of_chance(0.001, 1), 6), round(pulses_of_chance(0.001, 3), 4), pulses_of_chance(1.0, 1)
    (0.001001, 0.1905, inf)
    """
    return float(gammaincinv(needed, min(chance, 1.0)))

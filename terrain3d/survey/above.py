"""What stands above the ground, return by return: solid, foliage or nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from terrain3d.survey.classes import IGNORED, STANDS_ABOVE_M, STRUCTURES, VEGETATION, Classes, Treatment
from terrain3d.survey.gaps import Mask
from terrain3d.survey.point_shapes import afloat, shapes_of
from terrain3d.survey.surface import within
from terrain3d.survey.taken import from_above
from terrain3d.survey.vehicles import Vehicle, vehicles
from terrain3d.units import Floats
from terrain3d.wording import listed

#: Low returns over ground of no class are leaves where higher leaves stand over them; lower ones are noise.
_LOW_M = 0.08


@dataclass(frozen=True, eq=False)
class Standing:
    """Masks over the points of a survey, and what a person should know about them.

    `thin` are those of the solid ones that stand on a line: walls, fences, gates. `low` are neither ground
    nor anything that stands: growth that is lower than `STANDS_ABOVE_M`, or the foot of a hedge. `is_flown`
    says that they were taken from above.
    """

    solid: Mask
    leaf: Mask
    thin: Mask
    low: Mask
    is_flown: bool
    vehicles: tuple[Vehicle, ...] = ()
    doubts: tuple[str, ...] = ()


def sort_standing(
    xyz: Floats,
    above_m: Floats,
    classes: Classes,
    n_returns: Classes,
    ground: Mask,
    treatments: Sequence[Treatment] = (),
) -> Standing:
    """What stands above the ground, split into solid and foliage.

    Parameters
    ----------
    above_m : (n,) float
        Height of each point above the ground beneath it.
    ground : (n,) bool

    Notes
    -----
    Vegetation classes are believed. Points without a class are judged by the shape of their
    neighbourhood; so are structures, since classifiers take crowns over roofs for roof: those
    that look like leaves, or float alone in the air, are taken for leaves, and the share is told.
    """
    stands = (above_m > STANDS_ABOVE_M) & ~ground & ~np.isin(classes, IGNORED)
    leaf = stands & np.isin(classes, VEGETATION)
    judged = np.flatnonzero(stands & ~leaf)
    leaf[judged], on_line = shapes_of(xyz[judged], above_m[judged], n_returns[judged])
    line = np.zeros(len(xyz), bool)
    line[judged] = on_line
    structure = stands & np.isin(classes, STRUCTURES)
    doubts = []
    may_drive = stands & ~np.isin(classes, VEGETATION + STRUCTURES)
    is_flown = from_above(xyz[:, :2], n_returns)
    driven = vehicles(xyz, above_m, may_drive, is_flown)
    for vehicle in driven:
        leaf &= ~vehicle.members
        line &= ~vehicle.members
    face = np.flatnonzero(stands & ~leaf)
    leaf[face[afloat(xyz[face], above_m[face])]] = True
    solid = stands & ~leaf
    told = np.zeros(len(xyz), bool)
    taken = leaf & structure
    for treatment in treatments:
        inside = stands & within(treatment.outline, xyz[:, 0], xyz[:, 1])
        told |= inside
        solid[inside] = treatment.take_as == "solid"
        leaf[inside] = treatment.take_as == "foliage"
    taken &= ~told
    if taken.sum() > 0.02 * structure.sum():
        doubts.append(
            f"{taken.sum() / structure.sum():.0%} of the points classed as building look like foliage "
            "and are taken for it; [[treat]] outlines can say otherwise"
        )
    unknown = stands & ~structure & ~np.isin(classes, VEGETATION) & ~told
    if unknown.sum() > 0.02 * stands.sum():
        doubts.append(
            f"{unknown.sum() / stands.sum():.0%} of the points standing above the ground "
            f"{_unsaid(classes[unknown])} and "
            "were split into solid and foliage by their shape; [[treat]] outlines can say otherwise"
        )
    low = ~ground & (above_m > _LOW_M) & (above_m <= STANDS_ABOVE_M)
    low &= ~np.isin(classes, IGNORED + STRUCTURES)
    return Standing(solid, leaf, solid & line & ~told, low, is_flown, tuple(driven), tuple(doubts))


def _unsaid(classes: Classes) -> str:
    """What is said of points whose classes do not tell solid from foliage.

    >>> _unsaid(np.array([0, 1], np.uint8)), _unsaid(np.array([1, 31, 31], np.uint8))
    ('have no class', 'are of classes that tell neither solid nor foliage (1 and 31)')
    """
    numbers = np.unique(classes).tolist()
    if max(numbers) <= 1:
        return "have no class"
    return f"are of classes that tell neither solid nor foliage ({listed([str(n) for n in numbers])})"

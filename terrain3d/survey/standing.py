"""What stands on the ground, out of the returns of a survey: solids with what is open beneath them, and
leaves."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from terrain3d.survey.above import Standing, sort_standing
from terrain3d.survey.boxes import grown, holds_points
from terrain3d.survey.buildings import EAVES_M, WallMount, buildings
from terrain3d.survey.classes import Classes, Treatment
from terrain3d.survey.gaps import Mask
from terrain3d.survey.lattice import Relief
from terrain3d.survey.leaf_field import Profiles, estimated
from terrain3d.survey.places import TellPlace, local_place
from terrain3d.survey.solids import SURVEYED
from terrain3d.survey.surface import within
from terrain3d.survey.thin_walls import thin_walls
from terrain3d.survey.vehicles import Vehicle
from terrain3d.terrain import Solids
from terrain3d.units import Floats
from terrain3d.wording import plain

#: Returns so far beyond the edge of the ground worked on help what stands there to be sure.
_HELPS_M = 2.0
#: Middles this near to each other are of one thing.
_SAME_THING_M = 1.0
#: A gate stands alone, as thick, long and high as this, metres (common practice, no source).
_GATE_THICK_M, _GATE_LONG_M, _GATE_HIGH_M = 0.3, (0.8, 5.0), (0.7, 2.3)
#: Pieces of a curved wall turn so far from one to the next, degrees, and lie no farther apart.
_BEND_DEG, _BEND_APART_M = (8.0, 50.0), 2.0
#: Foliage that is a guess is told from this much on, and from this share of all.
_GUESSED_M2, _GUESSED = 2.0, 0.02


def standing(
    xyz: Floats,
    classes: Classes,
    n_returns: Classes,
    ground: Mask,
    relief: Relief,
    treatments: Sequence[Treatment] = (),
    wall_mounts: Sequence[WallMount] = (),
    eaves_m: float = EAVES_M,
    tell: TellPlace = local_place,
) -> tuple[Solids, Profiles, tuple[str, ...]]:
    """Sort what stands above the ground, and make things of it.

    Parameters
    ----------
    xyz : (n, 3) float
        All returns on and around the ground worked on, local metres.
    classes, n_returns : (n,) uint8
        ASPRS classes, and the returns of the pulse that each is of.
    ground : (n,) bool
    relief : Relief
    treatments : sequence of Treatment
    wall_mounts : sequence of WallMount
    eaves_m : float
        How far roofs stand out over their walls.
    tell : callable
        A place in local metres in words, for doubts.

    Returns
    -------
    Solids, Profiles, and doubts
    """
    helps = holds_points(grown(relief.ground.bounds, _HELPS_M), xyz)
    xyz, classes, n_returns, ground = xyz[helps], classes[helps], n_returns[helps], ground[helps]
    above_m = xyz[:, 2] - relief.foot_at(xyz[:, 0], xyz[:, 1])
    sorted_ = sort_standing(xyz, above_m, classes, n_returns, ground, treatments)
    solids, eaves, on_walls = _solids(xyz, sorted_, ground, relief, wall_mounts, eaves_m)
    bare = _without_leaves(relief, treatments)
    profiles = estimated(xyz, sorted_.leaf, sorted_.low, n_returns, sorted_.is_flown, relief, bare)
    doubts = sorted_.doubts
    if eaves and eaves_m > 0:
        doubts += (
            f"where no wall was seen under them, roofs are taken to stand out {plain(eaves_m)} m over their "
            "walls: [ground] eaves says how far they do, [[mount]] wall which wall a unit is on",
        )
    doubts += tuple(
        f"the mount {mount.name!r} lies within a building as it was read, and is taken to stand before the "
        "nearest wall of it: [[mount]] wall says which way that faces"
        for mount in on_walls
    )
    doubts += _may_go(solids, sorted_.vehicles, relief, tell)
    grown_m2 = len(profiles.base_z) * relief.ground.cell_m**2
    guessed_m2 = float(profiles.guessed.sum()) * relief.ground.cell_m**2
    if guessed_m2 > max(_GUESSED_M2, _GUESSED * grown_m2):
        doubts += (
            f"{plain(guessed_m2)} m2 of {plain(grown_m2)} m2 of foliage are a guess up to the height of a "
            "person: few pulses came so far down",
        )
    return solids, profiles, doubts


def _without_leaves(relief: Relief, treatments: Sequence[Treatment]) -> Mask:
    """(ny, nx) cells where a person says that no leaves grow; of two that say otherwise the later counts."""
    bare = np.zeros(relief.ground.z.shape, bool)
    x, y = np.meshgrid(relief.ground.xs, relief.ground.ys)
    for treatment in treatments:
        bare[within(treatment.outline, x, y)] = treatment.take_as != "foliage"
    return bare


def _solids(
    xyz: Floats,
    sorted_: Standing,
    ground: Mask,
    relief: Relief,
    wall_mounts: Sequence[WallMount],
    eaves_m: float,
) -> tuple[Solids, bool, tuple[WallMount, ...]]:
    """Walls and buildings on the ground worked on, each thing by a number.

    Beside them whether any has eaves, and the mounts that were taken to be on a wall that nobody named.
    """
    near = holds_points(relief.ground.bounds, xyz)
    thin = sorted_.thin & near
    walls, used = thin_walls(xyz[thin], xyz[ground & near], relief)
    block = sorted_.solid & near
    block[np.flatnonzero(thin)[used]] = False
    bare = xyz[ground & near]
    # Each vehicle by itself: two beside each other are two things, with a way between; and none is a roof
    # that ground seen at its rim would make open beneath.
    driven = Solids.none()
    for vehicle in sorted_.vehicles:
        own = block & vehicle.members
        block &= ~vehicle.members
        driven = driven.joined(buildings(xyz[own], bare[:0], relief, 0.0, (), [vehicle.outline])[0])
    blocks, eaves, taken = buildings(xyz[block], bare, relief, eaves_m, wall_mounts)
    found = blocks.joined(driven).joined(walls)
    names = tuple(f"{SURVEYED} {k}" for k in range(1, len(found.names) + 1))
    return replace(found, names=names), bool(eaves), tuple(wall_mounts[k] for k in taken)


def _may_go(solids: Solids, vehicles: Sequence[Vehicle], relief: Relief, tell: TellPlace) -> tuple[str, ...]:
    """What has the shape of a vehicle or of a gate, with the name by which a scenario leaves it out."""
    corners = [
        solids.vertices[solids.triangles[solids.owners == k].ravel()] for k in range(len(solids.names))
    ]
    middles = np.array([(c.min(axis=0) + c.max(axis=0))[:2] / 2 for c in corners]).reshape(-1, 2)
    told, driven = [], set()
    for vehicle in vehicles:
        place = vehicle.outline.mean(axis=0)
        away = np.hypot(*(middles - place).T)
        if not len(away) or away.min() > _SAME_THING_M:
            continue
        driven.add(int(away.argmin()))
        told.append(
            f"{solids.names[int(away.argmin())]!r} at {tell(*place)} has the size of a "
            f"vehicle, {plain(vehicle.height_m, 2)} m high, and may drive away"
        )
    axes = [_axis(around[:, :2]) for around in corners]
    thin = np.array([thick <= _GATE_THICK_M for _, thick in axes], bool)
    lines = np.array([line for line, _ in axes]).reshape(-1, 2, 2)
    for k, (name, around) in enumerate(zip(solids.names, corners, strict=True)):
        others = thin & (np.arange(len(thin)) != k)
        if k in driven or _goes_on_round_a_bend(lines[k], lines[others]):
            continue
        sides = np.array([axes[k][1], np.hypot(*(lines[k][1] - lines[k][0]))])
        up = float((around[:, 2] - relief.foot_at(around[:, 0], around[:, 1])).max())
        of_gate = zip((up, sides[-1]), (_GATE_HIGH_M, _GATE_LONG_M), strict=True)
        if sides[0] <= _GATE_THICK_M and all(low <= value <= high for value, (low, high) in of_gate):
            told.append(
                f"{name!r} at {tell(*middles[k])}, {plain(float(sides[1]), 2)} m long and "
                f"{plain(up, 2)} m high, may be a gate, which opens"
            )
    if told:
        told[-1] += ': a [[scenario]] with without = ["..."] judges the site without a thing, by its name'
    return tuple(told)


def _axis(xy: Floats) -> tuple[Floats, float]:
    """Both ends (2, 2) of the middle line of the rectangle around a plan, and how thick it is, metres."""
    rectangle = shapely.minimum_rotated_rectangle(shapely.MultiPoint(xy))
    around = shapely.get_coordinates(rectangle)
    if len(around) < 5:
        return np.asarray(around[[0, -1]]), 0.0
    sides = np.hypot(*np.diff(around, axis=0)[:2].T)
    around = around[1:] if sides[0] < sides[1] else around[:-1]
    return np.stack([(around[0] + around[3]) / 2, (around[1] + around[2]) / 2]), float(sides.min())


def _goes_on_round_a_bend(line: Floats, others: Floats) -> bool:
    """Whether another wall goes on from an end of one, turned by more than noise and less than a corner: a
    curved wall is read as straight pieces."""
    ahead, theirs = line[1] - line[0], others[:, 1] - others[:, 0]
    cosine = np.abs(theirs @ ahead) / np.maximum(np.hypot(*theirs.T) * np.hypot(*ahead), 1e-9)
    between = np.hypot(*np.moveaxis(line[None, :, None] - others[:, None], -1, 0)).min(axis=(1, 2))
    turned = np.degrees(np.arccos(np.clip(cosine, 0, 1)))
    low, high = _BEND_DEG
    return bool(((between < _BEND_APART_M) & (turned > low) & (turned < high)).any())

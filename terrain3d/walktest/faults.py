"""What may be off about a unit as it hangs, drawn from the sizes of the doubt, and what it would then show.

A guess is a unit that hangs as it may: one thing at most is off by more than its standard deviation, all
else by less than that. So the guesses fall into causes, and a cause is told by what its guesses have in
common. How often each comes about is common practice, no source: it weighs answers that two causes explain
alike.
"""

import math
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.heads import without_head
from terrain3d.cover.sighted import SightedUnit, sighted_over
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector
from terrain3d.sight.panorama import eye_over
from terrain3d.survey.scenarios import thinned
from terrain3d.terrain import Terrain
from terrain3d.uncertainty.error_field import ErrorSizes, draw_field, field_law
from terrain3d.uncertainty.monte_carlo import LOWEST_M, part_around, tilted_within
from terrain3d.uncertainty.moved_site import finely, moved
from terrain3d.units import Floats
from terrain3d.walktest.spots import SAMPLES, Spots

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Cause(Enum):
    """What is off; of `AS_SET` nothing is, by more than its standard deviation."""

    AS_SET = "as set"
    HEIGHT = "height"
    BEARING = "bearing"
    TILT = "tilt"
    ROLL = "roll"
    RANGE = "range"
    HEAD = "head"
    LEAVES = "leaves"
    GROUND = "ground"
    UNIT = "unit"


#: How often each is what is found, before anything is walked: common practice, no source.
_CHANCE = {
    Cause.AS_SET: 0.32, Cause.HEIGHT: 0.08, Cause.BEARING: 0.12, Cause.TILT: 0.16, Cause.ROLL: 0.06,
    Cause.RANGE: 0.16, Cause.HEAD: 0.04, Cause.LEAVES: 0.03, Cause.GROUND: 0.03,
    Cause.UNIT: 0.03,
}  # fmt: skip
CAUSES = tuple(_CHANCE)
#: The number of the dead head where all of them are: the unit has no power, or shows nothing.
ALL_HEADS = -2
#: Places from which is looked, for each cause, and guesses from each place.
_LOOKS = {Cause.HEIGHT: 60, Cause.LEAVES: 32, Cause.GROUND: 40}
_LOOKS_ELSE, _GUESSES = 40, 32
#: What is not the cause errs by this share of its standard deviation, and by less than the whole.
_ELSE = 0.5
#: What is off is so by 1 standard deviation and half a normal one more of this size.
_TAIL = 1.5
#: Leaf area beside what was read, thinner or thicker by up to these factors.
_THINNEST, _THICKEST = 0.15, 4.0
#: The ground of `GROUND` errs by so many times its stated size.
_GROUND_OFF = (1.5, 3.0)


@dataclass(frozen=True, eq=False)
class Guesses:
    """Units as they may hang, n of them.

    Parameters
    ----------
    cause : (n,) int64
        Place in `CAUSES`.
    value : (n,) float
        What the cause is off by: metres, degrees (nose down, right side down, clockwise), the range setting
        it has instead, the number of the dead head, the share of leaf area; 0 where there is no one value.
    weight : (n,) float
        How likely each is before anything is walked; sums to 1.
    bearing_deg, tilt_deg, roll_deg : (n,) float
        Off what is set.
    range_m : (n,) float
        As the unit is.
    dead_head : (n,) int64
        From 0; -1 is none, `ALL_HEADS` all.
    look : (n,) int64
        Row of the places.
    height_m, leaves : (l,) float
        Of each place: off what is set; share of leaf area.
    ground : tuple of (field seed, size)
        Of each place: whose error field, metres RMSE.
    """

    cause: Ints
    value: Floats
    weight: Floats
    bearing_deg: Floats
    tilt_deg: Floats
    roll_deg: Floats
    range_m: Floats
    dead_head: Ints
    look: Ints
    height_m: Floats
    leaves: Floats
    ground: tuple[tuple[int, float], ...]


def draw_guesses(unit: Detector, terrain: Terrain, sizes: ErrorSizes, seed: int) -> Guesses:
    """Units as they may hang, from the sizes of the doubt.

    Parameters
    ----------
    unit : Detector
        As it is set.
    terrain : Terrain
        Where nothing grows, leaves are no cause.
    sizes : ErrorSizes
        A setting whose size is 0 is no cause.
    seed : int
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, _DRAWS]))
    columns: dict[str, list[NDArray[Any]]] = {name: [] for name in _COLUMNS}
    heights: list[float] = []
    leaves: list[float] = []
    ground: list[tuple[int, float]] = []
    others = other_ranges(unit)
    for cause in _possible(unit, terrain, sizes, others):
        n_looks = _LOOKS.get(cause, _LOOKS_ELSE)
        n = n_looks * _GUESSES
        off = {name: size * _within(rng, n) for name, size in _angles(sizes).items()}
        height = sizes.height_m * _within(rng, n_looks)
        share = np.ones(n_looks)
        size_m = np.full(n_looks, _ELSE * sizes.ground_m)
        range_m, dead = np.full(n, unit.range_m), np.full(n, -1.0)
        value = np.zeros(n)
        if cause.value in off:
            value = off[cause.value] = _angles(sizes)[cause.value] * _beyond(rng, n)
        elif cause is Cause.HEIGHT:
            height = sizes.height_m * _beyond(rng, n_looks)
            value = np.repeat(height, _GUESSES)
        elif cause is Cause.RANGE:
            value = range_m = np.array(others)[np.arange(n) % len(others)]
        elif cause is Cause.HEAD:
            value = dead = (np.arange(n) % len(unit.type.head)).astype(float)
        elif cause is Cause.UNIT:
            dead = np.full(n, float(ALL_HEADS))
        elif cause is Cause.LEAVES:
            thin = np.arange(n_looks) % 2 == 0
            span = np.where(thin, math.log(_THINNEST), math.log(_THICKEST))
            share = np.exp(span * (0.25 + 0.75 * rng.random(n_looks)))
            value = np.repeat(share, _GUESSES)
        elif cause is Cause.GROUND:
            size_m = sizes.ground_m * rng.uniform(*_GROUND_OFF, n_looks)
        first = len(heights)
        heights += height.tolist()
        leaves += share.tolist()
        ground += [(len(ground) + k, float(size_m[k])) for k in range(n_looks)]
        columns["look"].append(first + np.repeat(np.arange(n_looks), _GUESSES))
        columns["cause"].append(np.full(n, CAUSES.index(cause)))
        columns["weight"].append(np.full(n, _CHANCE[cause] / n))
        for name, column in (("value", value), ("range_m", range_m), ("dead_head", dead), *off.items()):
            columns[name].append(column)
    made = {name: np.concatenate(parts) for name, parts in columns.items()}
    return Guesses(
        made["cause"].astype(np.int64), made["value"], made["weight"] / made["weight"].sum(), made["bearing"],
        made["tilt"], made["roll"], made["range_m"], made["dead_head"].astype(np.int64),
        made["look"].astype(np.int64), np.array(heights), np.array(leaves), tuple(ground),
    )  # fmt: skip


_DRAWS, _FIELDS = 1, 2
_COLUMNS = ("look", "cause", "weight", "value", "range_m", "dead_head", "bearing", "tilt", "roll")


def _possible(unit: Detector, terrain: Terrain, sizes: ErrorSizes, others: tuple[float, ...]) -> list[Cause]:
    there = {
        Cause.HEIGHT: sizes.height_m > 0,
        Cause.BEARING: sizes.bearing_deg > 0,
        Cause.TILT: sizes.tilt_deg > 0,
        Cause.ROLL: sizes.tilt_deg > 0,
        Cause.RANGE: bool(others),
        Cause.HEAD: len(unit.type.head) > 1,
        Cause.LEAVES: _grows_near(terrain, unit),
        Cause.GROUND: sizes.ground_m > 0,
    }
    return [cause for cause in CAUSES if there.get(cause, True)]


def _grows_near(terrain: Terrain, unit: Detector) -> bool:
    leaves = terrain.foliage
    if not len(leaves.base_z):
        return False
    rows, columns = np.nonzero(leaves.column >= 0)
    away = np.hypot(leaves.x0 + leaves.cell_m * columns - unit.x, leaves.y0 + leaves.cell_m * rows - unit.y)
    return bool((away < unit.type.reach_m).any())


def other_ranges(unit: Detector) -> tuple[float, ...]:
    """Range settings that the unit could have been left at instead of its own."""
    following = [h for h in range(len(unit.type.head)) if unit.head(h).range_m is None]
    if not following or not any(
        layer.elevation == "range" for h in following for layer in unit.type.head[h].layer
    ):
        return ()
    shared = set(unit.type.ranges_of(following[0]))
    for head in following[1:]:
        shared &= set(unit.type.ranges_of(head))
    return tuple(sorted(shared - {unit.range_m}))


def _angles(sizes: ErrorSizes) -> dict[str, float]:
    return {"bearing": sizes.bearing_deg, "tilt": sizes.tilt_deg, "roll": sizes.tilt_deg}


def _within(rng: np.random.Generator, n: int) -> Floats:
    """(n,) normal of size 1/2, but none beyond 1: each is drawn anew until it is within."""
    found = _ELSE * rng.standard_normal(n)
    while (beyond := np.abs(found) > 1).any():
        found[beyond] = _ELSE * rng.standard_normal(int(beyond.sum()))
    return found


def _beyond(rng: np.random.Generator, n: int) -> Floats:
    """(n,) beyond 1, to both sides alike."""
    return np.where(np.arange(n) % 2 == 0, 1.0, -1.0) * (1 + _TAIL * np.abs(rng.standard_normal(n)))


@dataclass(frozen=True, eq=False)
class Standing:
    """A site near a unit, and what its ground may err by: what every look of some guesses starts from."""

    part: Terrain
    unit: Detector
    sizes: ErrorSizes
    seed: int


def standing_around(terrain: Terrain, unit: Detector, sizes: ErrorSizes, seed: int) -> Standing:
    """The part of a site that a unit sees, ready to be moved."""
    part, _, _ = part_around(terrain, [unit])
    solids = finely(terrain.solids, max(0.1 * sizes.correlation_m, terrain.ground.cell_m))
    return Standing(replace(part, solids=solids), unit, sizes, seed)


def expected_lights(standing: Standing, guesses: Guesses, spots: Spots) -> Mask:
    """(n, m) bool: whether the indicator of each guess lights on each walk.

    A walk lights it where at least two of the three places on it that are looked at are held: so long is it
    that the pulses come together on that.
    """
    lights = np.zeros((len(guesses.cause), len(spots)), bool)
    law = field_law(standing.part.ground, 1.0, standing.sizes.correlation_m)
    for number in range(len(guesses.height_m)):
        field_seed, size_m = guesses.ground[number]
        site = standing.part
        if size_m > 0:
            own = np.random.default_rng(np.random.SeedSequence([standing.seed, _FIELDS, field_seed]))
            site = moved(site, size_m * draw_field(law, own))
        if guesses.leaves[number] != 1:
            site = replace(site, foliage=thinned(site.foliage, float(guesses.leaves[number])))
        seen = looked_from(site, standing.unit, float(guesses.height_m[number]), spots)
        for row in np.flatnonzero(guesses.look == number):
            lights[row] = lit_by(seen, _as_guessed(guesses, int(row)), spots)
    return lights


@dataclass(frozen=True)
class Hanging:
    """A unit as it hangs, apart from where it looks from: degrees off, its range, and a head that is dead."""

    bearing_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    range_m: float | None = None
    dead_head: int = -1


def _as_guessed(guesses: Guesses, row: int) -> Hanging:
    return Hanging(
        float(guesses.bearing_deg[row]), float(guesses.tilt_deg[row]), float(guesses.roll_deg[row]),
        float(guesses.range_m[row]), int(guesses.dead_head[row]),
    )  # fmt: skip


def looked_from(site: Terrain, unit: Detector, higher_m: float, spots: Spots) -> SightedUnit:
    """A unit so much higher than it is set, with what it sees over all places of some walks."""
    there = replace(
        unit,
        ground_z=eye_over(site.ground, unit.x, unit.y, 0.0)[2],
        height_m=max(unit.height_m + higher_m, min(unit.height_m, LOWEST_M)),
    )
    x, y = spots.places()
    return sighted_over(site, there, x, y)


def lit_by(seen: SightedUnit, hangs: Hanging, spots: Spots) -> Mask:
    """(m,) bool: whether each walk lights the indicator of a unit that hangs so."""
    own = seen.unit
    if hangs.dead_head == ALL_HEADS or (hangs.dead_head >= 0 and len(own.type.head) == 1):
        return np.zeros(len(spots), bool)
    unit = replace(
        own,
        bearing_deg=(own.bearing_deg + hangs.bearing_deg) % 360,
        tilt_deg=tilted_within(own.tilt_deg + hangs.tilt_deg),
        roll_deg=tilted_within(own.roll_deg + hangs.roll_deg),
        range_m=own.range_m if hangs.range_m is None else hangs.range_m,
    )
    set_so = seen.set_to(unit)
    if hangs.dead_head >= 0:
        set_so = replace(set_so, heads=without_head(set_so.heads, hangs.dead_head))
    lights = np.zeros(len(spots), bool)
    for number, figure in enumerate(spots.figures):
        held = np.zeros(SAMPLES * len(spots), bool)
        held[set_so.seen.cells] = set_so.codes(figure.height_m) == Verdict.BOTH
        own_walks = spots.figure == number
        lights[own_walks] = (held.reshape(-1, SAMPLES).sum(axis=1) >= 2)[own_walks]
    return lights

"""Where a place is, as somebody finds it with a tape and by pacing: from marks, and from mounts."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from terrain3d.terrain import Terrain

#: A pace of a grown man, metres (common practice, no source).
PACE_M = 0.75
#: A tape that most vans carry, metres (common practice, no source).
_TAPE_M = 30.0
#: Two marks nearer than this to a place, or to one line with it, fix it badly: metres, degrees.
_NEAREST_M, _FLATTEST_DEG = 0.5, 15.0
#: Marks that fix a place no better than this are told only where no corners fix it better: degrees.
_WELL_DEG = 30.0
#: What is known no better than this is not taped from: metres.
_TAPED_FROM_M = 0.2


@dataclass(frozen=True)
class Known:
    """A place that can be found: a mark, a mount, or a corner of something drawn.

    `ground_z` is the ground there, NaN where that is not known. Of a corner `part` says which it is, such as
    "north-east corner", and `outward_deg` where it points away from the thing. `vague_m` is how well a place
    is known in plan (common practice, no source), `top_m` how high what is to be seen of it reaches above the
    ground: somebody stands at a mark.
    """

    name: str
    x: float
    y: float
    ground_z: float
    part: str = ""
    vague_m: float = 0.1
    top_m: float = 1.7
    outward_deg: float | None = None


@dataclass(frozen=True)
class Taped:
    """A place as it lies from one that is known.

    `level_m` is in plan; `tape_m` along the straight line from ground to ground, as a tape reads; the same
    where the ground of either is not known. `bearing_deg` leads from the known place, clockwise from true
    north. `part` is the corner of what is called so; empty of a mark or mount.
    """

    name: str
    level_m: float
    tape_m: float
    bearing_deg: float
    part: str = ""

    @property
    def paces(self) -> int:
        return round(self.tape_m / PACE_M)


def known_places(terrain: Terrain) -> tuple[Known, ...]:
    """Marks first, then mounts."""
    marks = [Known(mark.name, mark.x, mark.y, mark.ground_z) for mark in terrain.marks]
    ground = terrain.ground
    mounts = [Known(m.name, m.x, m.y, float(ground.height_at(m.x, m.y))) for m in terrain.mounts]
    return (*marks, *mounts)


def taped_from(place: Known, x: float, y: float, ground_z: float) -> Taped:
    """A place, local metres, as it lies from a known one.

    Examples
    --------
    Three metres east, four north, twelve down: 13 m of tape.

    >>> taped_from(Known("post", 0.0, 0.0, 12.0), 3.0, 4.0, 0.0)
    Taped(name='post', level_m=5.0, tape_m=13.0, bearing_deg=36.86989764584402, part='')
    """
    level_m = math.hypot(x - place.x, y - place.y)
    drop = ground_z - place.ground_z
    tape_m = level_m if math.isnan(drop) else math.hypot(level_m, drop)
    bearing_deg = math.degrees(math.atan2(x - place.x, y - place.y)) % 360
    return Taped(place.name, level_m, tape_m, bearing_deg, place.part)


def nearest_taped(places: Sequence[Known], x: float, y: float, ground_z: float) -> Taped | None:
    """A place from the known one that is nearest; None where none is known."""
    found = [taped_from(place, x, y, ground_z) for place in places]
    return min(found, key=lambda taped: (taped.level_m, taped.name, taped.part), default=None)


def tapes_from(
    marks: Sequence[Known], corners: Sequence[Known], x: float, y: float, ground_z: float
) -> tuple[Taped, ...]:
    """The two tapes that fix a place: from marks where these do it well, else from corners too.

    Examples
    --------
    One mark and one corner, square to each other:

    >>> post, barn = Known("post", 3.0, 0.0, 0.0), Known("barn", 0.0, 4.0, 0.0, "south end")
    >>> [(taped.name, taped.part) for taped in tapes_from([post], [barn], 0.0, 0.0, 0.0)]
    [('post', ''), ('barn', 'south end')]
    """
    found = two_tapes(marks, x, y, ground_z)
    if len(found) == 2 and _cut_deg(*found) >= _WELL_DEG and found[1].tape_m <= _TAPE_M:
        return found
    sharp = [corner for corner in corners if corner.vague_m <= _TAPED_FROM_M]
    return two_tapes((*marks, *sharp), x, y, ground_z)


def two_tapes(places: Sequence[Known], x: float, y: float, ground_z: float) -> tuple[Taped, ...]:
    """The two known places from which two tapes fix a place best: where they cross most squarely, near by.

    Two where there are two that do not lie on one line with it; else the nearest alone, or none.

    Examples
    --------
    >>> posts = [Known("a", 3.0, 0.0, 0.0), Known("b", 0.0, 4.0, 0.0), Known("c", -5.0, 0.0, 0.0)]
    >>> [taped.name for taped in two_tapes(posts, 0.0, 0.0, 0.0)]
    ['a', 'b']
    """
    taped = [taped_from(place, x, y, ground_z) for place in places]
    usable = [one for one in taped if one.level_m >= _NEAREST_M]

    def worth(pair: tuple[Taped, Taped]) -> float:
        cut = _cut_deg(*pair)
        # The place is off by the tape's error over the sine of the cut, and long tapes err more.
        longest = max(one.tape_m for one in pair)
        return math.sin(math.radians(cut)) / (1 + max(longest - _TAPE_M, 0.0) + 0.05 * longest)

    pairs = [pair for pair in itertools.combinations(usable, 2) if _cut_deg(*pair) >= _FLATTEST_DEG]
    if pairs:
        best = max(pairs, key=worth)
        return tuple(sorted(best, key=lambda one: one.tape_m))
    nearest = min(taped, key=lambda one: (one.level_m, one.name, one.part), default=None)
    return () if nearest is None else (nearest,)


def _cut_deg(one: Taped, other: Taped) -> float:
    """At which angle two tapes cross: 90 degrees is square."""
    apart = abs(one.bearing_deg - other.bearing_deg) % 180
    return min(apart, 180 - apart)

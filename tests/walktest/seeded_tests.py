"""Walk tests made from known errors on invented sites: how often the true cause is found, and how surely.

Run by itself it prints the whole study (20 sites, then 200 cases of the guesses' own kind), and with `faults`
what is told of each fault on six sites with a hedge and without; the suite runs a part. What it printed last,
with 12 points at most:

    right answers: the map holds on 20 of 20 sites; first on 17 with a tenth of the answers wrong
    tilt 2 degrees off: found within half a degree on 20 of 20; first on 19 with a tenth wrong
    a wrong range setting: named on 18 of the 19 on which it changes a twentieth of the map; first on 16
    of 200 cases, told with 85 to 95 %: 22, 95 % of them true; with 90 % and more: 44, 95 %; over all 71 %
    told, 69 % true; spans of 90 %: 41 of 45 hold the true value
    of 1000 cases, told with 85 to 95 %: 127, 91 % of them true; with 90 % and more: 219, 97 %; over all 71 %
    told, 70 % true; spans of 90 %: 214 of 240. What 200 cases are off by is chance

    of each fault, so often first, told alike with others, not to be seen on any walk, not told:
    tilt 2 degrees 12, 0, 0, 0; bearing 8 degrees 12, 0, 0, 0; a dead head 4, 0, 0, 0; no power 11, 1, 0, 0
    a wrong range 9, 1, 0, 0 (with as set, height, roll); roll 3 degrees 8, 4, 0, 0 (as set, height, range)
    height 10 cm 1, 11, 0, 0 (as set, tilt, range, roll): 10 cm move few edges
    leaves a quarter as dense 2, 2, 1, 1; three times 4, 1, 0, 1 (as set, range)
    ground 12.5 cm off 1, 5, 1, 5 (as set, height, range): it moves edges here and there, as each of them does
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import find_figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import eye_over
from terrain3d.survey.scenarios import thinned
from terrain3d.terrain import Mount, Terrain, terrain_from_heights
from terrain3d.uncertainty.error_field import ErrorSizes, draw_field, field_law
from terrain3d.uncertainty.moved_site import moved
from terrain3d.units import direction
from terrain3d.walktest.choose import most_telling
from terrain3d.walktest.explain import Explanation, explain
from terrain3d.walktest.faults import (
    ALL_HEADS,
    CAUSES,
    Cause,
    Guesses,
    Hanging,
    draw_guesses,
    expected_lights,
    lit_by,
    looked_from,
    other_ranges,
    standing_around,
)
from terrain3d.walktest.spots import Spots, candidate_spots, postures

PERSON = find_figure("person", ())
#: A survey of 5 cm, and the sizes of fixing that a site file has by default.
SIZES = ErrorSizes(0.05, 10.0, 0.02, 2.5, 1.0)
WRONG = 0.05
TYPES = ("one-head-90", "two-head-180", "one-head-narrow")


@dataclass(frozen=True, eq=False)
class Seeded:
    """An invented site with a unit, and the walks that were chosen for it."""

    terrain: Terrain
    unit: Detector
    spots: Spots
    guesses: Guesses
    lights: np.ndarray

    def answers(self, higher_m: float = 0.0, on: Terrain | None = None, **off: float) -> np.ndarray:
        """What a unit shows that hangs otherwise, on the very ground or another."""
        site = self.terrain if on is None else on
        return lit_by(looked_from(site, self.unit, higher_m, self.spots), Hanging(**off), self.spots)

    def told(self, seen: np.ndarray) -> Explanation:
        return explain(self.guesses, self.lights, seen, WRONG)

    def matters(self, **off: float) -> bool:
        """Whether a twentieth of the ground held is won or lost by it: else the map holds."""
        one = sighted(self.terrain, self.unit)
        was = one.codes(1.7) == Verdict.BOTH
        unit = replace(
            self.unit,
            tilt_deg=self.unit.tilt_deg + off.get("tilt_deg", 0.0),
            range_m=off.get("range_m", self.unit.range_m),
        )
        return bool(((one.set_to(unit).codes(1.7) == Verdict.BOTH) != was).sum() > 0.05 * was.sum())


def site(seed: int) -> tuple[Terrain, Detector]:
    """A slope of up to 15 % that bends, and a unit tilted with part of it."""
    rng = np.random.default_rng(seed)
    a = (np.arange(121) - 60) * 0.5
    x, y = np.meshgrid(a, a)
    slope, bend = rng.uniform(-0.10, 0.10, 2), rng.uniform(-0.003, 0.003, 3)
    z = slope[0] * x + slope[1] * y + bend[0] * x * x + bend[1] * y * y + bend[2] * x * y
    terrain = terrain_from_heights(z, 0.5, mounts=(Mount("pole", 0, 0),))
    kind = load_type(TYPES[seed % 3])
    bearing = float(rng.uniform(0, 360))
    east, north = direction(bearing)
    fall_deg = float(np.degrees(np.arctan(-(slope[0] * east + slope[1] * north))))
    x0, y0, ground_z = eye_over(terrain.ground, 0, 0, 0)
    unit = Detector(
        "D1", kind, "pole", x0, y0, ground_z, float(rng.uniform(0.9, 1.1)), bearing,
        round(fall_deg * float(rng.uniform(0, 1)), 1), 0.0, float(kind.range_settings[-1 -
        int(rng.integers(0, 2))]),
    )  # fmt: skip
    return terrain, unit


def hedged(terrain: Terrain, unit: Detector) -> Terrain:
    """The same with a hedge of a man's height across what the unit looks at, five metres off."""
    from shapes import leaves

    east, north = direction(unit.bearing_deg)

    def within(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        along, across = x * east + y * north, x * north - y * east
        return (np.abs(along - 5.0) < 0.6) & (np.abs(across) < 6.0)

    return replace(terrain, foliage=leaves(terrain.ground, within, 0.0, 1.6, 2.0))


def seeded(seed: int, points: int = 12, has_hedge: bool = False) -> Seeded:
    terrain, unit = site(seed)
    if has_hedge:
        terrain = hedged(terrain, unit)
    spots = candidate_spots(terrain, sighted(terrain, unit), postures(PERSON, unit.height_m))
    guesses = draw_guesses(unit, terrain, SIZES, seed)
    lights = expected_lights(standing_around(terrain, unit, SIZES, seed), guesses, spots)
    chosen = most_telling(guesses, lights, points, WRONG, seed=seed)
    return Seeded(terrain, unit, spots.only(chosen), guesses, lights[:, chosen])


def tilt_of(seed: int) -> float:
    return 2.0 if seed % 2 else -2.0


def wrong_range(one: Seeded, seed: int) -> float | None:
    """A setting other than the right one that changes the map, any of them; None where none does."""
    others = [r for r in other_ranges(one.unit) if one.matters(range_m=r)]
    return others[int(np.random.default_rng(3000 + seed).integers(len(others)))] if others else None


def with_wrong(seen: np.ndarray, seed: int, share: float = 0.10) -> np.ndarray:
    """Answers of which a share is wrong by chance."""
    return seen ^ (np.random.default_rng(9000 + seed).random(len(seen)) < share)


def finds_tilt(one: Seeded, seen: np.ndarray, true: float) -> bool:
    top = one.told(seen).causes[0]
    return top.cause is Cause.TILT and abs(top.value - true) <= 0.5


def finds_range(one: Seeded, seen: np.ndarray) -> bool:
    return one.told(seen).causes[0].cause is Cause.RANGE


def faulty(one: Seeded, seed: int) -> dict[str, tuple[Cause, np.ndarray]]:
    """What a unit shows with each of the faults, as far as it can have it: its cause, its answers."""
    side = 1.0 if seed % 2 else -1.0
    found = {
        "height": (Cause.HEIGHT, one.answers(higher_m=0.10 * side)),
        "tilt": (Cause.TILT, one.answers(tilt_deg=2.0 * side)),
        "roll": (Cause.ROLL, one.answers(roll_deg=3.0 * side)),
        "bearing": (Cause.BEARING, one.answers(bearing_deg=8.0 * side)),
        "unit": (Cause.UNIT, one.answers(dead_head=ALL_HEADS)),
    }
    range_m = wrong_range(one, seed)
    if range_m is not None:
        found["range step"] = Cause.RANGE, one.answers(range_m=range_m)
    if len(one.unit.type.head) > 1:
        found["dead head"] = Cause.HEAD, one.answers(dead_head=seed // 3 % 2)
    if len(one.terrain.foliage.base_z):
        for name, share in (("leaves thinner", 0.25), ("leaves thicker", 3.0)):
            other = replace(one.terrain, foliage=thinned(one.terrain.foliage, share))
            found[name] = Cause.LEAVES, one.answers(on=other)
    law = field_law(one.terrain.ground, 1.0, SIZES.correlation_m)
    field = draw_field(law, np.random.default_rng(8000 + seed))
    found["ground off"] = Cause.GROUND, one.answers(on=moved(one.terrain, 2.5 * SIZES.ground_m * field))
    return found


def each_fault(seeds: range) -> None:
    """Print for each fault how often it is told by name, told alike with others, or not told."""
    tally: dict[str, list[int]] = {}
    others: dict[str, list[str]] = {}
    for seed in seeds:
        for has_hedge in (False, True):
            one = seeded(seed, has_hedge=has_hedge)
            expected = one.answers()
            for name, (cause, seen) in faulty(one, seed).items():
                told = one.told(seen)
                how = fate(told, cause)
                if how == MISSED and (seen == expected).all():
                    # Nothing is to be seen of it on any walk: that the map holds is right.
                    how = UNSEEN
                tally.setdefault(name, [0, 0, 0, 0])[how] += 1
                beside = {ALIKE: told.likely, MISSED: told.causes[:1]}.get(how, ())
                others.setdefault(name, []).extend(c.cause.value for c in beside if c.cause is not cause)
        say(f"sites to {seed}: {tally}")
    for name, counts in tally.items():
        often = sorted(set(others[name]), key=lambda other: -others[name].count(other))
        told_of = ", ".join(f"{other} {others[name].count(other)}" for other in often[:4])
        named, alike, unseen, missed = counts
        say(f"{name}: named {named}, alike {alike}, not to be seen {unseen}, missed {missed}; {told_of}")


#: What may become of a fault.
NAMED, ALIKE, UNSEEN, MISSED = range(4)


def fate(told: Explanation, cause: Cause) -> int:
    """Whether a cause comes first, is told alike with others, or is not told."""
    if told.causes[0].cause is cause:
        return NAMED
    return ALIKE if cause in {one.cause for one in told.likely} else MISSED


def drawn_case(one: Seeded, seed: int) -> tuple[Cause, float, Explanation]:
    """A unit that hangs as one of new guesses does, on ground that errs as theirs: its cause, how far, what
    is told."""
    new = draw_guesses(one.unit, one.terrain, SIZES, 5000 + seed)
    rng = np.random.default_rng(7000 + seed)
    row = int(rng.choice(len(new.weight), p=new.weight))
    look = int(new.look[row])
    law = field_law(one.terrain.ground, 1.0, SIZES.correlation_m)
    ground = moved(one.terrain, new.ground[look][1] * draw_field(law, rng))
    hangs = Hanging(
        float(new.bearing_deg[row]), float(new.tilt_deg[row]), float(new.roll_deg[row]),
        float(new.range_m[row]), int(new.dead_head[row]),
    )  # fmt: skip
    seen = lit_by(looked_from(ground, one.unit, float(new.height_m[look]), one.spots), hangs, one.spots)
    seen = with_wrong(seen, seed, WRONG)
    return CAUSES[new.cause[row]], float(new.value[row]), one.told(seen)


def study(sites: int, cases: int) -> None:
    """Print both studies."""
    kinds = {"right": Cause.AS_SET, "tilt": Cause.TILT, "range": Cause.RANGE}
    tally = {name: [0, 0, 0] for name in kinds}
    drawn: list[tuple[float, bool]] = []
    spans: list[bool] = []
    for seed in range(sites):
        one = seeded(seed)
        tilt, range_m = tilt_of(seed), wrong_range(one, seed)
        off = {"right": {}, "tilt": {"tilt_deg": tilt}, "range": {"range_m": range_m}}
        for name, how in off.items():
            if how and (None in how.values() or not one.matters(**how)):
                say(f"  site {seed}: {name} changes too little of the map")
                continue
            seen = one.answers(**how)
            is_found = {
                "right": one.told(seen).causes[0].cause is Cause.AS_SET,
                "tilt": finds_tilt(one, seen, tilt),
                "range": finds_range(one, seen),
            }[name]
            tally[name][0] += is_found
            tally[name][1] += one.told(with_wrong(seen, seed)).causes[0].cause is kinds[name]
            tally[name][2] += 1
            if not is_found:
                told = [
                    (c.cause.value, round(c.chance, 2), round(c.value, 2)) for c in one.told(seen).causes[:3]
                ]
                say(f"  site {seed} ({one.unit.type.name}, range {one.unit.range_m:g}): {name}: {told}")
        for k in range(cases // sites):
            cause, value, found = drawn_case(one, 100 * seed + k)
            top = found.causes[0]
            drawn.append((top.chance, top.cause is cause))
            if top.cause is cause and cause in (Cause.TILT, Cause.BEARING, Cause.HEIGHT, Cause.ROLL):
                spans.append(top.low <= value <= top.high)
        say(f"{seed + 1} sites, found / first with wrong answers / of: {tally}")
    if not drawn:
        return
    stated, true = np.array(drawn).T
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 1.01), (0.9, 1.01)):
        own = (stated >= low) & (stated < high)
        if own.any():
            mean, share = stated[own].mean(), true[own].mean()
            say(f"told with {low:.0%} to {high:.0%}: {own.sum()} cases, mean {mean:.3f}, true {share:.3f}")
    say(f"90 % spans hold {sum(spans)} of {len(spans)}; told {stated.mean():.3f}, true {true.mean():.3f}")


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]
    if sys.argv[1:2] == ["faults"]:
        each_fault(range(int(sys.argv[2]) if len(sys.argv) > 2 else 6))
    else:
        study(int(sys.argv[1]) if len(sys.argv) > 1 else 20, int(sys.argv[2]) if len(sys.argv) > 2 else 200)

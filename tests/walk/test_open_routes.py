"""Open routes on ground where the answer is known: strips of known ground, rings, walls and banks."""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from rates import step_pulses
from shapes import box, ground, judged, plane, terrain, unit

from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.routes import percent, routes_words
from terrain3d.terrain import Approach, Area, Walk
from terrain3d.walk.bodies import body_of
from terrain3d.walk.chance import chance_of, pulse_field, pulses_of_chance, touched
from terrain3d.walk.lines import line_pulses, lines_over
from terrain3d.walk.paths import step_bearings
from terrain3d.walk.pulses import try_walk
from terrain3d.walk.routes import open_routes, room_to_held
from terrain3d.walk.ways_in import ALIKE, Start, much_shorter_m

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())
PERSON = Figure("person", 1.7, "as in the package's figures")


def routes_of(site, *units, combine="any", figure=PERSON, steepest=100.0):
    """Routes of units on a site."""
    return open_routes(site, judged(site, *units, combine=combine), figure, steepest)


def patch(west, south, east, north):
    """A rectangle's corners."""
    return np.array([[west, south], [east, south], [east, north], [west, north]], float)


def strip(within, start, goal, cell_m=0.25):
    """Level ground known only where `within(x, y)` holds: a walk must follow it, sight need not."""
    on = ground(lambda x, y: np.where(within(x, y), 0.0, np.nan), cell_m=cell_m)
    site = terrain(on, protect=(Area("yard", goal),))
    return replace(site, approaches=(Approach("gate", start),))


ACROSS = strip(
    lambda x, y: (np.abs(y - 6) < 1.45) | (np.hypot(x, y) < 0.5),
    np.array([[-12.0, 4.0], [-12.0, 8.0]]),
    patch(9, 4, 12, 8),
)


def test_across_the_arc_every_zone_is_to_be_expected():
    """Whoever must cross a whole arc has both sides cross each of its 9 zones: 18 pulses, certain alarm."""
    (found,) = routes_of(ACROSS, unit(ONE))
    # A body that only touches held ground at the arc's two ends adds a part of a zone.
    assert found.least.pulses == pytest.approx(18.0, rel=0.08)
    assert found.least.chance > 0.999
    assert found.start == Start(True, "gate")
    assert found.least.length_m == pytest.approx(21.0, abs=0.5)
    assert found.least.time_s == found.least.length_m
    # With the zones as they are set the first pulse comes as the figure enters or leaves the first of them.
    alarm = found.least.walked.alarm
    assert math.degrees(math.atan2(alarm.x, alarm.y)) == pytest.approx(-40, abs=7)


def test_no_clear_route_tells_the_least_that_is_crossed():
    """Across the arc at 5 m, as near as can be walked, 10 m are held, and half a body at either end."""
    (found,) = routes_of(ACROSS, unit(ONE))
    assert found.clear is None
    assert found.crossing.held_m == pytest.approx(10.0 + body_of(PERSON).breadth_m, abs=0.8)
    assert found.crossing.first_held[0] == pytest.approx(-5.2, abs=0.5)
    # Clear ground ends where the arc begins, 14 m short of the yard.
    assert found.crossing.unseen_to_m == pytest.approx(14.0, abs=0.6)
    assert "No way is clear" in routes_words(found)


def test_straight_at_the_unit_is_the_weak_way():
    """Walked straight at the unit only the growing width crosses edges: 2 atan(w / 2d) of 9 zones in 90."""
    inward = strip(
        lambda x, y: (np.abs(x) < 0.6) & (y > -0.5),
        np.array([[-1.0, 14.0], [1.0, 14.0]]),
        patch(-1, 1, 1, 2),
    )
    (found,) = routes_of(inward, unit(ONE))
    half = body_of(PERSON).breadth_m / 2
    turned = 2 * (math.atan(half / 2.0) - math.atan(half / 12.0))
    # Below 2 m the lower layer's own end is near; the body's reach of a cell blurs the last of it.
    assert found.least.pulses == pytest.approx(turned * 9 / (math.pi / 2), rel=0.2)
    assert found.least.pulses < 2 < 18


def grown(near_m: float, far_m: float) -> float:
    """Pulses of a walk straight at a unit: 2 atan(w / 2d) more of its arc of 9 zones in 90 degrees."""
    half = body_of(PERSON).breadth_m / 2
    return 2 * (math.atan(half / near_m) - math.atan(half / far_m)) * 9 / (math.pi / 2)


@pytest.mark.parametrize("bearing", [0, 5, 10, 13.28, 20, 26.565, 35.8, 45, 73, 200, 310])
def test_straight_at_the_unit_is_as_weak_whatever_way_it_faces(bearing):
    """A strip turned with the unit about it brings the same: the grid's own directions have no part in it."""
    east, north = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))

    def at(across, along):
        return [along * east + across * north, along * north - across * east]

    inward = strip(
        lambda x, y: (np.abs(x * north - y * east) < 1.0) & (x * east + y * north > -0.5),
        np.array([at(-1, 14), at(1, 14)]),
        np.array([at(-1, 2), at(1, 2), at(1, 1), at(-1, 1)]),
    )
    (found,) = routes_of(inward, unit(ONE, bearing_deg=bearing))
    # The first cell of the yard lies up to half of one farther in, and held cells end where they do.
    assert grown(2.2, 12.0) * 0.95 < found.least.pulses < grown(1.75, 12.25) * 1.05


def two_ways():
    """From a gate a straight lane of 12 m leads at the unit to the yard's near side, another goes round."""

    def known(x, y):
        lane = (np.abs(x) < 1.2) & (y > 5.5) & (y < 20)
        over = (np.abs(y - 18.8) < 1.2) & (x > -1.2) & (x < 20)
        down = (np.abs(x - 18.8) < 1.2) & (y > 5.5) & (y < 20)
        yard = (y > 5.5) & (y < 8) & (x > -1.2) & (x < 20)
        return lane | over | down | yard

    on = ground(lambda x, y: np.where(known(x, y), 0.0, np.nan), extent_m=42.0)
    site = terrain(on, protect=(Area("yard", patch(-1, 6, 13, 7.5)),))
    return replace(site, approaches=(Approach("gate", np.array([[-1.0, 19.6], [1.0, 19.6]])),))


def test_a_way_round_without_an_alarm_is_the_least_likely():
    """Twenty metres more are walked for a chance of none, and the short way is told beside as what it is."""
    (found,) = routes_of(two_ways(), unit(ONE, pulses=1))
    assert found.least.chance == 0.0
    assert found.least.walked.alarm is None
    # Along the upper lane, down the far one to the level of the yard, and back to it, corners cut.
    assert found.least.length_m == pytest.approx(32.0, abs=0.5)
    assert found.shorter.length_m == pytest.approx(12.0, abs=0.5)
    assert found.shorter.chance == pytest.approx(1 - math.exp(-grown(7.5, 12.0)), abs=0.02)
    assert found.shorter.walked.line is found.shorter.line
    assert found.inner.chance == 0.0
    assert found.inner_shorter.length_m < found.inner.length_m - 10
    short = (
        f"A much shorter way, {found.shorter.length_m:.0f} m instead of {found.least.length_m:.0f} m, has a"
    )
    assert "Someone can walk to yard without an alarm: from gate, 32 m in 32 s." in routes_words(found)
    assert f"{short} chance of {percent(found.shorter.chance)} (zones as set: no alarm)." in routes_words(
        found
    )
    assert "Its middle can be reached without an alarm too. A much shorter way there, " in routes_words(found)


def test_of_ways_alike_to_a_thousandth_the_shorter_is_taken():
    """Where three pulses are needed the straight lane's chance is under a thousandth, and it is 20 m less."""
    (found,) = routes_of(two_ways(), unit(ONE, pulses=3))
    assert 0 < found.least.chance <= ALIKE
    assert found.least.length_m == pytest.approx(12.0, abs=0.5)
    assert found.shorter is None
    assert "with a chance of an alarm of 0.1 % at most: from gate, 12 m in 12 s" in routes_words(found)


def test_a_start_elsewhere_is_told():
    """A much shorter way that starts from another approach names it."""
    site = two_ways()
    lane = Approach("lane", np.array([[-1.0, 13.0], [1.0, 13.0]]))
    drive = Approach("drive", np.array([[18.0, 19.6], [19.6, 19.6]]))
    (found,) = routes_of(replace(site, approaches=(lane, drive)), unit(ONE, pulses=1))
    assert (found.start, found.least.start, found.shorter.start) == (
        Start(True, "drive"),
        Start(True, "drive"),
        Start(True, "lane"),
    )
    assert "A much shorter way, from lane, " in routes_words(found)


@pytest.mark.parametrize(("length", "most"), [(60, 40), (30, 20), (24, 14), (12, 2), (8, -2)])
def test_what_is_much_shorter(length, most):
    """A third less at least, and ten metres at least."""
    assert much_shorter_m(length) == pytest.approx(most)


@pytest.mark.parametrize("seed", range(4))
def test_no_walk_drawn_at_random_is_less_likely(seed):
    """Under units at random places no straight way from the edge to the yard, nor any bent one, beats it."""
    rng = np.random.default_rng(seed)
    site = terrain(plane(0.0, extent_m=28.0), protect=(Area("yard", patch(-3, -3, 3, 3)),))
    units = tuple(
        replace(unit(ONE, bearing_deg=bearing), name=f"D{k}", x=x, y=y)
        for k, (x, y, bearing) in enumerate(rng.uniform((-6, -6, 0), (6, 6, 360), (4, 3)))
    )
    option = judged(site, *units)
    (found,) = open_routes(site, option, PERSON)
    field = touched(pulse_field(site.ground, option, PERSON))
    n = site.ground.z.shape[0]
    lines = lines_over(field, np.ones((16, n, n), bool))
    sides = [(0, k) for k in range(n)] + [(n - 1, k) for k in range(n)]
    for _ in range(600):
        start = sides[rng.integers(len(sides))][:: rng.choice((-1, 1))]
        bends = [tuple(rng.integers(0, n, 2).tolist()) for _ in range(rng.integers(0, 3))]
        line = [start, *bends, tuple(rng.integers(n // 2 - 12, n // 2 + 12, 2).tolist())]
        pulses = sum(line_pulses(lines, a, b) for a, b in pairwise(line))
        assert found.least.chance <= chance_of(pulses, 1) + ALIKE


def test_more_pulses_needed_make_an_alarm_less_likely():
    """The same walk against a unit that wants 3 pulses has the chance of 3 of as many to be expected."""
    (one,) = routes_of(ACROSS, unit(ONE, pulses=1))
    (three,) = routes_of(ACROSS, unit(ONE, pulses=3))
    assert three.least.pulses == pytest.approx(one.least.pulses)
    assert three.least.chance < one.least.chance
    assert three.least.walked.alarm.along_m > one.least.walked.alarm.along_m


@pytest.mark.parametrize("needed", [1, 2, 3])
def test_chance_is_the_tail_of_a_poisson_count(needed):
    """P(N >= n) = 1 - sum of exp(-m) m^k / k! for k < n, the law of counts that come at random."""
    for m in (0.0, 0.3, 1.0, 4.0):
        tail = 1 - sum(math.exp(-m) * m**k / math.factorial(k) for k in range(needed))
        assert chance_of(m, needed) == pytest.approx(tail, abs=1e-12)
        assert pulses_of_chance(tail, needed) == pytest.approx(m, abs=1e-6)


def guarded():
    """A yard in the middle of level ground, and units at its sides."""
    site = terrain(plane(0.0, extent_m=36.0), protect=(Area("yard", patch(-3, -3, 3, 3)),))
    corners = [(0.0, 3.0, 0.0), (3.0, 0.0, 90.0), (0.0, -3.0, 180.0), (-3.0, 0.0, 270.0)]
    units = tuple(
        replace(unit(TWO, bearing_deg=b, pan_deg=(-42.0, 42.0)), name=f"D{k}", x=x, y=y)
        for k, (x, y, b) in enumerate(corners, 1)
    )
    return site, units


def test_a_clear_route_never_meets_a_layer():
    """Walked for true, with every point of it judged, no part of a clear route is held and none alarms."""
    site, units = guarded()
    for number in (1, 2, 3):
        (found,) = routes_of(site, *units[:number])
        assert found.clear is not None
        for line in (found.clear.line, found.clear.shortest):
            walked = try_walk(site, units[:number], "any", Walk("clear", line), PERSON)
            assert walked.both_m == 0.0
            assert walked.alarm is None
        assert found.clear.length_m >= found.clear.shortest_m - 1e-9
        assert found.least.chance == 0.0


def test_the_berth_is_kept():
    """No point of the clear route comes nearer to held ground than it says, and one comes as near."""
    site, units = guarded()
    (found,) = routes_of(site, *units[:2])
    on = site.ground
    held = judged(site, *units[:2], figure_height_m=PERSON.height_m).verdicts == Verdict.BOTH
    rows, columns = np.nonzero(held)
    spots = np.column_stack([on.xs[columns], on.ys[rows]])
    along = np.concatenate([a + np.linspace(0, 1, 50)[:, None] * (b - a) for a, b in zip(
        found.clear.line[:-1], found.clear.line[1:], strict=True)])  # fmt: skip
    apart = np.hypot(*(along[:, None] - spots[None]).transpose(2, 0, 1)).min() - on.cell_m / 2
    assert apart == pytest.approx(found.clear.berth_m, abs=on.cell_m)


def test_adding_a_unit_never_lowers_the_least_chance():
    """With every unit added the least likely walk is at least as likely to raise the alarm."""
    site, units = guarded()
    before, chance = 0.0, 0.0
    for number in range(1, 5):
        rates = step_pulses(site.ground, judged(site, *units[:number]), PERSON, step_bearings(16))
        assert (rates >= before).all()
        (found,) = routes_of(site, *units[:number])
        # Straight lines are pulled in what the steps left, which moves the last percent.
        assert found.least.chance >= chance * 0.99
        before, chance = rates, found.least.chance
    assert found.clear is None
    assert chance > 0.5


def test_all_must_hold_it():
    """Under `all` two units that look apart hold nothing, so every way is clear."""
    site, units = guarded()
    (found,) = routes_of(site, units[0], units[2], combine="all")
    assert found.clear.berth_m is None
    assert found.least.chance == 0.0
    assert "every way is clear" in routes_words(found)


def test_a_walled_yard_is_reached_by_nobody():
    """Where a wall stands all round there is no walk, and the words say so."""
    site, units = guarded()
    walls = box((-4.2, -4.2, -0.2), (4.2, -4.0, 1.5)).joined(box((-4.2, 4.0, -0.2), (4.2, 4.2, 1.5)))
    walls = walls.joined(box((-4.2, -4.2, -0.2), (-4.0, 4.2, 1.5)))
    closed = replace(site, solids=walls.joined(box((4.0, -4.2, -0.2), (4.2, 4.2, 1.5))))
    (found,) = routes_of(closed, units[0])
    assert found.least is None
    assert found.clear is None
    assert "Nobody walks to yard: no walkable ground" in routes_words(found)
    (opened,) = routes_of(replace(site, solids=walls), units[0])
    # The one side without a wall is the way in.
    assert opened.least.line[-1, 0] == pytest.approx(3.0, abs=0.3)


def test_a_bank_is_walked_round():
    """A bank too steep to climb turns the walk to its open end; a limit above its slope lets it over."""
    on = ground(lambda x, y: 3.0 * np.clip(1 - np.abs(y), 0, 1) * (x < 4), extent_m=20.0)
    yard = Area("yard", patch(-6, 4, -4, 6))
    site = replace(
        terrain(on, protect=(yard,)), approaches=(Approach("road", np.array([[-5, -8], [-4, -8.0]])),)
    )
    away = unit(ONE, bearing_deg=180.0)
    (round_,) = routes_of(site, replace(away, x=9.0, y=9.0), steepest=100.0)
    (over,) = routes_of(site, replace(away, x=9.0, y=9.0), steepest=400.0)
    assert round_.least.line[:, 0].max() > 3.5
    assert over.least.length_m == pytest.approx(12.0, abs=0.4)


def test_an_area_at_the_edge_needs_no_walk():
    """Protected ground that reaches the edge of the known ground is entered without a step."""
    site = terrain(plane(0.0), protect=(Area("verge", patch(-15, -2, -10, 2)),))
    (found,) = routes_of(site, unit(ONE))
    assert found.least.length_m == 0.0
    assert found.least.line.shape == (1, 2)
    assert "needs no walk" in routes_words(found)
    assert found.inner.length_m > 1.5


def test_an_area_off_the_ground_is_named():
    """An area without a known cell is told, not guessed."""
    site = terrain(plane(0.0), protect=(Area("far field", patch(50, 50, 60, 60)),))
    (found,) = routes_of(site, unit(ONE))
    assert found.least is None
    assert "no ground of it is known" in routes_words(found)


def test_the_chance_along_ends_at_the_chance():
    """What is drawn along the walk rises to what is told of all of it."""
    (found,) = routes_of(ACROSS, unit(ONE, pulses=3))
    assert (np.diff(found.least.chance_along) >= 0).all()
    assert found.least.along_m[-1] == pytest.approx(found.least.length_m)
    assert found.least.chance_along[-1] == found.least.chance


def test_room_is_told_from_a_cell_edge():
    """Half a body of 0.24 m touches the held cell's neighbours at 0.25 m, corners too, and no more."""
    held = np.zeros((7, 7), bool)
    held[3, 3] = True
    room, touched = room_to_held(held, 0.25, PERSON)
    assert touched.sum() == 9
    assert room[3, 5] == pytest.approx(0.375)

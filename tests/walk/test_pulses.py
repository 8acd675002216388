"""One walk against an option: what stands in the way, who raises the alarm, what is left then."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import box, judged, plane, terrain, unit

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.walks import walk_words
from terrain3d.terrain import Area, Walk
from terrain3d.walk.option import option_walks
from terrain3d.walk.pulses import try_walk

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())
PERSON = Figure("person", 1.7, "invented for the tests")
ACROSS = Walk("across", np.array([[-9.0, 6.0], [9.0, 6.0]]))
YARD = Area("yard", np.array([[2.0, 5.0], [6.0, 5.0], [6.0, 8.0], [2.0, 8.0]]))


def walked(site, *units, combine="any", walk=ACROSS, figure=PERSON):
    return try_walk(site, units, combine, walk, figure)


def test_a_wall_hides_the_walker():
    """Behind a wall there is no pulse; beside it there is, and the strip says where."""
    result = walked(terrain(plane(0.0), box((-2, 3, 0), (2, 3.2, 2.4))), unit(ONE))
    # Seen past the wall's ends at 2 m to the side and 3 to 3.2 m off, 6 m off is hidden to 3.75 m at least.
    assert all(abs(pulse.x) > 3.5 for pulse in result.pulses)
    assert result.pulses
    middle = np.abs(-9.0 + (np.arange(len(result.strip)) + 0.5) * result.strip_m) < 3.7
    assert (result.strip[middle] == Verdict.DEAD).all()
    assert result.both_m == pytest.approx(2 * (6.0 - 4.0), abs=0.2)


def test_a_walker_under_one_layer_only_brings_no_pulse():
    """Rising ground: beyond where the lower layer lands only the upper is broken, so nothing counts."""
    site = terrain(plane(0.1, 0.0))
    far = Walk("far", np.array([[-6.0, 8.0], [6.0, 8.0]]))
    result = walked(site, unit(ONE), walk=far)
    assert Verdict.UPPER_ONLY in result.strip
    assert not result.pulses
    assert result.alarm is None
    assert walk_words(result) == "No alarm: never under both layers."


def test_a_crawler_passes_under_the_upper_layer():
    """On the level a person crawling breaks the lower layer alone."""
    crawler = Figure("person crawling", 0.7, "invented for the tests")
    result = walked(terrain(plane(0.0)), unit(ONE), figure=crawler)
    assert Verdict.LOWER_ONLY in result.strip
    assert result.alarm is None


def test_what_is_left_to_the_protected_ground():
    """Distances along the path and straight from the alarm point; words tell early from late."""
    site = terrain(plane(0.0), protect=(YARD,))
    result = walked(site, unit(ONE, pulses=3))
    (yard,) = result.reached
    assert yard.enters_m == pytest.approx(11.0)
    assert yard.left_m == pytest.approx(11.0 - result.alarm.along_m)
    assert yard.straight_m == pytest.approx(2.0 - result.alarm.x)
    assert f"{yard.left_m:.1f} m before the path enters yard" in walk_words(result)
    back = replace(ACROSS, line=ACROSS.line[::-1])
    # From the other side the yard comes first: it is entered 3 m on, and the third pulse is at 5 m.
    late = walked(site, unit(ONE, pulses=3), walk=back)
    assert late.reached[0].left_m == pytest.approx(3.0 - late.alarm.along_m)
    assert "too late" in walk_words(late)


def test_a_path_that_stays_out_of_protected_ground():
    """The straight distance is told where the path never enters."""
    away = Area("yard", np.array([[-12.0, -9.0], [-8.0, -9.0], [-8.0, -6.0], [-12.0, -6.0]]))
    result = walked(terrain(plane(0.0), protect=(away,)), unit(ONE))
    assert result.reached[0].enters_m is None
    assert result.reached[0].left_m is None
    assert "which the path does not enter" in walk_words(result)


def test_ground_not_known_is_told_and_brings_no_pulse():
    """A gap in the survey stays a gap in the strip."""
    ground = plane(0.0)
    ground.z[:, 50:70] = np.nan  # 2.5 m to either side of the unit
    ground.z[:70] = 0.0
    result = walked(terrain(ground), unit(ONE))
    assert UNKNOWN in result.strip
    assert all(abs(pulse.x) > 2.0 for pulse in result.pulses)


def test_two_heads_count_for_themselves():
    """Each head has its own zones and its own count."""
    result = walked(terrain(plane(0.0)), unit(TWO, pulses=3))
    per_head = {pulse.head for pulse in result.pulses}
    assert per_head == {1, 2}
    # Facing north the left head looks north-west: it is first to count three.
    third = sorted(p.along_m for p in result.pulses if p.head == 1 and p.layer == "upper")[2]
    assert result.alarm.along_m == pytest.approx(third, abs=0.02)


def test_any_takes_the_first_unit_and_all_the_last():
    """Two units side by side: `any` alarms with the quicker one, `all` once both have."""
    site = terrain(plane(0.0))
    quick, slow = unit(ONE, pulses=1), replace(unit(ONE, pulses=3), name="D2")
    alone = [walked(site, one).alarm for one in (quick, slow)]
    either = walked(site, quick, slow)
    assert either.alarm.along_m == alone[0].along_m
    assert either.alarm.units == ("D1",)
    both = walked(site, quick, slow, combine="all")
    assert both.alarm.along_m == pytest.approx(alone[1].along_m)
    assert both.alarm.units == ("D1", "D2")
    assert walk_words(both).startswith("Alarm by D1 and D2 after")


def test_all_walks_of_an_option():
    """Each path is walked by its own figure, and each unit gets both fans."""
    crawl = replace(ACROSS, name="crawl", figure="person crawling", speed_mps=0.5)
    site = replace(terrain(plane(0.0)), walks=(ACROSS, crawl))
    every = option_walks(site, judged(site, unit(ONE), name="north"), PERSON)
    assert [walk.figure.name for walk in every.walks] == ["person", "person crawling"]
    assert every.walks[1].time_s == pytest.approx(2 * every.walks[0].time_s)
    assert [fan.kind for fan in every.fans] == ["to", "across"]

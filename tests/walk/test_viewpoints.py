"""Where people stand and look at units: places, angles and what hides a unit, by closed forms on a plane."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import box, leaves, plane, terrain, unit

from terrain3d.detector.figures import Figure
from terrain3d.detector.types import load_type
from terrain3d.sentences.views import seen_words, views_sentence
from terrain3d.sight.hits import Hit
from terrain3d.terrain import Approach, Mark, Walk
from terrain3d.walk.viewpoints import EYE_SHARE, Viewpoint, seen_unit, viewpoints

ONE = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "for the tests")
WALK = Walk("path", np.array([[0.0, 6.0], [4.0, 6.0], [4.0, 8.0]]))


def test_a_walk_is_looked_from_at_its_start_middle_and_end():
    """6 m long: its middle is 3 m along the first straight; eyes 0.93 of 1.7 m over the ground there."""
    site = replace(terrain(plane(0.1)), walks=(WALK,))
    (group,) = viewpoints(site, PERSON)
    assert [point.where for point in group] == ["start", "middle", "end"]
    for point, (x, y) in zip(group, ((0, 6), (3, 6), (4, 8)), strict=True):
        assert point.eye == pytest.approx((x, y, 0.1 * y + EYE_SHARE * 1.7), abs=1e-6)


def test_who_walks_has_his_own_eye():
    """A dog of 0.6 m looks from lower than the site's person; a walk that stays is one place."""
    still = Walk("gate", np.array([[1.0, 1.0], [1.0, 1.0]]), 1.0, "dog")
    ((point,),) = viewpoints(replace(terrain(plane(0.0)), walks=(still,)), PERSON)
    assert (point.where, point.eye[2]) == ("", pytest.approx(EYE_SHARE * 0.6))


def test_ways_in_marks_and_what_is_off_the_ground():
    """Ways in are looked from at their middle, marks where they are; none where no ground is known."""
    site = replace(
        terrain(plane(0.0)), marks=(Mark("stone", 2.0, 3.0, 0.0), Mark("far", 90.0, 0.0)),
        approaches=(Approach("lane", np.array([[-4.0, -5.0], [4.0, -5.0]])),),
    )  # fmt: skip
    ways, marks = viewpoints(site, PERSON)
    assert [(point.name, point.where, point.eye[:2]) for point in ways] == [("lane", "middle", (0.0, -5.0))]
    assert [point.name for point in marks] == ["stone"]


@pytest.mark.parametrize("rise", [0.0, -math.tan(math.radians(30)), 0.2])
def test_a_unit_is_where_trigonometry_has_it(rise):
    """From 6 m north on a slope: due south, up or down by the difference of heights."""
    site = terrain(plane(rise))
    eye = (0.0, 6.0, 6 * rise + 1.58)
    seen = seen_unit(site, Viewpoint("here", "", eye), unit(ONE))
    up = 1.0 - eye[2]
    assert seen.distance_m == pytest.approx(math.hypot(6, up))
    assert seen.bearing_deg == pytest.approx(180.0)
    assert seen.elevation_deg == pytest.approx(math.degrees(math.atan2(up, 6)))
    assert seen.is_in_sight


def test_a_wall_or_a_brow_hides_a_unit_and_is_told():
    """A wall halfway by its name, the ground where it rises between; a wall as low as a knee does not."""
    at, here = unit(ONE), Viewpoint("here", "", (0.0, 6.0, 1.58))
    high, low = (terrain(plane(0.0), box((-2, 3, -0.5), (2, 3.2, top))) for top in (2.0, 0.5))
    seen = seen_unit(high, here, at)
    assert (seen.met, seen.solid) == (Hit.SOLID, 0)
    assert seen_words(seen, ("garden wall",)).endswith('hidden by "garden wall"')
    assert seen_words(seen, ("solid 7",), frozenset({0})).endswith("hidden by a solid")
    assert seen_unit(low, here, at).is_in_sight
    ridge = plane(0.0)
    _, y = np.meshgrid(ridge.xs, ridge.ys)
    brow = terrain(replace(ridge, z=np.where(np.abs(y - 3) < 1, 2.5, 0.0)))
    assert seen_unit(brow, here, at).met == Hit.GROUND


def test_leaves_dim_a_unit_and_do_not_hide_it():
    """Half a metre of leaves of 1.6 m2/m3 across a level line lets exp(-0.5 * 1.6 * 0.5) through."""
    ground = plane(0.0)
    hedge = leaves(ground, lambda x, y: (y > 3) & (y < 3.5), 0.0, 3.0, 1.6)
    site = terrain(ground, foliage=hedge)
    seen = seen_unit(site, Viewpoint("here", "", (0.0, 6.0, 1.0)), unit(ONE))
    assert seen.is_in_sight
    assert seen.through == pytest.approx(math.exp(-0.4), abs=0.01)
    assert seen_words(seen, ()).endswith("behind leaves that let 67% through")


def test_the_sentence_tells_from_where_each_unit_is_seen():
    """A wall before the end of the walk hides the unit there alone; another unit from everywhere."""
    site = replace(terrain(plane(0.0), box((3.3, 6.9, -0.5), (3.7, 7.1, 2.5))), walks=(WALK,))
    (group,) = viewpoints(site, PERSON)
    buried = replace(unit(ONE), name="D2", ground_z=-3.0)
    seen = tuple((seen_unit(site, point, unit(ONE)), seen_unit(site, point, buried)) for point in group)
    assert views_sentence(group, seen) == (
        'On "path" a person sees D1 from the start and the middle; D2 from nowhere. Leaves are looked'
        " through; what they dim is told with each picture."
    )

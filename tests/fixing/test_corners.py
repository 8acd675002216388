"""Corners and ends that an installer can find: what they are called, where they lie, which are seen, which is
chosen."""

import math

import numpy as np
import pytest
import shapely
from site_files import option_text, written

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.fixing.aim import aim_mark
from terrain3d.fixing.corners import corner_places, seen_from
from terrain3d.fixing.places import Known, tapes_from
from terrain3d.fixing.unit import option_fixing
from terrain3d.job import run as judged
from terrain3d.sentences.fixing import sheet_parts
from terrain3d.survey.solids import block, wall
from terrain3d.terrain import Solids, Terrain, terrain_from_heights
from terrain3d.units import direction

NORTH = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
SITE = """
[site]
name = "slope"
cell = 0.5
[ground]
plane = { fall = 4, towards = 180, extent = 60 }
[[mount]]
name = "pole"
at = [0, 0]
[[solid]]
name = "barn"
outline = [[3, 14], [12, 14], [12, 20], [3, 20]]
height = 3.0
[[solid]]
name = "yard wall"
path = [[-12, 6], [-4, 6]]
height = 1.2
thickness = 0.3
[[foliage]]
name = "hedge"
path = [[-2, 10], [-2, 22]]
thickness = 0.8
height = 1.5
density = 3.0
"""


def level(x, y):
    return np.zeros(np.broadcast(x, y).shape)


def site(*solids: Solids) -> Terrain:
    joined = Solids.none()
    for one in solids:
        joined = joined.joined(one)
    return terrain_from_heights(np.zeros((161, 161)), 0.5, solids=joined)


def parts(terrain: Terrain) -> dict[str, tuple[float, float]]:
    return {place.part: (round(place.x, 6), round(place.y, 6)) for place in corner_places(terrain)}


@pytest.mark.parametrize("turn", [0.0, 20.0, 45.0, 70.0, 160.0])
def test_the_corners_of_a_block_are_called_by_the_compass(turn):
    """Whichever way a barn stands, each corner has the compass point that it points to, halfway between its
    sides."""
    plan = shapely.affinity.rotate(shapely.box(-6, -2, 6, 2), -turn)
    ring = shapely.get_coordinates(plan.exterior)[:-1]
    found = corner_places(site(block(ring, 3.0, 0.0, level, "barn", 0.5)))
    assert len({place.part for place in found}) == 4
    points = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]
    for place in found:
        assert min(np.hypot(*(ring - (place.x, place.y)).T)) < 1e-3
        # The corners of a box of any sides point to 45, 135, 225 and 315 degrees and turn with it.
        pointing = 45 * points.index(place.part.removesuffix(" corner"))
        off = (pointing - place.outward_deg + 180) % 360 - 180
        assert abs(off) <= 22.5 + 1e-6
        assert (place.outward_deg - turn) % 90 == pytest.approx(45, abs=0.1)


def test_the_ends_of_a_wall():
    """A straight wall has two ends, in the middle of its thickness; a bent one a corner as well."""
    straight = wall(np.array([[-4.0, 6.0], [5.0, 6.0]]), 0.3, 1.2, 0.0, level, "wall", 0.5)
    assert parts(site(straight)) == {"west end": (-4, 6), "east end": (5, 6)}
    bent = wall(np.array([[-4.0, 6.0], [5.0, 6.0], [5.0, 12.0]]), 0.3, 1.2, 0.0, level, "wall", 0.5)
    assert parts(site(bent)) == {"west end": (-4, 6), "north end": (5, 12), "south-east corner": (5.15, 5.85)}


def test_what_nobody_could_tell_is_not_told():
    """A post is itself; a round tank has no corner; of the two north-eastern corners of an L neither is
    told; nor is what a survey found, which has but a number."""
    post = block(np.array([[1, 1], [1.2, 1], [1.2, 1.2], [1, 1.2]]), 1.0, 0.0, level, "post", 0.5)
    (place,) = corner_places(site(post))
    assert (place.name, place.part) == ("post", "")
    angles = np.radians(np.arange(0, 360, 15))
    tank = block(3 * np.column_stack([np.cos(angles), np.sin(angles)]), 2.0, 0.0, level, "tank", 0.5)
    assert corner_places(site(tank)) == ()
    ell = np.array([[0, 0], [10, 0], [10, 5], [5, 5], [5, 10], [0, 10]])
    found = parts(site(block(ell, 3.0, 0.0, level, "L", 0.5)))
    assert set(found) == {"south-west corner", "south-east corner", "north-west corner"}
    barn = block(ell[:3], 3.0, 0.0, level, "surveyed solid 1", 0.5)
    surveyed = Solids(barn.vertices, barn.triangles, barn.owners, barn.names, frozenset({0}))
    assert corner_places(site(surveyed)) == ()


def test_the_ends_of_a_hedge(tmp_path):
    """To half a cell, on its middle line."""
    terrain = judged(written(tmp_path, SITE + option_text("one"))).terrain
    ends = {place.part: place for place in corner_places(terrain) if place.name == "hedge"}
    assert set(ends) == {"north end", "south end"}
    assert (ends["north end"].x, ends["north end"].y) == pytest.approx((-2, 22), abs=0.5)
    assert (ends["south end"].x, ends["south end"].y) == pytest.approx((-2, 10), abs=0.5)


@pytest.mark.parametrize("bearing", [0, 30, 45, 60, 90, 135, 150, 180, 225, 300])
def test_a_corner_is_seen_from_its_two_sides_alone(bearing):
    """Round a square barn an eye sees a corner where it looks at one of the two faces that meet there."""
    square = np.array([[-2.0, -2], [2, -2], [2, 2], [-2, 2]])
    terrain = site(block(square, 3.0, 0.0, level, "barn", 0.5))
    east, north = direction(bearing + 1.0)
    eye = 12 * east, 12 * north, 1.0
    seen = {place.part for place in seen_from(terrain, eye, corner_places(terrain))}
    faces = {"east": eye[0] > 2, "west": eye[0] < -2, "north": eye[1] > 2, "south": eye[1] < -2}
    for part in ("north-east", "north-west", "south-east", "south-west"):
        first, second = part.split("-")
        assert (f"{part} corner" in seen) == (faces[first] or faces[second])


def test_what_stands_before_a_corner_hides_it():
    """A wall of two metres hides a low one behind it from an eye of one metre, and not a barn of three."""
    screen = wall(np.array([[-6.0, 4.0], [6.0, 4.0]]), 0.2, 2.0, 0.0, level, "screen", 0.5)
    low = wall(np.array([[-2.0, 5.0], [2.0, 5.0]]), 0.2, 1.0, 0.0, level, "low", 0.5)
    tall = block(np.array([[-2, 5], [2, 5], [2, 8], [-2, 8]]), 3.2, 0.0, level, "tall", 0.5)
    for behind, is_seen in ((low, False), (tall, True)):
        terrain = site(screen, behind)
        seen = seen_from(terrain, (0.0, 0.0, 1.0), corner_places(terrain))
        assert any(place.name in ("low", "tall") for place in seen) == is_seen


def test_the_best_place_to_aim_by():
    """A place known to 10 cm errs by 5.7 degrees a metre off, 0.57 ten metres off; an angle laid off by a
    tenth of itself (both worked by hand): near the axis wins, but not over far away."""
    near, far = Known("near", 0.0, 3.5, 0.0), Known("far", 2.0, 25.0, 0.0)
    assert aim_mark((near, far), NORTH).name == "far"
    aside = Known("aside", 10.0, 22.0, 0.0)
    assert aim_mark((near, aside), NORTH).name == "near"
    vague = Known("hedge", 0.0, 10.0, 0.0, "south end", 0.4)
    sharp = Known("barn", 1.0, 10.0, 0.0, "south-west corner")
    assert aim_mark((vague, sharp), NORTH).part == "south-west corner"


def test_marks_before_corners_to_tape_from():
    """Corners are taped from where marks cut badly or are too few, and never the end of a hedge."""
    a, b = Known("a", 4.0, 0.0, 0.0), Known("b", 0.0, 5.0, 0.0)
    corner = Known("barn", 0.0, 3.0, 0.0, "south end")
    hedge = Known("hedge", 0.0, 4.0, 0.0, "south end", 0.4)
    assert {tape.name for tape in tapes_from([a, b], [corner], 0, 0, 0)} == {"a", "b"}
    flat = Known("flat", 6.0, 1.8, 0.0)
    assert {tape.name for tape in tapes_from([a, flat], [corner], 0, 0, 0)} == {"a", "barn"}
    assert [tape.name for tape in tapes_from([a], [hedge], 0, 0, 0)] == ["a"]


def test_a_sheet_without_marks(tmp_path):
    """It tapes from two corners that the unit sees, and is aimed by one of them: worked by hand."""
    outcome = judged(written(tmp_path, SITE + option_text("one", bearing=10)))
    (fixing,) = option_fixing(outcome, "one", None, None)
    places = {(tape.name, tape.part): tape.level_m for tape in fixing.tapes}
    at = {
        ("barn", "south-west corner"): (3, 14), ("barn", "south-east corner"): (12, 14),
        ("yard wall", "east end"): (-4, 6), ("yard wall", "west end"): (-12, 6),
        ("barn", "north-west corner"): (3, 20),
    }  # fmt: skip
    assert len(places) == 2
    for key, length in places.items():
        assert length == pytest.approx(math.hypot(*at[key]), abs=1e-3)
    mark = fixing.mark
    # Its western face is seen as well, and its far end lies nearer to the axis.
    assert (mark.name, mark.part) == ("barn", "north-west corner")
    assert mark.right_deg == pytest.approx(10 - math.degrees(math.atan2(3, 20)), abs=1e-3)
    told = {part.title: part.main for part in sheet_parts(fixing)}
    assert told["Which way"].startswith('1.5° right of the north-west corner of "barn"')
    assert 'of "yard wall"' in told["Where"] or 'of "barn"' in told["Where"]

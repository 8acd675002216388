"""How far a housing turns where it is fixed: refused with the nearest that it can, in files and in Python.

That a housing flat on a wall turns less than one on its bracket is common practice, no source; the rest is
arithmetic of bearings.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from site_files import run, written

from terrain3d.cover.sighted import unit_on
from terrain3d.detector.fixing import can_turn, check_turn, nearest_turn
from terrain3d.detector.types import Fixing, load_type
from terrain3d.errors import InputError
from terrain3d.job import judge_units, with_units
from terrain3d.job import run as run_site
from terrain3d.opened import site_of
from terrain3d.site import load_site
from terrain3d.survey.build import build_terrain
from terrain3d.terrain import Mount, terrain_from_heights

WATCHED, PLAIN = load_type("one-head-90-watched"), load_type("one-head-90")
WALL = """
[site]
name = "wall"
cell = 0.5
[ground]
plane = { fall = 5, towards = 180, extent = 30 }
[[mount]]
name = "house wall"
at = [0, 0]
wall = 180
[[mount]]
name = "pole"
at = [3, 0]
[[option]]
name = "down"
[[option.detector]]
name = "D1"
mount = "house wall"
type = "one-head-90-watched"
height = 1.0
bearing = 180
"""
bearings = st.integers(0, 3600).map(lambda tenths: tenths / 10)
tilts = st.integers(-300, 300).map(lambda tenths: tenths / 10)
limits = st.builds(
    lambda swivel, ends: Fixing(swivel=swivel, tilt=tuple(sorted(ends))),
    st.integers(0, 1800).map(lambda tenths: tenths / 10),
    st.tuples(tilts, tilts),
)


def apart(one: float, other: float) -> float:
    """Degrees between two bearings, by the angle between two unit vectors."""
    a, b = math.radians(one), math.radians(other)
    return math.degrees(math.atan2(abs(math.sin(a - b)), math.cos(a - b)))


@given(limits, bearings, bearings, tilts)
def test_the_nearest_setting_is_within_the_limits_and_none_is_nearer(own, wall, bearing, tilt):
    """Within both limits; what is within them stays; and against a comb of all bearings none is nearer."""
    near_bearing, near_tilt = nearest_turn(own, wall, bearing, tilt)
    assert apart(near_bearing, wall) <= own.swivel + 1e-3
    assert own.tilt[0] <= near_tilt <= own.tilt[1]
    comb = np.arange(0.0, 360.0, 0.5)
    reached = [one for one in comb if apart(one, wall) <= own.swivel]
    if reached:
        assert apart(near_bearing, bearing) <= min(apart(one, bearing) for one in reached) + 1e-3
    if apart(bearing, wall) < own.swivel and own.tilt[0] <= tilt <= own.tilt[1]:
        assert (near_bearing, near_tilt) == (bearing, tilt)
        assert can_turn(own, wall, bearing, tilt)


@given(limits, bearings, tilts)
def test_a_pole_holds_the_tilt_alone(own, bearing, tilt):
    """On a pole a housing is clamped at any bearing: common practice, no source."""
    near_bearing, near_tilt = nearest_turn(own, None, bearing, tilt)
    assert near_bearing == bearing
    assert near_tilt == min(max(tilt, own.tilt[0]), own.tilt[1])
    assert bool(can_turn(own, None, bearing, tilt)) == (own.tilt[0] <= tilt <= own.tilt[1])


@given(limits, bearings, st.lists(st.tuples(bearings, tilts), min_size=1, max_size=5))
def test_many_settings_at_once_are_each_by_itself(own, wall, settings):
    """Whole grids of a search are asked as one setting is."""
    many = can_turn(own, wall, *np.array(settings).T)
    assert many.tolist() == [bool(can_turn(own, wall, *one)) for one in settings]


@given(bearings, bearings, tilts)
def test_a_type_without_limits_is_set_at_will(wall, bearing, tilt):
    """What no type states holds nothing back: old types and sites stay as they were."""
    check_turn(PLAIN, False, wall, bearing, tilt)


@pytest.mark.parametrize(
    ("keys", "where", "says"),
    [
        ({"bearing": 195}, "bearing", "nearest: 190 degrees; on its bracket it can"),
        ({"bearing": 90}, "bearing", "nearest: 170 degrees\n"),
        ({"bearing": 90, "bracket": "true"}, "bearing", "nearest: 120 degrees\n"),
        ({"tilt": 12}, "tilt", "nearest: 10 degrees; on its bracket it can"),
        ({"tilt": -20, "bracket": "true"}, "tilt", "nearest: -15 degrees\n"),
        ({"bearing": 195, "tilt": 12}, "bearing", "nearest: 190 degrees, with a tilt of 10 degrees; on its"),
        ({"mount": '"pole"', "bearing": 10, "tilt": 25}, "tilt", "nearest: 10 degrees\n"),
        ({"type": '"one-head-90-battery"', "bracket": "true"}, "bracket", "has no bracket"),
        ({"type": '"one-head-90"', "bracket": "true"}, "bracket", "one-head-90 has no bracket"),
    ],
)
def test_a_site_file_is_refused_with_the_nearest_that_can_be_set(tmp_path, capsys, keys, where, says):
    """Exit status 2, with what, where and how to mend it."""
    head, _, unit = WALL.partition("[[option.detector]]\n")
    own = dict(line.split(" = ") for line in unit.splitlines()) | keys
    lines = "\n".join(f"{key} = {value}" for key, value in own.items())
    text = f"{head}[[option.detector]]\n{lines}\n"
    assert run("cover", written(tmp_path, text), "--out", tmp_path / "out", "--stills", "none") == 2
    told = capsys.readouterr().err + "\n"
    assert f"detector 'D1': {where}" in told
    assert says in told


@pytest.mark.parametrize(
    "keys", ["bearing = 190", "bearing = 120\nbracket = true", "bearing = 180\ntilt = 10"]
)
def test_a_setting_at_the_limit_is_taken(tmp_path, keys):
    """The last that can be set is set."""
    path = written(tmp_path, WALL.replace("bearing = 180", keys))
    assert run_site(path).options[0].detectors[0].bearing_deg in (190, 120, 180)


def test_units_given_in_python_are_held_to_the_wall_of_their_mount():
    """The wall is the terrain's; a unit where no mount is drawn stands on a pole."""
    mounts = (Mount("wall", 0.0, 0.0, wall_deg=0.0), Mount("pole", 2.0, 0.0))
    site = site_of(terrain_from_heights(np.zeros((41, 41)), 0.5, mounts=mounts))
    turned = unit_on(site.terrain, "wall", WATCHED, 1.0, 340.0, name="D1")
    with pytest.raises(
        InputError, match=r"wall facing 0 degrees.*cannot face 340(?s:.*)nearest: 350 degrees"
    ):
        judge_units(site, {"a": (turned,)})
    outcome = judge_units(site, {"a": (replace(turned, bearing_deg=350.0),)})
    with pytest.raises(InputError, match="nearest: 10 degrees"):
        with_units(outcome, "a", (replace(turned, bearing_deg=20.0),))
    assert with_units(outcome, "a", (replace(turned, bracket=True),)).options[0].detectors[0].bracket
    on_pole = unit_on(site.terrain, "pole", WATCHED, 1.0, 340.0, name="D1")
    assert judge_units(site, {"a": (on_pole, replace(on_pole, name="D2", mount="none drawn"))})


def test_the_wall_of_a_site_file_is_the_mounts(tmp_path):
    """As it is given, of shapes placed in local metres."""
    terrain = build_terrain(load_site(written(tmp_path, WALL)), tmp_path, 12.0)
    assert [mount.wall_deg for mount in terrain.mounts] == [180, None]

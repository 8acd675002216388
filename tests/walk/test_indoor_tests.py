"""A user's own copy of the borrowed walk tests."""

from pathlib import Path

import pytest
from shapes import plane, terrain, unit

from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.walk.indoor_tests import indoor_test_fans, load_tests

KIND = load_type("one-head-90", Path())
OWN = """
status = "checked against our copy"
[[test]]
name = "slow"
walk = "across"
speed = [0, 0.5, 0.5, 0.5]
distance = [4.0, 4.0, 4.0, 4.0]
figure = ["person", "person", "person", "person crawling"]
"""


def test_a_users_own_file_is_walked(tmp_path):
    """Speeds, distances and figures come from the file; a speed of 0 is not required and not walked."""
    path = tmp_path / "own.toml"
    path.write_text(OWN, "utf-8")
    tests = load_tests(path)
    site = terrain(plane(0.0))
    assert indoor_test_fans(site, unit(KIND), 1, tests) == ()
    (slow,) = indoor_test_fans(site, unit(KIND), 2, tests)
    assert (slow.test, slow.status) == ("slow", "checked against our copy")
    assert slow.fan.speed_mps == 0.5
    assert set(slow.fan.distance_m) == {4.0}
    (crawl,) = indoor_test_fans(site, unit(KIND), 4, tests)
    assert crawl.fan.figure.name == "person crawling"
    assert not crawl.fan.raised.any()


@pytest.mark.parametrize(
    ("spoilt", "says"),
    [
        (OWN.replace("speed = [0, 0.5, 0.5, 0.5]", "speed = [0, 0.5]"), "speed"),
        (OWN.replace('walk = "across"', 'walk = "round"'), "walk"),
        (OWN.replace("distance =", "distanse ="), "distanse"),
        ('status = "nothing in it"', "test"),
    ],
)
def test_a_spoilt_file_says_where(tmp_path, spoilt, says):
    """One readable error that names the file and the key."""
    path = tmp_path / "own.toml"
    path.write_text(spoilt, "utf-8")
    with pytest.raises(InputError, match=says) as error:
        load_tests(path)
    assert "own.toml" in str(error.value)

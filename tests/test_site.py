"""The site file: what it takes, and what it says of what it does not take."""

from pathlib import Path

import numpy as np
import pytest

from terrain3d.errors import InputError
from terrain3d.site import load_site
from terrain3d.survey.build import build_terrain

HEAD = """
[site]
name = "slope"
[ground]
plane = { fall = 10, towards = 90, extent = 40 }
[[mount]]
name = "pole"
at = [0.0, 0.0]
"""


def site_with(tmp_path: Path, text: str) -> Path:
    """A small site file with more tables in it."""
    path = tmp_path / "site.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def built(tmp_path: Path, text: str):
    """The terrain of such a site."""
    return build_terrain(load_site(site_with(tmp_path, text)), tmp_path, 12.0)


def test_settings_have_defaults(tmp_path):
    """A site that says nothing of heat, sun, doubt, routes or search gets plain settings for them."""
    site = load_site(site_with(tmp_path, ""))
    assert site.doubt.draws == 200
    assert site.sun.zone is None
    assert site.search.units == 1
    assert site.routes.steepest == 100
    assert min(site.heat.grounds) < site.heat.figure < max(site.heat.grounds)
    assert site.boundary is None


def test_walks_and_ways_in_are_placed(tmp_path):
    """Lines come out as they were drawn, with who walks and how fast."""
    terrain = built(
        tmp_path,
        """
[[walk]]
name = "up the drive"
path = [[-5, -5], [0, 0], [5, 3]]
speed = 0.5
figure = "dog"
[[approach]]
name = "lane"
path = [[-9, -9], [9, -9]]
[[section]]
name = "down the bank"
path = [[0, 9], [0, -9]]
""",
    )
    (walk,) = terrain.walks
    assert (walk.name, walk.speed_mps, walk.figure) == ("up the drive", 0.5, "dog")
    assert walk.line.tolist() == [[-5, -5], [0, 0], [5, 3]]
    assert terrain.approaches[0].line.tolist() == [[-9, -9], [9, -9]]
    assert (terrain.sections[0].name, terrain.sections[0].line.tolist()) == (
        "down the bank",
        [[0, 9], [0, -9]],
    )


def test_nuisance_things_are_outlines(tmp_path):
    """A point and a path are widened: a square of the width, a band of the width."""
    terrain = built(
        tmp_path,
        """
[[nuisance]]
name = "flue"
kind = "flue"
at = [2, 3]
width = 0.4
base = 1.5
height = 2.0
[[nuisance]]
name = "track"
kind = "road"
path = [[0, 6], [10, 6]]
width = 3
height = 1.8
""",
    )
    flue, track = terrain.nuisances
    assert np.ptp(flue.outline, axis=0) == pytest.approx([0.4, 0.4])
    assert (flue.base_m, flue.top_m) == (1.5, 2.0)
    assert np.ptp(track.outline, axis=0) == pytest.approx([10, 3])


def test_others_ground_and_the_boundary(tmp_path):
    """What lies beyond keeps its kind and whether a layer may reach into it."""
    terrain = built(
        tmp_path,
        """
[boundary]
outline = [[-10, -10], [10, -10], [10, 10], [-10, 10]]
[[beyond]]
name = "lane"
kind = "road"
outline = [[10, -10], [14, -10], [14, 10], [10, 10]]
keep_out = true
""",
    )
    assert terrain.boundary.shape == (4, 2)
    assert terrain.beyond[0].keep_out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[walk]]\nname = "w"\npath = [[0, 0]]', "path"),
        ('[[walk]]\nname = "w"\npath = [[0, 0], [1, 1]]\nspeed = 0', "speed"),
        ('[[walk]]\nname = "w"\npath = [[0, 0], [1]]', "a number is missing"),
        ('[[nuisance]]\nname = "n"\nheight = 1', "at, path and outline"),
        ('[[nuisance]]\nname = "n"\nat = [0, 0]\nheight = 1', "width"),
        ('[[nuisance]]\nname = "n"\nat = [0, 0]\nwidth = 1\nheight = 1\nbase = 2', "base"),
        ('[[beyond]]\nname = "b"\nkind = "rode"\noutline = [[0, 0], [1, 0], [1, 1]]', "kind"),
        ("[doubt]\ndrawz = 3", "draws"),
        ("[heat]\ngrounds = [1]", "grounds"),
        ("[search]\nhold = 1.5", "hold"),
        (
            '[[approach]]\nname = "a"\npath = [[0, 0], [1, 1]]\n'
            '[[approach]]\nname = "a"\npath = [[0, 0], [1, 1]]',
            "'a'",
        ),
    ],
)
def test_faults_name_the_key(tmp_path, text, said):
    """What cannot be used is refused with the key at fault in the message."""
    with pytest.raises(InputError) as caught:
        load_site(site_with(tmp_path, text))
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[boundary]\noutline = [[0, 0], [2, 2], [2, 0], [0, 2]]", "boundary"),
        ('[[nuisance]]\nname = "n"\npath = [[1, 1], [1, 1]]\nwidth = 1\nheight = 1', "nuisance 'n'"),
        ('[[beyond]]\nname = "b"\noutline = [[0, 0], [1, 0], [2, 0]]', "beyond 'b'"),
    ],
)
def test_shapes_that_enclose_nothing_are_refused(tmp_path, text, said):
    """An outline that crosses itself, a path of no length: named."""
    with pytest.raises(InputError) as caught:
        built(tmp_path, text)
    assert said in str(caught.value)


def test_pulse_settings_are_those_of_the_type(tmp_path):
    """A pulse count the type does not offer is refused, with those it does."""
    from terrain3d.job import run

    option = """
[[option]]
name = "o"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 90
pulses = {}
"""
    assert run(site_with(tmp_path, option.format(3))).options[0].detectors[0].pulses_needed == 3
    with pytest.raises(InputError, match="it has 1, 3"):
        run(site_with(tmp_path, option.format(2)))

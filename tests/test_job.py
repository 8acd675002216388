"""The order of steps, and judging one option anew."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from terrain3d.job import run, with_units
from terrain3d.sentences.why import why

SITE = """
[site]
name = "Slope"
cell = 0.5
[ground]
plane = { fall = 15, towards = 90, extent = 30 }
[[mount]]
name = "west"
at = [-4, 0]
[[mount]]
name = "east"
at = [4, 0]
[[protect]]
name = "yard"
outline = [[-3, -4], [3, -4], [3, 4], [-3, 4]]
[[option]]
name = "from the west"
[[option.detector]]
name = "D1"
mount = "west"
type = "one-head-90"
height = 1.0
bearing = 90
[[option]]
name = "from the east"
[[option.detector]]
name = "D1"
mount = "east"
type = "one-head-90"
height = 1.0
bearing = 270
"""


@pytest.fixture
def outcome(tmp_path):
    """Two poles that look at one yard, down the slope and up it."""
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return run(path)


def test_options_keep_the_order_of_the_site_file_and_ranking_does_not(outcome):
    """`options` is as written, `ranking` is best first and names them all."""
    assert [option.name for option in outcome.options] == ["from the west", "from the east"]
    held = {o.name: o.protect[0].both_fraction for o in outcome.options}
    assert list(outcome.ranking) == sorted(held, key=lambda name: -held[name])
    assert outcome.ranking[0] in why(outcome)


def test_units_stand_on_the_ground_under_their_mount(outcome):
    """The plane falls 15 % eastward, 4 m either way: 0.6 m up and down."""
    assert [o.detectors[0].ground_z for o in outcome.options] == pytest.approx([0.6, -0.6])


def test_setting_a_unit_otherwise_is_the_same_as_writing_it_so(outcome, tmp_path):
    """Judging one option anew gives what a site file with that setting gives; the others stay."""
    unit = outcome.options[0].detectors[0]
    changed = with_units(
        outcome, "from the west", (replace(unit, bearing_deg=75.0, tilt_deg=5.0, height_m=1.2),)
    )
    path = tmp_path / "changed.toml"
    path.write_text(SITE.replace("height = 1.0\nbearing = 90", "height = 1.2\nbearing = 75\ntilt = 5"))
    written = run(path)
    assert np.array_equal(changed.options[0].verdicts, written.options[0].verdicts)
    assert changed.options[0].area_m2 == written.options[0].area_m2
    assert changed.options[1] is outcome.options[1]
    assert (changed.ranking, why(changed)) == (written.ranking, why(written))


def test_progress_is_told_in_order(tmp_path):
    """Steps are named, and each fraction grows to one."""
    path = Path(tmp_path / "site.toml")
    path.write_text(SITE)
    told: list[tuple[str, float]] = []
    run(path, lambda step, fraction: told.append((step, fraction)))
    for step in dict.fromkeys(step for step, _ in told):
        fractions = [fraction for name, fraction in told if name == step]
        assert fractions == sorted(fractions)
        assert fractions[-1] == 1.0

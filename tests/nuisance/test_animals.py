"""Which figures are animals, and what is true of their ground on any site."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import ground, judged, plane, terrain, unit

from terrain3d.cover.option import option_verdicts
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure, known_figures
from terrain3d.detector.types import load_type
from terrain3d.nuisance.animals import OWN_BELOW_M, animal_figures, animal_ground
from terrain3d.terrain import Area

KIND = load_type("two-head-180", Path())


def test_animals_are_marked_and_people_are_not():
    """Every figure of the package is one or the other, as its name says."""
    animals = {figure.name for figure in known_figures() if figure.is_animal}
    assert animals == {"cat", "badger", "fox", "dog", "sheep", "roe deer", "deer", "red deer"}
    assert all("person" in figure.name for figure in known_figures() if not figure.is_animal)


def test_animals_come_lowest_first():
    """The order that nests their ground."""
    heights = [figure.height_m for figure in animal_figures()]
    assert heights == sorted(heights)


@pytest.mark.parametrize(
    ("own", "there"),
    [
        (Figure("goat", 0.8, "site file"), True),
        (Figure("horse", OWN_BELOW_M + 0.2, "site file"), False),
        (Figure("person crawling", 0.6, "site file"), False),
        (Figure("red deer", 1.37, "site file"), True),
    ],
)
def test_a_sites_own_low_figures_count(own, there):
    """Low ones are animals, tall ones not; a known name keeps what it is."""
    assert (own in animal_figures([own])) == there
    names = [figure.name for figure in animal_figures([own])]
    assert len(names) == len(set(names))


waves = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(0, 0.6), st.floats(1.5, 6))


@settings(max_examples=20, deadline=None)
@given(waves, st.floats(0.7, 1.4), st.floats(0, 360), st.floats(-8, 8), st.sampled_from(["any", "all"]))
def test_a_taller_animal_never_has_less_ground(wave, height_m, bearing, tilt, combine):
    """Whatever the land and the setting, the ground of a lower animal lies within that of a taller one."""
    a, b, size, length = wave
    on = ground(lambda x, y: a * x + b * y + size * np.sin(x / length) * np.cos(y / length), 0.5, extent_m=26)
    site = terrain(on)
    here = float(on.height_at(0.0, 0.0))
    units = tuple(
        replace(unit(KIND, height_m, turned, tilt_deg=tilt), ground_z=here)
        for turned in (bearing, bearing + 40)
    )
    option = judged(site, *units, combine=combine)
    found = animal_ground(site, option)
    for lower, taller in zip(found.animals, found.animals[1:], strict=False):
        assert not (lower.where & ~taller.where).any()
        assert lower.area_m2 <= taller.area_m2
    held = option.verdicts == Verdict.BOTH
    assert not (found.crawling.where & ~held).any()
    crawler = option_verdicts(on, option, 0.7) == Verdict.BOTH
    assert np.array_equal(found.crawling.where, held & ~crawler)


def test_crawling_through_protected_ground_is_told_apart():
    """Level ground: of the held ground as much is protected as the outline takes."""
    yard = Area("yard", np.array([[-1.0, 3], [1, 3], [1, 5], [-1, 5]]))
    site = terrain(plane(0.0), protect=(yard, replace(yard, name="again")))
    setting = unit(load_type("one-head-90", Path()))
    found = animal_ground(site, judged(site, setting))
    assert found.crawling_protected_m2 == pytest.approx(4.0)
    assert found.crawling.area_m2 > 50


def test_a_sites_own_crawler_is_the_one_that_crawls():
    """A person who keeps higher than the unit raises the alarm, so no ground lets him pass."""
    site = terrain(plane(0.0))
    setting = unit(load_type("one-head-90", Path()), 0.8)
    found = animal_ground(site, judged(site, setting), [Figure("person crawling", 0.9, "site file")])
    assert found.crawling.area_m2 == 0
    assert found.crawling.nearest_m is None

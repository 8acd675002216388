"""Holes and roughness of made surveys whose answer is known."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial.distance import cdist

from terrain3d.survey import quality
from terrain3d.survey.quality import coverage, roughness

CELL_M = 0.25


def map_of(shape: Callable[[Any, Any], Any], side_m: float = 80.0) -> np.ndarray:
    """The cells of a square whose centres a shape holds."""
    centre = (np.arange(int(side_m / CELL_M)) + 0.5) * CELL_M
    x, y = np.meshgrid(centre, centre)
    return np.asarray(shape(x, y), bool)


def test_a_pond_is_one_hole_of_the_right_size() -> None:
    """A disc of 10 m without ground points: farther than r from them lies a disc of radius 10 - r."""
    flown = map_of(lambda x, y: x >= 0)
    pond = map_of(lambda x, y: np.hypot(x - 40, y - 40) < 10)
    found = coverage(flown, ~pond, CELL_M, 0.5)
    assert [holes.n for holes in found.holes] == [1, 1, 1]
    for holes in found.holes:
        # The shore is one of cells.
        low, high = (np.pi * (10 - holes.limit_m + slack) ** 2 for slack in (-CELL_M, CELL_M))
        assert low < holes.largest_m2 < high
        assert holes.share == pytest.approx(holes.largest_m2 / found.area_m2)


def test_full_ground_has_no_holes_and_its_own_area() -> None:
    """80 m x 80 m, a point in every other cell both ways."""
    every_other = np.zeros((320, 320), bool)
    every_other[::2, ::2] = True
    found = coverage(every_other, every_other, CELL_M, 0.5)
    assert all(holes.n == 0 and holes.share == 0 for holes in found.holes)
    assert found.area_m2 == pytest.approx(80 * 80, rel=0.02)


def test_no_ground_at_all_is_one_hole() -> None:
    """Every class but ground: the whole area is open."""
    flown = np.ones((50, 50), bool)
    assert [holes.share for holes in coverage(flown, ~flown, CELL_M, 1.0).holes] == [1.0, 1.0, 1.0]


def test_land_outside_an_l_shaped_survey_is_no_hole() -> None:
    """The area follows the points; the corner that was never flown does not count."""
    flown = map_of(lambda x, y: (x < 40) | (y < 40), 100.0)
    found = coverage(flown, flown, CELL_M, 1.0)
    assert found.area_m2 == pytest.approx(100 * 100 - 60 * 60, rel=0.03)
    # Bridging rounds off the inner corner by its reach of 5 m: a sliver within 2.1 m of ground points.
    assert all(holes.largest_m2 < 5 for holes in found.holes)
    assert found.holes[-1].n == 0


@settings(max_examples=20, deadline=None)
@given(arrays(bool, st.tuples(st.integers(1, 30), st.integers(1, 30))))
def test_distances_are_those_of_brute_force(marked: np.ndarray) -> None:
    """To the nearest marked cell, by asking every one (scipy.spatial.distance)."""
    if not marked.any():
        assert np.all(np.isinf(quality._away(marked)))
        return
    every = np.argwhere(np.ones_like(marked))
    expected = cdist(every, np.argwhere(marked)).min(axis=1).reshape(marked.shape)
    np.testing.assert_allclose(quality._away(marked), expected, rtol=1e-6)


def test_few_points_far_apart_do_not_outgrow_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two points at the ends of a long strip: the margin around the map is held to its bound as well."""
    mapped: list[int] = []
    away = quality._away
    monkeypatch.setattr(quality, "_away", lambda marked: mapped.append(marked.size) or away(marked))
    monkeypatch.setattr(quality, "_MOST_CELLS", 100_000)
    strip = np.zeros((20_000, 5), bool)
    strip[[0, -1]] = True
    found = coverage(strip, strip, 1.0, 220.0)
    assert max(mapped) <= 200_000
    assert found.area_m2 > 0


@pytest.mark.parametrize("sigma", [0.02, 0.1])
def test_noise_on_a_slope_is_measured(sigma: float) -> None:
    """Normal noise of known size on a plane of 30 %: the estimate of its RMSE is within 5 %."""
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 100, (20_000, 2))
    z = 0.3 * xy[:, 0] + rng.normal(0, sigma, len(xy))
    found = roughness(np.column_stack([xy, z]))
    assert found is not None
    assert found.sigma_m == pytest.approx(sigma, rel=0.05)
    assert found.within_95_m == pytest.approx(1.96 * found.sigma_m)
    assert found.n == 20_000


def test_few_wild_points_hardly_move_the_estimate() -> None:
    """Medians: one point in a hundred 5 m off is a matter for classification, not for accuracy."""
    rng = np.random.default_rng(2)
    xyz = np.column_stack([rng.uniform(0, 100, (20_000, 2)), rng.normal(0, 0.05, 20_000)])
    xyz[::100, 2] += 5
    found = roughness(xyz)
    assert found is not None
    assert found.sigma_m == pytest.approx(0.05, rel=0.25)


@settings(max_examples=25, deadline=None)
@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1000, 1000), st.integers(0, 1000))
def test_any_exact_plane_has_no_roughness(a: float, b: float, c: float, seed: int) -> None:
    """The slope and height of the ground are no error."""
    xy = np.random.default_rng(seed).uniform(0, 50, (300, 2))
    found = roughness(np.column_stack([xy, c + xy @ [a, b]]))
    assert found is not None
    assert found.sigma_m < 1e-9


def test_too_few_points_or_all_on_a_line_tell_nothing() -> None:
    """No plane can be laid through them."""
    assert roughness(np.zeros((5, 3))) is None
    assert roughness(np.column_stack([np.arange(100.0), np.zeros(100), np.zeros(100)])) is None

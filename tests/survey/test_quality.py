"""Holes and roughness of made surveys whose answer is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.survey.quality import coverage, roughness


def lattice(n: int, spacing: float) -> np.ndarray:
    x, y = np.meshgrid(np.arange(n) * spacing, np.arange(n) * spacing)
    return np.column_stack([x.ravel(), y.ravel()])


def test_a_pond_is_one_hole_of_the_right_size() -> None:
    """A disc of 10 m without ground points: farther than r from them lies a disc of radius 10 - r."""
    xy = lattice(161, 0.5)
    pond = np.hypot(*(xy - 40).T) < 10
    found = coverage(xy, xy[~pond])
    assert [holes.n for holes in found.holes] == [1, 1, 1]
    for holes in found.holes:
        # Half a spacing either way, for the shore is a lattice.
        low, high = (np.pi * (10 - holes.limit_m + slack) ** 2 for slack in (-0.4, 0.6))
        assert low < holes.largest_m2 < high
        assert holes.share == pytest.approx(holes.largest_m2 / found.area_m2)


def test_full_ground_has_no_holes_and_its_own_area() -> None:
    """80 m x 80 m of points half a metre apart."""
    found = coverage(lattice(161, 0.5), lattice(161, 0.5))
    assert all(holes.n == 0 and holes.share == 0 for holes in found.holes)
    assert found.area_m2 == pytest.approx(80 * 80, rel=0.02)


def test_no_ground_at_all_is_one_hole() -> None:
    """Every class but ground: the whole area is open."""
    found = coverage(lattice(50, 1.0), np.empty((0, 2)))
    assert [holes.share for holes in found.holes] == [1.0, 1.0, 1.0]


def test_land_outside_an_l_shaped_survey_is_no_hole() -> None:
    """The area follows the points; the corner that was never flown does not count."""
    xy = lattice(101, 1.0)
    flown = ~((xy[:, 0] > 40) & (xy[:, 1] > 40))
    found = coverage(xy[flown], xy[flown])
    assert found.area_m2 == pytest.approx(100 * 100 - 60 * 60, rel=0.03)
    # Bridging rounds off the inner corner by its reach of 5 m: a sliver within 2.1 m of ground points.
    assert all(holes.largest_m2 < 5 for holes in found.holes)
    assert found.holes[-1].n == 0


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


def test_large_surveys_are_sampled_in_whole_patches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Thinning would lengthen the reach of each plane: waves of 10 m must not turn into noise."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 200, (200_000, 2))
    z = 0.5 * np.sin(xy[:, 0] * 2 * np.pi / 10) + rng.normal(0, 0.02, len(xy))
    xyz = np.column_stack([xy, z])
    whole = roughness(xyz)
    monkeypatch.setattr("terrain3d.survey.quality._N_POOL", 20_000)
    sampled = roughness(xyz)
    assert whole is not None
    assert sampled is not None
    assert sampled.sigma_m == pytest.approx(whole.sigma_m, rel=0.05)

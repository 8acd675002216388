"""What is noted of points as they pass: the figures of all points at once, in bounded memory."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from terrain3d.readers.source import Box, Cloud
from terrain3d.survey import quality
from terrain3d.survey.quality import HOLE_LIMITS_M, roughness
from terrain3d.survey.tally import Sample, Tally

BOX: Box = (1000.0, 2000.0, 1100.0, 2060.0)


def cloud_of(n: int, seed: int = 0) -> Cloud:
    """Points over `BOX` in six classes, with a pond of 8 m without ground points."""
    rng = np.random.default_rng(seed)
    xyz = np.column_stack([rng.uniform(1000, 1100, n), rng.uniform(2000, 2060, n), rng.normal(50, 0.03, n)])
    classes = rng.choice(np.array([1, 2, 5, 6, 11], np.uint8), n)
    pond = np.hypot(xyz[:, 0] - 1050, xyz[:, 1] - 2030) < 8
    classes[pond & np.isin(classes, (2, 11))] = 9
    ones = np.ones(n, np.uint8)
    return Cloud(xyz, classes, ones, ones, None)


def parts_of(cloud: Cloud, cuts: list[int]) -> Iterator[Cloud]:
    """The same points in pieces."""
    for xyz, classes, number, n in zip(
        *(
            np.split(column, cuts)
            for column in (cloud.xyz, cloud.classes, cloud.return_number, cloud.n_returns)
        ),
        strict=True,
    ):
        if len(xyz):
            yield Cloud(xyz, classes, number, n, None)


def tallied(parts: Iterator[Cloud], bounds: Box = BOX) -> Tally:
    tally = Tally(bounds, (1.0, 1.0))
    for part in parts:
        tally.take(part)
    return tally


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, 5000), max_size=8))
def test_pieces_give_the_figures_of_the_whole(cuts: list[int]) -> None:
    """However the points are cut into chunks, nothing of the report depends on it."""
    cloud = cloud_of(5000)
    whole, pieces = tallied(iter([cloud])), tallied(parts_of(cloud, sorted(cuts)))
    np.testing.assert_array_equal(pieces.counts, whole.counts)
    assert pieces.extent_m == whole.extent_m
    assert pieces.coverage() == whole.coverage()
    assert pieces.roughness() == whole.roughness()


def test_figures_are_those_of_all_points_at_once() -> None:
    """Counts by numpy, ends by numpy, holes by the distance of a fine net of places to every ground point."""
    cloud = cloud_of(60_000)
    tally = tallied(parts_of(cloud, list(range(0, 60_000, 7_001))))
    np.testing.assert_array_equal(tally.counts, np.bincount(cloud.classes, minlength=256))
    assert tally.n_points == 60_000
    assert tally.n_ground == np.isin(cloud.classes, (2, 11)).sum()
    assert tally.bounds == (*cloud.xyz[:, :2].min(axis=0), *cloud.xyz[:, :2].max(axis=0))
    assert tally.extent_m[2:] == (cloud.xyz[:, 2].min(), cloud.xyz[:, 2].max())
    x, y = np.meshgrid(np.arange(1000.05, 1100, 0.1), np.arange(2000.05, 2060, 0.1))
    ground = cloud.xyz[np.isin(cloud.classes, (2, 11)), :2]
    away = cKDTree(ground).query(np.column_stack([x.ravel(), y.ravel()]))[0]
    found = tally.coverage()
    assert found.area_m2 == pytest.approx(6000, rel=0.01)
    assert [holes.limit_m for holes in found.holes] == list(HOLE_LIMITS_M)
    for holes in found.holes:
        # Points are known to a quarter of a metre, so the shore of the pond is, too.
        inside = [np.mean(away > holes.limit_m + slack) for slack in (0.25, -0.25)]
        assert inside[0] <= holes.share <= inside[1]
        assert holes.n >= 1


def test_what_is_kept_does_not_grow_with_the_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """After 20 times as many points the arrays held are the same maps and a sample under its bound."""
    monkeypatch.setattr(quality, "_MOST_CELLS", 10_000)
    monkeypatch.setattr("terrain3d.survey.tally.MOST_KEPT", 3_000)

    def held(tally: Tally) -> tuple[int, int]:
        sizes = [
            tally._surveyed.size,
            *(standard.marked.size for standard in (tally._on_ground, tally._last)),
        ]
        samples = [len(standard.sample.points()) for standard in (tally._on_ground, tally._last)]
        return sum(sizes), max(samples)

    few, many = (tallied(cloud_of(10_000, seed) for seed in range(n)) for n in (1, 20))
    assert many.n_points == 200_000
    assert held(many)[0] == held(few)[0] < 3 * 1.1 * 10_000
    assert 0 < held(few)[1] <= 3_000
    assert 0 < held(many)[1] <= 3_000


def test_last_returns_stand_in_where_nothing_is_classed_as_ground() -> None:
    """First of two returns are no ground; one ground point later on puts all last returns aside."""
    xyz = np.column_stack([np.arange(1000.0, 1100), np.full(100, 2030.0), np.zeros(100)])
    one, two = np.ones(100, np.uint8), np.full(100, 2, np.uint8)
    first, last = Cloud(xyz, one, one, two, None), Cloud(xyz[:40], one[:40], two[:40], two[:40], None)
    tally = tallied(iter([first, last]))
    assert not tally.has_ground_class
    assert tally.n_ground == 40
    tally.take(Cloud(xyz[:3], np.full(3, 2, np.uint8), one[:3], one[:3], None))
    assert tally.has_ground_class
    assert tally.n_ground == 3


def test_bounds_that_do_not_hold_the_points_are_told_and_mended() -> None:
    """Too narrow, or far too wide: a second tally over the bounds found fits and maps every point."""
    cloud = cloud_of(20_000)
    right = tallied(iter([cloud]))
    assert right.fits
    for wrong in ((1000.0, 2000.0, 1050.0, 2060.0), (1005.0, 2000.0, 1100.0, 2060.0), (0.0, 0.0, 1e5, 1e5)):
        tally = tallied(iter([cloud]), wrong)
        assert not tally.fits
        assert tally.bounds == right.bounds
        again = tallied(iter([cloud]), tally.bounds)
        assert again.fits
        assert again.coverage() == tallied(iter([cloud]), right.bounds).coverage()


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 100), st.floats(0, 300), st.integers(1, 400))
def test_a_sample_is_every_point_of_its_patches(seed: int, depth_m: float, most: int) -> None:
    """Never more than asked, never a hole: what lies in the last patches was kept from the first on."""
    # Not seed 0, from which the patches' own places are drawn: points would lie on them exactly.
    rng = np.random.default_rng(seed)
    size = np.array([200.0, depth_m])
    metres = np.vstack([rng.uniform(0, 1, (2, 3000)) * size[:, None], np.arange(3000.0)])
    # In rows, as files often are: patches must not depend on the order.
    metres = metres[:, np.argsort(metres[1])]
    sample = Sample(size, most)
    for start in range(0, 3000, 70):
        part = metres[:, start : start + 70]
        sample.take(part, np.arange(part.shape[1]))
    kept = sample.points()
    assert len(kept) <= most
    np.testing.assert_array_equal(kept[:, 2], metres[2, sample._patches.hold(metres[0], metres[1])])


def test_one_place_measured_over_and_over_is_held_to_the_bound() -> None:
    """No patch is small enough to leave points out, yet memory is not theirs."""
    sample = Sample(np.zeros(2), 100)
    for _ in range(5):
        sample.take(np.zeros((3, 90)), np.arange(90))
    assert len(sample.points()) == 100


def test_large_surveys_are_sampled_in_whole_patches() -> None:
    """Thinning would lengthen the reach of each plane: waves of 10 m must not turn into noise."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 200, (200_000, 2))
    z = 0.5 * np.sin(xy[:, 0] * 2 * np.pi / 10) + rng.normal(0, 0.02, len(xy))
    metres = np.column_stack([xy, z]).T
    sample = Sample(np.array([200.0, 200.0]), 20_000)
    sample.take(metres, np.arange(200_000))
    whole, sampled = roughness(metres.T), roughness(sample.points())
    assert whole is not None
    assert sampled is not None
    assert 10_000 < len(sample.points()) <= 20_000
    assert sampled.sigma_m == pytest.approx(whole.sigma_m, rel=0.05)

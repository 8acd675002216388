"""Ground on a grid: exact on planes, honest about gaps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.errors import InputError
from terrain3d.survey.gaps import bridged, wide_gaps
from terrain3d.survey.lattice import MAX_NODES, Lattice, lattice_over
from terrain3d.survey.surface import _on_planes, levelled, plane, spot_levels, surveyed


def strewn(n: int, size: float, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, size, (n, 2))


def on(xy: np.ndarray, z) -> np.ndarray:
    return np.column_stack([xy, z(xy[:, 0], xy[:, 1])])


@given(fall=st.floats(-100, 100), towards=st.floats(-360, 360), n=st.integers(4, 60), cell=st.floats(0.05, 2))
def test_a_plane_is_exact_and_covers_its_square(fall, towards, n, cell):
    """z = -fall (x sin b + y cos b), and the cells add up to the square of the extent."""
    ground = plane(fall, towards, n * cell, cell).ground
    assert ground.z.size * cell**2 == pytest.approx((n * cell) ** 2)
    np.testing.assert_allclose(ground.bounds, np.array([-1, -1, 1, 1]) * n * cell / 2, atol=1e-9)
    bearing = np.radians(towards)
    x, y = 0.31 * n * cell, -0.17 * n * cell
    expected = -fall / 100 * (x * np.sin(bearing) + y * np.cos(bearing))
    assert ground.height_at([x], [y])[0] == pytest.approx(expected, abs=1e-8)


def test_a_square_smaller_than_two_cells_is_refused():
    """The message says the extent and the mend."""
    with pytest.raises(InputError, match=r"0\.3 m holds less than two cells of 0\.25(.|\n)*larger extent"):
        plane(0, 0, 0.3, 0.25)


@settings(max_examples=30, deadline=None)
@given(
    a=st.floats(-1, 1), b=st.floats(-1, 1), seed=st.integers(0, 99), cell=st.sampled_from([0.1, 0.25, 1.0])
)
def test_points_on_a_plane_give_the_plane(a, b, seed, cell):
    """Linear interpolation of means of a plane is that plane, dense or sparse, with no noise."""
    xyz = on(strewn(800, 10.0, seed), lambda x, y: 400 + a * x + b * y)
    ground = surveyed(xyz, lattice_over((0, 0, 10, 10), cell), 3.0).ground
    x, y = np.meshgrid(ground.xs, ground.ys)
    known = ground.known
    assert known.mean() > 0.8
    np.testing.assert_allclose(ground.z[known], (400 + a * x + b * y)[known], atol=1e-8)


def test_left_out_points_of_a_smooth_hill_are_met():
    """10 % held out: 95 % lie within the bound of linear interpolation, h^2/8 x curvature, h the spacing."""
    xyz = on(strewn(6000, 20.0), lambda x, y: 2 * np.sin(x / 4) + np.cos(y / 5))
    out = np.random.default_rng(1).random(len(xyz)) < 0.1
    relief = surveyed(xyz[~out], lattice_over((0, 0, 20, 20), 0.25), 3.0)
    off = np.abs(relief.ground.height_at(xyz[out, 0], xyz[out, 1]) - xyz[out, 2])
    assert relief.spacing_m == pytest.approx(20 / np.sqrt(5400), rel=0.1)
    # Triangles of a random cloud reach some 3 spacings; curvature is at most 2/16 + 1/25.
    bound = (3 * relief.spacing_m) ** 2 / 8 * (2 / 16 + 1 / 25)
    assert np.nanpercentile(off, 95) < bound


def test_noise_of_dense_points_is_taken_down_by_their_mean():
    """25 points a cell with 5 cm noise: node errors of about 5 cm / sqrt(25) (law of the mean)."""
    rng = np.random.default_rng(2)
    xyz = on(strewn(40_000, 10.0), lambda x, y: 0 * x + rng.normal(0, 0.05, x.size))
    ground = surveyed(xyz, lattice_over((0, 0, 10, 10), 0.25), 3.0).ground
    assert np.nanstd(ground.z) < 1.3 * 0.05 / np.sqrt(25)


def ring_of_points(hole_m: float) -> np.ndarray:
    xy = strewn(40_000, 30.0)
    return on(xy[np.hypot(*(xy - 15).T) > hole_m / 2], lambda x, y: 0.1 * x)


@pytest.mark.parametrize(("hole_m", "is_known"), [(2.0, True), (2.6, True), (4.0, False), (8.0, False)])
def test_gaps_up_to_the_limit_are_bridged_and_wider_ones_stay_unknown(hole_m, is_known):
    """A round gap in a dense survey, limit 3 m: its middle is bridged and marked, or NaN."""
    ground = surveyed(ring_of_points(hole_m), lattice_over((0, 0, 30, 30), 0.25), 3.0).ground
    middle = (60, 60)
    assert ground.known[middle] == is_known
    if is_known:
        assert ground.filled[middle]
        assert ground.z[middle] == pytest.approx(0.1 * ground.xs[60], abs=0.02)
    else:
        x, y = np.meshgrid(ground.xs, ground.ys)
        away = np.hypot(x - 15, y - 15)
        # What is within 1.5 spacings of a point counts as measured: the rim of the gap.
        assert not ground.known[away < hole_m / 2 - 0.6].any()
        assert ground.known[(away > hole_m / 2) & (away < 12)].all()


def test_a_gap_at_the_edge_of_the_grid_counts_by_its_whole_width():
    """A 6 m gap, half of it beyond the grid: points around show it is wide, so it stays unknown."""
    xyz = ring_of_points(6.0)
    ground = surveyed(xyz, lattice_over((15, 5, 30, 25), 0.25), 4.0).ground
    assert not ground.known[40, 0]


def test_a_sparse_survey_is_not_marked_as_bridged():
    """1 m spacing on 0.25 m cells: every node is within 1.5 spacings, so all count as measured."""
    x, y = np.meshgrid(np.arange(0, 20.5), np.arange(0, 20.5))
    xyz = np.column_stack([x.ravel(), y.ravel(), 0.1 * x.ravel()])
    ground = surveyed(xyz, lattice_over((0, 0, 20, 20), 0.25), 3.0).ground
    assert ground.known.all()
    assert not ground.filled.any()
    random = surveyed(
        on(strewn(400, 20.0), lambda x, y: 0 * x), lattice_over((0, 0, 20, 20), 0.25), 3.0
    ).ground
    assert random.filled.mean() < 0.01


def test_nothing_is_known_outside_the_points():
    """Beyond the hull of the points the ground is NaN, while feet carry on the nearest height."""
    xyz = on(strewn(4000, 10.0), lambda x, y: 0 * x + 7)
    relief = surveyed(xyz, lattice_over((-5, 0, 10, 10), 0.25), 3.0)
    assert not relief.ground.known[:, :19].any()
    assert relief.foot_at([-4.0, -400.0], [5.0, 5.0]) == pytest.approx(7)


def test_the_order_of_points_does_not_matter_and_nothing_is_drawn_by_lot():
    """Shuffled points give the same grid to rounding; the same points the same bytes."""
    xyz = on(strewn(3000, 10.0), lambda x, y: np.sin(x) + y)
    lattice = lattice_over((0, 0, 10, 10), 0.25)
    first, again = surveyed(xyz, lattice, 3.0), surveyed(xyz.copy(), lattice, 3.0)
    assert first.ground.z.tobytes() == again.ground.z.tobytes()
    shuffled = surveyed(xyz[np.random.default_rng(0).permutation(3000)], lattice, 3.0)
    np.testing.assert_allclose(shuffled.ground.z, first.ground.z, atol=1e-9)


def test_points_on_a_line_are_refused():
    """The message says how many and what to give."""
    xyz = np.column_stack([np.arange(9.0), np.arange(9.0), np.zeros(9)])
    with pytest.raises(InputError, match=r"9 ground points(.|\n)*surrounds the mounts"):
        surveyed(xyz, lattice_over((0, 0, 9, 9), 0.5), 3.0)


def test_spot_levels_are_met_exactly_and_end_at_their_hull():
    """A triangle of levels on z = x/10: exact inside, NaN outside."""
    ground = spot_levels(np.array([0.0, 10, 0]), np.array([0.0, 0, 10]), np.array([0.0, 1, 0]), 0.25).ground
    assert ground.height_at([2.0], [3.0])[0] == pytest.approx(0.2)
    assert np.isnan(ground.height_at([9.0], [9.0])[0])
    assert ground.known.sum() * 0.25**2 == pytest.approx(50, rel=0.03)


def test_two_levels_at_one_place_are_refused():
    """The message says both heights."""
    with pytest.raises(InputError, match=r"differ: 1 and 2 m"):
        spot_levels(np.array([0.0, 0, 5, 0]), np.array([0.0, 0, 0, 5]), np.array([1.0, 2, 1, 1]), 0.25)


def test_the_grid_does_not_depend_on_the_box():
    """Edges lie on whole multiples of the cell, so two boxes give the same nodes where they overlap."""
    one, two = lattice_over((0.07, 0.02, 9.9, 9.9), 0.25), lattice_over((-3.3, 1.9, 4.0, 8.0), 0.25)
    for first, second in ((one.x0, two.x0), (one.y0, two.y0)):
        assert (first - second) / 0.25 == pytest.approx(round((first - second) / 0.25), abs=1e-9)
    exact = lattice_over((-5.0, -5.0, 5.0, 5.0), 0.1)
    assert (exact.nx, exact.ny) == (100, 100)


def test_an_absurd_grid_is_refused():
    """The message says the size in metres and cells, and which key to change."""
    with pytest.raises(InputError, match=r"5000 x 5000 m(.|\n)*20000 x 20000 cells(.|\n)*site\.cell"):
        lattice_over((0, 0, 5000, 5000), 0.25)
    assert MAX_NODES < 20000**2


def test_a_narrow_arm_of_a_wide_gap_counts_by_its_own_width():
    """A gap of 20 cells with an arm of 3: limit 5 cells leaves the arm out of the wide gap."""
    known = np.ones((40, 60), bool)
    known[10:30, 5:25] = False
    known[19:22, 25:55] = False
    wide = wide_gaps(known, (1.0, 1.0), 5.0)
    assert wide[12:28, 7:23].all()
    assert not wide[:, 30:].any()


def test_bridging_a_plane_gives_the_plane():
    """Cells of a gap get the plane's own heights; known cells keep theirs."""
    x, y = Lattice(0.0, 0.0, 1.0, 12, 12).nodes()
    z = 0.3 * x - 0.2 * y
    gap = z.copy()
    gap[4:8, 3:9] = np.nan
    across, anywhere = bridged(gap, x, y)
    np.testing.assert_allclose(across, z, atol=1e-12)
    np.testing.assert_allclose(anywhere, z, atol=1e-12)


def noisy(density, z, noise, size=20.0, seed=0):
    xyz = on(strewn(round(density * size**2), size, seed), z)
    return xyz + np.random.default_rng(seed + 1).normal(0, noise, xyz.shape) * [0, 0, 1]


@pytest.mark.parametrize("density", [10, 60])
@pytest.mark.parametrize("noise", [0.01, 0.03, 0.06])
def test_noise_is_taken_down_where_the_ground_is_even(density, noise):
    """To 0.4 of it, and all but the farthest off to 0.28: a mean of nine would have a third (1 / sqrt(9)),
    one of 36 a sixth, and few of the farthest off stay."""
    xyz = noisy(density, lambda x, y: 0.1 * x - 0.05 * y + 0.3 * np.sin(x / 6), noise)
    left = levelled(xyz)[:, 2] - (0.1 * xyz[:, 0] - 0.05 * xyz[:, 1] + 0.3 * np.sin(xyz[:, 0] / 6))
    assert left.std() < 0.47 * noise
    assert np.quantile(np.abs(left), 0.68) < 0.30 * noise
    assert abs(left.mean()) < 0.1 * noise


@pytest.mark.parametrize("density", [10, 30])
def test_ground_carried_on_under_eaves_is_as_sure_as_all_that_lies_on_its_plane(density):
    """Half a metre from the last of the returns, noise of 3 cm, 20 draws: off by less than 1.5 cm (root mean
    square); by the nearest two dozen alone it is more than 2 cm at 10 returns a square metre."""
    off = []
    for seed in range(20):
        xyz = noisy(density, lambda x, y: 0.12 * x - 0.05 * y, 0.03, size=12.0, seed=seed)
        xyz = levelled(xyz[xyz[:, 0] < 6])
        x, y = np.full(5, 6.5), np.linspace(3, 9, 5)
        off.append(_on_planes(xyz, np.ones(len(xyz)), 0.03, x, y, np.zeros(5)) - (0.12 * x - 0.05 * y))
    assert np.sqrt(np.mean(np.square(off))) < 0.015


@pytest.mark.parametrize("noise", [0.005, 0.01, 0.03])
def test_a_kerb_of_twelve_centimetres_stays(noise):
    """30 returns a square metre: at 0.4 m on either side as high as it is, and the step within that."""
    xyz = noisy(30, lambda x, y: 0.02 * y + 0.12 * (x > 10), noise)
    ground = surveyed(xyz, lattice_over((0, 0, 20, 20), 0.1), 3.0).ground
    y = np.arange(2.0, 18.0, 0.1)
    low, high = (ground.height_at(np.full(y.size, x), y) - 0.02 * y for x in (9.6, 10.4))
    assert np.median(low) == pytest.approx(0.0, abs=0.01)
    assert np.median(high) == pytest.approx(0.12, abs=0.01)
    assert np.percentile(high - low, 5) > 0.09


@pytest.mark.parametrize("density", [4, 10, 30])
def test_a_bank_stays(density):
    """1.3 m high, up to 70 % steep: no farther off than the returns themselves have it."""

    def bank(x, y):
        return 1.3 / (1 + np.exp(-(x - 10) / 0.45)) + 0.05 * y

    xyz = noisy(density, bank, 0.03)
    on_bank = np.abs(xyz[:, 0] - 10) < 2
    before, after = xyz[:, 2] - bank(*xyz[:, :2].T), levelled(xyz)[:, 2] - bank(*xyz[:, :2].T)
    assert np.sqrt((after[on_bank] ** 2).mean()) < np.sqrt((before[on_bank] ** 2).mean()) * 1.05
    assert np.abs(after[on_bank]).max() < 0.15


def test_heights_beside_a_wide_gap_are_those_of_the_plane_on_this_side():
    """On a plane they are exact; a bank across the gap, 2 m higher, has no say."""
    xyz = on(strewn(4000, 20.0), lambda x, y: 0.3 * x + 0.1 * y + 2.0 * (x > 12))
    xyz = xyz[(xyz[:, 0] < 7) | (xyz[:, 0] > 12)]
    ground = surveyed(xyz, lattice_over((0, 0, 20, 20), 0.1), 3.0).ground
    y = np.arange(1.0, 19.0, 0.1)
    for x in (7.05, 7.15):
        z = ground.height_at(np.full(y.size, x), y)
        told = np.isfinite(z)
        assert told.mean() > 0.8
        np.testing.assert_allclose(z[told], (0.3 * x + 0.1 * y)[told], atol=1e-6)


def test_places_that_too_few_points_tell_of_keep_their_heights():
    """Fewer than two dozen, or all on one line, span no plane."""
    x, y, before = np.array([1.0, 2.0]), np.array([1.0, 3.0]), np.array([7.0, 8.0])
    few = on(strewn(20, 5.0), lambda x, y: x)
    line = np.column_stack([np.arange(40.0), np.arange(40.0), np.zeros(40)])
    for xyz in (few, line):
        np.testing.assert_array_equal(_on_planes(xyz, np.ones(len(xyz)), 0.0, x, y, before), before)
    many = on(strewn(60, 5.0), lambda x, y: 0.5 * x - y)
    np.testing.assert_allclose(
        _on_planes(many, np.ones(len(many)), 0.0, x, y, before), 0.5 * x - y, atol=1e-9
    )

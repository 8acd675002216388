"""How errors spread verdicts, against closed forms on planes, a plain twin, and published findings.

On a plane of slope s the lower layer lands at d = h / (tan p + s) (plain mathematics). Its derivatives
say how far the edge of the held ground moves: dd/dh = 1 / (tan p + s), dd/dp = -h sec2 p / (tan p + s)2;
with normal errors of the height or of the tilt the chance that a cell is held is a normal distribution
function of its distance.
"""

import math
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from scipy.special import ndtr
from shapes import judged, plane, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Ground
from terrain3d.uncertainty.error_field import ErrorSizes, draw_field, field_law
from terrain3d.uncertainty.monte_carlo import run_monte_carlo
from terrain3d.uncertainty.moved_site import moved

KIND = load_type("one-head-90", Path())
TABLE = head_table(KIND)
RISE, HEIGHT_M, FIGURE_M = 0.1, 1.0, 1.7
TAN_P = 1.0 / 12.0
CELL_M = 0.1


def strip(rise: float) -> Ground:
    """A plane that rises to the north, as a strip a metre wide; a column of centres lies at x = 0."""
    y = CELL_M * np.arange(-5, 130)
    return Ground(-5 * CELL_M, -5 * CELL_M, CELL_M, np.repeat(rise * y[:, None], 11, axis=1))


def chance_ahead(error_sizes: ErrorSizes, draws: int, rise: float = RISE) -> tuple[np.ndarray, np.ndarray]:
    """Distance of the cells due north of a unit that faces north uphill, and their chances."""
    site = terrain(strip(rise))
    one = unit(KIND, HEIGHT_M, 0.0)
    option = judged(site, one, figure_height_m=FIGURE_M, name="pole")
    uncertainty = run_monte_carlo(site, (option,), FIGURE_M, error_sizes, draws, seed=3)
    column = np.argmin(np.abs(site.ground.xs))
    ahead = site.ground.ys > 0.35
    return site.ground.ys[ahead], uncertainty.options[0].chance[ahead, column].astype(float)


def assert_like(chance: np.ndarray, model: np.ndarray, draws: int, slack: float) -> None:
    """Each cell within four standard errors of a count of draws, and what the model leaves out."""
    error = np.sqrt(np.maximum(model * (1 - model), 1 / draws) / draws)
    assert np.all(np.abs(chance - model) <= 4 * error + slack)


def edge_spread(distance: np.ndarray, chance: np.ndarray) -> float:
    """Half the way from the distance held in 84 % of the draws to that held in 16 %: one sigma."""
    falling = np.minimum.accumulate(chance)
    near, far = np.interp([-ndtr(1.0), -ndtr(-1.0)], -falling, distance)
    return (far - near) / 2


@pytest.mark.parametrize("rise", [0.05, 0.1, 0.2])
def test_errors_of_height_spread_the_edge_as_its_derivative_says(rise):
    """Only the height is off: sigma of the landing distance is sigma_h / (tan p + s)."""
    sigma_m, draws = 0.08, 400
    distance, chance = chance_ahead(ErrorSizes(0.0, 1.0, sigma_m, 0.0, 0.0), draws, rise)
    # Uphill a person is in the upper layer wherever the lower one has not landed.
    model = ndtr((HEIGHT_M - distance * (TAN_P + rise)) / sigma_m)
    # The band's middle is 0.7 per mille of a distance off its axis: 4 mm, a twentieth of sigma.
    assert_like(chance, model, draws, 0.02)
    # A quantile of 400 normal draws is known to some 7 % of sigma; the cells are a tenth of a metre.
    assert edge_spread(distance, chance) == pytest.approx(sigma_m / (TAN_P + rise), rel=0.2)


def test_errors_of_tilt_spread_the_edge_as_its_derivative_says():
    """Only tilt (and roll, which straight ahead does nothing) is off: sigma_p h sec2 p / (tan p + s)2."""
    sigma_deg, draws = 0.8, 400
    distance, chance = chance_ahead(ErrorSizes(0.0, 1.0, 0.0, 0.0, sigma_deg), draws)
    p = math.atan(TAN_P)
    # Nose up by more than p the lower layer passes over nobody here: the upper one lands beyond it.
    lands = np.degrees(np.arctan(HEIGHT_M / distance - RISE) - p)
    assert_like(chance, ndtr(lands / sigma_deg), draws, 0.03)
    derivative = HEIGHT_M / math.cos(p) ** 2 / (TAN_P + RISE) ** 2
    # Second order: over one sigma the derivative itself changes by a sixth.
    assert edge_spread(distance, chance) == pytest.approx(math.radians(sigma_deg) * derivative, rel=0.25)


def test_errors_of_the_ground_spread_the_edge_like_a_plain_twin():
    """Only the ground is off: a twin in one dimension, its fields from a Cholesky factor, sees the same.

    The twin walks the line due north node by node: a layer is broken where half of its band lies between
    what the nodes before leave visible and the figure's head.
    """
    sigma_m, length_m, draws = 0.06, 3.0, 500
    distance, chance = chance_ahead(ErrorSizes(sigma_m, length_m, 0.0, 0.0, 0.0), draws)
    nodes = 0.1 * np.arange(0, round(distance[-1] / 0.1) + 1)
    covariance = np.exp(-np.abs(nodes[:, None] - nodes) / length_m)
    factor = np.linalg.cholesky(covariance + 1e-10 * np.eye(len(nodes)))
    errors = sigma_m * np.random.default_rng(11).standard_normal((draws, len(nodes))) @ factor.T
    foot = (errors[:, 1:] + RISE * nodes[1:]) - (errors[:, :1] + HEIGHT_M)
    steepest = np.maximum.accumulate(foot / nodes[1:], axis=1)
    lowest = steepest * nodes[1:]
    held = np.ones(foot.shape, bool)
    for elevation in (0.0, -math.degrees(math.atan(TAN_P))):
        low, high = (np.tan(np.radians(elevation + half)) * nodes[1:] for half in (-1.5, 1.5))
        filled = np.minimum(high, foot + FIGURE_M) - np.maximum(low, lowest)
        held &= filled >= 0.5 * (high - low)
    twin = held.mean(axis=0)[-len(distance) :]
    # Both are counts of draws: the errors of two of them.
    assert_like(chance, twin, draws / 2, 0.01)
    # And at the edge the plain law of two heights: the unit's foot and the cell's, alike by exp(-d / L).
    apart = sigma_m * np.sqrt(2 * (1 - np.exp(-distance / length_m)))
    law = ndtr((HEIGHT_M - distance * (TAN_P + RISE)) / apart)
    # Ground that is rough on the way only ever hides: by some cells, not by metres.
    assert np.all(chance <= law + 4 * np.sqrt(0.25 / draws))
    assert abs(np.sum(chance - law)) * 0.1 < 0.35


@pytest.mark.parametrize("by_m", [-2.0, 0.3])
def test_a_shift_of_the_whole_plane_changes_nothing(by_m):
    """The survey's datum is off: no verdict changes."""
    site = terrain(strip(RISE))
    after = moved(site, np.full(site.ground.z.shape, by_m))
    one = unit(KIND, HEIGHT_M, 0.0)
    maps = [
        verdict_codes(
            panorama(s, (0.0, 0.0, z + HEIGHT_M), 12.0), TABLE, 0, 0, 0, 12.0, FIGURE_M, one.fill_needed
        )
        for s, z in ((site, 0.0), (after, by_m))
    ]
    assert np.mean(maps[0] != maps[1]) < 1e-4  # a cell at the brink may fall to either side by rounding


@pytest.mark.parametrize("tilt", [-0.03, 0.05])
def test_a_tilt_of_the_whole_plane_is_another_plane(tilt):
    """The survey leans: the edge lands at h / (tan p + s + lean), to the cell."""
    site = terrain(strip(RISE))
    _, y = np.meshgrid(site.ground.xs, site.ground.ys)
    after = moved(site, tilt * y)
    one = unit(KIND, HEIGHT_M, 0.0)
    seen = panorama(after, one.eye, 12.0)
    codes = verdict_codes(seen, TABLE, 0, 0, 0, 12.0, FIGURE_M, one.fill_needed)
    ahead = (np.abs(seen.east) < 1e-9) & (seen.north > 0)
    edge = seen.distance[ahead & (codes == 4)].max()
    assert edge == pytest.approx(HEIGHT_M / (TAN_P + RISE + tilt), abs=0.11)


@pytest.mark.parametrize("length_m", [1.0, 300.0])
def test_one_viewshed_overstates_what_is_seen(length_m):
    """Errors of the published RMSE make the area seen smaller, on real elevation data.

    Source: P. Fisher 1991, First experiments in viewshed uncertainty, PE&RS 57 (abstract read): repeated
    error fields are added to the elevation model, and the area of the viewshed calculated in the original
    may significantly overestimate it. Data: the Jacksboro fault grid that matplotlib ships, its cells
    taken as 90 m; RMSE 7 m, that of the survey he used (from memory). "May" is taken as most of
    the viewpoints.
    """
    sample = Path(matplotlib.__file__).parent / "mpl-data" / "sample_data" / "jacksboro_fault_dem.npz"
    z = np.flipud(np.load(sample)["elevation"].astype(float))
    law = None
    fewer = []
    for row, column in ((100, 200), (250, 100), (60, 60), (170, 300), (280, 340)):
        part = z[row - 40 : row + 41, column - 40 : column + 41].copy()
        site = terrain(Ground(-3600.0, -3600.0, 90.0, part))
        law = law or field_law(site.ground, 7.0, length_m)

        def seen_cells(on):
            foot = float(on.ground.height_at(0.0, 0.0))
            view = panorama(on, (0.0, 0.0, foot + 2.0), 3000.0)
            return np.count_nonzero(view.lowest <= view.foot + 1e-9)

        runs = [seen_cells(moved(site, draw_field(law, np.random.default_rng(k)))) for k in range(30)]
        fewer.append(np.mean(runs) < seen_cells(site))
    assert sum(fewer) >= 4


def test_the_chance_is_the_mean_of_binary_runs():
    """Fisher's probable viewshed: each run is yes or no, and the map is their mean."""
    site = terrain(plane(RISE, 0, cell_m=0.5, extent_m=20.5))
    one = unit(KIND, HEIGHT_M, 0.0)
    option = judged(site, one, figure_height_m=FIGURE_M, name="pole")
    error_sizes = ErrorSizes(0.1, 5.0, 0.05, 3.0, 1.5)
    # The first draws of a seed are the same however many follow: their differences are single runs.
    sums = [np.zeros(site.ground.z.shape)]
    for n in range(1, 9):
        chance = run_monte_carlo(site, (option,), FIGURE_M, error_sizes, n, seed=5).options[0].chance
        sums.append(np.round(chance * n))
        run = sums[-1] - sums[-2]
        assert set(np.unique(run)) <= {0.0, 1.0}
    np.testing.assert_allclose(chance, sums[-1] / 8)
    assert np.count_nonzero((chance > 0) & (chance < 1)) > 0

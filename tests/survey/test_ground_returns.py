"""How densely a survey tells of the ground: returns counted about each cell, and kept with the terrain."""

from dataclasses import replace

import numpy as np
import pytest
from affine import Affine
from made_files import write_las, write_tif

from terrain3d.cover.areas import RETURN_STEPS, measured_by, return_steps
from terrain3d.site import Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.lattice import lattice_over
from terrain3d.survey.surface import ground_returns
from terrain3d.terrain import Ground, Returns, terrain_from_heights

EAST, NORTH = 500_000.0, 6_000_000.0
AT = np.array([EAST, NORTH, 0.0])


def cloud(spacing_west, spacing_east, half_m=12.0):
    """Ground points on a square grid, finer west of the middle or east of it; a plane of 10 %."""
    parts = []
    for spacing, low, high in ((spacing_west, -half_m, 0.0), (spacing_east, 0.0, half_m)):
        x, y = np.meshgrid(
            np.arange(low + spacing / 2, high, spacing), np.arange(-half_m + spacing / 2, half_m, spacing)
        )
        parts.append(np.column_stack([x.ravel(), y.ravel()]))
    x, y = np.vstack(parts).T
    return np.column_stack([x, y, 100 + 0.1 * x])


def terrain_of(folder, file, **ground):
    site = Site.model_validate(
        {
            "site": {"name": "slope", "cell": 0.25, "crs": "EPSG:32631"},
            "ground": {"file": file, "vertical_unit": "m", **ground},
            "mount": [{"name": "pole", "at": (EAST, NORTH)}],
        }
    )
    return build_terrain(site, folder, 5.0)


@pytest.fixture
def two_halves(tmp_path):
    """25 ground returns a square metre in the west, one in the east, read as a user's file."""
    write_las(tmp_path / "survey.las", cloud(0.2, 1.0) + AT)
    return terrain_of(tmp_path, "survey.las")


def test_returns_are_those_of_the_file(two_halves):
    """Away from where the halves meet each cell has the density that was written, within a row of points."""
    ground, returns = two_halves.ground, two_halves.returns
    assert returns.per_m2.shape == ground.z.shape
    x = ground.xs
    west = returns.per_m2[:, x < -returns.square_m]
    east = returns.per_m2[:, x > returns.square_m]
    assert west.mean() == pytest.approx(25, rel=0.02)
    assert east.mean() == pytest.approx(1, rel=0.1)
    row = 1 / (0.2 * returns.square_m)
    assert np.abs(west - 25).max() <= 25 * 2.2 * row / 5
    # At the edge of the grid what lies beyond it counts: nothing falls off there.
    assert west[[0, -1]].mean() == pytest.approx(25, rel=0.1)


def test_no_return_is_lost_or_counted_twice():
    """The counts about cells a square apart add up to the points themselves."""
    rng = np.random.default_rng(5)
    xyz = np.column_stack([*rng.uniform(0, 20, (2, 3000)), np.zeros(3000)])
    per_m2, square_m = ground_returns(xyz, lattice_over((0, 0, 21, 21), 1.0), 0.9)
    assert square_m == 1.0 or square_m == 3.0
    side = round(square_m)
    whole = per_m2[side // 2 :: side, side // 2 :: side][: 21 // side, : 21 // side]
    assert whole.sum() * square_m**2 == pytest.approx(3000)


def test_few_returns_are_counted_over_more_ground():
    """With a point every 2 m a square metre would hold one or none; what is counted over holds several."""
    x, y = np.meshgrid(np.arange(1.0, 60, 2), np.arange(1.0, 60, 2))
    xyz = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    per_m2, square_m = ground_returns(xyz, lattice_over((20, 20, 40, 40), 0.5), 2.0)
    assert square_m >= 4.0
    assert per_m2.min() > 0
    assert per_m2.mean() == pytest.approx(0.25, rel=0.1)


def test_grids_meshes_and_drawn_ground_have_none(tmp_path):
    """Nobody counted returns of a grid, or of what is drawn."""
    write_tif(tmp_path / "dtm.tif", np.full((80, 80), 100.0), Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    assert terrain_of(tmp_path, "dtm.tif").returns is None
    drawn = Site.model_validate(
        {
            "site": {"name": "slope"},
            "ground": {"plane": {"fall": 10, "towards": 90, "extent": 40}},
            "mount": [{"name": "pole", "at": (3.0, 0.0)}],
        }
    )
    assert build_terrain(drawn, tmp_path, 12.0).returns is None


def test_leaves_that_are_a_guess_are_placed(tmp_path):
    """Under a canopy that few pulses came through leaves are a guess, on open ground nothing is."""
    rng = np.random.default_rng(2)
    ground = cloud(0.25, 0.25)
    under = (np.abs(ground[:, 0] - 3) < 2) & (np.abs(ground[:, 1]) < 2)
    leaves = ground[under] + np.column_stack([np.zeros((under.sum(), 2)), rng.uniform(0.4, 3.0, under.sum())])
    seen = ~under | (rng.random(len(ground)) < 0.05)
    xyz = np.vstack([ground[seen], leaves]) + AT
    classes = np.repeat([2, 5], [seen.sum(), len(leaves)])
    write_las(tmp_path / "survey.las", xyz, classes=classes)
    terrain = terrain_of(tmp_path, "survey.las")
    x, y = np.meshgrid(terrain.ground.xs, terrain.ground.ys)
    open_ground = (np.abs(x - 3) > 3) | (np.abs(y) > 3)
    assert not terrain.returns.leaves_guessed[open_ground].any()
    below = terrain.returns.per_m2[(np.abs(x - 3) < 1) & (np.abs(y) < 1)]
    assert below.mean() < 0.3 * terrain.returns.per_m2[open_ground].mean()


def test_areas_are_counted_by_steps(two_halves):
    """The steps take in all measured ground once; bridged and unknown ground is in none."""
    found = measured_by(two_halves)
    ground = two_halves.ground
    own = ground.known & ~ground.filled
    assert sum(found.area_m2) == pytest.approx(own.sum() * ground.cell_m**2)
    for step, m2 in enumerate(found.area_m2):
        low, high = (0.0, *RETURN_STEPS, np.inf)[step : step + 2]
        here = own & (two_halves.returns.per_m2 >= low) & (two_halves.returns.per_m2 < high)
        assert m2 == pytest.approx(here.sum() * ground.cell_m**2)
    bridged = replace(ground, filled=np.ones_like(ground.filled))
    assert measured_by(replace(two_halves, ground=bridged)) is None
    assert measured_by(terrain_from_heights(np.zeros((4, 4)), 1.0)) is None


def test_half_of_the_ground_has_the_median():
    """Three cells of ten returns a square metre and one of one: ten."""
    z = np.zeros((2, 2))
    terrain = replace(
        terrain_from_heights(z, 1.0),
        ground=Ground(0.0, 0.0, 1.0, z),
        returns=Returns(
            np.array([[10, 10], [10, 1]], np.float32), 1.0, np.array([[True, False], [False] * 2])
        ),
    )
    assert measured_by(terrain).median_per_m2 == 10
    assert measured_by(terrain).guessed_m2 == 1.0
    assert return_steps(np.array([0.49, 2.0])).tolist() == [0, 2]

"""The coarse ground: near the measured one everywhere, with what lies on it in its place; leaves too."""

import numpy as np
import pytest
import pyvista as pv
from matplotlib.tri import LinearTriInterpolator, Triangulation
from scenes import slope_outcome

from terrain3d.show.extent import site_extent
from terrain3d.show.live.coarse import OFF_M, coarse_leaves, coarse_surface
from terrain3d.show.parts import ground_parts


@pytest.fixture(scope="module")
def ground():
    """The drawn ground of the invented slope."""
    outcome = slope_outcome()
    terrain = outcome.terrain
    parts = ground_parts(terrain, outcome.options[0], site_extent(outcome))
    return parts[0].mesh


def test_it_lies_near_every_measured_point(ground):
    """Between its corners, as another library interpolates them, no node is farther off than is said."""
    coarse = coarse_surface(ground)
    x, y, z = np.asarray(coarse.points, float).T
    between = LinearTriInterpolator(Triangulation(x, y, coarse.regular_faces), z)
    px, py, pz = np.asarray(ground.points, float).T
    off = np.abs(np.ma.filled(between(px, py), np.nan) - pz)
    assert np.isfinite(off).all()
    # The outermost nodes stand half a cell farther out than the grid that is thinned.
    inner = (px > px.min()) & (px < px.max()) & (py > py.min()) & (py < py.max())
    assert (off[inner] > OFF_M + 0.005).mean() < 1e-3
    assert off[inner].max() < 1.3 * OFF_M
    assert coarse.n_cells < 0.25 * 2 * ground.n_cells


def test_pictures_and_light_on_it_lie_where_they_lay(ground):
    """Every corner keeps its place on the drape and its normal."""
    coarse = coarse_surface(ground)
    place = {tuple(p): k for k, p in enumerate(np.asarray(ground.points).tolist())}
    kept = [place[tuple(p)] for p in np.asarray(coarse.points).tolist()]
    assert np.array_equal(
        coarse.active_texture_coordinates, np.asarray(ground.active_texture_coordinates)[kept]
    )
    assert np.array_equal(coarse.point_data.active_normals, ground.point_data.active_normals[kept])


def test_a_bank_keeps_its_edges():
    """A step across level ground is kept to within what is said, not smoothed away."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(41.0), np.arange(21.0)))
    step = pv.PolyData(np.column_stack([x, y, np.where(x < 20, 0.0, 2.0)]))
    coarse = coarse_surface(step)
    heights = np.unique(np.asarray(coarse.points)[:, 2])
    assert heights.tolist() == [0.0, 2.0]
    edge = np.asarray(coarse.points)[:, 0]
    assert {19.0, 20.0} <= set(edge.tolist())
    assert coarse.n_cells < 200


def test_leaves_with_few_faces_fill_what_they_filled():
    """A ball of leaves and a hedge thinner than a cube keep their size: 4/3 pi r3, and length by height."""
    ball = pv.Sphere(radius=1.5, center=(3.0, -2.0, 5.0), theta_resolution=80, phi_resolution=80)
    few = coarse_leaves(ball)
    assert few.n_cells < ball.n_cells / 10
    assert few.volume == pytest.approx(4 / 3 * np.pi * 1.5**3, rel=0.05)
    hedge = pv.Box((0.0, 8.0, 0.0, 0.3, 0.0, 1.4), level=20).triangulate()
    few = coarse_leaves(hedge)
    assert 0 < few.n_cells < hedge.n_cells / 4
    assert np.reshape(few.bounds, (3, 2)) == pytest.approx(np.reshape(hedge.bounds, (3, 2)), abs=0.2)
    # Seen from the side, leaves stand all along it: each metre of it has corners high and low.
    along, up = np.asarray(few.points)[:, 0], np.asarray(few.points)[:, 2]
    filled, _, _ = np.histogram2d(along, up, bins=(8, 2), range=((0, 8), (0, 1.4)))
    assert (filled > 0).all()
    bush = pv.Sphere(radius=0.05)
    assert coarse_leaves(bush) is bush

"""Elevation grids and meshes: sampled exactly, gaps and undersides as they are."""

import affine
import numpy as np
import pyproj
import pytest
import trimesh

from terrain3d.errors import InputError
from terrain3d.frame import site_frame
from terrain3d.readers.source import Raster
from terrain3d.survey.classes import Treatment
from terrain3d.survey.lattice import lattice_over
from terrain3d.survey.sheets import from_mesh, from_raster

LOCAL = site_frame(None, 0, 0)


def raster(z_of, size_m=1.0, n=40, **crs) -> Raster:
    """North-up, its south-west corner at (0, 0)."""
    x = size_m * (np.arange(n) + 0.5)
    z = z_of(*np.meshgrid(x, x[::-1]))
    return Raster(z, affine.Affine(size_m, 0, 0, 0, -size_m, n * size_m), crs.get("crs"))


def slope(x, y):
    return 0.3 * x - 0.1 * y + 5


def test_a_raster_of_a_plane_gives_the_plane():
    """Cell centres hold the heights, and bilinear keeps a plane: exact."""
    relief = from_raster(raster(slope), LOCAL, lattice_over((1, 1, 39, 39), 0.25), 3.0)
    x, y = np.meshgrid(relief.ground.xs, relief.ground.ys)
    np.testing.assert_allclose(relief.ground.z, slope(x, y), atol=1e-9)
    assert not relief.ground.filled.any()
    assert relief.spacing_m == pytest.approx(1.0)


def test_small_gaps_of_a_raster_are_bridged_and_marked_wide_ones_stay():
    """A gap of 2 cells is the plane again and marked; one of 8 is NaN, with the limit at 3 m."""

    def gappy(x, y):
        z = slope(x, y)
        z[(np.abs(x - 10) < 1) & (np.abs(y - 10) < 1)] = np.nan
        z[(np.abs(x - 25) < 4) & (np.abs(y - 25) < 4)] = np.nan
        return z

    relief = from_raster(raster(gappy), LOCAL, lattice_over((1, 1, 39, 39), 0.25), 3.0)
    ground = relief.ground
    assert ground.height_at([10.0], [10.0])[0] == pytest.approx(slope(10, 10))
    assert ground.filled[35, 35]
    assert np.isnan(ground.height_at([25.0], [25.0])[0])
    assert relief.foot_at([25.0], [25.0])[0] == pytest.approx(slope(25, 25))
    assert not ground.known[70:120, 70:120][26, 26]
    assert ground.known[0:30].all()


def test_nothing_is_known_off_the_raster():
    """Beyond the outer cells there is no ground."""
    ground = from_raster(raster(slope), LOCAL, lattice_over((-5, 1, 20, 20), 0.25), 3.0).ground
    assert not ground.known[:, :20].any()
    assert ground.known[:, 21:].all()


def test_a_raster_in_feet_and_one_in_metres_agree():
    """One hill in EPSG:26967 (metres) and EPSG:2240 (US survey feet), one zone: equal heights."""
    metres, feet = pyproj.CRS("EPSG:26967"), pyproj.CRS("EPSG:2240")
    turn = pyproj.Transformer.from_crs(metres, feet, always_xy=True)
    east, north = 700_000.0, 400_000.0
    frame = site_frame(metres, east + 20, north + 20)

    def at(crs, unit):
        x0, y0 = (east, north) if crs is metres else turn.transform(east, north)
        size = 1.0 / unit
        return Raster(raster(slope).z, affine.Affine(size, 0, x0, 0, -size, y0 + 40 * size), crs)

    lattice = lattice_over((-15, -15, 15, 15), 0.5)
    one = from_raster(at(metres, 1.0), frame, lattice, 3.0)
    two = from_raster(at(feet, 1200 / 3937), frame, lattice, 3.0)
    np.testing.assert_allclose(one.ground.z, two.ground.z, atol=1e-5)
    assert two.spacing_m == pytest.approx(1.0, rel=1e-3)


def terrain_mesh(z_of, size=30.0, n=31):
    axis = np.linspace(0, size, n)
    x, y = (a.ravel() for a in np.meshgrid(axis, axis))
    i = np.arange((n - 1) ** 2) + np.arange((n - 1) ** 2) // (n - 1)
    quads = np.column_stack([i, i + 1, i + n + 1, i + n])
    return np.column_stack([x, y, z_of(x, y)]), np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def joined(*parts):
    vertices, triangles, n = [], [], 0
    for v, t in parts:
        vertices.append(np.asarray(v))
        triangles.append(np.asarray(t) + n)
        n += len(v)
    return np.vstack(vertices), np.vstack(triangles).astype(np.int64)


def box(low, high):
    made = trimesh.creation.box(bounds=[low, high])
    return made.vertices, made.faces


LATTICE = lattice_over((1, 1, 29, 29), 0.25)


@pytest.mark.parametrize("flipped", [False, True])
def test_a_mesh_of_a_plane_gives_the_plane(flipped):
    """Whichever way its triangles are wound; nothing stands on it."""
    vertices, triangles = terrain_mesh(lambda x, y: slope(x, y) + 3000)
    triangles = triangles[:, ::-1] if flipped else triangles
    relief, solids, _ = from_mesh(vertices, triangles, LATTICE, 3.0)
    x, y = np.meshgrid(relief.ground.xs, relief.ground.ys)
    assert relief.ground.known.mean() > 0.99
    known = relief.ground.known
    np.testing.assert_allclose(relief.ground.z[known], (slope(x, y) + 3000)[known], atol=1e-3)
    assert solids.names == ()


def test_a_box_on_a_mesh_becomes_a_solid_with_its_own_triangles_and_ground_beneath():
    """A raised deck: 12 triangles as they were, and the ground under it known."""
    vertices, triangles = joined(terrain_mesh(slope), box((10, 10, 10), (14, 13, 10.2)))
    relief, solids, doubts = from_mesh(vertices, triangles, LATTICE, 3.0)
    assert len(solids.triangles) == 12
    assert trimesh.Trimesh(solids.vertices, solids.triangles).volume == pytest.approx(4 * 3 * 0.2)
    assert relief.ground.height_at([12.0], [11.5])[0] == pytest.approx(slope(12, 11.5), abs=1e-3)
    assert any("taken as solid" in doubt for doubt in doubts)
    outline = np.array([[9.0, 9], [15, 9], [15, 14], [9, 14]])
    _, without, _ = from_mesh(vertices, triangles, LATTICE, 3.0, [Treatment(outline, "nothing")])
    assert without.names == ()


def test_the_floor_of_a_closed_mesh_is_not_its_ground():
    """A terrain printed as a closed block: ground is its top, not its underside."""
    vertices, triangles = joined(
        terrain_mesh(slope), (terrain_mesh(slope)[0] - [0, 0, 8], terrain_mesh(slope)[1][:, ::-1])
    )
    relief, _, _ = from_mesh(vertices, triangles, LATTICE, 3.0)
    assert relief.ground.height_at([15.0], [15.0])[0] == pytest.approx(slope(15, 15), abs=1e-3)


def test_a_mesh_cannot_be_foliage():
    """The message says why and what to draw."""
    vertices, triangles = terrain_mesh(slope)
    with pytest.raises(InputError, match=r"no returns(.|\n)*draw \[\[foliage\]\]"):
        from_mesh(vertices, triangles, LATTICE, 3.0, [Treatment(np.eye(3, 2), "foliage")])

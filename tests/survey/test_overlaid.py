"""A grid of the highest things over one of bare ground: what stands there, and what does not fit."""

from pathlib import Path

import numpy as np
import pyproj
import pytest
from affine import Affine
from made_files import UTM31, write_las, write_tif

from terrain3d.errors import InputError
from terrain3d.readers.tiles import found_files
from terrain3d.site import Site
from terrain3d.survey.build import build_surroundings, build_terrain

EAST, NORTH = 500_000.0, 6_000_000.0


def grids(folder: Path, step: float = 0.5, half: float = 20.0) -> tuple[np.ndarray, np.ndarray]:
    """Bare ground that rises 1 in 10 eastward, and the same with a flat roof of 8 x 6 m, 5 m up, over it."""
    n = round(2 * half / step)
    middles = (np.arange(n) + 0.5) * step - half
    x, y = np.meshgrid(middles, middles[::-1])
    ground = 100 + 0.1 * x
    surface = np.where((np.abs(x - 6) < 4) & (np.abs(y) < 3), 105.6, ground)
    for name, z in (("dtm", ground), ("dsm", surface)):
        write_tif(folder / f"{name}.tif", z, Affine(step, 0, EAST - half, 0, -step, NORTH + half))
    return ground, surface


def site(**ground: object) -> Site:
    return Site.model_validate(
        {
            "site": {"name": "s", "crs": UTM31, "cell": 0.25},
            "ground": {"file": "dtm.tif", "surface": "dsm.tif"} | ground,
            "mount": [{"name": "pole", "at": (EAST - 3, NORTH - 1)}],
        }
    )


def test_a_house_stands_between_the_two(tmp_path: Path) -> None:
    """Its roof at 105.6 m over 8 x 6 m, its ground and all else bare."""
    grids(tmp_path)
    bare = build_terrain(site(surface=None), tmp_path, 12.0)
    over = build_terrain(site(), tmp_path, 12.0)
    np.testing.assert_array_equal(over.ground.z, bare.ground.z)
    assert bare.solids.names == ()
    (_house,) = over.solids.names
    corners = over.solids.vertices
    assert corners[:, 2].max() == pytest.approx(105.6, abs=0.05)
    assert np.ptp(corners[:, 0]) == pytest.approx(8, abs=1.0)
    assert np.ptp(corners[:, 1]) == pytest.approx(6, abs=1.0)
    assert not (over.foliage.column >= 0).any()
    assert any("one height a cell" in doubt for doubt in over.doubts)
    assert not any("covered" in doubt or "below its ground" in doubt for doubt in over.doubts)


def test_a_rough_crown_is_foliage(tmp_path: Path) -> None:
    """Heights that jump by metres from cell to cell are no roof: they are taken for leaves, as of a cloud."""
    ground, _ = grids(tmp_path)
    rng = np.random.default_rng(4)
    rough = ground.copy()
    rough[30:50, 45:65] += rng.uniform(1, 7, (20, 20))
    write_tif(tmp_path / "dsm.tif", rough, Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    over = build_terrain(site(), tmp_path, 12.0)
    assert (over.foliage.column >= 0).sum() > 500
    assert over.solids.names == ()


def test_a_surface_in_tiles_and_another_crs_is_turned(tmp_path: Path) -> None:
    """Two tiles in the zone beside: the same house, and a sentence."""
    grids(tmp_path)
    turn = pyproj.Transformer.from_crs(UTM31, "EPSG:32632", always_xy=True)
    x, y = np.meshgrid((np.arange(80) + 0.5) * 0.5 - 20, -((np.arange(80) + 0.5) * 0.5 - 20))
    u, v = turn.transform(EAST + x, NORTH + y)
    west, north = np.floor(u.min()) - 2, np.ceil(v.max()) + 2
    step, n = 0.5, 110
    back = pyproj.Transformer.from_crs("EPSG:32632", UTM31, always_xy=True)
    cu, cv = np.meshgrid(west + (np.arange(n) + 0.5) * step, north - (np.arange(n) + 0.5) * step)
    bx, by = back.transform(cu, cv)
    bx, by = bx - EAST, by - NORTH
    z = np.where((np.abs(bx - 6) < 4) & (np.abs(by) < 3), 105.6, 100 + 0.1 * bx)
    (tmp_path / "dsm").mkdir()
    for name, columns in (("a", slice(0, 55)), ("b", slice(55, 110))):
        write_tif(
            tmp_path / "dsm" / f"{name}.tif", z[:, columns],
            Affine(step, 0, west + columns.start * step, 0, -step, north), crs="EPSG:32632",
        )  # fmt: skip
    over = build_terrain(site(surface="dsm"), tmp_path, 12.0)
    assert over.solids.vertices[:, 2].max() == pytest.approx(105.6, abs=0.1)
    both = "the surface is in WGS 84 / UTM zone 32N, the ground in WGS 84 / UTM zone 31N"
    assert any(both in doubt for doubt in over.doubts)


def test_the_sun_is_hidden_by_the_surface(tmp_path: Path) -> None:
    """Past the ground worked on the far surface is that of the highest things."""
    grids(tmp_path, 1.0, 120.0)
    z = np.full((240, 240), 100.0)
    z[:, 200:] = 130.0
    write_tif(tmp_path / "dsm.tif", z, Affine(1, 0, EAST - 120, 0, -1, NORTH + 120))
    write_tif(tmp_path / "dtm.tif", np.full((240, 240), 100.0), Affine(1, 0, EAST - 120, 0, -1, NORTH + 120))
    near = build_terrain(site(), tmp_path, 6.0)
    wide = build_surroundings(site(), tmp_path, near, 30.0, to_the_sky=True)
    assert max(float(np.nanmax(ring.z)) for ring in wide.far) == pytest.approx(130.0, abs=0.5)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda z: z - 30.0, "the surface lies 30 m .median. below its ground over 1?[089]?[0-9]% of it"),
        (lambda z: z / 0.3048, "the surface lies 2[0-9]{2} m and more above its ground everywhere"),
        (lambda z: np.full_like(z, np.nan), "none of its cells there holds data"),
    ],
)
def test_a_surface_that_is_none_of_this_ground_is_refused(tmp_path: Path, change, words: str) -> None:
    """In other heights, in feet where metres are taken, or without any."""
    _, surface = grids(tmp_path)
    write_tif(tmp_path / "dsm.tif", change(surface), Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    with pytest.raises(InputError, match=words):
        build_terrain(site(), tmp_path, 12.0)


def test_a_surface_that_is_partly_off_or_below_is_told(tmp_path: Path) -> None:
    """A third of the ground without it; a pit of 1 m in a tenth of it."""
    _, surface = grids(tmp_path)
    write_tif(tmp_path / "dsm.tif", surface[:, :35], Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    doubts = build_terrain(site(), tmp_path, 12.0).doubts
    assert any(
        "of the ground has no surface over it: what stands there is not known" in doubt for doubt in doubts
    )
    pit = surface.copy()
    pit[35:45, 20:45] -= 1.0
    write_tif(tmp_path / "dsm.tif", pit, Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    doubts = build_terrain(site(), tmp_path, 12.0).doubts
    (doubt,) = (doubt for doubt in doubts if "the surface lies below its ground by more than 0.3 m" in doubt)
    assert "1 m at most" in doubt


def test_a_surface_that_nowhere_meets_its_ground_is_told(tmp_path: Path) -> None:
    """From another zero, 5 m off: all of it would stand as a thing."""
    _, surface = grids(tmp_path)
    write_tif(tmp_path / "dsm.tif", surface + 5.0, Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    doubts = build_terrain(site(), tmp_path, 12.0).doubts
    assert any("the surface lies 5 m and more above its ground everywhere" in doubt for doubt in doubts)


def test_grids_taken_for_each_other_are_told(tmp_path: Path) -> None:
    """A house of 4 m2 on 1600 m2 would be ground, and nothing stand: the surface is nowhere above it."""
    ground, _ = grids(tmp_path)
    surface = ground.copy()
    surface[30:34, 30:34] += 3.0
    for name, z in (("dtm.tif", surface), ("dsm.tif", ground)):
        write_tif(tmp_path / name, z, Affine(0.5, 0, EAST - 20, 0, -0.5, NORTH + 20))
    doubts = build_terrain(site(), tmp_path, 12.0).doubts
    assert any(
        "below its ground by more than 0.3 m over 0." in doubt and "3 m at most" in doubt for doubt in doubts
    )


def test_a_surface_goes_with_a_grid_alone(tmp_path: Path) -> None:
    """Beside points, as points, off the site, without a CRS beneath it."""
    grids(tmp_path)
    x, y = np.meshgrid(np.arange(-15, 15, 0.5), np.arange(-15, 15, 0.5))
    points = np.column_stack([x.ravel() + EAST, y.ravel() + NORTH, 100 + 0.1 * x.ravel()])
    write_las(tmp_path / "cloud.las", points)
    write_tif(tmp_path / "far.tif", np.full((9, 9), 5.0), Affine(1, 0, EAST + 900, 0, -1, NORTH))
    for ground, words in (
        ({"file": "cloud.las"}, "a surface goes with an elevation grid"),
        ({"surface": "cloud.las"}, "it is no elevation grid but LAS 1.4"),
        ({"surface": "far.tif"}, "it does not meet"),
        ({"surface": "none.tif"}, "there is no such file"),
    ):
        with pytest.raises(InputError, match=words):
            build_terrain(site(**ground), tmp_path, 12.0)
    with pytest.raises(ValueError, match="surface goes with file"):
        site(file=None, plane={"fall": 1, "towards": 0, "extent": 9})
    assert len(found_files("*.tif", tmp_path)) == 3

"""The surface past the ground worked on: heights, rings, what is left out, and every kind of survey."""

import math
from pathlib import Path

import numpy as np
import pyproj
import pytest
import trimesh
from affine import Affine
from made_files import UTM31, write_las, write_tif

from terrain3d.frame import site_frame
from terrain3d.readers.tiles import read_headers
from terrain3d.sight.hits import ground_distances
from terrain3d.site import GroundSource
from terrain3d.survey.far import far_surface

EAST, NORTH = 500_300.0, 6_000_300.0
CORE = (-40.0, -40.0, 40.0, 40.0)
FRAME = site_frame(pyproj.CRS(UTM31), EAST, NORTH)


def ridged(x, y):
    """A ridge of 30 m, crest 150 m to the north, on a plain that rises 2 % to the east."""
    return 0.02 * x + np.maximum(30.0 - 0.8 * np.abs(y - 150.0), 0.0)


def survey(folder: Path, kind: str, heights=ridged, half: float = 300.0, step: float = 1.0) -> Path:
    """The same land as points, text, a grid or a mesh, in UTM."""
    axis = np.arange(-half, half + step / 2, step)
    x, y = np.meshgrid(axis, axis)
    z = 100.0 + heights(x, y)
    if kind == "tif":
        at = Affine(step, 0, EAST - half - step / 2, 0, -step, NORTH + half + step / 2)
        return write_tif(folder / "land.tif", z[::-1], at, tiled=True)
    points = np.column_stack([EAST + x.ravel(), NORTH + y.ravel(), z.ravel()])
    if kind == "csv":
        np.savetxt(folder / "land.csv", points, "%.3f", delimiter=",", header="x,y,z", comments="")
        return folder / "land.csv"
    if kind == "ply":
        n = len(axis)
        corner = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
        faces = np.concatenate(
            [
                np.column_stack([corner, corner + 1, corner + n + 1]),
                np.column_stack([corner, corner + n + 1, corner + n]),
            ]
        )
        points -= [EAST, NORTH, 0.0]
        trimesh.Trimesh(points, faces, process=False).export(folder / "land.ply")
        return folder / "land.ply"
    return write_las(folder / f"land.{kind}", points)


def rings_of(path: Path, look_m: float = 36.0, core=CORE, half: float = 300.0, **ground):
    survey = read_headers(path.name, GroundSource(file=path.name, **ground), path.parent)
    frame = FRAME if survey.header.crs is not None else site_frame(None, 0.0, 0.0)
    return far_surface(survey, frame, core, (-4, -4, 4, 4), (-half, -half, half, half), look_m)


def horizon_deg(rings, azimuth_deg: float, eye=(0.0, 0.0, 101.0)) -> float:
    """The lowest elevation that no ring hides, by halves."""
    low, high = -10.0, 60.0
    a = math.radians(azimuth_deg)
    while high - low > 1e-4:
        e = math.radians((low + high) / 2)
        ray = np.array([[math.cos(e) * math.sin(a), math.cos(e) * math.cos(a), math.sin(e)]])
        is_hidden = any(np.isfinite(ground_distances(ring, eye, ray, 2000.0)).any() for ring in rings)
        low, high = ((low + high) / 2, high) if is_hidden else (low, (low + high) / 2)
    return high


@pytest.mark.parametrize("kind", ["las", "laz", "csv", "tif", "ply"])
def test_a_ridge_stands_as_high_as_it_is_in_every_kind_of_survey(tmp_path, kind):
    """To the north the crest is 30 m up and 150 m off, seen from 1 m: atan(29 / 150), to 0.3 degrees."""
    extra = {"crs": UTM31} if kind == "csv" else {}
    rings = rings_of(survey(tmp_path, kind), **extra)
    assert len(rings) >= 2
    cells = [ring.cell_m for ring in rings]
    assert cells == sorted(cells)
    assert cells[0] < cells[-1]
    for azimuth_deg in (-30.0, 0.0, 20.0):
        away_m = 150.0 / math.cos(math.radians(azimuth_deg))
        rise = 0.02 * away_m * math.sin(math.radians(azimuth_deg))
        meant = math.degrees(math.atan((29.0 + rise) / away_m))
        assert horizon_deg(rings, azimuth_deg) == pytest.approx(meant, abs=0.3)


@pytest.mark.parametrize("azimuth_deg", [0.0, 37.0, 90.0, 144.0, 200.0, 305.0])
def test_a_coarse_horizon_is_that_of_the_land_itself_to_half_a_degree(tmp_path, azimuth_deg):
    """Hills of 10 to 25 m at random against the same formula walked in steps of 0.1 m."""
    rng = np.random.default_rng(3)
    middles = rng.uniform(-260, 260, (40, 2))
    middles = middles[np.hypot(*middles.T) > 90]
    sizes = np.column_stack([rng.uniform(10, 25, len(middles)), rng.uniform(12, 30, len(middles))])

    def hills(x, y):
        z = np.zeros(np.broadcast(x, y).shape)
        for (mx, my), (tall, wide) in zip(middles, sizes, strict=True):
            z = z + tall * np.exp(-((x - mx) ** 2 + (y - my) ** 2) / (2 * wide**2))
        return z

    rings = rings_of(survey(tmp_path, "las", hills))
    away = np.arange(42.0, 298.0, 0.1)
    a = math.radians(azimuth_deg)
    x, y = away * math.sin(a), away * math.cos(a)
    inside = (np.abs(x) < 298) & (np.abs(y) < 298)
    meant = float(np.degrees(np.arctan2(hills(x, y) - 1.0, away))[inside].max())
    assert horizon_deg(rings, azimuth_deg) == pytest.approx(meant, abs=0.5)


def test_one_bird_and_a_wire_hide_nothing_and_a_wood_does(tmp_path):
    """Of the returns in a cell the highest but one counts; wires (class 14) never do."""
    axis = np.arange(-100.0, 100.25, 0.25)
    x, y = (v.ravel() for v in np.meshgrid(axis, axis))
    ground = np.column_stack([EAST + x, NORTH + y, np.full(x.size, 100.0)])
    bird = [[EAST, NORTH + 60.1, 125.0]]
    wire = np.column_stack([EAST + axis, np.full(axis.size, NORTH - 60.0), np.full(axis.size, 115.0)])
    wood = ground[(x > 70) & (x < 90) & (np.abs(y) < 15)] + [0.0, 0.0, 10.0]
    points = np.vstack([ground, bird, wire, wood])
    classes = np.repeat([2, 1, 14, 5], [len(ground), 1, len(wire), len(wood)])
    rings = rings_of(write_las(tmp_path / "land.las", points, classes=classes), half=100.0)
    assert horizon_deg(rings, 0.0) == pytest.approx(math.degrees(math.atan(-1 / 100)), abs=0.1)
    assert horizon_deg(rings, 180.0) == pytest.approx(math.degrees(math.atan(-1 / 100)), abs=0.1)
    assert horizon_deg(rings, 90.0) == pytest.approx(math.degrees(math.atan(9 / 70)), abs=0.3)


def test_a_survey_that_ends_with_the_core_has_no_far_surface(tmp_path):
    """Nothing is read again for half a metre."""
    path = survey(tmp_path, "las", half=41.0)
    land = read_headers(path.name, GroundSource(file="land.las"), tmp_path)
    core = (-41.0, -41.0, 41.0, 41.0)
    assert far_surface(land, FRAME, core, (0, 0, 0, 0), (-41.4, -41.0, 41.0, 41.0), 36.0) == ()


def test_the_core_itself_is_left_out(tmp_path):
    """Inside the ground worked on a ring knows nothing, and around it everything, without a gap."""
    first, *_ = rings_of(survey(tmp_path, "las"))
    assert math.isnan(first.height_at([0.0], [0.0])[0])
    rim = np.linspace(-39.9, 39.9, 50)
    for x, y in ((rim, rim * 0 + 40.0), (rim * 0 - 40.0, rim)):
        assert np.isfinite(first.height_at(x, y)).all()


def test_far_land_sinks_with_the_curve_of_the_earth(tmp_path):
    """On a level grid the last nodes lie lower by 0.85714 d^2 / 2R.

    GDAL, gdal_viewshed, -cc: 0.671936 mm at 100 m, so 8.9 m at 11.5 km.
    """
    z = np.full((600, 600), 100.0)
    path = write_tif(tmp_path / "level.tif", z, Affine(40, 0, EAST - 12_000, 0, -40, NORTH + 12_000))
    land = read_headers(path.name, GroundSource(file="level.tif"), tmp_path)
    covered = (-12_000.0, -12_000.0, 12_000.0, 12_000.0)
    *_, last = far_surface(land, FRAME, CORE, (0, 0, 0, 0), covered, 36.0)
    x, y = 11_500.0, 0.0
    drop_m = 100.0 - float(last.height_at([x], [y])[0])
    assert drop_m == pytest.approx(0.000671936 * (x / 100) ** 2, rel=0.02)

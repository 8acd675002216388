"""What lies past the reach of the units, read from a survey, against the same land drawn as a plane.

Sources: plain geometry; the drawn plane, whose ground has always reached as far as it is drawn.
"""

from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from made_files import write_las, write_tif

from terrain3d.job import run
from terrain3d.study import Study, study_of

EAST, NORTH = 500_000.0, 4_950_000.0
SITE = """
[site]
name = "made"
crs = "EPSG:32631"
[ground]
{ground}
[[mount]]
name = "pole"
at = [{x}, {y}]
[[option]]
name = "pole"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = {bearing}
"""


def outline(west: float, south: float, east: float, north: float) -> str:
    """A rectangle in metres from the pole, as the site file writes it."""
    corners = ((west, south), (east, south), (east, north), (west, north))
    return f"[{', '.join(f'[{EAST + x}, {NORTH + y}]' for x, y in corners)}]"


def studied(folder: Path, ground: str, more: str = "", bearing: float = 180.0) -> Study:
    path = folder / "site.toml"
    path.write_text(SITE.format(ground=ground, x=EAST, y=NORTH, bearing=bearing) + more)
    return study_of(run(path), ("beyond", "sun"))


def grid(folder: Path, heights, half: float = 100.0, step: float = 0.5) -> str:
    """Land about the pole as a GeoTIFF; returns what the site file says of it."""
    axis = np.arange(-half + step / 2, half, step)
    x, y = np.meshgrid(axis, axis[::-1])
    write_tif(
        folder / "land.tif", heights(x, y), Affine(step, 0, EAST - half, 0, -step, NORTH + half), "EPSG:32631"
    )
    return 'file = "land.tif"'


def level(x, y):
    return 100.0 + 0.0 * (x + y)


@pytest.mark.parametrize("away_m", [30.0, 60.0])
@pytest.mark.parametrize("kind", ["grid", "points"])
def test_a_ridge_inside_the_survey_hides_the_low_sun(tmp_path, kind, away_m):
    """All round, 0.3 of its distance high: it hides all below 15 degrees, and no layer's sun stands higher.

    Seen level, the same unit has the low sun in view for hundreds of hours.
    """

    def ridge(x, y):
        away = np.hypot(x, y)
        return 100.0 + np.maximum(0.3 * away_m - 1.5 * np.abs(away - away_m), 0.0)

    if kind == "grid":
        ground = grid(tmp_path, ridge)
    else:
        x, y = (v.ravel() for v in np.meshgrid(*[np.arange(-100, 100.2, 0.4)] * 2))
        points = np.column_stack([EAST + x, NORTH + y, ridge(x, y)])
        write_las(tmp_path / "land.las", points, crs="EPSG:32631")
        ground = 'file = "land.las"'
    behind = studied(tmp_path, ground, bearing=240.0)
    (found,) = behind.options
    assert found.sun is not None
    assert all(layer.minutes == 0 for layer in found.sun.layers)
    assert any(layer.hidden_minutes > 100 * 60 for layer in found.sun.layers)
    (open_,) = studied(tmp_path, grid(tmp_path, level), bearing=240.0).options
    assert open_.sun is not None
    assert [layer.minutes for layer in open_.sun.layers] == [
        layer.hidden_minutes + layer.minutes for layer in found.sun.layers
    ]


def test_a_road_past_the_range_counts_as_on_drawn_ground(tmp_path):
    """A road 5 m deep and 20 m wide, 25 to 30 m straight ahead on level ground: all 100 m2 of it."""
    road = f'\n[[beyond]]\nname = "road"\nkind = "road"\noutline = {outline(-10, -30, 10, -25)}\n'
    for ground in (
        "plane = { fall = 0, towards = 0, extent = 90 }",
        grid(tmp_path, level),
    ):
        (found,) = studied(tmp_path, ground, road).options
        assert found.spill is not None
        (piece,) = found.spill.pieces
        assert piece.within_m2 == 0.0
        assert piece.on_past_m2 == pytest.approx(100.0, abs=1e-9)
        assert piece.nearest_m == pytest.approx(25.0, abs=0.2)


def test_ground_that_the_survey_knows_is_not_called_unknown(tmp_path):
    """The layer is followed for 36 m; a survey of 100 m knows all of that, one of 30 m says where it ends."""
    (found,) = studied(tmp_path, grid(tmp_path, level)).options
    assert found.spill is not None
    assert not found.spill.known_until_m
    (short,) = studied(tmp_path, grid(tmp_path, level, half=30.0)).options
    assert short.spill is not None
    assert short.spill.known_until_m["D1"] == pytest.approx(30.0, abs=0.5)


@pytest.mark.parametrize("away_m", [20.0, 34.0, 70.0])
def test_a_drawn_wall_off_the_verdicts_ground_hides_the_sun_and_is_told_so(tmp_path, away_m):
    """A mill to the west, a third as high as it is far off: no part of the verdicts, and before the sun."""
    tall = away_m / 3
    wall = (
        f'\n[[solid]]\nname = "mill"\nheight = {tall}\n'
        f"outline = {outline(-away_m - 2, -1.3 * away_m, -away_m, 1.3 * away_m)}\n"
    )
    walled = studied(tmp_path, grid(tmp_path, level), wall, bearing=270.0)
    (found,) = walled.options
    assert found.sun is not None
    (upper, _) = found.sun.layers
    free = studied(tmp_path, grid(tmp_path, level), bearing=270.0).options[0].sun
    assert free is not None
    assert free.layers[0].minutes > 100 * 60
    assert upper.minutes == 0
    (told,) = walled.outcome.terrain.doubts[-1:]
    assert "'mill' lies wholly off the ground worked on" in told
    assert "plays no part in the verdicts" in told
    assert walled.surroundings.doubts == ()


def test_the_verdicts_do_not_depend_on_how_far_the_parts_look(tmp_path):
    """The same heights and codes as judged alone; the cells of the surroundings line up with them."""

    def wavy(x, y):
        return 100.0 + np.sin(x / 7) + 0.1 * y

    far = studied(tmp_path, grid(tmp_path, wavy))
    near = run(tmp_path / "site.toml")
    assert np.array_equal(far.outcome.terrain.ground.z, near.terrain.ground.z)
    assert np.array_equal(far.outcome.options[0].verdicts, near.options[0].verdicts)
    wide = far.surroundings.ground
    assert wide.z.shape > near.terrain.ground.z.shape
    part = near.terrain.ground.part_of(wide)
    assert np.abs(wide.z[part] - near.terrain.ground.z).max() < 1e-9


def test_what_is_drawn_beside_the_site_widens_what_is_read(tmp_path):
    """A boundary 60 m off is read to, and 3 m on; of one 5 km off no more than 100 m."""
    ground = grid(tmp_path, level)
    for away_m, read_to_m in ((10.0, 39.0), (60.0, 63.0), (5000.0, 100.0)):
        boundary = f"\n[boundary]\noutline = {outline(-away_m, -away_m, away_m, away_m)}\n"
        west, *_ = studied(tmp_path, ground, boundary).surroundings.ground.bounds
        assert west == pytest.approx(-read_to_m, abs=0.3)

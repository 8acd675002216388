"""Colours of the ground: of a photograph or of the survey's own returns, and judged by nobody."""

import json
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine
from made_files import UTM31, slope_points, write_las
from site_files import SLOPE, option_text, run, written

from terrain3d.errors import InputError
from terrain3d.site import Site
from terrain3d.survey.build import build_terrain
from terrain3d.terrain import Terrain

EAST, NORTH = 500_000.0, 6_000_000.0
PLANE = {"plane": {"fall": 5, "towards": 90, "extent": 30}}


def site(
    ground: dict, crs: str | None = None, at: tuple[float, float] = (0.0, 0.0), cell: float = 0.5
) -> Site:
    head = {"name": "s", "cell": cell} | ({"crs": crs} if crs else {})
    return Site.model_validate({"site": head, "ground": ground, "mount": [{"name": "pole", "at": at}]})


def picture(half: float, step: float) -> np.ndarray:
    """Red in the west, green in the east, and bluer row by row from the north."""
    n = round(2 * half / step)
    x = (np.arange(n) + 0.5) * step - half
    red = np.where(x < 0, 250, 10) + np.zeros((n, 1))
    blue = np.linspace(0, 200, n)[:, None] + np.zeros(n)
    return np.stack([red, 260 - red, blue]).astype(np.uint8)


def save(
    path: Path, bands: np.ndarray, step: float, west: float, north: float, crs: str | None = None, **more
):
    """A picture, placed within a TIFF or by a world file beside a JPEG (middle of the first pixel)."""
    driver = "JPEG" if path.suffix == ".jpg" else "GTiff"
    place = {} if driver == "JPEG" else {"transform": Affine(step, 0, west, 0, -step, north), "crs": crs}
    options = {"photometric": "RGB"} if driver == "GTiff" and len(bands) >= 3 else {}
    with rasterio.open(
        path, "w", driver=driver, width=bands.shape[2], height=bands.shape[1], count=len(bands),
        dtype=bands.dtype, **place, **options, **more,
    ) as dataset:  # fmt: skip
        dataset.write(bands)
    Path(f"{path}.aux.xml").unlink(missing_ok=True)
    if driver == "JPEG":
        world = (step, 0, 0, -step, west + step / 2, north - step / 2)
        path.with_suffix(".jgw").write_text("\n".join(map(str, world)))
    return path


def looks(terrain: Terrain) -> None:
    """West red, east green, north less blue than south."""
    colours, ground = terrain.colours, terrain.ground
    assert colours is not None
    assert colours.rgb.shape == (*ground.z.shape, 3)
    assert colours.known.all()
    west, east = ground.xs < -1, ground.xs > 1
    assert (colours.rgb[:, west, 0] > 200).all()
    assert (colours.rgb[:, east, 1] > 200).all()
    assert colours.rgb[0, :, 2].mean() > colours.rgb[-1, :, 2].mean() + 20


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("name", ["ortho.tif", "ortho.jpg"])
def test_a_photograph_colours_the_cells_it_covers(tmp_path: Path, name: str) -> None:
    """Local metres: pixels of 0.2 m under cells of 0.5 m; the cells have the picture's colours."""
    save(tmp_path / name, picture(20, 0.2), 0.2, -20.0, 20.0)
    terrain = build_terrain(site(PLANE | {"photo": name}), tmp_path, 6.0)
    looks(terrain)
    assert terrain.colours is not None
    assert terrain.colours.of_photo
    assert not any("photograph" in doubt for doubt in terrain.doubts)


def test_pixels_finer_than_a_cell_are_taken_together(tmp_path: Path) -> None:
    """A board of black and white pixels, five to a cell: the mean of each block, never one of the two."""
    board = (np.indices((400, 400)).sum(axis=0) % 2 * 200).astype(np.uint8)
    save(tmp_path / "o.tif", np.stack([board] * 3), 0.1, -20.0, 20.0)
    terrain = build_terrain(site(PLANE | {"photo": "o.tif"}), tmp_path, 6.0)
    assert terrain.colours is not None
    assert np.abs(terrain.colours.rgb.astype(int) - 100).max() <= 5


def test_a_photograph_of_another_crs_lies_where_it_is(tmp_path: Path) -> None:
    """Degrees under a site in UTM: the border of red and green is the meridian of 3 degrees, x = 0 there."""
    half, step = 0.0006, 0.000002
    bands = picture(half, step)
    save(tmp_path / "o.tif", bands, step, 3.0 - half, 54.1477 + half, crs="EPSG:4326")
    at = pyproj.Transformer.from_crs("EPSG:4326", UTM31, always_xy=True).transform(3.0, 54.1477)
    made = site({"file": "s.las", "photo": "o.tif"}, UTM31, at)
    xy = slope_points(60, 0.5, at[0] - 15, at[1] - 15)
    write_las(tmp_path / "s.las", xy)
    looks(build_terrain(made, tmp_path, 6.0))


def test_a_grey_picture_and_one_with_a_palette(tmp_path: Path) -> None:
    """One band: all three colours alike, or those of its table."""
    grey = np.full((1, 80, 80), 77, np.uint8)
    save(tmp_path / "grey.tif", grey, 0.5, -20.0, 20.0)
    terrain = build_terrain(site(PLANE | {"photo": "grey.tif"}), tmp_path, 6.0)
    assert terrain.colours is not None
    assert (terrain.colours.rgb == 77).all()
    path = save(
        tmp_path / "table.tif", np.full((1, 80, 80), 3, np.uint8), 0.5, -20.0, 20.0, photometric="PALETTE"
    )
    with rasterio.open(path, "r+") as dataset:
        dataset.write_colormap(1, {3: (10, 20, 30, 255)})
    terrain = build_terrain(site(PLANE | {"photo": "table.tif"}), tmp_path, 6.0)
    assert terrain.colours is not None
    assert (terrain.colours.rgb == (10, 20, 30)).all()


def test_a_photograph_that_covers_part_of_the_site_is_told(tmp_path: Path) -> None:
    """Its eastern half alone; the rest is not known, and nothing else hangs on it."""
    save(tmp_path / "o.tif", picture(20, 0.5)[:, :, 40:], 0.5, 0.0, 20.0)
    terrain = build_terrain(site(PLANE | {"photo": "o.tif"}), tmp_path, 6.0)
    assert any("the photograph does not cover 50% of the ground" in doubt for doubt in terrain.doubts)
    assert terrain.colours is not None
    assert (terrain.colours.known == (terrain.ground.xs > 0)).all()


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_photograph_that_cannot_be_drawn_is_refused(tmp_path: Path) -> None:
    """Elsewhere, in another system, without a place, of other numbers, damaged, none: one message each."""
    bands = picture(20, 0.5)
    save(tmp_path / "far.tif", bands, 0.5, 900.0, 20.0)
    save(tmp_path / "utm.tif", bands, 0.5, EAST, NORTH, crs=UTM31)
    save(tmp_path / "fine.tif", bands.astype(np.float32), 0.5, -20.0, 20.0)
    save(tmp_path / "lost.jpg", bands, 0.5, -20.0, 20.0)
    (tmp_path / "lost.jgw").unlink()
    save(tmp_path / "blank.tif", np.zeros_like(bands), 0.5, -20.0, 20.0, nodata=0)
    whole = save(tmp_path / "o.tif", bands, 0.5, -20.0, 20.0).read_bytes()
    (tmp_path / "cut.tif").write_bytes(whole[: len(whole) // 3])
    (tmp_path / "text.jpg").write_text("no picture")
    for name, words in (
        ("far.tif", "the photograph does not cover the site"),
        ("utm.tif", "the photograph is in WGS 84 / UTM zone 31N, and the site in local metres"),
        ("fine.tif", "its bands are of float32, not of 8 bits"),
        ("lost.jpg", "it does not say where its pixels lie"),
        ("blank.tif", "the photograph is blank where the site lies"),
        ("cut.tif", "its pixels cannot be read"),
        ("text.jpg", "it is neither a TIFF nor a JPEG"),
        ("none.jpg", "there is no such file"),
    ):
        with pytest.raises(InputError, match=words) as told:
            build_terrain(site(PLANE | {"photo": name}), tmp_path, 6.0)
        assert name in str(told.value)


def test_what_is_no_photograph_is_told_before_the_survey_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading a survey may take minutes; a look at the photograph takes none."""

    def read(*_args: object) -> None:
        raise AssertionError("the survey was read")

    monkeypatch.setattr("terrain3d.survey.read_ground.read_tiles", read)
    write_las(tmp_path / "s.las", slope_points(61, 0.5, EAST - 15, NORTH - 15))
    (tmp_path / "o.jpg").write_text("no picture")
    with pytest.raises(InputError, match="it is neither a TIFF nor a JPEG"):
        build_terrain(site({"file": "s.las", "photo": "o.jpg"}, UTM31, (EAST, NORTH)), tmp_path, 6.0)


@pytest.mark.parametrize("bits", [8, 16])
def test_colours_of_the_survey_are_those_of_its_ground(tmp_path: Path, bits: int) -> None:
    """LAS 1.4 R15 has 16 bits a colour; many write 8. A roof's red does not colour the ground under it."""
    points = slope_points(61, 0.5, EAST - 15, NORTH - 15)
    roof = points[(np.abs(points[:, :2] - [EAST, NORTH]) < 3).all(axis=1)] + [0, 0, 5]
    scale = 1 if bits == 8 else 257
    colours = {
        name: np.concatenate([np.full(len(points), ground), np.full(len(roof), house)]).astype(np.uint16)
        * scale
        for name, ground, house in (("red", 40, 250), ("green", 120, 10), ("blue", 30, 10))
    }
    write_las(
        tmp_path / "s.las", np.vstack([points, roof]), point_format=7,
        classes=np.repeat([2, 6], [len(points), len(roof)]), **colours,
    )  # fmt: skip
    terrain = build_terrain(site({"file": "s.las"}, UTM31, (EAST + 5, NORTH)), tmp_path, 6.0)
    assert terrain.colours is not None
    assert not terrain.colours.of_photo
    assert terrain.colours.known.mean() > 0.9
    assert (terrain.colours.rgb[terrain.colours.known] == (40, 120, 30)).all()
    # A format without colours, and one that has room for them and none in it.
    for point_format in (6, 7):
        write_las(tmp_path / "s.las", points, point_format=point_format)
        terrain = build_terrain(site({"file": "s.las"}, UTM31, (EAST + 5, NORTH)), tmp_path, 6.0)
        assert terrain.colours is None


def test_no_verdict_hangs_on_a_photograph(tmp_path: Path) -> None:
    """results.json and verdicts.tif to the byte as without one."""
    save(tmp_path / "o.tif", picture(20, 0.5), 0.5, -20.0, 20.0)
    found = []
    for more in ("", 'photo = "o.tif"\n'):
        path = written(tmp_path, SLOPE.replace("[[mount]]", f"{more}[[mount]]") + option_text("north"))
        out = tmp_path / f"out{len(more)}"
        assert run("cover", path, "--out", out, "--stills", "none") == 0
        found.append(((out / "results.json").read_bytes(), (out / "verdicts.tif").read_bytes()))
    assert found[0] == found[1]
    assert json.loads(found[0][0])["options"][0]["area_m2"]["both"] > 0

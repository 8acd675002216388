"""What is written: numbers in JSON, verdicts in GeoTIFF, whole or not at all, the same bytes again."""

import json
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from rasterio.enums import ColorInterp
from site_files import option_text

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN
from terrain3d.job import run
from terrain3d.paper.folder import write_results
from terrain3d.paper.rasters import option_tifs, verdicts_tif
from terrain3d.paper.results import results_json

SITE = (
    """
[site]
name = "Slope <b>&</b> $x$"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 10, towards = 135, extent = 30 }
[[mount]]
name = "pole"
at = [0, 0]
[[protect]]
name = "yard"
outline = [[-4, 2], [4, 2], [4, 8], [-4, 8]]
"""
    + option_text("=north")
    + option_text("south", kind="two-head-180", height=1.4, bearing=180, range=8)
)


@pytest.fixture(scope="module")
def outcome(tmp_path_factory):
    """A small drawn site in local metres, judged."""
    path = tmp_path_factory.mktemp("site") / "site.toml"
    path.write_text(SITE.replace('crs = "EPSG:32631"\n', ""), encoding="utf-8")
    return run(path)


def test_results_have_the_agreed_shape(outcome):
    """Every key of the results schema is there, and the areas add up to the ground."""
    document = json.loads(results_json(outcome))
    assert document["schema"] == "terrain3d/results/2"
    assert document["site"]["cell_m"] == 0.5
    assert document["site"]["origin_lonlat"] is None
    assert document["ranking"][0] == "=north"
    assert "walk-test" in document["caution"].lower()
    for option in document["options"]:
        assert set(option["area_m2"]) == {"both", "upper_only", "lower_only", "dead", "outside"}
        assert sum(option["area_m2"].values()) == pytest.approx(900.0)
        assert set(option["causes"]) == {"upper", "lower"}
        unit = option["detectors"][0]
        assert (unit["x"], unit["y"], unit["ground_z"]) == (0.0, 0.0, 0.0)
        assert option["protect"][0]["area_m2"] == pytest.approx(48.0)
    assert any("1.4 m is outside" in w for w in document["options"][1]["warnings"])


def test_verdicts_raster_holds_the_verdicts(outcome, tmp_path):
    """One band an option, named, north up, in the site's own coordinates."""
    path = tmp_path / "verdicts.tif"
    path.write_bytes(verdicts_tif(outcome))
    with rasterio.open(path) as raster:
        assert raster.dtypes == ("uint8", "uint8")
        assert raster.descriptions == ("=north", "south")
        assert raster.nodata == UNKNOWN
        assert raster.bounds == (-15, -15, 15, 15)
        assert np.array_equal(np.flipud(raster.read(1)), outcome.options[0].verdicts)
        row, column = raster.index(0.25, 5.25)
        assert raster.read(1)[row, column] == outcome.options[0].verdicts[40, 30]


def test_the_same_site_gives_the_same_bytes(outcome, tmp_path):
    """Nothing written depends on the clock or on chance."""
    first, second = tmp_path / "a", tmp_path / "b"
    write_results(outcome, first)
    write_results(outcome, second)
    for name in ("results.json", "verdicts.tif"):
        assert (first / name).read_bytes() == (second / name).read_bytes()


def test_maps_show_the_verdicts_in_their_colours(outcome, tmp_path):
    """One band has a colour table; several are grey and no red, green, blue and alpha (read back by GDAL)."""
    assert len(outcome.options) > 1
    path = tmp_path / "verdicts.tif"
    path.write_bytes(verdicts_tif(outcome))
    with rasterio.open(path) as several:
        assert not {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.alpha} & {
            *several.colorinterp
        }
        bands = several.read()
    maps = option_tifs(outcome)
    for (name, content), band, option in zip(maps.items(), bands, outcome.options, strict=True):
        (tmp_path / name).write_bytes(content)
        with rasterio.open(tmp_path / name) as one:
            assert (one.read(1) == band).all()
            assert one.descriptions == (option.name,)
            table = one.colormap(1)
            for verdict, colour in palette.VERDICT_COLOURS.items():
                assert table[int(verdict)][:3] == tuple(palette.rgb(colour).tolist())
    (tmp_path / "one.tif").write_bytes(verdicts_tif(replace(outcome, options=outcome.options[:1])))
    with rasterio.open(tmp_path / "one.tif") as alone:
        assert alone.colorinterp == (ColorInterp.palette,)

"""Doubt on paper: every number in JSON, the chances as a raster that other programs read."""

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from site_files import option_text

from terrain3d.job import run
from terrain3d.paper.uncertainty import chances_tif, uncertainty_dict
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import run_monte_carlo
from terrain3d.uncertainty.tolerance import option_tolerances

SITE = (
    """
[site]
name = "Slope"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 10, towards = 135, extent = 30 }
[[mount]]
name = "pole"
at = [560000, 4950000]
[[protect]]
name = "yard"
outline = [[559996, 4950002], [560004, 4950002], [560004, 4950008], [559996, 4950008]]
"""
    + option_text("north")
    + option_text("south", bearing=180)
)


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """A drawn slope with a unit that looks at the yard, and one that looks away; 20 draws."""
    path = tmp_path_factory.mktemp("site") / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    outcome = run(Path(path))
    uncertainty = run_monte_carlo(
        outcome.terrain, outcome.options, 1.7, ErrorSizes(0.1, 5.0, 0.02, 2.0, 1.0), 20, 1
    )
    found = tuple(option_tolerances(outcome.terrain, option, 1.7) for option in outcome.options)
    return outcome, uncertainty, found


def test_numbers_survive_json(judged):
    """The same values come back from JSON; an option that holds nothing has no tolerance."""
    outcome, uncertainty, found = judged
    document = uncertainty_dict(outcome, uncertainty, found)
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    north, south = document["options"]
    assert north["protected_share"]["middle"] == pytest.approx(
        np.median(uncertainty.options[0].held_share), abs=1e-6
    )
    assert north["protected_share"]["worst_twentieth"] <= north["protected_share"]["middle"]
    assert north["both_m2"] is None
    settings = north["tolerance"][0]["settings"]
    assert list(settings) == ["height", "bearing", "tilt", "roll", "range"]
    assert settings["tilt"]["less_deg"] == pytest.approx(found[0][0].slacks[2].less, abs=1e-4)
    assert (south["protected_share"]["middle"], south["tolerance"][0]["settings"]) == (0.0, None)
    areas = north["chance_m2"]
    assert 0 < areas["at_least_95_percent"] < areas["at_least_half"] < areas["above_none"]
    assert document["ranking_holds"]["words"].startswith('"north" stays the best option in all of 20 draws')


def test_chances_are_read_by_others(judged):
    """North up, in the frame's CRS, a band an option; the same doubt gives the same bytes."""
    outcome, uncertainty, _ = judged
    written = chances_tif(outcome, uncertainty)
    assert written == chances_tif(outcome, uncertainty)
    with rasterio.MemoryFile(written) as memory, memory.open() as raster:
        assert raster.descriptions == ("north", "south")
        assert raster.dtypes == ("float32", "float32")
        np.testing.assert_array_equal(np.flipud(raster.read(1)), uncertainty.options[0].chance)
        west, _, _, north = outcome.terrain.ground.bounds
        assert (raster.transform.c, raster.transform.f) == pytest.approx(
            tuple(float(v) for v in outcome.terrain.frame.from_local(west, north, None))
        )
        assert raster.tags()["DRAWS"] == "20"

"""Heat and sun in `results.json`: every number that the pages show, and nothing JSON cannot hold."""

import json
from pathlib import Path

import numpy as np
import shapes

from terrain3d.conditions.heat import held_by_temperature
from terrain3d.conditions.sun import sun_times
from terrain3d.detector.types import load_type
from terrain3d.frame import Frame, site_frame
from terrain3d.paper.conditions import heat_values, sun_values
from terrain3d.site import HeatSetting, SunSetting
from terrain3d.terrain import Area, Foliage, Solids, Terrain

YARD = Area("yard", np.array([[-3.0, 2.0], [3.0, 2.0], [3.0, 10.0], [-3.0, 10.0]]))


def site(protect=(YARD,), lonlat=(3.76, 44.7)):
    """Level ground at a place on earth."""
    frame = Frame(site_frame(None, 0, 0).wkt, lonlat)
    return Terrain(frame, shapes.plane(0.0), Solids.none(), Foliage.none(), (), protect)


def heat_of(on, heat=None, **setting):
    """The heat of one unit on a site."""
    unit = shapes.unit(load_type("one-head-90", Path()), **setting)
    return held_by_temperature(on, shapes.judged(on, unit), 1.7, heat or HeatSetting())


def test_heat_values_are_the_result():
    """Rows by ground temperature, losses and words as they were worked out; the source is told."""
    result = heat_of(site())
    values = json.loads(json.dumps(heat_values(result), allow_nan=False))
    assert [row["ground_c"] for row in values["by_ground"]] == list(HeatSetting().grounds)
    assert [row["both_m2"] for row in values["by_ground"]] == result.table.held_m2.tolist()
    assert np.allclose([row["protected_share"] for row in values["by_ground"]], result.table.protected_share)
    assert np.allclose(
        [row["contrast_w_m2_sr"] for row in values["by_ground"]], result.table.contrast, atol=1e-6
    )
    assert [loss["share"] for loss in values["lost"]] == [0.05, 0.5, 1.0]
    assert abs(values["lost"][2]["from_c"] - result.silent_from_c) < 1e-4
    assert "not verified" in values["borrowed_condition"]["source"]


def test_heat_without_protected_ground_or_hold():
    """No share where nothing is protected; no losses where nothing is held; none of it breaks JSON."""
    values = heat_values(heat_of(site(protect=()), height_m=4.0))
    assert values["lost"] == []
    assert {row["protected_share"] for row in values["by_ground"]} == {None}
    faint = heat_values(heat_of(site(), HeatSetting(emissivity=0.01)))
    assert faint["lost"][2]["from_c"] is None
    json.dumps([values, faint], allow_nan=False)


def test_sun_values_are_the_result():
    """A row a layer with its minutes and spans; dates as ISO 8601 writes them."""
    unit = shapes.unit(load_type("one-head-90", Path()), bearing_deg=250.0)
    result = sun_times(site(), (unit,), SunSetting(zone="Europe/Paris"))
    values = json.loads(json.dumps(sun_values(result), allow_nan=False))
    assert values["placed"] is True
    upper = values["layers"][0]
    assert (upper["unit"], upper["head"], upper["layer"], upper["facing_deg"]) == ("D1", 1, "upper", 250.0)
    assert upper["in_view_min"] == result.layers[0].minutes > 0
    assert len(upper["spans"]) == len(result.layers[0].spans)
    assert upper["seasons"][-1]["first"] == result.layers[0].season[0].isoformat()
    first = result.layers[0].spans[0]
    assert upper["spans"][0]["first"] == f"{first.first:%Y-%m-%d}"
    hours, minutes = (int(part) for part in upper["spans"][0]["from"].split(":"))
    assert 60 * hours + minutes == first.start_min


def test_sun_without_a_place():
    """Where the sun cannot be placed there are no layers, and the words say what to do."""
    unit = shapes.unit(load_type("one-head-90", Path()))
    values = sun_values(sun_times(shapes.terrain(shapes.plane(0.0)), (unit,), SunSetting()))
    assert values["placed"] is False
    assert values["layers"] == []
    assert "crs" in values["words"][0]


def test_a_season_over_new_year_is_two():
    """A unit that looks south-west on the level has the low sun of winter: from autumn on, and until spring.

    At latitude 44.7 the sun sets at bearing 235 about the winter solstice and at 305 about that of summer
    (cos of the bearing = sin of the declination / cos of the latitude).
    """
    unit = shapes.unit(load_type("one-head-90", Path()), bearing_deg=200.0)
    result = sun_times(site(), (unit,), SunSetting(near=0.0))
    first, last = result.layers[0].season
    assert last < first
    before, after = sun_values(result)["layers"][0]["seasons"]
    assert before == {"first": "2026-01-01", "last": last.isoformat()}
    assert after == {"first": first.isoformat(), "last": "2026-12-31"}
    assert {before["last"][5:7], after["first"][5:7]} <= {"01", "02", "10", "11"}

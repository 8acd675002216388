"""What `around/` found, as plain values: whole, ready for JSON, and the same as the results."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapes import judged, plane, terrain, unit

from terrain3d.detector.types import load_type
from terrain3d.nuisance.animals import animal_ground
from terrain3d.nuisance.spill import spill
from terrain3d.nuisance.things import in_layers
from terrain3d.paper.nuisance import animal_values, beyond_values
from terrain3d.terrain import Beyond, Nuisance

SQUARE = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])


def values(boundary):
    site = replace(
        terrain(plane(0.1, extent_m=90.0)),
        boundary=boundary,
        beyond=(Beyond("plot", "neighbour", SQUARE + np.array([0.0, 7.0]), True),),
        nuisances=(Nuisance("flue", "flue", 0.2 * SQUARE + np.array([0.0, 5.0]), 0.0, 2.0),),
    )
    setting = unit(load_type("one-head-90", Path()))
    option = judged(site, setting, name="pole")
    found = animal_ground(site, option), spill(site, (setting,), 1.7), in_layers(site, (setting,))
    return found, {**animal_values(found[0]), **beyond_values(*found[1:], ())}


@pytest.mark.parametrize("boundary", [None, 6 * SQUARE])
def test_values_are_plain_and_whole(boundary):
    """No array, no number that JSON cannot hold, with a boundary or without."""
    (animals, spilt, things), told = values(boundary)
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert [row["name"] for row in told["animals"]] == [ground.figure.name for ground in animals.animals]
    assert [row["alarm_m2"] for row in told["animals"]] == [ground.area_m2 for ground in animals.animals]
    assert told["crawling"]["unnoticed_m2"] == animals.crawling.area_m2 > 0
    assert told["beyond"]["pieces"][0]["within_range_m2"] == spilt.pieces[0].within_m2 == 4.0
    assert len(told["nuisances"]) == len(things) > 0
    assert told["nuisances"][0]["is_seen"]
    assert all(row["advice_source"] == "common practice, no source" for row in told["nuisances"])


def test_without_a_boundary_nothing_is_told_of_it():
    """Null, not nought."""
    beyond = values(None)[1]["beyond"]
    assert not beyond["has_boundary"]
    assert beyond["past_boundary_m2"] is None
    assert beyond["farthest_within_range_m"] is None
    assert beyond["layers"][0]["axis_past_within_range_m"] is None
    assert beyond["notes"]


def test_with_a_boundary_the_axis_is_told_by_itself():
    """On a rise of 1 in 10 the axis at 1 m lands at 10 / cos a; its upper edge runs on to the range.

    Past a boundary at 6 m straight ahead that is most where it lands just at 12 m: 12 - 6 / (10 / 12).
    """
    (layer,) = values(6 * SQUARE)[1]["beyond"]["layers"]
    assert layer["axis_past_within_range_m"] == pytest.approx(4.8, abs=0.01)
    assert layer["layer_past_within_range_m"] == pytest.approx(6.0, abs=0.01)

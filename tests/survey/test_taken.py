"""How a survey was taken, by surveys whose making is known."""

from pathlib import Path

import laspy
import numpy as np
import pytest

from terrain3d.survey.taken import from_above
from tests import virtual_survey as known

DATA = Path(__file__).parents[1] / "data"


@pytest.mark.parametrize("share", [1.0, 0.1])
def test_a_tripod_is_told_from_a_flight_whole_and_thinned(share):
    """Both with pulses that came back in several parts; five places of a tripod, two flight lines."""
    for scan, flown in ((known.from_the_air(10), True), (known.from_the_ground(), False)):
        kept = np.random.default_rng(0).random(len(scan.xyz)) < share
        assert scan.n_returns.max() > 1
        assert from_above(scan.xyz[kept, :2], scan.n_returns[kept]) is flown


@pytest.mark.parametrize("file", ["autzen_trim.laz", "file_with_both_wkt_and_geotiff_vlrs.las"])
def test_real_flights_are_flights_where_pulses_gave_several_returns(file):
    """Of laspy's test data, both in feet: one return a square metre, and a yard of a hundred with overlaps,
    whose file does not tell returns of a pulse apart."""
    las = laspy.read(DATA / file)
    xy = 0.3048 * np.column_stack([las.x, las.y])
    assert from_above(xy, np.full(len(xy), 2, np.uint8))
    assert not from_above(xy, np.ones(len(xy), np.uint8))

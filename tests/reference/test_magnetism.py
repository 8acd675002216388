"""The declination of a compass, against the test values that the World Magnetic Model is published with."""

import csv
import datetime
import math
from pathlib import Path

import pytest

from terrain3d.fixing.magnetism import magnetic_at

#: See the README beside it for where they come from.
VALUES = Path(__file__).parents[1] / "data" / "wmm2025_test_values.csv"


def published() -> list[dict[str, float]]:
    with VALUES.open(encoding="utf-8", newline="") as file:
        return [{key: float(cell) for key, cell in row.items()} for row in csv.DictReader(file)]


def test_all_published_values():
    """A hundred places from pole to pole, up to 100 km, from 2025.0 to 2029.5: to the last figure they have,
    and H to its tenth but for the half day at most by which a date misses a year's fraction."""
    rows = published()
    assert len(rows) == 100
    assert {row["year"] for row in rows} == {2025 + half / 2 for half in range(10)}
    for row in rows:
        days = round((row["year"] % 1) * 365)
        on = datetime.date(int(row["year"]), 1, 1) + datetime.timedelta(days)
        found = magnetic_at(row["lon"], row["lat"], 1000 * row["height_km"], on)
        assert found.model == "WMM-2025"
        off = (found.declination_deg - row["declination_deg"] + 180) % 360 - 180
        assert abs(off) <= 0.00505, row
        assert found.horizontal_nt == pytest.approx(row["horizontal_nt"], abs=0.3), row


def test_the_error_is_the_model_s_own():
    """One standard deviation: sqrt(0.26^2 + (5417 / H)^2) degrees, as its makers have it (D_OFFSET and
    D_COEF in `wmm/uncertainty.py` of the PyPI package wmm-calculator 1.4.4)."""
    found = magnetic_at(3.76, 44.7, 0, datetime.date(2026, 6, 1))
    assert found.error_deg == pytest.approx(math.hypot(0.26, 5417 / found.horizontal_nt), rel=1e-12)
    # By the magnetic pole the needle tells next to nothing (H is 1504 nT at 89 N, 121 W).
    near = magnetic_at(-121.0, 89.0, 28_000, datetime.date(2025, 1, 1))
    assert near.horizontal_nt == pytest.approx(1504.3, abs=0.1)
    assert near.error_deg == pytest.approx(3.61, abs=0.01)

"""When a survey was flown, by whom that is said, and how old it is on the site file's own day."""

from datetime import date
from pathlib import Path

import laspy
import numpy as np
import pytest
import rasterio
from affine import Affine
from made_files import UTM31, slope_points, write_las, write_tif

from terrain3d.readers.tiles import read_headers
from terrain3d.site import DoubtSetting, GroundSource, Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.dates import dated_of
from terrain3d.terrain import Dated, Terrain
from terrain3d.uncertainty.error_field import Source, error_sizes_of

WRITTEN = Dated(date(2020, 6, 1), date(2020, 6, 1), "its header", is_flown=False)
FLOWN = Dated(date(2019, 5, 14), date(2019, 5, 16), "its times", is_flown=True)


def site(flown: date | None = None, on: date | None = None, **ground: object) -> Site:
    head = {"name": "s", "crs": UTM31, "cell": 0.5} | ({"date": on} if on else {})
    source = {"file": "s.las"} | ({"flown": flown} if flown else {}) | ground
    return Site.model_validate(
        {"site": head, "ground": source, "mount": [{"name": "pole", "at": (500_010.0, 6_000_010.0)}]}
    )


def test_the_site_file_goes_before_the_survey() -> None:
    """Its day is taken; where the survey's own contradicts it, both are told."""
    dated, doubts = dated_of(site(date(2019, 5, 15)), FLOWN)
    assert dated == Dated(date(2019, 5, 15), date(2019, 5, 15), "[ground] flown", is_flown=True)
    assert doubts == ()
    _, (doubt,) = dated_of(site(date(2023, 5, 15)), FLOWN)
    assert "[ground] flown says 2023-05-15, the survey itself 2019-05-14 to 2019-05-16 (its times)" in doubt
    # A file is written after the flight, whenever that is; never before.
    assert dated_of(site(date(2018, 1, 1)), WRITTEN)[1] == ()
    assert len(dated_of(site(date(2021, 1, 1)), WRITTEN)[1]) == 1
    assert dated_of(site(), None) == (None, ())


@pytest.mark.parametrize(
    ("on", "words"),
    [
        (None, ""),
        (date(2019, 5, 20), ""),
        (date(2020, 5, 10), ""),
        (date(2020, 8, 1), "measured 2019-05-14 to 2019-05-16, 1 year before [site] date, 2020-08-01"),
        (date(2026, 6, 1), "measured 2019-05-14 to 2019-05-16, 7 years before [site] date, 2026-06-01"),
        (date(2019, 1, 1), "after [site] date, 2019-01-01: one of the two is wrong"),
    ],
)
def test_age_counts_to_the_day_of_the_site_file_alone(on: date | None, words: str) -> None:
    """Without that day nothing is said of age: results do not hang on the day they are made."""
    _, doubts = dated_of(site(on=on), FLOWN)
    assert (words in doubts[0]) if words else doubts == ()


def test_a_grid_says_when_it_was_written(tmp_path: Path) -> None:
    """TIFF 6.0, tag 306 (DateTime), as GDAL writes it; what is no date is none."""
    for text, day in (
        ("2021:03:04 10:00:00", date(2021, 3, 4)),
        ("2021:13:40 1:00:00", None),
        ("soon", None),
    ):
        path = write_tif(tmp_path / "g.tif", np.full((9, 9), 5.0), Affine(1, 0, 5e5, 0, -1, 6e6))
        with rasterio.open(path, "r+") as dataset:
            dataset.update_tags(TIFFTAG_DATETIME=text)
        dated = read_headers("g.tif", GroundSource(file="g.tif"), tmp_path).header.dated
        assert (dated and dated.first) == day
        assert dated is None or not dated.is_flown


def described_las(path: Path, text: str) -> Path:
    """A survey with a text area description (LAS 1.4 R15: user LASF_Spec, record 3)."""
    write_las(path, slope_points(41, 0.5))
    las = laspy.read(path)
    las.header.vlrs.append(laspy.VLR("LASF_Spec", 3, "", text.encode()))
    las.write(path)
    return path


def told(terrain: Terrain, **doubt: float) -> tuple[float, Source]:
    sizes = error_sizes_of(DoubtSetting(**doubt), terrain)
    return sizes.ground_m, sizes.source


def test_the_error_that_a_survey_states_is_the_one_drawn(tmp_path: Path) -> None:
    """[doubt] ground, then [ground] error, then the survey's own text, then quality level 2.

    Levels: RMSEz of 5, 10, 10 and 20 cm (lidar base specification, the project's check values).
    """
    described_las(tmp_path / "s.las", "County survey 2021, vertical RMSE of 6.2 cm on bare ground")
    (tmp_path / "plain").mkdir()
    write_las(tmp_path / "plain" / "s.las", slope_points(41, 0.5))
    silent = build_terrain(site(), tmp_path / "plain", 6.0)
    stating = build_terrain(site(), tmp_path, 6.0)
    keyed = build_terrain(site(error=0.03), tmp_path, 6.0)
    level = build_terrain(site(error="QL3"), tmp_path, 6.0)
    assert told(silent) == (0.10, Source.SILENT_SURVEY)
    assert told(stating) == (pytest.approx(0.062), Source.SURVEY_STATED)
    assert stating.error_from == "its description: RMSE of 0.062 m"
    assert told(keyed) == (0.03, Source.GROUND_STATED)
    assert told(level) == (0.20, Source.GROUND_STATED)
    assert level.error_from == "[ground] error, QL3"
    assert told(keyed, ground=0.5) == (0.5, Source.STATED)


def test_tiles_state_the_largest_error_where_all_state_one(tmp_path: Path) -> None:
    """Two levels, and a tile that says nothing."""
    described_las(tmp_path / "a.las", "QL1")
    described_las(tmp_path / "b.las", "quality level 3")
    write_las(tmp_path / "c.las", slope_points(5))
    source = GroundSource(file="x")
    assert read_headers(["a.las", "b.las"], source, tmp_path).header.error_m == 0.2
    assert read_headers(["a.las", "c.las"], source, tmp_path).header.error_m is None

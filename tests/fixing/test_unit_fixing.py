"""Where, how high, which way and how steep: against triangles and closed forms; what is seen of corners."""

import datetime
import json
import math

import numpy as np
import pyproj
import pytest
from site_files import option_text, run, written

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.fixing.aim import aim_mark, head_aims
from terrain3d.fixing.magnetism import magnetic_at
from terrain3d.fixing.places import Known, taped_from, two_tapes
from terrain3d.fixing.unit import height_on_slope, option_fixing
from terrain3d.job import run as judged
from terrain3d.sentences.fixing import bearing_words, mark_words, settings_text, sheet_parts
from terrain3d.terrain import terrain_from_heights

ONE = load_type("one-head-90")
#: On WGS 84 / UTM zone 31 N, so that longitude and grid are known apart; the ground falls 12 % to the south.
SITE = """
[site]
name = "slope"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 12, towards = 180, extent = 40 }
[[mount]]
name = "pole"
at = [560000, 4950006]
[[mark]]
name = "gate post"
at = [560006, 4949998]
[[mark]]
name = "corner"
at = [559991, 4949994]
"""


def test_a_compass_east_of_north():
    """It shows less than the true bearing; the older model has its own error, 5625 over H (from memory)."""
    found = magnetic_at(3.76, 44.7, 0, datetime.date(2022, 6, 1))
    assert found.model == "WMM-2020"
    assert found.declination_deg > 0
    assert found.error_deg == pytest.approx(math.hypot(0.26, 5625 / found.horizontal_nt), rel=1e-12)
    assert found.compass_deg(100.0) == pytest.approx(100 - found.declination_deg)


def test_a_day_without_a_model():
    """It is refused, and the days that there are are told."""
    with pytest.raises(InputError, match="no magnetic model covers 2031-01-01") as error:
        magnetic_at(0, 0, 0, datetime.date(2031, 1, 1))
    assert "2029" in error.value.mend


def test_two_tapes_fix_a_place():
    """Where two circles about the marks cross, worked by hand, lies the place; marks on one line are not
    taken."""
    marks = (Known("a", -6, -8, 0), Known("b", 8, -6, 0), Known("on the line", -12, -16, 0))
    one, other = two_tapes(marks, 0, 0, 0)
    assert {one.name, other.name} == {"a", "b"}
    assert (one.tape_m, other.tape_m) == pytest.approx((10, 10))
    assert two_tapes(marks[::2], 0, 0, 0)[0].name == "a"
    assert len(two_tapes(marks[::2], 0, 0, 0)) == 1
    # Down a slope the tape reads more than the plan: 3-4-5.
    down = taped_from(Known("top", 0, 0, 3), 0, 4, 0)
    assert (down.level_m, down.tape_m, down.bearing_deg) == pytest.approx((4, 5, 0))


def test_the_mark_that_the_unit_looks_beside():
    """Ten metres north and one east lies 5.7 degrees right of north: the unit looks left of it."""
    north = Detector("D1", ONE, "pole", 0, 0, 0, 1.0, 0.0)
    mark = aim_mark((Known("post", 1, 10, 0), Known("behind", 0, -10, 0), Known("near", 0, 1, 0)), north)
    assert mark.name == "post"
    assert mark.right_deg == pytest.approx(-math.degrees(math.atan(0.1)))
    assert "5.7° left of" in mark_words(mark)
    assert aim_mark((Known("aside", 10, 0, 0),), north) is None


@pytest.mark.parametrize("tilt", [-3.0, 0.0, 4.0])
@pytest.mark.parametrize("fall", [-0.1, 0.0, 0.1])
def test_the_staff_and_the_landing(tilt, fall):
    """On a plane that rises s ahead, the axis at angle p down is h - d (tan p + s) above the ground at d."""
    ground = terrain_from_heights(np.tile(-fall * np.arange(-20.0, 20.25, 0.25), (161, 1)).T, 0.25)
    unit = Detector("D1", ONE, "pole", 0, 0, 0, 1.0, 0.0, tilt, 0.0, 12.0)
    (aim,) = head_aims(ground, unit, 1.7)
    p = math.radians(tilt) + math.atan(1 / 12)
    down = math.tan(p) - fall
    assert aim.lower_m == pytest.approx(1 - aim.staff_m * down, abs=1e-6)
    assert aim.upper_m == pytest.approx(1 - aim.staff_m * (math.tan(math.radians(tilt)) - fall), abs=1e-6)
    lands = 1 / down if down > 0 else math.inf
    if lands < 11.9:
        assert aim.lands_m == pytest.approx(lands, abs=0.06)
        # The figure is held up to where the lower axis lands, or the upper leaves over its head.
        assert aim.lights_m[0][1] <= lands + 0.06
    else:
        assert aim.lands_m is None or aim.lands_m > 11.8


def test_the_tape_on_a_slope():
    """A quarter of a metre up a slope of 20 % the ground is 5 cm higher."""
    hill = terrain_from_heights(np.tile(0.2 * np.arange(-6.0, 6.5, 0.5), (25, 1)), 0.5)
    found = height_on_slope(hill, Detector("D1", ONE, "pole", 0, 0, 0, 1.2, 0.0))
    assert (found.fall_percent, found.fall_deg) == pytest.approx((20, 270))
    assert (found.uphill_m, found.downhill_m) == pytest.approx((1.15, 1.25))


def test_all_of_a_unit(tmp_path):
    """Coordinates go back to the site file's, longitude and latitude are PROJ's, 5 degrees are 8.75 mm on
    100."""
    path = written(tmp_path, SITE + option_text("one", bearing=180, tilt=5, range=10))
    outcome = judged(path)
    (fixing,) = option_fixing(outcome, "one", pyproj.CRS("EPSG:32631"), datetime.date(2026, 11, 27))
    assert fixing.site_xy == pytest.approx((560000, 4950006), abs=1e-3)
    back = pyproj.Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True).transform(560000, 4950006)
    assert fixing.lonlat == pytest.approx(back, abs=1e-8)
    assert fixing.level_mm == pytest.approx(8.7489, abs=1e-3)
    # Grid distances over ground distances: the scale of the zone there is 0.99964.
    tape = next(one for one in fixing.tapes if one.name == "gate post")
    assert tape.level_m == pytest.approx(10 / 0.99964, abs=2e-3)
    assert tape.tape_m > tape.level_m
    titles = [part.title for part in sheet_parts(fixing)]
    assert titles[:4] == ["Where", "How high", "Which way", "How steep"]
    text = settings_text(fixing)
    assert "bearing 180.0° true" in text
    assert "tilt +5.0° nose down" in text


def test_without_a_place_on_earth_the_sheet_says_how_to_come_by_the_compass(tmp_path):
    """A compass shows the true bearing less the declination, east positive (its definition)."""
    local = SITE.replace('crs = "EPSG:32631"', "").replace("4950006", "6").replace("560000", "0")
    local = local.replace("560006, 4949998", "6, -2").replace("559991, 4949994", "-9, -6")
    (fixing,) = option_fixing(
        judged(written(tmp_path, local + option_text("one", bearing=175))), "one", None, None
    )
    (way,) = (part for part in sheet_parts(fixing) if part.title == "Which way")
    assert "By compass: 175.0° true, less the declination of the place (east positive)." in " ".join(
        way.lines
    )


def test_bearings_have_three_figures():
    """As they are read out: 007, never 360."""
    assert [bearing_words(b) for b in (0.0, 7.0, 90.04, 359.99)] == ["000.0°", "007.0°", "090.0°", "000.0°"]


def test_the_command(tmp_path, capsys):
    """It prints the sheet, writes it as PDF, the same bytes again, and the key `fixing`."""
    site = written(tmp_path, SITE + option_text("one", bearing=180))
    out = tmp_path / "out"
    assert run("sheet", site, "--out", out, "--on", "2026-11-27") == 0
    told = capsys.readouterr().out
    assert "by compass" in told
    assert "Work at height" in told
    pages = (out / "sheet.pdf").read_bytes()
    assert pages[:5] == b"%PDF-"
    assert json.loads((out / "results.json").read_text())["options"][0]["fixing"][0]["name"] == "D1"
    assert run("sheet", site, "--out", tmp_path / "again", "--on", "2026-11-27") == 0
    assert (tmp_path / "again" / "sheet.pdf").read_bytes() == pages
    capsys.readouterr()
    assert run("sheet", site, "--out", out, "--on", "2040-01-01") == 2
    assert "no magnetic model covers 2040-01-01" in capsys.readouterr().err

"""Walk tests made from known errors: the true cause is named, on the sheet and back; the whole study is
`seeded_tests.py`."""

import csv
import io
import json
import tomllib

import numpy as np
import pytest
import seeded_tests as seeded
from site_files import option_text, run, written

from terrain3d.cover.sighted import sighted
from terrain3d.detector.figures import find_figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.terrain import Mount, terrain_from_heights
from terrain3d.walktest.choose import proving
from terrain3d.walktest.faults import Cause
from terrain3d.walktest.spots import candidate_spots, postures

#: A slope with a pole, a way in, two marks and a hedge; the survey is as good as a level.
SITE = """
[site]
name = "slope"
cell = 0.5
[ground]
plane = { fall = 3, towards = 180, extent = 44 }
error = 0.03
[[mount]]
name = "pole"
at = [0, 8]
[[mark]]
name = "=gate post"
at = [4, 2]
[[approach]]
name = "lane"
path = [[-9, 2], [9, 2]]
[walk_test]
points = 14
wrong = 0.02
"""


@pytest.fixture(scope="module")
def one() -> seeded.Seeded:
    """A site of the study."""
    return seeded.seeded(1)


def test_twelve_points_are_enough(one):
    """No more are walked, in postures of which some tell the tilt."""
    assert 6 <= len(one.spots) <= 12
    assert {one.spots.figures[k].name for k in one.spots.figure} >= {"person"}
    assert len(set(one.spots.figure)) > 1


def test_a_tilt_of_two_degrees_is_found(one):
    """Within half a degree, to both sides, and told with its side."""
    for true in (-2.0, 2.0):
        assert seeded.finds_tilt(one, one.answers(tilt_deg=true), true)


def test_a_wrong_range_is_found_by_name(one):
    """The cause is the range."""
    assert seeded.finds_range(one, one.answers(range_m=seeded.wrong_range(one, 1)))


def test_right_answers_say_that_the_map_holds(one):
    """Nothing is off."""
    assert one.told(one.answers()).causes[0].cause is Cause.AS_SET


def test_a_head_that_is_dead(one):
    """Of two heads the one that sees nothing is named, by its number."""
    told = one.told(one.answers(dead_head=1))
    assert told.causes[0].cause is Cause.HEAD
    assert told.causes[0].value == 2
    assert told.is_told


def test_a_unit_that_lights_nowhere(one):
    """No power, or not set to walk test: no setting is blamed for it."""
    told = one.told(np.zeros(len(one.answers()), bool))
    assert told.causes[0].cause is Cause.UNIT
    assert told.is_told


def test_each_fault_is_named_or_told_alike():
    """Height, tilt, roll, bearing, a wrong range, a dead head, leaves, no power: each comes first or stands
    among those that are told, on a slope with a hedge; ground that lies otherwise is at least blamed on no
    setting for sure. `seeded_tests.py faults` has more sites."""
    one = seeded.seeded(1, has_hedge=True)
    faults = seeded.faulty(one, 1)
    assert len(faults) == 10
    _, of_ground = faults.pop("ground off")
    told = one.told(of_ground)
    assert not told.is_told or told.causes[0].cause in (Cause.AS_SET, Cause.GROUND)
    fates = {name: seeded.fate(one.told(seen), cause) for name, (cause, seen) in faults.items()}
    assert [name for name, fate in fates.items() if fate == seeded.MISSED] == []
    named = ("tilt", "bearing", "range step", "dead head", "unit")
    assert [fates[name] for name in named] == [seeded.NAMED] * 5


def test_who_crawls_proves_dead_ground_too():
    """Of one posture alone: under an upper layer 1 m up all ground is dead to it, and that is walked."""
    crawling = find_figure("person crawling", ())
    assert postures(crawling, 1.0) == (crawling,)
    level = terrain_from_heights(np.zeros((121, 121)), 0.25, mounts=(Mount("pole", 0, 0),))
    unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    spots = candidate_spots(level, sighted(level, unit), (crawling,))
    assert [spots.proves[row].kind for row in proving(spots, [])] == ["dead"]


def filled(sheet: bytes, other: dict[str, str]) -> bytes:
    """A sheet filled in as it expects, but for some points."""
    rows = list(csv.DictReader(io.StringIO(sheet.decode())))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, rows[0].keys())
    writer.writeheader()
    for row in rows:
        writer.writerow({**row, "seen": other.get(row["point"], row["expect"])})
    return text.getvalue().encode()


def test_from_the_sheet_to_the_site_file(tmp_path, capsys):
    """The sheet names where, which way and what; it comes back; the tilt is found, written, and told
    later."""
    site = written(tmp_path, SITE + option_text("as drawn", bearing=180, range=8))
    out = tmp_path / "out"
    assert run("walktest", site, "--out", out) == 0
    told = capsys.readouterr().out
    assert "walk test of" in told
    assert "1. " in told
    sheet = (out / "walktest.csv").read_bytes()
    assert (out / "walktest.pdf").read_bytes()[:5] == b"%PDF-"
    # A name that a program for tables would take for a formula is none in the sheet.
    assert b",=gate" not in sheet
    (tmp_path / "right.csv").write_bytes(filled(sheet, {}))
    assert run("walktest", site, "--out", out, "--read", tmp_path / "right.csv") == 0
    assert "the map holds" in capsys.readouterr().out
    # The same unit, nose 2 degrees too low, as `cover` of a site file that says so has it.
    points = json.loads((out / "results.json").read_text())["options"][0]["walktest"]["points"]
    assert [point["number"] for point in points] == list(range(1, len(points) + 1))
    (tmp_path / "low").mkdir()
    low = written(tmp_path / "low", SITE + option_text("as drawn", bearing=180, range=8, tilt=2))
    truly = as_it_is(low, sheet)
    (tmp_path / "low.csv").write_bytes(filled(sheet, truly))
    words = ("--read", tmp_path / "low.csv", "--write", "--on", "2026-05-03")
    assert run("walktest", site, "--out", out, *words) == 0
    told = capsys.readouterr().out
    assert "the nose is" in told
    assert "too low" in told
    put_back = tomllib.loads(site.read_text())
    assert put_back["option"][1]["name"] == "as drawn, as it hangs"
    assert put_back["option"][1]["detector"][0]["tilt"] == pytest.approx(2, abs=0.5)
    tested = put_back["walk_tested"][0]
    differing = len([point for point in truly if truly[point] != expected(sheet)[point]])
    assert tested["points"] == len(points)
    assert tested["as_told"] == len(points) - differing
    assert run("compare", site, "--out", out, "--stills", "none") == 0
    assert (
        f"Walk-tested on 2026-05-03: {tested['as_told']} of {len(points)} points as told."
        in capsys.readouterr().out
    )
    option = json.loads((out / "results.json").read_text())["options"][0]
    assert option["walk_tested"] == {
        "on": "2026-05-03", "points_count": len(points), "as_told_count": tested["as_told"],
    }  # fmt: skip
    # A second test takes the place of the first.
    assert run("walktest", site, "--out", out, "--option", "as drawn", *words) == 0
    assert len(tomllib.loads(site.read_text())["walk_tested"]) == 1


def expected(sheet: bytes) -> dict[str, str]:
    return {row["point"]: row["expect"] for row in csv.DictReader(io.StringIO(sheet.decode()))}


def as_it_is(site, sheet: bytes) -> dict[str, str]:
    """What another site's unit shows on the points of a sheet: as its own reading of them expects."""
    out = site.parent / "out"
    path = site.parent / "sheet.csv"
    path.write_bytes(filled(sheet, {}))
    assert run("walktest", site, "--out", out, "--read", path) == 0
    points = json.loads((out / "results.json").read_text())["options"][0]["walktest"]["points"]
    return {str(point["number"]): "yes" if point["expect"] == "lights" else "no" for point in points}


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--write",), "--write goes with --read"),
        (("--read", "a.csv", "--write"), "give --on"),
        (("--option", "gone"), "gone"),
    ],
)
def test_what_cannot_be_asked(tmp_path, capsys, words, what):
    """It is said before anything is written."""
    site = written(tmp_path, SITE + option_text("as drawn", bearing=180))
    assert run("walktest", site, "--out", tmp_path / "out", *words) == 2
    assert what in capsys.readouterr().err
    assert not (tmp_path / "out").exists()

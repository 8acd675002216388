"""What is written: numbers in JSON, verdicts in GeoTIFF, whole or not at all, the same bytes again."""

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio

from terrain3d.cover.verdict import UNKNOWN
from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.paper.folder import write_results
from terrain3d.paper.rasters import verdicts_tif
from terrain3d.paper.results import results_json
from terrain3d.paper.whole import WRITTEN_HERE, whole_folder

SITE = """
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
[[option]]
name = "=north"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 0
[[option]]
name = "south"
[[option.detector]]
name = "D1"
mount = "pole"
type = "two-head-180"
height = 1.4
bearing = 180
range = 8
"""


@pytest.fixture(scope="module")
def outcome(tmp_path_factory):
    """A small drawn site in local metres, judged."""
    path = tmp_path_factory.mktemp("site") / "site.toml"
    path.write_text(SITE.replace('crs = "EPSG:32631"\n', ""), encoding="utf-8")
    return run(path)


def test_results_have_the_agreed_shape(outcome):
    """Every key of the results schema is there, and the areas add up to the ground."""
    document = json.loads(results_json(outcome))
    assert document["schema"] == "terrain3d/results/1"
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


def test_a_failure_leaves_earlier_results_untouched(outcome, tmp_path):
    """A drawer that fails half-way leaves the folder as it was, with nothing beside."""
    write_results(outcome, tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    def fail(_outcome, folder: Path) -> None:
        (folder / "half.png").write_bytes(b"x")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_results(outcome, tmp_path, fail)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def write_two(out: Path) -> None:
    """Two new results."""
    with whole_folder(out) as scratch:
        (scratch / "a.txt").write_text("new a")
        (scratch / "b.txt").write_text("new b")


def write_onto_a_full_device(out: Path) -> None:
    """A write that the device refuses for want of space."""
    with whole_folder(out), Path("/dev/full").open("wb", buffering=0) as device:
        device.write(b"x")


def test_a_move_that_fails_is_undone(tmp_path, monkeypatch):
    """When the second of two results cannot take its place, the first gives its place back."""
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "b.txt").write_text("old b")
    replace = Path.replace

    def stubborn(self: Path, target: Path) -> Path:
        if self.name == "b.txt" and "unfinished" in str(self.parent) and ".replaced" not in str(self):
            raise OSError(28, "No space left on device")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", stubborn)
    with pytest.raises(InputError, match="disk is full"):
        write_two(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.txt"]
    assert (tmp_path / "a.txt").read_text() == "old a"
    assert (tmp_path / "b.txt").read_text() == "old b"


def test_a_full_disk_is_one_clear_message(tmp_path):
    """Writing onto a device that is always full ends in words, and makes no folder."""
    if not Path("/dev/full").exists():
        pytest.fail("this system has no /dev/full to stand for a full disk")
    out = tmp_path / "new"
    with pytest.raises(InputError, match="disk is full"):
        write_onto_a_full_device(out)
    assert not out.exists()


def test_a_file_in_the_way_is_named(tmp_path):
    """A file where the folder should be is not overwritten."""
    place = tmp_path / "out"
    place.write_text("mine")
    with pytest.raises(InputError, match="a file of that name"), whole_folder(place):
        pass
    assert place.read_text() == "mine"


def test_other_files_in_the_folder_stay(outcome, tmp_path):
    """Only the results' own names are replaced."""
    (tmp_path / "notes.txt").write_text("mine")
    write_results(outcome, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["notes.txt", "results.json", "verdicts.tif"]


def test_folders_of_results_keep_what_is_not_ours(outcome, tmp_path):
    """A photo of the user's in stills/ stays; a picture of an option that is no more goes."""

    def draw(*names):
        return lambda _outcome, folder: [(folder / name).write_bytes(b"x") for name in names]

    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / "photo.jpg").write_bytes(b"mine")
    write_results(outcome, tmp_path, draw("01-plan.png", "02-plan.png"))
    write_results(outcome, tmp_path, draw("01-plan.png"))
    names = sorted(p.name for p in (tmp_path / "stills").iterdir() if not p.name.startswith("."))
    assert names == ["01-plan.png", "photo.jpg"]
    assert (tmp_path / "stills" / "photo.jpg").read_bytes() == b"mine"


def test_a_list_of_files_reaches_nowhere_else(outcome, tmp_path):
    """Paths put into the list of written files take nothing away outside their folder."""
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / WRITTEN_HERE).write_text("../notes.txt\n")
    write_results(outcome, tmp_path, lambda _outcome, folder: (folder / "a.png").write_bytes(b"x"))
    assert (tmp_path / "notes.txt").read_text() == "mine"

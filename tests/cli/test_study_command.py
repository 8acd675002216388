"""`terrain3d study` as a person runs it: what it writes and what it says."""

import json

import numpy as np
import pytest
import rasterio
from blank_pages import draw_blanks
from site_files import ALL_PARTS, option_text, run

from terrain3d.cli.study import PARTS as NAMED
from terrain3d.paper.ours import WRITTEN_HERE
from terrain3d.study import PARTS

SITE = ALL_PARTS + option_text("up", tilt=-3)


@pytest.fixture
def site(tmp_path):
    """A small drawn site with something for every part."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


def test_the_parts_are_those_of_the_study():
    """The names that help lists without loading anything are the parts there are."""
    assert NAMED == PARTS


def test_a_study_writes_numbers_maps_and_pages(site, tmp_path, capsys, monkeypatch):
    """results.json grows by every part, the maps have one band an option, each part has its page."""
    draw_blanks(monkeypatch)
    out = tmp_path / "out"
    assert run("study", site, "--out", out) == 0
    document = json.loads((out / "results.json").read_text())
    assert document["schema"] == "terrain3d/results/2"
    (option,) = document["options"]
    for key in ("walks", "routes", "animals", "crawling", "beyond", "nuisances", "heat", "sun"):
        assert option[key], key
    assert document["doubt"]["draws"] == 3
    assert option["nuisances"][0]["name"] == "vent"
    with rasterio.open(out / "chances.tif") as chances, rasterio.open(out / "animals.tif") as animals:
        assert chances.descriptions == animals.descriptions == ("up",)
        thirds = chances.read(1) * 3
        assert np.allclose(thirds, np.round(thirds))
        lowest = animals.read(1)
    red_deer = next(row for row in option["animals"] if row["name"] == "red deer")
    assert (lowest > 0).sum() * 0.25 == pytest.approx(red_deer["alarm_m2"])
    drawn = {path.name.split("-")[1].removesuffix(".png") for path in (out / "stills").glob("*.png")}
    assert drawn == {"walks", "fans", "routes", "close", "animals", "beyond", "heat", "sun", "doubt"}
    said = capsys.readouterr().out
    for word in ("walks", "routes", "close in", "animals", "heat", "sun", "doubt", "walk-test every unit"):
        assert word in said


def test_one_part_without_pages(site, tmp_path):
    """What is not asked for is neither worked out nor drawn."""
    out = tmp_path / "out"
    assert run("study", site, "--out", out, "--part", "animals", "--stills", "none") == 0
    (option,) = json.loads((out / "results.json").read_text())["options"]
    assert "animals" in option
    assert "walks" not in option
    names = sorted(path.name for path in out.iterdir())
    assert names == [WRITTEN_HERE, "animals.tif", "results.json", "verdicts.tif"]


def test_the_same_study_twice_gives_the_same_bytes(site, tmp_path):
    """Draws are seeded: results and maps do not differ between runs."""
    for name in ("a", "b"):
        assert run("study", site, "--out", tmp_path / name, "--stills", "none") == 0
    for file in ("results.json", "chances.tif", "animals.tif"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_a_figure_nobody_knows_is_refused(site, tmp_path, capsys):
    """A walk by an unknown figure ends in one message and writes nothing."""
    site.write_text(SITE.replace('name = "across"', 'name = "across"\nfigure = "ghost"'), encoding="utf-8")
    assert run("study", site, "--out", tmp_path / "out", "--part", "walks") == 2
    assert "ghost" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()

"""The package as a library: what a notebook does with it, held to what the commands do."""

import importlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from site_files import FARM, YARD, option_text, written

import terrain3d
from terrain3d.paper.results import results_json
from terrain3d.search.run import read_search, run_search

ROOT = Path(__file__).parents[1]
TWO_OPTIONS = YARD + option_text("up") + option_text("down", bearing=180)


@pytest.fixture(scope="module")
def outcome():
    """The demo's options."""
    return terrain3d.judge(terrain3d.open_site(ROOT / "data" / "demo.toml"))


def test_the_lines_of_the_readme_run_and_end_in_a_picture(monkeypatch, capsys):
    """What is copied from the README into a notebook works, and its last line is a figure to look at."""
    monkeypatch.chdir(ROOT)
    text = (ROOT / "README.md").read_text("utf-8")
    (block,) = re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    *lines, last = block.strip().split("\n")
    names: dict = {}
    exec("\n".join(lines), names)
    figure = eval(last, names)
    figure.canvas.draw()
    seen = np.asarray(figure.canvas.buffer_rgba())[..., :3]
    assert len(np.unique(seen.reshape(-1, 3), axis=0)) > 50
    assert names["best"].name in capsys.readouterr().out
    assert 0 < names["deer"] < names["best"].area_m2["both"]


def test_another_figure_needs_no_file(outcome, tmp_path):
    """The same as a site file that names it, to the byte; and back again."""
    text = (ROOT / "data" / "demo.toml").read_text("utf-8").replace('figure = "person"', 'figure = "dog"')
    text = text.replace('"demo.laz"', f'"{(ROOT / "data" / "demo.laz").as_posix()}"')
    of_file = terrain3d.judge(terrain3d.open_site(written(tmp_path, text)))
    dogs = terrain3d.with_figure(outcome, "dog")
    assert results_json(dogs) == results_json(of_file)
    assert results_json(terrain3d.with_figure(dogs, "person")) == results_json(outcome)
    with pytest.raises(terrain3d.InputError, match="did you mean 'dog'"):
        terrain3d.with_figure(outcome, "dogg")


def test_arrays_alone_give_what_a_plane_in_a_file_gives(tmp_path):
    """The same ground as heights: the same verdicts and areas."""
    of_file = terrain3d.judge(terrain3d.open_site(written(tmp_path, TWO_OPTIONS)))
    ground = of_file.terrain.ground
    land = terrain3d.terrain_from_heights(
        ground.z, ground.cell_m, ground.x0, ground.y0, protect=of_file.terrain.protect
    )
    units = {option.name: option.detectors for option in of_file.options}
    of_arrays = terrain3d.judge_units(terrain3d.site_of(land, of_file.site_name), units)
    for mine, theirs in zip(of_arrays.options, of_file.options, strict=True):
        assert np.array_equal(mine.verdicts, theirs.verdicts)
        assert (mine.area_m2, mine.protect, mine.causes) == (theirs.area_m2, theirs.protect, theirs.causes)
    assert of_arrays.ranking == of_file.ranking
    assert terrain3d.study_of(of_arrays, ("animals", "beyond")).options[0].animals.animals


def test_a_set_is_found_on_a_site_that_is_open(tmp_path):
    """The same as the command finds from the file, its survey not read again."""
    path = written(tmp_path, FARM)
    site = terrain3d.open_site(path)
    mine = terrain3d.search_of(site)
    theirs = run_search(read_search(path, lambda _step, _share: None), lambda _step, _share: None)
    assert mine.terrain is site.terrain
    assert terrain3d.results_of(mine) == terrain3d.results_of(theirs)
    with pytest.raises(terrain3d.InputError, match="needs a site file"):
        terrain3d.search_of(terrain3d.site_of(site.terrain))


def test_results_are_written_as_the_command_writes_them(outcome, tmp_path):
    """Plain values, and the same text in the folder."""
    terrain3d.write(outcome, tmp_path)
    assert (tmp_path / "results.json").read_text("utf-8") == results_json(outcome)
    assert json.loads(results_json(outcome)) == terrain3d.results_of(outcome)
    assert (tmp_path / "verdicts.tif").is_file()


def test_values_compare(outcome):
    """An outcome and all it holds can be compared; options are had by name, and a wrong one is told."""
    assert outcome != terrain3d.with_figure(outcome, "dog")
    assert outcome.option("gate pole, one head") == outcome.options[0]
    assert outcome.options[0].units[0] != outcome.options[1].units[0]
    with pytest.raises(
        terrain3d.InputError, match=r"(?s)there is no option 'gate'.*there are gate pole, one head, "
    ):
        outcome.option("gate")


def test_a_unit_answers_for_settings_from_the_same_eye_alone(outcome):
    """Set higher it sees something else, which is refused."""
    seen = outcome.options[0].units[0]
    turned = terrain3d.with_units(outcome, outcome.options[0].name, (replace(seen.unit, tilt_deg=3.0),))
    again = seen.set_to(turned.options[0].detectors[0])
    assert np.array_equal(again.verdicts(outcome.terrain.ground, 1.7), turned.options[0].verdicts)
    with pytest.raises(ValueError, match="what is seen is from"):
        seen.set_to(replace(seen.unit, height_m=1.1))


def test_the_page_of_the_library_is_whole_and_builds_without_a_warning(tmp_path, monkeypatch):
    """Every name of the package's face is on it, and the documentation tool has nothing to say."""
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    build_api = importlib.import_module("build_api")
    listed = [name for names in build_api.GROUPS.values() for name in names]
    assert sorted(listed) == sorted(terrain3d.__all__)
    # In a process of its own: what the tool warns itself of is no warning about the page.
    done = subprocess.run(
        [sys.executable, ROOT / "scripts" / "build_api.py", tmp_path], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")
    text = (tmp_path / "index.html").read_text("utf-8")
    assert all(f'id="terrain3d.{name}"' in text for name in listed)

"""`terrain3d search` of one site and of a folder: options written back, a failed site told."""

import json
from pathlib import Path

import pytest
from site_files import FARM, OWN_TYPE
from site_files import run as command

from terrain3d.site import load_site

SITE = FARM.replace("fall = 5", "fall = FALL")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Three sites, the one in the middle at fault, and a detector type beside them; no pictures are drawn."""
    monkeypatch.setattr("terrain3d.show.pages.stills.write_stills", lambda *_, **__: [])
    monkeypatch.chdir(tmp_path)
    place = tmp_path / "sites"
    place.mkdir()
    for name, fall in (("a", "5"), ("b", "5000"), ("c", "12")):
        (place / f"{name}.toml").write_text(SITE.replace("FALL", fall))
    (place / "small.toml").write_text(OWN_TYPE)
    return place


def run(*words):
    """The exit status of one search."""
    return command("search", *words)


def test_what_was_found_is_written_back_and_judged_alike(folder, capsys):
    """The options put into the site file are those of the results; searching again replaces them."""
    site = folder / "a.toml"
    assert run(site, "--write") == 0
    told = capsys.readouterr().out
    names = [option.name for option in load_site(site).option if option.name.startswith("search: ")]
    assert len(names) == 2
    assert all(f'"{name}"' in told.split("written to ")[-1] for name in names)
    new = site.read_text()
    assert new.startswith(SITE.replace("FALL", "5"))
    best, other = load_site(site).option
    assert (best.name, other.name) == ("search: best", "search: runner-up")
    (unit,) = json.loads(Path("out/results.json").read_text())["search"]["best"]["units"]
    written = best.detector[0]
    assert (written.mount, written.height) == (unit["mount"], unit["height_m"])
    assert written.type == unit["type_in_site_file"]
    assert (written.bearing, written.tilt, written.range) == tuple(
        unit[key] for key in ("bearing_deg", "tilt_deg", "range_m")
    )
    assert run(site, "--write") == 0
    assert site.read_text() == new


def test_a_folder_is_searched_and_a_failed_site_told(folder, capsys):
    """Every site that can be searched has its results; the failed one its message; the status tells."""
    assert run(folder, "--write") == 2
    told = capsys.readouterr()
    assert "3 sites searched, 1 failed" in told.out
    assert "a.toml: " in told.out
    assert "c.toml: " in told.out
    assert "b.toml: failed: 5000 is out of bounds" in told.err
    assert str(folder / "b.toml") in told.err
    assert sorted(path.name for path in Path("out").iterdir()) == ["a", "a.judged", "c", "c.judged"]
    for name in "ac":
        assert json.loads(Path(f"out/{name}/results.json").read_text())["search"]["mount_count"] == 2
        assert len(load_site(folder / f"{name}.toml").option) == 2
    assert (folder / "b.toml").read_text() == SITE.replace("FALL", "5000")


def test_sites_that_all_succeed_end_well(folder, capsys):
    """With no fault the status is 0; a site whose results cannot be written is a failed one."""
    (folder / "b.toml").unlink()
    assert run(folder) == 0
    assert "2 sites searched" in capsys.readouterr().out
    blocked = Path("elsewhere")
    blocked.mkdir()
    (blocked / "a").write_text("in the way")
    assert run(folder, "--out", blocked) == 2
    told = capsys.readouterr()
    assert "a.toml: failed: there is a file of that name" in told.err
    assert (blocked / "c" / "results.json").exists()


def test_a_folder_without_sites_is_told(tmp_path, capsys):
    """A folder that holds no site file is named; detector types are none."""
    (tmp_path / "small.toml").write_text(OWN_TYPE)
    assert run(tmp_path) == 2
    assert "there is no site file in the folder" in capsys.readouterr().err

"""`terrain3d mounts`: the table, the page, and what is put into the site file."""

import tomllib
from pathlib import Path

import pytest
from site_files import run as command

from terrain3d.site import load_site

SITE = """\
# a farm
[site]
name = "farm"
cell = 0.5

[ground]
plane = { fall = 10, towards = 90, extent = 40 }

[[solid]]
name = "garden wall"
path = [[-6.0, 8.0], [6.0, 8.0]]
height = 1.06
thickness = 0.2

[[protect]]
name = "yard"
outline = [[-6.0, -4.0], [6.0, -4.0], [6.0, 4.0], [-6.0, 4.0]]

[[mount]]
name = "pole"
at = [6.3, 0.0]
"""


@pytest.fixture
def site(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "site.toml"
    path.write_bytes(SITE.encode())
    return path


def run(*words):
    """The exit status of one call of `mounts`."""
    return command("mounts", *words)


def test_mounts_are_listed_and_drawn(site, capsys):
    """A row for each mount with its place, heights and reason; a plan; the site file as it was."""
    assert run(site) == 0
    told = capsys.readouterr().out
    assert "farm: 12 mounts proposed" in told
    (row,) = [line for line in told.splitlines() if "garden wall 1" in line]
    assert [cell.strip() for cell in row.split("│")[1:-1]] == [
        "1", "garden wall 1", "-3.000", "8.200", "0.8 0.9 1", "fixed to the north face of garden wall",
    ]  # fmt: skip
    assert "beside the 1 that the site file names" in told
    assert "planning aid" in told
    assert Path("out/mounts.png").read_bytes().startswith(b"\x89PNG")
    assert site.read_bytes() == SITE.encode()


def test_mounts_are_put_into_the_site_file_once(site, capsys):
    """What is written loads, leaves every byte before it alone, and leaves no place for more."""
    assert run(site, "--write", "--stills", "none") == 0
    assert "12 added to" in capsys.readouterr().out
    new = site.read_bytes()
    assert new.startswith(SITE.encode())
    mounts = load_site(site).mount
    assert len(mounts) == 13
    assert mounts[1].name == "garden wall 1"
    assert mounts[1].at == (-3.0, 8.2)
    assert mounts[1].heights == (0.8, 0.9, 1.0)
    assert run(site, "--write", "--stills", "none") == 0
    told = capsys.readouterr().out
    assert "No place is left for a mount, beside the 13 that the site file names" in told
    assert site.read_bytes() == new


def test_spacing_and_types_decide(site):
    """Farther apart there are fewer mounts; heights are those that the types of the search allow."""
    assert run(site, "--every", "12", "--write", "--stills", "none") == 0
    assert 1 < len(tomllib.loads(site.read_text())["mount"]) < 8
    (site.parent / "high.toml").write_text(
        'name = "high"\nnominal_height = 2.0\nmount_height = [1.8, 2.2]\nmax_range = 12\n'
        "range_settings = [12]\n"
        '[[head]]\narc = 90\n[[head.layer]]\nname = "lower"\nelevation = "range"\nthickness = 3\n'
    )
    site.write_text(SITE + '[search]\ntypes = ["high.toml"]\n')
    assert run(site, "--write", "--stills", "none") == 0
    added = load_site(site).mount[1:]
    assert {mount.heights for mount in added} == {(1.8, 1.9, 2.0, 2.1, 2.2)}
    assert not any("wall" in mount.name for mount in added)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("[[mount]]", "[[muont]]"), "unknown key 'muont'"),
        (("# a farm", "[search]\ntypes = ['one-head-09']"), "unknown detector type 'one-head-09'"),
        (("# a farm", "[search]\ntypes = []"), "no type is to be searched"),
        (("fall = 10", "fall = 1000"), "out of bounds"),
    ],
)
def test_bad_input_ends_in_words(site, capsys, change, told):
    """One clear message, exit status 2, nothing written."""
    site.write_text(SITE.replace(*change))
    assert run(site, "--write") == 2
    assert told in capsys.readouterr().err
    assert not Path("out").exists()


def test_a_mount_list_in_braces_is_left_alone(site, capsys):
    """Mounts drawn in one list take no table: said in words, and the file stays."""
    braces = SITE[: SITE.index("[[mount]]")].replace(
        "[site]", "mount = [{name = 'a', at = [6.3, 0.0]}]\n[site]"
    )
    site.write_text(braces)
    assert run(site, "--write") == 2
    assert "laid out so that no [[mount]] can be put into it" in capsys.readouterr().err
    assert site.read_text() == braces

"""The command line: what it prints, where, and with which exit status."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from blank_pages import draw_blanks
from site_files import SLOPE, YARD, option_text, run

from terrain3d.cli.main import main
from terrain3d.paper.ours import WRITTEN_HERE

SITE = SLOPE + option_text("north", range=12)


@pytest.fixture
def site(tmp_path) -> Path:
    """A small drawn site."""
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return path


def test_help_names_every_command_and_the_caution(capsys):
    """Help lists the commands and says what the tool is not."""
    assert run("--help") == 0
    text = capsys.readouterr().out
    for name in ("cover", "compare", "stills", "view", "inspect"):
        assert name in text
    assert "not proof of detection" in text


@pytest.mark.parametrize("name", ["cover", "compare", "stills", "view", "inspect"])
def test_every_command_has_help(name, capsys):
    """Each command explains itself."""
    assert run(name, "--help") == 0
    assert "Usage: terrain3d" in capsys.readouterr().out


def test_cover_writes_results_and_tells_areas(site, tmp_path, capsys, monkeypatch):
    """`cover` writes the three results with a list of them, and prints the areas they hold."""
    draw_blanks(monkeypatch)
    out = tmp_path / "out"
    assert run("cover", site, "--out", out) == 0
    assert sorted(p.name for p in out.iterdir()) == [WRITTEN_HERE, "results.json", "stills", "verdicts.tif"]
    document = json.loads((out / "results.json").read_text())
    printed = capsys.readouterr().out
    assert f"both layers {document['options'][0]['area_m2']['both']:.1f} m2" in printed


def test_stills_draw_one_unit_along_a_bearing(site, tmp_path, capsys, monkeypatch):
    """`stills` takes a unit and a bearing for its sections; a bearing without sections is refused."""
    draw_blanks(monkeypatch)
    out = tmp_path / "out"
    assert run("stills", site, "--out", out, "--kind", "section", "--unit", "D1", "--bearing", "-30") == 0
    drawn = capsys.readouterr().out.split()
    assert drawn
    assert all("-section-" in line for line in drawn)
    assert run("stills", site, "--out", out, "--kind", "plan", "--bearing", "30") == 2
    assert "--bearing is for sections" in capsys.readouterr().err
    assert run("stills", site, "--out", out, "--kind", "section", "--unit", "nobody") != 0
    assert "no option has a unit 'nobody'" in capsys.readouterr().err


def test_stills_cut_sections_along_a_walk(tmp_path, capsys, monkeypatch):
    """By its name; a name that is not drawn, a kind without sections and two lines at once are refused."""
    draw_blanks(monkeypatch)
    site, out = tmp_path / "site.toml", tmp_path / "out"
    site.write_text(YARD + option_text("north", range=12))
    assert run("stills", site, "--out", out, "--kind", "section", "--along", "across") == 0
    assert capsys.readouterr().out.split() == [str(out / "stills" / "01-section-north.png")]
    for more, told in (
        (("--along", "boundary"), "there is no section, walk, way in or boundary 'boundary'"),
        (("--along", "across", "--kind", "plan"), "--along is for sections"),
        (("--along", "across", "--bearing", "30"), "give --along or --bearing"),
    ):
        assert run("stills", site, "--out", out, *more) == 2
        assert told in capsys.readouterr().err


def test_films_are_kept_as_pictures_are(tmp_path, capsys, monkeypatch):
    """Drawn when they are asked for alone; on the list of what is ours; gone with the walk that they show."""
    draw_blanks(monkeypatch)
    site, out = tmp_path / "site.toml", tmp_path / "out"
    site.write_text(YARD + option_text("north", range=12))
    assert run("stills", site, "--out", out) == 0
    assert "01-frames-north.png" in capsys.readouterr().out
    assert not list((out / "stills").glob("*.gif"))
    assert run("stills", site, "--out", out, "--kind", "film") == 0
    assert capsys.readouterr().out.split() == [str(out / "stills" / "01-film-north.gif")]
    assert "  01-film-north.gif" in (out / "stills" / WRITTEN_HERE).read_text()
    site.write_text(SLOPE + option_text("north", range=12))
    assert run("stills", site, "--out", out, "--kind", "film", "--kind", "plan") == 0
    assert not list((out / "stills").glob("*.gif"))


def test_an_address_is_no_folder_to_write_to(site, tmp_path, capsys, monkeypatch):
    """It would be made one, of that name, below the folder that the command was called in."""
    monkeypatch.chdir(tmp_path)
    assert run("cover", site, "--out", "https://example.org/out") == 2
    assert "is an address, not a folder on this machine" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["site.toml"]


def test_compare_prints_a_table_on_standard_output_alone(site, tmp_path, capsys):
    """In a pipe: the table on standard output, nothing on standard error."""
    assert run("compare", site, "--out", tmp_path / "out", "--stills", "none") == 0
    printed = capsys.readouterr()
    assert "north" in printed.out
    assert "both" in printed.out
    assert printed.err == ""


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (('name = "pole"', 'nmae = "pole"'), "did you mean 'name'"),
        (('mount = "pole"', 'mount = "poole"'), "did you mean 'pole'"),
        (("one-head-90", "one-head-60"), "did you mean 'one-head-90'"),
        (("range = 12", "range = 11"), "it has 4, 6, 8, 10, 12"),
        (("cell = 0.5", "cell = 0"), "give metres, at least 0.02 and at most 5"),
        (("cell = 0.5", "cell = 1e300"), "site: cell"),
        (("cell = 0.5", 'figure = "persom"'), "did you mean 'person'"),
        (("height = 1.0", "height = -1"), "option 'north', detector 'D1': height"),
        (("height = 1.0", "height = 11"), "give metres, more than 0 and at most 10"),
        (("height = 1.0", "height = nan"), "finite"),
        (("at = [0, 0]", "at = [900, 0]"), "pole"),
        (("plane = {", 'file = "no.laz" # {'), "no.laz"),
        (("[site]", "[site"), "not TOML"),
        (('name = "Slope"', 'name = ""'), "it is empty"),
        (('name = "Slope"', 'name = "a\\u001b[31mred"'), "cannot be printed"),
        (("at = [0, 0]", "at = [0]"), "pole"),
        (("[[mount]]", "[mount]"), "not a list"),
        (("bearing = 0", 'bearing = "north"'), "bearing"),
        (("bearing = 0", "bearing = 0\ntilt = 80"), "tilt"),
        (("bearing = 0", "bearing = 0\npan = [1, 2]"), "2 angles"),
    ],
)
def test_bad_sites_end_in_one_message_and_status_2(site, tmp_path, capsys, edit, says):
    """Each fault names what is wrong and what to do, without a traceback, and writes nothing."""
    site.write_text(SITE.replace(*edit))
    assert run("cover", site, "--out", tmp_path / "out") == 2
    printed = capsys.readouterr()
    assert says in printed.err
    assert "to mend" in printed.err
    assert "Traceback" not in printed.err
    assert not (tmp_path / "out").exists()


def test_a_byte_order_mark_is_no_fault(site, tmp_path):
    """Some editors put one before the text; it is not the person's fault."""
    site.write_text("\ufeff" + SITE)
    assert run("cover", site, "--out", tmp_path / "out", "--stills", "none") == 0


def test_coordinates_of_another_crs_are_named(site, tmp_path, capsys):
    """Metres called degrees: the key, the numbers and the mend, not a fault of the program."""
    site.write_text(
        SITE.replace("cell = 0.5", 'crs = "EPSG:4326"').replace("at = [0, 0]", "at = [560026.0, 4950020.0]")
    )
    assert run("cover", site, "--out", tmp_path / "out") == 2
    err = capsys.readouterr().err
    assert "(560026, 4950020) cannot be in WGS 84" in err
    assert f"{site}: site.crs" in err


def test_a_missing_site_file_is_named(tmp_path, capsys):
    """The path that was asked for is in the message."""
    assert run("cover", tmp_path / "none.toml") == 2
    assert "none.toml" in capsys.readouterr().err


def test_unknown_commands_and_options_are_status_2(capsys):
    """The command line's own faults are bad input like any other."""
    assert run("covver") == 2
    assert run("cover", "--oout", "x") == 2
    assert "Traceback" not in capsys.readouterr().err


def test_debug_shows_the_traceback(site):
    """With --debug the fault itself comes through."""
    site.write_text(SITE.replace("one-head-90", "one-head-60"))
    with pytest.raises(ValueError, match="one-head-60"):
        main(["--debug", "cover", str(site)])


def test_a_fault_of_ours_is_told_as_such(site, capsys, monkeypatch):
    """What nobody foresaw still ends in a message, with another exit status."""

    def broken(*_args):
        raise RuntimeError("wheels came off")

    monkeypatch.setattr("terrain3d.job.judge_ready", broken)
    assert run("cover", site) == 1
    assert "wheels came off" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (ModuleNotFoundError("No module named 'rich'", name="rich"), 2, "install terrain3d again"),
        (ImportError("libexpat.so.1: cannot open shared object file: No such file"), 2, "libexpat.so.1"),
        (ModuleNotFoundError("No module named 'terrain3d.no'", name="terrain3d.no"), 1, "a fault in the"),
        (ImportError("cannot import name 'no' from 'terrain3d.job'"), 1, "a fault in the program"),
    ],
)
def test_what_is_not_installed_is_no_fault_of_ours(site, capsys, monkeypatch, error, status, says):
    """A package of others or a library of the system: what it is, and how to get it. Our own: our fault."""

    def lacking(*_args):
        raise error

    monkeypatch.setattr("terrain3d.job.judge_ready", lacking)
    assert run("cover", site) == status
    assert says in capsys.readouterr().err


def test_an_unwritable_folder_is_named(site, capsys):
    """A place where no folder can be made ends in one message."""
    assert run("cover", site, "--out", "/proc/nowhere/out") == 2
    assert "/proc/nowhere/out" in capsys.readouterr().err


def test_ctrl_c_half_way_leaves_nothing(site, tmp_path):
    """Interrupted while it works, the command says so, exits with 130 and writes nothing."""
    site.write_text(SITE.replace("cell = 0.5", "cell = 0.05").replace("extent = 30", "extent = 200"))
    out = tmp_path / "out"
    child = subprocess.Popen(
        [sys.executable, "-c", "from terrain3d.cli.start import main; main()", "cover", site, "--out", out],
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    time.sleep(2.5)
    child.send_signal(signal.SIGINT)
    _, err = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "nothing was written" in err
    assert "Traceback" not in err
    assert not out.exists()


def test_help_is_light():
    """`import terrain3d` and `--help` load none of the heavy libraries."""
    heavy = {
        "numpy",
        "numba",
        "vtkmodules",
        "pyvista",
        "matplotlib",
        "rasterio",
        "pydantic",
        "trimesh",
        "rich",
    }
    code = (
        "import sys; from terrain3d.cli.main import _run; _run(['--help']);"
        f"print(sorted({heavy!r} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"

"""What is unusual on the way in or out: odd places, full devices, strange words, two runs at once."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from site_files import FARM, SLOPE, option_text, run, written

from terrain3d.cli import search as module
from terrain3d.cli import start

COMMAND = "from terrain3d.cli.start import main; main()"
#: A red terminal, a bell, a line that runs from right to left, one that goes nowhere, and a break of lines.
STRANGE = "\x1b[31m red \x07 \u202e evil \x9b \n two"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return written(tmp_path, SLOPE + option_text("one"))


def shown(capsys: pytest.CaptureFixture[str]) -> str:
    """Everything printed; it steers nothing."""
    out, err = capsys.readouterr()
    for letter in "\x1b\x07\u202e\x9b\r\x00":
        assert letter not in out + err
    return out + err


@pytest.mark.parametrize(
    ("words", "there"),
    [
        (["cover", "--stills", "none"], "the results are in"),
        (["sheet"], "the results are in"),
        (["walktest"], "the results are in"),
        (["pack", "--only", "tables"], "the pack is in"),
    ],
)
def test_a_full_device_under_the_answer_does_not_hide_that_results_are_there(
    site, tmp_path, ready, words, there
):
    """/dev/full refuses every byte (Linux, full(4)): the results are there, and it is said."""
    out = tmp_path / "out"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*ready(COMMAND), words[0], site, *words[1:], "--out", out],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert (out / "results.json").exists()
    assert "No space left on device" in done.stderr
    assert f"{there} {out}" in done.stderr
    assert "nothing was written" not in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["compare", f"a{STRANGE}.toml"],
        ["inspect", f"a{STRANGE}.las"],
        ["type", f"a{STRANGE}"],
        [f"comp{STRANGE}"],
        ["compare", "site.toml", f"--no{STRANGE}"],
        ["compare", "site.toml", "--stills", STRANGE],
        ["stills", "site.toml", "--unit", STRANGE],
        ["search", "site.toml", "--cluster", STRANGE],
        ["compare", "w" * 5000 + ".toml"],
        ["inspect", "w" * 5000],
        ["compare", "site.toml", "--out", "w" * 300],
        ["compare", "site.toml", "--out", "w/" * 3000],
    ],
)
def test_strange_words_of_the_command_line_are_told_and_steer_nothing(site, monkeypatch, capsys, words):
    """What a person typed, or a script passed on, is shown with stand-ins, and long words are cut."""
    monkeypatch.chdir(site.parent)
    assert run(*words) == 2
    told = shown(capsys)
    assert told.startswith(("terrain3d: ", "Usage"))
    assert "fault in the program" not in told
    assert "w" * 300 not in told


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("key.toml", f'[site]\nname = "a"\n"{"w" * 5000}" = 1\n'),
        ("escape.toml", '[site]\nname = "a"\n"\\u001b[31mred\\u0007" = 1\n'),
        ("raw.toml", '[site]\nname = "\x1b[31mred"\n'),
        ("crs.toml", '[site]\nname = "a"\ncrs = "' + "\\u202e" * 20 + '"\n'),
        ("long.toml", '[site]\nname = "' + "w" * 10_000 + '"\n'),
    ],
)
def test_strange_words_of_a_site_file_are_told_and_steer_nothing(tmp_path, capsys, name, content):
    """Keys, names and CRS of a site file; 10,000 letters are shown in a few."""
    path = tmp_path / name
    path.write_text(content)
    assert run("compare", path) == 2
    assert len(shown(capsys)) < 3000


def test_the_name_of_a_crs_is_shown_with_stand_ins(tmp_path, capsys):
    """A CRS whose name rings a bell: `inspect` says it, and nothing rings."""
    wkt = 'LOCAL_CS["bell \x07 and \x1b[31m red",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    (tmp_path / "a.asc").write_text("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2\n3 4\n")
    (tmp_path / "a.prj").write_text(wkt)
    run("inspect", tmp_path / "a.asc")
    assert shown(capsys)


def test_a_folder_with_odd_entries_is_searched_all_the_same(tmp_path, capsys, monkeypatch):
    """A folder, a link to nothing, a loop, a pipe and a broken file called .toml: told, and the site done."""
    monkeypatch.chdir(tmp_path)
    sites = tmp_path / "sites"
    sites.mkdir()
    (sites / "a.toml").write_text(FARM)
    (sites / "b.toml").mkdir()
    (sites / "c.toml").symlink_to("nowhere")
    (sites / "d.toml").symlink_to("d.toml")
    os.mkfifo(sites / "e.toml")
    (sites / "f.toml").write_bytes(b"\xff\xfe")
    assert run("search", sites, "--stills", "none") == 2
    told = shown(capsys)
    assert "6 sites searched, 5 failed" in told
    for name in "bcdef":
        assert f"{name}.toml: failed: " in told
    assert (tmp_path / "out" / "a" / "results.json").exists()


@pytest.mark.parametrize("out", [".", "deep/.."])
def test_a_folder_for_results_without_a_name_of_its_own(tmp_path, monkeypatch, capsys, out):
    """Finished mounts of a search are kept beside the folder, whatever it is called."""
    place = tmp_path / "place"
    (place / "deep").mkdir(parents=True)
    monkeypatch.chdir(place)
    (place / "farm.toml").write_text(FARM)
    assert run("search", "farm.toml", "--stills", "none", "--out", out) == 0
    assert (place / "results.json").exists()
    assert (tmp_path / "place.judged").is_dir()
    assert "fault" not in shown(capsys)


def test_two_runs_into_one_folder_at_once_leave_the_results_of_one(tmp_path, ready):
    """Each of four has another site; the files are of one of them, and whoever waits says so."""
    out = tmp_path / "out"
    runs = []
    for turn in (0, 90, 180, 270):
        folder = tmp_path / str(turn)
        folder.mkdir()
        site = written(folder, SLOPE + option_text(f"bearing {turn}", bearing=turn))
        words = [*ready(COMMAND), "cover", site, "--out", out, "--stills", "none"]
        runs.append(subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True))
    told = [each.communicate(timeout=300)[1] for each in runs]
    assert [each.returncode for each in runs] == [0, 0, 0, 0], told
    for words in told:
        assert words == "" or "another run is writing into" in words or "earlier runs stay" in words
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet", ".written-by-terrain3d"], cwd=out, check=False
    )
    assert done.returncode == 0
    assert sorted(path.name for path in out.iterdir() if not path.name.startswith(".")) == [
        "results.json", "verdicts.tif",
    ]  # fmt: skip
    alone = tmp_path / "alone"
    name = json.loads((out / "results.json").read_text())["options"][0]["name"]
    assert run("cover", tmp_path / name.split()[1] / "site.toml", "--out", alone, "--stills", "none") == 0
    for file in ("results.json", "verdicts.tif"):
        assert (out / file).read_bytes() == (alone / file).read_bytes()


def test_a_write_that_fails_changes_no_results(tmp_path, capsys, monkeypatch):
    """The site file changes while a search goes on: nothing is put into it, and the results stay."""
    monkeypatch.chdir(tmp_path)
    site = tmp_path / "farm.toml"
    site.write_text(FARM)
    assert run("search", site, "--stills", "none") == 0
    before = {path: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    site.write_text(FARM.replace("fall = 5", "fall = 9"))
    searched = module._searched

    def meanwhile(*words: object) -> object:
        found = searched(*words)  # type: ignore[arg-type]
        site.write_text(FARM.replace("fall = 5", "fall = 9") + "# mine\n")
        return found

    monkeypatch.setattr(module, "_searched", meanwhile)
    assert run("search", site, "--stills", "none", "--write") == 2
    assert "changed on disk since it was read" in shown(capsys)
    assert {path: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
    assert site.read_text().endswith("# mine\n")


def test_ctrl_c_before_anything_listens_ends_the_command_at_once(tmp_path):
    """As a shell tells it, status 130, and no traceback; under nohup it goes on."""
    script = tmp_path / "terrain3d"
    script.write_text(
        "import os, signal, sys\n"
        "class Early:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'terrain3d.cli.start':\n"
        "            os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Early())\n"
        "if sys.argv[1] == 'ignored':\n"
        "    signal.signal(signal.SIGINT, signal.SIG_IGN)\n"
        "del sys.argv[1]\n"
        "from terrain3d.__main__ import main\n"
        "main()\n"
    )
    for word, status in (("heard", -signal.SIGINT), ("ignored", 0)):
        done = subprocess.run(
            [sys.executable, script, word, "--version"], capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stderr) == (status, "")


def test_files_that_the_system_makes_up_are_not_read(capsys):
    """/proc/self/mem and /proc/kmsg are plain files by their kind, and have no length (proc(5))."""
    for name in ("/proc/self/mem", "/proc/kmsg", "/proc/self/maps"):
        if Path(name).exists():
            for command in ("inspect", "compare"):
                assert run(command, name) == 2
                assert "it is empty" in shown(capsys) or not os.access(name, os.R_OK)


def test_warnings_of_libraries_are_not_shown(tmp_path):
    """A mesh whose corners lie past what 32 bits hold made numpy warn before our message."""
    (tmp_path / "a.obj").write_text("v 0 0 0\nv 1e39 0 0\nv 10 1e39 1e39\nf 1 2 3\n")
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "inspect", tmp_path / "a.obj"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith("terrain3d: 2 of its vertices are no place, the first lies at [1e+39, ")
    assert len(done.stderr.splitlines()) == 3


@pytest.mark.parametrize(
    "number", ["9" * 5000, "-" + "9" * 5000, "0x" + "f" * 5000, "0x" + "f" * 24, "9" * 30, "1e400", "nan"]
)
@pytest.mark.parametrize("key", ["cell = 0.5", "at = [0, 0]"])
def test_numbers_that_no_toml_has(tmp_path, capsys, number, key):
    """Whole numbers have 64 bits (TOML 1.0, Integer); Python itself turns none of 5,000 digits into text."""
    changed = SLOPE.replace(key, f"cell = {number}" if "cell" in key else f"at = [0, {number}]")
    path = written(tmp_path, changed + option_text("one"))
    assert run("compare", path) == 2
    told = shown(capsys)
    assert told.startswith("terrain3d: ")
    assert "fault in the program" not in told
    assert len(told) < 1000


@pytest.mark.parametrize(
    "crs",
    [
        "+proj=utm +zone=31 +k=1e300",
        "+proj=tmerc +k=1e-300 +units=m",
        "+proj=tmerc +to_meter=1e300",
        "+proj=merc +a=1e-300 +b=1e-300",
        "+proj=longlat +a=1e300",
    ],
)
def test_a_crs_whose_numbers_cannot_be(tmp_path, capsys, crs):
    """PROJ takes the words, and then cannot turn a place: said as a fault of the CRS."""
    head = SLOPE.replace('name = "Slope"', f'name = "Slope"\ncrs = "{crs}"')
    run(
        "compare", written(tmp_path, head + option_text("one")), "--out", tmp_path / "out", "--stills", "none"
    )
    assert "fault in the program" not in shown(capsys)


@pytest.mark.parametrize(("arc", "status"), [("0.5", 2), ("1", 0), ("4", 0)])
def test_an_arc_too_small_for_a_fan_of_walks(tmp_path, capsys, arc, status):
    """Under a degree it is no arc; one of some degrees is walked straight at."""
    kind = Path(start.__file__).parents[1] / "detector" / "builtin" / "one-head-90.toml"
    (tmp_path / "own.toml").write_text(kind.read_text().replace("arc = 90", f"arc = {arc}"))
    walk = '[[walk]]\nname = "a"\npath = [[-5, 3], [5, 3]]\n'
    site = written(tmp_path, (SLOPE + walk + option_text("one")).replace('"one-head-90"', '"own.toml"'))
    words = ["--part", "walks", "--stills", "none", "--out", tmp_path / "out"]
    assert run("study", site, *words) == status
    assert "fault in the program" not in shown(capsys)

"""Which pictures a command draws beside its results, what of them stays, and what a stop leaves."""

import contextlib
import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest
from blank_pages import IN_A_PROCESS, draw_blanks
from site_files import SLOPE, option_text, run, said_on_terminal, until, written

from terrain3d.cli import stopping
from terrain3d.cli.pictures import tell_many
from terrain3d.paper import whole
from terrain3d.ready import ready_site
from terrain3d.show.pages.names import FIRST_KINDS, KINDS

HEAD = """
[site]
name = "Slope"
cell = 0.5
[ground]
plane = { fall = 10, towards = 135, extent = 24 }
[[mount]]
name = "pole"
at = [0, 0]
heights = [1.0]
[[protect]]
name = "yard"
outline = [[-3, 2], [3, 2], [3, 8], [-3, 8]]
[search]
types = ["one-head-90"]
bearing_step = 30
tilts = [0]
"""
COMMAND = "from terrain3d.cli.start import main; main()"
#: The same where what the pages show is not the point.
COMMAND_OF_BLANKS = IN_A_PROCESS + COMMAND
NO_BUFFER = {**os.environ, "PYTHONUNBUFFERED": "1"}


def site_of(folder: Path, *bearings: int) -> Path:
    """A site with an option for each bearing; the yard lies north."""
    return written(folder, HEAD + "".join(option_text(f"bearing {turn}", bearing=turn) for turn in bearings))


@pytest.fixture(autouse=True)
def blank_pages(monkeypatch) -> None:
    """Which pages there are is the point here; what they show is looked at where they are made."""
    draw_blanks(monkeypatch)


@pytest.fixture
def site(tmp_path) -> Path:
    """A unit turned away from the yard, and turned to it."""
    return site_of(tmp_path, 180, 0)


def drawn(out: Path) -> set[str]:
    """The pictures in a folder of results."""
    return {path.name for path in (out / "stills").glob("*.png")}


def test_commands_keep_what_they_did_not_make_anew(site, tmp_path):
    """cover, stills and study into one folder: each leaves the pages and maps of the others."""
    out = tmp_path / "out"
    assert run("cover", site, "--out", out) == 0
    of_cover = drawn(out)
    assert run("stills", site, "--out", out, "--kind", "outlook", "--kind", "side-by-side") == 0
    of_stills = drawn(out) - of_cover
    assert of_stills == {
        "00-side-by-side.png",
        *(f"0{k}-outlook-bearing-{b}.png" for k, b in ((1, 180), (2, 0))),
    }
    assert run("study", site, "--out", out, "--part", "animals", "--part", "heat") == 0
    of_study = drawn(out) - of_cover - of_stills
    assert of_study == {"00-heat.png", "01-animals-bearing-180.png", "02-animals-bearing-0.png"}
    assert drawn(out) == of_cover | of_stills | of_study
    assert run("compare", site, "--out", out) == 0
    assert drawn(out) == of_cover | of_stills | of_study
    assert (out / "animals.tif").exists()


def test_an_option_that_is_gone_takes_its_pages_with_it(site, tmp_path, capsys):
    """Pages of kinds that are drawn anew go with their option; others stay, and are told to be old."""
    out = tmp_path / "out"
    assert run("compare", site, "--out", out) == 0
    assert run("stills", site, "--out", out, "--kind", "outlook") == 0
    assert "earlier runs" not in capsys.readouterr().err
    site_of(tmp_path, 180)
    assert run("compare", site, "--out", out) == 0
    assert [name for name in drawn(out) if name.startswith("02")] == ["02-outlook-bearing-0.png"]
    err = capsys.readouterr().err
    assert "2 pictures and maps of earlier runs stay" in err
    assert "stills/01-outlook-bearing-180.png" in err


def test_best_draws_the_sheet_of_all_and_the_option_ranked_first(site, tmp_path):
    """With `best` there are the contact sheet and the pages of the second option, which wins."""
    out = tmp_path / "out"
    for command in ("cover", "compare"):
        assert run(command, site, "--out", out / command, "--stills", "best") == 0
        assert json.loads((out / command / "results.json").read_text())["ranking"][0] == "bearing 0"
        best = {
            f"02-{kind}-bearing-0.png"
            for kind in FIRST_KINDS
            if kind not in ("client", "contact", "warnings")
        }
        assert drawn(out / command) == {"00-client.png", "00-contact.png", *best}
    words = ("--stills", "best", "--part", "animals", "--part", "heat", "--part", "doubt", "--draws", 2)
    assert run("study", site, "--out", out, *words) == 0
    assert drawn(out) == {"00-heat.png", "02-animals-bearing-0.png", "02-doubt-bearing-0.png"}
    assert run("search", site, "--out", out / "search", "--stills", "best") == 0
    assert {name.split("-")[0] for name in drawn(out / "search")} == {"00", "01"}


def test_none_draws_nothing_and_takes_away_what_shows_other_numbers(site, tmp_path):
    """Pictures stay as long as the results are the very same, and go with those they were drawn of."""
    out = tmp_path / "out"
    assert run("compare", site, "--out", out, "--stills", "best") == 0
    before = drawn(out)
    assert run("compare", site, "--out", out, "--stills", "none") == 0
    assert drawn(out) == before
    site_of(tmp_path, 180, 10)
    assert run("compare", site, "--out", out, "--stills", "none") == 0
    assert drawn(out) == set()
    for command in ("cover", "study", "search"):
        assert run(command, site, "--out", tmp_path / command, "--stills", "none") == 0
        assert not (tmp_path / command / "stills").exists()
    assert run("mounts", site, "--out", tmp_path / "mounts", "--stills", "none") == 0
    assert not (tmp_path / "mounts").exists()


def test_what_is_in_the_way_is_told_before_the_work(site, tmp_path, capsys, monkeypatch):
    """Every command that writes looks first: nothing is worked out for a folder it cannot use."""

    def unwanted(*_args, **_words):
        raise AssertionError("the work was started")

    monkeypatch.setattr("terrain3d.opened.build_surveyed", unwanted)
    for command, blocked in (
        ("cover", "results.json"),
        ("compare", "stills/01-plan-bearing-180.png"),
        ("compare", "stills/00-contact.png"),
        ("study", "chances.tif"),
        ("study", "stills/02-routes-oblique-1-bearing-0.png"),
        ("search", "verdicts.tif"),
        ("search", "stills/01-oblique-best-found.png"),
        ("stills", "stills/02-section-2-bearing-0.png"),
        ("mounts", "mounts.png"),
    ):
        out = tmp_path / f"{command} {blocked.replace('/', ' ')}"
        (out / blocked).parent.mkdir(parents=True)
        (out / blocked).write_text("mine")
        assert run(command, site, "--out", out) == 2
        err = capsys.readouterr().err
        assert "was not written by terrain3d" in err
        assert str(out / blocked) in err
        assert [path.name for path in out.rglob("*") if path.is_file()] == [Path(blocked).name]
    folder = tmp_path / "sites"
    folder.mkdir()
    (folder / "a.toml").write_text(site.read_text())
    (tmp_path / "found" / "a" / "results.json").mkdir(parents=True)
    assert run("search", folder, "--out", tmp_path / "found") == 2
    assert "a.toml: failed: a folder of yours stands where" in capsys.readouterr().err


def test_a_page_of_another_option_is_not_in_the_way(site, tmp_path):
    """A picture of one's own stays where no page of that name is drawn."""
    out = tmp_path / "out"
    (out / "stills").mkdir(parents=True)
    mine = out / "stills" / "01-plan-bearing-0.png"
    mine.write_text("mine")
    assert run("cover", site, "--out", out, "--stills", "best") == 0
    assert mine.read_text() == "mine"


def test_a_drawing_that_fails_is_told_with_what_is_there(site, tmp_path, capsys, monkeypatch):
    """A fault while drawing: the message says where the results are; of a folder of sites likewise."""

    def broken(*_args, **_words):
        raise RuntimeError("wheels came off")

    monkeypatch.setattr("terrain3d.show.pages.stills.write_stills", broken)
    out = tmp_path / "out"
    assert run("cover", site, "--out", out) == 1
    told = capsys.readouterr()
    assert "both layers" in told.out
    assert "wheels came off" in told.err
    assert f"the results are in {out}; the pictures were not finished: none was written" in told.err
    assert "nothing was written" not in told.err
    assert not [path for path in out.iterdir() if path.name.startswith(".unfinished")]
    folder = tmp_path / "sites"
    folder.mkdir()
    (folder / "a.toml").write_text(site.read_text())
    assert run("search", folder, "--out", out, "--write") == 1
    told = capsys.readouterr()
    assert "a.toml: 21.5% held from pole" in told.out
    assert f"the results are in {out / 'a'}; the pictures were not finished" in told.err
    assert "search: best" in (folder / "a.toml").read_text()


def test_pictures_are_drawn_when_nobody_reads_the_answer(site, tmp_path, ready):
    """With the table written into a pipe that has been closed, as by `| true`, the work is still done."""
    out = tmp_path / "out"
    ours, theirs = os.pipe()
    os.close(ours)
    for command in ("compare", "cover"):
        child = subprocess.run(
            [*ready(COMMAND_OF_BLANKS), command, site, "--out", out, "--stills", "best"],
            stdout=theirs,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
        assert (child.returncode, child.stderr) == (0, "")
        assert len(drawn(out)) == 5
        shutil.rmtree(out)
    os.close(theirs)


@pytest.fixture(scope="module")
def earlier(tmp_path_factory) -> Path:
    """Results of one option with their pictures."""
    folder = tmp_path_factory.mktemp("earlier")
    with pytest.MonkeyPatch.context() as patch:
        draw_blanks(patch)
        assert run("compare", site_of(folder, 0), "--out", folder / "out", "--stills", "best") == 0
    return folder / "out"


@pytest.mark.parametrize(
    ("sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
def test_a_stop_while_drawing_keeps_the_results(tmp_path, earlier, sent, status, ready):
    """Stopped once the results are there, the command says so, and leaves 128 and the signal's number.

    That number is common practice of shells (POSIX asks for more than 128).
    """
    site, out = site_of(tmp_path, *range(0, 360, 18)), tmp_path / "out"
    shutil.copytree(earlier, out)
    before = (out / "results.json").read_bytes()
    child = subprocess.Popen(
        [*ready(COMMAND), "compare", site, "--out", out],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=NO_BUFFER,
    )
    half = lambda: list(out.glob(".unfinished-*/new/stills/*.png"))  # noqa: E731
    until(half, child)
    assert (out / "results.json").read_bytes() != before
    assert drawn(out) == set()
    child.send_signal(sent)
    said, err = child.communicate(timeout=120)
    assert child.returncode == status
    assert "bearing 342" in said
    assert "written to" not in said
    assert err.strip() == (
        f"terrain3d: stopped; the results are in {out}; the pictures were not finished: none was written"
    )
    names = sorted(path.name for path in out.iterdir() if not path.name.startswith(".written"))
    assert [name for name in names if "-verdicts-" not in name] == ["results.json", "stills", "verdicts.tif"]
    assert len(names) == 3 + 20
    assert len(json.loads((out / "results.json").read_text())["options"]) == 20
    assert drawn(out) == set()


@pytest.mark.parametrize(("sent", "status"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_stop_while_judging_leaves_nothing(tmp_path, sent, status):
    """Told to end before there are results, the command tidies up as after Ctrl-C."""
    site, out = site_of(tmp_path, *range(0, 360, 9)), tmp_path / "out"
    site.write_text(site.read_text().replace("cell = 0.5", "cell = 0.02"))
    child = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "cover", site, "--out", out], stderr=subprocess.PIPE, text=True
    )
    maps = Path(f"/proc/{child.pid}/maps")
    until(lambda: "llvmlite" in maps.read_text(), child)
    child.send_signal(sent)
    _, err = child.communicate(timeout=120)
    assert child.returncode == status
    assert err.strip() == "terrain3d: stopped; nothing was written"
    assert not out.exists()


#: A command that is told to end while a compiler has called back into Python, and then goes on.
COMMAND_THAT_COMPILES = """
import os, signal, time
import llvmlite.binding as llvm
import terrain3d.cli.main
from terrain3d.cli import start

def compiling():
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    machine = llvm.Target.from_default_triple().create_target_machine()
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly("define i32 @f() { ret i32 1 }"), machine)
    engine.set_object_cache(lambda *_: os.kill(os.getpid(), signal.SIGTERM))
    engine.finalize_object()
    time.sleep(60)

terrain3d.cli.main.main = compiling
start.main()
"""


def test_a_stop_while_a_compiler_calls_back_is_heard():
    """No exception comes out of what compiled code calls: the stop is heard once that is over."""
    ended = subprocess.run(
        [sys.executable, "-c", COMMAND_THAT_COMPILES], capture_output=True, text=True, timeout=50
    )
    assert ended.stderr.strip() == "terrain3d: stopped; nothing was written"
    assert ended.returncode == 143


def test_on_a_terminal_the_answer_comes_first_and_pictures_are_counted(site, tmp_path, ready):
    """The table is there before the first picture is; then it is told how many of how many are drawn."""
    status, said = said_on_terminal(
        [*ready(COMMAND_OF_BLANKS), "compare", site, "--out", tmp_path / "out"], PYTHONUNBUFFERED="1"
    )
    assert status == 0
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", said)
    steps = [
        text.index(words) for words in ("bearing 180", "drawing: 0 of 8", "drawing: 7 of 8", "written to")
    ]
    assert steps == sorted(steps)


def test_a_terminal_that_closes_stops_the_work(tmp_path, ready):
    """When the terminal goes away the command ends by itself, with nothing half done."""
    site, out = site_of(tmp_path, *range(0, 360, 18)), tmp_path / "out"
    ours, theirs = pty.openpty()
    child = subprocess.Popen(
        [*ready(f"import os; os.login_tty(0); {COMMAND}"), "cover", site, "--out", out],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**NO_BUFFER, "TERM": "xterm"},
    )
    os.close(theirs)
    os.set_blocking(ours, False)

    def is_drawing() -> bool:
        with contextlib.suppress(BlockingIOError):
            os.read(ours, 1 << 16)
        return bool(list(out.glob(".unfinished-*/new/stills/*.png")))

    until(is_drawing, child)
    os.close(ours)
    assert child.wait(timeout=120) == 129
    assert not list(out.glob(".unfinished-*"))
    assert (out / "results.json").exists()
    assert not (out / "stills").exists()


def test_what_is_never_broken_off_is_there():
    """The functions that a signal waits for are those of their modules."""
    for module, names in stopping._WHOLE.items():
        for name in names:
            assert callable(getattr(import_module(module), name))


def test_a_signal_waits_until_files_have_taken_their_place(tmp_path):
    """A signal that comes between two moves is heard after the last: all is new, and nothing is half done."""
    code = """
import os, signal, sys
from pathlib import Path
from terrain3d.cli import start
from terrain3d.paper.whole import whole_folder
def work():
    replace = Path.replace
    def slow(self, target):
        os.kill(os.getpid(), signal.SIGTERM)
        return replace(self, target)
    Path.replace = slow
    with whole_folder(Path(sys.argv[1])) as scratch:
        for name in "abc":
            (scratch / name).write_text("new")
    Path.replace = replace
    signal.pause()
import terrain3d.cli.main
terrain3d.cli.main.main = work
start.main()
"""
    done = subprocess.run(
        [sys.executable, "-c", code, tmp_path], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 143, done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == [whole.WRITTEN_HERE, "a", "b", "c"]


def test_every_kind_of_page_is_known_by_its_name(site, tmp_path):
    """What `stills` draws is told by its names to be of its kinds, and of these options."""
    from terrain3d.show.pages.names import pages_of

    assert run("stills", site, "--out", tmp_path) == 0
    options = [("bearing 180",), ("bearing 0",)]
    for name in drawn(tmp_path):
        kinds = [kind for kind in KINDS if pages_of([kind])(name)]
        assert len(kinds) == 1
        assert pages_of(kinds, options)(name)
        assert not pages_of(kinds, options[:1])(name) or name[:2] in ("00", "01")


def test_very_many_options_are_told_before_the_work(tmp_path, capsys):
    """Their pages take long: what draws fewer is named while nothing is worked out yet, and only then."""
    options = "".join(option_text(f"bearing {turn}", bearing=turn) for turn in range(41))
    ready = ready_site(written(tmp_path, SLOPE + options))
    tell_many(ready, "best")
    tell_many(ready_site(written(tmp_path, SLOPE + option_text("one"))), "all")
    assert capsys.readouterr().err == ""
    tell_many(ready, "all")
    assert "41 options" in (told := capsys.readouterr().err)
    assert "--stills best" in told

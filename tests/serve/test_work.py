"""Work in a process of its own: told, done, stopped at once, and nothing left of it."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from site_files import ALL_PARTS, option_text

from terrain3d.draft.document import draft_of, edited, read_draft
from terrain3d.draft.options import added_option
from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.search.result import as_options
from terrain3d.serve.work import Done, Failed, Progress, Work

DEMO = Path(__file__).parents[2] / "data" / "demo.toml"
#: Nothing here takes as long by far, on a machine however busy.
PATIENCE_S = 300.0


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(ALL_PARTS + option_text("level"))
    return path


@pytest.fixture
def work(tmp_path):
    """Work of a folder, with what it has to say as it comes."""
    one = Work(tmp_path)
    yield one
    one.stop()


def ended(work, told=None):
    """How work ends; what it tells on the way goes into a list."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        news = work.poll()
        if not isinstance(news, Progress):
            return news
        if told is not None and (not told or told[-1] != news):
            told.append(news)
        time.sleep(0.02)
    raise AssertionError("it never ends")


def at_work(work):
    """Wait until the process tells of its first step."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        news = work.poll()
        if not isinstance(news, Progress) or not news.words.startswith("starting"):
            return news
        time.sleep(0.01)
    raise AssertionError("it never begins")


def processes_of(group):
    """The processes of a group that are alive, by what the system says of them."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            state, _, of_group = (folder / "stat").read_text().rpartition(")")[2].split()[:3]
        except OSError:  # it has ended meanwhile
            continue
        if int(of_group) == group and state != "Z":
            found.append(int(folder.name))
    return found


def gone(group):
    """Whether a group of processes comes to its end."""
    until = time.monotonic() + PATIENCE_S
    while processes_of(group) and time.monotonic() < until:
        time.sleep(0.02)
    return not processes_of(group)


def test_a_study_of_the_draft_and_not_of_the_file(work, site):
    """What comes back is what the same study finds here; the file on disk is not looked at, nor written."""
    draft = edited(read_draft(site), ("mount", 0, "at"), [1.0, -8.0])
    site.write_text("something else")
    told = []
    work.begin("study", draft, parts=("walks", "animals"))
    with pytest.raises(InputError, match="something else is being done"):
        work.begin("search", draft)
    done = ended(work, told)
    assert isinstance(done, Done)
    assert done.draft is draft
    assert done.value.parts == ("walks", "animals")
    assert site.read_text() == "something else"
    site.write_text(draft.text)
    here = run(site)
    assert [one.area_m2 for one in done.value.outcome.options] == [one.area_m2 for one in here.options]
    assert told[0].words == "starting the study"
    assert any(one.words.startswith("looking around") for one in told)
    assert all(0 <= one.share <= 1 for one in told)
    assert work.poll() is None
    assert not work.is_busy


def test_a_set_that_is_found_becomes_an_option(work, site):
    """Values that are put into the draft as they are."""
    draft = read_draft(site)
    work.begin("search", draft)
    done = ended(work)
    assert isinstance(done, Done)
    best = as_options(done.value)[0]
    units = [
        unit.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True) for unit in best.detector
    ]
    new = added_option(draft, "found", units)
    assert new.tables["option"][-1]["detector"][0]["mount"] == draft.tables["mount"][0]["name"]


def test_results_and_stills_are_put_into_the_folder(work, site, tmp_path):
    """As the commands put them there; what was written is told."""
    draft = read_draft(site)
    work.begin("results", draft, out="out")
    done = ended(work)
    assert {path.name for path in done.value.files} >= {"results.json", "verdicts.tif"}
    told = []
    work.begin("stills", draft, out="out", kinds=("plan",))
    done = ended(work, told)
    assert [path.parent.name for path in done.value.files] == ["stills"] * len(done.value.files)
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in done.value.files)
    assert any(one.words.startswith("drawing: ") for one in told)
    assert {path.name for path in tmp_path.iterdir()} == {"site.toml", "out"}


WRITES = """
import sys, time
from pathlib import Path
from terrain3d.paper.whole import writing_to
with writing_to(Path(sys.argv[1])):
    print("writing", flush=True)
    time.sleep(600)
"""


def test_it_is_stopped_at_once_while_another_run_writes_there(work, site, tmp_path):
    """Whoever stops it waits for nobody: what it left is cleared away by the next that writes there."""
    child = subprocess.Popen([sys.executable, "-c", WRITES, str(tmp_path / "out")], stdout=subprocess.PIPE)
    try:
        assert child.stdout.readline() == b"writing\n"
        work.begin("results", read_draft(site), out="out")
        at_work(work)
        stopping = threading.Thread(target=work.stop, daemon=True)
        stopping.start()
        stopping.join(PATIENCE_S / 5)
        assert not stopping.is_alive()
        assert not work.is_busy
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


@pytest.mark.parametrize("out", ["..", "../out", "/tmp/out", ".", "out/../../x"])
def test_nothing_is_written_outside_the_folder(work, site, out):
    """A name that leads out of it is refused before anything begins."""
    with pytest.raises(InputError, match="no folder within"):
        work.begin("stills", read_draft(site), out=out)
    assert not work.is_busy


def test_what_cannot_be_done_is_told_in_words(work, site):
    """Before it begins where the site is wrong, and else as it ends; after that the next can begin."""
    draft = read_draft(site)
    with pytest.raises(InputError, match="no mount 'nobody'"):
        work.begin("study", edited(draft, ("option", 0, "detector", 0, "mount"), "nobody"))
    with pytest.raises(InputError, match="no work 'dance'"):
        work.begin("dance", draft)
    work.begin("study", draft, parts=("dancing",))
    failed = ended(work)
    assert isinstance(failed, Failed)
    assert failed.is_input
    assert failed.words.startswith("The study was not done: there is no part 'dancing'")
    work.begin("study", draft, colour="red")
    failed = ended(work)
    assert not failed.is_input
    assert failed.words.startswith("The study was not done: a fault in the program (TypeError:")
    unnamed = draft_of(b"[site]\nname = 'x'\n[ground]\nfile = 'none.laz'\n", None, site.parent)
    work.begin("mounts", unnamed)
    failed = ended(work)
    assert failed.is_input
    assert "there is no such file" in failed.words


def test_stopped_it_ends_at_once_and_leaves_nothing(work, tmp_path):
    """No process, no half-written folder, no word afterwards; the next can begin."""
    draft = read_draft(DEMO)
    work.begin("study", draft)
    assert isinstance(at_work(work), Progress)
    group = work._process.pid
    assert processes_of(group)
    work.stop()
    assert gone(group)
    assert work.poll() is None
    assert not work.is_busy
    work.begin("stills", draft, out="out", kinds=("plan", "oblique"))
    until = time.monotonic() + PATIENCE_S
    while not list(tmp_path.glob("out/.unfinished-*")) and time.monotonic() < until:
        time.sleep(0.01)
    assert list(tmp_path.glob("out/.unfinished-*"))
    group = work._process.pid
    work.stop()
    assert gone(group)
    assert list(tmp_path.iterdir()) == []
    work.stop()


def test_a_process_that_is_killed_is_told(tmp_path):
    """As for want of memory: in words, once."""
    work = Work(tmp_path)
    work.begin("study", read_draft(DEMO))
    at_work(work)
    os.killpg(work._process.pid, signal.SIGKILL)
    failed = ended(work)
    assert failed == Failed(
        "study",
        "The study was not done: its process was ended from outside, perhaps for want of memory",
        False,
    )
    assert work.poll() is None


SERVER = """
import sys, time
from pathlib import Path
from terrain3d.draft.document import read_draft
from terrain3d.serve.work import Progress, Work
work = Work(Path(sys.argv[2]))
work.begin("study", read_draft(sys.argv[1]))
while work.poll().words.startswith("starting"):
    time.sleep(0.01)
print(work._process.pid, flush=True)
time.sleep(1000)
"""


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_it_lives_no_longer_than_whoever_wanted_it(tmp_path, how):
    """However the server ends, what it started ends too."""
    server = subprocess.Popen(
        [sys.executable, "-c", SERVER, str(DEMO), str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    group = int(server.stdout.readline())
    assert processes_of(group)
    server.send_signal(how)
    server.wait()
    server.stdout.close()
    assert gone(group)


def test_what_is_imported_is_not_taken_from_the_folder(site, tmp_path, monkeypatch):
    """A file beside a site that is named as a library is no library."""
    (tmp_path / "numpy.py").write_text("raise SystemExit('taken from the folder')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [one for one in sys.path if one])
    work = Work(tmp_path)
    work.begin("mounts", read_draft(site))
    assert isinstance(ended(work), Done)

"""Readers in a process of their own: whatever becomes of them is one message here, and nothing is left."""

import ctypes
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from terrain3d import apart
from terrain3d.apart import read_apart
from terrain3d.errors import InputError
from terrain3d.readers.source import NothingThereError


@pytest.fixture(params=["fork", "a Python of its own"])
def both_ways(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """How the process begins; what is called here has no threads, so that a fork is safe."""
    monkeypatch.setattr(apart, "_is_alone", lambda: request.param == "fork")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "survey.laz"
    path.write_bytes(b"x" * 1000)
    return path


# What is called there.


def falls(how: str) -> None:
    if how == "address":
        ctypes.string_at(0)
    os.kill(os.getpid(), signal.Signals[how])


def fills(n_bytes: int) -> int:
    return int(np.ones(n_bytes, np.uint8).sum())


def never_ends() -> None:
    """In compiled code that gives no other thread its turn: some 2^60 ways to try."""
    re.match("(a+)+$", "a" * 60 + "b")


def refuses(kind: type[Exception]) -> None:
    if kind is InputError:
        raise NothingThereError("nothing", "there", "look elsewhere")
    raise kind("as it is")


def prints() -> int:
    print("a line of a library")  # noqa: T201  as a library does
    os.write(2, b"another one\n")
    return 3


def arrays(n: int) -> dict[str, object]:
    columns = np.arange(3.0 * n).reshape(3, n)
    return {"xyz": columns.T, "classes": np.arange(n, dtype=np.uint8), "few": np.arange(3), "none": None}


def chunks(n: int, take, progress) -> int:
    for number in range(n):
        take((number, np.full(100_000, number)))
        progress((number + 1) / n)
    return n


def is_ahead(take) -> list[float]:
    """When each of four was made."""
    times = []
    for number in range(4):
        times.append(time.monotonic())
        take(number)
    return times


def files_told(n: int, progress) -> None:
    for number in range(n):
        progress((number + 1) / 4)
    os.kill(os.getpid(), signal.SIGSEGV)


def pid_then_never_ends(take) -> None:
    take(os.getpid())
    never_ends()


@pytest.mark.parametrize("how", ["address", "SIGSEGV", "SIGABRT", "SIGBUS"])
@pytest.mark.usefixtures("both_ways")
def test_a_library_that_falls_is_one_message(file, how):
    """An address that is nobody's, and signals as libraries end by; the next reader is none the worse."""
    name = "SIGSEGV" if how == "address" else how
    with pytest.raises(InputError, match=f"broke down over it .{name}") as refused:
        read_apart(falls, [file], how)
    assert refused.value.where == str(file)
    assert "copy or export it again" in refused.value.mend
    assert read_apart(fills, [file], 1000) == 1000


@pytest.mark.usefixtures("both_ways")
def test_a_library_that_eats_memory_is_one_message(file, monkeypatch):
    """Beside what the process holds it may take so much, and no more."""
    monkeypatch.setattr(apart, "MOST_BYTES", 300_000_000)
    assert read_apart(fills, [file], 200_000_000) == 200_000_000
    with pytest.raises(InputError, match=r"more than 0.3 GB of memory") as refused:
        read_apart(fills, [file], 600_000_000)
    assert refused.value.where == str(file)
    monkeypatch.setattr(apart, "MOST_BYTES_EACH", 500_000)  # 1000 bytes of a file may need 500 MB
    assert read_apart(fills, [file], 600_000_000) == 600_000_000


@pytest.mark.usefixtures("both_ways")
def test_a_library_that_never_ends_is_one_message(file, monkeypatch):
    """Seconds of a processor, not of the clock: a busy machine refuses nothing."""
    monkeypatch.setattr(apart, "MOST_S", 1)
    with pytest.raises(InputError, match="more than 1 seconds of a processor") as refused:
        read_apart(never_ends, [file])
    assert refused.value.where == str(file)
    assert read_apart(fills, [file], 10) == 10


@pytest.mark.usefixtures("both_ways")
def test_a_process_killed_from_outside_says_that_memory_may_have_run_out(file):
    """As Linux does with the largest one when there is none left."""
    with pytest.raises(InputError, match="the system ended what was reading it"):
        read_apart(falls, [file], "SIGKILL")


@pytest.mark.usefixtures("both_ways")
def test_what_a_reader_refuses_comes_out_as_it_is(file):
    """With its kind and its parts, and where it was raised as the cause."""
    with pytest.raises(NothingThereError) as refused:
        read_apart(refuses, [file], InputError)
    assert (refused.value.what, refused.value.where, refused.value.mend) == (
        "nothing", "there", "look elsewhere",
    )  # fmt: skip
    assert "in refuses" in str(refused.value.__cause__)
    with pytest.raises(ZeroDivisionError, match="as it is"):
        read_apart(refuses, [file], ZeroDivisionError)


@pytest.mark.usefixtures("both_ways")
def test_a_library_prints_to_nobody(file, capfd):
    """Whatever it has to say is said in our words or not at all."""
    assert read_apart(prints, [file]) == 3
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("n", [2, 1_000_000])
@pytest.mark.usefixtures("both_ways")
def test_arrays_come_back_as_they_were(file, n):
    """Those that are shared can be written to, lie in memory as they did, and outlive the process."""
    found, wanted = read_apart(arrays, [file], n), arrays(n)
    assert found.keys() == wanted.keys()
    for name in ("xyz", "classes", "few"):
        np.testing.assert_array_equal(found[name], wanted[name])
        assert found[name].dtype == wanted[name].dtype
        assert found[name].flags.writeable
    assert found["xyz"].flags.f_contiguous
    found["xyz"][:] = 1.0


@pytest.mark.usefixtures("both_ways")
def test_chunks_are_taken_in_order_and_none_twice(file):
    """What is kept of an earlier one is not what a later one says; progress is told between them."""
    taken, told = [], []
    assert read_apart(chunks, [file], 7, take=taken.append, progress=told.append) == 7
    assert [number for number, _ in taken] == list(range(7))
    assert all((array == number).all() for number, array in taken)
    assert told == [(number + 1) / 7 for number in range(7)]


@pytest.mark.usefixtures("both_ways")
def test_a_reader_is_one_ahead_at_most(file):
    """Or memory would fill with what nobody has taken yet."""
    begun = []

    def take(_value: int) -> None:
        begun.append(time.monotonic())
        time.sleep(0.1)

    made = read_apart(is_ahead, [file], take=take)
    # The third is made when the first is taken, and not while it is.
    assert made[2] - begun[0] >= 0.1
    assert made[3] - begun[1] >= 0.1


@pytest.mark.usefixtures("both_ways")
def test_a_fault_of_whoever_takes_ends_the_reader(file):
    """And the next one begins anew."""

    def stumble(_value: object) -> None:
        raise KeyError("mine")

    with pytest.raises(KeyError, match="mine"):
        read_apart(chunks, [file], 7, take=stumble, progress=lambda share: None)
    assert read_apart(fills, [file], 10) == 10


@pytest.mark.usefixtures("both_ways")
def test_the_file_of_several_that_it_fell_over_is_named(tmp_path):
    """By how many were done."""
    files = [tmp_path / f"{k}.laz" for k in range(4)]
    for n in (0, 1, 3):
        with pytest.raises(InputError, match="broke down") as refused:
            read_apart(files_told, files, n, progress=lambda share: None)
        assert refused.value.where == str(files[n])


def test_a_python_of_its_own_is_asked_again(file, monkeypatch):
    """It takes half a second to begin."""
    monkeypatch.setattr(apart, "_is_alone", lambda: False)
    assert read_apart(os.getpid, [file]) == read_apart(os.getpid, [file]) != os.getpid()


def test_a_python_that_cannot_begin_is_one_message(file, monkeypatch):
    """It has ended before all that it is given is taken: 1 MB is more than a socket holds."""
    monkeypatch.setattr(apart, "_is_alone", lambda: False)
    monkeypatch.setattr(sys, "executable", shutil.which("false"))
    apart.end_waiting()
    there = list(apart._started)
    with pytest.raises(InputError, match="the library that reads it broke down"):
        read_apart(len, [file], b"x" * 1_000_000)
    assert apart._started == there


def test_a_python_that_waits_can_be_ended(file, monkeypatch):
    monkeypatch.setattr(apart, "_is_alone", lambda: False)
    reading = read_apart(os.getpid, [file])
    apart.end_waiting()
    assert not is_there(reading)
    assert read_apart(os.getpid, [file]) not in (reading, os.getpid())


def test_names_are_found_from_where_they_are_asked(file, tmp_path, monkeypatch):
    """A Python that was started elsewhere goes along; a fork of ours leaves it to us."""
    monkeypatch.setattr(apart, "_is_alone", lambda: False)
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.txt").write_text(name)
        monkeypatch.chdir(tmp_path / name)
        assert read_apart(Path.read_text, [file], Path("a.txt")) == name
    reading = read_apart(os.getpid, [file])
    if (pid := os.fork()) == 0:
        apart._end_all()
        os._exit(0)
    os.waitpid(pid, 0)
    assert read_apart(os.getpid, [file]) == reading


def test_beside_other_threads_there_are_as_many_as_read_at_once(file):
    """Each answer goes to whoever asked."""
    found: dict[int, object] = {}

    def ask(n: int) -> None:
        found[n] = read_apart(fills, [file], n)

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(70_000, 70_004)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert found == {n: n for n in range(70_000, 70_004)}


def is_there(pid: int) -> bool:
    """Whether a process runs; what has ended and was not waited for does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
@pytest.mark.parametrize("is_fork", [True, False])
def test_nothing_reads_on_when_whoever_asked_is_stopped(is_fork, number, file):
    """By Ctrl-C or for good, in the midst of compiled code that hears nothing."""
    code = (
        "import sys; sys.path[:0] = sys.argv[1:3]; import test_apart as t, terrain3d.apart as a;"
        f"a._is_alone = lambda: {is_fork};"
        "a.read_apart(t.pid_then_never_ends, [t.Path(sys.argv[3])], take=lambda pid: print(pid, flush=True))"
    )
    tests = Path(__file__).parent
    with subprocess.Popen(
        [sys.executable, "-c", code, tests.parent, tests, file],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as asking:
        assert asking.stdout is not None
        reading = int(asking.stdout.readline())
        assert is_there(reading)
        asking.send_signal(number)
        _, told = asking.communicate()
    assert asking.returncode == -number
    assert number == signal.SIGKILL or "KeyboardInterrupt" in told
    for _ in range(200):
        if not is_there(reading):
            break
        time.sleep(0.05)
    assert not is_there(reading)


#: Called in a Python that has loaded nothing, so that a fork is what begins: reads files both ways.
READ_TWICE = """
import sys
sys.path[:0] = sys.argv[1:3]
import numpy as np
from terrain3d import apart
from terrain3d.readers import photos, shapes, surveys
from terrain3d.readers.source import Marks
from terrain3d.site import GroundSource

def read(path):
    told, tops, marks = [], [], Marks()
    header = surveys.read_header(path, GroundSource(file=str(path)))
    found = surveys.read_survey(path, header, None, told.append)
    if header.kind == "cloud":
        surveys.pass_points(path, header, tops.append, marks=marks)
    if header.kind == "raster":
        surveys.pass_tops(path, header, header.bounds, 3, tops.append)
    return header, found, told, tops, marks

def same(one, other):
    assert type(one) is type(other), (one, other)
    if isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other)
        assert one.dtype == other.dtype and one.flags.f_contiguous == other.flags.f_contiguous
    elif isinstance(one, list | tuple) and not hasattr(one, "determinant"):
        assert len(one) == len(other)
        for a, b in zip(one, other):
            same(a, b)
    elif type(one).__name__ in ("Cloud", "Raster", "Surface", "Header", "Feature"):
        for name in vars(one):
            same(getattr(one, name), getattr(other, name))
    else:
        assert one == other, (one, other)

paths = [apart.Path(name) for name in sys.argv[3:]]
assert all(surveys._is_read_apart(path) for path in paths)
asked, began = [], apart._asked
apart._asked = lambda task: asked.append(task) or began(task)
assert apart._is_alone()
forked = [read(path) for path in paths]
assert len(asked) >= 2 * len(paths)
apart._is_alone = lambda: False
told = [read(path) for path in paths]
surveys._is_read_apart = lambda path: False
here = [read(path) for path in paths]
same(forked, here)
same(told, here)
"""


def test_files_are_read_to_the_same_values(tmp_path):
    """Of every format that is read apart: all that its header says, every array, every word of progress."""
    import trimesh
    from affine import Affine
    from made_files import write_e57, write_tif

    rng = np.random.default_rng(3)
    heights = rng.uniform(100, 110, (90, 110))
    scan = {name: rng.uniform(0, 50, 9000) for name in ("cartesianX", "cartesianY", "cartesianZ")}
    made = [
        write_tif(tmp_path / "a.tif", heights, Affine(1, 0, 500_000, 0, -1, 6_000_000), compress="lzw"),
        write_e57(tmp_path / "a.e57", scan),
    ]
    for name in ("a.ply", "a.obj", "a.stl", "a.glb"):
        trimesh.creation.icosphere(5).export(tmp_path / name)
        made.append(tmp_path / name)
    tests = Path(__file__).parent
    made += [tests / "data" / name for name in ("autzen_trim.laz", "plane.laz", "simple.copc.laz")]
    words = [sys.executable, "-c", READ_TWICE, tests.parent, tests, *made]
    done = subprocess.run(
        words, capture_output=True, text=True, check=False, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    )
    assert done.returncode == 0, done.stderr


def test_a_survey_that_breaks_its_library_is_one_message_of_a_command(tmp_path, autzen_laz):
    """Exit status 2, the file named, nothing else said: here the decoder is one that falls over."""
    code = (
        "import ctypes, sys; sys.path[:0] = sys.argv.pop(1).split('|');"
        "from terrain3d.cli.start import main; from terrain3d.readers import points;"
        "points.laspy.open = lambda *_, **__: ctypes.string_at(0); main()"
    )
    tests = Path(__file__).parent
    words = [sys.executable, "-c", code, f"{tests.parent}|{tests}", "inspect", autzen_laz]
    done = subprocess.run(words, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    first, where, mend = done.stderr.splitlines()
    assert first.startswith("terrain3d: the library that reads it broke down over it (SIGSEGV)")
    assert where.strip() == f"where: {autzen_laz}"
    assert mend.startswith("  to mend: ")

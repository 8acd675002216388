"""Nothing but what this program wrote is ever removed or overwritten, whatever stands in the folder."""

import json
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from select import select

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.caution import CAUTION
from terrain3d.errors import InputError
from terrain3d.paper.ours import WRITTEN_HERE, digest
from terrain3d.paper.whole import check_folder, whole_folder, writing_to

#: The first bytes of a PNG page as versions without digests drew it, 1600 pixels wide (PNG, section 5.2:
#: the signature, then the chunk IHDR with the width first).
PAGE = b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sII", 13, b"IHDR", 1600, 1132)
PHOTO = PAGE.replace(struct.pack(">I", 1600), struct.pack(">I", 1599))


def write(out: Path, files: dict[str, bytes], is_outdated=lambda path: path.parent == Path("stills")) -> None:
    """Write files by their paths in the folder."""
    with whole_folder(out, is_outdated) as scratch:
        for name, content in files.items():
            (scratch / name).parent.mkdir(exist_ok=True)
            (scratch / name).write_bytes(content)


def snapshot(folder: Path) -> dict[str, object]:
    """Everything in a folder: the bytes of files, where links point, folders; but for our own lists."""
    found: dict[str, object] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = ("link", str(path.readlink()))
        elif path.is_dir():
            found[name] = "folder"
        elif path.name != WRITTEN_HERE:
            found[name] = path.read_bytes()
    return found


def refused(out: Path, files: dict[str, bytes], what: str, where: Path) -> None:
    """Neither check nor writing goes through; both name the place and the mend, and change nothing."""
    before = snapshot(out)
    with pytest.raises(InputError, match=what) as early:
        check_folder(out, map(Path, files))
    with pytest.raises(InputError, match=what) as late:
        write(out, files)
    assert early.value.where == late.value.where == str(where)
    assert "move it away, or name another folder" in str(late.value)
    assert snapshot(out) == before


def test_what_is_written_is_listed_as_sha256sum_lists_it(tmp_path):
    """The list has a line of 64 hexadecimal digits, two spaces and the name (GNU coreutils, sha256sum)."""
    write(tmp_path, {"a.txt": b"abc", "stills/b.png": b""})
    lines = (tmp_path / WRITTEN_HERE).read_text().splitlines()
    # The digest of "abc" is that of FIPS 180-2, appendix B.1.
    assert lines[1:] == ["ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  a.txt"]
    assert "b.png" in (tmp_path / "stills" / WRITTEN_HERE).read_text()
    if shutil.which("sha256sum"):
        subprocess.run(["sha256sum", "--check", "--strict", WRITTEN_HERE], cwd=tmp_path, check=True)


def test_a_folder_of_the_users_is_never_removed(tmp_path):
    """A folder called results.json, with all that is in it, stays; so does one that the list names."""
    (tmp_path / "results.json").mkdir()
    (tmp_path / "results.json" / "thesis.txt").write_text("years of work")
    refused(tmp_path, {"results.json": b"{}"}, "a folder of yours stands where", tmp_path / "results.json")
    (tmp_path / "stills" / "photos").mkdir(parents=True)
    (tmp_path / "stills" / "photos" / "me.jpg").write_bytes(b"me")
    (tmp_path / "stills" / WRITTEN_HERE).write_text(f"# ours\n{digest(b'')}  photos\n")
    write(tmp_path, {"stills/01-plan-a.png": b"plan"})
    (tmp_path / "stills" / WRITTEN_HERE).write_text("photos\n01-plan-a.png\n")
    write(tmp_path, {"stills/02-plan-b.png": b"plan"})
    assert (tmp_path / "stills" / "photos" / "me.jpg").read_bytes() == b"me"


def test_a_file_of_the_users_with_a_name_of_ours_stays(tmp_path):
    """results.json that some other program wrote is not overwritten; nor is one beside our own list."""
    (tmp_path / "results.json").write_text('{"schema": "mine"}')
    refused(tmp_path, {"results.json": b"{}"}, "was not written by terrain3d", tmp_path / "results.json")
    write(tmp_path, {"verdicts.tif": b"map"})
    refused(tmp_path, {"results.json": b"{}"}, "was not written by terrain3d", tmp_path / "results.json")
    assert (tmp_path / "results.json").read_text() == '{"schema": "mine"}'


def test_a_file_that_was_edited_is_the_users(tmp_path):
    """Edited, it stays: in the way it is named, else left alone; put back, it is ours again."""
    write(tmp_path, {"a.txt": b"a", "stills/01-plan-a.png": b"one", "stills/02-plan-b.png": b"two"})
    edited = tmp_path / "stills" / "02-plan-b.png"
    edited.write_bytes(b"two, with an arrow")
    refused(tmp_path, {"a.txt": b"b", "stills/02-plan-b.png": b"2"}, "changed since", edited)
    assert (tmp_path / "a.txt").read_bytes() == b"a"
    write(tmp_path, {"stills/01-plan-a.png": b"1"})
    assert edited.read_bytes() == b"two, with an arrow"
    edited.write_bytes(b"two")
    write(tmp_path, {"stills/01-plan-a.png": b"1"})
    assert not edited.exists()


def test_several_things_in_the_way_are_counted(tmp_path):
    """The first is named, the others counted."""
    for name in ("a.txt", "b.txt", "c.txt"):
        (tmp_path / name).write_text("mine")
    with pytest.raises(InputError, match="and 2 more such things are in the way"):
        check_folder(tmp_path, map(Path, ("a.txt", "b.txt", "c.txt")))


def test_files_of_ours_stay_unless_they_are_outdated(tmp_path):
    """A run takes away what it is told is outdated, and nothing else."""
    write(tmp_path, {"a.txt": b"a", "stills/01-plan-a.png": b"a", "stills/01-walks-a.png": b"w"})
    write(tmp_path, {"stills/02-plan-b.png": b"b"}, lambda path: "-plan-" in path.name)
    assert sorted(snapshot(tmp_path)) == ["a.txt", "stills", "stills/01-walks-a.png", "stills/02-plan-b.png"]
    write(tmp_path, {"b.txt": b"b"}, lambda path: True)
    assert sorted(snapshot(tmp_path)) == ["b.txt", "stills"]


def test_results_of_earlier_versions_are_replaced(tmp_path):
    """Without digests: results by their schema, maps by their caution, pictures by the list of names."""
    caution = f'<GDALMetadata>\n  <Item name="CAUTION">{CAUTION}</Item>'.encode()
    before = {
        "results.json": json.dumps({"schema": "terrain3d/results/1", "options": []}).encode(),
        "verdicts.tif": b"II*\x00" + caution,
        "stills/01-plan-a.png": PAGE,
        "stills/02-plan-b.png": PAGE,
    }
    for name, content in before.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    (tmp_path / "stills" / WRITTEN_HERE).write_text("01-plan-a.png\n02-plan-b.png\n")
    after = dict.fromkeys(["results.json", "verdicts.tif", "stills/01-plan-a.png"], b"new")
    write(tmp_path, after)
    assert snapshot(tmp_path) == {"stills": "folder", **after}


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("results.json", b"[]"),
        ("results.json", b'{"schema": null}'),
        ("results.json", b'{"schema": "terrain3d/settings/1"}'),
        ("results.json", b"[" * 100_000),
        ("results.json", b"\xff\xfe not text"),
        ("results.json", b""),
        ("verdicts.tif", b"II*\x00 a map of my own"),
        ("mounts.png", PHOTO),
        ("stills/01-plan-a.png", PHOTO),
        ("stills/01-plan-a.png", b"no picture"),
        ("stills/03-plan-c.png", PAGE),
    ],
)
def test_what_no_earlier_version_wrote_is_the_users(tmp_path, name, content):
    """A name of ours is not enough: what is in the file has to be ours, and pictures were listed."""
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / WRITTEN_HERE).write_text("01-plan-a.png\n02-plan-b.png\n")
    (tmp_path / name).write_bytes(content)
    refused(tmp_path, {name: b"new"}, "was not written by terrain3d", tmp_path / name)


def test_a_list_reaches_nowhere_else(tmp_path):
    """Lines that are paths, or no lines of a list at all, take nothing away."""
    out = tmp_path / "out"
    (out / "stills").mkdir(parents=True)
    for path in (tmp_path / "mine.txt", out / "mine.txt"):
        path.write_text("mine")
    own = digest(b"mine")
    names = ["../mine.txt", "../../mine.txt", str(out / "mine.txt"), "a\0b", "..", ".", "", "./../mine.txt"]
    (out / "stills" / WRITTEN_HERE).write_text("# list\n" + "".join(f"{own}  {name}\n" for name in names))
    write(out, {"stills/a.png": b"a"})
    (out / "stills" / WRITTEN_HERE).write_bytes(b"\xff\xfe\n" + "\n".join(names).encode())
    write(out, {"stills/b.png": b"b"})
    assert (tmp_path / "mine.txt").read_text() == (out / "mine.txt").read_text() == "mine"


def test_links_are_not_followed_and_their_targets_stay(tmp_path):
    """A link where a file or a folder would be written is refused, dangling or not."""
    out, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    write(elsewhere, {"results.json": b"{}", "stills/01-plan-a.png": b"plan"})
    before = snapshot(elsewhere)
    out.mkdir()
    (out / "results.json").symlink_to(elsewhere / "results.json")
    (out / "gone.json").symlink_to(tmp_path / "nowhere")
    (out / "stills").symlink_to(elsewhere / "stills")
    refused(out, {"results.json": b"new"}, "a link stands where a file", out / "results.json")
    refused(out, {"gone.json": b"new"}, "a link stands where a file", out / "gone.json")
    refused(out, {"stills/01-plan-a.png": b"new"}, "a link stands where a folder", out / "stills")
    assert not (tmp_path / "nowhere").exists()
    write(out, {"a.txt": b"a"}, lambda path: True)
    assert snapshot(elsewhere) == before
    (out / WRITTEN_HERE).unlink()
    (out / WRITTEN_HERE).symlink_to(elsewhere / WRITTEN_HERE)
    refused(out, {"b.txt": b"b"}, "a link stands where a file", out / WRITTEN_HERE)


def test_the_folder_itself_may_be_a_link(tmp_path):
    """A link to a folder is as good as the folder."""
    (tmp_path / "there").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "there")
    for content in (b"1", b"2"):
        write(tmp_path / "out", {"a.txt": content, "stills/a.png": content})
    assert snapshot(tmp_path / "there") == {"a.txt": b"2", "stills": "folder", "stills/a.png": b"2"}
    (tmp_path / "broken").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="results cannot be written"):
        write(tmp_path / "broken", {"a.txt": b"1"})


def test_a_place_where_nothing_can_be_made_is_told_before_and_left_as_it_was(tmp_path):
    """A file on the way to the folder is named, and folders made for nothing are gone again."""
    (tmp_path / "file").write_text("mine")
    for out in (tmp_path / "file", tmp_path / "file" / "out"):
        with pytest.raises(InputError, match=r"a file of that name|Not a directory"):
            check_folder(out, [Path("a.txt")])
    check_folder(tmp_path / "a" / "b" / "c", [Path("a.txt")])
    with pytest.raises(ZeroDivisionError), whole_folder(tmp_path / "a" / "b" / "c"):
        raise ZeroDivisionError
    assert snapshot(tmp_path) == {"file": b"mine"}


def test_a_move_that_fails_is_undone(tmp_path, monkeypatch):
    """When one of the results cannot take its place, all are as they were, lists and folders too."""
    write(tmp_path, {"a.txt": b"old a", "b.txt": b"old b", "stills/1.png": b"old"})
    lists = (tmp_path / WRITTEN_HERE).read_bytes(), (tmp_path / "stills" / WRITTEN_HERE).read_bytes()
    before = snapshot(tmp_path)
    replace = Path.replace

    def stubborn(self: Path, target: Path) -> Path:
        if target.name == "last.png":
            raise OSError(28, "No space left on device")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", stubborn)
    with pytest.raises(InputError, match="disk is full"):
        write(tmp_path, {"a.txt": b"new", "c.txt": b"new", "z/last.png": b"new", "stills/2.png": b"new"})
    assert snapshot(tmp_path) == before
    assert (
        (tmp_path / WRITTEN_HERE).read_bytes(),
        (tmp_path / "stills" / WRITTEN_HERE).read_bytes(),
    ) == lists


def write_onto_a_full_device(out: Path) -> None:
    """A write that the device refuses for want of space."""
    with whole_folder(out), Path("/dev/full").open("wb", buffering=0) as device:
        device.write(b"x")


def test_a_full_disk_is_one_clear_message(tmp_path):
    """Writing onto a device that is always full ends in words, and makes no folder."""
    if not Path("/dev/full").exists():
        pytest.fail("this system has no /dev/full to stand for a full disk")
    out = tmp_path / "new"
    with pytest.raises(InputError, match="disk is full"):
        write_onto_a_full_device(out)
    assert not out.exists()


#: Writes in another process, and leaves by force before the change of that number that it makes to the files
#: of the system, as if it were killed there. With "plain" the file system has no links.
KILLED = """
import os, sys
from pathlib import Path
out, left, is_plain = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "plain"
CHANGES = {"os.rename", "os.remove", "os.symlink", "os.link", "os.mkdir", "os.rmdir", "os.chmod"}
def counted(event, args):
    global left
    if event in CHANGES or (event == "open" and args[2] & (os.O_WRONLY | os.O_RDWR)):
        if str(args[0]).startswith(str(out)) or str(args[-2]).startswith(str(out)):
            left -= 1
            if left < 0:
                os._exit(9)
if is_plain:
    def refused(*_words):
        raise PermissionError(1, "Operation not permitted")
    os.symlink = os.link = refused
from terrain3d.paper.whole import whole_folder
sys.addaudithook(counted)
with whole_folder(out, lambda path: path.name == "gone.txt") as scratch:
    (scratch / "a.txt").write_text("new a")
    (scratch / "b.txt").write_text("new b")
    (scratch / "stills").mkdir()
    (scratch / "stills" / "c.txt").write_text("new c")
"""
BEFORE = {"a.txt": b"old a", "b.txt": b"old b", "gone.txt": b"old", "mine.txt": b"mine"}
AFTER = {"a.txt": b"new a", "b.txt": b"new b", "stills/c.txt": b"new c", "mine.txt": b"mine"}


def nothing(_path: Path) -> bool:
    return False


def to_be_read(out: Path) -> dict[str, bytes]:
    """The files that a person finds in a folder, hidden ones left out, each read as it is opened."""
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and not any(part.startswith(".") for part in path.relative_to(out).parts)
    }


def killed_at_each_change(tmp_path: Path, how: str, stills: bool) -> Iterator[tuple[Path, int]]:
    """Folders that were written into until a change, one after the other until nothing stopped it."""
    for number in range(200):
        out = tmp_path / f"{how}-{number}"
        out.mkdir()
        (out / "mine.txt").write_bytes(b"mine")
        write(out, {name: content for name, content in BEFORE.items() if name != "mine.txt"})
        if stills:
            (out / "stills").mkdir()
        done = subprocess.run([sys.executable, "-c", KILLED, out, str(number), how], check=False)
        assert done.returncode in (0, 9)
        yield out, number
        if done.returncode == 0:
            assert number > 20
            return
    raise AssertionError("it never came to its end")


@pytest.mark.parametrize("stills", [False, True])
def test_killed_at_any_change_all_is_old_or_all_is_new(tmp_path, stills):
    """Whatever call a kill comes before, what can be read is the old files or the new ones, none of both.

    The next run, which writes other files, brings it to its end, clears what was left, and keeps what is the
    user's.
    """
    found = []
    for out, _ in killed_at_each_change(tmp_path, "links", stills):
        seen = to_be_read(out)
        assert seen in (BEFORE, AFTER)
        found.append(seen == AFTER)
        write(out, {"d.txt": b"d"}, nothing)
        there = snapshot(out)
        if stills or seen == AFTER:
            assert there.pop("stills") == "folder"
        assert there == {**seen, "d.txt": b"d"}
        # All of it is known as ours, so that it can be replaced.
        write(out, dict.fromkeys(seen.keys() - {"mine.txt"}, b""), nothing)
    # Once it has turned, it stays so.
    assert found == sorted(found)
    assert found.count(True) > 3


def test_where_there_are_no_links_the_next_run_ends_what_was_begun(tmp_path):
    """On a file system without links a kill may leave both for a moment; the next run mends that first."""
    for out, _ in killed_at_each_change(tmp_path, "plain", stills=False):
        assert (out / "mine.txt").read_bytes() == b"mine"
        check_folder(out)
        assert to_be_read(out) in (BEFORE, AFTER)
        write(out, {"d.txt": b"d"}, nothing)
        seen = to_be_read(out)
        assert seen in ({**BEFORE, "d.txt": b"d"}, {**AFTER, "d.txt": b"d"})
        assert not [name for name in snapshot(out) if name.startswith(".")]


def test_what_a_person_puts_where_a_killed_run_left_a_link_stays(tmp_path):
    """Between a kill and the next run somebody saves a file of a name that was about to change."""
    for out, number in killed_at_each_change(tmp_path, "links", stills=False):
        if not (out / "a.txt").is_symlink():
            continue
        (out / "a.txt").unlink()
        (out / "a.txt").write_bytes(b"my own")
        write(out, {"d.txt": b"d"}, nothing)
        assert (out / "a.txt").read_bytes() == b"my own", number
        with pytest.raises(InputError, match="not written by terrain3d, or was changed"):
            write(out, {"a.txt": b"a"})


#: Begins to write, says so, and goes on when it is told to.
UNFINISHED = """
import sys
from pathlib import Path
from terrain3d.paper.whole import whole_folder
with whole_folder(Path(sys.argv[1])) as scratch:
    (scratch / "half.txt").write_text(sys.argv[2])
    (scratch / "other.txt").write_text(sys.argv[2])
    print("ready", flush=True)
    sys.stdin.readline()
"""


def begun(out: Path, text: str) -> subprocess.Popen:
    """A process that has begun to write and waits."""
    words = [sys.executable, "-c", UNFINISHED, out, text]
    return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def ended(run: subprocess.Popen) -> None:
    run.kill()
    run.wait()
    run.stdin.close()
    run.stdout.close()


def test_what_a_dead_run_left_is_cleared_and_folders_of_a_like_name_stay(tmp_path):
    """A run is killed outright while it makes its files. The next one clears after it, and nothing else."""
    run = begun(tmp_path, "half")
    try:
        assert run.stdout.readline() == "ready\n"
        mine = tmp_path / ".unfinished-novel"
        mine.mkdir()
        (mine / "chapter.txt").write_text("mine")
        assert len(list(tmp_path.glob(".unfinished-*"))) == 2
        run.send_signal(signal.SIGKILL)
        run.wait(timeout=60)
        write(tmp_path, {"a.txt": b"a"})
        assert snapshot(tmp_path) == {
            ".unfinished-novel": "folder", ".unfinished-novel/chapter.txt": b"mine", "a.txt": b"a",
        }  # fmt: skip
    finally:
        ended(run)


def test_two_runs_into_one_folder_take_turns(tmp_path):
    """The second is told that it waits, and writes when the first has: the files of one, never of both."""
    first = begun(tmp_path, "first")
    second = begun(tmp_path, "second")
    try:
        began = select([first.stdout, second.stdout], [], [])[0]
        ready, waiting = (first, second) if first.stdout in began else (second, first)
        assert ready.stdout.readline() == "ready\n"
        told = []

        def is_told() -> None:
            told.append(1)
            ready.stdin.write("\n")
            ready.stdin.flush()
            assert waiting.stdout.readline() == "ready\n"
            waiting.stdin.write("\n")
            waiting.stdin.flush()

        with writing_to(tmp_path, is_told):
            found = snapshot(tmp_path)
        assert told == [1]
        assert found.pop("half.txt") == found.pop("other.txt")
        assert set(found) <= {".in-use-by-terrain3d"}
        assert [run.wait(timeout=60) for run in (first, second)] == [0, 0]
        assert sorted(snapshot(tmp_path)) == ["half.txt", "other.txt"]
    finally:
        ended(first)
        ended(second)


def test_a_folder_is_held_once_in_a_process_however_often_it_is_asked_for(tmp_path):
    """Results, and then pictures beside them, are written under one hold; nothing of it is left."""
    with writing_to(tmp_path / "out"), writing_to(tmp_path / "out"):
        write(tmp_path / "out", {"a.txt": b"a"})
        assert ".in-use-by-terrain3d" in snapshot(tmp_path / "out")
    assert snapshot(tmp_path / "out") == {"a.txt": b"a"}


NAMES = (
    "results.json", "verdicts.tif", "notes.txt", "stills/01-plan-a.png", "stills/02-plan-b.png",
    "stills/photo.jpg", "stills", ".unfinished-x/a.txt", f"stills/{WRITTEN_HERE}", WRITTEN_HERE,
)  # fmt: skip
OURS = ("results.json", "verdicts.tif", "stills/01-plan-a.png", "stills/02-plan-b.png")
CONTENTS = st.sampled_from([b"", b"ours 1", b"mine", b'{"schema": "mine"}'])
WRITTEN = st.dictionaries(st.sampled_from(OURS), st.sampled_from([b"ours 1", b"ours 2"]), max_size=4)
LISTS = st.sampled_from(
    [b"01-plan-a.png\nphoto.jpg\n../notes.txt\n", b"\xff", f"# x\n{digest(b'mine')}  ../notes.txt\n".encode()]
)
STEPS = st.one_of(
    st.tuples(st.sampled_from(["write", "write", "fail"]), WRITTEN),
    st.tuples(st.sampled_from(["put", "remove", "folder", "link"]), st.sampled_from(NAMES[:-2]), CONTENTS),
    st.tuples(st.just("put"), st.sampled_from(NAMES[-2:]), LISTS),
)


def by_the_user(out: Path, act: str, name: str, content: bytes) -> None:
    """What a person may do to a folder of results between two runs."""
    place = out / name
    if act in ("put", "folder", "link"):
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
        except OSError:  # something else stands there
            return
        if not place.parent.resolve().is_relative_to(out.parent.resolve()):
            return
    if place.is_symlink() or place.is_file():
        place.unlink()
    elif place.is_dir():
        shutil.rmtree(place)
    if act == "put":
        place.write_bytes(content)
    elif act == "folder":
        place.mkdir()
        (place / "inside.txt").write_bytes(content)
    elif act == "link":
        place.symlink_to(out.parent / "target" / ("folder" if name == "stills" else "file"))


@given(st.lists(STEPS, max_size=9))
def test_nothing_of_the_users_ever_changes(steps):
    """Whatever a person and this program put there in turn, each run leaves the person's as it was."""
    with tempfile.TemporaryDirectory() as name:
        out, target = Path(name) / "out", Path(name) / "target"
        (target / "folder").mkdir(parents=True)
        (target / "file").write_bytes(b"ours 1")
        (target / "folder" / "01-plan-a.png").write_bytes(b"ours 1")
        outside = snapshot(target)
        out.mkdir()
        written: set[tuple[str, bytes]] = set()
        for act, *what in steps:
            if act not in ("write", "fail"):
                by_the_user(out, act, *what)
                continue
            (files,) = what
            before = snapshot(out)
            users = {item for item in before.items() if item not in written}
            try:
                with whole_folder(out, lambda path: path.parent == Path("stills")) as scratch:
                    for path, content in files.items():
                        (scratch / path).parent.mkdir(exist_ok=True)
                        (scratch / path).write_bytes(content)
                    if act == "fail":
                        raise KeyboardInterrupt
            except (InputError, KeyboardInterrupt):
                assert snapshot(out) == before
            else:
                after = snapshot(out)
                assert users <= set(after.items())
                assert files.items() <= after.items()
                written |= set(files.items())
            assert snapshot(target) == outside

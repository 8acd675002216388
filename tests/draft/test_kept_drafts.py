"""Nothing is lost: taken back, saved, brought back after a kill, and never over what somebody else wrote."""

import errno
import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.draft.document import draft_of, edited, new_draft, read_draft
from terrain3d.draft.history import History
from terrain3d.draft.journal import ended, found, journal_path, keep
from terrain3d.draft.options import set_unit
from terrain3d.draft.saving import ChangedOnDiskError, is_stale, save, save_as
from terrain3d.draft.things import added, moved, removed, renamed, things_of
from terrain3d.errors import InputError

DATA = Path(__file__).parents[2] / "data"
DEMO = (DATA / "demo.toml").read_bytes()
MARK = b"\xef\xbb\xbf"


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.toml"
    path.write_bytes(DEMO)
    return path


def opened(path):
    return History(read_draft(path), path.read_bytes())


def turned(draft, bearing):
    return set_unit(draft, "gate pole, one head", "D1", {"bearing": float(bearing)})


@settings(max_examples=40)
@given(st.data())
def test_taken_back_the_bytes_are_those_that_were_read(data):
    """Any sequence of changes, in any lines, with a byte-order mark or none; and made again as they were."""
    raw = data.draw(st.sampled_from([b"", MARK])) + data.draw(
        st.sampled_from([DEMO, DEMO.replace(b"\n", b"\r\n"), DEMO.rstrip(b"\n")])
    )
    history = History(draft_of(raw, Path("site.toml")), raw)
    texts = [history.draft.content]
    for n in range(data.draw(st.integers(1, 8))):
        thing = data.draw(st.sampled_from(things_of(history.draft)))
        what = data.draw(st.sampled_from(["turn", "add", "move", "rename", "remove"]))
        draft = history.draft
        try:
            if what == "turn":
                draft = turned(draft, n + 1)
            elif what == "add":
                draft, _ = added(draft, "mark", [(560030.0 + n, 4950020.0)])
            elif what == "move":
                draft = moved(draft, thing.id, [(x + n, y) for x, y in thing.points])
            elif what == "rename":
                draft = renamed(draft, thing.id, f"new {n}")
            else:
                draft = removed(draft, thing.id, with_units=True)
        except InputError:
            continue
        if draft.layout != history.draft.layout:
            history.push(draft, what)
            texts.append(draft.content)
    for text in reversed(texts[:-1]):
        assert history.take_back()
        assert history.draft.content == text
    assert not history.take_back()
    assert history.is_saved
    assert history.draft.content == raw
    for text in texts[1:]:
        assert history.redo()
        assert history.draft.content == text
    assert not history.redo()


def test_a_drag_is_taken_back_in_one(site):
    """Steps of one change count as one; another change, or saving in between, begins anew."""
    history = opened(site)
    for bearing in range(10):
        history.push(turned(history.draft, bearing + 1), "turn D1", is_same=bearing > 0)
    assert history.unsaved == ("unit 'D1' of option 'gate pole, one head': bearing 10 (was 0)",)
    save(history)
    history.push(turned(history.draft, 20), "turn D1", is_same=True)
    history.take_back()
    assert history.draft.content == site.read_bytes()
    history.take_back()
    assert history.draft.content == DEMO


def test_a_thousand_changes_share_what_they_do_not_change(site):
    """Memory grows by what is changed: of the blocks of all drafts, one is new in each."""
    history = opened(site)
    n_blocks = len(history.draft.layout.blocks)
    for n in range(1000):
        history.push(turned(history.draft, (n % 359) + 0.5), "turn")
    blocks = {id(block) for draft, _ in history._past for block in draft.layout.blocks}
    assert len(blocks) == n_blocks + 999
    while history.take_back():
        pass
    assert history.draft.content == DEMO


def test_saving_tells_what_it_changed_and_survives_being_taken_back(site):
    """The file has the draft; undone and saved again it is as it was."""
    history = opened(site)
    mount = next(thing for thing in things_of(history.draft) if thing.name == "shed pole")
    history.push(renamed(history.draft, mount.id, "barn pole"), "rename")
    draft, _ = added(history.draft, "wall", [(560020.0, 4950020.0), (560021.0, 4950020.0)])
    history.push(removed(draft, "treat/0"), "draw a wall")
    done = save(history)
    assert done.changes == (
        "wall 'wall': added",
        "returns taken otherwise: removed",
        "mount 'barn pole': was named 'shed pole'",
        "unit 'D1' of option 'shed pole, one head': mount barn pole (was shed pole)",
        "unit 'D1' of option 'shed pole, two heads': mount barn pole (was shed pole)",
    )
    assert site.read_bytes() == history.draft.content
    assert done.before.read_bytes() == DEMO
    assert save(history).before is None
    assert history.is_saved
    history.take_back()
    history.take_back()
    assert history.unsaved
    save(history)
    assert site.read_bytes() == DEMO
    # One file before is kept, the last.
    assert len(list(site.parent.iterdir())) == 2


def test_a_file_that_somebody_changed_is_not_written_over(site):
    """It is told what was changed there; the person chooses, and either can be taken back."""
    history = opened(site)
    history.push(turned(history.draft, 77), "turn")
    theirs = DEMO.replace(b"height = 1.3", b"height = 1.8")
    site.write_bytes(theirs)
    assert is_stale(history)
    with pytest.raises(ChangedOnDiskError, match="changed on disk") as told:
        save(history)
    assert told.value.changes == ("crown 'young hedge': height 1.8 (was 1.3)",)
    assert site.read_bytes() == theirs

    other = save_as(history, site.with_name("mine.toml"))
    assert other.path.read_bytes() == history.draft.content
    assert site.read_bytes() == theirs

    history = opened(site)
    history.push(turned(history.draft, 78), "turn")
    site.write_bytes(DEMO)
    with pytest.raises(ChangedOnDiskError) as told:
        save(history)
    mine = history.draft.content
    history.reread(told.value.on_disk)
    assert history.draft.content == DEMO
    assert history.is_saved
    history.take_back()
    assert history.draft.content == mine
    site.write_bytes(theirs)
    history.keep_mine(site.read_bytes())
    save(history)
    assert site.read_bytes() == mine


def test_what_is_no_toml_any_more_is_told(site):
    """What stands on disk may be anything: the draft stays."""
    history = opened(site)
    history.push(turned(history.draft, 77), "turn")
    mine = history.draft.content
    site.write_bytes(b"[site\n")
    with pytest.raises(ChangedOnDiskError, match="changed on disk") as told:
        save(history)
    with pytest.raises(InputError, match="not TOML"):
        history.reread(told.value.on_disk)
    assert history.draft.content == mine
    site.write_bytes(b"\xff\xfe[site\n")
    history.keep_mine(site.read_bytes())
    keep(history)
    assert found(site, site.parent).as_read == site.read_bytes()
    assert found(site, site.parent).draft.content == mine
    with pytest.raises(InputError, match="UTF-8"):
        save(history)
    site.write_bytes(b"[site\n")
    history.keep_mine(site.read_bytes())
    assert save(history).before.read_bytes() == b"[site\n"
    assert site.read_bytes() == mine
    site.unlink()
    os.mkfifo(site)
    assert is_stale(history)
    with pytest.raises(InputError, match="there is no file now"):
        save(history)
    site.unlink()
    assert is_stale(history)
    with pytest.raises(InputError, match="gone"):
        save(history)


def test_a_new_site_is_saved_under_a_name(tmp_path):
    """Beside what it names, never over another file; what was done before can still be taken back."""
    ground = {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}}
    history = History(new_draft(tmp_path, "yard", ground))
    history.push(added(history.draft, "mount", [(0, 0)])[0], "draw a mount")
    with pytest.raises(InputError, match="no file yet"):
        save(history)
    (tmp_path / "there.toml").write_text("mine")
    for name, match in (
        ("there.toml", "already"), ("x.txt", "no name of a site file"), (".x.toml", "no name"),
        ("../x.toml", "relative to its folder"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=match):
            save_as(history, tmp_path / name)
    assert (tmp_path / "there.toml").read_text() == "mine"
    keep(history)
    done = save_as(history, tmp_path / "yard.toml")
    assert done.changes == ("[site]: added", "[ground]: added", "mount 'mount': added")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["there.toml", "yard.toml"]
    history.take_back()
    save(history)
    assert "mount" not in tomllib.loads((tmp_path / "yard.toml").read_text())


def test_a_new_site_is_saved_where_a_file_has_one_name_only(tmp_path, monkeypatch):
    """FAT, as on a memory stick, knows no second name of a file (link(2): EPERM); nothing is written over."""

    def no_link(*_args, **_keys):
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", no_link)
    ground = {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}}
    history = History(new_draft(tmp_path, "yard", ground))
    (tmp_path / "there.toml").write_text("mine")
    with pytest.raises(InputError, match="already"):
        save_as(history, tmp_path / "there.toml")
    assert (tmp_path / "there.toml").read_text() == "mine"
    save_as(history, tmp_path / "yard.toml")
    assert (tmp_path / "yard.toml").read_bytes() == history.draft.content
    assert sorted(path.name for path in tmp_path.iterdir()) == ["there.toml", "yard.toml"]


def test_a_byte_order_mark_stays(site):
    """As some editors write it, with their line ends."""
    raw = MARK + DEMO.replace(b"\n", b"\r\n")
    site.write_bytes(raw)
    history = opened(site)
    history.push(turned(history.draft, 77), "turn")
    save(history)
    assert site.read_bytes() == raw.replace(b"bearing = 0\r\n", b"bearing = 77\r\n")
    site.write_bytes(DEMO)
    history.reread(DEMO)
    assert history.is_saved
    history.take_back()
    save(history)
    assert site.read_bytes() == raw.replace(b"bearing = 0\r\n", b"bearing = 77\r\n").removeprefix(MARK)


KILLED = """
import os, signal, sys
from pathlib import Path
from terrain3d.draft.document import read_draft
from terrain3d.draft.history import History
from terrain3d.draft.journal import keep
from terrain3d.draft.options import set_unit
path = Path(sys.argv[1])
history = History(read_draft(path), path.read_bytes())
for n in range(1, 100000):
    history.push(set_unit(history.draft, "gate pole, one head", "D1", {"bearing": n % 300 + 0.5}), "turn")
    keep(history)
    print(n, flush=True)
"""


@pytest.mark.parametrize("after", [1, 7, 40])
def test_a_kill_takes_nothing_with_it(site, after):
    """Killed at any moment all changes but the last are there, whole, and the file is as it was."""
    child = subprocess.Popen([sys.executable, "-c", KILLED, str(site)], stdout=subprocess.PIPE, text=True)
    done = 0
    while done < after:
        done = int(child.stdout.readline())
    os.kill(child.pid, signal.SIGKILL)
    done = int(([str(done), *child.stdout.read().split()])[-1])
    child.wait()
    child.stdout.close()
    back = found(site, site.parent)
    assert site.read_bytes() == DEMO
    assert not back.is_file_changed
    bearing = back.draft.tables["option"][0]["detector"][0]["bearing"]
    assert bearing in (done % 300 + 0.5, (done + 1) % 300 + 0.5)
    history = History(back.draft, back.as_read)
    assert history.unsaved
    save(history)
    assert found(site, site.parent) is None
    assert len(list(site.parent.iterdir())) == 2  # the site and the file before it


def test_a_journal_goes_with_what_it_was_kept_for(site):
    """Taken back or saved there is nothing to bring back; a file changed meanwhile is told."""
    history = opened(site)
    keep(history)
    assert not journal_path(site, site.parent).exists()
    history.push(turned(history.draft, 77), "turn")
    keep(history)
    assert found(site, site.parent).draft.content == history.draft.content
    site.write_bytes(DEMO + b"\n# more\n")
    back = found(site, site.parent)
    assert back.is_file_changed
    with pytest.raises(ChangedOnDiskError):
        save(History(back.draft, back.as_read))
    site.write_bytes(history.draft.content)
    assert found(site, site.parent) is None
    history.take_back()
    keep(history)
    assert not journal_path(site, site.parent).exists()
    ended(site, site.parent)


def test_what_is_no_journal_is_left_alone(site):
    """A file of its name that is something else is told, and stays; so does one that a link points to."""
    place = journal_path(site, site.parent)
    for words in ("", "mine", "{}", '{"is": "unsaved work of terrain3d, 1", "text": 5}'):
        place.write_text(words)
        with pytest.raises(InputError, match="cannot be read"):
            found(site, site.parent)
        assert place.read_text() == words
    target = site.with_name("precious")
    target.write_text("mine")
    place.unlink()
    place.symlink_to(target)
    history = opened(site)
    history.push(edited(history.draft, ("site", "cell"), 0.5), "cell")
    keep(history)
    assert target.read_text() == "mine"
    assert found(site, site.parent).draft.tables["site"]["cell"] == 0.5


def test_a_folder_that_takes_no_journal_is_told(tmp_path):
    """The work goes on; the person is told to save."""
    history = History(read_draft(DATA / "demo.toml"), DEMO)
    history._draft = draft_of(b"a = 1\n", tmp_path / "gone" / "site.toml")
    with pytest.raises(InputError, match="cannot be kept"):
        keep(history)

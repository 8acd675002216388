"""A site file is written again by one run at a time, and is kept beside as it was."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from terrain3d.errors import InputError
from terrain3d.paper.site_file import before_of, rewrite

TEXT = b"[site]\nname = 'hill'\n"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_bytes(TEXT)
    return path


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_file_before_is_kept_beside_and_the_next_takes_its_place(site):
    """Its name has the first digits of its SHA-256, by hashlib: `sha256sum` says the same."""
    second = rewrite(site, TEXT, lambda text: text + "# 2\n")
    before = f"site.toml.before-{hashlib.sha256(TEXT).hexdigest()[:8]}"
    assert names(site.parent) == ["site.toml", before]
    assert (site.parent / before).read_bytes() == TEXT
    assert before_of(site, TEXT) == site.parent / before
    rewrite(site, second, lambda text: text + "# 3\n")
    assert names(site.parent) == ["site.toml", before_of(site, second).name]
    assert before_of(site, second).read_bytes() == second
    assert site.read_bytes() == TEXT + b"# 2\n# 3\n"


def test_files_of_the_users_with_such_names_stay(site):
    """One whose content is another than its name says is not ours: it is never overwritten or taken away."""
    other = site.with_name("site.toml.before-00000000")
    other.write_text("mine")
    second = rewrite(site, TEXT, lambda text: text + "# 2\n")
    assert other.read_text() == "mine"
    before_of(site, second).write_text("mine too")
    with pytest.raises(InputError, match="something of yours has the name"):
        rewrite(site, second, lambda text: text + "# 3\n")
    assert before_of(site, second).read_text() == "mine too"
    assert site.read_bytes() == second


def test_what_changes_nothing_leaves_nothing(site):
    """The same text again, or a change that fails, keeps no file beside."""
    rewrite(site, TEXT, lambda text: text)
    with pytest.raises(ZeroDivisionError):
        rewrite(site, TEXT, lambda _text: str(1 // 0))
    assert names(site.parent) == ["site.toml"]


def test_a_link_stays_one_and_the_file_is_kept_beside_what_it_leads_to(site, tmp_path):
    """The link may lie anywhere; a circle of links is told."""
    (tmp_path / "links").mkdir()
    link = tmp_path / "links" / "mine.toml"
    link.symlink_to(site)
    rewrite(link, TEXT, lambda text: text + "# 2\n")
    assert link.is_symlink()
    assert names(tmp_path / "links") == ["mine.toml"]
    assert names(site.parent) == ["links", "site.toml", before_of(site, TEXT).name]
    circle = tmp_path / "circle.toml"
    circle.symlink_to(circle)
    with pytest.raises(InputError, match=r"round in a circle|gone"):
        rewrite(circle, TEXT, lambda text: text)


#: Reads a site file, waits for a word, and adds a line with its number.
ADDS = """
import sys
from pathlib import Path
from terrain3d.errors import InputError
from terrain3d.paper.site_file import rewrite
path = Path(sys.argv[1])
as_read = path.read_bytes()
print("read", flush=True)
sys.stdin.readline()
try:
    rewrite(path, as_read, lambda text: text + f"# added by {sys.argv[2]}\\n" * 20_000)
    print("added")
except InputError as error:
    print(error.what)
"""


def test_of_several_that_read_the_same_one_adds_and_the_others_are_told(site):
    """None says that it added what is not there: the file has the lines of the one that said so."""
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", ADDS, site, str(number)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number in range(4)
    ]
    for run in runs:
        assert run.stdout.readline() == "read\n"
    for run in runs:
        run.stdin.write("\n")
        run.stdin.flush()
    told = [run.communicate(timeout=60)[0].strip() for run in runs]
    (winner,) = [number for number, words in enumerate(told) if words == "added"]
    assert sum("changed on disk since it was read" in words for words in told) == 3
    assert site.read_bytes() == TEXT + f"# added by {winner}\n".encode() * 20_000
    assert names(site.parent) == ["site.toml", before_of(site, TEXT).name]


KILLED = """
import os, sys
from pathlib import Path
from terrain3d.paper.site_file import rewrite
path, left = Path(sys.argv[1]), int(sys.argv[2])
def counted(event, args):
    global left
    if event in ("os.rename", "os.remove") or (event == "open" and args[2] & (os.O_WRONLY | os.O_RDWR)):
        left -= 1
        if left < 0:
            os._exit(9)
sys.addaudithook(counted)
rewrite(path, path.read_bytes(), lambda text: text + "# 2")
"""


def test_killed_at_any_change_the_file_is_the_old_or_the_new_one(tmp_path):
    """And the next save goes through, and leaves the file and the one before it alone."""
    for number in range(50):
        site = tmp_path / str(number) / "site.toml"
        site.parent.mkdir()
        site.write_bytes(TEXT)
        done = subprocess.run([sys.executable, "-c", KILLED, site, str(number)], check=False)
        assert done.returncode in (0, 9)
        found = site.read_bytes()
        assert found in (TEXT, TEXT + b"# 2")
        rewrite(site, found, lambda text: text + "# 3")
        assert names(site.parent) == ["site.toml", before_of(site, found).name]
        if done.returncode == 0:
            break
    assert 4 <= number < 49


def test_a_file_that_cannot_be_put_there_is_told(site, monkeypatch):
    """A full disk while the file before is kept: all is as it was."""
    monkeypatch.setattr(os, "fsync", lambda _handle: (_ for _ in ()).throw(OSError(28, "No space left")))
    with pytest.raises(InputError, match="cannot be saved: No space left"):
        rewrite(site, TEXT, lambda text: text + "# 2\n")
    assert names(site.parent) == ["site.toml"]
    assert site.read_bytes() == TEXT

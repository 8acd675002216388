"""A draft put into its site file: nothing of the user's is lost, whoever else wrote there."""

import os
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

from terrain3d.draft.changes import changes_between
from terrain3d.draft.document import Draft, draft_of
from terrain3d.draft.history import History
from terrain3d.draft.journal import ended
from terrain3d.errors import InputError
from terrain3d.outside import content
from terrain3d.paper.site_file import before_of, rewrite
from terrain3d.tables import MOST_BYTES


class ChangedOnDiskError(InputError):
    """The site file says something else than when it was read; whoever works on it has to choose.

    Parameters
    ----------
    path : Path
    on_disk : bytes
        What it says now.
    changes : tuple of str
        What somebody else changed in it.
    """

    def __init__(self, path: Path, on_disk: bytes, changes: tuple[str, ...]) -> None:
        self.path, self.on_disk, self.changes = path, on_disk, changes
        super().__init__(
            "the site file was changed on disk meanwhile",
            str(path),
            "keep what stands there, keep yours in its place, or save yours as another file",
        )


@dataclass(frozen=True)
class Saved:
    """What was saved.

    Parameters
    ----------
    path : Path
    changes : tuple of str
        What differs from the file before it.
    before : Path or None
        The file as it was; None where there was none, or nothing changed.
    """

    path: Path
    changes: tuple[str, ...]
    before: Path | None


def is_stale(history: History) -> bool:
    """Whether somebody else changed the site file, or took it away, since it was read."""
    path = history.draft.path
    return path is not None and _on_disk(path) != history.as_read


def save(history: History) -> Saved:
    """Write a draft into its site file, whole or not at all.

    Raises
    ------
    ChangedOnDiskError
        Where the file is no longer as it was read: `History.reread` takes what stands there,
        `History.keep_mine` writes the draft over it at the next save, and `save_as` leaves it.
    InputError
        Where there is no file yet, or it may not be written. It is then as it was.
    """
    draft = history.draft
    if draft.path is None:
        raise InputError("this site has no file yet", mend="save it under a name")
    _check_whole(draft)
    if draft.path.exists() and not draft.path.is_file():
        mend = "move it away, put the file back, then save again"
        raise InputError("in the place of the site file there is no file now", str(draft.path), mend)
    on_disk = _on_disk(draft.path)
    if on_disk is not None and on_disk != history.as_read:  # `rewrite` says of one that is gone
        raise _changed_on_disk(history, draft.path, on_disk)
    changes = _changes(history)
    try:
        new = rewrite(draft.path, history.as_read, lambda _text: draft.text)
    except InputError:
        on_disk = _on_disk(draft.path)
        if on_disk is not None and on_disk != history.as_read:  # in the very moment
            raise _changed_on_disk(history, draft.path, on_disk) from None
        raise
    before = before_of(draft.path, history.as_read) if new != history.as_read else None
    history.saved(draft.path, new)
    ended(draft.path, draft.folder)
    return Saved(draft.path, changes, before)


def save_as(history: History, path: Path) -> Saved:
    """Write a draft into a new site file beside those that it names, and go on with that one.

    Raises
    ------
    InputError
        Where there is a file of that name, it would lie in another folder, or cannot be written.
    """
    draft = history.draft
    if path.suffix.lower() != ".toml" or path.name.startswith("."):
        raise InputError(f"{path.name!r} is no name of a site file", str(path), "end it in .toml")
    if path.parent.resolve() != draft.folder.resolve():
        raise InputError(
            "names of files in a site file are relative to its folder",
            str(path),
            f"save it in {draft.folder}",
        )
    _check_whole(draft)
    changes = _changes(history)
    _write_new(path, draft.content)
    history.saved(path, draft.content)
    ended(draft.path, draft.folder)
    return Saved(path, changes, None)


def _on_disk(path: Path) -> bytes | None:
    """What a site file says now; None where there is none, or something that is no file."""
    try:
        return content(path, MOST_BYTES, "name a site file")
    except InputError:
        return None


def _changes(history: History) -> tuple[str, ...]:
    return changes_between(history.read_tables, history.draft.tables)


def _changed_on_disk(history: History, path: Path, on_disk: bytes) -> ChangedOnDiskError:
    try:
        theirs = changes_between(history.read_tables, draft_of(on_disk, path).tables)
    except InputError as error:
        theirs = (error.what,)
    return ChangedOnDiskError(path, on_disk, theirs)


def _check_whole(draft: Draft) -> None:
    """Never write a text that does not say what the draft says."""
    if tomllib.loads(draft.text) != draft.tables:
        raise AssertionError("the text of the draft does not say what its tables say")


def _write_new(path: Path, new: bytes) -> None:
    """Write a file that must not be there yet: whole, or none."""
    scratch: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}-", dir=path.parent)
        scratch = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        scratch.chmod(0o666 & ~_umask())
        try:
            os.link(scratch, path)
        except FileExistsError:
            raise
        except OSError:  # a file system on which a file has one name only
            path.open("xb").close()
            scratch.replace(path)
    except FileExistsError:
        raise InputError("there is a file of that name already", str(path), "choose another name") from None
    except OSError as error:
        raise InputError(
            f"the site cannot be saved: {error.strerror}",
            str(path),
            "free some space, or make the folder writable",
        ) from None
    finally:
        if scratch is not None:
            scratch.unlink(missing_ok=True)


def _umask() -> int:
    """What a new file of this user may not be."""
    mask = os.umask(0)
    os.umask(mask)
    return mask

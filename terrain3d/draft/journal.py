"""Unsaved work beside the site file, so that a crash takes nothing with it."""

import codecs
import contextlib
import json
import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from terrain3d.draft.document import Draft, draft_of
from terrain3d.draft.history import History
from terrain3d.errors import InputError
from terrain3d.outside import content
from terrain3d.tables import MOST_BYTES

#: What a journal says it is.
_IS = "unsaved work of terrain3d, 1"
#: Of a site that has no file yet.
_NEW = ".new-site.unsaved"
#: Letters of its name that one not yet whole has too: a name has 255 bytes at most.
_MOST_NAME = 50


@dataclass(frozen=True)
class Unsaved:
    """What a journal brings back.

    Parameters
    ----------
    draft : Draft
    as_read : bytes
        The site file as it was when that work began; saving holds it against the file of now.
    is_file_changed : bool
        Whether the file says something else by now.
    """

    draft: Draft
    as_read: bytes
    is_file_changed: bool


def journal_path(path: Path | None, folder: Path) -> Path:
    """Where the unsaved work of a site file is kept.

    >>> journal_path(Path("farm/site.toml"), Path("farm")).as_posix()
    'farm/.site.toml.unsaved'
    """
    return folder / (_NEW if path is None else f".{path.name}.unsaved")


def keep(history: History) -> None:
    """Write the unsaved work of a draft beside its file, whole or not; none stays where all is saved.

    Raises
    ------
    InputError
        Where it cannot be written.
    """
    draft = history.draft
    place = journal_path(draft.path, draft.folder)
    if history.is_saved:
        ended(draft.path, draft.folder)
        return
    # A file that somebody broke meanwhile may hold any bytes.
    as_read = history.as_read.decode("utf-8", "surrogateescape")
    said = {"is": _IS, "has_mark": draft.has_mark, "as_read": as_read, "text": draft.text}
    scratch: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f"{place.name[:_MOST_NAME]}-", dir=place.parent)
        scratch = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            json.dump(said, file)
        scratch.replace(place)
    except OSError as error:
        if scratch is not None:
            scratch.unlink(missing_ok=True)
        raise InputError(
            f"unsaved work cannot be kept beside the site file: {error.strerror}",
            str(place),
            "save now, or make the folder writable",
        ) from None


def found(path: Path | None, folder: Path) -> Unsaved | None:
    """The unsaved work that a session left; None where there is none, or the file says the same.

    Raises
    ------
    InputError
        Where the file of that name is no journal.
    """
    place = journal_path(path, folder)
    if not place.is_file():
        return None
    try:
        # A letter takes up to six times its room, and each is in there twice.
        said = json.loads(content(place, 13 * MOST_BYTES, "move it away").decode("utf-8"))
        if not isinstance(said, dict) or said.get("is") != _IS:
            raise ValueError(said)
        as_read = str(said["as_read"]).encode("utf-8", "surrogateescape")
        mark = codecs.BOM_UTF8 if said["has_mark"] is True else b""
        draft = draft_of(mark + str(said["text"]).encode("utf-8"), path, folder)
    except (ValueError, KeyError):
        raise InputError(
            "this should hold unsaved work, and cannot be read", str(place), "look at it, and move it away"
        ) from None
    on_disk = path.read_bytes() if path is not None and path.is_file() else b""
    if draft.content == on_disk:
        return None
    return Unsaved(draft, as_read, on_disk != as_read)


def ended(path: Path | None, folder: Path) -> None:
    """Take the journal away, its work is saved or was dropped; and what a session left that was killed."""
    place = journal_path(path, folder)
    unfinished = re.compile(rf"{re.escape(place.name[:_MOST_NAME])}-[a-z0-9_]{{8}}")
    with contextlib.suppress(OSError):
        place.unlink(missing_ok=True)
        for other in place.parent.iterdir():
            if unfinished.fullmatch(other.name) and not other.is_symlink() and other.is_file():
                other.unlink()

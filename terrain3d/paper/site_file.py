"""A site file that is written again: whole or not at all, and never over what someone else wrote.

The file as it was before stands beside it, under its name with `.before-` and the first eight digits of its
own SHA-256: so it is known as ours without a list, and the next one takes its place.
"""

import codecs
import os
import re
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from terrain3d.errors import InputError
from terrain3d.paper.held import BusyError, alone_with
from terrain3d.paper.ours import digest, is_file

_BEFORE = ".before-"
#: Characters of a name that are kept where more is added to it: a name has 255 bytes at most.
_MOST_NAME = 50


def rewrite(path: Path, as_read: bytes, change: Callable[[str], str]) -> bytes:
    """Change the text of a site file on disk.

    Parameters
    ----------
    path : Path
        A link stays one: what it points to is written.
    as_read : bytes
        The file as it was when it was read; it must not have changed since.
    change : callable
        Gives the new text for the old one, both without the byte-order mark that some editors put
        before it; the file keeps that.

    Returns
    -------
    bytes
        The file as it is now.

    Raises
    ------
    InputError
        When the file changed since it was read, or may not be written. It is then as it was.
    """
    place = _place_of(path)
    try:
        with alone_with(place):
            return _rewritten(place, path, as_read, change)
    except BusyError:
        raise InputError(
            "another program is saving it just now", str(path), "try again when that has ended"
        ) from None
    except OSError as error:
        mend = "put the file back where it was, then save again"
        raise InputError(f"the site file is gone: {error.strerror}", str(path), mend) from None


def before_of(path: Path, as_read: bytes) -> Path:
    """Where a site file is kept as it was before it was written again.

    >>> before_of(Path("site.toml"), b"").name
    'site.toml.before-e3b0c442'
    """
    place = _place_of(path)
    return path.with_name(f"{place.name[:_MOST_NAME]}{_BEFORE}{digest(as_read)[:8]}")


def _rewritten(place: Path, path: Path, as_read: bytes, change: Callable[[str], str]) -> bytes:
    """As `rewrite`, while no other run writes the file."""
    if place.read_bytes() != as_read:
        raise InputError(
            "the file changed on disk since it was read; saving now would undo that change",
            str(path),
            "write your settings down, close, and open the file again",
        )
    new = tried(path, as_read, change)
    if new != as_read:
        kept = place.with_name(before_of(place, as_read).name)
        if not is_file(kept) or kept.read_bytes() != as_read:
            _put(as_read, kept, place, path)
        _put(new, place, place, path)
        _clear_earlier(place, kept)
    return new


def _clear_earlier(place: Path, kept: Path) -> None:
    """Take away the file before the one before, and what a run that was killed here has left."""
    begins = re.escape(place.name[:_MOST_NAME])
    before = re.compile(rf"{begins}{re.escape(_BEFORE)}([0-9a-f]{{8}})")
    unfinished = re.compile(rf"\.{begins}\.unfinished-[a-z0-9_]{{8}}")
    with suppress(OSError):
        for other in place.parent.iterdir():
            if other == kept or not is_file(other):
                continue
            match = before.fullmatch(other.name)
            # A file of that name whose content is another is someone else's.
            if unfinished.fullmatch(other.name) or (match and digest(other.read_bytes())[:8] == match[1]):
                other.unlink()


def _place_of(path: Path) -> Path:
    """The file itself, where a path leads to it by links."""
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        raise InputError("its links lead round in a circle", str(path), "name the file itself") from None


def tried(path: Path, as_read: bytes, change: Callable[[str], str]) -> bytes:
    """What `rewrite` would write; nothing is written.

    Whoever is to write after long work tries a change of the same kind first.

    Raises
    ------
    InputError
        When the file may not be written, or the change raises it.
    """
    place = _place_of(path)
    # An administrator may write to anything, yet a file marked as not to be written means it.
    if not os.access(place, os.W_OK) or not place.stat().st_mode & 0o222:
        raise InputError("the file may not be written", str(path), "change its permissions, then save again")
    mark = codecs.BOM_UTF8 if as_read.startswith(codecs.BOM_UTF8) else b""
    return mark + change(_decoded(as_read.removeprefix(mark), path)).encode("utf-8")


def _decoded(content: bytes, path: Path) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        raise InputError("it is not a text file in UTF-8", str(path), "name a TOML file") from None


def _put(content: bytes, where: Path, place: Path, path: Path) -> None:
    """Write beside the file, then rename: a reader finds the old file or the new one, whole."""
    scratch: Path | None = None
    try:
        if where != place and (where.exists() or where.is_symlink()):
            raise InputError(
                "something of yours has the name under which the file as it was is kept", str(where),
                "move it away, then save again",
            )  # fmt: skip
        handle, name = tempfile.mkstemp(prefix=f".{place.name[:_MOST_NAME]}.unfinished-", dir=place.parent)
        scratch = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(place, scratch)
        scratch.replace(where)
    except OSError as error:
        if scratch is not None:
            scratch.unlink(missing_ok=True)
        raise InputError(
            f"the settings cannot be saved: {error.strerror}",
            str(path),
            "free some space, or make the folder writable; the file is as it was",
        ) from None

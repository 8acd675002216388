"""A site file that is written again: whole or not at all, and never over what someone else wrote."""

import codecs
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from terrain3d.errors import InputError


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
    place = path.resolve()
    try:
        on_disk = place.read_bytes()
    except OSError as error:
        mend = "put the file back where it was, then save again"
        raise InputError(f"the site file is gone: {error.strerror}", str(path), mend) from None
    if on_disk != as_read:
        raise InputError(
            "the file changed on disk since it was read; saving now would undo that change",
            str(path),
            "write your settings down, close, and open the file again",
        )
    new = tried(path, as_read, change)
    if new != as_read:
        _replace(place, new, path)
    return new


def tried(path: Path, as_read: bytes, change: Callable[[str], str]) -> bytes:
    """What `rewrite` would write; nothing is written.

    Whoever is to write after long work tries a change of the same kind first.

    Raises
    ------
    InputError
        When the file may not be written, or the change raises it.
    """
    place = path.resolve()
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


def _replace(place: Path, new: bytes, path: Path) -> None:
    """Write beside the file, then rename: a reader finds the old file or the new one, whole."""
    scratch: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{place.name[:40]}-", dir=place.parent)
        scratch = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(place, scratch)
        scratch.replace(place)
    except OSError as error:
        if scratch is not None:
            scratch.unlink(missing_ok=True)
        raise InputError(
            f"the settings cannot be saved: {error.strerror}",
            str(path),
            "free some space, or make the folder writable; the file is as it was",
        ) from None

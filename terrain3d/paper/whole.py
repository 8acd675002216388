"""Results appear whole or not at all: written beside their place, then moved into it."""

import errno
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from terrain3d.errors import InputError


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A scratch folder whose contents take their place in `out` when the block ends well.

    Each file or folder at the top of the scratch folder replaces its namesake in `out`; anything
    else there stays. When the block fails, or a move does, `out` is as it was.

    Parameters
    ----------
    out : Path
        Made where it does not exist.

    Raises
    ------
    InputError
        When the folder cannot be made or written, or the disk is full.

    Examples
    --------
    >>> import tempfile
    >>> out = Path(tempfile.mkdtemp()) / "results"
    >>> with whole_folder(out) as scratch:
    ...     _ = (scratch / "results.json").write_text("{}")
    >>> [entry.name for entry in out.iterdir()]
    ['results.json']
    """
    existed = out.exists()
    if existed and not out.is_dir():
        raise InputError("there is a file of that name", str(out), "name a folder with --out")
    try:
        out.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=out))
    except OSError as error:
        raise _unwritable(error, out) from None
    try:
        try:
            yield scratch
            _take_place(scratch, out)
        except OSError as error:
            if error.errno is None or isinstance(error, FileNotFoundError):
                raise
            raise _unwritable(error, out) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
        if not existed and not any(out.iterdir()):
            out.rmdir()


def _take_place(scratch: Path, out: Path) -> None:
    """Swap the finished entries in; put the old ones back when a move fails."""
    aside = scratch / ".replaced"
    entries = sorted(scratch.iterdir())
    aside.mkdir()
    moved: list[Path] = []
    try:
        for entry in entries:
            place = out / entry.name
            if place.exists():
                place.replace(aside / entry.name)
            moved.append(place)
            entry.replace(place)
    except BaseException:
        for place in moved:
            if (aside / place.name).exists():
                if place.is_dir():
                    shutil.rmtree(place)
                else:
                    place.unlink(missing_ok=True)
                (aside / place.name).replace(place)
        raise


def _unwritable(error: OSError, out: Path) -> InputError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return InputError("the disk is full", str(out), "free some space; earlier results are untouched")
    return InputError(
        f"results cannot be written: {error.strerror}", str(out), "name a folder you may write to with --out"
    )

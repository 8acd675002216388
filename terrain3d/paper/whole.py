"""Results appear whole or not at all: written beside their place, then moved into it."""

import errno
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from terrain3d.errors import InputError

#: Lists, in each folder of results, the files that this program wrote there.
WRITTEN_HERE = ".written-by-terrain3d"


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A scratch folder whose contents take their place in `out` when the block ends well.

    Each file replaces its namesake in `out`, in folders as well; files that an earlier run wrote into
    such a folder and this one did not are taken away, and whatever else lies there stays. When the
    block fails, or a move does, `out` is as it was.

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
    """Swap the finished files in; put the old ones back when a move fails."""
    for folder in [entry for entry in scratch.iterdir() if entry.is_dir()]:
        names = sorted(entry.name for entry in folder.iterdir())
        (folder / WRITTEN_HERE).write_text("".join(f"{name}\n" for name in names), encoding="utf-8")
    finished = sorted(path.relative_to(scratch) for path in scratch.rglob("*") if path.is_file())
    aside = scratch / ".replaced"
    moved: list[Path] = []
    try:
        for path in [*finished, *_outdated(scratch, out)]:
            moved.append(path)
            _move(out / path, aside / path)
            _move(scratch / path, out / path)
    except BaseException:
        for path in moved:
            (out / path).unlink(missing_ok=True)
            _move(aside / path, out / path)
        raise


def _move(source: Path, place: Path) -> None:
    """Move a file where there is one, making the folder it goes into."""
    if source.exists():
        place.parent.mkdir(parents=True, exist_ok=True)
        source.replace(place)


def _outdated(scratch: Path, out: Path) -> list[Path]:
    """Files that an earlier run wrote into the folders that are written again, and that are no more."""
    outdated = []
    for folder in sorted(entry.name for entry in scratch.iterdir() if entry.is_dir()):
        listed = out / folder / WRITTEN_HERE
        names = listed.read_text(encoding="utf-8").splitlines() if listed.is_file() else []
        # A name is a name in that folder: a path would reach elsewhere.
        own = [name for name in names if name == Path(name).name]
        outdated += [Path(folder, name) for name in own if not (scratch / folder / name).exists()]
    return outdated


def _unwritable(error: OSError, out: Path) -> InputError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        what = "the disk is full" if error.errno != errno.EFBIG else "the file may grow no larger here"
        return InputError(what, str(out), "make room or raise the limit; earlier results are untouched")
    return InputError(
        f"results cannot be written: {error.strerror}", str(out), "name a folder you may write to with --out"
    )

"""Results appear whole or not at all: written beside their place, then moved into it.

Nothing is removed or overwritten but what this program wrote itself (`ours`).
"""

import errno
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import BinaryIO

from terrain3d.errors import InputError
from terrain3d.paper.ours import (
    WRITTEN_HERE,
    Digests,
    digest,
    is_file,
    is_folder,
    is_ours,
    list_text,
    listed,
)

try:
    import fcntl
except ImportError:  # a system without such locks: what a killed run leaves there stays
    fcntl = None  # type: ignore[assignment]

_SCRATCH = ".unfinished-"
#: Locked in a scratch folder as long as the run it belongs to lives, however it ends.
_IN_USE = ".in-use-by-terrain3d"
_NEW, _REPLACED, _LIST = "new", ".replaced", "list"


@contextmanager
def whole_folder(out: Path, is_outdated: Callable[[Path], bool] = lambda _path: False) -> Iterator[Path]:
    """A scratch folder whose contents take their place in `out` when the block ends well.

    Each file replaces its namesake in `out`, and in folders of `out`, where that is ours. Whatever else
    lies there stays, but for outdated files of ours. When the block fails, or a move does, `out` is as
    it was. What a killed run left unfinished is cleared away.

    Parameters
    ----------
    out : Path
        Made where it does not exist.
    is_outdated : callable
        Given the path in `out` of a file of ours that is not made anew: whether it goes away.

    Raises
    ------
    InputError
        When something that is not ours is in the way, the folder cannot be made or written, or the disk
        is full.

    Examples
    --------
    >>> import tempfile
    >>> out = Path(tempfile.mkdtemp()) / "results"
    >>> with whole_folder(out) as scratch:
    ...     _ = (scratch / "results.json").write_text("{}")
    >>> sorted(entry.name for entry in out.iterdir())
    ['.written-by-terrain3d', 'results.json']
    """
    with _made(out):
        try:
            _clear_left(out)
            scratch, held = _scratch_in(out)
        except OSError as error:
            raise _unwritable(error, out) from None
        try:
            (scratch / _NEW).mkdir()
            yield scratch / _NEW
            _take_place(scratch, out, is_outdated)
        except OSError as error:
            if error.errno is None or isinstance(error, FileNotFoundError):
                raise
            raise _unwritable(error, out) from error
        finally:
            _clear(scratch, held)


def check_folder(out: Path, files: Iterable[Path] = ()) -> None:
    """Refuse a folder that results could not be written to, before anything is worked out for it.

    Parameters
    ----------
    out : Path
    files : iterable of Path
        What is to be written, as paths in `out`, at most one folder deep; the list of what is written
        stands for a folder of which nothing else is known yet.

    Raises
    ------
    InputError
        When `out` is a file, cannot be made or written, or something that is not ours stands where a
        file is to be written. Whether or not, nothing is left behind.

    Examples
    --------
    >>> check_folder(Path(__file__) / "out")
    Traceback (most recent call last):
    terrain3d.errors.InputError: results cannot be written: Not a directory
      where: ...whole.py/out
      to mend: name a folder you may write to with --out
    """
    with _made(out):
        try:
            Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=out)).rmdir()
            _check_free(out, files)
        except OSError as error:
            raise _unwritable(error, out) from None


@contextmanager
def _made(out: Path) -> Iterator[None]:
    """Make a folder for a block; what of it is still empty at the end goes away again."""
    missing: list[Path] = []
    try:
        try:
            if out.exists() and not out.is_dir():
                raise InputError("there is a file of that name", str(out), "name a folder with --out")
            missing = [folder for folder in (out, *out.parents) if not folder.exists()]
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _unwritable(error, out) from None
        yield
    finally:
        with suppress(OSError):
            for folder in missing:
                folder.rmdir()


def _check_free(out: Path, files: Iterable[Path]) -> None:
    """Refuse to write where something stands that is not ours."""
    known: dict[Path, Digests] = {}
    taken: dict[Path, str] = {}
    for path in files:
        place = out / path
        if place.parent not in known:
            known[place.parent] = (
                listed(place.parent) if is_folder(place.parent) or place.parent == out else {}
            )
            for stood, what in ((place.parent, "folder"), (place.parent / WRITTEN_HERE, "file")):
                if stood != out and _is_blocked(stood, what):
                    taken[stood] = _standing(stood, what)
        if place.parent in taken or place.name == WRITTEN_HERE:
            continue
        if (place.exists() or place.is_symlink()) and not is_ours(place, known[place.parent]):
            taken[place] = _standing(place, "file")
    if taken:
        place, words = next(iter(taken.items()))
        more = f", and {len(taken) - 1} more such things are in the way" if len(taken) > 1 else ""
        raise InputError(f"{words}{more}", str(place), "move it away, or name another folder with --out")


def _is_blocked(place: Path, what: str) -> bool:
    """Whether something else stands where a folder, or a file of any content, is to be."""
    fits = is_folder(place) if what == "folder" else is_file(place)
    return not fits and (place.exists() or place.is_symlink())


def _standing(place: Path, what: str) -> str:
    """What stands where a file or a folder would be written."""
    if place.is_symlink():
        return f"a link stands where a {what} would be written"
    if what == "file" and is_file(place):
        return "this file was not written by terrain3d, or was changed since, and would be overwritten"
    return f"a {'folder' if place.is_dir() else 'file'} of yours stands where a {what} would be written"


def _take_place(scratch: Path, out: Path, is_outdated: Callable[[Path], bool]) -> None:
    """Swap the finished files in and the outdated ones out; put the old ones back when a move fails.

    Not broken off half-way by a signal: `cli/start` waits until this is done.
    """
    new, aside = scratch / _NEW, scratch / _REPLACED
    made = sorted(path.relative_to(new) for path in new.rglob("*") if path.is_file())
    _check_free(out, made)
    undo: list[Callable[[], object]] = []
    try:
        for folder in _folders(out, made):
            place, known = out / folder, listed(out / folder)
            digests = {p.name: {digest((new / p).read_bytes())} for p in made if p.parent == folder}
            kept = {name: set(known[name]) for name in known if (place / name).exists()}
            gone = [
                name
                for name in kept
                if name not in digests and is_outdated(folder / name) and is_ours(place / name, known)
            ]
            if not digests and not gone:
                continue
            _make_folder(place, undo)
            # Whenever this is cut short, whatever stands here by then is known as ours.
            both = {name: kept.get(name, set()) | digests.get(name, set()) for name in {*kept, *digests}}
            _put_list(scratch, place, both, undo)
            for name in (*gone, *(name for name in digests if is_file(place / name))):
                _move(place / name, aside / folder / name, undo)
            for name in digests:
                _move(new / folder / name, place / name, undo)
            _put_list(scratch, place, {name: both[name] for name in both if name not in gone} | digests, undo)
    except BaseException:
        for put_back in reversed(undo):
            put_back()
        raise


def _folders(out: Path, made: Iterable[Path]) -> list[Path]:
    """The folders in which something may change, `.` for `out` itself."""
    inner = [place for place in out.iterdir() if is_folder(place) and is_file(place / WRITTEN_HERE)]
    return sorted({Path(), *(path.parent for path in made), *(place.relative_to(out) for place in inner)})


def _make_folder(place: Path, undo: list[Callable[[], object]]) -> None:
    if not place.exists():
        place.mkdir()
        undo.append(place.rmdir)


def _move(source: Path, place: Path, undo: list[Callable[[], object]]) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    source.replace(place)
    undo.append(partial(place.replace, source))


def _put_list(scratch: Path, place: Path, digests: Digests, undo: list[Callable[[], object]]) -> None:
    """Put the list of what is ours into a folder, in one step."""
    there = place / WRITTEN_HERE
    before = there.read_bytes() if is_file(there) else b""
    (scratch / _LIST).write_text(list_text(digests), encoding="utf-8")
    (scratch / _LIST).replace(there)
    undo.append(partial(there.write_bytes, before) if before else there.unlink)


def _scratch_in(out: Path) -> tuple[Path, BinaryIO]:
    """A new folder to write in, and the file in it that is locked until the end."""
    while True:
        scratch = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=out))
        try:
            held = (scratch / _IN_USE).open("wb")
        except BaseException:
            shutil.rmtree(scratch, ignore_errors=True)
            raise
        # Another run may have taken it for left behind before the lock was on it.
        if _is_locked(held) and (scratch / _IN_USE).exists():
            return scratch, held
        _clear(scratch, held)


def _is_locked(held: BinaryIO) -> bool:
    """Lock a file for as long as it is open; False where someone else has locked it."""
    if fcntl is not None:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:  # a file system without locks, for every run alike
            return True
    return True


def _clear_left(out: Path) -> None:
    """Take away what runs that are no more have left unfinished; one that lives has its lock."""
    for left in out.glob(f"{_SCRATCH}*"):
        if fcntl is None or not is_folder(left) or not is_file(left / _IN_USE):
            continue
        with suppress(OSError), (left / _IN_USE).open("r+b") as held:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(left, ignore_errors=True)


def _clear(scratch: Path, held: BinaryIO) -> None:
    held.close()
    shutil.rmtree(scratch, ignore_errors=True)


def _unwritable(error: OSError, out: Path) -> InputError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        what = "the disk is full" if error.errno != errno.EFBIG else "the file may grow no larger here"
        return InputError(what, str(out), "make room or raise the limit; earlier results are untouched")
    return InputError(
        f"results cannot be written: {error.strerror}", str(out), "name a folder you may write to with --out"
    )

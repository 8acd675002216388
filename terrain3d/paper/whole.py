"""Results appear whole or not at all: written beside their place, then put into it in one step.

Nothing is removed or overwritten but what this program wrote itself (`ours`).
"""

import errno
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from terrain3d.errors import InputError
from terrain3d.paper.held import IN_USE, held, held_at_once
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
from terrain3d.paper.swap import NEW, settle, swap

_SCRATCH = ".unfinished-"
#: What a folder to write in is called; before it is marked there is nothing in it.
_SCRATCH_NAME = re.compile(rf"{re.escape(_SCRATCH)}[a-z0-9_]{{8}}")


@contextmanager
def writing_to(out: Path, waiting: Callable[[], object] | None = None) -> Iterator[None]:
    """Hold a folder against other runs while the block writes into it, however often.

    It is made where it does not exist, and goes away again where it is empty in the end. What a run that
    was killed left there is brought to its end, or cleared away.

    Parameters
    ----------
    out : Path
    waiting : callable, optional
        Called once, before this waits for another run that is writing there.

    Raises
    ------
    InputError
        When the folder cannot be made or written.
    """
    with _made(out), ExitStack() as stack:
        try:
            stack.enter_context(held(out, waiting))
            settle(out)
        except OSError as error:
            raise _unwritable(error, out) from None
        yield


def cleared(out: Path) -> None:
    """Bring to its end, or clear away, what a run that was killed left in a folder; one without is left so.

    Nobody is waited for: a run that is writing there has cleared it away before it began.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    if out.is_dir():
        with held_at_once(out) as is_held:
            if is_held:
                settle(out)
                _clear_left(out)


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
    with writing_to(out):
        try:
            _clear_left(out)
            scratch = _scratch_in(out)
        except OSError as error:
            raise _unwritable(error, out) from None
        try:
            yield scratch / NEW
            _take_place(scratch, out, is_outdated)
        except OSError as error:
            if error.errno is None or isinstance(error, FileNotFoundError):
                raise
            raise _unwritable(error, out) from error
        finally:
            _clear(scratch)


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
            with held_at_once(out) as is_held:
                # While another run puts its files there nothing can be said; it is looked at again before
                # anything of this one takes its place.
                if is_held:
                    settle(out)
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
    """Swap the finished files in and the outdated ones out, each folder with the list of what is ours.

    Not broken off half-way by a signal: `cli/stopping` waits until this is done.
    """
    new = scratch / NEW
    made = sorted(path.relative_to(new) for path in new.rglob("*") if path.is_file())
    _check_free(out, made)
    outdated: list[Path] = []
    for folder in _folders(out, made):
        place, known = out / folder, listed(out / folder)
        digests = {p.name: {digest((new / p).read_bytes())} for p in made if p.parent == folder}
        kept = {name: set(known[name]) for name in known if (place / name).exists() and name not in digests}
        gone = [name for name in kept if is_outdated(folder / name) and is_ours(place / name, known)]
        if not digests and not gone:
            continue
        (new / folder).mkdir(exist_ok=True)
        stays = {name: kept[name] for name in kept if name not in gone}
        (new / folder / WRITTEN_HERE).write_text(list_text(stays | digests), encoding="utf-8")
        outdated += [folder / name for name in gone]
    swap(scratch, out, outdated)


def _folders(out: Path, made: Iterable[Path]) -> list[Path]:
    """The folders in which something may change, `.` for `out` itself."""
    inner = [place for place in out.iterdir() if is_folder(place) and is_file(place / WRITTEN_HERE)]
    return sorted({Path(), *(path.parent for path in made), *(place.relative_to(out) for place in inner)})


def _scratch_in(out: Path) -> Path:
    """A new folder to write in, marked as ours."""
    scratch = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=out))
    try:
        (scratch / IN_USE).touch()
        (scratch / NEW).mkdir()
    except BaseException:
        shutil.rmtree(scratch, ignore_errors=True)
        raise
    return scratch


def _clear_left(out: Path) -> None:
    """Take away what runs that are no more have left unfinished: none else writes here while it is held."""
    for left in out.glob(f"{_SCRATCH}*"):
        if is_folder(left) and is_file(left / IN_USE):
            shutil.rmtree(left, ignore_errors=True)
        elif is_folder(left) and _SCRATCH_NAME.fullmatch(left.name):
            with suppress(OSError):  # where something is in it, it is not ours
                left.rmdir()


def _clear(scratch: Path) -> None:
    shutil.rmtree(scratch, ignore_errors=True)


def _unwritable(error: OSError, out: Path) -> InputError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        what = "the disk is full" if error.errno != errno.EFBIG else "the file may grow no larger here"
        return InputError(what, str(out), "make room or raise the limit; earlier results are untouched")
    return InputError(
        f"results cannot be written: {error.strerror}", str(out), "name a folder you may write to with --out"
    )

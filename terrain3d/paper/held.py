"""One run at a time: a folder that results are put into, or a site file that is written again, is held."""

import os
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

try:
    import fcntl
except ImportError:  # a system without such locks: every run takes itself for the only one
    fcntl = None  # type: ignore[assignment]

#: Stands, locked, in a folder that is held; and marks what is being made in it as ours.
IN_USE = ".in-use-by-terrain3d"
#: Seconds between two looks at whether a folder, or a file, is free.
_LOOK_AGAIN_S = 0.1
#: Seconds within which whoever else saves a site file is done.
_MOST_SAVING_S = 10.0

#: The folders that this process holds. A lock is the process's own, so threads take their turns before it.
_held: set[str] = set()
_ONE_THREAD = threading.RLock()


class BusyError(OSError):
    """Another run has it, and is at work."""


@contextmanager
def held(folder: Path, waiting: Callable[[], object] | None = None) -> Iterator[None]:
    """Hold a folder that exists for as long as the block runs; within one process, as often as one likes.

    Nothing is left behind, and what a run that was killed left of its hold is no hindrance: the system
    unlocks what a process had when it ends, however that is.

    Parameters
    ----------
    folder : Path
    waiting : callable, optional
        Called once, before this waits for another run that holds it.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    with _ONE_THREAD, _held_folder(folder, waiting, is_patient=True):
        yield


@contextmanager
def held_at_once(folder: Path) -> Iterator[bool]:
    """The same without waiting; gives whether the folder is held, and else another run has it."""
    with _ONE_THREAD:
        try:
            with _held_folder(folder, None, is_patient=False):
                yield True
        except BusyError:
            yield False


@contextmanager
def _held_folder(folder: Path, waiting: Callable[[], object] | None, *, is_patient: bool) -> Iterator[None]:
    name = os.path.realpath(folder)
    if name in _held:
        yield
        return
    while (lock := _locked(folder)) is None:
        if not is_patient:
            raise BusyError
        if waiting is not None:
            waiting()
            waiting = None
        time.sleep(_LOOK_AGAIN_S)
    _held.add(name)
    try:
        yield
    finally:
        _held.discard(name)
        _unlock(folder, lock)


def _locked(folder: Path) -> BinaryIO | None:
    """The file in a folder that is locked from here on; None where another run has locked it."""
    place = folder / IN_USE
    # What is no plain file is not ours, and opening it might never end. It is looked at once: other runs make
    # and take away their own meanwhile.
    with suppress(FileNotFoundError):
        if not stat.S_ISREG(place.lstat().st_mode):
            raise FileExistsError(17, "something of yours has the name of a file that it needs", str(place))
    try:
        lock = place.open("ab")
    except FileNotFoundError:  # whoever held it before found it empty, and took it away
        folder.mkdir(parents=True, exist_ok=True)
        lock = place.open("ab")
    return _once_locked(lock, place, _lock_for_process)


def _unlock(folder: Path, lock: BinaryIO) -> None:
    with suppress(OSError):
        if _is_at(lock, folder / IN_USE):
            (folder / IN_USE).unlink()
    lock.close()


@contextmanager
def alone_with(file: Path) -> Iterator[None]:
    """Keep other runs from writing a file again while the block runs; it may itself be replaced in it.

    Raises
    ------
    BusyError
        When another run has it for longer than any saving takes.
    OSError
        When it cannot be opened.
    """
    until = time.monotonic() + _MOST_SAVING_S
    while (lock := _locked_itself(file)) is None:
        if time.monotonic() > until:
            raise BusyError
        time.sleep(_LOOK_AGAIN_S)
    try:
        yield
    finally:
        lock.close()


def _locked_itself(file: Path) -> BinaryIO | None:
    """A file, open and locked; None where another run has it, or replaced it since it was opened."""
    return _once_locked(file.open("rb"), file, _lock_for_opening)


def _once_locked(opened: BinaryIO, place: Path, lock: Callable[[BinaryIO], object]) -> BinaryIO | None:
    """An open file, locked; closed, and None, where another run has it.

    So too where it was let go, and taken away or replaced, between the opening and the locking.
    """
    is_ours = False
    try:
        try:
            lock(opened)
        except (BlockingIOError, PermissionError):
            return None
        except OSError:  # a file system without locks, for every run alike
            is_ours = True
        else:
            is_ours = _is_at(opened, place)
        return opened if is_ours else None
    finally:
        if not is_ours:
            opened.close()


def _lock_for_process(opened: BinaryIO) -> None:
    """The process's own: no process that it started keeps it longer."""
    if fcntl is not None:
        fcntl.lockf(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _lock_for_opening(opened: BinaryIO) -> None:
    """Of this opening alone: a file that is open for reading only can have it."""
    if fcntl is not None:
        fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _is_at(opened: BinaryIO, place: Path) -> bool:
    """Whether an open file is still the one of that name."""
    try:
        return os.path.samestat(os.fstat(opened.fileno()), place.stat())
    except FileNotFoundError:
        return False

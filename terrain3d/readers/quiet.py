"""Keep what compiled libraries print for themselves out of what this program prints."""

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

#: Two threads that put a descriptor back in the wrong order would leave it pointing at nothing.
_ONE_AT_A_TIME = threading.RLock()


@contextmanager
def quiet(fd: int, *, pass_on: bool = False) -> Iterator[None]:
    """Hold back what anyone writes to a file descriptor while the block runs.

    Parameters
    ----------
    fd : int
        1 for standard output, 2 for standard error.
    pass_on : bool
        Write it after all, unless the block raises: a library that fails explains itself there, and
        our own message does so in its stead; whatever else it holds is other people's, such as the
        progress that another thread shows.

    Notes
    -----
    Put it around the library's call alone. Where the descriptor is closed there is nothing to hold.

    Examples
    --------
    >>> import os
    >>> with quiet(1):
    ...     _ = os.write(1, b"a library's chatter")
    """
    with _ONE_AT_A_TIME:
        _flush(fd)
        kept = _duplicate(fd)
        if kept is None:
            yield
            return
        try:
            with tempfile.TemporaryFile() if pass_on else open(os.devnull, "r+b") as held:  # noqa: PTH123
                try:
                    os.dup2(held.fileno(), fd)
                    yield
                finally:
                    os.dup2(kept, fd)
                if pass_on:
                    _pass_on(held.fileno(), fd)
        finally:
            os.close(kept)


def _flush(fd: int) -> None:
    """Lines that wait in Python's own buffer belong before the block."""
    stream = sys.stdout if fd == 1 else sys.stderr
    if stream is not None:
        with suppress(OSError, ValueError):
            stream.flush()


def _duplicate(fd: int) -> int | None:
    with suppress(OSError):
        return os.dup(fd)
    return None


def _pass_on(held: int, fd: int) -> None:
    os.lseek(held, 0, os.SEEK_SET)
    # Whoever listened may have gone; that is no fault of the survey.
    with suppress(OSError):
        while block := os.read(held, 1 << 16):
            os.write(fd, block)

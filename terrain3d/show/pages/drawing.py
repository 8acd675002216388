"""Pages drawn into a folder, many of them by several processes: matplotlib keeps only one core busy."""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from terrain3d.lengths import Units, lengths_in, units
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.sheet import Page

#: Another process pays from so many pages on: it takes as long as some six to load what draws.
_PAGES_EACH = 16
#: Each holds the libraries and the site in memory once more, some half a gigabyte.
_MOST = 4


def draw_pages(
    open_pages: Callable[[], list[Page]],
    folder: Path,
    progress: Callable[[float], None] | None = None,
    is_shared: bool = False,
) -> list[Path]:
    """Draw pages; the same pages give the same bytes, whoever draws them.

    Parameters
    ----------
    open_pages : callable
        Gives the pages, in the order they are drawn; has to pickle where `is_shared`.
    folder : Path
        An existing folder.
    progress : callable, optional
        Told the share that is done.
    is_shared : bool
        Whether other processes may help where there are many pages. They import the main module of this
        one: it must do its work under `if __name__ == "__main__"`.

    Returns
    -------
    list of Path
        The files, by name.
    """
    count = len(open_pages())
    done: set[int] = set()

    def finished(place: int) -> None:
        done.add(place)
        if progress is not None:
            progress(len(done) / count)

    helpers = min(_cores(), count // _PAGES_EACH, _MOST) - 1 if is_shared else 0
    shares = [range(first, count, helpers + 1) for first in range(helpers + 1)] if helpers > 0 else []
    with _helped(open_pages, folder, shares[1:]) as ends, page_style():
        pages = open_pages()
        for place in shares[0] if shares else range(count):
            _draw(pages[place], folder)
            finished(place)
            _hear(ends, 0, finished)
        while ends:
            _hear(ends, None, finished)
        # What one that was killed has left.
        for place in sorted({*range(count)} - done):
            _draw(pages[place], folder)
            finished(place)
    return sorted(folder / page.file for page in pages)


def _draw(page: Page, folder: Path) -> None:
    page.draw().save(folder / page.file)


@contextmanager
def _helped(
    open_pages: Callable[[], list[Page]], folder: Path, shares: Sequence[range]
) -> Iterator[list[Any]]:
    """Processes that each draw a share of the pages, as our ends of the pipes they tell of it through."""
    context = multiprocessing.get_context("spawn")
    helpers, ends = [], []
    try:
        for share in shares:
            ours, theirs = context.Pipe(duplex=False)
            helper = context.Process(
                target=_help, args=(theirs, open_pages, folder, share, units()), daemon=True
            )
            with _deaf_to_ctrl_c():
                helper.start()
            theirs.close()
            helpers.append(helper)
            ends.append(ours)
        yield ends
    finally:
        for helper in helpers:
            helper.terminate()
            helper.join()


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """What is started in the block leaves Ctrl-C, which a terminal sends to all, to this process."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _help(end: Any, open_pages: Callable[[], list[Page]], folder: Path, share: range, told_in: Units) -> None:
    """Draw a share of the pages, telling the place of each, or what went wrong."""
    try:
        with lengths_in(told_in), page_style():
            pages = open_pages()
            for place in share:
                _draw(pages[place], folder)
                end.send(place)
    except Exception as error:  # noqa: BLE001  it is raised again where it is waited for
        with suppress(BrokenPipeError):  # unless whoever wanted the pages is gone
            end.send(error)


def _hear(ends: list[Any], seconds: float | None, finished: Callable[[int], None]) -> None:
    """Take what the helpers have to tell, waiting for it; ends of those that are done are taken away."""
    ready: list[Any] = list(wait(ends, seconds)) if ends else []
    for end in ready:
        try:
            told = end.recv()
        except EOFError:
            ends.remove(end)
            continue
        if isinstance(told, Exception):
            raise told
        finished(told)


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1

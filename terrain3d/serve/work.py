"""Work beside a page, in a process of its own: it tells how far it is, can be stopped, leaves nothing."""

import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from terrain3d.draft.document import Draft, checked_draft
from terrain3d.errors import InputError
from terrain3d.paper.whole import cleared
from terrain3d.sentences.work import NAMES, broken_words, ended_words, refused_words, starting_words
from terrain3d.serve.worker import Task, received, send

_MAIN = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from terrain3d.serve.worker import main; main()"
)


@dataclass(frozen=True)
class Progress:
    """How far work is: its share done, 0 to 1, and the step it is at."""

    what: str
    share: float
    words: str


@dataclass(frozen=True, eq=False)
class Done:
    """Work that is done, with what it gives: `terrain3d.serve.worker` says what that is of each kind.

    `draft` is what it was done for: the site may have been changed meanwhile.
    """

    what: str
    value: Any
    draft: Draft


@dataclass(frozen=True)
class Failed:
    """Work that was not done, and why; `is_input` where there is something for the person to mend."""

    what: str
    words: str
    is_input: bool


class Work:
    """One piece of work at a time, for the drafts of a folder.

    Parameters
    ----------
    folder : Path
        Nothing is written outside it.

    Examples
    --------
    >>> from terrain3d.draft.document import new_draft
    >>> work = Work(Path("."))
    >>> work.poll() is None
    True
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._reader: threading.Thread | None = None
        self._news: Progress | Done | Failed | None = None
        self._out: Path | None = None
        self._new_folders: tuple[Path, ...] = ()

    @property
    def is_busy(self) -> bool:
        """Whether something is being done, or was done and has not been asked for."""
        with self._lock:
            return self._news is not None

    def begin(self, what: str, draft: Draft, **how: Any) -> None:
        """Begin a piece of work.

        Parameters
        ----------
        what : str
            Of `terrain3d.serve.worker.TASKS`.
        draft : Draft
            As it is now: changes made later do not matter to this work.
        **how
            What the task of that name in `terrain3d.serve.worker` takes; `out` is a name within the folder.

        Raises
        ------
        InputError
            When something else is being done, or the site or the folder to write into cannot be used.
        """
        if what not in NAMES:
            raise InputError(f"there is no work {what!r}", mend=f"give one of {', '.join(NAMES)}")
        if self.is_busy:
            raise InputError("something else is being done", mend="wait until it has ended, or stop it")
        checked_draft(draft)
        out = None
        if "out" in how:
            out = self._within(str(how["out"]))
            how = {**how, "out": out}
        self._out = out
        self._new_folders = (
            () if out is None else tuple(one for one in (out, *out.parents) if not one.exists())
        )
        task = Task(what, draft.content, draft.path, draft.folder, how)
        self._process = _started()
        with self._lock:
            self._news = Progress(what, 0.0, starting_words(what))
        self._reader = threading.Thread(target=self._listen, args=(self._process, task, draft), daemon=True)
        self._reader.start()

    def poll(self) -> Progress | Done | Failed | None:
        """What there is to say of the work: how far it is, or, once, how it ended; None without any."""
        with self._lock:
            news = self._news
            if not isinstance(news, Progress):
                self._news = None
        if news is not None and not isinstance(news, Progress):
            self._end()
        return news

    def stop(self) -> None:
        """End the work at once, with every process that it started; what it wrote half is taken away."""
        process = self._process
        if process is None:
            return
        with self._lock:
            self._news = None
        _kill(process)
        self._end()
        if self._out is not None:
            with suppress(OSError):
                cleared(self._out)
                for folder in self._new_folders:
                    folder.rmdir()  # no further where something is in it

    def _within(self, name: str) -> Path:
        """A folder to write into, within the folder that this is about."""
        out = (self.folder / name).resolve()
        if not out.is_relative_to(self.folder.resolve()) or out == self.folder.resolve():
            raise InputError(
                f"{name!r} is no folder within {self.folder}",
                "out",
                "name a folder that lies in it, such as out",
            )
        return out

    def _listen(self, process: subprocess.Popen[bytes], task: Task, draft: Draft) -> None:
        """Hand over the task and take what is told of it, until it has ended."""
        if process.stdin is None or process.stdout is None:
            raise AssertionError("the process has pipes")
        news: Progress | Done | Failed | None = None
        with suppress(OSError, ValueError):  # where it is stopped meanwhile
            send(process.stdin, (task,))
            while (message := received(process.stdout)) is not None:
                news = _news(task.what, message, draft)
                self._tell(process, news)
        if news is None or isinstance(news, Progress):
            self._tell(process, Failed(task.what, ended_words(task.what), False))

    def _tell(self, process: subprocess.Popen[bytes], news: Progress | Done | Failed) -> None:
        with self._lock:
            if self._process is not process or self._news is None:
                return  # it was stopped
            self._news = news

    def _end(self) -> None:
        """Wait for a process that has ended, and close what led to it."""
        process, self._process = self._process, None
        if process is None:
            return
        with suppress(OSError):
            if process.stdin is not None:
                process.stdin.close()  # it lives no longer than this
        process.wait()
        if self._reader is not None and self._reader is not threading.current_thread():
            self._reader.join()
        if process.stdout is not None:
            process.stdout.close()


def _started() -> subprocess.Popen[bytes]:
    """The process that does the work, alone in its group: what it starts ends with it."""
    return subprocess.Popen(
        # What is imported is found where it was found here, and never where this happens to be called.
        [sys.executable, "-P", "-c", _MAIN, json.dumps(sys.path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )


def _kill(process: subprocess.Popen[bytes]) -> None:
    with suppress(OSError):  # it has ended by itself
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()


def _news(what: str, message: tuple[Any, ...], draft: Draft) -> Progress | Done | Failed:
    kind, *rest = message
    if kind == "told":
        return Progress(what, rest[1], rest[0])
    if kind == "done":
        return Done(what, rest[0], draft)
    if kind == "refused":
        return Failed(what, refused_words(what, *rest), True)
    return Failed(what, broken_words(what, rest[0]), False)

"""A reader in a process of its own: where a compiled library falls over a file, it takes nobody along.

What such a library is given has been held against the length of the file before; this is for what nobody
thought of. The process has so much memory and so many seconds of a processor, by the length of the file. It
hears no Ctrl-C, and ends when whoever asked is gone. Large arrays come back in memory that both see.

It is a fork of this process, which takes some milliseconds and finds all libraries loaded. A library that
keeps threads would find itself without them in a fork: where any does, as beside a window or in a server, a
Python of its own is started, once, and asked again and again.
"""

import atexit
import contextlib
import faulthandler
import gc
import json
import math
import mmap
import os
import pickle
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from terrain3d.errors import InputError

try:
    import fcntl
    import resource
except ImportError:
    _CAN = False
else:
    _CAN = hasattr(socket, "send_fds")

#: Bytes that reading may take beside what the process holds already, and for each byte of the files. The
#: largest known to be right are a grid packed in one piece of 1 GiB, and a mesh as text, made into lists.
MOST_BYTES, MOST_BYTES_EACH = 4 << 30, 40
#: Seconds of a processor, and for each million bytes of the files: fifty times what any format took.
MOST_S, MOST_S_EACH = 40, 2
#: Arrays from so many bytes on are shared; and where each begins in what is shared.
_SHARED, _STEP = 1 << 16, 64
#: Lengths of a message, and of what is shared with it.
_HEAD = struct.Struct("<QQ")
#: Exit status of a process that has no memory left to say so.
_OUT_OF_MEMORY = 77
_MAIN = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    "from terrain3d.apart import main; main(*map(int, sys.argv[2:]))"
)


def read_apart(
    function: Callable[..., Any],
    paths: Sequence[Path],
    *args: Any,
    take: Callable[[Any], None] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Any:
    """What a reader gives, called in a process of its own.

    Parameters
    ----------
    function : callable
        Of a module, where it is found by its name. Called with `args`, and with `take` and `progress` by
        name where they are given.
    paths : sequence of Path
        The files that it reads. With several, `progress` is told the share of them that is read.
    take : callable, optional
        Given here what the reader hands on there, in order; the reader is one ahead at most.
    progress : callable, optional
        Told here what the reader tells there.

    Raises
    ------
    InputError
        Where the process breaks down, needs too much memory or takes too long.
    Exception
        Whatever the reader raises, with its traceback there as the cause.
    """
    if not _CAN:  # a system without these has no limits to give, and no way to hand memory over
        handed = {name: one for name, one in (("take", take), ("progress", progress)) if one is not None}
        return function(*args, **handed)
    size = sum(map(_length, paths))
    limits = (MOST_BYTES + MOST_BYTES_EACH * size, MOST_S + MOST_S_EACH * size // 1_000_000)
    share = 0.0
    # A folder that is gone is told of by whoever looks for a file in it.
    folder = ""
    with contextlib.suppress(OSError):
        folder = str(Path.cwd())
    with _asked(_Task(folder, function, args, take is not None, progress is not None, *limits)) as child:
        while (message := _received(child.ours)) is not None:
            kind, value, trace = message
            if kind == "take" and take is not None:
                take(value)
                child.go_on()
            elif kind == "told" and progress is not None:
                share = value
                progress(share)
            else:
                child.is_whole = True
                if kind == "raised":
                    raise value from _ThereError(trace)
                return value
        status = child.wait()
    raise _broken_down(status, paths[min(int(share * len(paths) + 1e-6), len(paths) - 1)], *limits)


def _length(path: Path) -> int:
    """Bytes of a file; of one that is not there, none: whoever opens it says so."""
    with contextlib.suppress(OSError):
        return path.stat().st_size
    return 0


class _ThereError(Exception):
    """The traceback of a fault in a process of its own: the cause of the same fault here."""


def _broken_down(status: int, path: Path, most_bytes: int, most_s: int) -> InputError:
    """What is said of a process that did not come to its end."""
    again = "copy or export it again: it may be damaged, or made to do harm"
    if status == -signal.SIGXCPU:
        return InputError(f"reading it takes more than {most_s} seconds of a processor", str(path), again)
    if status == _OUT_OF_MEMORY:
        return InputError(
            f"reading it takes more than {most_bytes / 1e9:.1f} GB of memory",
            str(path),
            "cut it to the site; or copy or export it again: it may be damaged",
        )
    if status == -signal.SIGKILL:
        return InputError(
            "the system ended what was reading it, as it does where memory runs out",
            str(path),
            "close other programs, or cut it to the site",
        )
    name = signal.Signals(-status).name if status < 0 else f"status {status}"
    return InputError(f"the library that reads it broke down over it ({name})", str(path), again)


# Here.


@dataclass(frozen=True)
class _Task:
    """What is to be called there, in which folder, and the limits of it."""

    folder: str
    function: Callable[..., Any]
    args: tuple[Any, ...]
    takes: bool
    tells: bool
    most_bytes: int
    most_s: int


class _Child:
    """A process that reads, and what leads to it.

    Parameters
    ----------
    pid : int
    ours : socket.socket
    lifeline : int
        Our end of a pipe: where nobody holds it any more, the process ends.
    process : subprocess.Popen, optional
        Where it is a Python of its own.
    """

    def __init__(
        self, pid: int, ours: socket.socket, lifeline: int, process: "subprocess.Popen[bytes] | None" = None
    ) -> None:
        self.pid, self.ours, self.process = pid, ours, process
        self.is_whole = False
        self.asker = os.getpid()
        self._lifeline = lifeline
        self._status: int | None = None

    def go_on(self) -> None:
        """Say that what it handed on was taken."""
        with contextlib.suppress(OSError):  # it has ended, as is seen at the next word
            self.ours.send(b"+")

    def wait(self) -> int:
        """How it ended, as `subprocess` has it."""
        if self._status is None:
            if self.process is not None:
                self._status = self.process.wait()
            else:
                try:
                    self._status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
                except ChildProcessError:  # nobody is to wait for a process where SIGCHLD is ignored
                    self._status = 0
        return self._status

    def end(self) -> None:
        """End it, whatever it does."""
        if self._status is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)
            self.wait()
        self.ours.close()
        os.close(self._lifeline)


#: Pythons of their own: those that wait to be asked, and all that were started, so that none is forgotten
#: without having been waited for.
_waiting: list[_Child] = []
_started: list[_Child] = []
if _CAN:
    # A fork has no say over them.
    os.register_at_fork(after_in_child=_waiting.clear)


@contextlib.contextmanager
def _asked(task: _Task) -> Iterator[_Child]:
    """A process that is at a task; it is ended unless the task is."""
    stops = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    child = None
    # A signal between the start of a process and the block that ends it would leave it running.
    held = signal.pthread_sigmask(signal.SIG_BLOCK, stops)
    try:
        child = _forked(task) if _is_alone() else _told(task)
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
        yield child
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
        if child is not None and child.process is not None and child.is_whole:
            child.is_whole = False
            _waiting.append(child)
        elif child is not None:
            if child.process is not None:
                _started.remove(child)
            child.end()


def _is_alone() -> bool:
    """Whether a fork has all that this process has: no library keeps threads.

    Threads of Python's own, such as the bar on a terminal has, hold nothing that a reader asks for.
    """
    if threading.current_thread() is not threading.main_thread():
        return False
    try:
        return len(os.listdir("/proc/self/task")) == threading.active_count()  # noqa: PTH208
    except OSError:  # elsewhere the system's own libraries keep threads
        return False


def _forked(task: _Task) -> _Child:
    """This process once more, at a task."""
    ours, theirs = socket.socketpair()
    there, lifeline = os.pipe()
    with warnings.catch_warnings():
        # Later versions warn of any thread; see `_is_alone`.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid == 0:
        _be_a_fork(task, theirs, there, lifeline)
    theirs.close()
    os.close(there)
    return _Child(pid, ours, lifeline)


def _told(task: _Task) -> _Child:
    """A Python of its own, at a task."""
    while _waiting:
        child = _waiting.pop()
        try:
            _send(child.ours, task)
        except OSError:  # it has ended meanwhile
            _started.remove(child)
            child.end()
        else:
            return child
    ours, theirs = socket.socketpair()
    there, lifeline = os.pipe()
    process = subprocess.Popen(
        # What is imported is found where it was found here, and never where this happens to be called.
        [
            *(sys.executable, "-P", "-W", "ignore", "-c", _MAIN, json.dumps(sys.path)),
            *(str(theirs.fileno()), str(there)),
        ],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        pass_fds=(theirs.fileno(), there),
        start_new_session=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    theirs.close()
    os.close(there)
    child = _Child(process.pid, ours, lifeline, process)
    _started.append(child)
    with contextlib.suppress(OSError):  # it has ended, as is seen at the next word
        _send(ours, task)
    return child


def end_waiting() -> None:
    """End the Pythons that wait to be asked: each holds some 50 MB, and another is there in half a second."""
    while _waiting:
        child = _waiting.pop()
        _started.remove(child)
        child.end()


@atexit.register
def _end_all() -> None:
    """End the Pythons of their own with this one; a fork of this one leaves them alone."""
    for child in _started:
        if child.asker == os.getpid():
            child.end()


# There.


def main(theirs: int, there: int) -> None:
    """Do the tasks that come, until whoever gives them is gone."""
    asked = socket.socket(fileno=theirs)
    _live_with(there)
    while (task := _received(asked)) is not None:
        with contextlib.suppress(OSError):
            os.chdir(task.folder)
        _do(task, asked)
    os._exit(0)


def _be_a_fork(task: _Task, theirs: socket.socket, there: int, lifeline: int) -> NoReturn:
    """Do one task in a fork, and leave nothing of it that this process would have done at its end."""
    status = 1
    try:
        # What is no longer used here may not be tidied twice.
        gc.freeze()
        faulthandler.disable()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
        os.close(lifeline)
        _live_with(there)
        nowhere = open(os.devnull, "r+", encoding="utf-8")  # noqa: PTH123, SIM115  to the end of the process
        for standard in (0, 1, 2):
            os.dup2(nowhere.fileno(), standard)
        sys.stdout = sys.stderr = nowhere
        _do(task, theirs)
        status = 0
    finally:
        os._exit(status)


def _live_with(there: int) -> None:
    """Be ended by the system as soon as nobody holds the other end of a pipe, whatever is done meanwhile."""
    signal.signal(signal.SIGIO, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_SETMASK, ())
    fcntl.fcntl(there, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(there, fcntl.F_SETFL, os.O_ASYNC | os.O_NONBLOCK)
    with contextlib.suppress(BlockingIOError):  # somebody does
        os.read(there, 1)
        os._exit(1)


def _do(task: _Task, asked: socket.socket) -> None:
    """Do a task, and tell what comes of it."""
    _limit(task)
    n_untaken = 0

    def hand_on(value: Any) -> None:
        nonlocal n_untaken
        _send(asked, ("take", value, ""))
        n_untaken += 1
        wait_for(1)

    def wait_for(most: int) -> None:
        nonlocal n_untaken
        while n_untaken > most:
            if not asked.recv(1):
                os._exit(1)
            n_untaken -= 1

    def tell(share: float) -> None:
        _send(asked, ("told", float(share), ""))

    handed: dict[str, Any] = {}
    if task.takes:
        handed["take"] = hand_on
    if task.tells:
        handed["progress"] = tell
    try:
        message: tuple[str, Any, str] = ("done", task.function(*task.args, **handed), "")
        wait_for(0)
        _send(asked, message)
    except MemoryError:
        os._exit(_OUT_OF_MEMORY)
    except Exception as error:  # noqa: BLE001  it is raised again where it is waited for
        wait_for(0)
        _send(asked, ("raised", error, traceback.format_exc()))


def _limit(task: _Task) -> None:
    """Bound what this process takes beside what it has taken already; the system ends it past that."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = math.ceil(used.ru_utime + used.ru_stime) + task.most_s
    bounds = [(resource.RLIMIT_CPU, seconds), (resource.RLIMIT_CORE, 0)]
    # Memory that is written to. Some systems do not tell how much that is, and keep no such limit.
    with contextlib.suppress(OSError, StopIteration):
        words = Path("/proc/self/status").read_text("ascii").splitlines()
        held = next(int(line.split()[1]) * 1024 for line in words if line.startswith("VmData:"))
        bounds.append((resource.RLIMIT_DATA, held + task.most_bytes))
    for kind, most in bounds:
        _, hard = resource.getrlimit(kind)
        resource.setrlimit(kind, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


# Between them.


def _send(end: socket.socket, message: Any) -> None:
    """Put a message into a socket, its large arrays into memory that whoever gets it sees too."""
    pieces: list[memoryview] = []

    def is_small(buffer: pickle.PickleBuffer) -> bool:
        piece = buffer.raw()
        if piece.nbytes < _SHARED:
            return True
        pieces.append(piece)
        return False

    words = pickle.dumps(message, protocol=5, buffer_callback=is_small)
    if not pieces:
        end.sendall(_HEAD.pack(len(words), 0) + words)
        return
    places = pickle.dumps([piece.nbytes for piece in pieces])
    shared = _new_memory()
    try:
        for piece in pieces:
            _write(shared, piece)
            _write(shared, memoryview(bytes(-piece.nbytes % _STEP)))
        socket.send_fds(end, [_HEAD.pack(len(words), len(places))], [shared])
    finally:
        os.close(shared)
    end.sendall(places + words)


def _received(end: socket.socket) -> Any:
    """The next message; None where its other end is closed."""
    with contextlib.suppress(ConnectionResetError):
        head, shared, _, _ = socket.recv_fds(end, _HEAD.size, 1, flags=getattr(socket, "MSG_CMSG_CLOEXEC", 0))
        head += _read(end, _HEAD.size - len(head)) if head else b""
        if len(head) == _HEAD.size:
            n_words, n_places = _HEAD.unpack(head)
            rest = _read(end, n_words + n_places)
            if len(rest) == n_words + n_places:
                pieces = _pieces(shared[0], pickle.loads(rest[:n_places])) if shared else []
                return pickle.loads(rest[n_places:], buffers=pieces)
    return None


def _read(end: socket.socket, n_bytes: int) -> memoryview:
    """So many bytes, or as many as come before the end: a signal that is heard may part them."""
    found, n_found = memoryview(bytearray(n_bytes)), 0
    while n_found < n_bytes and (n := end.recv_into(found[n_found:])):
        n_found += n
    return found[:n_found]


def _pieces(shared: int, lengths: list[int]) -> list[memoryview]:
    """What lies in shared memory, as long as anyone holds it."""
    # All of it is wanted at once: where the system can, it is not asked for page by page.
    memory = memoryview(mmap.mmap(shared, 0, mmap.MAP_SHARED | getattr(mmap, "MAP_POPULATE", 0)))
    os.close(shared)
    pieces, at = [], 0
    for length in lengths:
        pieces.append(memory[at : at + length])
        at += length + -length % _STEP
    return pieces


def _new_memory() -> int:
    """A descriptor of memory that is no file's, or of a file that nobody can name."""
    if hasattr(os, "memfd_create"):
        return os.memfd_create("terrain3d")
    with tempfile.TemporaryFile() as unnamed:
        return os.dup(unnamed.fileno())


def _write(to: int, content: memoryview) -> None:
    while len(content):
        content = content[os.write(to, content) :]

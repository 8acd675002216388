"""Processes that begin with all libraries loaded: starting Python anew takes a second for each.

One Python waits, loads what a command needs when it is first asked, and forks for each program. A program is
started as any other, by `program`, as a small process that hands its files, folder, words and environment
over, and passes on signals and the exit status. It begins in the same clean state each time.
"""

import atexit
import contextlib
import functools
import gc
import os
import pickle
import select
import signal
import socket
import subprocess
import sys
import threading
import traceback
from pathlib import Path
from typing import NoReturn

#: What is loaded when something is first asked, kernels by what needs them. A fork has no thread but its own:
#: none may be left, so that those that look around are sent away, and there is no solid, which brings others.
LOAD = """
import tempfile, threading
from pathlib import Path
from site_files import YARD, option_text, written
import terrain3d.cli.main, terrain3d.cli.start, terrain3d.show.pages.stills, terrain3d.show.window.views
from terrain3d.job import run
from terrain3d.sight import parts
with tempfile.TemporaryDirectory() as folder:
    run(written(Path(folder), YARD + option_text("up")))
parts._pool().shutdown()
parts._pool.cache_clear()
assert threading.active_count() == 1
"""


#: How the process that waits, and so each that begins from it, orders sets of words.
HASH_SEED = "2"


def start(folder: Path) -> tuple[Path, subprocess.Popen]:
    """The process that waits, and its address in a folder; it ends when nobody holds its standard input."""
    address = folder / "ready"
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(address))
        listening.listen()
        words = [sys.executable, __file__, "--wait", str(listening.fileno())]
        told = {**os.environ, "PYTHONHASHSEED": HASH_SEED, "OPENBLAS_NUM_THREADS": "1"}
        return address, subprocess.Popen(
            words, env=told, pass_fds=[listening.fileno()], stdin=subprocess.PIPE
        )


def program(address: str, code: str) -> list[object]:
    """A command line, to be gone on with: as `python -c code` is, from a process that has all loaded."""
    return [sys.executable, "-I", "-S", __file__, address, code]


def ask(address: str, words: list[str]) -> int:
    """Have a program run with our files, pass on what signals come, and give its exit status."""
    numbers = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    # What comes too early waits.
    signal.pthread_sigmask(signal.SIG_BLOCK, numbers)
    with socket.socket(socket.AF_UNIX) as asking:
        asking.connect(address)
        told = pickle.dumps((words, str(Path.cwd()), dict(os.environ)))
        socket.send_fds(asking, [len(told).to_bytes(4)], [0, 1, 2])
        asking.sendall(told)
        for descriptor in (0, 1, 2):
            os.close(descriptor)  # whoever reads what it says is to hear of its end, not of ours
        pid = int.from_bytes(received(asking, 4))
        for number in numbers:
            signal.signal(number, lambda number, _: os.kill(pid, number))
        signal.pthread_sigmask(signal.SIG_UNBLOCK, numbers)
        return os.waitstatus_to_exitcode(int.from_bytes(received(asking, 4)))


def received(connection: socket.socket, count: int) -> bytes:
    """So many bytes; an end before that is an end of the other process."""
    found = b""
    while len(found) < count:
        piece = connection.recv(count - len(found))
        if not piece:
            raise EOFError("the process with all loaded has gone")
        found += piece
    return found


def wait_for_a_program(listening: socket.socket) -> str:
    """Returns in a process of its own, for each program that is asked for: the code to run."""
    looking_after: set[int] = set()
    while True:
        if sys.stdin in select.select([listening, sys.stdin], [], [])[0]:
            sys.exit()  # whoever started this has ended, or wants it to end
        asking, _ = listening.accept()
        load()
        if (pid := os.fork()) == 0:
            break
        asking.close()
        looking_after.add(pid)
        looking_after -= {one for one in looking_after if os.waitpid(one, os.WNOHANG)[0]}
    listening.close()
    head, files, _, _ = socket.recv_fds(asking, 4, 3)
    words, folder, environment = pickle.loads(received(asking, int.from_bytes(head)))
    if pid := os.fork():
        look_after(pid, asking, files)
    asking.close()
    for place, file in enumerate(files):
        os.dup2(file, place)
        os.close(file)
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    is_written_at_once = bool(environment.get("PYTHONUNBUFFERED"))
    sys.stdin, sys.stdout, sys.stderr = (
        open(place, mode, encoding="utf-8", errors=errors, closefd=False)  # noqa: SIM115
        for place, mode, errors in ((0, "r", "strict"), (1, "w", "strict"), (2, "w", "backslashreplace"))
    )
    sys.stdout.reconfigure(line_buffering=os.isatty(1), write_through=is_written_at_once)
    sys.stderr.reconfigure(line_buffering=True, write_through=is_written_at_once)
    sys.argv = ["-c", *words[1:]]
    return words[0]


@functools.cache
def load() -> None:
    """Load everything, once; what is there then is left alone, and so shared by all forks."""
    sys.path.insert(0, str(Path(__file__).parents[1]))
    exec(LOAD, {})
    gc.freeze()


def status_of(code: str) -> int:
    """Run a program; gives its exit status, having said what Python says of one that fails."""
    try:
        exec(code, {"__name__": "__main__"})
    except SystemExit as leaving:
        if isinstance(leaving.code, int | None):
            return leaving.code or 0
        sys.stderr.write(f"{leaving.code}\n")
        return 1
    except BaseException:  # noqa: BLE001  Python's own last word
        traceback.print_exc()
        return 1
    return 0


def end(status: int) -> NoReturn:
    """End as Python does, without the second that it takes to throw away all that is loaded.

    120 is its exit status where what was said last could not be written (documentation of `sys.exit`).
    """
    threading._shutdown()
    atexit._run_exitfuncs()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        status = 120
    os._exit(status)


def look_after(pid: int, asking: socket.socket, files: list[int]) -> None:
    """Tell of a program's end, and end it where nobody waits for it any more; never returns."""
    for file in files:
        os.close(file)
    asking.sendall(pid.to_bytes(4))
    ended = 0
    while not ended:
        ended, status = os.waitpid(pid, os.WNOHANG)
        if not ended and select.select([asking], [], [], 0.005)[0]:
            os.kill(pid, signal.SIGKILL)  # whoever asked is gone
            ended, status = os.waitpid(pid, 0)
    with contextlib.suppress(OSError):
        asking.sendall(status.to_bytes(4))
    os._exit(0)


if __name__ == "__main__":
    if sys.argv[1] == "--wait":
        with socket.socket(fileno=int(sys.argv[2])) as listening:
            code = wait_for_a_program(listening)
        end(status_of(code))
    else:
        sys.exit(ask(sys.argv[1], sys.argv[2:]))

"""The console command: Ctrl-C is heard from the first moment on, while libraries still load."""

import _thread
import os
import signal
import sys
import threading
from types import FrameType

#: Seconds after which a Ctrl-C that came while a library was loading is heard again.
_AGAIN_S = 0.05
_INTERRUPTED = 130


def main() -> None:
    """Run the command line and leave with its exit status."""
    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, _interrupt)
        from terrain3d.cli.main import main as run

        run()
    except KeyboardInterrupt:
        print("terrain3d: stopped; nothing was written", file=sys.stderr)  # noqa: T201  click is not there yet
        _leave()
    except SystemExit as leaving:
        if leaving.code == _INTERRUPTED:
            _leave()
        raise


def _leave() -> None:
    """Everything has been tidied on the way here; taking half-used compiled libraries down can crash."""
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(_INTERRUPTED)


def _interrupt(_signal: int, frame: FrameType | None) -> None:
    """Stop what is being done, but let a library that is being loaded finish loading first.

    Compiled libraries take an exception while they load for a fault of their own, or fall over it.
    """
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            threading.Timer(_AGAIN_S, _thread.interrupt_main).start()
            return
        frame = frame.f_back
    raise KeyboardInterrupt

"""Signals that stop a command: heard at once, but never in the middle of what must be whole.

Being told to end, as by a system that shuts down or a terminal that closes, is heard as Ctrl-C is.
"""

import _thread
import contextlib
import os
import signal
import sys
import threading
from types import FrameType

#: Seconds after which a signal that came at a bad moment is heard again.
_AGAIN_S = 0.05
#: Exit statuses of a command that a signal stopped: this and the signal's number (common practice).
_STOPPED = 128
INTERRUPTED = _STOPPED + signal.SIGINT
#: Ctrl-C; being told to end; and, not on every system, the terminal was closed.
_SIGNALS = (signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM))
#: What is done in a moment and never left half done: files taking their place, the tidying after them.
_WHOLE = {
    "terrain3d.paper.whole": ("_take_place", "_scratch_in", "_clear", "_clear_left"),
    "terrain3d.paper.swap": ("settle",),
    "terrain3d.paper.held": ("_locked", "_unlock", "_locked_itself"),
}
#: What compiles calls back into Python, from where no exception comes out: a stop in it would go unheard.
_COMPILER = "llvmlite."

_heard: signal.Signals | None = None
_is_sent_again = False


def listen() -> None:
    """Have signals stop what is being done; one that is ignored, as under nohup, stays ignored."""
    for number in _SIGNALS:
        if signal.getsignal(number) in (signal.default_int_handler, signal.SIG_DFL):
            signal.signal(number, _stop)


def is_heard() -> bool:
    """Whether a signal has come."""
    return _heard is not None


def hear_no_more() -> None:
    """Take no notice of more signals: everything is tidied, and there is only something left to be said."""
    for number in _SIGNALS:
        if signal.getsignal(number) is _stop:
            signal.signal(number, signal.SIG_IGN)


def leave() -> None:
    """Everything has been tidied on the way here; taking half-used compiled libraries down can crash."""
    with contextlib.suppress(OSError):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(INTERRUPTED if _heard is None else _STOPPED + _heard)


def _stop(number: int, frame: FrameType | None) -> None:
    """Stop what is being done, but let libraries finish loading and compiling, and files take their place.

    Compiled libraries take an exception while they load for a fault of their own, or fall over it.
    """
    global _heard, _is_sent_again
    _heard = signal.Signals(number)
    while frame is not None:
        if _is_whole(frame):
            if not _is_sent_again:
                _is_sent_again = True
                timer = threading.Timer(_AGAIN_S, _send_again, (_heard,))
                timer.daemon = True
                timer.start()
            return
        frame = frame.f_back
    raise KeyboardInterrupt


def _send_again(number: signal.Signals) -> None:
    """Send a signal to the main thread, out of whatever it waits for where the system can do that."""
    global _is_sent_again
    _is_sent_again = False
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(threading.main_thread().ident or 0, number)
    else:
        _thread.interrupt_main(number)


def _is_whole(frame: FrameType) -> bool:
    """Whether a call must not be broken off."""
    if frame.f_code.co_filename.startswith("<frozen importlib"):
        return True
    module = frame.f_globals.get("__name__", "")
    return module.startswith(_COMPILER) or frame.f_code.co_name in _WHOLE.get(module, ())

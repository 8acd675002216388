"""A word while kernels compile: on a terminal, where that is new; what is compiled is used without a word."""

import os
import pty
import signal
import subprocess
import sys

from site_files import SLOPE, option_text, run, written

from terrain3d.cli.options import COMPILING

PROGRAM = [sys.executable, "-c", "from terrain3d.cli.start import main; main()"]


def on_terminal(words: list[str], sent: signal.Signals | None, **told: str) -> tuple[int, str]:
    """The exit status of a command and what it said on a terminal; a signal is sent once it compiles."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "110", **told}
    child = subprocess.Popen(
        [*PROGRAM, *words], stdin=subprocess.DEVNULL, stdout=theirs, stderr=theirs, env=environment
    )
    os.close(theirs)
    said = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # on Linux the end of a terminal
            break
        if not piece:
            break
        said += piece
        if sent is not None and COMPILING.encode() in said:
            child.send_signal(sent)
            sent = None
    os.close(ours)
    return child.wait(timeout=120), said.decode()


def test_a_first_run_says_that_it_compiles_and_can_be_stopped_there(tmp_path):
    """Ctrl-C while a kernel compiles: status 130 (common practice of shells), one line, nothing written."""
    words = ["cover", str(written(tmp_path, SLOPE + option_text("north", range=12)))]
    words += ["--out", str(tmp_path / "out"), "--stills", "none"]
    status, said = on_terminal(words, signal.SIGINT, NUMBA_CACHE_DIR=str(tmp_path / "kernels"))
    assert f"looking around from each mount{COMPILING}" in said
    assert status == 130
    assert "terrain3d: stopped; nothing was written" in said
    assert "Traceback" not in said
    assert not (tmp_path / "out").exists()


def test_what_is_compiled_is_used_without_a_word(tmp_path):
    """A second run, in another process, has nothing to say of compiling."""
    words = ["cover", str(written(tmp_path, SLOPE + option_text("north", range=12)))]
    words += ["--out", str(tmp_path / "out"), "--stills", "none"]
    assert run(*words) == 0
    status, said = on_terminal(words, None)
    assert status == 0
    assert "looking around from each mount" in said
    assert COMPILING not in said

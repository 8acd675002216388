"""A word while kernels compile: on a terminal, where that is new; what is compiled is used without a word."""

import signal
import subprocess
import sys

from site_files import SLOPE, option_text, run, said_on_terminal, written

from terrain3d.cli.options import COMPILING

PROGRAM = [sys.executable, "-c", "from terrain3d.cli.start import main; main()"]


def on_terminal(words: list[str], sent: signal.Signals | None, **told: str) -> tuple[int, str]:
    """The exit status of a command and what it said on a terminal; a signal is sent once it compiles."""
    left = [] if sent is None else [sent]

    def heard(child: subprocess.Popen, said: bytes) -> None:
        if left and COMPILING.encode() in said:
            child.send_signal(left.pop())

    return said_on_terminal([*PROGRAM, *words], heard, **told)


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

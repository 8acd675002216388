"""Broken and hostile files, the same ones every run: whatever is read, a command ends by itself, in words."""

import subprocess
import sys
from pathlib import Path

import pytest

FUZZ = Path(__file__).parents[1] / "scripts" / "fuzz.py"
#: As many as a minute takes, in two halves that workers share.
CASES = 150


@pytest.mark.parametrize("half", [0, 1])
def test_changed_files_of_every_format_end_in_results_or_in_one_message(half, tmp_path):
    """No traceback, signal, noise, steering letter, minute, 2 GiB, touched file or call over the network."""
    words = [sys.executable, FUZZ, str(CASES), "--first", str(half), "--step", "2"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stdout[-5000:] + done.stderr[-2000:]
    assert f"{CASES} cases in" in done.stdout
    assert " 0 failed" in done.stdout


def test_what_is_wrong_with_a_command_is_seen(monkeypatch):
    """The checks themselves: each fault that is looked for is found where it is."""
    monkeypatch.syspath_prepend(FUZZ.parent)
    import fuzz

    message = "terrain3d: it is empty\n  where: a.las\n  to mend: copy it again\n"
    refused = 2 << 8  # as the system tells of a status
    assert fuzz.faults(refused, 1.0, 1, message, "") == []
    assert fuzz.faults(0, 1.0, 1, "", "done") == []
    assert fuzz.faults(1 << 8, 1.0, 1, "", "") == ["status 1"]
    assert fuzz.faults(9, 60.0, 1, "", "") == ["signal 9 at its minute"]
    assert fuzz.faults(0, 1.0, 3 << 30, "", "") == ["3.0 GiB"]
    assert "not one message" in fuzz.faults(refused, 1.0, 1, message + message, "")
    for noise in ("Traceback (most recent call last):", "RuntimeWarning: overflow", "a fault in the program"):
        assert any("noise" in fault for fault in fuzz.faults(0, 1.0, 1, noise, ""))
    for letter in "\x1b\x07\u202e\x9b":
        assert any("steering letter" in fault for fault in fuzz.faults(0, 1.0, 1, "", f"a{letter}b"))
    assert any("line" in fault for fault in fuzz.faults(refused, 1.0, 1, message + "libtiff is sad\n", ""))

"""What libraries print for themselves stays out; what we and others print does not."""

import os
import subprocess
import sys
import threading

import pytest

from terrain3d.readers.quiet import quiet


@pytest.mark.parametrize("fd", [1, 2])
def test_chatter_is_dropped_and_the_descriptor_put_back(fd: int, capfd: pytest.CaptureFixture[str]) -> None:
    """Written past Python, as compiled code does; before and after the block all is as ever."""
    os.write(fd, b"before ")
    with quiet(fd):
        os.write(fd, b"chatter ")
    os.write(fd, b"after")
    assert capfd.readouterr()[fd - 1] == "before after"


def test_a_block_that_ends_well_passes_on_what_others_wrote(capfd: pytest.CaptureFixture[str]) -> None:
    """More than a pipe would hold, in order."""
    with quiet(2, pass_on=True):
        os.write(2, b"x" * 200_000 + b"progress")
    assert capfd.readouterr().err == "x" * 200_000 + "progress"


def test_a_block_that_raises_drops_it_and_lets_the_fault_out(capfd: pytest.CaptureFixture[str]) -> None:
    """The fault is told once, by whoever catches it."""

    def decode() -> None:
        with quiet(2, pass_on=True):
            os.write(2, b"thread panicked")
            raise KeyError

    with pytest.raises(KeyError):
        decode()
    os.write(2, b"our message")
    assert capfd.readouterr().err == "our message"


def test_threads_at_once_leave_the_descriptor_as_it_was(capfd: pytest.CaptureFixture[str]) -> None:
    """Each holds back and passes on its own, and the last one out leaves no door shut."""

    def work(number: int) -> None:
        for _ in range(50):
            with quiet(2, pass_on=True):
                os.write(2, f"{number}\n".encode())

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    os.write(2, b"end\n")
    lines = capfd.readouterr().err.split()
    assert sorted(lines) == sorted(["0", "1", "2", "3"] * 50 + ["end"])
    assert lines[-1] == "end"


def test_blocks_within_blocks(capfd: pytest.CaptureFixture[str]) -> None:
    """The inner one hands on to the outer one, which hands on to the world."""
    with quiet(2, pass_on=True):
        with quiet(2, pass_on=True):
            os.write(2, b"inner ")
        with quiet(2):
            os.write(2, b"dropped ")
        os.write(2, b"outer")
    assert capfd.readouterr().err == "inner outer"


def test_a_closed_descriptor_is_nothing_to_hold() -> None:
    """Started without standard error, as services are: the work goes on."""
    script = "from terrain3d.readers.quiet import quiet\nwith quiet(2, pass_on=True): print('worked')"
    run = subprocess.run(
        ["/bin/sh", "-c", f'"{sys.executable}" -c "{script}" 2>&-'],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout == "worked\n"

"""Small drawn sites as files, and the command line as a person calls it."""

import os
import pty
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from terrain3d.cli.main import main

#: A slope with a pole, and nothing to be held.
SLOPE = """
[site]
name = "Slope"
cell = 0.5
[ground]
plane = { fall = 10, towards = 135, extent = 30 }
[[mount]]
name = "pole"
at = [0, 0]
"""

#: A gentle slope with a pole above a yard, and a walk across it.
YARD = """
[site]
name = "slope"
cell = 0.5
[ground]
plane = { fall = 5, towards = 180, extent = 30 }
[[mount]]
name = "pole"
at = [0, 8]
[[protect]]
name = "yard"
outline = [[-3, -2], [3, -2], [3, 4], [-3, 4]]
[[walk]]
name = "across"
path = [[-9, 0], [9, 0]]
"""

#: A pole below a yard, with something for every part of a study.
ALL_PARTS = """
[site]
name = "slope"
cell = 0.5
[ground]
plane = { fall = 12, towards = 180, extent = 30 }
[boundary]
outline = [[-12, -6], [12, -6], [12, 12], [-12, 12]]
[[beyond]]
name = "lane"
kind = "road"
outline = [[-12, -9], [12, -9], [12, -6], [-12, -6]]
[[nuisance]]
name = "vent"
kind = "vent"
at = [0, 2]
width = 0.4
height = 1.2
[[mount]]
name = "pole"
at = [0, -4]
heights = [1.0]
[[protect]]
name = "yard"
outline = [[-3, -2], [3, -2], [3, 4], [-3, 4]]
[[walk]]
name = "across"
path = [[-9, 0], [9, 0]]
[walk_test]
grade = 2
[doubt]
draws = 3
"""

#: The same with something of everything on it, and two mounts to search.
EVERYTHING = (
    ALL_PARTS
    + """
[[solid]]
name = "shed"
outline = [[5, 5], [8, 5], [8, 8], [5, 8]]
height = 2.5
[[foliage]]
name = "hedge"
outline = [[-8, 1], [-7, 1], [-7, 6], [-8, 6]]
height = 1.4
density = 1.5
[[mount]]
name = "post"
at = [-6, 3]
heights = [1.0]
[search]
bearing_step = 15
tilts = [-5, 0]
"""
)

#: Two mounts beside a yard, to be searched.
FARM = """\
[site]
name = "farm"
cell = 0.5
[ground]
plane = { fall = 5, towards = 90, extent = 30 }
[[protect]]
name = "yard"
outline = [[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]
[[mount]]
name = "pole"
at = [6.3, 0.0]
heights = [1.0]
[[mount]]
name = "post"
at = [-5.3, 0.0]
heights = [1.0]
[search]
types = ["one-head-90"]
bearing_step = 10
tilts = [0]
"""

#: A type with one layer, beside a site file.
OWN_TYPE = """\
name = "own"
nominal_height = 1.0
mount_height = [0.8, 1.2]
max_range = 12
range_settings = [12]
[[head]]
arc = 90
[[head.layer]]
name = "lower"
elevation = "range"
thickness = 3
"""


def option_text(name: str, mount: str = "pole", kind: str = "one-head-90", **setting: object) -> str:
    """An option of one unit, D1, 1 m up and facing north where no setting says otherwise."""
    keys = {"height": 1.0, "bearing": 0} | setting
    lines = "\n".join(f"{key} = {value}" for key, value in keys.items())
    return (
        f'[[option]]\nname = "{name}"\n[[option.detector]]\nname = "D1"\n'
        f'mount = "{mount}"\ntype = "{kind}"\n{lines}\n'
    )


def written(folder: Path, text: str) -> Path:
    """A site file in a folder."""
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def run(*words: object) -> int:
    """The exit status of one call of the command line."""
    with pytest.raises(SystemExit) as leaving:
        main([str(word) for word in words])
    return leaving.value.code or 0


def until(is_so, child: subprocess.Popen) -> None:
    """Wait for something that a command does; fail when the command has ended, or hangs."""
    for _ in range(6000):
        if is_so():
            return
        assert child.poll() is None, child.communicate()
        time.sleep(0.02)
    pytest.fail("it never came")


def said_on_terminal(
    argv: list[object], heard: Callable[[subprocess.Popen, bytes], object] = lambda *_: None, **told: str
) -> tuple[int, str]:
    """The exit status of a program and what it said on a terminal.

    `heard` is told of the process and all it has said so far, whenever it says more; `told` is added to the
    environment.
    """
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "110", **told}
    child = subprocess.Popen(argv, stdin=subprocess.DEVNULL, stdout=theirs, stderr=theirs, env=environment)
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
        heard(child, said)
    os.close(ours)
    return child.wait(timeout=120), said.decode()

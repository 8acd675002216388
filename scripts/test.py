"""Check the whole project: python3 scripts/test.py [arguments for pytest]

Format, lint, types, then the tests; every step runs, and any failure gives exit status 1. Sets up
.venv on the first run.
"""

import os
import shutil
import subprocess
import sys

from setup_env import ROOT, install_system_packages, make_ready, say, venv_program

#: The tests of the live window draw it on a screen that only exists in memory.
PROGRAMS = {"Xvfb": "xvfb"}
#: The tests of the page look at it in this browser, and are skipped where it is not to be had.
BROWSER, BROWSER_TESTS = "chromium", "tests/serve/page"


def steps(pytest_arguments: list[str]) -> list[list[str]]:
    """Commands in order; pytest is the last, so that its closing line is the last line said."""
    # Workers pay only on a whole run with more than one processor. Each takes a file at a time, whose tests
    # may share what is dear to make, in the order that the tests say: the longest first.
    is_shared = not pytest_arguments and (os.cpu_count() or 1) > 1
    workers = ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"] if is_shared else []
    return [
        ["ruff", "format", "--check", "--quiet", "."],
        ["ruff", "check", "--quiet", "."],
        ["mypy"],
        ["pytest", *workers, *pytest_arguments],
    ]


def look_for_browser() -> None:
    """Install the browser where that can be done, and say what is left out where it is not there."""
    if shutil.which(BROWSER) is None and shutil.which("apt-get") is not None and os.geteuid() == 0:
        install_system_packages([BROWSER])
    if shutil.which(BROWSER) is None:
        say(f"There is no {BROWSER}: {BROWSER_TESTS} is skipped, and nothing looks at the page")


def main() -> int:
    make_ready(PROGRAMS)
    look_for_browser()
    failed = False
    for program, *arguments in steps(sys.argv[1:]):
        say(f"== {' '.join([program, *arguments])}")
        command = [str(venv_program(program)), *arguments]
        status = subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, check=False).returncode
        if status != 0:
            failed = True
            if program != "pytest":
                say(f"   {program} found faults")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

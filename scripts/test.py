"""Check the whole project: python3 scripts/test.py [arguments for pytest]

Format, lint, types, then the tests; every step runs, and any failure gives exit status 1. Sets up
.venv on the first run.
"""

import os
import subprocess
import sys

from setup_env import ROOT, make_ready, say, venv_program

#: The tests of the live window draw it on a screen that only exists in memory.
PROGRAMS = {"Xvfb": "xvfb"}


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


def main() -> int:
    make_ready(PROGRAMS)
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

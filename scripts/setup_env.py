"""Bring a bare machine to where the project runs: system libraries, .venv, pinned packages.

Standard library only, for it runs before anything is installed. Once done, a stamp in .venv makes
the next run skip everything.
"""

import ctypes
import hashlib
import os
import platform
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
LOCK = ROOT / "requirements.lock"
STAMP = VENV / "terrain3d-ready"
OLDEST_PYTHON = (3, 11)

#: What the packages load from the system at run time, and the Debian package that brings it.
LIBRARIES = {
    "libEGL.so.1": "libegl1",  # pictures without a screen
    "libX11.so.6": "libx11-6",  # drawing ends the process without it, screen or not
    "libXcursor.so.1": "libxcursor1",
    "libGL.so.1": "libgl1",  # the live window
    "libexpat.so.1": "libexpat1",
    "libgomp.so.1": "libgomp1",  # without it compiled loops may not be called from two threads
}


def make_ready(programs: Mapping[str, str] | None = None) -> None:
    """Install what is missing; ends the process with status 1 and the line to run where it cannot.

    Parameters
    ----------
    programs : mapping
        Programs needed beside the libraries, each with the Debian package that brings it.
    """
    if sys.version_info < OLDEST_PYTHON:
        sys.exit(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]} ({sys.executable})")
    packages = missing_packages(LIBRARIES, programs or {})
    mark = fingerprint()
    is_stale = read_stamp() != (str(ROOT), mark)
    if is_stale:
        packages += missing_for_install()
    if packages:
        install_system_packages(packages)
    if is_stale:
        install_python_packages()
        STAMP.write_text(f"{ROOT}\n{mark}\n", encoding="utf-8")


def read_stamp() -> tuple[str, ...]:
    """Where .venv was made and from what; empty before the first time."""
    return tuple(STAMP.read_text(encoding="utf-8").splitlines()) if STAMP.is_file() else ()


def fingerprint() -> str:
    """Changes when the pinned packages, the project's own metadata or the Python do."""
    digest = hashlib.sha256(repr(sys.version_info[:3]).encode())
    for path in (LOCK, ROOT / "pyproject.toml"):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def missing_packages(libraries: Mapping[str, str], programs: Mapping[str, str]) -> list[str]:
    """Debian packages of the libraries and programs that this Linux machine lacks."""
    if not sys.platform.startswith("linux"):
        return []
    lacking = [package for library, package in libraries.items() if not has_library(library)]
    return lacking + [package for program, package in programs.items() if shutil.which(program) is None]


def has_library(name: str) -> bool:
    """True when the loader finds it."""
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def missing_for_install() -> list[str]:
    """Debian packages that only the installation needs: venv, and a compiler where a package has no wheel."""
    python = f"python{sys.version_info.major}.{sys.version_info.minor}"
    packages = [] if in_own_venv() or can_make_venv() else [f"{python}-venv"]
    # cloth-simulation-filter 1.1.7 has wheels for Python up to 3.12 on x86-64 alone.
    has_wheel = sys.version_info < (3, 13) and platform.machine() == "x86_64"
    if sys.platform.startswith("linux") and not has_wheel:
        headers = Path(sysconfig.get_path("include"), "Python.h")
        packages += missing_packages({}, {"g++": "g++"})
        packages += [] if headers.is_file() else [f"{python}-dev"]
    return packages


def can_make_venv() -> bool:
    """Debian keeps the half of venv that brings pip in a package of its own."""
    code = "import ensurepip, venv"
    return subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def in_own_venv() -> bool:
    """True when the Python that runs this is the one of .venv."""
    return Path(sys.prefix).resolve() == VENV.resolve()


def install_system_packages(packages: Sequence[str]) -> None:
    """Install Debian packages as root, or say the line to run and stop."""
    line = f"apt-get update && apt-get install -y --no-install-recommends {' '.join(packages)}"
    if shutil.which("apt-get") is None:
        sys.exit(f"System packages are missing; on Debian they are called: {' '.join(packages)}")
    if os.geteuid() != 0:
        sys.exit(f"System packages are missing. Run this, then try again:\n  sudo sh -c '{line}'")
    say(f"Installing system packages: {' '.join(packages)}")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (
        ["apt-get", "update", "-qq"],
        ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages],
    ):
        done = subprocess.run(
            command, env=quiet, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            sys.exit(
                f"{done.stdout}{done.stderr}{' '.join(command)} failed. To run by hand, as root:\n  {line}"
            )


def install_python_packages() -> None:
    """Make .venv where it is not, and install the pinned packages and the project itself into it."""
    if not in_own_venv():
        # A .venv of another Python, or one moved from elsewhere, cannot be mended in place.
        is_sound = venv_version() == sys.version_info[:2] and read_stamp()[:1] in ((), (str(ROOT),))
        fresh = [] if is_sound else ["--clear"]
        run([sys.executable, "-m", "venv", *fresh, str(VENV)])
    say("Installing the pinned packages into .venv: about 1.6 GB on disk, some minutes the first time")
    quiet = [] if sys.stdout.isatty() else ["-q"]
    pip = [str(venv_program("python")), "-m", "pip", "install", "--disable-pip-version-check", *quiet]
    run([*pip, "-r", str(LOCK)])
    run([*pip, "--no-deps", "-e", str(ROOT)])
    say("Compiling the kernels, once")
    run([str(venv_program("python")), str(ROOT / "scripts" / "compile_kernels.py")])


def venv_version() -> tuple[int, int] | None:
    """The Python of .venv as (major, minor); None when there is none that runs."""
    try:
        said = subprocess.run(
            [str(venv_program("python")), "-c", "import sys; print(*sys.version_info[:2])"],
            capture_output=True,
            text=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        return None
    major, minor = said.stdout.split()
    return int(major), int(minor)


def venv_program(name: str) -> Path:
    """Where .venv keeps a program."""
    if sys.platform == "win32":
        return VENV / "Scripts" / f"{name}.exe"
    return VENV / "bin" / name


def run(command: Sequence[str]) -> None:
    """Run a step of the installation; a failed one ends the process with its own words."""
    if subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, check=False).returncode != 0:
        sys.exit(f"This step failed: {' '.join(command)}")


def say(text: str) -> None:
    print(text, flush=True)

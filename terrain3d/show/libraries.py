"""System libraries that drawing needs: looked for first, for without them what draws ends the process."""

import ctypes
import sys
from collections.abc import Mapping

from terrain3d.errors import InputError

#: What pictures without a screen need, each with the Debian package that brings it.
PICTURES = {"libEGL.so.1": "libegl1", "libX11.so.6": "libx11-6", "libexpat.so.1": "libexpat1"}
#: What the window needs.
WINDOW = PICTURES | {"libGL.so.1": "libgl1"}

#: What mallopt(3) calls the size from which a block is given back (malloc.h), and that of a small picture.
_MMAP_THRESHOLD, _LARGE_BYTES = -3, 4 << 20


def check_libraries(needed: Mapping[str, str] = PICTURES) -> None:
    """Refuse to draw on a Linux machine that lacks what drawing loads from the system.

    Parameters
    ----------
    needed : mapping
        Of libraries to Debian packages.

    Raises
    ------
    InputError
        With the line that installs them.
    """
    if not sys.platform.startswith("linux"):
        return
    missing = {library: package for library, package in needed.items() if not _is_there(library)}
    if missing:
        raise InputError(
            f"drawing needs what this machine lacks: {', '.join(missing)}",
            "system libraries",
            f"on Debian or Ubuntu, as root: apt-get install {' '.join(missing.values())}",
        )


def hand_back_memory() -> None:
    """Have the system's library give pictures back to the system as they are let go of, from now on.

    After the first large block that is let go of, glibc keeps those of its size for later (mallopt(3)): pages
    of A4, one after the other, then hold a tenth of a GB that nobody uses. Other libraries stay as they are.
    """
    if not sys.platform.startswith("linux"):
        return
    library = ctypes.CDLL(None)
    if hasattr(library, "mallopt"):
        library.mallopt(_MMAP_THRESHOLD, _LARGE_BYTES)
        library.malloc_trim(0)


def _is_there(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True

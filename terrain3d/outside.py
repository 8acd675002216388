"""The door to files from outside: plain local files, opened to be read, and nothing that they name.

A site file, a survey or a drawn layer may come from anyone. Many libraries take a name for more than a
file (an address, a place in an archive, a driver with its orders), and follow what stands in a file or
beside it. So a library is handed an open stream from here, never a name; the few that insist on a name
are shut in where they are called (`readers/gdal.py`, `readers/geopackage.py`).
"""

import fnmatch
import os
import re
import stat
from pathlib import Path
from typing import BinaryIO

from terrain3d.errors import InputError

# PROJ fetches grids over the network where its environment says so; each copy of it, pyproj's and GDAL's,
# looks when it starts, so this comes first.
os.environ["PROJ_NETWORK"] = "OFF"

#: `http:`, `s3:`, `zip+file:`, `GPKG:`, `GTIFF_DIR:` and the like; one letter is a drive.
_ADDRESS = re.compile(r"\s*[a-z][a-z0-9+._-]+:", re.IGNORECASE)
#: GDAL's own file systems, however the strokes lean.
_VIRTUAL = re.compile(r"\s*[\\/]+\s*vsi", re.IGNORECASE)
#: `//server/share` is another machine on some systems.
_SHARE = re.compile(r"\s*[\\/]{2}")
#: What a name that is refused can be replaced by.
LOCAL_NAME = "give the path of a file on this machine: fetch or unpack it first, or rename it"


def strange_name(name: str) -> str:
    """What makes a name more than the path of a local file, in words; '' where nothing does.

    Examples
    --------
    >>> strange_name("surveys/hill.laz"), strange_name("C:\\\\surveys\\\\hill.laz")
    ('', '')
    >>> strange_name("https://example.org/hill.tif")
    "'https://example.org/hill.tif' is an address or an order to a library, not the path of a file"
    >>> strange_name("/vsizip/hill.zip/hill.tif")
    "'/vsizip/hill.zip/hill.tif' is an address or an order to a library, not the path of a file"
    """
    if any(mark.match(name) for mark in (_ADDRESS, _VIRTUAL, _SHARE)):
        return f"{name!r} is an address or an order to a library, not the path of a file"
    return ""


def opened(path: Path) -> BinaryIO:
    """A plain file, open for reading in bytes.

    Raises
    ------
    InputError
        Where there is none, it may not be read, it is empty, or it is a folder, a pipe or a device, which
        might never end or do something when touched.
    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode) and not stat.S_ISDIR(found.st_mode):
            raise InputError("it is a pipe or a device, not a file", str(path), "name a file")
        # What the system makes up as it is read, such as its own memory or log, has no length either.
        if stat.S_ISREG(found.st_mode) and not found.st_size:
            raise InputError("it is empty", str(path), "copy or export it again, or name another file")
        return path.open("rb")
    except FileNotFoundError:
        if fault := strange_name(str(path)):
            raise InputError(fault, "", LOCAL_NAME) from None
        raise InputError(
            "there is no such file", str(path), "check the path; in a site file it is relative to that file"
        ) from None
    except IsADirectoryError:
        raise InputError("this is a folder", str(path), "name the file in it") from None
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror}", str(path), "check its permissions") from None


def listed(folder: Path, pattern: str = "*") -> tuple[Path, ...]:
    """The plain files that lie in a folder itself and whose names fit a pattern, by name; no hidden ones.

    Folders, pipes and devices are left out, and nothing below the folder is looked into.

    Raises
    ------
    InputError
        Where there is no such folder, or it may not be looked into.
    """
    try:
        names = sorted(entry.name for entry in os.scandir(folder) if entry.is_file())
    except (FileNotFoundError, NotADirectoryError):
        raise InputError(
            "there is no such folder",
            str(folder),
            "check the path; in a site file it is relative to that file",
        ) from None
    except OSError as error:
        raise InputError(
            f"it cannot be read: {error.strerror}", str(folder), "check its permissions"
        ) from None
    return tuple(
        folder / name for name in names if not name.startswith(".") and fnmatch.fnmatchcase(name, pattern)
    )


def content(path: Path, most_bytes: int, mend: str) -> bytes:
    """The bytes of a plain file that has to be held in memory whole.

    Parameters
    ----------
    path : Path
    most_bytes : int
        A file longer than this is refused.
    mend : str
        What to do about a file that is too long.

    Raises
    ------
    InputError
        As `opened`, and where it is too long.
    """
    with opened(path) as stream:
        found = stream.read(most_bytes + 1)
    if len(found) > most_bytes:
        size_mb = path.stat().st_size / 1e6
        raise InputError(
            f"it is {size_mb:,.0f} MB long, and at most {most_bytes / 1e6:,.0f} MB are read", str(path), mend
        )
    return found


def beside(path: Path, *suffixes: str) -> Path | None:
    """The plain file of the same stem with the first of these suffixes, in small or capital letters.

    Parameters
    ----------
    path : Path
    suffixes : str
        With their dots, in small letters, the one to be taken first before others.
    """
    for suffix in suffixes:
        for spelt in (suffix, suffix.upper()):
            other = path.with_suffix(spelt)
            if other != path and other.is_file():
                return other
    return None

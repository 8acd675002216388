"""The drawing library of a scene: three.js, taken from the viewer that trimesh brings along.

It is the whole library as one script without a request to anywhere, under the MIT licence, in a package that
this program needs anyway; none of it lies in this repository.
"""

import re
import zipfile
from dataclasses import dataclass
from importlib.metadata import version
from importlib.resources import files
from io import BytesIO

from terrain3d.errors import InputError

#: From its licence to the end of what it calls itself by.
_SCRIPT = re.compile(
    r"/\*\*\n \* @license.*?SPDX-License-Identifier: MIT\n \*/\n"
    r'!function.*?"__esModule",\{value:!0\}\)\}\)\);',
    re.DOTALL,
)
_REVISION = re.compile(r'const \w+="(\d+)"')
_HOLDER = re.compile(r"Copyright [^\n]+")


@dataclass(frozen=True)
class Library:
    """A script that draws, what it is called, and the licence that it comes under."""

    name: str
    script: str
    licence: str


def three_js() -> Library:
    """The library as it is installed.

    Raises
    ------
    InputError
        When the trimesh that is installed does not bring it.
    """
    try:
        packed = (files("trimesh") / "resources" / "templates" / "viewer.zip").read_bytes()
        with zipfile.ZipFile(BytesIO(packed)) as archive:
            texts = [archive.read(name).decode("utf-8") for name in sorted(archive.namelist())]
    except (OSError, zipfile.BadZipFile, UnicodeDecodeError):
        texts = []
    found = _SCRIPT.search("\n".join(texts))
    revision = None if found is None else _REVISION.search(found[0])
    holder = None if found is None else _HOLDER.search(found[0])
    if found is None or revision is None or holder is None:
        raise InputError(
            "the drawing library of a scene is not in the trimesh that is installed",
            f"trimesh {version('trimesh')}",
            "install the one that requirements.lock names, or leave the scene out with --only",
        )
    # Its text goes with every copy (SPDX: MIT).
    licence = (files("terrain3d.pack") / "page" / "mit.txt").read_text(encoding="utf-8")
    return Library(f"three.js, revision {revision[1]}", found[0], f"{holder[0]}. {licence}")

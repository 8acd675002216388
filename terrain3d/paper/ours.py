"""Which files of a folder this program wrote, by a list of digests: nothing else is ever removed."""

import hashlib
import json
import re
import stat
from collections.abc import Iterable, Mapping, Set
from pathlib import Path

#: The list that stands in each folder that files were written into. `sha256sum -c` reads it too.
WRITTEN_HERE = ".written-by-terrain3d"

_HEADER = (
    "# Written by terrain3d, with the SHA-256 of each file. One that has changed since is yours: it stays."
)
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
#: What versions that kept no list of digests wrote beside the pictures.
_EARLIER = ("results.json", "verdicts.tif", "animals.tif", "chances.tif", "mounts.png")
_EARLIER_CAUTION = b'<Item name="CAUTION">A planning aid, not proof of detection. '
#: The widths of the pages that they drew, pixels: a screen, A4 and A3.
_EARLIER_WIDTHS = (1600, 3508, 4961)
_PNG = b"\x89PNG\r\n\x1a\n"

#: Digests by file name: those that a file may have and be ours.
Digests = Mapping[str, Set[str]]


def digest(content: bytes) -> str:
    """SHA-256 as the list has it.

    >>> digest(b"")[:16]
    'e3b0c44298fc1c14'
    """
    return hashlib.sha256(content).hexdigest()


def listed(folder: Path) -> Digests:
    """The files that this program wrote into a folder, with their digests; none where it does not exist.

    Files of versions that kept no digests are told by what is in them: results by their schema, maps by
    their caution, pictures by the names that those versions did keep and the width of a page.
    """
    text = _text_of(folder / WRITTEN_HERE)
    if text.startswith("#"):
        found: dict[str, set[str]] = {}
        for line in text.split("\n"):
            if (match := _LINE.fullmatch(line)) and _is_name(match[2]):
                found.setdefault(match[2], set()).add(match[1])
        return found
    names = [*_EARLIER, *filter(_is_name, text.split("\n"))]
    contents = {name: _content(folder / name) for name in names}
    return {name: {digest(content)} for name, content in contents.items() if _is_earlier(name, content)}


def list_text(digests: Digests) -> str:
    """The text of a list, by name.

    >>> print(list_text({"b.png": {digest(b"")}}).splitlines()[1][:16])
    e3b0c44298fc1c14
    """
    lines = [f"{one}  {name}" for name in sorted(digests) for one in sorted(digests[name])]
    return "\n".join([_HEADER, *lines, ""])


def is_ours(path: Path, digests: Digests) -> bool:
    """Whether this program wrote a file and nobody has changed it since; no link and no folder is ours."""
    known = digests.get(path.name, ())
    return bool(known) and is_file(path) and digest(_content(path)) in known


def ours(folder: Path) -> Iterable[Path]:
    """The files of a folder that are ours, by name."""
    known = listed(folder)
    return [folder / name for name in sorted(known) if is_ours(folder / name, known)]


def is_file(path: Path) -> bool:
    """Whether there is a file of that name, and not a link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def is_folder(path: Path) -> bool:
    """Whether there is a folder of that name, and not a link to one."""
    return path.is_dir() and not path.is_symlink()


def _is_name(name: str) -> bool:
    """Whether a line of a list is a name in its folder: a path would reach elsewhere."""
    return name not in ("", ".", "..") and not re.search(r"[/\\:\0]", name)


def _text_of(path: Path) -> str:
    return _content(path).decode("utf-8", "replace")


def _content(path: Path) -> bytes:
    """What is in a file; nothing where it is none or cannot be read."""
    try:
        return path.read_bytes() if is_file(path) else b""
    except OSError:
        return b""


def _is_earlier(name: str, content: bytes) -> bool:
    """Whether an earlier version wrote this."""
    kind = Path(name).suffix
    if kind == ".tif":
        return _EARLIER_CAUTION in content
    if kind == ".png":
        return content.startswith(_PNG) and int.from_bytes(content[16:20], "big") in _EARLIER_WIDTHS
    try:
        document = json.loads(content) if kind == ".json" else None
    except (ValueError, RecursionError):
        return False
    return isinstance(document, dict) and str(document.get("schema")).startswith("terrain3d/results/")

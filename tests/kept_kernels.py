"""Compiled kernels of this very source: kept between runs and clones, and thrown away with any change of it.

numba looks at the one file that a kernel stands in. A kernel has what it calls compiled into it, from other
files too, so that all of them are looked at here.
"""

import ast
import hashlib
import os
import platform
import sys
import zipfile
from importlib.metadata import version
from pathlib import Path

import terrain3d

PACKAGE = Path(terrain3d.__file__).parent
#: Of how many sources the kernels are kept, some 5 MB each.
MOST = 6
#: Stands behind the fingerprint of what all has been compiled of.
_WHOLE = " whole"


def sources(package: Path = PACKAGE) -> list[Path]:
    """The modules that hold kernels, and all of the package that those import, and so on."""
    wanted = [path for path in package.rglob("*.py") if "@njit" in path.read_text("utf-8")]
    found: set[Path] = set()
    while wanted:
        path = wanted.pop()
        if path not in found:
            found.add(path)
            wanted += imported(path, package)
    return sorted(found)


def imported(path: Path, package: Path) -> list[Path]:
    """The files of the package that one of them imports."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{name.name}" for name in node.names)}
    inside = (Path(*name.split(".")[1:]) for name in names if name.startswith(f"{package.name}."))
    return [file for place in inside if (file := package / place.with_suffix(".py")).is_file()]


def fingerprint(package: Path = PACKAGE) -> str:
    """Of all that compiled kernels hang on; the processor is looked at by numba itself."""
    digest = hashlib.sha256(repr((sys.version, platform.machine(), version("numba"))).encode())
    for path in sources(package):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def compiled(package: Path = PACKAGE) -> list[Path]:
    """What numba keeps beside the sources: of each kernel an index, and the machine code that it names."""
    return sorted(package.rglob("__pycache__/*.nb[ci]"))


def store() -> Path:
    """The folder in the user's cache."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "terrain3d" / "kernels"


def _stamp(package: Path) -> Path:
    return package / "__pycache__" / "kernels.sha256"


def make_fresh(package: Path = PACKAGE, folder: Path | None = None) -> bool:
    """Leave no kernel of an older source beside the sources; returns whether all of this one are there.

    They are, once `mark_whole` has said so, or they come from `folder`, the store where none is given.
    """
    mark, stamp = fingerprint(package), _stamp(package)
    told = stamp.read_text("utf-8") if stamp.is_file() else ""
    if told.startswith(mark):
        return told.endswith(_WHOLE)
    for path in compiled(package):
        path.unlink(missing_ok=True)
    kept = (folder or store()) / f"{mark}.zip"
    if kept.is_file():
        with zipfile.ZipFile(kept) as archive:
            archive.extractall(package)
    stamp.parent.mkdir(exist_ok=True)
    stamp.write_text(mark + (_WHOLE if kept.is_file() else ""), "utf-8")
    return kept.is_file()


def mark_whole(package: Path = PACKAGE) -> None:
    """Say that all has been compiled, and not only what a few tests needed."""
    _stamp(package).write_text(fingerprint(package) + _WHOLE, "utf-8")


def keep(package: Path = PACKAGE, folder: Path | None = None) -> None:
    """Put what is compiled into the store, in one move, where it is whole and the store holds less."""
    mark, kept = fingerprint(package), folder or store()
    stamp, files = _stamp(package), compiled(package)
    if not stamp.is_file() or stamp.read_text("utf-8") != mark + _WHOLE:
        return  # not all is there, or the sources have changed meanwhile
    kept.mkdir(parents=True, exist_ok=True)
    target = kept / f"{mark}.zip"
    if target.is_file():
        with zipfile.ZipFile(target) as archive:
            if len(archive.namelist()) >= len(files):
                return
    unfinished = kept / f"{mark}.{os.getpid()}"
    with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in files:
            archive.write(path, path.relative_to(package))
    unfinished.replace(target)
    for old in sorted(kept.glob("*.zip"), key=lambda path: path.stat().st_mtime)[:-MOST]:
        old.unlink(missing_ok=True)

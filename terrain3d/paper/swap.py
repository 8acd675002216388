"""Several files change in one step: one link is turned over, and all of them are new.

No call changes more than one name of a folder at once. So, for some moments, what is to change is a link into
a folder beside it, where the old files lie and the new ones, and `now` leads to the ones or to the others:

    results.json -> .taking-place-by-terrain3d/now/results.json
    .taking-place-by-terrain3d/now -> old, and then, in one call, -> new

Then the files take the place of their links. Whoever looks, at any moment and after any end of the process,
reads all of the old files or all of the new ones. A name that only the others have is a link to nothing in
that time. `settle` goes on from whatever was left, towards what `now` leads to.

Where the file system has no links, `now` is a file that says the same, and the new files take their place one
by one once it says `new`: cut short in these moments there are both, until `settle` has gone on.
"""

import os
import shutil
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from terrain3d.paper.held import IN_USE
from terrain3d.paper.ours import digest, is_file, is_folder

#: The folder of a swap, in the folder that changes.
SWAP = ".taking-place-by-terrain3d"
OLD, NEW = "old", "new"
_NOW, _NEXT = "now", "next"


def swap(scratch: Path, out: Path, gone: Iterable[Path] = ()) -> None:
    """Put the files of `scratch / NEW` into a folder, and take others of it away, in one step.

    Parameters
    ----------
    scratch : Path
        A folder in `out`, marked by a file `IN_USE`; it is gone in the end.
    out : Path
        Held by this run, with no other swap in it.
    gone : iterable of Path
        Files that go away, as paths in `out`.

    Raises
    ------
    OSError
        When something cannot be put there; all is as it was then.
    """
    made = sorted(path.relative_to(scratch / NEW) for path in (scratch / NEW).rglob("*") if path.is_file())
    touched = [*made, *gone]
    for path in touched:
        if (out / path).parent.is_dir():
            (scratch / OLD / path).parent.mkdir(parents=True, exist_ok=True)
        if is_file(out / path):
            _put_beside(out / path, scratch / OLD / path)
    (scratch / OLD).mkdir(exist_ok=True)
    is_linked = _point(scratch / _NOW, OLD)
    # Whoever may read the results may follow the links to them.
    scratch.chmod(out.stat().st_mode & 0o7777)
    for path in made:
        _keep(scratch / NEW / path)
    scratch.rename(out / SWAP)
    try:
        for path in touched:
            (out / path).parent.mkdir(exist_ok=True)
            if is_linked:
                (out / SWAP / _NEXT).symlink_to(_target(path))
                (out / SWAP / _NEXT).replace(out / path)
        _point(out / SWAP / _NEXT, NEW)
        (out / SWAP / _NEXT).replace(out / SWAP / _NOW)
    except BaseException:
        with suppress(OSError):
            settle(out)
        raise
    _keep(out)
    # From here on it is done; what cannot be tidied is read all the same, and tidied by the next run.
    with suppress(OSError):
        settle(out)


def settle(out: Path) -> None:
    """Bring a swap that was cut short to its end: back where nothing had changed yet, on where all had.

    What someone else has put in the place of a link meanwhile stays.

    Parameters
    ----------
    out : Path
        Held by this run.
    """
    here = out / SWAP
    if not is_folder(here) or not is_file(here / IN_USE):
        return
    side, is_linked = _pointed(here / _NOW), (here / _NOW).is_symlink()
    if side:
        for path in _files_in(here / OLD, here / NEW):
            place, wanted = out / path, here / side / path
            if not (_is_link(place, path) if is_linked else _is_before(place, here, path, side)):
                continue
            if is_file(wanted):
                wanted.replace(place)
            else:
                place.unlink(missing_ok=True)
        if side == OLD:
            for folder in {path.parent for path in _files_in(here / NEW)}:
                if not (here / OLD / folder).is_dir():
                    with suppress(OSError):
                        (out / folder).rmdir()
        (here / _NOW).unlink()
    # The mark comes last: without it nobody would know whose it is.
    for entry in here.iterdir():
        if entry.name != IN_USE:
            shutil.rmtree(entry) if is_folder(entry) else entry.unlink()
    shutil.rmtree(here)


def _put_beside(file: Path, beside: Path) -> None:
    """The same file under a second name; a copy of it where a file has one name only."""
    try:
        os.link(file, beside)
    except OSError:
        shutil.copy2(file, beside)


def _point(place: Path, side: str) -> bool:
    """Make what leads to a side: a link, which is told, or a file that says it."""
    try:
        place.symlink_to(side)
    except OSError:
        place.write_text(side, encoding="ascii")
        return False
    return True


def _pointed(place: Path) -> str:
    """The side that this leads to; '' where a swap had not begun, or has ended."""
    side = ""
    with suppress(OSError, ValueError):
        side = str(place.readlink()) if place.is_symlink() else place.read_text(encoding="ascii")
    return side if side in (OLD, NEW) else ""


def _target(path: Path) -> str:
    """Where the link of a file leads, from its folder."""
    return "/".join([".."] * (len(path.parts) - 1) + [SWAP, _NOW, *path.parts])


def _is_link(place: Path, path: Path) -> bool:
    return place.is_symlink() and str(place.readlink()) == _target(path)


def _is_before(place: Path, here: Path, path: Path, side: str) -> bool:
    """Without links: whether the old file stands there still, and the new one is to come."""
    if side == OLD:  # nothing had been moved
        return False
    if not is_file(place):
        return not place.exists() and not place.is_symlink()
    before = here / OLD / path
    return is_file(before) and digest(before.read_bytes()) == digest(place.read_bytes())


def _files_in(*folders: Path) -> list[Path]:
    """The files of folders, as paths in them, each once."""
    return sorted({path.relative_to(top) for top in folders for path in top.rglob("*") if is_file(path)})


def _keep(place: Path) -> None:
    """Have the system write down what it has of a file or a folder, against a loss of power."""
    with suppress(OSError):
        handle = os.open(place, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

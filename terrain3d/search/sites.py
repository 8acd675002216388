"""Many sites: each one's result as it comes, a failed one told with its message, the rest finished."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from terrain3d.errors import InputError
from terrain3d.ready import in_file
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import SearchResult
from terrain3d.search.run import read_search, run_search
from terrain3d.search.tasks import DoTasks, here
from terrain3d.tables import read_toml


@dataclass(frozen=True)
class SiteDone:
    """What came of one site: its result, or else the fault in words.

    `is_input` tells a fault of what was given from one of the program.
    """

    path: Path
    result: Any = None
    fault: str = ""
    is_input: bool = True


def site_files(folder: Path) -> tuple[Path, ...]:
    """The site files in a folder, by name; detector types that lie beside them are none.

    A file that cannot be read counts as a site: its fault is told when its turn comes.

    Raises
    ------
    InputError
        Where the folder is none, or has no site file in it.
    """
    if not folder.is_dir():
        raise InputError("there is no such folder", str(folder), "check the path")
    found = tuple(sorted(path for path in folder.iterdir() if path.suffix == ".toml" and not _is_type(path)))
    if not found:
        raise InputError("there is no site file in the folder", str(folder), "name a folder with .toml files")
    return found


def each_site(
    task: Callable[[Path], Any], paths: tuple[Path, ...], do_tasks: DoTasks = here
) -> Iterator[tuple[int, SiteDone]]:
    """Do a task for each site, and hand over what comes of it as it comes.

    Parameters
    ----------
    task : callable
        From the path of a site file to a result; has to pickle, as its result, when it goes elsewhere.
    paths : tuple of Path
        On a cluster every worker has to find the files under them, as on a shared drive.
    do_tasks : DoTasks
        Who does it.

    Yields
    ------
    place, SiteDone
        The place in `paths`, in the order they are done.

    Examples
    --------
    >>> def area(path):
    ...     if path.stem == "hill":
    ...         raise InputError("no ground is known", "hill.toml", "name a survey")
    ...     return 42.0
    >>> for place, done in each_site(area, (Path("hill.toml"), Path("yard.toml"))):
    ...     print(place, done.result or done.fault.partition("\\n")[0])
    0 no ground is known
    1 42.0
    """
    absolute = tuple(path.absolute() for path in paths)
    for place, done in do_tasks(partial(_attempted, task), None, absolute):
        yield place, replace(done, path=paths[place])


def search_site(
    wanted: tuple[int | None, float | None, float | None], path: Path
) -> SearchResult | NothingFits:
    """Search one site without a word: most units, most money and the share to hold, then its path."""
    search = read_search(path, _quiet, *wanted)
    try:
        return run_search(search, _quiet)
    except InputError as error:
        raise in_file(error, path) from error


def attempt(path: Path, task: Callable[[], Any]) -> SiteDone:
    """Do something for a site; a fault becomes words."""
    try:
        return SiteDone(path, task())
    except InputError as error:
        return SiteDone(path, fault=_with_notes(str(error), error))
    except MemoryError as error:
        words = "it does not fit in memory; a larger [site] cell makes it smaller"
        return SiteDone(path, fault=_with_notes(words, error))
    except Exception as error:  # noqa: BLE001  one site's fault must not cost the others their results
        words = f"a fault in the program: {type(error).__name__}: {error}"
        return SiteDone(path, fault=_with_notes(words, error), is_input=False)


def _with_notes(words: str, error: Exception) -> str:
    """What a fault says, and what of the site was done before it."""
    return "\n  ".join([words, *getattr(error, "__notes__", ())])


def _attempted(task: Callable[[Path], Any], _shared: None, path: Path) -> SiteDone:
    return attempt(path, partial(task, path))


def _quiet(_step: str, _fraction: float) -> None:
    pass


def _is_type(path: Path) -> bool:
    """Whether a file describes a detector type: those have heads, sites have none."""
    try:
        return "head" in read_toml(path)
    except InputError:
        return False

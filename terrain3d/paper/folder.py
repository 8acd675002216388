"""The folder of results: the numbers and maps first, whole or not at all; then the pictures, likewise."""

import re
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from terrain3d.job import Outcome
from terrain3d.paper.ours import WRITTEN_HERE, is_folder, ours
from terrain3d.paper.rasters import leaves_tif, option_tifs, verdicts_tif
from terrain3d.paper.results import results_json
from terrain3d.paper.whole import check_folder, whole_folder, writing_to

#: Maps of one option each.
_OF_OPTION = re.compile(r"\d\d+-verdicts-.*\.tif")
#: What is written of every outcome, the last where anything grows, and the folder of the pictures.
RESULTS, STILLS = ("results.json", "verdicts.tif", "leaves.tif"), "stills"


@dataclass(frozen=True)
class Pictures:
    """The pictures that go with results.

    Parameters
    ----------
    names : tuple of str
        Of the files to be drawn; none where nothing is.
    draw : callable
        Draws them into a folder.
    is_replaced : callable
        Given the name of a picture that an earlier run drew: whether it is of a kind that these take the
        place of.
    """

    names: tuple[str, ...]
    draw: Callable[[Path], object]
    is_replaced: Callable[[str], bool]


def no_picture(_name: str) -> bool:
    """What `is_replaced` says where pictures are left alone."""
    return False


def check_place(
    out: Path, files: Iterable[str] = RESULTS, is_page: Callable[[str], bool] = no_picture
) -> None:
    """Refuse a folder of results in which something of the user's is in the way, before the work starts.

    Parameters
    ----------
    out : Path
    files : iterable of str
        What is to be written beside the pictures.
    is_page : callable
        Whether a picture of such a name may be drawn.

    Raises
    ------
    InputError
    """
    pages: list[str] = []
    if is_page is not no_picture:
        with suppress(OSError):
            pages = sorted(entry.name for entry in (out / STILLS).iterdir() if is_page(entry.name))
        pages.append(WRITTEN_HERE)
    check_folder(out, [*map(Path, files), *(Path(STILLS, name) for name in pages)])


def write_results(
    outcome: Outcome,
    out: Path,
    pictures: Pictures | None = None,
    text: str | None = None,
    rasters: Mapping[str, bytes] | None = None,
    tell: Callable[[], object] | None = None,
    put: Callable[[], object] | None = None,
    waiting: Callable[[], object] | None = None,
) -> list[Path]:
    """Write `results.json`, `verdicts.tif` and `leaves.tif`, tell the answer, then draw `stills/`.

    Pictures of an earlier run that these would replace go away with the results they were drawn of, in the
    step that puts the new results there: whatever becomes of the drawing, none is left that shows other
    numbers than those beside it. Where the results are the same to the byte, they stay until then.

    Of an outcome without options there is nothing to map or to draw.

    Parameters
    ----------
    outcome : Outcome
    out : Path
    pictures : Pictures, optional
    text : str, optional
        Of a `results.json` that says more than the outcome alone.
    rasters : mapping, optional
        More files by their names.
    tell : callable, optional
        Called once the results are in their place, before the drawing starts.
    put : callable, optional
        Called when the results are written, and before they take their place: what it puts elsewhere, and
        they, are there together, and when it fails neither is.
    waiting : callable, optional
        Called before this waits for another run that writes into `out`; results and pictures are written
        without another's between them.

    Returns
    -------
    list of Path
        Pictures and maps of earlier runs in `out` that were not made anew, where the verdicts are others
        than those that stood there.

    Raises
    ------
    InputError
        When something of the user's is in the way (nothing has been changed then), or `out` cannot be
        written. A note tells of an exception of any kind that the results are there by then.
    """
    told = results_json(outcome) if text is None else text
    files = {RESULTS[0]: told.encode("utf-8"), **(rasters or {})}
    if outcome.options:
        files[RESULTS[1]] = verdicts_tif(outcome)
        files |= option_tifs(outcome)
        if len(outcome.terrain.foliage.base_z):
            files[RESULTS[2]] = leaves_tif(outcome)
    pages = pictures.names if pictures is not None and outcome.options else ()
    made = [*map(Path, files), *(Path(STILLS, name) for name in pages)]
    with writing_to(out, waiting):
        check_folder(out, made)
        before = {name: _content(out / name) for name in {*files, *RESULTS}}
        is_same = all(before[name] == content for name, content in files.items())

        def is_outdated(path: Path) -> bool:
            if str(path) in RESULTS or _OF_OPTION.fullmatch(str(path)):
                # A map of leaves where nothing grows any more goes, even where all numbers are as they were.
                return str(path) not in files or not is_same
            return not is_same and pictures is not None and _is_replaced(pictures, path)

        with whole_folder(out, is_outdated) as scratch:
            for name, content in files.items():
                (scratch / name).write_bytes(content)
            if put is not None:
                put()
        try:
            if tell is not None:
                tell()
            if pages and pictures is not None:
                write_pictures(out, pictures)
        except BaseException as error:
            unfinished = "; the pictures were not finished: none was written" if pages else ""
            error.add_note(f"the results are in {out}{unfinished}")
            raise
        if before[RESULTS[1]] in (b"", files.get(RESULTS[1])):
            return []
        return [path for path in _shown(out) if path.relative_to(out) not in made]


def write_pictures(out: Path, pictures: Pictures, waiting: Callable[[], object] | None = None) -> None:
    """Draw `stills/`, whole or not at all.

    Parameters
    ----------
    out : Path
    pictures : Pictures
    waiting : callable, optional
        Called before this waits for another run that writes into `out`.

    Raises
    ------
    InputError
        When something of the user's is in the way, or `out` cannot be written.
    """
    with writing_to(out, waiting), whole_folder(out, partial(_is_replaced, pictures)) as scratch:
        stills = scratch / STILLS
        stills.mkdir()
        pictures.draw(stills)


def _is_replaced(pictures: Pictures, path: Path) -> bool:
    return path.parent == Path(STILLS) and pictures.is_replaced(path.name)


def _shown(out: Path) -> list[Path]:
    """The pictures and maps that are ours."""
    maps = [path for path in ours(out) if path.suffix == ".tif"]
    return [*maps, *(ours(out / STILLS) if is_folder(out / STILLS) else [])]


def _content(path: Path) -> bytes:
    return path.read_bytes() if path.is_file() else b""

"""What the files of a pack are and for whom, as whoever opens its folder reads it."""

import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path

from terrain3d.caution import CAUTION
from terrain3d.job import Outcome
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.why import why
from terrain3d.wording import counted

#: Letters in a line.
_WIDTH = 100
#: By the kinds of `pack.names`, and of the files written with every pack.
_WHAT = {
    "plan": ("the plan of the recommended option, to scale on A3", "for any browser or drawing program"),
    "drawing": (
        "the plan as a drawing, in metres; each option on layers of its own that begin with its place,"
        " those of the best switched on",
        "for architect and surveyor",
    ),
    "model": (
        "the hillside under the recommended option in three dimensions, in metres, y up, -z to the north",
        "for architects and for whatever shows glTF",
    ),
    "map": ("all shapes with their tables, a layer a kind, in the CRS of the site file", "for a map program"),
    "geojson": ("the same shapes, a file a layer, longitude and latitude (WGS 84)", "for maps on the web"),
    "kml": (
        "the same shapes in the colours of the pages, a folder for each option",
        "for a globe on the screen",
    ),
    "tables": (
        "the numbers, in a workbook of a sheet a table and as text; units are in the headers",
        "for a spreadsheet",
    ),
    "rasters": (
        "maps cell by cell, in the local frame: what the numbers mean is said in each file",
        "for a map program",
    ),
    "results": ("every number, with all sentences; docs/results.md has its keys", "for programs"),
}


def drawing_notes(outcome: Outcome, crs_name: str | None) -> tuple[str, ...]:
    """What is written under a drawing: of what it is, in which coordinates, and the caution."""
    where = f"{crs_name}, metres" if crs_name else "local metres, true north up"
    return f"{outcome.site_name}. Coordinates: {where}.", foot_words(outcome.site), CAUTION


def contents_text(outcome: Outcome, files: Mapping[str, Iterable[Path]]) -> str:
    """The text of contents.txt.

    Parameters
    ----------
    outcome : Outcome
    files : mapping
        Paths in the pack by their kind.
    """
    lines = [outcome.site_name, why(outcome), foot_words(outcome.site), ""]
    for kind, paths in files.items():
        named = sorted(path.as_posix() for path in paths)
        if not named:
            continue
        what, whom = _WHAT[kind]
        lines += [*_names(named), f"    {what}; {whom}.", ""]
    return "\n".join(_wrapped([*lines, CAUTION, ""]))


def _wrapped(lines: list[str]) -> Iterable[str]:
    """Lines no longer than a screen is wide; what goes on stands in as far as what it goes on from."""
    for line in lines:
        margin = " " * (len(line) - len(line.lstrip()))
        yield from textwrap.wrap(line, _WIDTH, subsequent_indent=margin, break_long_words=False) or [""]


def _names(paths: list[str]) -> list[str]:
    """Paths in a row; of a folder the folder with what is in it."""
    flat = [path for path in paths if "/" not in path]
    told = [", ".join(flat)] if flat else []
    for folder in sorted({path.split("/")[0] for path in paths if "/" in path}):
        inner = [path.split("/")[1] for path in paths if path.startswith(f"{folder}/")]
        told.append(f"{folder}/ ({counted(len(inner), 'file')}: {', '.join(inner)})")
    return told

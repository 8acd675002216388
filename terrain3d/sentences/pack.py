"""What the files of a pack are and for whom, as whoever opens its folder reads it."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from terrain3d.caution import CAUTION
from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.verdicts import UNKNOWN_WORDS, VERDICT_WORDS, cause_words, sense_words
from terrain3d.sentences.why import why
from terrain3d.sentences.words import capital
from terrain3d.wording import counted, listed

#: Letters in a line.
_WIDTH = 100
#: By the kinds of `pack.names`, and of the files written with every pack.
_WHAT = {
    "report": (
        "what is recommended and why, what stays open, how sure it is, what to do, in pictures and words, A4",
        "for the client",
    ),
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
    "scene": (
        "the hillside to turn, with every option: open it in a browser, on a desktop or a telephone; it needs"
        " no network",
        "for the client",
    ),
    "map": (
        "all shapes with their tables, a layer a kind, the walk test of the recommended option among them, in"
        " the CRS of the site file",
        "for a map program",
    ),
    "geojson": ("the same shapes, a file a layer, longitude and latitude (WGS 84)", "for maps on the web"),
    "kml": (
        "the same shapes in the colours of the pages, a folder for each option",
        "for a globe on the screen",
    ),
    "tables": (
        "the numbers, in a workbook of a sheet a table and as text; of the recommended option how it is fixed"
        " and walk-tested; units are in the headers",
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


def pointed_words(code: int, outcomes: Mapping[str, tuple[int, str | None]]) -> tuple[str, ...]:
    """What is told of a piece of ground that somebody points at: its verdict, then each layer not broken.

    Parameters
    ----------
    code : int
        Of `Verdict`, or UNKNOWN.
    outcomes : mapping
        What became of each layer by its name, and the thing that takes it, if any.

    Examples
    --------
    >>> pointed_words(3, {"upper": (0, None), "lower": (2, "garden wall")})
    ('Upper only', 'The lower layer is hidden by a solid: "garden wall".')
    """
    if code == UNKNOWN:
        return (capital(UNKNOWN_WORDS),)
    told = [capital(VERDICT_WORDS[Verdict(code)])]
    for layer, (outcome, thing) in outcomes.items():
        if outcome in CAUSE_KEYS and code != Verdict.BOTH:
            named = f': "{thing}"' if thing else ""
            told.append(f"The {sense_words(layer)} {cause_words(CAUSE_KEYS[outcome]).does}{named}.")
    return tuple(told)


def left_out_words(names: Sequence[str]) -> str:
    """What a page to be turned does not show, for it would be too large.

    >>> left_out_words(["leaves"])
    'Not shown, for the page would be too large: leaves.'
    """
    return f"Not shown, for the page would be too large: {listed(list(dict.fromkeys(names)), 8)}."


def chance_told(percent: int) -> str:
    """How often a piece of ground that somebody points at is held.

    >>> chance_told(40)
    'Held in 40% of the draws of what survey and fixing may be off.'
    """
    return f"Held in {percent}% of the draws of what survey and fixing may be off."


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
        lines += [*_names(named), f"    {what}; {whom}."]
        if kind == "rasters" and len(outcome.options) > 1:
            lines += ["    The number of a map is that of its option in the site file:"]
            lines += [f"    {k:02d}  {option.name}" for k, option in enumerate(outcome.options, 1)]
        lines += [""]
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

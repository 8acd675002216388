"""Any result as plain values, or written to a folder: an outcome, a study, or what a search found."""

import json
from pathlib import Path
from typing import Any

from terrain3d.job import Outcome
from terrain3d.paper.folder import write_results
from terrain3d.paper.results import results_json
from terrain3d.paper.search import search_results_json
from terrain3d.paper.study import study_json, study_rasters
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import SearchResult
from terrain3d.study import Study

Result = Outcome | Study | SearchResult | NothingFits


def results_of(result: Result) -> dict[str, Any]:
    """What `results.json` says of a result, as plain values; docs/results.md has the keys.

    Parameters
    ----------
    result : Outcome, Study, SearchResult or NothingFits
    """
    values: dict[str, Any] = json.loads(_text(result))
    return values


def write(result: Result, folder: Path | str) -> None:
    """Write `results.json` and the maps that go with a result, whole or not at all; no pictures.

    Raises
    ------
    InputError
        When something of the user's is in the way, or the folder cannot be written.
    """
    rasters = study_rasters(result) if isinstance(result, Study) else {}
    outcome = result if isinstance(result, Outcome) else result.outcome
    write_results(outcome, Path(folder), text=_text(result), rasters=rasters)


def _text(result: Result) -> str:
    if isinstance(result, Outcome):
        return results_json(result)
    if isinstance(result, Study):
        return study_json(result)
    return search_results_json(result)

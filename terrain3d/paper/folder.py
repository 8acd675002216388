"""The folder of results, written whole or not at all."""

from collections.abc import Callable, Mapping
from pathlib import Path

from terrain3d.job import Outcome
from terrain3d.paper.rasters import verdicts_tif
from terrain3d.paper.results import results_json
from terrain3d.paper.whole import whole_folder


def write_results(
    outcome: Outcome,
    out: Path,
    write_stills: Callable[[Outcome, Path], object] | None = None,
    text: str | None = None,
    rasters: Mapping[str, bytes] | None = None,
) -> None:
    """Write `results.json`, `verdicts.tif` and, where a drawer is given, `stills/`.

    Parameters
    ----------
    outcome : Outcome
    out : Path
    write_stills : callable, optional
        Draws an outcome into a folder.
    text : str, optional
        Of a `results.json` that says more than the outcome alone.
    rasters : mapping, optional
        More files by their names.
    """
    with whole_folder(out) as scratch:
        told = results_json(outcome) if text is None else text
        (scratch / "results.json").write_text(told, encoding="utf-8")
        (scratch / "verdicts.tif").write_bytes(verdicts_tif(outcome))
        for name, raster in (rasters or {}).items():
            (scratch / name).write_bytes(raster)
        if write_stills is not None:
            stills = scratch / "stills"
            stills.mkdir()
            write_stills(outcome, stills)

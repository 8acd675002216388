"""The folder of results, written whole or not at all."""

from collections.abc import Callable
from pathlib import Path

from terrain3d.job import Outcome
from terrain3d.paper.rasters import verdicts_tif
from terrain3d.paper.results import results_json
from terrain3d.paper.whole import whole_folder


def write_results(
    outcome: Outcome, out: Path, write_stills: Callable[[Outcome, Path], object] | None = None
) -> None:
    """Write `results.json`, `verdicts.tif` and, where a drawer is given, `stills/`."""
    with whole_folder(out) as scratch:
        (scratch / "results.json").write_text(results_json(outcome), encoding="utf-8")
        (scratch / "verdicts.tif").write_bytes(verdicts_tif(outcome))
        if write_stills is not None:
            stills = scratch / "stills"
            stills.mkdir()
            write_stills(outcome, stills)

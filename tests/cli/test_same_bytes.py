"""Same input, same bytes: what is written is the same again, on a busier machine and in another folder."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import ready_process
from site_files import EVERYTHING, option_text

SITE = EVERYTHING + option_text("up", tilt=-3)

#: Runs commands one after another as a person does, each with words of its own.
RUN = """
import os, sys
from terrain3d.cli.main import main
if sys.argv[1] == "one":
    os.cpu_count = lambda: 1
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
for words in sys.argv[2:]:
    try:
        main(words.split())
    except SystemExit as leaving:
        if leaving.code:
            raise
"""
COMMANDS = (
    "cover site.toml --out cover",
    "study site.toml --out study",
    "pack site.toml --out pack",
    # The pictures that stay are those of the last.
    "search site.toml --out search --units 2 --stills none",
    "search site.toml --out search --units 2 --stills none",  # gone on with: nothing is judged again
    "search site.toml --out search --units 2 --anew --write --stills best",
    "search site.toml --out poor --budget 1",
    "mounts site.toml --out mounts --write",
    "sheet site.toml --out sheet --on 2026-11-27",
    "walktest site.toml --out walktest",
)


@pytest.fixture(scope="module")
def written(tmp_path_factory, ready) -> tuple[Path, Path]:
    """Two folders in which the same commands ran: with all processors, and with one and another hash seed.

    What has everything loaded already has one thread for small matrices, and a seed of its own.
    """
    folders, running = [], []
    assert ready_process.HASH_SEED != "1"
    for processors, start in (("all", [sys.executable, "-c", RUN]), ("one", ready(RUN))):
        folder = tmp_path_factory.mktemp(processors) / "deep" / processors
        folder.mkdir(parents=True)
        (folder / "site.toml").write_text(SITE, encoding="utf-8")
        # Not the one thread that other tests have: as many as there are.
        told = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
        threads = {} if processors == "all" else {"OMP_NUM_THREADS": "1"}
        root = Path(__file__).parents[2]
        with (folder / "stdout").open("w") as out:
            running.append(
                subprocess.Popen(
                    [*start, processors, *COMMANDS],
                    cwd=folder,
                    env={**told, "PYTHONHASHSEED": "1", "PYTHONPATH": str(root), **threads},
                    stdout=out,
                    stderr=subprocess.STDOUT,
                )
            )
        folders.append(folder)
    assert [process.wait() for process in running] == [0, 0]
    return folders[0], folders[1]


def files(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its path there."""
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def test_whatever_is_written_is_the_same_again(written):
    """Numbers, maps, pictures, what is kept of a search, the site file, and what was printed."""
    one, other = (files(folder) for folder in written)
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []
    for name in (
        "cover/verdicts.tif",
        "study/chances.tif",
        "search/results.json",
        "mounts/mounts.png",
        "pack/site.gpkg",
        "pack/plan.dxf",
        "pack/scene.glb",
        "pack/tables.xlsx",
        "pack/plan.svg",
        "pack/report.pdf",
        "pack/scene.html",
    ):
        assert name in one
    assert sum(name.endswith(".png") for name in one) > 15


def test_no_time_of_day_and_no_place_is_written(written):
    """What would change from run to run is not there at all: neither how long it took nor where it ran."""
    for folder in written:
        for name, content in files(folder).items():
            if name.endswith(".json"):
                assert str(folder).encode() not in content, name
                assert b'"seconds"' not in content, name

"""Compile what is compiled on first use, so that nobody waits for it later: compile_kernels.py

Run with the project's own environment. No kernel is named here: two processes do at once what needs them
all, one that searches, one that walks, each from its own end; numba keeps the results beside the sources.
"""

import contextlib
import doctest
import importlib
import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

#: Ground that a search has to keep out of.
KEPT_OUT = """
[[beyond]]
name = "plot"
keep_out = true
outline = [[4, -9], [12, -9], [12, 9], [4, 9]]
"""

#: What each process does; the second comes to what looks around when the first has compiled that.
PARTS = ("search", "walk")


def main() -> int:
    """Do both parts at once; returns 1 where one of them failed."""
    running = [subprocess.Popen([sys.executable, __file__, part], cwd=ROOT) for part in PARTS]
    statuses = [process.wait() for process in running]
    return 1 if any(statuses) else 0


def search() -> None:
    """Every setting of some mounts judged, and the lines of sight of pictures."""
    from terrain3d.job import run
    from terrain3d.show.pages.context import PageContext
    from terrain3d.show.pages.stills import write_stills
    from terrain3d.sight.hits import first_hits

    with everything() as site:
        command("search", site, "--out", site.parent / "search", "--units", 2, "--stills", "none")
        masks = "[search]\nmasks = true\nmask_nuisances = true"
        masked = site.with_name("masked.toml")
        masked.write_text(KEPT_OUT + site.read_text("utf-8").replace("[search]", masks), encoding="utf-8")
        command("search", masked, "--out", site.parent / "masked", "--stills", "none")
        outcome = run(site)
        first_hits(outcome.terrain, (0.0, 0.0, 1000.0), [[1.0, 0.0, -1.0]], 12.0)
        write_stills(PageContext(outcome), site.parent, ("section", "outlook"))


def walk() -> None:
    """The examples in the room of walks, then every part of a study, by layers and by microwave."""
    for path in sorted((ROOT / "terrain3d" / "walk").glob("[!_]*.py")):
        module = importlib.import_module(f"terrain3d.walk.{path.stem}")
        # Whether they are right is for the tests to say.
        doctest.testmod(module, report=False, optionflags=doctest.ELLIPSIS)
    with everything("one-head-90", "one-head-90-microwave") as site:
        command("study", site, "--out", site.parent / "study", "--stills", "none")


@contextlib.contextmanager
def everything(*types: str) -> Iterator[Path]:
    """A small site file with something of everything and an option of each type, while the block runs."""
    from site_files import EVERYTHING, option_text

    with TemporaryDirectory() as folder:
        site = Path(folder) / "site.toml"
        options = [option_text(kind, kind=kind, tilt=-3) for kind in types or ("one-head-90",)]
        site.write_text(EVERYTHING + "".join(options), encoding="utf-8")
        yield site


def command(*words: object) -> None:
    """One call of the command line, without what it says."""
    from terrain3d.cli.main import main as run

    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        run([str(word) for word in words])


if __name__ == "__main__":
    if len(sys.argv) > 1:
        with contextlib.redirect_stdout(io.StringIO()):
            {"search": search, "walk": walk}[sys.argv[1]]()
    else:
        sys.exit(main())

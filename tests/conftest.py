"""Where the small real files lie (their origin and licence are in data/README.md); how tests draw cases."""

import contextlib
import gc
import os
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import kept_kernels
import pytest
import ready_process
from hypothesis import settings

# The linear algebra is of small matrices, and each process has one to itself: more threads of it would only
# wait for each other, at full speed. `test_same_bytes` takes this back, to run with all there are.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Bytecode lies beside the sources, as kernels do: without it each worker would compile all tests anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Folders of tests lie in memory where there is room: a disk makes whoever writes whole files wait
# until it has them, half a second each where others write too.
MEMORY = Path("/dev/shm")
if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > 2e9:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

# The same cases every time, so that a run that passed passes again; TERRAIN3D_CASES=new draws new ones.
# A case takes as long as the machine is busy: none is timed.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("new", derandomize=False, deadline=None)
settings.load_profile(os.environ.get("TERRAIN3D_CASES", "same"))

# Whoever starts the tests in the background or under `nohup` has them ignore signals, and so all that they
# start: the tests that send those would wait for ever.
if threading.current_thread() is threading.main_thread():
    for number, usual in (
        (signal.SIGINT, signal.default_int_handler),
        (signal.SIGTERM, signal.SIG_DFL),
        (signal.SIGHUP, signal.SIG_DFL),
    ):
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, usual)

DATA = Path(__file__).parent / "data"
#: Files that take longest, the longest first: whoever begins with them at the end has others wait.
LONGEST = (
    "test_pictures", "test_window", "test_all_pages", "test_same_bytes", "test_page", "test_keeping",
    "test_looks", "test_stills", "test_cluster",
    "test_face", "test_routes_pages", "test_outlook", "test_inspect", "test_schema", "test_open_routes",
    "test_choose_set", "test_walktest", "test_study_window", "test_contact", "test_walk_pages",
    "test_surroundings", "test_drawing", "test_far", "test_nuisance_pages", "test_uncertainty", "test_embree",
    "test_real_clouds", "test_run", "test_session",
)  # fmt: skip
#: Where the process is told to be that starts others at once.
READY = "TERRAIN3D_READY_PROCESS"
COMPILE = Path(__file__).parents[1] / "scripts" / "compile_kernels.py"


def looks_after_kernels(session: pytest.Session) -> bool:
    """Whether a process is the one that starts the others, and kernels are kept beside the sources."""
    is_worker = hasattr(session.config, "workerinput")
    return not is_worker and not session.config.option.collectonly and "NUMBA_CACHE_DIR" not in os.environ


def pytest_configure(config: pytest.Config) -> None:
    """One process waits to start others at once, for all workers."""
    if not hasattr(config, "workerinput"):
        folder = TemporaryDirectory()
        address, waiting = ready_process.start(Path(folder.name))
        os.environ[READY] = str(address)
        for ends in (folder.cleanup, waiting.communicate):  # the last first
            config.add_cleanup(ends)


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """No kernel of an older source is used; before there are workers all are compiled, once for them all."""
    if not looks_after_kernels(session):
        return
    are_there = False
    with contextlib.suppress(OSError):  # a place that cannot be written to costs time and nothing else
        are_there = kept_kernels.make_fresh()
    if session.config.getoption("numprocesses", None) and not are_there:
        subprocess.run([sys.executable, COMPILE], check=True)
        with contextlib.suppress(OSError):
            kept_kernels.mark_whole()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first; within a file, and among all the others, as they stand."""
    places = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path.stem, len(places)))


def pytest_collection_finish() -> None:
    """Thousands of tests and all libraries stay to the end: no use looking through them for what can go."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """What was compiled is kept for other clones of the same source."""
    if looks_after_kernels(session):
        with contextlib.suppress(OSError):
            kept_kernels.keep()


@pytest.fixture(scope="session")
def ready() -> Callable[[str], list[object]]:
    """A command line for `python -c` and this code, of a process that has everything loaded already."""
    return partial(ready_process.program, os.environ[READY])


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all tests of a file."""
    import browsers

    with browsers.launched() as one:
        yield one


@pytest.fixture
def look(browser) -> Iterator[Callable[..., Any]]:
    """Opens an address in a window of its own; nothing may fail in it or leave the machine."""
    import browsers

    with browsers.looking(browser) as open_:
        yield open_


@pytest.fixture
def read_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Surveys are read in the process of the test, for it changes their reader."""
    monkeypatch.setattr("terrain3d.readers.surveys._is_read_apart", lambda _path: False)


@pytest.fixture
def nebraska_las() -> Path:
    """LAS 1.4 in US survey feet, classified, with both kinds of CRS record."""
    return DATA / "file_with_both_wkt_and_geotiff_vlrs.las"


@pytest.fixture
def autzen_laz() -> Path:
    """LAZ 1.2 in international feet, ground classified, silent about the unit of height."""
    return DATA / "autzen_trim.laz"


@pytest.fixture
def oregon_copc() -> Path:
    """COPC whose CRS says metres while its coordinates are feet."""
    return DATA / "simple.copc.laz"


@pytest.fixture
def no_crs_las() -> Path:
    """LAS 1.1 without a CRS; the same points as `oregon_copc`."""
    return DATA / "simple1_1.las"


@pytest.fixture
def elsewhere_las() -> Path:
    """LAS 1.3 whose header bounds lie far from its points."""
    return DATA / "simple1_3.las"


@pytest.fixture
def new_mexico_las() -> Path:
    """LAS 1.4 in US survey feet whose vertical CRS stands where no reader finds it."""
    return DATA / "test1_4.las"


@pytest.fixture
def plane_laz() -> Path:
    """LAZ 1.2 whose projection is spelt out in GeoTIFF keys."""
    return DATA / "plane.laz"

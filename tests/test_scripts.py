"""What starts the project from nothing, and the invented demo site."""

import ast
import importlib
import importlib.util
import os
import re
import subprocess
import sys
import tomllib
from itertools import chain
from pathlib import Path
from types import ModuleType

import click
import laspy
import numpy as np
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from terrain3d.cli.main import cli
from terrain3d.job import run
from terrain3d.sentences.why import why
from terrain3d.show.libraries import PICTURES, WINDOW
from terrain3d.site import load_site

ROOT = Path(__file__).parent.parent
SCRIPTS = ROOT / "scripts"


@pytest.fixture
def setup_env(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(SCRIPTS))
    return importlib.import_module("setup_env")


@pytest.fixture(scope="module")
def demo() -> laspy.LasData:
    return laspy.read(ROOT / "data" / "demo.laz")


def locked(python: str) -> dict[str, str]:
    """Pinned versions that hold for one Python on Linux, by name."""
    pins = {}
    for line in (ROOT / "requirements.lock").read_text("utf-8").splitlines():
        if line and not line.startswith(("#", " ")):
            pin = Requirement(line)
            marks = {"python_full_version": f"{python}.0", "python_version": python, "sys_platform": "linux"}
            if pin.marker is None or pin.marker.evaluate(marks):
                pins[canonicalize_name(pin.name)] = str(pin.specifier).removeprefix("==")
    return pins


@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13"])
def test_lock_holds_a_version_of_every_requirement_that_suits_it(python: str) -> None:
    """A requirement added to pyproject.toml and forgotten in the lock would be missing on a bare machine."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *chain(*project["optional-dependencies"].values())]
    pins = locked(python)
    for requirement in map(Requirement, wanted):
        pinned = pins.get(canonicalize_name(requirement.name))
        assert pinned is not None, f"{requirement} is not in requirements.lock"
        assert requirement.specifier.contains(pinned), f"{requirement} but {pinned} is pinned"


def test_lock_names_no_place() -> None:
    """The lock must install anywhere: no index, no folder of the machine that made it."""
    lines = (ROOT / "requirements.lock").read_text("utf-8").splitlines()
    pins = [line for line in lines if not line.lstrip().startswith("#")]
    assert [line for line in pins if re.match(r"-|/|\.", line) or "://" in line or " @ " in line] == []


@pytest.mark.parametrize("name", ["setup_env.py", "demo.py", "test.py"])
def test_starting_scripts_need_only_the_standard_library(name: str) -> None:
    """They run before anything is installed."""
    tree = ast.parse((SCRIPTS / name).read_text("utf-8"))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {module.split(".")[0] for module in imported} <= {*sys.stdlib_module_names, "setup_env"}


def test_what_is_missing_is_named_by_its_debian_package(setup_env: ModuleType) -> None:
    """A library or program that is not there asks for its package, one that is there does not."""
    if not sys.platform.startswith("linux"):
        pytest.skip("system packages are looked after on Linux only")
    libraries = {"libc.so.6": "libc6", "libno-such-thing.so.9": "libno-such-thing9"}
    found = setup_env.missing_packages(libraries, {"sh": "dash", "no-such-program": "no-such-package"})
    assert found == ["libno-such-thing9", "no-such-package"]


def test_what_drawing_looks_for_is_installed(setup_env: ModuleType) -> None:
    """The set-up brings a bare machine the very libraries that the commands ask for."""
    assert PICTURES.items() <= WINDOW.items() <= setup_env.LIBRARIES.items()


def test_without_root_the_line_to_run_is_said(setup_env: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is installed behind a person's back: the process ends with a line to paste."""
    monkeypatch.setattr(os, "geteuid", lambda: 1000, raising=False)
    monkeypatch.setattr(setup_env.shutil, "which", lambda name: f"/usr/bin/{name}")
    with pytest.raises(SystemExit, match=r"sudo .*apt-get install .* libegl1 xvfb"):
        setup_env.install_system_packages(["libegl1", "xvfb"])


def test_a_changed_lock_asks_for_a_new_installation(
    setup_env: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The stamp in .venv must not outlive the pins it was made from."""
    lock = tmp_path / "requirements.lock"
    lock.write_bytes((ROOT / "requirements.lock").read_bytes())
    monkeypatch.setattr(setup_env, "LOCK", lock)
    before = setup_env.fingerprint()
    assert setup_env.fingerprint() == before
    lock.write_text(lock.read_text("utf-8") + "one-more==1.0\n", "utf-8")
    assert setup_env.fingerprint() != before


def test_ci_command_can_be_run() -> None:
    """A clone must get the file with its executable bit."""
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_demo_survey_is_made_again_alike(demo: laspy.LasData, tmp_path: Path) -> None:
    """The committed survey is what its maker makes, to the last return."""
    again = tmp_path / "again.laz"
    subprocess.run(
        [sys.executable, str(SCRIPTS / "make_demo.py"), str(again)], check=True, capture_output=True
    )
    made = laspy.read(again)
    assert len(made.points) == len(demo.points)
    assert np.array_equal(made.points.array, demo.points.array)


def test_demo_survey_is_sound_las(demo: laspy.LasData) -> None:
    """LAS 1.4 (ASPRS R15): format 6 asks for a WKT CRS; returns are numbered 1 to the number of returns."""
    header = demo.header
    assert (str(header.version), header.point_format.id) == ("1.4", 6)
    assert header.global_encoding.wkt
    assert [part.to_epsg() for part in header.parse_crs().sub_crs_list] == [32631, 5773]
    number, of = np.asarray(demo.return_number), np.asarray(demo.number_of_returns)
    assert number.min() == 1
    assert np.all(number <= of)
    assert of.max() >= 3
    assert np.any(np.asarray(demo.withheld))
    assert set(np.unique(demo.classification)) == {1, 2, 5, 6, 7, 11}


def test_ground_returns_reach_under_the_eaves_and_not_under_the_shed(demo: laspy.LasData) -> None:
    """Beams lean: they see ground under a roof's edge, and none where walls stand."""
    x, y = demo.x - 560_000, demo.y - 4_950_000
    is_ground = np.asarray(demo.classification) == 2
    inside = (x > 40.2) & (x < 44.8) & (y > 30.2) & (y < 33.8)
    under_eaves = (x > 40.0) & (x < 45.0) & (y > 29.55) & (y < 29.95)
    assert not np.any(is_ground & inside)
    assert np.count_nonzero(is_ground & under_eaves) > 3


def test_demo_site_lies_within_its_survey(demo: laspy.LasData) -> None:
    """Every mount and protected corner of the demo has surveyed ground."""
    site = load_site(ROOT / "data" / "demo.toml")
    corners = [mount.at for mount in site.mount]
    corners += [point for area in site.protect for point in area.outline]
    low, high = demo.header.mins[:2], demo.header.maxs[:2]
    assert np.all(np.array(corners) > low + 5)
    assert np.all(np.array(corners) < high - 5)


def test_demo_shows_what_its_readme_says() -> None:
    """The gate pole is the nearer one on a plan, and yet it leaves the yard to its upper layer alone."""
    outcome = run(ROOT / "data" / "demo.toml")
    yard = next(area for area in outcome.terrain.protect if area.name == "yard")
    gate, shed = (outcome.terrain.mount(name) for name in ("gate pole", "shed pole"))
    for reached in (yard.outline.mean(axis=0), yard.outline):
        off = [np.hypot(*(reached - (mount.x, mount.y)).T) for mount in (gate, shed)]
        assert np.min(off[0]) < np.min(off[1])
    options = {option.name: option for option in outcome.options}
    both = {name: option.protect[0].both_fraction for name, option in options.items()}
    assert both["gate pole, one head"] < 0.05
    assert both["shed pole, one head"] > 0.6
    area = options["gate pole, one head"].area_m2
    assert area["upper_only"] > 5 * area["both"]
    assert outcome.ranking[0] == "shed pole, one head"
    assert "gate pole" in why(outcome)


def test_site_files_of_the_readme_are_site_files(tmp_path: Path) -> None:
    """What a person copies from the README must be read without a complaint."""
    blocks = re.findall(
        r"^```toml\n(.*?)^```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL | re.MULTILINE
    )
    # The others are pieces to put into one.
    whole = [block for block in blocks if "[site]" in block]
    assert len(whole) == 2
    for block in whole:
        path = tmp_path / "site.toml"
        path.write_text(block, "utf-8")
        assert load_site(path).site.name == "Yard below the house"


@pytest.mark.parametrize("key", ["points", "shots"])
def test_ground_with_a_tape_as_the_readme_has_it_carries_its_site(tmp_path: Path, key: str) -> None:
    """Put in place of the plane of the first example, either piece gives ground under most of its yard."""
    text = (ROOT / "README.md").read_text("utf-8")
    first, *pieces = re.findall(r"^```toml\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    (piece,) = (piece for piece in pieces if f"\n{key} = [" in piece)
    plane = re.search(r"\[ground\]\nplane = .*\n", first)
    assert plane is not None
    path = tmp_path / "site.toml"
    path.write_text(first.replace(plane[0], piece), "utf-8")
    outcome = run(path)
    for option in outcome.options:
        assert option.protect[0].unknown_m2 < 0.25 * option.protect[0].area_m2
    assert max(option.protect[0].both_fraction for option in outcome.options) > 0.2


def test_readme_tells_what_its_own_example_gives(tmp_path: Path) -> None:
    """The two figures in the walk-through are those of the site file above them."""
    text = (ROOT / "README.md").read_text("utf-8")
    path = tmp_path / "site.toml"
    path.write_text(re.findall(r"^```toml\n(.*?)^```", text, re.DOTALL | re.MULTILINE)[0], "utf-8")
    told = re.search(r"held to (\d+) % with the unit level, and to (\d+) % with it nose down", text)
    assert told is not None
    held = [100 * option.protect[0].both_fraction for option in run(path).options]
    assert held == pytest.approx([float(figure) for figure in told.groups()], abs=1.0)


def test_readme_names_every_command() -> None:
    """The short reference lists the commands there are, no more and no fewer."""
    listed = re.findall(r"^\| `terrain3d (\w+)", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE)
    assert sorted(listed) == sorted(cli.list_commands(click.Context(cli)))


def test_a_browser_is_installed_where_it_can_be_and_else_missed_aloud(monkeypatch, capsys) -> None:
    """As root on Debian the tests of the page never go untried; elsewhere it is said that they do."""
    monkeypatch.syspath_prepend(str(SCRIPTS))
    described = importlib.util.spec_from_file_location("project_tests", SCRIPTS / "test.py")
    assert described is not None
    assert described.loader is not None
    tests = importlib.util.module_from_spec(described)
    described.loader.exec_module(tests)
    installed: list[str] = []
    monkeypatch.setattr(tests, "install_system_packages", installed.extend)
    there = {"apt-get"}
    monkeypatch.setattr(tests.shutil, "which", lambda name: name if name in there else None)
    monkeypatch.setattr(tests.os, "geteuid", lambda: 0)
    tests.look_for_browser()
    assert installed == ["chromium"]
    monkeypatch.setattr(tests.os, "geteuid", lambda: 1000)
    tests.look_for_browser()
    assert installed == ["chromium"]
    assert "tests/serve/page is skipped" in capsys.readouterr().out
    there.add("chromium")
    tests.look_for_browser()
    assert capsys.readouterr().out == ""

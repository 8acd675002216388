"""What an installed package brings along: everything it imports, and every file it reads."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import terrain3d

PACKAGE = Path(terrain3d.__file__).parent
ROOT = PACKAGE.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

#: The one module that may import what only an extra brings.
EXTRAS = {
    "aiohttp": "serve/server.py",
    "distributed": "search/cluster.py",
    "pye57": "readers/e57.py",
    "pyogrio": "pack/geopackage.py",
    "xlsxwriter": "pack/sheets.py",
}
#: Needed without being imported here, and by whom.
LOADED_BY_OTHERS = {
    "embreex": "trimesh casts rays with it",
    "mapbox-earcut": "trimesh cuts outlines into triangles with it",
    "tzdata": "zoneinfo takes its table where the system has none",
}


def name_of(requirement: str) -> str:
    """`cloth_simulation_filter>=1.1` asks for cloth-simulation-filter."""
    match = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert match
    return re.sub(r"[-_.]+", "-", match[0]).lower()


def names(requirements: list[str]) -> set[str]:
    return {name_of(requirement) for requirement in requirements}


#: Which distributions bring a top-level module.
BROUGHT_BY = packages_distributions()
CORE = names(PROJECT["project"]["dependencies"])


def imported(path: Path) -> set[str]:
    """The distributions of others that a module imports, inside functions too."""
    tops = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and not node.level:
            tops.add((node.module or "").split(".")[0])
        elif isinstance(node, ast.Import):
            tops |= {name.name.split(".")[0] for name in node.names}
    others = tops - set(sys.stdlib_module_names) - {"terrain3d"}
    return {name_of(BROUGHT_BY[top][0]) for top in others}


@pytest.mark.parametrize(
    "path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.relative_to(PACKAGE).as_posix()
)
def test_what_is_imported_is_asked_for(path):
    """A plain install brings every package that a module imports; what an extra brings has its own module."""
    inside = path.relative_to(PACKAGE).as_posix()
    allowed = CORE | {name for name, module in EXTRAS.items() if module == inside}
    assert imported(path) <= allowed


def test_what_is_asked_for_is_needed():
    """No dependency that nothing uses, and no extra that nobody could name."""
    used = set().union(*(imported(path) for path in PACKAGE.rglob("*.py")))
    assert CORE - used == set(LOADED_BY_OTHERS)
    extras = PROJECT["project"]["optional-dependencies"]
    assert set(extras) == {"cluster", "dev", "e57", "pack", "serve"}
    brought = extras["cluster"] + extras["e57"] + extras["pack"] + extras["serve"]
    assert names(brought) == set(EXTRAS)


def test_every_file_that_is_read_goes_along():
    """Whatever lies in the package and is no module is named as its data."""
    patterns = PROJECT["tool"]["setuptools"]["package-data"]["terrain3d"]
    going = {path for pattern in patterns for path in PACKAGE.glob(pattern)}
    there = {
        path
        for path in PACKAGE.rglob("*")
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
    }
    assert going == there

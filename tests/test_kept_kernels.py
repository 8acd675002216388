"""Kernels that are kept are those of this very source: any change of what they call throws them away."""

import zipfile

import pytest
from kept_kernels import PACKAGE, compiled, fingerprint, keep, make_fresh, mark_whole, sources

FILES = {
    "sight/march.py": "from numba import njit\nfrom house.units import FOOT\n@njit\ndef go(): return FOOT\n",
    "cover/fill.py": "from numba import njit\nfrom house.sight import march\n@njit\ndef fill(): march.go()\n",
    "units.py": "FOOT = 0.3048\n",
    "cli.py": "import house.cover.fill\n",
}
KERNELS = ("sight/__pycache__/march.go.nbi", "cover/__pycache__/fill.fill.nbc")


@pytest.fixture
def house(tmp_path):
    """A package of two kernels, one of which calls the other and takes a number from a third module."""
    package = tmp_path / "house"
    for name, text in FILES.items():
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).write_text(text)
    return package


def compile_all(package):
    for name in KERNELS:
        (package / name).parent.mkdir(exist_ok=True)
        (package / name).write_text(name)
    mark_whole(package)


def test_what_a_kernel_calls_is_looked_at():
    """Of this package: the modules of kernels and those below them, and none that only uses them."""
    found = {path.relative_to(PACKAGE).as_posix() for path in sources()}
    assert {"sight/march.py", "cover/fill.py", "search/kernel.py", "terrain.py"} <= found
    assert not any(name.startswith(("cli/", "show/", "paper/")) for name in found)


@pytest.mark.parametrize("name", ["units.py", "sight/march.py"])
def test_a_change_of_what_is_called_throws_kernels_away(house, tmp_path, name):
    """Those of the file itself and those of others; what merely uses them changes nothing."""
    assert not make_fresh(house, tmp_path / "store")
    compile_all(house)
    assert make_fresh(house, tmp_path / "store")
    (house / "cli.py").write_text("import sys\n")
    assert make_fresh(house, tmp_path / "store")
    (house / name).write_text(FILES[name] + "# changed\n")
    assert not make_fresh(house, tmp_path / "store")
    assert compiled(house) == []


def test_another_clone_gets_the_kernels_of_the_same_source(house, tmp_path):
    """Whatever its place and the age of its files; one whose source differs gets none."""
    make_fresh(house, tmp_path / "store")
    compile_all(house)
    keep(house, tmp_path / "store")
    for folder, change, is_same in (("a", "", True), ("b", "# changed\n", False)):
        clone = tmp_path / folder / "house"
        for name, text in FILES.items():
            (clone / name).parent.mkdir(parents=True, exist_ok=True)
            (clone / name).write_text(text + change)
        assert make_fresh(clone, tmp_path / "store") == is_same
        there = [path.relative_to(clone).as_posix() for path in compiled(clone)]
        assert there == (sorted(KERNELS) if is_same else [])


def test_what_was_compiled_of_another_source_is_not_kept(house, tmp_path):
    """Nothing of a source edited while tests run, nor of a few tests; more takes the place of less."""
    make_fresh(house, tmp_path / "store")
    keep(house, tmp_path / "store")
    compile_all(house)
    (house / "units.py").write_text("FOOT = 0.3\n")
    keep(house, tmp_path / "store")
    assert not (tmp_path / "store").exists()
    (house / "units.py").write_text(FILES["units.py"])
    keep(house, tmp_path / "store")
    (house / "cover" / "__pycache__" / "fill.more.nbc").write_text("more")
    keep(house, tmp_path / "store")
    (archive,) = (tmp_path / "store").iterdir()
    assert archive.stem == fingerprint(house)
    assert len(zipfile.ZipFile(archive).namelist()) == 3

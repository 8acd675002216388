"""The house rules: imports run one way, rooms are opened late, no room's door does work."""

import ast
from pathlib import Path

import pytest

import terrain3d

PACKAGE = Path(terrain3d.__file__).parent

#: A room may import from itself and from rooms of a lower floor.
FLOORS = {
    "caution": 0, "errors": 0, "units": 1, "outside": 1, "tables": 2, "frame": 2, "site": 3, "detector": 3,
    "terrain": 4,
    "survey": 5, "sight": 5, "cover": 6, "choose": 7, "walk": 8, "around": 8, "conditions": 8, "doubt": 8,
    "job": 9, "search": 10, "study": 10, "show": 11, "paper": 11, "cli": 12,
}  # fmt: skip


def room_of(module: str) -> str:
    """`terrain3d.sight.march` is in the room `sight`."""
    return module.split(".")[1] if "." in module else ""


def modules() -> list[Path]:
    """Every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def imports_of(path: Path) -> set[str]:
    """The package's own modules that a file imports, inside functions too."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("terrain3d"):
            found.add(node.module)
        elif isinstance(node, ast.Import):
            found |= {name.name for name in node.names if name.name.startswith("terrain3d")}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_one_way(path):
    """No room imports from its own floor's neighbours or from above."""
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if room == "__init__":
        assert not imports_of(path)
        return
    for module in imports_of(path):
        other = room_of(module)
        if other in ("", room):
            continue
        assert FLOORS[other] < FLOORS[room], f"{room} imports {module}"


def test_doors_of_rooms_are_empty():
    """A room's `__init__.py` holds nothing, or importing one file would run the whole room."""
    for path in PACKAGE.rglob("__init__.py"):
        if path.parent != PACKAGE:
            assert path.read_text(encoding="utf-8").strip() == ""


def test_every_room_has_a_floor():
    """A new room is entered in the table of floors."""
    rooms = {p.relative_to(PACKAGE).parts[0].removesuffix(".py") for p in modules()} - {"__init__"}
    assert rooms <= set(FLOORS)


@pytest.mark.parametrize("library", ["pyvista", "vtkmodules", "matplotlib"])
def test_drawing_libraries_stay_in_one_room(library):
    """Only `show` draws."""
    for path in modules():
        if path.relative_to(PACKAGE).parts[0] == "show":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            elif isinstance(node, ast.Import):
                names = [name.name for name in node.names]
            assert not any(name.split(".")[0] == library for name in names), path

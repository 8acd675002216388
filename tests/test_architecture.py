"""The rules of the house: imports run one way, rooms are opened late, no room's door does work."""

import ast
import functools
import re
import subprocess
import sys
from pathlib import Path

import pytest

import terrain3d

PACKAGE = Path(terrain3d.__file__).parent

#: A room may import from itself and from rooms of a lower floor.
FLOORS = {
    "caution": 0, "compiling": 0, "palette": 15, "wording": -1, "errors": 0,
    "terminal": 1, "units": 1, "outside": 1, "apart": 1, "typeset": 1, "tables": 2, "lengths": 2, "frame": 2,
    "site": 3, "detector": 3, "terrain": 4,
    "readers": 5, "survey": 6, "sight": 6, "cover": 7, "ranking": 8,
    "walk": 9, "nuisance": 9, "conditions": 9, "uncertainty": 9, "supply": 9,
    "ready": 10, "opened": 11, "job": 12, "fixing": 13,
    "search": 14, "study": 14, "walktest": 14, "sentences": 15, "show": 16, "paper": 16,
    "pack": 17, "draft": 17, "serve": 18,
    "cli": 19, "__main__": 20,
}  # fmt: skip


def room_of(module: str) -> str:
    """`terrain3d.sight.march` is in the room `sight`."""
    return module.split(".")[1] if "." in module else ""


def modules() -> list[Path]:
    """Every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


@functools.cache
def parsed(path: Path) -> ast.Module:
    """A module's tree; every rule looks at the same."""
    return ast.parse(path.read_text(encoding="utf-8"))


@functools.cache
def imports_of(path: Path) -> set[str]:
    """The package's own modules that a file imports, inside functions too."""
    found = set()
    for node in ast.walk(parsed(path)):
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
        return  # the package's face; `test_the_face_is_opened_late` looks at it
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
        for node in ast.walk(parsed(path)):
            names = []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            elif isinstance(node, ast.Import):
                names = [name.name for name in node.names]
            assert not any(name.split(".")[0] == library for name in names), path


#: Who may open a file that comes from outside, or hand one to a library; each is shut in where it is called.
DOORS = {
    "laspy.open": {"readers/points.py"},
    "laspy.CopcReader": {"readers/points.py"},
    "laspy.read": set(),
    "rasterio.open": {"readers/gdal.py"},
    "libe57.ImageFile": {"readers/e57.py"},
    "Image.open": {"readers/logos.py"},
    "MemoryFile": {"readers/gdal.py", "paper/rasters.py"},
    "trimesh.load": {"readers/meshes.py"},
    "trimesh.load_mesh": set(),
    "trimesh.load_scene": set(),
    "shapefile.Reader": {"readers/shapefile.py"},
    "sqlite3.connect": {"readers/geopackage.py"},
    "pyproj.CRS.from_user_input": {"readers/crs.py"},
    "pyproj.CRS.from_string": set(),
    "pyproj.CRS.from_wkt": set(),
    "shapely.from_wkb": set(),
    "shapely.from_geojson": set(),
}
#: Rooms that read what comes from outside: in them a file is opened by `outside.py` alone.
READERS = ("site.py", "tables.py", "detector", "readers", "survey", "walk", "conditions", "search/sites.py")
#: Libraries that choose a format, and so a reader, by what they find.
GUESSERS = {"fiona", "geopandas", "osgeo", "pyogrio"}
#: What writes with one of them and reads nothing.
WRITERS = {"pack/geopackage.py"}


@functools.cache
def calls_of(path: Path) -> set[str]:
    """What a file calls, by the words it is called with."""
    tree = parsed(path)
    return {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_from_outside_come_in_by_one_door(path):
    """No library is handed a name but where it is shut in; other readers take an open stream."""
    place = str(path.relative_to(PACKAGE))
    for call in calls_of(path):
        assert place in DOORS.get(call, {place}), f"{place} calls {call}"
        # What the package brings with it, by importlib.resources, is its own.
        opens = call == "open" or call.endswith((".open", ".read_text", ".read_bytes"))
        if place.startswith(READERS) and opens and not call.startswith("files("):
            assert call in DOORS or call.startswith("memory.") or place == "readers/quiet.py", (
                f"{place} calls {call}"
            )
    words = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            words |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            words.add((node.module or "").split(".")[0])
    assert not words & GUESSERS or place in WRITERS


def test_every_door_is_used():
    """A door that nobody goes through any more is taken out of the table."""
    used = {(call, str(path.relative_to(PACKAGE))) for path in modules() for call in calls_of(path)}
    assert {(call, place) for call, places in DOORS.items() for place in places} <= used


def test_the_face_is_opened_late():
    """Each name of the package's face lives where it is said to, and importing it loads nothing else."""
    assert list(terrain3d.__all__) == sorted(terrain3d.__all__)
    assert set(terrain3d.__all__) == set(terrain3d._HOMES)
    for name in terrain3d.__all__:
        assert getattr(terrain3d, name).__doc__, name
    with pytest.raises(AttributeError, match="no attribute 'jugde'"):
        terrain3d.jugde  # noqa: B018
    code = "import sys, terrain3d; print([m for m in sys.modules if 'terrain3d.' in m or m == 'numpy'])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


#: What casts rays or judges cells, and where it may be called.
CALLERS = {
    "verdict_codes": {"cover/sighted.py", "search/judge.py"},
    "head_table": {"cover/sighted.py", "search/settings.py"},
    "layer_outcomes": {"cover/sighted.py"},
    "band_over": {"cover/fill.py", "cover/layer_outcomes.py", "search/kernel.py"},
    "trimesh.Trimesh": {"pack/glb.py", "survey/far.py", "survey/sheets.py"},
}
#: Calls that cast or judge: pages and the window are handed what comes of them.
NOT_IN_SHOW = {
    "first_hits", "solid_hits", "ground_distances", "inside_solid", "panorama", "look_at", "sighted",
    "sighted_over", "judge_option", "verdict_codes", "layer_outcomes", "slice_triangle", "light_along",
}  # fmt: skip


def test_the_law_is_called_in_few_places():
    """Verdicts, tables of heads, outcomes of layers and moved meshes each have their one or two callers."""
    used: dict[str, set[str]] = {call: set() for call in CALLERS}
    for path in modules():
        for call in calls_of(path) & set(CALLERS):
            used[call].add(str(path.relative_to(PACKAGE)))
    assert used == CALLERS


def test_nothing_in_show_casts_or_judges():
    """What a picture shows is worked out below it."""
    for path in (PACKAGE / "show").rglob("*.py"):
        assert not calls_of(path) & NOT_IN_SHOW, path


def annotations_of(node: ast.ClassDef) -> str:
    """The types of a class's fields, as they are written."""
    return " ".join(ast.unparse(field.annotation) for field in node.body if isinstance(field, ast.AnnAssign))


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_values_compare_without_error(path):
    """A value that holds an array is the same as itself alone: comparing arrays has no single answer."""
    arrays = re.compile(r"\b(Floats|NDArray|Codes|Ints|Indices|Cells|Mask|Rgb|LayerOutcomes|csr_array)\b")
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.ClassDef) and arrays.search(annotations_of(node)):
            made = [ast.unparse(one) for one in node.decorator_list if "dataclass" in ast.unparse(one)]
            assert all("eq=False" in one for one in made), f"{path}: {node.name}"


#: What a field that holds sentences would be called.
TOLD = {"advice", "notes", "reason", "said", "sentence", "sentences", "text", "warnings", "why", "words"}


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_result_holds_words(path):
    """Below the room of sentences a value holds facts: no field is called as a sentence would be."""
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if FLOORS.get(room, 99) >= FLOORS["sentences"]:
        return
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.ClassDef):
            fields = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign)}  # type: ignore[union-attr]
            methods = {n.name for n in node.body if isinstance(n, ast.FunctionDef)}
            assert not (fields | methods) & TOLD, f"{path}: {node.name}"


def sentences_in(path: Path) -> list[str]:
    """What a module says in whole sentences, by their full stop; what it says of itself left out."""
    tree = parsed(path)
    own = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body and isinstance(node.body[0], ast.Expr)
    }  # fmt: skip
    parts = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    found = []
    for node in ast.walk(tree):
        if id(node) in own | parts:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        elif isinstance(node, ast.JoinedStr):
            text = "".join(part.value if isinstance(part, ast.Constant) else "0" for part in node.values)
        else:
            continue
        if text.endswith(".") and len(text.split()) > 2:
            found.append(text)
    return found


@pytest.mark.parametrize(
    "path",
    [path for path in modules() if path.relative_to(PACKAGE).parts[0] in ("show", "paper", "pack")],
    ids=lambda path: str(path.relative_to(PACKAGE)),
)
def test_pages_and_tables_place_sentences_and_make_none(path):
    """Sentences about results come from the room of sentences alone; the window may speak of its own keys."""
    place = str(path.relative_to(PACKAGE))
    # What keys mean, what a list of files is, what is not saved.
    if place in ("paper/schema.py", "paper/ours.py", "show/window/panels.py"):
        return
    assert sentences_in(path) == []


#: Who may print, and what: everybody else hands over to `terminal`, which makes foreign words fit.
PRINTERS = {
    "terminal.py": {"click.echo", "console.print", "Console"},
    "cli/start.py": {"print"},  # fixed words, where nothing is loaded yet
    "cli/options.py": {"Console"},  # the bar, whose steps are words of ours
}
_PRINTS = {
    "print",
    "Console",
    "click.echo",
    "click.secho",
    "click.get_text_stream",
    "rich.print",
    "warnings.warn",
}


def test_one_place_prints():
    """A word from a file reaches the terminal by `say` or `lay_out` alone; drawing prints nothing."""
    for path in modules():
        allowed = PRINTERS.get(str(path.relative_to(PACKAGE)), set())
        for node in ast.walk(parsed(path)):
            if not isinstance(node, ast.Call):
                continue
            name = ast.unparse(node.func)
            is_print = name in _PRINTS or name.endswith(
                ("console.print", "stdout.write", "stderr.write", "stdout.writelines")
            )
            assert not is_print or name in allowed, f"{path}:{node.lineno} calls {name}"


#: Rooms and modules that word or draw what a person reads.
_TOLD = (
    "sentences", "show", "serve", "pack/report.py", "pack/scene.py", "pack/svg.py", "paper/table.py",
    "paper/pages.py", "paper/study_lines.py", "paper/mounts.py", "paper/search.py",
)  # fmt: skip


@pytest.mark.parametrize("room", _TOLD)
def test_lengths_are_written_in_one_place(room):
    """By `lengths`, which knows metres and feet: nowhere else does a number stand before a metre."""
    paths = [PACKAGE / room] if room.endswith(".py") else sorted((PACKAGE / room).rglob("*.py"))
    by_hand = []
    for path in paths:
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.JoinedStr):
                parts = (part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
                text = "".join(map(str, parts))
                if re.search(r"\{\} ?(?:m|m2|m²|cm)(?![\w²/])", text):
                    by_hand.append(f"{path.relative_to(PACKAGE)}: {text}")
    assert by_hand == []

"""The kinds of files of a pack and what their files are called, without loading what writes them."""

import re
from collections.abc import Collection
from pathlib import Path

#: In the order of a table of contents.
KINDS = ("report", "scene", "plan", "drawing", "model", "map", "geojson", "kml", "tables", "rasters")
#: Those that need a place on earth.
ON_EARTH = ("geojson", "kml")
#: Written with every pack.
RESULTS, CONTENTS = "results.json", "contents.txt"
#: The folders of a pack.
GEOJSON, TABLES = "geojson", "tables"

#: What a file of each kind may be called, by its path in the pack.
_FILES = {
    "report": r"report\.pdf",
    "scene": r"scene\.html",
    "plan": r"plan\.svg",
    "drawing": r"plan\.dxf",
    "model": r"scene\.glb",
    "map": r"site\.gpkg",
    "geojson": r"geojson/[a-z]+\.geojson",
    "kml": r"site\.kml",
    "tables": r"tables\.xlsx|tables/[a-z-]+\.csv",
    "rasters": r"(verdicts|leaves|animals|chances|\d\d+-verdicts-.*)\.tif",
}


def kind_of(path: Path) -> str | None:
    """The kind that a file is of, by its path in the pack; None for what is no file of a pack.

    >>> kind_of(Path("geojson/units.geojson")), kind_of(Path("stills/00-contact.png"))
    ('geojson', None)
    """
    return next((kind for kind in KINDS if re.fullmatch(_FILES[kind], path.as_posix())), None)


def asked(only: Collection[str], is_on_earth: bool) -> tuple[str, ...]:
    """The kinds that are made: those asked for, or all that the site can have.

    >>> asked((), is_on_earth=False)
    ('report', 'scene', 'plan', 'drawing', 'model', 'map', 'tables', 'rasters')
    >>> asked(["map", "plan"], is_on_earth=True)
    ('plan', 'map')
    """
    return tuple(kind for kind in KINDS if (kind in only if only else is_on_earth or kind not in ON_EARTH))

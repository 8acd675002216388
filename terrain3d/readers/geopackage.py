"""GeoPackage (OGC 12-128), read by SQLite alone: plain tables as they stand, and nothing that is run.

A GeoPackage is a database, and a database may hold views, virtual tables and triggers that a map library
would obey, some of which open files. So the file is opened read-only as if nothing could change it, which
also leaves what lies beside it alone; every statement but the reading of a few plain tables is forbidden to
the connection; and the shapes, WKB after a small header, are taken apart here, for their nesting could end
the process in a library.
"""

import os
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.cells import cell_value, column_name
from terrain3d.readers.crs import from_name, from_wkt
from terrain3d.readers.source import Feature
from terrain3d.units import Floats

#: More features than this are no drawing of a site.
MOST_FEATURES = 200_000
#: Rows read of the standard's own tables; that of CRSs may list some thousands.
_MOST_ROWS = 100_000
#: No text or shape in a table is longer, in bytes.
_MOST_CELL = 50_000_000
#: In the header of the database (SQLite file format, 1.3): GeoPackage 1.2 and later, 1.0, 1.1.
_APPLICATIONS = (b"GPKG", b"GP10", b"GP11")
_CONTENTS, _COLUMNS, _SYSTEMS = "gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"
#: The first bytes of a journal that is to be played back (SQLite file format, 3).
_JOURNAL = b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7"
#: Kinds of WKB (OGC 06-103r4, table 7, and ISO 13249-3); those beyond 7 are not taken apart.
_KINDS = (
    "Geometry", "Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon",
    "GeometryCollection", "CircularString", "CompoundCurve", "CurvePolygon", "MultiCurve", "MultiSurface",
    "Curve", "Surface", "PolyhedralSurface", "TIN", "Triangle",
)  # fmt: skip
#: Doubles in the envelope, by its code (OGC 12-128, table 7).
_ENVELOPE = (0, 4, 6, 6, 8)
_AGAIN = "export it as .geojson or .gpkg again"


def read_geopackage(path: Path, layer: str | None) -> tuple[list[Feature], pyproj.CRS | None]:
    """The features of one layer, and the CRS of their coordinates; None where it is tied to nothing.

    Raises
    ------
    InputError
        Where it is no GeoPackage, has no such layer, or several of which none is named, or the layer is no
        plain table.
    """
    _refuse_strangers(path)
    with _connected(path) as connection:
        tables = _tables(connection)
        layers = _layers(connection, tables, path)
        name = _chosen([name for name, _, _ in layers], layer, path)
        column, system = next((column, system) for other, column, system in layers if other == name)
        if name.lower() not in tables:
            raise InputError(
                f"its layer {name!r} is no plain table", str(path), "export it as a layer of its own"
            )
        crs = _crs(connection, tables, system, path)
        return list(_features(connection, name, column, path)), crs


def _refuse_strangers(path: Path) -> None:
    with opened(path) as stream:
        header = stream.read(100)
    if header[68:72] not in _APPLICATIONS:
        raise _damaged(path)
    for suffix in ("-wal", "-journal"):
        # SQLite goes by the file itself, wherever a link to it lies.
        other = Path(f"{path.resolve()}{suffix}")
        if not other.is_file():
            continue
        with opened(other) as stream:
            start = stream.read(8)
        if start == _JOURNAL or (start and suffix == "-wal"):
            raise InputError(
                f"a program still has it open, or left it unfinished: {other.name} lies beside it",
                str(path),
                "save and close it in the map program, then run this again",
            )


@contextmanager
def _connected(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that can read plain tables of the file and nothing else."""
    address = f"file:{quote(os.fsencode(path.resolve()))}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True, isolation_level=None)) as connection:
            connection.text_factory = lambda text: text.decode("utf-8", "replace")
            connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_CELL)
            connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
            for guard in ("trusted_schema = off", "cell_size_check = on", "temp_store = memory"):
                connection.execute(f"PRAGMA {guard}")
            connection.set_authorizer(_may)
            yield connection
    except (sqlite3.Error, UnicodeDecodeError, MemoryError) as error:
        # The second is of a name or an error's own text that is no UTF-8.
        raise _damaged(path) from error


def _may(
    action: int, what: str | None, _detail: str | None, _database: str | None, inside: str | None
) -> int:
    """Plain reading, outside any view or trigger, and the list of a table's columns."""
    allowed = (
        action == sqlite3.SQLITE_SELECT
        or action == sqlite3.SQLITE_READ
        or (action == sqlite3.SQLITE_PRAGMA and what == "table_xinfo")
    )
    return sqlite3.SQLITE_OK if allowed and inside is None else sqlite3.SQLITE_DENY


def _tables(connection: sqlite3.Connection) -> set[str]:
    """Names of plain tables, in small letters.

    SQLite itself writes what made a table; that of a virtual one begins otherwise.
    """
    rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'")
    return {str(name).lower() for name, sql in rows if str(sql).startswith("CREATE TABLE ")}


def _columns(connection: sqlite3.Connection, table: str) -> dict[str, str]:
    """What each column of a table is declared as, "KEY" for that which numbers its rows.

    Those that are computed on reading are left out.
    """
    rows = connection.execute(f"PRAGMA table_xinfo({_quoted(table)})").fetchall()
    return {
        str(name): "KEY" if key and str(declared).upper() == "INTEGER" else str(declared).upper()
        for _, name, declared, _, _, key, hidden in rows
        if not hidden
    }


def _rows(
    connection: sqlite3.Connection, tables: set[str], table: str, columns: tuple[str, ...], path: Path
) -> Iterator[tuple[Any, ...]]:
    """Rows of one of the standard's own tables."""
    if table not in tables or not set(columns) <= _columns(connection, table).keys():
        raise _damaged(path)
    return connection.execute(f"SELECT {', '.join(columns)} FROM {table} LIMIT {_MOST_ROWS}")


def _layers(connection: sqlite3.Connection, tables: set[str], path: Path) -> list[tuple[str, str, int]]:
    """Each layer of shapes: its table, its column of shapes, the number of its CRS."""
    shapes = {
        str(table).lower(): (str(column), system)
        for table, column, system in _rows(
            connection, tables, _COLUMNS, ("table_name", "column_name", "srs_id"), path
        )
        if isinstance(system, int)
    }
    contents = _rows(connection, tables, _CONTENTS, ("table_name", "data_type"), path)
    names = [str(name) for name, kind in contents if kind == "features"]
    return [(name, *shapes[name.lower()]) for name in names if name.lower() in shapes]


def _chosen(layers: list[str], layer: str | None, path: Path) -> str:
    told = ", ".join(name if name.isprintable() else repr(name) for name in layers[:20])
    if not layers:
        raise InputError("it has no layer of shapes", str(path), "export the drawn shapes into it")
    if layer is None and len(layers) > 1:
        raise InputError(f"it has {len(layers)} layers: {told}", str(path), 'name one, such as layer = "..."')
    if layer is not None and layer not in layers:
        raise InputError(f"it has no layer {layer!r}", str(path), f"name one of its layers: {told}")
    return layers[0] if layer is None else layer


def _crs(connection: sqlite3.Connection, tables: set[str], system: int, path: Path) -> pyproj.CRS | None:
    """The CRS of a number: the registered one, or as it is spelt out."""
    # -1 and 0 are "undefined" (OGC 12-128, requirement 11): the site's own coordinates.
    if system in (-1, 0):
        return None
    columns: tuple[str, ...] = ("srs_id", "organization", "organization_coordsys_id", "definition")
    # The second form of WKT stands in a column of its own (extension gpkg_crs_wkt).
    if "definition_12_063" in _columns(connection, _SYSTEMS):
        columns += ("definition_12_063",)
    found = next(
        (row for row in _rows(connection, tables, _SYSTEMS, columns, path) if row[0] == system), None
    )
    if found is None:
        raise InputError(f"its layer names CRS {system}, which is not in it", str(path), _AGAIN)
    _, organization, code, *definitions = found
    if str(organization).lower() == "epsg":
        # One that the register here does not know is spelt out below.
        with suppress(CRSError):
            return from_name(f"EPSG:{code}")
    texts = [str(text or "") for text in reversed(definitions)]
    text = next((text for text in texts if text and not text.lower().startswith("undefined")), "")
    try:
        crs = from_wkt(text) if text else None
    except CRSError:
        raise InputError(
            f"its CRS, {text[:60]!r}, cannot be understood", str(path), "export it again"
        ) from None
    # "Undefined SRS" of some programs is tied to nothing either.
    return None if crs is None or crs.is_engineering else crs


def _features(connection: sqlite3.Connection, table: str, column: str, path: Path) -> Iterator[Feature]:
    named = _columns(connection, table)
    column = next((name for name in named if name.lower() == column.lower()), "")
    if not column:
        raise _damaged(path)
    columns = [column, *(name for name, declared in named.items() if name != column and declared != "KEY")]
    listed = ", ".join(_quoted(name) for name in columns)
    rows = connection.execute(f"SELECT {listed} FROM {_quoted(table)} LIMIT {MOST_FEATURES + 1}")
    for number, (blob, *cells) in enumerate(rows, 1):
        where = f"{path}: feature {number}"
        if number > MOST_FEATURES:
            raise InputError(
                f"its layer {table!r} has more than {MOST_FEATURES:,} features",
                str(path),
                "keep what lies near the site",
            )
        if blob is None:
            raise InputError("it has no geometry", where, "draw it, or delete it")
        kind, parts = _geometry(blob, where)
        values = {}
        for name, cell in zip(columns[1:], cells, strict=True):
            given = bool(cell) if named[name] == "BOOLEAN" and cell in (0, 1) else cell
            if (value := cell_value(given, name)) is not None:
                values[column_name(name, where)] = value
        yield Feature(kind, parts, values)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _geometry(blob: Any, where: str) -> tuple[str, tuple[tuple[Floats, ...], ...]]:
    """Kind and parts of a shape: the header that GeoPackage puts before it (OGC 12-128, 2.1.3), then WKB."""
    try:
        magic, _, flags = struct.unpack_from("<2sBB", blob)
        if magic != b"GP":
            raise ValueError
        kind, parts, _ = _wkb(blob, 8 + 8 * _ENVELOPE[flags >> 1 & 7])
    except (struct.error, ValueError, IndexError, TypeError):
        raise InputError("its geometry is damaged", where, "draw it again") from None
    return kind, parts


def _wkb(blob: bytes, at: int, within: str = "") -> tuple[str, tuple[tuple[Floats, ...], ...], int]:
    """Kind, parts and end of the WKB at a byte; within a Multi only the single kind of it is one."""
    order = "<" if blob[at] else ">"
    (code,) = struct.unpack_from(f"{order}I", blob, at + 1)
    at += 5
    # Two ways to say that heights or measures follow: thousands (ISO), and upper bits.
    if code & 0x20000000:
        at += 4
    thousands, number = divmod(code & 0x0FFFFFFF, 1000)
    size = 2 + max((0, 1, 1, 2)[thousands], (code >> 31) + (code >> 30 & 1))
    kind = _KINDS[number]
    if within and f"Multi{kind}" != within:
        raise ValueError
    if number > 6:
        return kind, (), at
    if kind == "Point":
        ring, at = _doubles(blob, at, order, 1, size)
        # An empty point is written as NaN.
        return kind, () if np.isnan(ring).all() else ((ring,),), at
    (count,) = struct.unpack_from(f"{order}I", blob, at)
    at += 4
    if kind == "LineString":
        ring, at = _doubles(blob, at, order, count, size)
        return kind, ((ring,),) if count else (), at
    if kind == "Polygon":
        rings = []
        for _ in range(count):
            (n_points,) = struct.unpack_from(f"{order}I", blob, at)
            ring, at = _doubles(blob, at + 4, order, n_points, size)
            rings.append(ring)
        return kind, (tuple(rings),) if rings else (), at
    parts: list[tuple[Floats, ...]] = []
    for _ in range(count):
        _, more, at = _wkb(blob, at, kind)
        parts += more
    return kind, tuple(parts), at


def _doubles(blob: bytes, at: int, order: str, n_points: int, size: int) -> tuple[Floats, int]:
    """(n_points, 2) of positions with `size` numbers each, and the byte after them."""
    numbers = np.frombuffer(blob, f"{order}f8", n_points * size, at) if n_points else np.empty(0)
    return numbers.astype(float).reshape(-1, size)[:, :2], at + 8 * n_points * size


def _damaged(path: Path) -> InputError:
    return InputError(
        "it cannot be read as a GeoPackage: it is damaged, cut off or another kind of database",
        str(path),
        _AGAIN,
    )

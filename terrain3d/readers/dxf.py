"""DXF drawings: what stands in the model space itself, and the shapes that it draws.

ezdxf passes on the entities one by one from an open stream. Blocks, other drawings (xrefs), pictures and
whatever else an entity stands for by name are not followed.
"""

import logging
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import TextIOWrapper
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO, Literal, TextIO

import numpy as np
import pyproj
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.source import FARTHEST, Feature
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M, Floats
from terrain3d.wording import counted, listed

#: Some million points, a minute's work.
MOST_BYTES = 150_000_000
#: What a drawing in binary begins with (DXF reference, "Binary DXF Files").
BINARY = b"AutoCAD Binary DXF"
#: Metres in a unit of $INSUNITS (DXF reference, HEADER section); 0 is none.
_UNITS = {
    1: FOOT_M / 12, 2: FOOT_M, 3: 5280 * FOOT_M, 4: 0.001, 5: 0.01, 6: 1.0, 7: 1000.0, 10: 3 * FOOT_M,
    14: 0.1, 15: 10.0, 16: 100.0, 21: US_SURVEY_FOOT_M, 22: US_SURVEY_FOOT_M / 12, 23: 3 * US_SURVEY_FOOT_M,
}  # fmt: skip
#: What $INSUNITS is called where something is said by it.
UNIT_FROM = "its $INSUNITS"
#: What is taken from a drawing, and what a person would miss in it.
_TAKEN = ("POINT", "LINE", "LWPOLYLINE", "POLYLINE", "3DFACE", "MESH")
_MISSED = ("INSERT", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")
#: Mark of a vertex that belongs to the frame of a spline (DXF reference, VERTEX, group 70).
_OF_THE_FRAME = 16
#: An arc is drawn as chords of this many degrees at most: 1 cm beside one of 10 m.
_CHORD_DEG = 5.0
#: Lines of the HEADER section that are looked through for its unit.
_HEADER_LINES = 20_000
_AGAIN = "save it as DXF again"

Kind = Literal["point", "line", "faces"]


@dataclass(frozen=True, eq=False)
class Entity:
    """One thing that is drawn.

    Parameters
    ----------
    layer : str
    kind : 'point', 'line' or 'faces'
    xyz : (n, 3) float
        In the drawing's unit; of a line in order, arcs as chords.
    is_closed : bool
        Of a line: whether it ends where it begins, which is then not repeated.
    triangles : (m, 3) int
        Of faces.
    """

    layer: str
    kind: Kind
    xyz: Floats
    is_closed: bool
    triangles: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Drawing:
    """All that is taken of a drawing.

    Parameters
    ----------
    entities : tuple of Entity
    unit_m : float or None
        Metres in its unit; None where it names none.
    left_out : dict
        How many of each kind of entity were not taken.
    """

    entities: tuple[Entity, ...]
    unit_m: float | None
    left_out: dict[str, int]


def is_dxf(start: bytes) -> bool:
    """Whether a file's first bytes are those of a DXF: a group code 0 and SECTION, comments (999) before it.

    >>> is_dxf(b"  0\\r\\nSECTION\\r\\n  2\\r\\nHEADER\\r\\n"), is_dxf(b"999\\nmade\\n0\\nSECTION\\n")
    (True, True)
    >>> is_dxf(b"0 1 2\\n3 4 5\\n")
    False
    """
    if start.startswith(BINARY):
        return True
    lines = [line.strip() for line in start.removeprefix(b"\xef\xbb\xbf").splitlines()]
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if code != b"999":
            return code == b"0" and value == b"SECTION"
    return False


def read_drawing(path: Path) -> Drawing:
    """The entities of a drawing's model space.

    Raises
    ------
    InputError
        Where it is damaged, cut off, too long, or in binary.
    """
    with opened(path) as stream:
        if stream.read(len(BINARY)) == BINARY:
            raise InputError("it is a DXF in binary", str(path), "save it as DXF in text (ASCII)")
        if path.stat().st_size > MOST_BYTES:
            raise InputError(
                f"it is {path.stat().st_size / 1e6:,.0f} MB long, and at most {MOST_BYTES / 1e6:,.0f} MB of "
                "DXF are read",
                str(path),
                "save what lies near the site alone",
            )
        stream.seek(0)
        head = _head(stream)
    with TextIOWrapper(opened(path), _encoding(head), errors="replace") as text:
        entities: list[Entity] = []
        left_out: Counter[str] = Counter()
        try:
            for number, entity in enumerate(_in_model_space(text), 1):
                kind = entity.dxftype()
                if kind in _MISSED:
                    left_out[kind] += 1
                    continue
                taken = _entity(entity)
                if not (np.abs(taken.xyz) <= FARTHEST).all():
                    raise InputError(
                        f"a {kind} on layer {taken.layer[:40]!r} has coordinates that are no numbers of a "
                        "place on earth",
                        f"{path}: entity {number}",
                        "take it out, or save the drawing again",
                    )
                entities.append(taken)
        except InputError:
            raise
        except Exception as error:
            raise InputError(
                "it cannot be read as DXF: it is damaged or cut off"
                + (f" after {counted(len(entities), 'thing')} drawn" if entities else ""),
                str(path),
                _AGAIN,
            ) from error
    code = head.get(b"$INSUNITS", b"")
    unit_m = _UNITS.get(int(code)) if code.isdigit() and len(code) < 4 else None
    return Drawing(tuple(entities), unit_m, dict(left_out))


def on_layer(drawing: Drawing, layer: str | None, path: Path) -> tuple[Entity, ...]:
    """The entities of a layer; None is all of them.

    Raises
    ------
    InputError
        Where nothing is drawn on a layer of that name.
    """
    if layer is None:
        return drawing.entities
    # Names of layers are the same in capital letters (DXF reference, symbol table entries).
    found = tuple(entity for entity in drawing.entities if entity.layer.casefold() == layer.casefold())
    if not found:
        raise InputError(
            f"nothing is drawn on a layer {layer!r}", str(path), f"drawn on are: {layers(drawing)}"
        )
    return found


def layers(drawing: Drawing) -> str:
    """What is drawn on which layer, in words."""
    words = {"point": "point", "line": "line", "faces": "face"}
    told: dict[str, Counter[str]] = {}
    for entity in drawing.entities:
        told.setdefault(entity.layer, Counter())[words[entity.kind]] += max(1, len(entity.triangles))
    parts = [
        f"{_shown(name)} ({', '.join(counted(n, thing) for thing, n in sorted(counts.items()))})"
        for name, counts in sorted(told.items())
    ]
    return listed(parts, 12) if parts else "none"


def read_dxf(
    path: Path, layer: str | None = None, site_crs: pyproj.CRS | None = None
) -> tuple[list[Feature], None]:
    """The points, lines and closed lines of one layer; a DXF names no CRS, so they are in the site's own.

    Without a CRS of the site x and y come in metres, by the drawing's unit.

    Raises
    ------
    InputError
        Where it cannot be read, has several layers of which none is named, or the site's CRS is in degrees.
    """
    drawing = read_drawing(path)
    if site_crs is not None and site_crs.is_geographic:
        raise InputError(
            "a DXF names no CRS, and the site's coordinates are degrees, which nobody draws in",
            str(path),
            "set [site] crs to that of the drawing, or export the layer as .gpkg with its CRS",
        )
    shapes = [entity for entity in on_layer(drawing, layer, path) if entity.kind != "faces"]
    names = {entity.layer for entity in shapes}
    if layer is None and len(names) > 1:
        raise InputError(
            f"it has {len(names)} layers with shapes: {layers(drawing)}",
            str(path),
            'name one, such as layer = "..."',
        )
    if not shapes:
        missed = ", ".join(f"{n} {kind}" for kind, n in sorted(drawing.left_out.items()))
        raise InputError(
            "it draws no points, lines or polylines"
            + (f", only what is not read: {missed}" if missed else ""),
            str(path),
            "draw outlines as closed polylines; explode blocks and curves",
        )
    scale = (drawing.unit_m or 1.0) if site_crs is None else 1.0
    return [_feature(entity, scale, number, len(shapes)) for number, entity in enumerate(shapes, 1)], None


def _feature(entity: Entity, scale: float, number: int, of: int) -> Feature:
    xy = entity.xyz[:, :2] * scale
    kind = (
        "Point" if entity.kind == "point" else "Polygon" if entity.is_closed and len(xy) > 2 else "LineString"
    )
    # Shapes of a drawing have no names; those of one layer are told apart by their number.
    called = entity.layer if of == 1 else f"{entity.layer} {number}"
    return Feature(kind, ((xy,),), {}, called)


def _shown(name: str) -> str:
    return name[:60] if name.isprintable() else repr(name[:60])


def _head(stream: BinaryIO) -> dict[bytes, bytes]:
    """The variables of the HEADER section that are needed, each by its name."""
    wanted = (b"$INSUNITS", b"$ACADVER", b"$DWGCODEPAGE")
    found: dict[bytes, bytes] = {}
    lines = (line.strip() for line in islice(stream, _HEADER_LINES))
    for line in lines:
        if line in wanted:
            next(lines, b"")
            found[line] = next(lines, b"")
        elif line == b"ENDSEC":
            break
    return found


def _encoding(head: dict[bytes, bytes]) -> str:
    """From R2007 (AC1021) on UTF-8, before that the code page it names (DXF reference, HEADER section)."""
    from ezdxf.tools.codepage import toencoding

    if head.get(b"$ACADVER", b"") >= b"AC1021":
        return "utf-8"
    return toencoding(head.get(b"$DWGCODEPAGE", b"").decode("ascii", "replace"))


def _in_model_space(text: TextIO) -> Iterator[Any]:
    """The entities of the kinds that are looked at, as ezdxf has them, those that belong together as one.

    ezdxf's own passage over a stream (`iterdxf.single_pass_modelspace`, 1.4.5) keeps the last one to itself.
    """
    from ezdxf.entities import factory
    from ezdxf.entities.subentity import entity_linker
    from ezdxf.lldxf.extendedtags import ExtendedTags
    from ezdxf.lldxf.tagger import ascii_tags_loader, tag_compiler

    # What it finds odd, it would write to standard error.
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    kinds = {*_TAKEN, *_MISSED, "VERTEX", "ATTRIB", "SEQEND"}
    is_part = entity_linker()
    is_inside, before, waiting = False, None, None
    tags: list[Any] = []
    for tag in tag_compiler(ascii_tags_loader(text)):
        if not is_inside:
            is_inside = before == "SECTION" and tag.code == 2 and tag.value == "ENTITIES"
            before = tag.value if tag.code == 0 else None
            continue
        if tag.code != 0:
            tags.append(tag)
            continue
        if tags and tags[0].value in kinds:
            entity: Any = factory.load(ExtendedTags(tags))
            if not is_part(entity) and not entity.dxf.paperspace:
                # The parts that follow are put into it.
                if waiting is not None:
                    yield waiting
                waiting = entity
        tags = [tag]
        if tag.value == "ENDSEC":
            if waiting is not None:
                yield waiting
            return
    raise ValueError("the drawing ends before its entities do")


def _entity(entity: Any) -> Entity:
    kind, layer = entity.dxftype(), str(entity.dxf.layer)
    none = np.empty((0, 3), np.int64)
    if kind == "POINT":
        return Entity(layer, "point", np.array([entity.dxf.location], float), False, none)
    if kind == "LINE":
        return Entity(layer, "line", np.array([entity.dxf.start, entity.dxf.end], float), False, none)
    if kind == "LWPOLYLINE":
        flat = np.array(entity.get_points("xyb"), float).reshape(-1, 3)
        xyz = _raised(entity, _arcs(flat, entity.closed), float(entity.dxf.elevation))
        return _line(layer, xyz, entity.closed)
    if kind == "POLYLINE":
        return _polyline(entity, layer)
    if kind == "MESH":
        return _faces(layer, np.array(list(entity.vertices), float), [list(face) for face in entity.faces])
    corners = np.array(entity.wcs_vertices(), float)
    return _faces(layer, corners, [list(range(len(corners)))])


def _polyline(entity: Any, layer: str) -> Entity:
    # Of a line with a spline through it, the frame that the spline was made by is drawn nowhere.
    vertices = [vertex for vertex in entity.vertices if not vertex.dxf.flags & _OF_THE_FRAME]
    places = np.array([vertex.dxf.location for vertex in vertices], float).reshape(-1, 3)
    if entity.is_poly_face_mesh:
        is_face = np.array([vertex.is_face_record for vertex in vertices], bool)
        numbers = [
            [abs(vertex.dxf.get(f"vtx{k}") or 0) - 1 for k in range(4)]
            for vertex in vertices
            if vertex.is_face_record
        ]
        # A face of three has none as its fourth; a line under zero is an edge that is not drawn.
        return _faces(layer, places[~is_face], [[n for n in face if n >= 0] for face in numbers])
    if entity.is_polygon_mesh:
        m, n = entity.dxf.m_count, entity.dxf.n_count
        if m < 2 or n < 2 or m * n != len(places):
            raise ValueError("a mesh of other counts than it has vertices")
        at = np.arange(m * n).reshape(m, n)
        return _faces(
            layer,
            places,
            np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], -1).reshape(-1, 4).tolist(),
        )
    if entity.is_2d_polyline:
        bulges = [vertex.dxf.get("bulge", 0.0) for vertex in vertices]
        flat = _arcs(np.column_stack([places[:, :2], bulges]), entity.is_closed)
        # Some programs write the height into the vertices alone.
        height = float(entity.dxf.elevation[2]) or float(places[:1, 2].sum())
        return _line(layer, _raised(entity, flat, height), entity.is_closed)
    return _line(layer, places, entity.is_closed)


def _line(layer: str, xyz: Floats, is_closed: bool) -> Entity:
    """A line; one drawn back to where it began is closed, whatever its mark says."""
    if len(xyz) > 3 and np.array_equal(xyz[0], xyz[-1]):
        xyz, is_closed = xyz[:-1], True
    return Entity(layer, "line", xyz, bool(is_closed), np.empty((0, 3), np.int64))


def _raised(entity: Any, flat: Floats, height: float) -> Floats:
    """Points of an entity's own plane, at a height over it, in the drawing's axes."""
    xyz = np.column_stack([flat, np.full(len(flat), height)])
    axes = entity.ocs()
    if not axes.transform:
        return xyz
    return np.array([axes.to_wcs(place) for place in xyz.tolist()], float).reshape(-1, 3)


def _arcs(points: Floats, is_closed: bool) -> Floats:
    """(n, 2) from (n, 3) x, y and bulge: the tangent of a quarter of the arc to the next point."""
    if not points[:, 2].any():
        return points[:, :2]
    found: list[Sequence[float]] = []
    for number, (x, y, bulge) in enumerate(points.tolist()):
        found.append((x, y))
        if number == len(points) - 1 and not is_closed:
            break
        end_x, end_y, _ = points[(number + 1) % len(points)].tolist()
        found += _arc(complex(x, y), complex(end_x, end_y), bulge)
    return np.array(found, float)


def _arc(start: complex, end: complex, bulge: float) -> Iterator[tuple[float, float]]:
    """Points along an arc between its ends."""
    angle = 4 * math.atan(bulge)
    if angle == 0 or start == end:
        return
    # The middle of the circle lies to the left of the chord where the arc bends to the left.
    middle = (start + end) / 2 + 1j * (end - start) / 2 * (1 / math.tan(angle / 2))
    n = math.ceil(abs(math.degrees(angle)) / _CHORD_DEG)
    for k in range(1, n):
        place = middle + (start - middle) * complex(math.cos(angle * k / n), math.sin(angle * k / n))
        yield place.real, place.imag


def _faces(layer: str, vertices: Floats, faces: list[list[int]]) -> Entity:
    """Faces of three corners and more, cut from their first corner."""
    triangles = [(face[0], face[k], face[k + 1]) for face in faces for k in range(1, len(face) - 1)]
    tri = np.array(triangles, np.int64).reshape(-1, 3)
    if tri.size and (tri.min() < 0 or tri.max() >= len(vertices)):
        raise ValueError("a face names a corner that is not there")
    a, b, c = vertices.reshape(-1, 3)[tri].transpose(1, 0, 2)
    same = (a == b).all(axis=1) | (b == c).all(axis=1) | (c == a).all(axis=1)
    return Entity(layer, "faces", vertices.reshape(-1, 3), False, tri[~same])

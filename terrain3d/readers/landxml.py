"""LandXML surfaces (schema 1.0 to 1.2): points and faces of a model of the ground.

A point is northing, easting and height, in this order (LandXML-1.2.xsd, `P` within `Pnts`); a face names its
points, and is left out where it is marked invisible (`F`, attribute `i`).
"""

from array import array
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.readers.crs import Said, crs_to_take, from_name, from_wkt, plan_doubts, plan_scale, settle
from terrain3d.readers.faces import Triangles, bounds_of, checked_faces, face_up, faces_in_box
from terrain3d.readers.markup import walk
from terrain3d.readers.source import Box, Header, Progress, Surface
from terrain3d.site import GroundSource
from terrain3d.terrain import Dated
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M, Floats
from terrain3d.wording import counted, listed

#: Some four million triangles.
MOST_BYTES = 200_000_000
#: Units of length (schema 1.2: impLinear, metLinear; elevationUnit has metres and feet alone).
_UNITS = {
    "millimeter": 0.001, "centimeter": 0.01, "meter": 1.0, "kilometer": 1000.0,
    "inch": FOOT_M / 12, "foot": FOOT_M, "feet": FOOT_M, "ussurveyfoot": US_SURVEY_FOOT_M,
    "mile": 5280 * FOOT_M,
}  # fmt: skip
_UNITS_FROM, _CRS_FROM = "its Units", "its CoordinateSystem"
_AGAIN = "export it as LandXML again, with its points and triangles"


@dataclass
class _Tin:
    """A surface as it is read: points by their names, and the names of each face's points."""

    name: str
    numbers: dict[str, int] = field(default_factory=dict)
    #: Northing, easting, height, one point after the other.
    places: array = field(default_factory=lambda: array("d"))  # type: ignore[type-arg]
    faces: array = field(default_factory=lambda: array("q"))  # type: ignore[type-arg]
    n_invisible: int = 0


@dataclass
class _Document:
    """What a LandXML file says, as far as it is taken."""

    version: str = ""
    written: date | None = None
    plan_unit_m: float | None = None
    height_unit_m: float | None = None
    crs: pyproj.CRS | None = None
    doubts: tuple[str, ...] = ()
    surfaces: list[_Tin] = field(default_factory=list)


def landxml_header(path: Path, ground: GroundSource) -> Header:
    """Bounds, units and CRS of a surface, which means reading it; `ground.layer` names one of several.

    Raises
    ------
    InputError
        Where there is no such surface, several and none is named, or one that cannot be read.
    """
    document = _read(path)
    tin = _chosen(document, ground.layer, path)
    vertices, triangles = _shape(tin, path)
    crs = crs_to_take(document.crs, ground)
    unit_m = document.plan_unit_m or 1.0
    vertices[:, :2] *= plan_scale(unit_m, crs)
    doubts = document.doubts + plan_doubts(unit_m, crs, _UNITS_FROM)
    if tin.n_invisible:
        doubts += (
            f"{counted(tin.n_invisible, 'triangle')} of it marked invisible: no ground is known there",
        )
    said = Said(
        document.crs,
        _CRS_FROM if document.crs is not None else "",
        document.height_unit_m,
        _UNITS_FROM if document.height_unit_m else "",
        doubts,
    )
    settled = settle(said, ground, str(path), bounds_of(vertices), len(vertices))
    day = document.written
    return Header(
        kind="mesh",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds_of(vertices),
        n_points=len(vertices),
        doubts=settled.doubts,
        form=f"LandXML {document.version}, surface {tin.name!r} of {counted(len(triangles), 'triangle')}",
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
        layer=tin.name,
        dated=None if day is None else Dated(day, day, "its date", is_flown=False),
    )


def read_landxml(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Surface:
    """The triangles that meet a box, each whole: ground, every one."""
    document = _read(path, progress)
    vertices, triangles = _shape(_chosen(document, header.layer, path), path)
    vertices[:, :2] *= plan_scale(document.plan_unit_m or 1.0, header.crs)
    vertices, triangles = faces_in_box(vertices, triangles, path, header, box)
    vertices[:, 2] *= header.vertical_unit_m
    if progress is not None:
        progress(1.0)
    return Surface(vertices, face_up(vertices, triangles), header.crs, header.doubts, is_ground=True)


class _Taker:
    """Takes what is wanted from the tags of a file as they pass."""

    def __init__(self, path: Path) -> None:
        self.document = _Document()
        self._path = path
        self._tin: _Tin | None = None
        self._within = ""
        self._attributes: Mapping[str, str] = {}
        self._is_first = True

    def begin(self, name: str, attributes: Mapping[str, str]) -> None:
        if self._is_first and name != "LandXML":
            raise InputError(
                f"it is XML, but no LandXML: it begins with <{name[:40]}>", str(self._path), _AGAIN
            )
        if self._is_first:
            self._is_first = False
            self.document.version = attributes.get("version", "")[:20]
            with suppress(ValueError):
                self.document.written = date.fromisoformat(attributes.get("date", ""))
        if name in ("Pnts", "Faces"):
            self._within = name
        elif name == "Surface":
            self._tin = _Tin(attributes.get("name", ""))
        elif name in ("Metric", "Imperial"):
            self._take_units(attributes)
        elif name == "CoordinateSystem" and self.document.crs is None:
            self._take_crs(attributes)
        self._attributes = attributes

    def end(self, name: str, text: str) -> None:
        if name == self._within:
            self._within = ""
        elif name == "Surface" and self._tin is not None:
            self.document.surfaces.append(self._tin)
            self._tin = None
        elif self._tin is not None and name == "P" and self._within == "Pnts":
            self._take_point(self._tin, text)
        elif self._tin is not None and name == "F" and self._within == "Faces":
            self._take_face(self._tin, text)

    def _take_point(self, tin: _Tin, text: str) -> None:
        number = len(tin.numbers)
        name = self._attributes.get("id", str(number + 1))
        try:
            north, east, height = map(float, text.split())
        except ValueError:
            raise InputError(
                f"{text.strip()[:60]!r} is no point: northing, easting and height are needed",
                f"{self._path}: surface {tin.name!r}, point {name[:20]!r}",
                _AGAIN,
            ) from None
        if tin.numbers.setdefault(name, number) != number:
            raise InputError(f"two of its points are named {name[:20]!r}", str(self._path), _AGAIN)
        tin.places.extend((north, east, height))

    def _take_face(self, tin: _Tin, text: str) -> None:
        if self._attributes.get("i") == "1":
            tin.n_invisible += 1
            return
        names = text.split()
        try:
            corners = [tin.numbers[name] for name in names]
        except KeyError as error:
            raise InputError(
                f"a face names point {str(error.args[0])[:20]!r}, which is not in it",
                f"{self._path}: surface {tin.name!r}",
                _AGAIN,
            ) from None
        if len(corners) not in (3, 4):
            raise InputError(
                f"a face has {len(corners)} points: {text.strip()[:60]!r}",
                f"{self._path}: surface {tin.name!r}",
                _AGAIN,
            )
        tin.faces.extend(corners[:3])
        if len(corners) == 4:
            tin.faces.extend((corners[0], corners[2], corners[3]))

    def _take_units(self, attributes: Mapping[str, str]) -> None:
        plan = attributes.get("linearUnit", "").lower()
        height = attributes.get("elevationUnit", "").lower()
        for unit in filter(None, (plan, height)):
            if unit not in _UNITS:
                raise InputError(
                    f"its unit {unit[:20]!r} is none of length that is known",
                    str(self._path),
                    "export it in metres",
                )
        self.document.plan_unit_m = _UNITS.get(plan)
        # Feet of height are those of plan, for there is one word for both kinds.
        self.document.height_unit_m = (
            _UNITS[plan] if height == "feet" and "foot" in plan else _UNITS.get(height or plan)
        )

    def _take_crs(self, attributes: Mapping[str, str]) -> None:
        code, wkt = attributes.get("epsgCode", "").strip(), attributes.get("ogcWktCode", "").strip()
        try:
            if code:
                self.document.crs = from_name(f"EPSG:{int(code.upper().removeprefix('EPSG:'))}")
            elif wkt:
                self.document.crs = from_wkt(wkt)
            elif name := attributes.get("name") or attributes.get("desc"):
                self.document.doubts += (
                    f"it names its CRS in words alone, {name[:60]!r}, which are not taken for one",
                )
        except (CRSError, ValueError):
            self.document.doubts += (f"its CRS, {(code or wkt)[:60]!r}, cannot be understood",)


def _read(path: Path, progress: Progress | None = None) -> _Document:
    taker = _Taker(path)
    walk(path, "LandXML", taker.begin, taker.end, MOST_BYTES)
    if progress is not None:
        progress(0.8)
    return taker.document


def _chosen(document: _Document, name: str | None, path: Path) -> _Tin:
    names = [tin.name for tin in document.surfaces]
    if not names:
        raise InputError("it holds no surface", str(path), _AGAIN)
    if name is None and len(names) > 1:
        raise InputError(
            f"it holds {len(names)} surfaces: {listed(list(map(repr, names)), 12)}",
            str(path),
            f"name the one of the ground as it is: [ground] layer = {names[0]!r}, or --layer",
        )
    if name is not None and names.count(name) != 1:
        there = "two of that name" if name in names else f"no surface {name!r}"
        raise InputError(f"it holds {there}", str(path), f"it has {listed(list(map(repr, names)), 12)}")
    return document.surfaces[0 if name is None else names.index(name)]


def _shape(tin: _Tin, path: Path) -> tuple[Floats, Triangles]:
    """(n, 3) east, north and height in the file's units, and triangles of three different points."""
    places = np.array(tin.places, float).reshape(-1, 3)[:, [1, 0, 2]]
    triangles = np.array(tin.faces, np.int64).reshape(-1, 3)
    a, b, c = triangles.T
    return checked_faces(places, triangles[(a != b) & (b != c) & (c != a)], path)

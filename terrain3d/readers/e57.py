"""E57 (ASTM E2807): the points of all scans, each turned and moved by its pose, joined in one cloud.

The library under pye57 is handed our own descriptor. It reads the file's XML with a parser that would follow
a document type, and makes room for as many points as the XML claims; so the XML is looked over here first.
"""

import math
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import Said, crs_to_take, from_wkt, plan_scale, settle
from terrain3d.readers.markup import Tag, tree
from terrain3d.readers.source import (
    Box,
    Bytes,
    Cloud,
    Gathered,
    Header,
    Marks,
    NothingThereError,
    Progress,
    likely_points,
)
from terrain3d.site import GroundSource
from terrain3d.terrain import Dated
from terrain3d.units import Floats
from terrain3d.wording import box_words, counted

#: Points decoded at a time.
CHUNK = 1_000_000
#: The XML of a thousand scans is some megabytes long.
_MOST_XML = 50_000_000
#: Signature, version (2 numbers), length of the file, place and length of the XML, size of a page; the last
#: four bytes of every page are a checksum (E2807, file header).
_HEADER = struct.Struct("<8sIIQQQQ")
_CHECKSUM = 4
#: Names of coordinates: as they are, or range, azimuth and elevation (E2807, point records).
_CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
_SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
_COLOURS = ("colorRed", "colorGreen", "colorBlue")
#: Times count seconds from here, without leap seconds (E2807, dateTimeValue: GPS time).
_FROM, _MOST_SECONDS = datetime(1980, 1, 6), 100 * 365.25 * 86400
_AGAIN = "copy or export it again, or as LAZ"


@dataclass(frozen=True, eq=False)
class _Scan:
    """One scan as the XML describes it.

    Parameters
    ----------
    number : int
        Its place among the scans.
    n_points : int
    turn : (3, 3) float
        Rotation of its pose.
    move : (3,) float
    has_pose : bool
    brightest : float
        The greatest value of a colour.
    seconds : tuple of float
        When it was begun and ended, in GPS time; those that are stated.
    """

    number: int
    n_points: int
    turn: Floats
    move: Floats
    has_pose: bool
    brightest: float
    seconds: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class _Contents:
    """What the XML says: version, scans, CRS."""

    version: str
    scans: tuple[_Scan, ...]
    stated: Said


def e57_header(path: Path, ground: GroundSource) -> Header:
    """Bounds and count of the valid points, which means reading them once."""
    contents = _contents(path)
    scale = plan_scale(1.0, crs_to_take(contents.stated.crs, ground))
    low, high, n_points, n_lost = np.full(2, np.inf), np.full(2, -np.inf), 0, 0
    for _, cloud, lost in _chunks(path, contents, scale):
        n_lost += lost
        if len(cloud.xyz):
            low, high = (
                np.minimum(low, cloud.xyz[:, :2].min(axis=0)),
                np.maximum(high, cloud.xyz[:, :2].max(axis=0)),
            )
            n_points += len(cloud.xyz)
    if n_points == 0:
        raise InputError("it holds no valid points", str(path), "name a scan with points")
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    settled = settle(contents.stated, ground, str(path), bounds, n_points)
    doubts = settled.doubts
    n_placed = sum(scan.has_pose for scan in contents.scans)
    if 0 < n_placed < len(contents.scans):
        doubts += (
            f"{len(contents.scans) - n_placed} of its {len(contents.scans)} scans state no pose: their "
            "points are taken as they stand",
        )
    if n_lost:
        doubts += (f"{counted(n_lost, 'point')} marked invalid, or without a place, are left out",)
    return Header(
        kind="cloud",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=n_points,
        doubts=doubts,
        form=f"E57 {contents.version}, {counted(len(contents.scans), 'scan')}",
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
        dated=_dated(contents),
    )


def read_e57(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Cloud:
    """Read the valid points inside a box; see `read_las`."""
    gathered = Gathered(likely_points(path, header, box))
    doubts = pass_e57(path, header, box, gathered.take, progress, coloured=True)
    return gathered.cloud(header.crs, doubts)


def pass_e57(
    path: Path,
    header: Header,
    box: Box | None,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
    marks: Marks | None = None,
    coloured: bool = False,
) -> tuple[str, ...]:
    """Hand on the points that `read_e57` would read, chunk by chunk, keeping none; see `pass_las`."""
    contents = _contents(path)
    n_kept = 0
    for done, cloud, _ in _chunks(path, contents, plan_scale(1.0, header.crs)):
        x, y, _ = cloud.xyz.T
        keep = np.ones(len(x), bool)
        if box is not None:
            keep = (x >= box[0]) & (y >= box[1]) & (x <= box[2]) & (y <= box[3])
        noise = keep & np.isin(cloud.classes, (7, 18))
        keep &= ~noise
        if marks is not None:
            marks.noise += int(noise.sum())
        n_kept += int(keep.sum())
        if keep.any():
            xyz = np.ascontiguousarray(cloud.xyz.T[:, keep])
            xyz[2] *= header.vertical_unit_m
            rgb = cloud.rgb[keep] if coloured and cloud.rgb is not None else None
            classes, number, of = cloud.classes[keep], cloud.return_number[keep], cloud.n_returns[keep]
            take(Cloud(xyz.T, classes, number, of, header.crs, rgb=rgb))
        if progress is not None:
            progress(done)
    if n_kept == 0:
        raise NothingThereError(
            f"no point of it lies in {box_words(box or header.bounds)}; it covers {box_words(header.bounds)}",
            str(path),
            "check [site] crs and [ground] crs, or name a survey that covers the site",
        )
    return header.doubts


def _chunks(path: Path, contents: _Contents, scale: float) -> Iterator[tuple[float, Cloud, int]]:
    """The share that is done, some valid points in the file's coordinates, and how many were none."""
    total = max(1, sum(scan.n_points for scan in contents.scans))
    done = 0
    with _library(path) as (libe57, image):
        for scan in contents.scans:
            points = image.root()["data3D"][scan.number]["points"]
            fields = libe57.StructureNode(points.prototype())
            names = filter(_is_wanted, (fields.get(k).elementName() for k in range(fields.childCount())))
            arrays = {name: np.empty(min(CHUNK, max(1, scan.n_points))) for name in names}
            buffers = libe57.VectorSourceDestBuffer()
            for name, array in arrays.items():
                buffers.append(libe57.SourceDestBuffer(image, name, array, len(array), True, True))
            reader = points.reader(buffers)
            left = scan.n_points
            while left and (n := reader.read()):
                left -= n
                done += n
                cloud = _cloud(scan, {name: array[:n] for name, array in arrays.items()}, scale)
                yield done / total, cloud, n - len(cloud.xyz)
            reader.close()
            if left:
                raise InputError(
                    f"scan {scan.number + 1} claims {scan.n_points} points, and only {scan.n_points - left} "
                    "could be read",
                    str(path),
                    _AGAIN,
                )


def _is_wanted(name: str) -> bool:
    wanted = (
        *_CARTESIAN,
        *_SPHERICAL,
        "cartesianInvalidState",
        "sphericalInvalidState",
        "returnIndex",
        "returnCount",
        *_COLOURS,
    )
    return name in wanted or name.rpartition(":")[2] == "classification"


def _cloud(scan: _Scan, values: dict[str, Floats], scale: float) -> Cloud:
    """Some points of a scan, turned and moved; those that are none left out."""
    if all(name in values for name in _CARTESIAN):
        own = np.stack([values[name] for name in _CARTESIAN])
        state = values.get("cartesianInvalidState")
    else:
        reach, azimuth, elevation = (values[name] for name in _SPHERICAL)
        level = reach * np.cos(elevation)
        own = np.stack([level * np.cos(azimuth), level * np.sin(azimuth), reach * np.sin(elevation)])
        state = values.get("sphericalInvalidState")
    # Many a program writes what was not hit as a point in the scanner itself.
    valid = np.isfinite(own).all(axis=0) & own.any(axis=0)
    if state is not None:
        valid &= state == 0
    xyz = scan.turn @ own[:, valid] + scan.move[:, None]
    xyz[:2] *= scale

    def whole(name: str, add: int, otherwise: int) -> Bytes:
        known = next((values[field] for field in values if field.rpartition(":")[2] == name), None)
        if known is None:
            return np.full(xyz.shape[1], otherwise, np.uint8)
        return np.clip(np.nan_to_num(known[valid]) + add, 0, 255).astype(np.uint8)

    rgb = None
    if all(name in values for name in _COLOURS):
        bright = np.stack([values[name][valid] for name in _COLOURS], axis=1) * (255 / scan.brightest)
        rgb = np.clip(np.nan_to_num(bright), 0, 255).astype(np.uint8)
    return Cloud(
        xyz.T,
        whole("classification", 0, 0),
        whole("returnIndex", 1, 1),
        whole("returnCount", 0, 1),
        None,
        rgb=rgb,
    )


@contextmanager
def _library(path: Path) -> Iterator[tuple[Any, Any]]:
    """The library and the file, opened by our own descriptor, so that it sees no name."""
    try:
        from pye57 import libe57
    except ImportError:
        raise InputError(
            "it is an E57 scan, and the library that reads these is not installed",
            str(path),
            "install it: pip install 'terrain3d[e57]'; or export the scan as LAZ",
        ) from None
    with opened(path) as stream:
        image = None
        try:
            image = libe57.ImageFile(f"/dev/fd/{stream.fileno()}", "r")
            yield libe57, image
        except (InputError, GeneratorExit):
            raise
        except Exception as error:
            raise InputError(
                "its points cannot be decoded: it is damaged or was cut short", str(path), _AGAIN
            ) from error
        finally:
            if image is not None:
                image.close()


def _contents(path: Path) -> _Contents:
    """What the XML says, held against the size of the file before anything is made room for."""
    size = path.stat().st_size
    with opened(path) as stream:
        head = stream.read(_HEADER.size)
        if len(head) < _HEADER.size:
            raise InputError("it ends inside its header", str(path), _AGAIN)
        _, major, minor, length, xml_at, xml_length, page = _HEADER.unpack(head)
        if length != size:
            raise InputError(
                f"it should be {length} bytes long, and is {size}: it was cut short", str(path), _AGAIN
            )
        if not (_CHECKSUM < page <= size and xml_at < size and 0 < xml_length <= min(size, _MOST_XML)):
            raise InputError(
                f"its header cannot be: {xml_length} bytes of XML at byte {xml_at} of {size}",
                str(path),
                _AGAIN,
            )
        stream.seek(xml_at // page * page)
        pages = stream.read((xml_at % page + xml_length) // (page - _CHECKSUM) * page + 2 * page)
    logical = b"".join(pages[k : k + page - _CHECKSUM] for k in range(0, len(pages), page))
    root = tree(BytesIO(logical[xml_at % page :][:xml_length]), str(path), "E57")
    scans = [] if (found := root.one("data3D")) is None else found.children
    if not scans:
        raise InputError("it holds no scans", str(path), "name a scan with points")
    return _Contents(
        f"{major}.{minor}",
        tuple(_scan(tag, number, size, path) for number, tag in enumerate(scans)),
        _said(root.content_of("coordinateMetadata")),
    )


def _scan(tag: Tag, number: int, size: int, path: Path) -> _Scan:
    where = f"{path}: scan {number + 1}"
    points = tag.one("points")
    prototype = None if points is None else points.one("prototype")
    if points is None or prototype is None:
        raise InputError("it holds no points", where, _AGAIN)
    try:
        n_points = int(points.attributes["recordCount"])
        bits = sum(_bits(field) for field in prototype.children)
        rotation, translation = tag.one("pose", "rotation"), tag.one("pose", "translation")
        quaternion = [1.0, 0, 0, 0] if rotation is None else [_number(rotation, axis) for axis in "wxyz"]
        move = [0.0] * 3 if translation is None else [_number(translation, axis) for axis in "xyz"]
    except (KeyError, ValueError):
        raise InputError("what its XML says of its points or pose is no number", where, _AGAIN) from None
    if n_points < 0 or n_points * max(bits, 1) > 8 * size:
        raise InputError(f"it claims {n_points} points, more than the file has room for", where, _AGAIN)
    length = math.sqrt(sum(part * part for part in quaternion))
    if not (0.9 < length < 1.1 and all(map(math.isfinite, move))):
        raise InputError(f"its pose cannot be: rotation {quaternion}, translation {move}", where, _AGAIN)
    fields = {field.name for field in prototype.children}
    if not any(all(name in fields for name in names) for names in (_CARTESIAN, _SPHERICAL)):
        raise InputError("its points have no coordinates that are known", where, _AGAIN)
    turn = _rotation(*(part / length for part in quaternion))
    red = prototype.one("colorRed")
    try:
        brightest = float(red.attributes.get("maximum", "255")) if red is not None else 255.0
        stamps = (tag.content_of(name, "dateTimeValue") for name in ("acquisitionStart", "acquisitionEnd"))
        seconds = tuple(float(stamp) for stamp in stamps if stamp)
    except ValueError:
        brightest, seconds = 255.0, ()
    return _Scan(
        number,
        n_points,
        turn,
        np.array(move),
        tag.one("pose") is not None,
        brightest if 0 < brightest < 2**31 else 255.0,
        seconds,
    )


def _dated(contents: _Contents) -> Dated | None:
    """When the scans were made, where they say so."""
    days = sorted(
        (_FROM + timedelta(seconds=stamp)).date()
        for scan in contents.scans
        for stamp in scan.seconds
        if 0 < stamp < _MOST_SECONDS
    )
    return Dated(days[0], days[-1], "its acquisitionStart", is_flown=True) if days else None


def _number(tag: Tag, name: str) -> float:
    """A number of the XML; one that is left blank is 0 (E2807, XML)."""
    return float(tag.content_of(name) or 0.0)


def _bits(field: Tag) -> int:
    """Bits that a field takes in each record, at the least."""
    kind = field.attributes.get("type")
    if kind == "Float":
        return 32 if field.attributes.get("precision") == "single" else 64
    if kind in ("Integer", "ScaledInteger"):
        low = int(field.attributes.get("minimum", -(2**63)))
        return (int(field.attributes.get("maximum", 2**63 - 1)) - low).bit_length()
    return 8


def _rotation(w: float, x: float, y: float, z: float) -> Floats:
    """(3, 3) of a unit quaternion."""
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _said(metadata: str) -> Said:
    """The CRS, which the standard wants as WKT; its lengths are metres (E2807)."""
    crs: pyproj.CRS | None = None
    doubts: tuple[str, ...] = ()
    if metadata:
        try:
            crs = from_wkt(metadata)
        except CRSError:
            doubts = (f"what it says of its CRS, {metadata[:60]!r}, cannot be understood",)
    source = "its coordinateMetadata" if crs is not None else ""
    return Said(crs, source, 1.0, "the E57 standard", doubts)

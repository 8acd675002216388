"""The header of a LAS file, read with open eyes: whatever it claims is held against the file's size.

LAS 1.0 to 1.4 (ASPRS specification, R15: public header block, variable length records).
"""

import struct
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import BinaryIO

import numpy as np
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import Said, from_wkt, said_by
from terrain3d.readers.source import Box
from terrain3d.units import Floats

#: Least bytes of a point record, by point format (LAS 1.4 R15, tables 7 to 17).
RECORD_BYTES = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)
#: Points packed together in a LAZ: 50,000 as a rule, more than this never seen (common practice, no
#: source); and the mark that the table of chunks tells each one's number (LASzip, chunk size).
_MOST_PACKED, _PACKED_VARIOUSLY = 5_000_000, 2**32 - 1
_WKT_BIT, _GPS_TIME_BIT = 16, 1
_WKT_RECORD = 2112
#: The description in words (LAS 1.4 R15, text area description).
_TEXT = ("LASF_Spec", 3)
_KEY_RECORDS = (34735, 34736, 34737)
_COPY_AGAIN = "copy or export the survey again: the file is damaged or was cut short"


@dataclass(frozen=True, eq=False)
class LasHeader:
    """A LAS header that fits its file.

    Parameters
    ----------
    minor : int
        4 for LAS 1.4.
    point_format, record_bytes, n_points, points_at : int
        Format 0 to 10; bytes of one point; points; offset of the first.
    scales, offsets, mins, maxs : (3,) float
    compressed, copc : bool
    says_wkt : bool
        Whether the header asks readers to take the CRS from the WKT record.
    is_gps_time : bool
        Whether times of points are adjusted standard GPS time; else they count from some week's start.
    created : date or None
        When the file was written.
    records : dict
        Contents of the variable length records, by (user, record number).
    """

    minor: int
    point_format: int
    record_bytes: int
    n_points: int
    points_at: int
    scales: Floats
    offsets: Floats
    mins: Floats
    maxs: Floats
    compressed: bool
    copc: bool
    says_wkt: bool
    is_gps_time: bool
    created: date | None
    records: dict[tuple[str, int], bytes]

    @property
    def n_packed(self) -> int:
        """How many points are packed together; 1 where none are, 2**32 - 1 where it differs."""
        record = self.records.get(("laszip encoded", 22204), b"")
        if not self.compressed or len(record) < 16:
            return 1
        return max(1, int(struct.unpack_from("<I", record, 12)[0]))

    @property
    def form(self) -> str:
        """Format and version in plain words."""
        name = f"{'LAZ' if self.compressed else 'LAS'} 1.{self.minor}"
        return f"{name}{', COPC' if self.copc else ''}, point format {self.point_format}"

    @property
    def bounds(self) -> Box:
        return float(self.mins[0]), float(self.mins[1]), float(self.maxs[0]), float(self.maxs[1])

    @property
    def description(self) -> str:
        """What its maker wrote about it; '' where nothing."""
        return self.records.get(_TEXT, b"").split(b"\0")[0].decode("utf-8", "replace")

    @property
    def has_bounds(self) -> bool:
        """False where the header's bounds are no box at all."""
        return bool(np.all(np.isfinite([self.mins, self.maxs])) and np.all(self.mins <= self.maxs))


def read_las_header(path: Path) -> LasHeader:
    """Read and check the header of a LAS, LAZ or COPC file.

    Raises
    ------
    InputError
        Where the header claims what the file cannot hold.
    """
    size = path.stat().st_size
    with opened(path) as stream:
        block = stream.read(375)
        if len(block) < 227:
            raise broken(f"the file ends inside its header, after {len(block)} bytes", path)
        header_bytes, points_at, n_records = struct.unpack_from("<HII", block, 94)
        minor = block[25]
        if block[24] != 1 or minor > 4:
            raise InputError(f"it says LAS {block[24]}.{minor}", str(path), "save it as LAS 1.0 to 1.4")
        if not 227 <= header_bytes <= points_at <= size or len(block) < (375 if minor == 4 else 227):
            raise broken(
                f"its header of {header_bytes} bytes puts the points at byte {points_at} of {size}", path
            )
        if n_records * 54 > points_at - header_bytes:
            raise broken(f"it claims {n_records} records, more than fit before its points", path)
        stream.seek(header_bytes)
        records = _records(stream, n_records, points_at, extended=False)
        if minor == 4:
            first, n_extended = struct.unpack_from("<QI", block, 235)
            if 0 < first < size and n_extended * 60 <= size - first:
                stream.seek(first)
                records = {**_records(stream, n_extended, size, extended=True), **records}
    return _checked(_parsed(block, records, points_at), size, path)


def said_by_las(las: LasHeader) -> Said:
    """What a LAS file says of its CRS: the WKT record and the GeoTIFF keys, each where it knows more."""
    wkt = _said_by_wkt(las.records.get(("LASF_Projection", _WKT_RECORD), b""))
    keys = Said()
    if ("LASF_Projection", _KEY_RECORDS[0]) in las.records:
        # Here, not above: only old files have keys, and the decoder is large.
        from terrain3d.readers.geokeys import said_by_keys

        tags = {tag: las.records.get(("LASF_Projection", tag), b"") for tag in _KEY_RECORDS}
        keys = said_by_keys(tags, "GeoTIFF keys")
    first, second = (wkt, keys) if wkt.crs is not None or las.says_wkt else (keys, wkt)
    # A record that fails matters only when the other one does not stand in for it.
    doubts = first.doubts if first.crs else first.doubts + second.doubts
    return Said(
        first.crs or second.crs,
        first.crs_from or second.crs_from,
        first.vertical_unit_m or second.vertical_unit_m,
        first.vertical_unit_from or second.vertical_unit_from,
        doubts,
    )


def _said_by_wkt(record: bytes) -> Said:
    text = record.split(b"\0")[0].decode("utf-8", "replace").strip()
    if not text:
        return Said()
    try:
        return said_by(from_wkt(text), "its WKT record")
    except CRSError:
        return Said(doubts=(f"the CRS in its WKT record cannot be understood: {text[:60]!r}",))


def _records(stream: BinaryIO, count: int, end: int, *, extended: bool) -> dict[tuple[str, int], bytes]:
    """Variable length records up to byte `end`; what lies beyond it is left out."""
    layout = "<2x16sHQ32x" if extended else "<2x16sHH32x"
    found: dict[tuple[str, int], bytes] = {}
    for _ in range(count):
        head = stream.read(struct.calcsize(layout))
        if len(head) < struct.calcsize(layout):
            break
        user, number, length = struct.unpack(layout, head)
        if stream.tell() + length > end:
            break
        key = (user.split(b"\0")[0].decode("latin-1"), number)
        # Only those of the CRS, of the compression and a short description are wanted; others may be large.
        wanted = key[0] in ("LASF_Projection", "copc", "laszip encoded") or (key == _TEXT and not extended)
        if wanted and key not in found:
            found[key] = stream.read(length)
        else:
            stream.seek(length, 1)
    return found


def _parsed(block: bytes, records: dict[tuple[str, int], bytes], points_at: int) -> LasHeader:
    n_points = struct.unpack_from("<I", block, 107)[0]
    if block[25] == 4:
        n_points = struct.unpack_from("<Q", block, 247)[0] or n_points
    doubles = np.array(struct.unpack_from("<12d", block, 131))
    return LasHeader(
        minor=block[25],
        point_format=block[104] & 63,
        record_bytes=struct.unpack_from("<H", block, 105)[0],
        n_points=n_points,
        points_at=points_at,
        scales=doubles[:3],
        offsets=doubles[3:6],
        mins=doubles[[7, 9, 11]],
        maxs=doubles[[6, 8, 10]],
        compressed=block[104] > 63,
        copc=("copc", 1) in records,
        says_wkt=bool(struct.unpack_from("<H", block, 6)[0] & _WKT_BIT),
        is_gps_time=bool(struct.unpack_from("<H", block, 6)[0] & _GPS_TIME_BIT),
        created=_created(*struct.unpack_from("<HH", block, 90)),
        records=records,
    )


def _created(day: int, year: int) -> date | None:
    """The day of a year, counted from 1; None where nobody wrote it."""
    if not (1990 <= year <= 2200 and 1 <= day <= 366):
        return None
    return date(year, 1, 1) + timedelta(days=day - 1)


def _checked(las: LasHeader, size: int, path: Path) -> LasHeader:
    if las.point_format >= len(RECORD_BYTES):
        raise InputError(
            f"point format {las.point_format} is unknown", str(path), "save it as format 0 to 10"
        )
    if las.record_bytes < RECORD_BYTES[las.point_format]:
        raise broken(f"its points of {las.record_bytes} bytes are too short for their format", path)
    if not np.all(np.isfinite([las.scales, las.offsets])) or np.any(las.scales <= 0):
        raise broken(f"its scales are {las.scales.tolist()} and offsets {las.offsets.tolist()}", path)
    if las.n_points == 0:
        raise InputError("it holds no points", str(path), "name a survey with points")
    if las.compressed:
        _check_chunks(las, size, path)
    elif las.points_at + las.n_points * las.record_bytes > size:
        held = (size - las.points_at) // las.record_bytes
        raise broken(f"its header claims {las.n_points} points, the file has room for {held}", path)
    return las


def _check_chunks(las: LasHeader, size: int, path: Path) -> None:
    """The compressed points' table of chunks must lie in the file before a decoder allocates for it."""
    if ("laszip encoded", 22204) not in las.records:
        raise broken("its points are compressed, yet the record that says how is missing", path)
    with opened(path) as stream:
        stream.seek(las.points_at)
        pointer = stream.read(8)
        if pointer == b"\xff" * 8:  # written last where the writer could not go back
            stream.seek(max(0, size - 8))
            pointer = stream.read(8)
        table_at = int.from_bytes(pointer, "little", signed=True)
        if len(pointer) < 8 or not las.points_at < table_at <= size - 8:
            raise broken(f"its table of compressed chunks would lie at byte {table_at} of {size}", path)
        stream.seek(table_at)
        n_chunks = struct.unpack("<4xI", stream.read(8))[0]
    if n_chunks > min(las.n_points + 1, size):
        raise broken(f"it claims {n_chunks} compressed chunks for {las.n_points} points", path)
    if (n_packed := las.n_packed) < _PACKED_VARIOUSLY:
        if n_packed > _MOST_PACKED:
            raise broken(f"it claims to pack {n_packed} points together, more than any file does", path)
        if las.n_points > n_chunks * n_packed:
            raise broken(
                f"it claims {las.n_points} points in {n_chunks} chunks of {n_packed}, which hold fewer", path
            )
        # Each chunk begins with a point as it is, in as many bytes as it has.
        if n_chunks * las.record_bytes > size:
            raise broken(f"it claims {n_chunks} chunks of points, and the file has room for fewer", path)


def broken(what: str, path: Path) -> InputError:
    """The refusal of a file that claims what cannot be."""
    return InputError(what, str(path), _COPY_AGAIN)

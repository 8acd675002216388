"""LAS, LAZ and COPC: the points inside a box, chunk by chunk."""

import math
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import laspy
import lazrs
import numpy as np
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import crs_words, settle
from terrain3d.readers.header import LasHeader, broken, read_las_header, said_by_las
from terrain3d.readers.quiet import quiet
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
    share_of,
)
from terrain3d.readers.stated import stated_error
from terrain3d.site import GroundSource
from terrain3d.terrain import Dated
from terrain3d.units import Floats
from terrain3d.wording import box_words

#: Points decoded at a time: some 40 MB, so that memory goes to what is kept. Points that are not packed are
#: passed in pieces of some 1 MB, which stay near the processor from one step to the next.
CHUNK, _PLAIN_CHUNK = 1_000_000, 1 << 15
#: ASPRS: 7 low point, 18 high noise (LAS 1.4 R15, table 17).
NOISE = (7, 18)
#: In formats 0 to 5 class 8 is a model key point, taken from the ground, and class 12 is an overlap
#: point, class unknown (LAS 1.4 R15, table 9).
_LEGACY = np.arange(256, dtype=np.uint8)
_LEGACY[8], _LEGACY[12] = 2, 1
#: A share of noise above this is told.
MUCH_NOISE = 0.1
#: Above this share of the file's area a COPC is read in order, which decodes each point once.
_QUERY_SHARE = 0.25
#: Points to expect from one query; a larger box is asked for in strips.
_QUERY_POINTS = 2_000_000
#: Raw coordinates are 32-bit whole numbers; a little less, so that none overflows on the way.
_RAW_END = 2.0**31 - 2

#: How LASzip numbers packing in layers, a point's bytes of others, and the layers of its other items.
_LAYERED, _EXTRA_BYTES, _LAYERS = 3, 14, {10: 9, 11: 1, 12: 2, 13: 1}

#: What is decoded; colours, waveforms and extra bytes stay compressed.
_WANTED = (
    laspy.DecompressionSelection.XY_RETURNS_CHANNEL
    | laspy.DecompressionSelection.Z
    | laspy.DecompressionSelection.CLASSIFICATION
    | laspy.DecompressionSelection.FLAGS
)

#: Adjusted standard GPS time counts from this second of GPS time, which itself begins on 6 January 1980
#: (LAS 1.4 R15, table 4); the leap seconds since, under half a minute, move no date that matters here.
_GPS_START, _ADJUSTED_S = datetime(1980, 1, 6, tzinfo=UTC), 1_000_000_000
#: Points at each end of a file whose times are looked at, and times that are no time of a flight.
_N_TIMED, _LAST_S = 1000, 4e9
_TIMED = laspy.DecompressionSelection.XY_RETURNS_CHANNEL | laspy.DecompressionSelection.GPS_TIME

_COLOURED = _WANTED | laspy.DecompressionSelection.RGB
#: Point formats with colours (LAS 1.4 R15, tables 9 to 17).
_COLOUR_FORMATS = (2, 3, 5, 7, 8, 10)

Record = NDArray[np.void]


def las_header(path: Path, ground: GroundSource) -> Header:
    """What a LAS, LAZ or COPC file says before its points are read."""
    las = read_las_header(path)
    _check_layers(las, path)
    bounds = las.bounds
    doubts: tuple[str, ...] = ()
    if not las.has_bounds or not _first_points_inside(path, las):
        bounds = _ends(path, las, las.n_points)
        doubts = (
            f"the bounds in its header, {box_words(las.bounds)}, do not hold its points, which lie in "
            f"{box_words(bounds)}: the survey may have been cut or written wrongly",
        )
    error_m, error_from = stated_error(las.description, "its description")
    settled = settle(said_by_las(las), ground, str(path), bounds, las.n_points)
    return Header(
        kind="cloud",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=las.n_points,
        doubts=doubts + settled.doubts,
        form=las.form,
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
        dated=_dated(path, las),
        error_m=error_m,
        error_from=error_from,
    )


def _dated(path: Path, las: LasHeader) -> Dated | None:
    """When the points were measured, by some at both ends of the file, or else when the file was written."""
    if las.is_gps_time and las.point_format not in (0, 2):
        with _decoding(path), _reader(path, _TIMED, few=True) as reader:
            few = min(_N_TIMED, las.n_points)
            seconds = reader.read_points(few).array["gps_time"]
            # Where packed points begin: on the way to one amid them all before it are unpacked.
            packed = las.n_packed
            reader.seek((las.n_points - few) // packed * packed)
            seconds = np.concatenate([seconds, reader.read_points(few).array["gps_time"]])
        # A time that nobody filled in is 0.
        seconds = seconds[np.isfinite(seconds) & (seconds != 0) & (np.abs(seconds) < _LAST_S)]
        if len(seconds):
            first, last = (
                (_GPS_START + timedelta(seconds=float(s) + _ADJUSTED_S)).date()
                for s in np.sort(seconds)[[0, -1]]
            )
            return Dated(first, last, "the GPS times of points at its start and end", is_flown=True)
    if las.created is None:
        return None
    return Dated(las.created, las.created, "its header", is_flown=False)


def read_las(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Cloud:
    """Read the points inside a box, without noise and withheld points.

    Parameters
    ----------
    path : Path
    header : Header
        From `las_header`.
    box : (west, south, east, north) or None
        In the units of the survey's CRS, its edges included; None reads all.
    progress : callable, optional

    Returns
    -------
    Cloud
        Classes of point formats 0 to 5 in the meaning of formats 6 to 10.

    Raises
    ------
    InputError
        Where the points cannot be decoded, none lies in the box, or all are noise.
    """
    gathered = Gathered(likely_points(path, header, box))
    doubts = pass_las(path, header, box, gathered.take, progress, coloured=True)
    return gathered.cloud(header.crs, doubts)


def pass_las(
    path: Path,
    header: Header,
    box: Box | None,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
    marks: Marks | None = None,
    coloured: bool = False,
) -> tuple[str, ...]:
    """Hand on the points that `read_las` would read, chunk by chunk, keeping none.

    Parameters
    ----------
    take : callable
        Given up to `CHUNK` points at a time, in the file's order, as a `Cloud` without doubts whose
        columns each lie side by side in memory.
    marks : Marks, optional
        Counted in.
    coloured : bool
        Whether colours are read, where there are any.

    Returns
    -------
    tuple of str
        The doubts of the whole.

    Raises
    ------
    InputError
        As `read_las`.
    """
    las = read_las_header(path)
    coloured &= las.point_format in _COLOUR_FORMATS
    sieve = _Sieve(las, header, box, marks, coloured)
    wanted = _COLOURED if coloured else _WANTED
    for done, record in _decoded(path, _records_of(path, las, header, box, wanted)):
        cloud = sieve.kept(record)
        if len(cloud.xyz):
            take(cloud)
        if progress is not None:
            progress(done)
    if sieve.n_inside == 0:
        raise _nothing_inside(path, box, header)
    if sieve.n_kept == 0:
        raise NothingThereError(
            f"all {sieve.n_inside} points read are noise (classes 7 and 18) or withheld",
            str(path),
            "have the survey classified again, or name another",
        )
    return header.doubts + sieve.doubts(header.bounds)


class _Sieve:
    """Raw records in, points to keep out; counts what falls through."""

    def __init__(
        self, las: LasHeader, header: Header, box: Box | None, marks: Marks | None, coloured: bool
    ) -> None:
        self._coloured, self._colour_bits = coloured, 0
        self._las, self._header, self._box, self._marks = las, header, box, marks
        self.n_inside = self.n_kept = 0
        self._low, self._high = np.full(2, np.inf), np.full(2, -np.inf)

    def kept(self, record: Record) -> Cloud:
        inside = _inside(record, self._las, self._box)
        if inside is not None:
            record = record[inside]
        self.n_inside += len(record)
        if self._marks is not None:
            _count_marks(record, self._las.point_format, self._marks)
        classes, return_number, n_returns, withheld = _attributes(record, self._las.point_format)
        kept: NDArray[np.intp] | slice = slice(None)
        dropped = withheld | (classes == NOISE[0]) | (classes == NOISE[1])
        if dropped.any():
            kept = np.flatnonzero(~dropped)
            classes, return_number, n_returns = classes[kept], return_number[kept], n_returns[kept]
        self.n_kept += len(classes)
        columns = np.empty((3, len(classes)))
        if len(classes):
            for axis, name in enumerate("XYZ"):
                # Side by side first: picking from records that lie apart is several times slower.
                self._place(np.ascontiguousarray(record[name])[kept], axis, columns[axis])
        rgb = self._colours(record, kept) if self._coloured else None
        return Cloud(columns.T, classes, return_number, n_returns, self._header.crs, rgb=rgb)

    def _colours(self, record: Record, kept: NDArray[np.intp] | slice) -> Bytes:
        """Colours of 8 bits: the standard has 16, and many write 8 of them into those."""
        raw = np.stack(
            [np.ascontiguousarray(record[name])[kept] for name in ("red", "green", "blue")], axis=1
        )
        if not self._colour_bits and raw.size:
            self._colour_bits = 16 if raw.max() > 255 else 8
        return np.asarray(raw >> 8 if self._colour_bits == 16 else np.minimum(raw, 255)).astype(np.uint8)

    def _place(self, raw: NDArray[np.int32], axis: int, out: Floats) -> None:
        """Whole numbers of the file into coordinates, heights into metres."""
        scale, offset = self._las.scales[axis], self._las.offsets[axis]
        np.multiply(raw, scale, out=out)
        out += offset
        if axis == 2:
            out *= self._header.vertical_unit_m
            return
        self._low[axis] = min(self._low[axis], raw.min() * scale + offset)
        self._high[axis] = max(self._high[axis], raw.max() * scale + offset)

    def doubts(self, bounds: Box) -> tuple[str, ...]:
        found = []
        dropped = self.n_inside - self.n_kept
        if dropped > MUCH_NOISE * self.n_inside:
            found.append(
                f"{dropped} of {self.n_inside} points are noise (classes 7 and 18) or withheld, and left out"
            )
        slack = 2 * self._las.scales[:2] + 1e-9 * np.abs(self._high)
        outside = np.any(self._low < np.array(bounds[:2]) - slack) or np.any(
            self._high > np.array(bounds[2:]) + slack
        )
        if outside:
            found.append(
                f"the header's bounds {box_words(bounds)} do not hold its points, which lie in "
                f"{box_words((*self._low, *self._high))}: the survey may have been cut or written wrongly"
            )
        return tuple(found)


def _decoded(path: Path, records: Iterator[tuple[float, Record]]) -> Iterator[tuple[float, Record]]:
    """The same records; only the decoder's own work is guarded, not that of whoever takes them."""
    while True:
        with _decoding(path):
            found = next(records, None)
        if found is None:
            return
        yield found


def _records_of(
    path: Path,
    las: LasHeader,
    header: Header,
    box: Box | None,
    wanted: laspy.DecompressionSelection,
) -> Iterator[tuple[float, Record]]:
    """Share of the work done, and the raw records, chunk by chunk."""
    if las.copc and box is not None and share_of(box, header.bounds) < _QUERY_SHARE:
        yield from _queried(path, las, box, share_of(box, header.bounds), wanted)
        return
    with _reader(path, wanted) as reader:
        done = 0
        for chunk in reader.chunk_iterator(CHUNK if las.compressed else _PLAIN_CHUNK):
            done += len(chunk)
            yield min(1.0, done / las.n_points), chunk.array
    if done != las.n_points:
        raise InputError(
            f"its header claims {las.n_points} points, only {done} could be read",
            str(path),
            "copy or export the survey again: the file is damaged or was cut short",
        )


@contextmanager
def _reader(
    path: Path, wanted: laspy.DecompressionSelection = _WANTED, *, few: bool = False
) -> Iterator[Any]:
    """A laspy reader of an open stream: it takes a name for an address where it looks like one.

    Where `few` points are wanted one thread takes them one by one: several take whole chunks.
    """
    backend = laspy.LazBackend.Lazrs if few else None
    with (
        opened(path) as stream,
        laspy.open(
            stream, laz_backend=backend, closefd=False, read_evlrs=False, decompression_selection=wanted
        ) as reader,
    ):
        yield reader


def _queried(
    path: Path, las: LasHeader, box: Box, share: float, wanted: laspy.DecompressionSelection
) -> Iterator[tuple[float, Record]]:
    """The points of a COPC in a box, found through its octree, in strips that fit in memory."""
    n_strips = max(1, math.ceil(share * las.n_points / _QUERY_POINTS))
    low, high = _raw_range(box, las, 0)
    # Raw coordinates are whole numbers: an edge halfway between two puts each point in one strip.
    edges = [low - 0.5, *(np.floor(np.linspace(low, high, n_strips + 1)[1:-1]) + 0.5), high + 0.5]
    with opened(path) as stream:
        reader = laspy.CopcReader(stream, close_fd=False, decompression_selection=wanted)
        for number, (left, right) in enumerate(pairwise(edges), 1):
            raw_low = np.array([left, _raw_range(box, las, 1)[0], -_RAW_END])
            raw_high = np.array([right, _raw_range(box, las, 1)[1], _RAW_END])
            # Heights are not limited, for the header may be wrong.
            bounds = laspy.Bounds(
                mins=raw_low * las.scales + las.offsets, maxs=raw_high * las.scales + las.offsets
            )
            found: Record = reader.query(bounds=bounds).array
            yield number / n_strips, found[(found["X"] > left) & (found["X"] < right)]


def _raw_range(box: Box, las: LasHeader, axis: int) -> tuple[float, float]:
    """The box along an axis in the file's whole numbers, its edges included."""
    low = np.ceil((box[axis] - las.offsets[axis]) / las.scales[axis] - 1e-6)
    high = np.floor((box[axis + 2] - las.offsets[axis]) / las.scales[axis] + 1e-6)
    return max(float(low), -_RAW_END), min(float(high), _RAW_END)


def _inside(record: Record, las: LasHeader, box: Box | None) -> NDArray[np.bool_] | None:
    """Which raw records lie in the box, on whole numbers, before any is converted; None for all."""
    if box is None:
        return None
    inside: NDArray[np.bool_] | None = None
    for axis, name in enumerate("XY"):
        low, high = _raw_range(box, las, axis)
        raw = np.ascontiguousarray(record[name])
        within = (raw >= low) & (raw <= high)
        inside = within if inside is None else inside & within
    return None if inside is None or inside.all() else inside


def _attributes(record: Record, point_format: int) -> tuple[Bytes, Bytes, Bytes, NDArray[np.bool_]]:
    """Class, return number, number of returns, withheld (LAS 1.4 R15, tables 8 and 16)."""
    bits = _column(record, "bit_fields")
    if point_format <= 5:
        raw = _column(record, "raw_classification")
        classes, withheld = _LEGACY[raw & 31], (raw & 128) != 0
        return_number, n_returns = bits & 7, (bits >> 3) & 7
    else:
        classes = _column(record, "classification")
        withheld = (_column(record, "classification_flags") & 4) != 0
        return_number, n_returns = bits & 15, bits >> 4
    return classes, np.maximum(return_number, 1), np.maximum(n_returns, 1), withheld


def _count_marks(record: Record, point_format: int, marks: Marks) -> None:
    """Count the marks of some points (LAS 1.4 R15, tables 8, 9, 16 and 17)."""
    if point_format <= 5:
        raw = _column(record, "raw_classification")
        n_of = np.bincount(raw, minlength=256).reshape(8, 32)  # by the three bits of marks, then by class
        by_class, bits = n_of.sum(axis=0), n_of.sum(axis=1)
        marks.legacy_overlap += int(n_of[:4, 12].sum())
        # Class 8 is a key point as much as the bit is; what has both is one.
        key_points = n_of[[2, 3, 6, 7]].sum() + n_of[[0, 1, 4, 5], 8].sum()
        of_bit = (0, int(bits[[1, 3, 5, 7]].sum()), int(key_points), int(bits[4:].sum()))
    else:
        by_class = np.bincount(_column(record, "classification"), minlength=32)
        n_of = np.bincount(_column(record, "classification_flags") & 15, minlength=16)
        synthetic, key_point, withheld, overlap = (
            int(n_of[np.flatnonzero(np.arange(16) & bit)].sum()) for bit in (1, 2, 4, 8)
        )
        of_bit = (overlap, synthetic, key_point, withheld)
    marks.overlap += of_bit[0]
    marks.synthetic += of_bit[1]
    marks.key_point += of_bit[2]
    marks.withheld += of_bit[3]
    marks.noise += int(by_class[list(NOISE)].sum())


def _column(record: Record, name: str) -> Bytes:
    column: Bytes = np.ascontiguousarray(record[name])
    return column


def _check_layers(las: LasHeader, path: Path) -> None:
    """Hold what each chunk claims of its layers against its length: the decoder makes room for all of them.

    Points of formats 6 to 10 are packed in layers: a chunk has its first point as it is, the number of its
    points, the bytes of each layer, and the layers (LASzip, version 3 of these items).
    """
    record = las.records.get(("laszip encoded", 22204), b"")
    if not las.compressed or len(record) < 34 or int.from_bytes(record[:2], "little") != _LAYERED:
        return
    n_items = int.from_bytes(record[32:34], "little")
    if len(record) < 34 + 6 * n_items:
        raise broken(f"it claims to pack {n_items} things of a point, and names fewer", path)
    n_layers = 0
    for kind, n_bytes, _ in struct.iter_unpack("<3H", record[34 : 34 + 6 * n_items]):
        n_layers += n_bytes if kind == _EXTRA_BYTES else _LAYERS.get(kind, 1)
    head = las.record_bytes + 4
    with opened(path) as stream:
        stream.seek(las.points_at)
        with _decoding(path):
            chunks = lazrs.read_chunk_table(stream, lazrs.LazVlr(record))
        place = las.points_at + 8
        for number, (_, n_bytes) in enumerate(chunks, 1):
            stream.seek(place + head)
            sizes = stream.read(4 * n_layers)
            claimed = (
                head + len(sizes) + sum(struct.unpack(f"<{len(sizes) // 4}I", sizes[: len(sizes) // 4 * 4]))
            )
            if len(sizes) < 4 * n_layers or claimed > n_bytes:
                raise broken(
                    f"its chunk {number} claims {claimed} bytes of layers, and has {n_bytes} bytes", path
                )
            place += n_bytes


def _first_points_inside(path: Path, las: LasHeader) -> bool:
    """Whether the header's bounds hold its first points: enough to catch bounds of another place."""
    west, south, east, north = _ends(path, las, 1000)
    slack = 2 * las.scales + 1e-9 * np.abs(las.maxs)
    low, high = las.mins - slack, las.maxs + slack
    return bool(west >= low[0] and south >= low[1] and east <= high[0] and north <= high[1])


def _ends(path: Path, las: LasHeader, n_points: int) -> Box:
    """The bounds of the first points themselves."""
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    with _decoding(path), _reader(path, few=n_points < CHUNK) as reader:
        for start in range(0, n_points, CHUNK):
            record = reader.read_points(min(CHUNK, n_points - start)).array
            for axis, name in enumerate("XY"):
                ends = np.array([record[name].min(), record[name].max()])
                ends = ends * las.scales[axis] + las.offsets[axis]
                low[axis], high[axis] = min(low[axis], ends[0]), max(high[axis], ends[1])
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


@contextmanager
def _decoding(path: Path) -> Iterator[None]:
    """Turn whatever a decoder raises on a damaged file into one message; its panics are no Exceptions.

    They also print a line of their own, from the decoder's threads.
    """
    try:
        with quiet(2, pass_on=True):
            yield
    except (InputError, KeyboardInterrupt, SystemExit, GeneratorExit):
        raise
    except BaseException as error:
        raise InputError(
            "its points cannot be decoded",
            str(path),
            "copy or export the survey again: the file is damaged or was cut short",
        ) from error


def _nothing_inside(path: Path, box: Box | None, header: Header) -> NothingThereError:
    crs = crs_words(header.crs) if header.crs is not None else "no CRS"
    return NothingThereError(
        f"no point of it lies in {box_words(box or header.bounds)}; "
        f"it covers {box_words(header.bounds)} ({crs})",
        str(path),
        "name a survey that covers the site, or check [site] crs and [ground] crs",
    )

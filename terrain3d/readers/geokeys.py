"""GeoTIFF keys, wherever they stand: what CRS they describe, user-defined projections included."""

import struct

import pyproj
from pyproj.exceptions import CRSError
from rasterio.errors import RasterioError

from terrain3d.readers.crs import Said, from_wkt, said_by
from terrain3d.readers.gdal import wkt_of_tiff

#: The three tags (OGC 19-008r4, section 7.1); a LAS file keeps them as records of the same numbers.
DIRECTORY, DOUBLES, TEXT = 34735, 34736, 34737
#: Keys that hold units of length and angle, and the value for one spelt out elsewhere.
_UNIT_KEYS, _USER_DEFINED = (2052, 2054, 2060, 3076, 4099), 32767
_SHORT, _LONG, _DOUBLE, _ASCII = 3, 4, 12, 2


def said_by_keys(records: dict[int, bytes], source: str) -> Said:
    """What a set of GeoTIFF keys says.

    The keys are put into the smallest TIFF there is and GDAL decodes them: it knows the projections
    that are spelt out parameter by parameter, which a look at the EPSG codes alone would miss.

    Parameters
    ----------
    records : dict
        Contents of the three tags, by tag number; the directory at least.
    source : str
        Where they stood, in plain words.

    Examples
    --------
    >>> keys = struct.pack("<12H", 1, 1, 0, 2, 1024, 0, 1, 1, 3072, 0, 1, 32631)
    >>> said_by_keys({DIRECTORY: keys}, "GeoTIFF keys").crs.name
    'WGS 84 / UTM zone 31N'
    """
    directory = _tidied(records.get(DIRECTORY, b""))
    if directory is None:
        return Said()
    found = _decoded({**records, DIRECTORY: directory})
    if found is None:
        return Said(doubts=(f"the CRS in its {source} cannot be understood",))
    return said_by(found, source)


def _tidied(directory: bytes) -> bytes | None:
    """The key directory in order and without empty entries, which GDAL would refuse as a whole."""
    words = struct.unpack(f"<{len(directory) // 2}H", directory[: len(directory) // 2 * 2])
    if len(words) < 8:
        return None
    entries = [words[i : i + 4] for i in range(4, len(words) - 3, 4)][: words[3]]
    entries = sorted({entry[0]: entry for entry in entries if _is_sound(entry)}.values())
    flat = [word for entry in entries for word in entry]
    return struct.pack(f"<{4 + len(flat)}H", *words[:3], len(entries), *flat)


def _is_sound(entry: tuple[int, ...]) -> bool:
    """Not empty, and where it names a unit, that is a code of one and not of something else."""
    key, value = entry[0], entry[3]
    return key != 0 and (key not in _UNIT_KEYS or value < 10_000 or value == _USER_DEFINED)


def _decoded(records: dict[int, bytes]) -> pyproj.CRS | None:
    try:
        wkt = wkt_of_tiff(_tiny_tiff(records))
        return from_wkt(wkt) if wkt else None
    except (RasterioError, CRSError, ValueError):
        return None


def _tiny_tiff(records: dict[int, bytes]) -> bytes:
    """A TIFF of one black pixel with these tags (TIFF 6.0: header, one directory, then the data)."""
    short, double = struct.Struct("<H").pack, struct.Struct("<d").pack
    tags: dict[int, tuple[int, int, bytes]] = {
        256: (_SHORT, 1, short(1)),
        257: (_SHORT, 1, short(1)),
        258: (_SHORT, 1, short(8)),
        259: (_SHORT, 1, short(1)),
        262: (_SHORT, 1, short(1)),
        273: (_LONG, 1, b""),
        277: (_SHORT, 1, short(1)),
        278: (_SHORT, 1, short(1)),
        279: (_LONG, 1, struct.pack("<I", 1)),
        33550: (_DOUBLE, 3, double(1) * 2 + double(0)),
        33922: (_DOUBLE, 6, double(0) * 6),
    }
    for tag, (kind, size) in {DIRECTORY: (_SHORT, 2), DOUBLES: (_DOUBLE, 8), TEXT: (_ASCII, 1)}.items():
        content = records.get(tag, b"")
        if content:
            tags[tag] = (kind, len(content) // size, content[: len(content) // size * size])
    data_at = 8 + 2 + 12 * len(tags) + 4
    tags[273] = (_LONG, 1, struct.pack("<I", data_at))
    entries, data = b"", b"\0\0"
    for tag in sorted(tags):
        kind, count, content = tags[tag]
        value = content.ljust(4, b"\0")
        if len(content) > 4:
            value = struct.pack("<I", data_at + len(data))
            data += content + b"\0" * (len(content) % 2)
        entries += struct.pack("<HHI", tag, kind, count) + value
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4) + data

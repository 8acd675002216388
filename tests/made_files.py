"""Small survey files that tests write for themselves."""

import struct
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import pyproj
import rasterio
from affine import Affine
from numpy.typing import ArrayLike

UTM31 = "EPSG:32631"


def write_las(
    path: Path,
    xyz: ArrayLike,
    *,
    classes: ArrayLike = 2,
    crs: str | None = UTM31,
    point_format: int = 6,
    version: str = "1.4",
    **fields: ArrayLike,
) -> Path:
    """A LAS (or, by its name, LAZ) file in steps of a millimetre."""
    points = np.atleast_2d(np.asarray(xyz, float))
    header = laspy.LasHeader(point_format=point_format, version=version)
    header.scales = np.full(3, 0.001)
    header.offsets = np.floor(points.min(axis=0)) if len(points) else np.zeros(3)
    if crs is not None:
        header.add_crs(pyproj.CRS(crs))
    las = laspy.LasData(header)
    if points.size:
        las.x, las.y, las.z = points.T
        las.classification = np.broadcast_to(np.asarray(classes, np.uint8), len(points)).copy()
        for name, values in fields.items():
            las[name] = np.broadcast_to(values, len(points)).copy()
    las.write(path)
    return path


def write_tif(
    path: Path, z: ArrayLike, transform: Affine | None, crs: str | None = UTM31, **options: Any
) -> Path:
    """A GeoTIFF of one band, heights as 32-bit floats unless `dtype` says otherwise."""
    cells = np.asarray(z)
    settings = {"dtype": "float32", "count": 1} | options
    unit = settings.pop("unit", None)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=cells.shape[-2],
        width=cells.shape[-1],
        transform=transform,
        crs=crs,
        **settings,
    ) as dataset:
        dataset.write(cells.astype(settings["dtype"]).reshape(settings["count"], *cells.shape[-2:]))
        if unit is not None:
            dataset.units = (unit,)
    return path


def slope_points(n: int = 20, spacing: float = 1.0, x0: float = 500_000.0, y0: float = 6_000_000.0) -> Any:
    """(n * n, 3) points on a plane that rises 10 % eastwards, in rows from the south-west corner."""
    x, y = np.meshgrid(np.arange(n) * spacing, np.arange(n) * spacing)
    return np.column_stack([x.ravel() + x0, y.ravel() + y0, 100 + 0.1 * x.ravel()])


def write_e57(
    path: Path,
    *scans: dict[str, Any],
    metadata: str = "",
) -> Path:
    """An E57 of scans, each a table of columns, posed by `rotation` (w, x, y, z) and `translation`, if any;
    `times` are its first and last second, in GPS time.

    Coordinates are doubles, whatever else whole numbers from 0 to 255.
    """
    from pye57 import libe57

    image = libe57.ImageFile(str(path), "w")
    image.extensionsAdd("", libe57.E57_V1_0_URI)
    image.extensionsAdd("las", "http://example.org/las")
    root = image.root()
    root.set("formatName", libe57.StringNode(image, "ASTM E57 3D Imaging Data File"))
    root.set("guid", libe57.StringNode(image, "{a}"))
    root.set("versionMajor", libe57.IntegerNode(image, 1))
    root.set("versionMinor", libe57.IntegerNode(image, 0))
    root.set("coordinateMetadata", libe57.StringNode(image, metadata))
    data = libe57.VectorNode(image, True)
    root.set("data3D", data)
    for number, scan in enumerate(scans):
        apart = ("rotation", "translation", "times")
        columns = {name: np.asarray(values) for name, values in scan.items() if name not in apart}
        node, prototype = libe57.StructureNode(image), libe57.StructureNode(image)
        node.set("guid", libe57.StringNode(image, f"{{{number}}}"))
        if "translation" in scan:
            node.set("pose", pose := libe57.StructureNode(image))
            for name, axes in (("rotation", "wxyz"), ("translation", "xyz")):
                pose.set(name, part := libe57.StructureNode(image))
                for axis, value in zip(axes, scan[name], strict=True):
                    part.set(axis, libe57.FloatNode(image, float(value)))
        for name, seconds in zip(("acquisitionStart", "acquisitionEnd"), scan.get("times", ()), strict=False):
            node.set(name, stamp := libe57.StructureNode(image))
            stamp.set("dateTimeValue", libe57.FloatNode(image, float(seconds)))
        buffers = libe57.VectorSourceDestBuffer()
        for name, values in columns.items():
            is_whole = values.dtype.kind in "iub"
            prototype.set(
                name, libe57.IntegerNode(image, 0, 0, 255) if is_whole else libe57.FloatNode(image, 0.0)
            )
            columns[name] = np.ascontiguousarray(values, np.uint8 if is_whole else np.float64)
            buffers.append(libe57.SourceDestBuffer(image, name, columns[name], len(values), True, True))
        points = libe57.CompressedVectorNode(image, prototype, libe57.VectorNode(image, True))
        node.set("points", points)
        data.append(node)
        writer = points.writer(buffers)
        writer.write(len(values))
        writer.close()
    image.close()
    return path


def e57_with_xml(path: Path, old: bytes, new: bytes) -> Path:
    """An E57 whose XML, the last thing in it, is changed; its lengths and the checksums of its pages fit."""
    content = path.read_bytes()
    stream = b"".join(content[k : k + 1020] for k in range(0, len(content), 1024))
    xml_at, length = struct.unpack_from("<QQ", content, 24)
    start = xml_at // 1024 * 1020 + xml_at % 1024
    xml = stream[start : start + length]
    assert old in xml
    xml = xml.replace(old, new)
    stream = stream[:start] + xml
    stream += bytes(-len(stream) % 1020)
    n_pages = len(stream) // 1020
    stream = stream[:16] + struct.pack("<QQQ", 1024 * n_pages, xml_at, len(xml)) + stream[40:]
    pages = [stream[k : k + 1020] for k in range(0, len(stream), 1020)]
    path.write_bytes(b"".join(page + struct.pack(">I", crc32c(page)) for page in pages))
    return path


def crc32c(content: bytes) -> int:
    """Castagnoli's checksum (RFC 3720, appendix B.4).

    >>> hex(crc32c(bytes(32)))
    '0x8a9136aa'
    """
    crc = 0xFFFFFFFF
    for byte in content:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF

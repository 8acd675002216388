"""One door to every survey file: look at what it is, then hand it to the reader of its format."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import numpy as np

from terrain3d.apart import read_apart
from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.dxf import is_dxf
from terrain3d.readers.source import (
    FARTHEST,
    HIGHEST_M,
    Box,
    Cloud,
    Gathered,
    Header,
    Marks,
    Progress,
    Raster,
    Surface,
    likely_points,
)
from terrain3d.site import GroundSource
from terrain3d.wording import fit

# The readers are imported inside the functions: a LAS file needs neither GDAL nor a mesh library.

#: What each extension promises; .xml, which LandXML has as a rule, promises nothing.
EXTENSIONS = {
    ".las": "las",
    ".laz": "las",
    ".tif": "tif",
    ".tiff": "tif",
    ".asc": "asc",
    ".xyz": "text",
    ".csv": "text",
    ".txt": "text",
    ".ply": "ply",
    ".obj": "obj",
    ".stl": "stl",
    ".glb": "glb",
    ".landxml": "landxml",
    ".dxf": "dxf",
    ".e57": "e57",
}
_NAMES = {
    "las": "LAS or LAZ points",
    "tif": "a TIFF grid",
    "asc": "an ESRI ASCII grid",
    "text": "text",
    "ply": "a PLY mesh",
    "obj": "an OBJ mesh",
    "stl": "an STL mesh",
    "glb": "a GLB mesh",
    "landxml": "LandXML",
    "dxf": "a DXF drawing",
    "e57": "an E57 scan",
}
#: The modules that read with a compiled library, or make far more of a file than it is long, by the formats
#: that they read in a process of their own; beside these LAS, where it is packed.
_APART = {
    "tif": "grids",
    "asc": "grids",
    "e57": "e57",
    **dict.fromkeys(("ply", "obj", "stl", "glb"), "meshes"),
}
#: Of LAS the format of points, with its highest bits where they are packed (LASzip).
_FORMAT_AT, _PACKED = 104, 63
#: Formats of which [ground] layer names a part.
_HAVE_LAYERS = ("landxml", "dxf")
#: First bytes that tell a format.
_MAGIC = {
    b"LASF": "las",
    b"II*\0": "tif",
    b"MM\0*": "tif",
    b"II+\0": "tif",
    b"MM\0+": "tif",
    b"glTF": "glb",
    b"ply\n": "ply",
    b"ply\r": "ply",
    b"ASTM": "e57",
}
_JUDGE_IT = "a site file goes to: terrain3d compare FILE; for the survey it names, give that file"
_DRAWN = "its shapes go into a site file, such as [[protect]] file = NAME; name the survey itself here"
#: First bytes of files that people name by mistake, and what to do.
_STRANGERS = {
    b"PK\x03\x04": ("a ZIP archive", "unpack it and name the survey inside"),
    b"\x1f\x8b": ("a gzip archive", "unpack it and name the survey inside"),
    b"%PDF": ("a PDF", "name the survey itself"),
    b"\x89PNG": ("a picture", "name the survey itself"),
    b"\xff\xd8\xff": ("a picture", "name the survey itself"),
    b"SQLite format 3": ("a database or GeoPackage", "export the survey as GeoTIFF, LAZ or XYZ"),
    # Its file code, 9994 (ESRI white paper, July 1998, table 1).
    b"\x00\x00\x27\x0a": ("a shapefile, drawn shapes", _DRAWN),
    b"\x89HDF": ("an HDF5 file", "convert it to GeoTIFF"),
    b"\xff\xfe": ("text in UTF-16", "save it as plain text in UTF-8"),
    b"\xfe\xff": ("text in UTF-16", "save it as plain text in UTF-8"),
}
#: Text that is no list of points, by its first line that is neither blank nor a comment, and what to do. Each
#: is looked for at one place of one line: no pattern that could try the lines in many ways.
_STRANGE_TEXT = {
    r"\[\[?[\w.\" -]+\]\]?\s*(#|$)": ("TOML, such as a site file", _JUDGE_IT),
    r"[\[{]": ("JSON", "name the survey itself"),
    r"<": (
        "XML that is no LandXML, or a page of the web",
        "name the survey itself; shapes go into a site file",
    ),
}
_IS_GEOJSON = re.compile(r'"type"\s*:\s*"(Feature|Topology|Point|Multi|LineString|Polygon|Geometry)')


#: The root of a LandXML document.
_BEGINS_LANDXML = re.compile(rb"<(\w+:)?LandXML[\s>]")
#: Control characters that no text has.
_IS_BINARY = re.compile(rb"[\x00-\x08\x0e-\x19\x1b-\x1f]")


def read_header(path: Path, ground: GroundSource) -> Header:
    """What is known of a survey of one file before its points are read; see `read_headers`."""
    return read_headers([path], ground)[0]


def read_headers(
    paths: Sequence[Path], ground: GroundSource, told: Progress | None = None
) -> tuple[Header, ...]:
    """What is known of the files of a survey before their points are read.

    Parameters
    ----------
    paths : sequence of Path
    ground : GroundSource
        Its `crs` and `vertical_unit` go before what the files say.
    told : callable, optional
        Told the share of the files that is looked at.

    Raises
    ------
    InputError
        Where one is none that can be read, or says what cannot be.
    """
    tell = told or (lambda _share: None)
    # One process for all of them, with all that reads them: thousands of tiles would wait for as many.
    are_apart = [_is_read_apart(path) for path in paths]
    if any(are_apart):
        return tuple(read_apart(_headers, paths, paths, ground, progress=tell))
    return tuple(_headers(paths, ground, tell))


def _is_read_apart(path: Path) -> bool:
    """Whether a file is read in a process of its own; what reads it is loaded, so that it is there too."""
    form, _ = recognise(path)
    if form == "las":
        with opened(path) as stream:
            stream.seek(_FORMAT_AT)
            is_apart = stream.read(1) > bytes([_PACKED])
    else:
        is_apart = form in _APART
    if is_apart:
        import_module(f"terrain3d.readers.{_APART.get(form, 'points')}")
    return is_apart


def _headers(paths: Sequence[Path], ground: GroundSource, progress: Progress) -> list[Header]:
    found = []
    for number, path in enumerate(paths, 1):
        found.append(_header(path, ground))
        progress(number / len(paths))
    return found


def _header(path: Path, ground: GroundSource) -> Header:
    form, doubts = recognise(path)
    if ground.layer is not None and form not in _HAVE_LAYERS:
        raise InputError(
            f"it is {_NAMES[form]}, which has no layers",
            str(path),
            "leave out layer: it goes with DXF and LandXML",
        )
    if form == "las":
        from terrain3d.readers.points import las_header

        header = las_header(path, ground)
    elif form == "e57":
        from terrain3d.readers.e57 import e57_header

        header = e57_header(path, ground)
    elif form == "text":
        from terrain3d.readers.textpoints import text_header

        header = text_header(path, ground)
    elif form in ("tif", "asc"):
        from terrain3d.readers.grids import grid_header

        header = grid_header(path, ground, form)
    elif form == "landxml":
        from terrain3d.readers.landxml import landxml_header

        header = landxml_header(path, ground)
    elif form == "dxf":
        from terrain3d.readers.dxfground import dxf_header

        header = dxf_header(path, ground)
    else:
        from terrain3d.readers.meshes import mesh_header

        header = mesh_header(path, ground, form)
    # What is no number is within no bounds either.
    if not all(abs(edge) <= FARTHEST for edge in header.bounds):
        raise InputError(
            f"its coordinates reach to {max(header.bounds, key=_far):.3g}, which is no place in any CRS",
            str(path),
            "copy or export the survey again: it is damaged, or its scales and offsets are wrong",
        )
    return replace(header, doubts=tuple(map(fit, doubts + header.doubts)))


def _refuse_no_heights(found: Cloud | Raster | Surface, path: Path) -> None:
    """Refuse heights that none has: they would count as ground, and overflow on the way."""
    if isinstance(found, Raster):
        z = found.z
    else:
        z = (found.xyz if isinstance(found, Cloud) else found.vertices)[:, 2]
    # The larger of a number and what is none is that number.
    high, low = (float(end.reduce(z, axis=None, initial=0.0)) for end in (np.fmax, np.fmin))
    if max(high, -low) > HIGHEST_M:
        raise InputError(
            f"its heights reach to {high if high > -low else low:.3g} m, which is no height on earth",
            str(path),
            "take out what holds it, or say in the file which number stands for no data",
        )


def _far(edge: float) -> float:
    return abs(edge) if math.isfinite(edge) else math.inf


def read_survey(
    path: Path, header: Header, box: Box | None, progress: Progress | None = None
) -> Cloud | Raster | Surface:
    """Read the part of a survey inside a box.

    Parameters
    ----------
    path : Path
    header : Header
        From `read_header` of the same file.
    box : (west, south, east, north) or None
        In the units of `header.crs`; None reads all of it.
    progress : callable, optional
        Told the share of the work that is done.

    Raises
    ------
    InputError
        Where it cannot be decoded, or nothing of it lies in the box.
    """
    if not _is_read_apart(path):
        found = _survey(path, header, box, progress)
        _refuse_no_heights(found, path)
        return found
    if header.kind == "cloud":
        # Put together here: they come chunk by chunk.
        gathered = Gathered(likely_points(path, header, box))
        doubts = pass_points(path, header, gathered.take, progress, box, coloured=True)
        return gathered.cloud(header.crs, doubts)
    apart: Cloud | Raster | Surface = read_apart(_survey_apart, [path], path, header, box, progress=progress)
    return replace(apart, crs=header.crs)


# A CRS takes longer to hand over than a million points, and whoever asks has it.


def _survey_apart(
    path: Path, header: Header, box: Box | None, progress: Progress | None = None
) -> Cloud | Raster | Surface:
    found = _survey(path, header, box, progress)
    _refuse_no_heights(found, path)
    return replace(found, crs=None)


def _survey(
    path: Path, header: Header, box: Box | None, progress: Progress | None
) -> Cloud | Raster | Surface:
    form, _ = recognise(path)
    if form == "las":
        from terrain3d.readers.points import read_las

        return read_las(path, header, box, progress)
    if form == "e57":
        from terrain3d.readers.e57 import read_e57

        return read_e57(path, header, box, progress)
    if form == "text":
        from terrain3d.readers.textpoints import read_text

        return read_text(path, header, box, progress)
    if form in ("tif", "asc"):
        from terrain3d.readers.grids import read_grid

        return read_grid(path, header, form, box, progress)
    if form == "landxml":
        from terrain3d.readers.landxml import read_landxml

        return read_landxml(path, header, box, progress)
    if form == "dxf":
        from terrain3d.readers.dxfground import read_dxf_ground

        return read_dxf_ground(path, header, box, progress)
    from terrain3d.readers.meshes import read_mesh

    return read_mesh(path, header, form, box, progress)


def pass_points(
    path: Path,
    header: Header,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
    box: Box | None = None,
    marks: Marks | None = None,
    coloured: bool = False,
) -> tuple[str, ...]:
    """Hand on the points of a cloud, chunk by chunk, keeping none.

    Parameters
    ----------
    path : Path
    header : Header
        From `read_header` of the same file, of the kind 'cloud'.
    take : callable
        Given some points at a time.
    progress : callable, optional
        Told the share of the work that is done.
    box : (west, south, east, north), optional
        In the units of `header.crs`; without it all of them.
    marks : Marks, optional
        Counted in, where the format has them.
    coloured : bool
        Whether colours are read, where the format has them.

    Returns
    -------
    tuple of str
        The doubts of the whole.

    Raises
    ------
    InputError
        As `read_survey`.
    """

    def checked(cloud: Cloud) -> None:
        _refuse_no_heights(cloud, path)
        take(cloud)

    if not _is_read_apart(path):
        return _passed(path, header, checked, progress, box, marks, coloured)
    doubts: tuple[str, ...]
    doubts, counted = read_apart(
        _passed_apart,
        [path],
        *(path, header, box, None if marks is None else Marks(), coloured),
        take=lambda cloud: checked(replace(cloud, crs=header.crs)),
        progress=progress,
    )
    if marks is not None:
        marks.add(counted)
    return doubts


def _passed_apart(
    path: Path,
    header: Header,
    box: Box | None,
    marks: Marks | None,
    coloured: bool,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
) -> tuple[tuple[str, ...], Marks | None]:
    def hand_on(cloud: Cloud) -> None:
        take(replace(cloud, crs=None))

    return _passed(path, header, hand_on, progress, box, marks, coloured), marks


def _passed(
    path: Path,
    header: Header,
    take: Callable[[Cloud], None],
    progress: Progress | None,
    box: Box | None,
    marks: Marks | None,
    coloured: bool,
) -> tuple[str, ...]:
    form, _ = recognise(path)
    if form == "las":
        from terrain3d.readers.points import pass_las

        return pass_las(path, header, box, take, progress, marks, coloured)
    if form == "e57":
        from terrain3d.readers.e57 import pass_e57

        return pass_e57(path, header, box, take, progress, marks, coloured)
    from terrain3d.readers.textpoints import pass_text

    pass_text(path, header, box, take, progress)
    return header.doubts


def pass_tops(path: Path, header: Header, box: Box, wide: int, take: Callable[[Cloud], None]) -> None:
    """Hand on an elevation grid as points: of each square of cells, so many wide, its middle and its top.

    Parameters
    ----------
    path : Path
    header : Header
        From `read_header` of the same file, of the kind 'raster'.
    box : (west, south, east, north)
        In the units of `header.crs`.
    wide : int
        1 for every cell.
    take : callable
        Given some points at a time.
    """

    def given(cloud: Cloud) -> None:
        _refuse_no_heights(cloud, path)
        take(replace(cloud, crs=header.crs))

    if _is_read_apart(path):
        read_apart(_tops, [path], path, replace(header, crs=None), box, wide, take=given)
    else:
        _tops(path, header, box, wide, given)


def _tops(path: Path, header: Header, box: Box, wide: int, take: Callable[[Cloud], None]) -> None:
    from terrain3d.readers.grids import pass_grid

    pass_grid(path, header, recognise(path)[0], box, wide, take)


def recognise(path: Path) -> tuple[str, tuple[str, ...]]:
    """The format of a file by its content, and a doubt where its name promises another one."""
    with opened(path) as stream:
        start = stream.read(4096)
    if not start.strip(b"\0 \t\r\n"):
        raise InputError("it is empty", str(path), "copy or export the survey again")
    promised = EXTENSIONS.get(path.suffix.lower())
    form = _form(start, promised, path.stat().st_size)
    if form is None:
        raise _stranger(start, path)
    if form == "text":
        _refuse_strange_text(start, path)
    if promised == form or promised is None:
        return form, ()
    return form, (f"its name ends in {path.suffix}, but it is {_NAMES[form]} and was read as such",)


def _form(start: bytes, promised: str | None, size: int) -> str | None:
    if start[:4] in _MAGIC:
        return _MAGIC[start[:4]]
    # A binary STL is known by its length alone: 84 bytes and 50 a triangle.
    if len(start) >= 84 and size == 84 + 50 * int.from_bytes(start[80:84], "little"):
        return "stl"
    if is_dxf(start):
        return "dxf"
    if any(start.startswith(mark) for mark in _STRANGERS):
        return None
    if _IS_BINARY.search(start):
        return "stl" if promised == "stl" else None
    if _BEGINS_LANDXML.search(start):
        return "landxml"
    words = start.decode("latin-1").lower().split()
    if words[0] in ("ncols", "nrows"):
        return "asc"
    if words[0] == "solid" and "facet" in words:
        return "stl"
    lines = start.decode("latin-1").splitlines()
    if any(line.startswith(("v ", "o ", "g ", "mtllib ", "vn ", "vt ")) for line in lines):
        return "obj"
    return promised if promised in ("obj", "stl", "asc") else "text"


def _stranger(start: bytes, path: Path) -> InputError:
    for mark, (name, mend) in _STRANGERS.items():
        if start.startswith(mark):
            return InputError(f"it is {name}, not a survey that can be read", str(path), mend)
    if start.startswith(b"AC10"):
        # In text this may be the name of a point.
        return InputError("it is a DWG drawing, not a survey that can be read", str(path), "save it as DXF")
    return InputError(
        "it is no survey: it starts as no format known here does",
        str(path),
        f"name a survey as {', '.join(EXTENSIONS)}",
    )


def _refuse_strange_text(start: bytes, path: Path) -> None:
    text = start.decode("utf-8", "replace").removeprefix("\ufeff")
    lines = (line.strip() for line in text.splitlines())
    line = next((line for line in lines if line and not line.startswith("#")), "")
    for mark, (name, mend) in _STRANGE_TEXT.items():
        if re.match(mark, line):
            if name == "JSON" and _IS_GEOJSON.search(text):
                name, mend = "GeoJSON, drawn shapes", _DRAWN
            elif "<kml" in text:
                name, mend = "KML, drawn shapes", _DRAWN
            raise InputError(f"it is {name}, not a survey that can be read", str(path), mend)

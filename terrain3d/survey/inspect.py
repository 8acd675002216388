"""Look a survey over before it is used: what it is, what it is worth, and what to doubt."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from terrain3d.frame import site_frame
from terrain3d.readers.crs import crs_kind, has_name, metres_per_unit, unit_words
from terrain3d.readers.source import Box, Cloud, Header, Marks, Progress, Raster, Surface
from terrain3d.readers.surveys import recognise
from terrain3d.readers.tiles import Survey, pass_tiles, read_headers, read_tiles
from terrain3d.site import GroundSource
from terrain3d.survey.dates import days
from terrain3d.survey.gaps import spacing as spacing_of
from terrain3d.survey.outliers import flat_doubt, flat_level, off_neighbours, stands_over
from terrain3d.survey.quality import FEWEST, HOLE_LIMITS_M, Coverage, Roughness, ends
from terrain3d.survey.tally import Indices, Tally
from terrain3d.terrain import Dated
from terrain3d.units import Floats
from terrain3d.wording import coordinate, counted, fit, listed, plain

#: ASPRS classes (LAS 1.4 R15, table 17); 8, 12 and 23 to 63 are reserved, 64 to 255 the user's.
CLASS_NAMES = {
    0: "never classified",
    1: "unclassified",
    2: "ground",
    3: "low vegetation",
    4: "medium vegetation",
    5: "high vegetation",
    6: "building",
    7: "low point (noise)",
    9: "water",
    10: "rail",
    11: "road surface",
    13: "wire, guard",
    14: "wire, conductor",
    15: "transmission tower",
    16: "wire-structure connector",
    17: "bridge deck",
    18: "high noise",
    19: "overhead structure",
    20: "ignored ground",
    21: "snow",
    22: "temporal exclusion",
}
#: Of point formats 0 to 5, which know such points by a class and not by a mark (LAS 1.4 R15, table 9).
_OVERLAP_CLASS, _OVERLAP_NAME = 12, "in an overlap, its class not said"
#: What the marks of points are called (LAS 1.4 R15, tables 9 and 16).
_MARK_NAMES = {
    "synthetic": "synthetic (made, not measured)",
    "key_point": "key points of a model",
    "overlap": "in an overlap of flight lines",
    "withheld": "withheld, and left out",
    "noise": "noise, and left out",
}
#: Share of the points above which a mark is a doubt.
_MANY_MARKED = 0.02
#: Share of the work that is done when headers are read, when the survey is, and when its holes are mapped.
_LOOKED, _READING, _MAPPED = 0.05, 0.7, 0.9
#: Ground points farther apart than this say little of the banks, kerbs and walls that this work turns on,
#: and more of the area than this without one near leaves too much to guess (common practice, no source).
TOO_FAR_APART_M, MUCH_UNSEEN = 2.0, 0.1
#: A map projection makes a grid of 2 m one of 2.0008 m on the ground.
_STRETCH = 1.05
#: Cell sizes to choose from, metres; one ground point a cell or more (common practice, no source).
CELL_SIZES_M = (0.25, 0.5, 1.0, 2.0, 5.0)


@dataclass(frozen=True)
class Report:
    """What `inspect` found.

    Parameters
    ----------
    path, form, kind : str
        The file or the folder, its format in plain words, and 'cloud', 'raster' or 'mesh'.
    crs, crs_from : str
        The horizontal CRS and who said so; '' where nobody does.
    horizontal_unit, vertical_unit, vertical_unit_from : str
        In plain words; '' where nobody says.
    bounds : (west, south, east, north)
        In the coordinates of the file.
    width_m, depth_m : float
        Extent east-west and north-south, metres on the ground.
    z_m : (low, high)
    n_points : int
        Points read, cells, or vertices.
    classes : tuple of (class, name, count)
    marks : tuple of (mark, count)
        Of the points of a cloud those that their surveyor marked, the ones left out too.
    n_ground : int
        Points on the ground; cells with data; triangles.
    density_per_m2, spacing_m : float
        Of the ground points where there are any, as verdicts reckon them (`survey.gaps.spacing`).
    no_data_share : float
        Of a raster's cells.
    coverage, roughness : or None where they do not apply
    cell_m : float
        A cell size that the survey can carry.
    dated : Dated or None
        When it was flown, or else when its file was written.
    error_m, error_from : float or None, str
        RMSE of its heights where its file states it, and where.
    doubts : tuple of str
    """

    path: str
    form: str
    kind: str
    crs: str
    crs_from: str
    horizontal_unit: str
    vertical_unit: str
    vertical_unit_from: str
    bounds: Box
    width_m: float
    depth_m: float
    z_m: tuple[float, float]
    n_points: int
    classes: tuple[tuple[int, str, int], ...]
    marks: tuple[tuple[str, int], ...]
    n_ground: int
    density_per_m2: float
    spacing_m: float
    no_data_share: float
    coverage: Coverage | None
    roughness: Roughness | None
    cell_m: float
    dated: Dated | None
    error_m: float | None
    error_from: str
    doubts: tuple[str, ...]


def inspect(given: Path | Sequence[Path], ground: GroundSource, progress: Progress | None = None) -> Report:
    """Read a whole survey and report on it.

    Parameters
    ----------
    given : Path, or sequence of Path
        A file, a folder of tiles, a pattern of their names, or several of these.
    ground : GroundSource
        Its `crs` and `vertical_unit` go before what the file says.
    progress : callable, optional
        Told the share of the work that is done.

    Raises
    ------
    InputError
        As `read_headers` and `read_tiles` do.
    """
    tell = progress or (lambda _: None)
    paths = [given] if isinstance(given, Path) else given
    files = read_headers([str(path) for path in paths], ground, told=lambda share: tell(_LOOKED * share))
    scale = _metres_per_unit(files.header)
    if files.header.kind == "cloud":
        report = _of_points(files, scale, lambda share: tell(_LOOKED + (1 - _LOOKED) * share))
    else:
        survey = read_tiles(files, None, lambda share: tell(_LOOKED + (_READING - _LOOKED) * share))
        assert not isinstance(survey, Cloud)
        if isinstance(survey, Raster):
            report = _of_raster(files, survey, scale)
        else:
            report = _of_mesh(files, survey, scale)
    tell(1.0)
    return report


def report_lines(report: Report) -> list[str]:
    """The report in plain words, a line each.

    Returns
    -------
    list of str
        For a terminal; nothing in them is a number that `report` lacks.
    """
    lines = [
        f"File             {report.path}",
        f"Format           {report.form}",
        f"CRS              {report.crs or 'none; x and y are taken as local metres'} "
        f"{_source(report.crs_from)}",
        f"Units            x and y in {report.horizontal_unit}; heights in {report.vertical_unit} "
        f"{_source(report.vertical_unit_from)}",
        f"Coordinates      x {_range(report, 0)}, y {_range(report, 1)}"
        + (" (x is longitude, y is latitude)" if report.horizontal_unit == "degrees" else ""),
        f"Extent           {report.width_m:.1f} m east-west, {report.depth_m:.1f} m north-south, "
        f"heights {report.z_m[0]:.2f} to {report.z_m[1]:.2f} m",
    ]
    lines += _date_lines(report.dated)
    if report.error_m is not None:
        lines.append(
            f"Stated error     {plain(report.error_m)} m of its heights (said by: {report.error_from})"
        )
    lines += {"cloud": _cloud_lines, "raster": _raster_lines, "mesh": _mesh_lines}[report.kind](report)
    lines.append(
        f"Cell size to use {report.cell_m:g} m"
        + (", yet no cell makes up for such gaps: see the doubts" if _too_far_apart(report.spacing_m) else "")
    )
    lines += [f"Doubt            {doubt}" for doubt in report.doubts] or ["Doubts           none"]
    return lines


def _date_lines(dated: Dated | None) -> list[str]:
    if dated is None:
        return ["Date             not said: [ground] flown says it"]
    if dated.is_flown:
        return [f"Flown            {days(dated)} (said by: {dated.said_by})"]
    return [
        f"Date             its file was written {days(dated)} (said by: {dated.said_by}); when it was "
        "measured is not said: [ground] flown says it"
    ]


def _source(who: str) -> str:
    return f"(said by: {who})" if who else "(not stated)"


def _range(report: Report, axis: int) -> str:
    """From and to, in the file's own coordinates: what shapes are drawn in."""
    return f"{coordinate(report.bounds[axis])} to {coordinate(report.bounds[axis + 2])}"


def _density(per_m2: float) -> str:
    """How dense points lie where there are any.

    >>> _density(8.0), _density(0.0), _density(float("inf"))
    ('8 a square metre', 'too few to tell how dense', 'many upon each other')
    """
    if per_m2 == 0:
        return "too few to tell how dense"
    if per_m2 == float("inf"):
        return "many upon each other"
    return f"{plain(per_m2)} a square metre" if per_m2 >= 0.1 else f"one in {plain(1 / per_m2)} square metres"


def _cloud_lines(report: Report) -> Iterator[str]:
    yield f"Points           {report.n_points}, without noise and withheld ones"
    for mark, count in report.marks:
        yield f"  marked         {count} {_MARK_NAMES[mark]}"
    for number, name, count in report.classes:
        yield f"  class {number:3d}      {count} {name} ({count / report.n_points:.1%})"
    yield (
        f"Ground points    {report.n_ground}; where there are any {_density(report.density_per_m2)}, "
        f"typically {report.spacing_m:.2f} m apart"
    )
    if report.coverage is not None:
        yield f"Area             {report.coverage.area_m2:.0f} m2"
        for holes in report.coverage.holes:
            if holes.n == 0:
                yield f"Holes            none: a ground point lies within {holes.limit_m:g} m everywhere"
                break
            yield (
                f"Holes            {holes.share:.1%} of the area has no ground point within "
                f"{holes.limit_m:g} m: {counted(holes.n, 'place')}, the largest {holes.largest_m2:.1f} m2"
            )
    if report.roughness is None:
        why = "too few ground points" if report.n_ground < FEWEST else "they lie on one level, or on lines"
        yield f"Vertical error   cannot be told of its ground points: {why}"
        return
    yield (
        f"Vertical error   ground points lie {report.roughness.median_m:.3f} m (median) from the plane of "
        f"their neighbours, which stands for an RMSE of about {report.roughness.sigma_m:.3f} m, "
        f"{report.roughness.within_95_m:.3f} m at 95 % (1.96 x RMSE)"
    )
    yield (
        "                 rough ground counts as error in this; an error that shifts or tilts the whole "
        "survey cannot be seen from inside the file: check it against points measured on site"
    )


def _raster_lines(report: Report) -> Iterator[str]:
    yield f"Cells            {report.n_points}, {plain(report.spacing_m)} m wide"
    yield f"No data          {report.no_data_share:.1%} of the cells"
    yield (
        "Vertical error   cannot be seen from a grid: its heights are already smoothed; ask who made it, "
        "or check it against points measured on site"
    )


def _mesh_lines(report: Report) -> Iterator[str]:
    yield f"Mesh             {report.n_points} vertices, {report.n_ground} triangles"
    yield f"                 {_density(report.density_per_m2)}, {report.spacing_m:.2f} m apart"
    yield (
        "Vertical error   cannot be seen from a mesh: ask who made it, or check it against points "
        "measured on site"
    )


def _of_points(files: Survey, scale: tuple[float, float], tell: Progress) -> Report:
    tally, marks, doubts = _tallied(files, files.header.bounds, scale, lambda share: tell(_READING * share))
    if not tally.fits:
        # The header's bounds were not those of the points: now that these are known, once more.
        tally, marks, doubts = _tallied(files, tally.bounds, scale, None)
    tell(_READING)
    covered = tally.coverage()
    tell(_MAPPED)
    sample = tally.sample()
    spacing = spacing_of(sample[:, :2])
    # Ground points that are all one place are of no density.
    density = 1 / spacing**2 if spacing > 0 else math.inf
    doubts += _class_doubts(tally.counts) + _mark_doubts(marks, tally.n_points)
    rough = tally.roughness()
    if tally.has_ground_class:
        level = flat_level(sample[:, 2])
        doubts += _off_doubts(tally, sample) if level is None else _flat_doubts(level, tally.extent_m[3])
        # Heights above the ground say nothing of how well the land was measured.
        rough = rough if level is None else None
    else:
        form = recognise(files.paths[0])[0]
        stand_in = "all points stand" if form in ("text", "e57") else "last returns stand"
        doubts += (
            f"no point is classified as ground: {stand_in} in for it here, so density, holes and "
            "vertical error mix ground with what stands on it",
        )
    return _report(
        files,
        tally.extent_m,
        bounds=tally.bounds,
        n_points=tally.n_points,
        classes=_classes(tally.counts, marks),
        marks=tuple(
            (each.name, getattr(marks, each.name))
            for each in fields(marks)
            if each.name in _MARK_NAMES and getattr(marks, each.name)
        ),
        n_ground=tally.n_ground,
        density=density,
        spacing=spacing,
        covered=covered,
        rough=rough,
        doubts=doubts + _thin(spacing, covered),
    )


def _tallied(
    files: Survey, bounds: Box, scale: tuple[float, float], progress: Progress | None
) -> tuple[Tally, Marks, tuple[str, ...]]:
    """Read all points once; they are never whole in memory."""
    tally, marks = Tally(bounds, scale), Marks()
    doubts = pass_tiles(files, tally.take, progress, marks)
    return tally, marks, doubts


def _classes(counts: Indices, marks: Marks) -> tuple[tuple[int, str, int], ...]:
    """Each class with its points; those that only lie in an overlap are none of the unclassified."""
    counts = counts.copy()
    counts[1] -= marks.legacy_overlap
    found = [(int(n), class_name(int(n)), int(counts[n])) for n in np.flatnonzero(counts)]
    if marks.legacy_overlap:
        found.append((_OVERLAP_CLASS, _OVERLAP_NAME, marks.legacy_overlap))
    return tuple(sorted(found))


def _class_doubts(counts: Indices) -> tuple[str, ...]:
    """Classes that only their maker knows."""
    strange = [int(n) for n in np.flatnonzero(counts) if n not in CLASS_NAMES]
    if not strange:
        return ()
    words = listed([f"{n} ({class_name(n)}, {counts[n]} points)" for n in strange])
    of = "class" if len(strange) == 1 else "classes"
    return (
        f"the standard says nothing of {of} {words}: ask the surveyor what it means; what stands above the "
        "ground in it is judged by its shape",
    )


def _flat_doubts(level: float, highest_z: float) -> tuple[str, ...]:
    """Ground that is no land: its heights are above it, for sure where something stands on it."""
    if not stands_over(level, highest_z):
        return (flat_doubt(level),)
    return (
        f"its ground is flat to the millimetre, {plain(level, 3)} m throughout: its heights are above the "
        'ground already, and the shape of the land is not in it; [ground] heights = "above ground" takes it '
        "with the land as terrain, an elevation grid",
    )


def _off_doubts(tally: Tally, sample: Floats) -> tuple[str, ...]:
    """Returns called ground that stand off it, as far as a sample shows."""
    off = np.flatnonzero(off_neighbours(sample))
    if not len(off):
        return ()
    far = off[np.argmax(sample[off, 2])]
    x, y = (coordinate(float(v)) for v in tally.in_file(sample[[far], :2])[0])
    z = f"{round(float(sample[far, 2]), 1):g}"
    stand = "stands" if len(off) == 1 else "stand"
    return (
        f"{len(off)} of {counted(len(sample), 'ground return')} looked at {stand} off the ground around, the "
        f"highest at x {x}, y {y}, at a height of {z} m: such returns are left out where "
        "verdicts are reckoned",
    )


def _mark_doubts(marks: Marks, n_points: int) -> tuple[str, ...]:
    """Points that were made and not measured, where they are many."""
    if marks.synthetic <= _MANY_MARKED * n_points:
        return ()
    return (
        f"{marks.synthetic} points are marked as synthetic, made and not measured: ask the surveyor where "
        "and why",
    )


def _of_raster(files: Survey, raster: Raster, scale: tuple[float, float]) -> Report:
    t, (ux, uy) = raster.transform, scale
    spacing = math.sqrt(abs(t.a * t.e - t.b * t.d) * ux * uy)
    known = raster.z[np.isfinite(raster.z)]
    west, south, east, north = files.header.bounds
    extent = ((east - west) * ux, (north - south) * uy, float(known.min()), float(known.max()))
    return _report(
        files,
        extent,
        n_points=raster.z.size,
        n_ground=known.size,
        density=1 / spacing**2,
        spacing=spacing,
        no_data=1 - known.size / raster.z.size,
        doubts=raster.doubts + _thin(spacing),
    )


def _of_mesh(files: Survey, mesh: Surface, scale: tuple[float, float]) -> Report:
    xyz = (mesh.vertices - mesh.vertices.min(axis=0) * (1, 1, 0)) * (*scale, 1.0)
    corners = xyz[mesh.triangles, :2]
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    plan_m2 = float(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]).sum() / 2)
    density = len(np.unique(xyz, axis=0)) / plan_m2 if plan_m2 else math.inf
    return _report(
        files,
        _extent(xyz),
        n_points=len(xyz),
        n_ground=len(mesh.triangles),
        density=density,
        spacing=1 / math.sqrt(density),
        doubts=mesh.doubts + _thin(1 / math.sqrt(density)),
    )


def _report(
    files: Survey,
    extent: tuple[float, float, float, float],
    *,
    n_points: int,
    n_ground: int,
    density: float,
    spacing: float,
    doubts: tuple[str, ...],
    bounds: Box | None = None,
    classes: tuple[tuple[int, str, int], ...] = (),
    covered: Coverage | None = None,
    rough: Roughness | None = None,
    no_data: float = 0.0,
    marks: tuple[tuple[str, int], ...] = (),
) -> Report:
    header = files.header
    unit = (
        "degrees" if header.crs and header.crs.is_geographic else unit_words(metres_per_unit(header.crs)[0])
    )
    return Report(
        path=files.named,
        form=header.form,
        kind=header.kind,
        crs=_crs(header),
        crs_from=header.crs_from,
        horizontal_unit=unit,
        vertical_unit=unit_words(header.vertical_unit_m),
        vertical_unit_from=header.vertical_unit_from,
        bounds=bounds or header.bounds,
        width_m=extent[0],
        depth_m=extent[1],
        z_m=(extent[2], extent[3]),
        n_points=n_points,
        classes=classes,
        marks=marks,
        n_ground=n_ground,
        density_per_m2=density,
        spacing_m=spacing,
        no_data_share=no_data,
        coverage=covered,
        roughness=rough,
        cell_m=cell_for(spacing),
        dated=header.dated,
        error_m=header.error_m,
        error_from=header.error_from,
        doubts=doubts,
    )


def _crs(header: Header) -> str:
    if header.crs is None:
        return "a local one; x and y are taken as local metres" if header.crs_from else ""
    return fit(str(header.crs.name)) if has_name(header.crs) else f"not named; {crs_kind(header.crs)}"


def _too_far_apart(spacing_m: float) -> bool:
    return spacing_m > TOO_FAR_APART_M * _STRETCH


def _thin(spacing_m: float, covered: Coverage | None = None) -> tuple[str, ...]:
    """A doubt where heights would be guessed: points too far apart, or much ground that none was seen on."""
    if _too_far_apart(spacing_m):
        return (
            f"its heights lie {plain(spacing_m, 2)} m apart, too far for this work: the banks, kerbs and "
            "hollows that decide where a layer passes are not in it; take a survey with ground points a "
            "metre apart or closer, or take spot levels on site",
        )
    near = next((h for h in covered.holes if h.limit_m == HOLE_LIMITS_M[0]), None) if covered else None
    if near is None or near.share <= MUCH_UNSEEN:
        return ()
    return (
        f"{near.share:.0%} of the area has no ground point within {near.limit_m:g} m (under roofs, crowns or "
        "water, or too thinly flown): the ground there is bridged or not known, so look whether that is "
        "where the units are to hold",
    )


def class_name(number: int) -> str:
    """The ASPRS name of a class.

    >>> class_name(2), class_name(40), class_name(64)
    ('ground', 'reserved', 'user definable')
    """
    return CLASS_NAMES.get(number, "reserved" if number < 64 else "user definable")


def cell_for(spacing_m: float) -> float:
    """The smallest usual cell that is no finer than the points; the coarsest where none is.

    >>> cell_for(0.1), cell_for(0.6), cell_for(50.0)
    (0.25, 1.0, 5.0)
    """
    # Some slack: a grid of 0.9999 m cells is meant to be one of 1 m, and points on such a grid are told as
    # 1.02 m apart (`survey.gaps.spacing`).
    return next((size for size in CELL_SIZES_M if size * 1.03 >= spacing_m), CELL_SIZES_M[-1])


def _extent(xyz: Floats) -> tuple[float, float, float, float]:
    low, high = ends(xyz)
    return float(high[0] - low[0]), float(high[1] - low[1]), float(low[2]), float(high[2])


def _metres_per_unit(header: Header) -> tuple[float, float]:
    """Metres on the ground in one unit of x and of y, at the survey's middle.

    Taken from the local frame, for a map projection stretches: web Mercator by 1.6 at 52 degrees.
    """
    if header.crs is None:
        return 1.0, 1.0
    west, south, east, north = header.bounds
    x, y = (west + east) / 2, (south + north) / 2
    # A step of some 10 m on the ground, whatever the unit.
    step = 10 / metres_per_unit(header.crs, y)[1]
    local_x, local_y = site_frame(header.crs, x, y).to_local([x, x + step, x], [y, y, y + step], header.crs)
    across = math.hypot(local_x[1] - local_x[0], local_y[1] - local_y[0])
    along = math.hypot(local_x[2] - local_x[0], local_y[2] - local_y[0])
    return across / step, along / step

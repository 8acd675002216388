"""What is said to whoever draws a site by hand: what to do next, what was done, what was kept."""

from collections.abc import Sequence
from pathlib import Path

import pyproj

from terrain3d.readers.crs import crs_words
from terrain3d.wording import counted, fit, listed


def next_step(has_mount: bool, has_area: bool, has_unit: bool) -> str:
    """What is to be done next on a site that is begun; empty where all that a verdict needs is there.

    >>> next_step(False, False, False)
    'Draw a mount: a pole or a place on a wall where a unit can be fixed.'
    >>> next_step(True, True, True)
    ''
    """
    if not has_mount:
        return "Draw a mount: a pole or a place on a wall where a unit can be fixed."
    if not has_area:
        return "Draw the ground that must be held: protected ground."
    if not has_unit:
        return "Put a unit on a mount: the ground then shows what it holds."
    return ""


def no_unit_yet() -> str:
    """Of an option without units."""
    return "No unit yet: put one on a mount."


def saved_words(path: Path, changes: Sequence[str], before: Path | None) -> str:
    """What a save did.

    >>> saved_words(Path("site.toml"), ("mount 'pole': added",), Path("site.toml.before"))
    'Saved in site.toml: 1 change; the file as it was is site.toml.before'
    """
    told = f"Saved in {path.name}: {counted(len(changes), 'change')}" if changes else f"Saved in {path.name}"
    return told if before is None else f"{told}; the file as it was is {before.name}"


def brought_back(count: int, is_file_changed: bool) -> str:
    """Of unsaved work that a session before left.

    >>> brought_back(2, False)
    'Unsaved work was brought back: 2 changes'
    """
    told = f"Unsaved work was brought back: {counted(count, 'change')}"
    return f"{told}; the file was changed meanwhile" if is_file_changed else told


def fault_words(error: Exception) -> str:
    """What is said of a fault of ours in something that was to be done by hand.

    >>> fault_words(ZeroDivisionError("division by zero"))
    'a fault in the program: ZeroDivisionError: division by zero; all is as it was before, and you can go on'
    """
    told = fit(f"{type(error).__name__}: {error}".removesuffix(": "))
    return f"a fault in the program: {told}; all is as it was before, and you can go on"


def files_changed(names: Sequence[str]) -> str:
    """Of files that a site file names, and that somebody wrote since they were read.

    >>> files_changed(["hill.laz"])
    'hill.laz was changed on disk: read it again, or keep what was read'
    """
    told = listed(names)
    return (
        f"{told} {'was' if len(names) == 1 else 'were'} changed on disk: read it again, or keep what was read"
    )


def axes_of(crs: pyproj.CRS | None) -> tuple[str, str]:
    """What the two coordinates of the site file are called, in their order.

    >>> axes_of(pyproj.CRS("EPSG:4326")), axes_of(pyproj.CRS("EPSG:32631")), axes_of(None)
    (('longitude', 'latitude'), ('easting', 'northing'), ('east', 'north'))
    """
    if crs is None:
        return "east", "north"
    return ("longitude", "latitude") if crs.is_geographic else ("easting", "northing")


def axis_unit(crs: pyproj.CRS | None) -> str:
    """The unit of the coordinates of the site file, as it stands beside a number.

    >>> axis_unit(pyproj.CRS("EPSG:4326")), axis_unit(pyproj.CRS("EPSG:2263")), axis_unit(None)
    ('°', 'US survey foot', 'm')
    """
    if crs is None:
        return "m"
    name = str(crs.axis_info[0].unit_name)
    return {"degree": "°", "metre": "m", "foot": "ft"}.get(name, name)


def coordinates_words(crs: pyproj.CRS | None, is_named: bool) -> str:
    """In what the coordinates of the site file are.

    >>> coordinates_words(pyproj.CRS("EPSG:32631"), False)
    "The site file names no CRS: its coordinates are in the survey's, WGS 84 / UTM zone 31N."
    >>> coordinates_words(None, False)
    'The site file is in metres of its own: nothing says where on the earth they lie.'
    """
    if crs is None:
        return "The site file is in metres of its own: nothing says where on the earth they lie."
    if is_named:
        return f"The site file is in {crs_words(crs)}."
    return f"The site file names no CRS: its coordinates are in the survey's, {crs_words(crs)}."


def far_words(point: Sequence[float], crs: pyproj.CRS | None, away_m: float, is_survey: bool) -> str:
    """Of a place that was typed and lies nowhere near the site.

    >>> far_words((570018.5, 4950020.85), pyproj.CRS("EPSG:32631"), 9876.0, True)
    '(570018.5, 4950020.85) in WGS 84 / UTM zone 31N lies 9.9 km from the survey'
    """
    system = "metres of the site file" if crs is None else crs_words(crs)
    whole = f"({point[0]:.10g}, {point[1]:.10g})"
    return f"{whole} in {system} lies {away_m / 1000:,.1f} km from the {'survey' if is_survey else 'ground'}"


def left_words(unsaved: Sequence[str]) -> str:
    """What is left as it is when the page's server ends.

    >>> left_words(())
    'everything is saved'
    >>> left_words(["a mount added"])
    'not saved: a mount added; it is kept, and comes back when the site is opened again'
    """
    if not unsaved:
        return "everything is saved"
    return f"not saved: {'; '.join(unsaved)}; it is kept, and comes back when the site is opened again"

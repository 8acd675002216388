"""What is wrong with a pack that is wanted, told before the work begins."""

from collections.abc import Collection
from pathlib import Path

from terrain3d.errors import InputError
from terrain3d.pack.layers import site_crs
from terrain3d.pack.names import CONTENTS, GEOJSON, ON_EARTH, RESULTS, TABLES, asked
from terrain3d.paper.folder import RESULTS as MAPS
from terrain3d.paper.whole import check_folder
from terrain3d.readers.logos import logo_png
from terrain3d.ready import Ready

#: Files that are made whatever the site is, and one of each folder.
_NAMED = {
    "report": ("report.pdf",),
    "scene": ("scene.html",),
    "plan": ("plan.svg",),
    "drawing": ("plan.dxf",),
    "model": ("scene.glb",),
    "map": ("site.gpkg",),
    "geojson": (f"{GEOJSON}/units.geojson",),
    "kml": ("site.kml",),
    "tables": ("tables.xlsx", f"{TABLES}/options.csv"),
}


def check_pack(ready: Ready, where: str, out: Path, only: Collection[str] = ()) -> tuple[str, ...]:
    """The kinds of files that a pack of a site has.

    Parameters
    ----------
    ready : Ready
    where : str
        What the site file is called in messages.
    out : Path
        Folder of the pack.
    only : collection of str
        Of `KINDS`, where not all are wanted.

    Raises
    ------
    InputError
        When the site cannot have one of them, its logo cannot be used, or something of the user's is in the
        way.
    """
    is_on_earth = site_crs(ready.site, ready.folder) is not None
    if not is_on_earth and (off := [kind for kind in only if kind in ON_EARTH]):
        raise InputError(
            f"{off[0]} needs a place on earth, and the site file is in local metres",
            f"{where}: site.crs",
            "name a CRS, or leave that kind out",
        )
    kinds = asked(only, is_on_earth)
    if "report" in kinds and (logo := ready.site.paper.logo) is not None:
        logo_png(ready.folder / logo)
    named = [name for kind in kinds for name in _NAMED.get(kind, ())]
    check_folder(out, [Path(name) for name in (RESULTS, CONTENTS, *named, *MAPS)])
    return kinds

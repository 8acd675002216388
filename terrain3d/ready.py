"""A site file checked against all that it names, before its survey is read: what is cheap is told first."""

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from terrain3d.conditions.sun import time_zone
from terrain3d.detector.figures import Figure, find_figure, own_figure
from terrain3d.detector.fixing import check_turn
from terrain3d.detector.pose import Detector, HeadSetting, open_arcs
from terrain3d.detector.types import DetectorType, load_type
from terrain3d.errors import InputError
from terrain3d.site import DetectorSetting, HeadShape, Option, Site, load_site
from terrain3d.supply.runs import check_runs
from terrain3d.survey.placing import Drawn, drawn
from terrain3d.tables import checked
from terrain3d.walk.indoor_tests import IndoorTests, load_tests
from terrain3d.wording import counted


@dataclass(frozen=True, eq=False)
class Ready:
    """A site file and what it names, as far as no ground is needed to know it.

    Parameters
    ----------
    path : Path
        Of the site file.
    site : Site
    shapes : Drawn
        Every shape, those of other files too, not yet placed.
    figure : Figure
        The site's.
    walker : Figure
        Who walks the open routes.
    tests : BorrowedTests, or None
        A user's own copy of the borrowed walk tests.
    """

    path: Path
    site: Site
    shapes: Drawn
    figure: Figure
    walker: Figure
    tests: IndoorTests | None

    @property
    def folder(self) -> Path:
        """Where the site file lies: names of files are relative to it."""
        return self.path.parent


def ready_site(path: Path) -> Ready:
    """Read a site file, its shapes and the files it names, all but the survey; options are left aside.

    Raises
    ------
    InputError
        When the file, a shape, a figure, the walk tests or the time zone cannot be used.
    """
    return ready_of(load_site(path), path)


def ready_of(site: Site, path: Path) -> Ready:
    """A site and all that it names but the survey, checked as `ready_site` does, whatever stands on disk.

    Parameters
    ----------
    site : Site
    path : Path
        Of its file, which need not be there; names of files are relative to its folder.

    Raises
    ------
    InputError
        As `ready_site`.
    """
    try:
        shapes = drawn(site, path.parent, None)
        if site.sun.zone is not None:
            time_zone(site.sun.zone)
    except InputError as error:
        raise in_file(error, path) from error
    if site.supply is not None:
        check_runs(site.supply, [mount.name for mount, _ in shapes.mount], str(path))
    own = own_figures(site)
    figure = _figure(site.site.figure, own, f"{path}: site: figure")
    for walk, _ in shapes.walk:
        if walk.figure is not None:
            _figure(walk.figure, own, f"{path}: walk {walk.name!r}: figure")
    walker = (
        figure if site.routes.figure is None else _figure(site.routes.figure, own, f"{path}: routes: figure")
    )
    return Ready(path, site, shapes, figure, walker, _own_tests(site, path.parent, own))


def option_types(ready: Ready) -> dict[str, DetectorType]:
    """The detector types of a site's options by the names it gives them, every unit checked against its own.

    Raises
    ------
    InputError
        When there is no option, or one names a mount that is not there or what its type cannot do.
    """
    path = ready.path
    if not ready.site.option:
        raise InputError("there is no [[option]] to judge", str(path), "add one with its detectors")
    types: dict[str, DetectorType] = {}
    walls = {mount.name: mount.wall for mount, _ in ready.shapes.mount}
    for option in ready.site.option:
        for setting in option.detector:
            where = f"{path}: option {option.name!r}, detector {setting.name!r}"
            if setting.type not in types:
                types |= _named_types((setting.type,), ready.folder, f"{where}: type")
            _check_unit(setting, types[setting.type], walls, where)
    return types


def check_units(
    name: str, units: Sequence[Detector], combine: str, walls: Mapping[str, float | None] | None = None
) -> None:
    """Refuse units of an option that no site file could have: what it may say, they may be.

    Parameters
    ----------
    name : str
        Of the option.
    units : sequence of Detector
    combine : {"any", "all"}
    walls : mapping of str to float or None
        What the wall of each mount faces, degrees; None, or no such mount, is a pole.

    Raises
    ------
    InputError
        With the setting at fault, up to five of them in one message.
    """
    settings = [
        {
            # The type is a checked value by itself.
            "name": unit.name, "mount": unit.mount, "type": "given", "height": unit.height_m,
            "bearing": unit.bearing_deg, "tilt": unit.tilt_deg, "roll": unit.roll_deg, "range": unit.range_m,
            "pan": unit.pan_deg, "fill": unit.fill, "pulses": unit.pulses, "sensitivity": unit.sensitivity,
            "bracket": unit.bracket, "head": [_as_table(head) for head in unit.heads],
        }
        for unit in units
    ]  # fmt: skip
    where = f"option {name!r}"
    option = checked(Option, {"name": name, "combine": combine, "detector": settings}, where)
    for setting, unit in zip(option.detector, units, strict=True):
        wall = (walls or {}).get(unit.mount)
        _check_against_type(setting, unit.type, wall, f"{where}: detector {unit.name!r}")


def search_types(ready: Ready) -> dict[str, DetectorType]:
    """The detector types that a search may use, by the names the site file gives them, each once.

    Raises
    ------
    InputError
        When there is none, or one cannot be used.
    """
    where = f"{ready.path}: search: types"
    if not ready.site.search.types:
        raise InputError("no type is to be searched", where, "name one, or leave the key out")
    return _named_types(ready.site.search.types, ready.folder, where)


def in_file(error: InputError, site_path: Path | None) -> InputError:
    """The same error in the file it is about, if any: rooms know a site as values, not its file's name."""
    if site_path is None:
        return error
    where = error.where.replace("site.toml", str(site_path), 1) if error.where else str(site_path)
    return InputError(error.what, where, error.mend)


def own_figures(site: Site) -> tuple[Figure, ...]:
    """The figures that a site file brings."""
    return tuple(own_figure(shape.name, shape.height) for shape in site.figure)


def _own_tests(site: Site, folder: Path, own: tuple[Figure, ...]) -> IndoorTests | None:
    """A user's own copy of the walk tests, if there is one; who walks those of the grade has to be known."""
    if site.walk_test.file is None:
        return None
    path = folder / site.walk_test.file
    tests = load_tests(path)
    if site.walk_test.grade is not None:
        grade = site.walk_test.grade - 1
        for test in tests.test:
            if test.speed[grade] > 0:
                _figure(test.figure[grade], own, f"{path}: test {test.name!r}: figure")
    return tests


def _figure(name: str, own: tuple[Figure, ...], where: str) -> Figure:
    try:
        return find_figure(name, own)
    except InputError as error:
        raise InputError(error.what, where, error.mend) from None


def _named_types(labels: Iterable[str], folder: Path, where: str) -> dict[str, DetectorType]:
    """Detector types by the names that a key of the site file gives them."""
    types = {}
    for label in labels:
        try:
            types[label] = load_type(label, folder)
        except InputError as error:
            place = where + (f", in {error.where}" if error.where else "")
            raise InputError(error.what, place, error.mend) from None
    return types


def _check_unit(
    setting: DetectorSetting, detector_type: DetectorType, walls: Mapping[str, float | None], where: str
) -> None:
    """Refuse a unit on a mount that is not there, or set as its type cannot be; `walls` is by mount."""
    if setting.mount not in walls:
        near = difflib.get_close_matches(setting.mount, walls, n=1)
        raise InputError(
            f"there is no mount {setting.mount!r}",
            f"{where}: mount",
            f"did you mean {near[0]!r}?" if near else f"known: {', '.join(walls) or 'none'}",
        )
    _check_against_type(setting, detector_type, walls[setting.mount], where)


def head_settings(setting: DetectorSetting) -> tuple[HeadSetting, ...]:
    """What a site file sets head by head."""
    return tuple(head_setting(head) for head in setting.head)


def head_setting(head: HeadShape) -> HeadSetting:
    """What a site file sets of one head."""
    return HeadSetting(
        head.pan, head.range, head.sensitivity, head.fill, head.pulses, head.masked, head.masked_arc
    )


def _as_table(head: HeadSetting) -> dict[str, object]:
    """One head as a site file would set it: what it does not set is left out."""
    table = {
        "pan": head.pan_deg, "range": head.range_m, "sensitivity": head.sensitivity, "fill": head.fill,
        "pulses": head.pulses, "masked": head.masked, "masked_arc": head.masked_deg,
    }  # fmt: skip
    return {key: value for key, value in table.items() if value is not None}


def _check_against_type(
    setting: DetectorSetting, detector_type: DetectorType, wall_deg: float | None, where: str
) -> None:
    """Refuse a unit set as its type cannot be, on a wall that faces so; None is a pole."""
    n_heads = len(detector_type.head)
    for given, what, entry in ((setting.pan, "pan", "angle"), (setting.head or None, "head", "table")):
        if given is not None and len(given) != n_heads:
            raise InputError(
                f"{what} gives {counted(len(given), entry)}, {detector_type.name} has"
                f" {counted(n_heads, 'head')}",
                f"{where}: {what}",
                f"give one {entry} for each head",
            )
    _check_pulses(setting.pulses, detector_type, where)
    _check_sensitivity(() if setting.sensitivity is None else (setting.sensitivity,), detector_type, where)
    # A unit that moves all heads alike, as a search does, may keep a range that no head follows any more.
    if not setting.head:
        _check_range(setting.range, detector_type.range_settings, detector_type.name, where)
    for number, head in enumerate(setting.head, 1):
        _check_head(setting, head, number, detector_type, f"{where}: head {number}")
    if setting.head and not any(
        open_arcs(kind, own) for kind, own in zip(detector_type.head, head_settings(setting), strict=True)
    ):
        raise InputError("every zone of it is masked", f"{where}: head", "leave some zone open")
    check_turn(detector_type, setting.bracket, wall_deg, setting.bearing, setting.tilt, where)


def _check_head(
    setting: DetectorSetting, head: HeadShape, number: int, detector_type: DetectorType, where: str
) -> None:
    kind = detector_type.head[number - 1]
    range_m = setting.range if head.range is None else head.range
    name = f"head {number} of {detector_type.name}"
    _check_range(range_m, detector_type.ranges_of(number - 1), name, where)
    _check_pulses(head.pulses, detector_type, where)
    _check_sensitivity(head.sensitivity or (), detector_type, where)
    for given, what, entry in ((head.sensitivity, "sensitivity", "name"), (head.fill, "fill", "share")):
        if given is not None and len(given) not in (1, len(kind.layer)):
            raise InputError(
                f"{what} gives {counted(len(given), entry)}, {name} has {counted(len(kind.layer), 'layer')}",
                f"{where}: {what}",
                f"give one {entry}, or one for each layer",
            )
    for zone in head.masked:
        if zone > kind.zones:
            raise InputError(
                f"{name} has no zone {zone}",
                f"{where}: masked",
                f"its zones are 1 to {kind.zones}, from the left",
            )
    for low, high in head.masked_arc:
        if low < -kind.arc / 2 - 1e-9 or high > kind.arc / 2 + 1e-9:
            raise InputError(
                f"{low:g} to {high:g} degrees is not within the arc of {name}",
                f"{where}: masked_arc",
                f"it runs from {-kind.arc / 2:g} to {kind.arc / 2:g}, right of its middle",
            )


def _check_range(range_m: float, offered: tuple[float, ...], name: str, where: str) -> None:
    if range_m not in offered:
        raise InputError(
            f"{name} has no range setting of {range_m:g} m",
            f"{where}: range",
            f"it has {', '.join(f'{r:g}' for r in offered)}",
        )


def _check_pulses(pulses: int | None, detector_type: DetectorType, where: str) -> None:
    if pulses is not None and pulses not in detector_type.pulses:
        raise InputError(
            f"{detector_type.name} has no pulse setting of {pulses}",
            f"{where}: pulses",
            f"it has {', '.join(str(n) for n in detector_type.pulses)}",
        )


def _check_sensitivity(names: tuple[str, ...], detector_type: DetectorType, where: str) -> None:
    known = tuple(detector_type.sensitivity or {})
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            mend = f"it has {', '.join(known)}" if known else "give fill, the share of a layer that breaks it"
            raise InputError(
                f"{detector_type.name} has no sensitivity setting {name!r}",
                f"{where}: sensitivity",
                f"did you mean {near[0]!r}? {mend}" if near else mend,
            )

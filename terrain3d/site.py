"""The site file (TOML) as frozen, checked values; a wrong key names the nearest right one."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import ConfigDict, Discriminator, Field, Strict, Tag, model_validator

from terrain3d.tables import TAG_OPENS, FileName, Number, Table, Text, UnfitError, checked, read_toml

Coordinate = Annotated[Number, Field(ge=-1e8, le=1e8)]
Angle = Annotated[Number, Field(ge=-360, le=360)]
Point = tuple[Coordinate, Coordinate]
Outline = Annotated[tuple[Point, ...], Field(min_length=3)]
Path2 = Annotated[tuple[Point, ...], Field(min_length=2)]
MountHeight = Annotated[Number, Field(gt=0, le=10)]


class SiteHead(Table):
    name: Text
    crs: Text | None = None
    cell: Annotated[Number, Field(ge=0.02, le=5)] = 0.25
    figure: Text = "person"
    seed: Annotated[int, Strict(), Field(ge=0, lt=2**32)] = 0


class Plane(Table):
    fall: Annotated[Number, Field(ge=-200, le=200)]
    towards: Angle
    extent: Annotated[Number, Field(gt=0, le=1000)]


class GroundSource(Table):
    file: FileName | None = None
    crs: Text | None = None
    vertical_unit: Literal["m", "ft", "us-ft"] | None = None
    plane: Plane | None = None
    points: Annotated[tuple[tuple[Coordinate, Coordinate, Coordinate], ...], Field(min_length=3)] | None = (
        None
    )
    #: Gaps of the survey up to this width in metres are bridged and marked; wider ones stay unknown.
    hole_limit: Annotated[Number, Field(ge=0, le=50)] = 3.0

    @model_validator(mode="after")
    def _one_source(self) -> "GroundSource":
        given = [key for key in ("file", "plane", "points") if getattr(self, key) is not None]
        if len(given) != 1:
            found = " and ".join(given) if given else "none of them"
            raise UnfitError(
                f"exactly one of file, plane, points is needed, found {found}", "give one of them"
            )
        if self.file is None and self.vertical_unit is not None:
            raise UnfitError("vertical_unit goes with file; drawn ground is in metres", "leave it out")
        return self


class FileRef(Table):
    """A list of shapes kept in a GeoJSON or GeoPackage layer; `also` holds keys for all of them."""

    model_config = ConfigDict(extra="allow", frozen=True)
    file: FileName
    layer: Text | None = None

    @property
    def also(self) -> Mapping[str, Any]:
        return self.model_extra or {}


class SolidShape(Table):
    name: Text
    path: Path2 | None = None
    outline: Outline | None = None
    height: Annotated[Number, Field(gt=0, le=200)]
    thickness: Annotated[Number, Field(gt=0, le=20)] | None = None
    base: Annotated[Number, Field(ge=0, le=100)] = 0.0

    @model_validator(mode="after")
    def _one_shape(self) -> "SolidShape":
        if (self.path is None) == (self.outline is None):
            raise UnfitError(
                "exactly one of path (a wall) and outline (a block) is needed", "keep one of them"
            )
        if self.path is not None and self.thickness is None:
            raise UnfitError("a wall drawn by its path has no thickness", "add thickness in metres")
        if self.path is None and self.thickness is not None:
            raise UnfitError("thickness goes with path, not with outline", "leave it out")
        if self.base >= self.height:
            raise UnfitError(
                f"base {self.base:g} is not below height {self.height:g}",
                "base is the clearance under it, height its top, both above the ground",
            )
        return self


class FoliageShape(Table):
    name: Text
    outline: Outline
    base: Annotated[Number, Field(ge=0, le=100)] = 0.0
    height: Annotated[Number, Field(gt=0, le=100)]
    density: Annotated[Number, Field(ge=0, le=50)]

    @model_validator(mode="after")
    def _upright(self) -> "FoliageShape":
        if self.base >= self.height:
            raise UnfitError(
                f"base {self.base:g} is not below height {self.height:g}",
                "base is the clearance under it, height its top, both above the ground",
            )
        return self


class MountShape(Table):
    name: Text
    at: Point
    heights: Annotated[tuple[MountHeight, ...], Field(min_length=1)] = (0.8, 1.0, 1.2)
    #: Detector types that may not be fixed here.
    not_for: tuple[Text, ...] = ()


class ProtectShape(Table):
    name: Text
    outline: Outline
    weight: Annotated[Number, Field(gt=0, le=1e6)] = 1.0


class TreatShape(Table):
    """Overrides, inside an outline, what points standing above the ground are taken for."""

    outline: Outline
    take_as: Annotated[Literal["solid", "foliage", "ground", "nothing"], Field(alias="as")]


class WalkShape(Table):
    """A walk to try, from the first point of its path to the last; speed in metres a second."""

    name: Text
    path: Path2
    speed: Annotated[Number, Field(gt=0, le=10)] = 1.0
    figure: Text | None = None


class ApproachShape(Table):
    """Where people may come in: any point of the path is a start of an open route."""

    name: Text
    path: Path2


class NuisanceShape(Table):
    """A thing that may trouble a unit; `width` widens a point or a path."""

    name: Text
    kind: Literal["vent", "flue", "window", "road", "water", "foliage", "other"] = "other"
    at: Point | None = None
    path: Path2 | None = None
    outline: Outline | None = None
    width: Annotated[Number, Field(gt=0, le=50)] | None = None
    base: Annotated[Number, Field(ge=0, le=100)] = 0.0
    height: Annotated[Number, Field(gt=0, le=100)]

    @model_validator(mode="after")
    def _one_shape(self) -> "NuisanceShape":
        if sum(shape is not None for shape in (self.at, self.path, self.outline)) != 1:
            raise UnfitError("exactly one of at, path and outline is needed", "keep one of them")
        if (self.outline is None) == (self.width is None):
            raise UnfitError(
                "width goes with at or path, and they need it",
                "give the width in metres, or an outline alone",
            )
        if self.base >= self.height:
            raise UnfitError(
                f"base {self.base:g} is not below height {self.height:g}",
                "base is the clearance under it, height its top, both above the ground",
            )
        return self


class BeyondShape(Table):
    """Ground of others; no upper layer may reach into it where `keep_out` is true."""

    name: Text
    kind: Literal["road", "neighbour", "other"] = "other"
    outline: Outline
    keep_out: Annotated[bool, Strict()] = False


class BoundaryShape(Table):
    """The outline of the site's own land."""

    outline: Outline


class HeatSetting(Table):
    """Temperatures in degrees C: `figure` is the apparent surface of whoever walks.

    `sky_below` is how many kelvin the sky that both reflect shows colder than the ground; 0 is cloud.
    """

    figure: Annotated[Number, Field(ge=-50, le=80)] = 30.0
    emissivity: Annotated[Number, Field(gt=0, le=1)] = 0.95
    ground_emissivity: Annotated[Number, Field(gt=0, le=1)] = 0.96
    grounds: Annotated[tuple[Annotated[Number, Field(ge=-50, le=80)], ...], Field(min_length=2)] = (
        0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0,
    )  # fmt: skip
    sky_below: Annotated[Number, Field(ge=0, le=100)] = 0.0


class SunSetting(Table):
    """`near` is how many degrees from a layer still count; `zone` a name of the time zone database."""

    year: Annotated[int, Strict(), Field(ge=1950, le=2100)] = 2026
    zone: Text = "UTC"
    near: Annotated[Number, Field(ge=0, le=30)] = 3.0


class DoubtSetting(Table):
    """Standard deviations: of the survey (metres, None takes what the survey says), and of fixing by hand."""

    ground: Annotated[Number, Field(ge=0, le=5)] | None = None
    correlation: Annotated[Number, Field(gt=0, le=1000)] = 10.0
    height: Annotated[Number, Field(ge=0, le=1)] = 0.02
    bearing: Annotated[Number, Field(ge=0, le=45)] = 2.5
    tilt: Annotated[Number, Field(ge=0, le=15)] = 1.0
    draws: Annotated[int, Strict(), Field(ge=1, le=100000)] = 200


class RouteSetting(Table):
    """`steepest` is the rise or fall that can be walked, percent; `figure` None is the site's."""

    steepest: Annotated[Number, Field(gt=0, le=1000)] = 100.0
    figure: Text | None = None


class WalkTestSetting(Table):
    """Borrowed walk tests, tried where a grade is given; `file` is a user's own copy of them."""

    grade: Annotated[int, Strict(), Field(ge=1, le=4)] | None = None
    file: FileName | None = None


class SearchSetting(Table):
    """What the search may use; angles in degrees, `tilts` None is a sensible span in whole degrees."""

    types: tuple[FileName, ...] = ("one-head-90", "two-head-180")
    bearing_step: Annotated[Number, Field(ge=0.5, le=90)] = 2.5
    tilts: Annotated[tuple[Annotated[Number, Field(ge=-30, le=30)], ...], Field(min_length=1)] | None = None
    ranges: Annotated[tuple[Annotated[Number, Field(gt=0)], ...], Field(min_length=1)] | None = None
    units: Annotated[int, Strict(), Field(ge=1, le=50)] = 1
    budget: Annotated[Number, Field(gt=0)] | None = None
    hold: Annotated[Number, Field(gt=0, le=1)] | None = None
    #: Two units must not see each other.
    apart: Annotated[bool, Strict()] = False


class FigureShape(Table):
    name: Text
    height: Annotated[Number, Field(gt=0, le=2.5)]


class DetectorSetting(Table):
    name: Text
    mount: Text
    type: FileName
    height: MountHeight
    bearing: Angle
    tilt: Annotated[Number, Field(ge=-30, le=30)] = 0.0
    roll: Annotated[Number, Field(ge=-30, le=30)] = 0.0
    range: Annotated[Number, Field(gt=0, le=100)] = 12.0
    #: Pan of each head in degrees, where the installer turned them within the housing.
    pan: tuple[Angle, ...] | None = None
    #: Share of a layer a figure must fill to break it; None takes the type's.
    fill: Annotated[Number, Field(gt=0, le=1)] | None = None
    #: Pulses that make an alarm; None takes the first its type offers.
    pulses: Annotated[int, Strict(), Field(ge=1, le=1000)] | None = None


class Option(Table):
    name: Text
    combine: Literal["any", "all"] = "any"
    detector: Annotated[tuple[DetectorSetting, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _names_differ(self) -> "Option":
        _no_twins((d.name for d in self.detector), "detector")
        return self


_DRAWN, _IN_A_FILE = f"{TAG_OPENS}drawn>", f"{TAG_OPENS}in a file>"


def _kind(entry: Any) -> str:
    in_a_file = isinstance(entry, FileRef) or (isinstance(entry, dict) and "file" in entry)
    return _IN_A_FILE if in_a_file else _DRAWN


_Shape = TypeVar("_Shape", bound=Table)
OrFile = Annotated[Annotated[_Shape, Tag(_DRAWN)] | Annotated[FileRef, Tag(_IN_A_FILE)], Discriminator(_kind)]


#: Tables of their own that name a file, and are no list of shapes.
_ONE_TABLE = ("ground", "walk_test")


class Site(Table):
    """A whole site file. Lists of shapes may hold `FileRef` entries until the survey is read."""

    site: SiteHead
    ground: GroundSource
    solid: tuple[OrFile[SolidShape], ...] = ()
    foliage: tuple[OrFile[FoliageShape], ...] = ()
    mount: tuple[OrFile[MountShape], ...] = ()
    protect: tuple[OrFile[ProtectShape], ...] = ()
    treat: tuple[OrFile[TreatShape], ...] = ()
    figure: tuple[FigureShape, ...] = ()
    walk: tuple[OrFile[WalkShape], ...] = ()
    approach: tuple[OrFile[ApproachShape], ...] = ()
    nuisance: tuple[OrFile[NuisanceShape], ...] = ()
    beyond: tuple[OrFile[BeyondShape], ...] = ()
    boundary: BoundaryShape | None = None
    option: tuple[Option, ...] = ()
    heat: HeatSetting = HeatSetting()
    sun: SunSetting = SunSetting()
    doubt: DoubtSetting = DoubtSetting()
    routes: RouteSetting = RouteSetting()
    walk_test: WalkTestSetting = WalkTestSetting()
    search: SearchSetting = SearchSetting()

    @model_validator(mode="before")
    @classmethod
    def _single_tables(cls, raw: Any) -> Any:
        """`[mount] file = ...` means the same as `[[mount]] file = ...`."""
        if not isinstance(raw, Mapping):
            return raw
        return {
            key: [value] if key not in _ONE_TABLE and isinstance(value, dict) and "file" in value else value
            for key, value in raw.items()
        }

    @model_validator(mode="after")
    def _names_differ(self) -> "Site":
        for kind in ("mount", "protect", "option", "figure", "walk", "approach", "nuisance", "beyond"):
            _no_twins((s.name for s in getattr(self, kind) if not isinstance(s, FileRef)), kind)
        return self


def load_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    InputError
        With the key at fault, up to five of them in one message.
    """
    return checked(Site, read_toml(path), str(path))


def _no_twins(names: Iterable[str], kind: str) -> None:
    seen = set()
    for name in names:
        if name in seen:
            raise UnfitError(f"two entries of [[{kind}]] are named {name!r}", "give each a name of its own")
        seen.add(name)

"""The site file (TOML) as frozen, checked values; a wrong key names the nearest right one."""

import datetime
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Strict, Tag, model_validator

from terrain3d.tables import (
    TAG_OPENS,
    FileName,
    Number,
    Table,
    Text,
    UnfitError,
    checked,
    key,
    read_toml,
)

Coordinate = Annotated[Number, Field(ge=-1e8, le=1e8)]
Angle = Annotated[Number, Field(ge=-360, le=360)]
Point = tuple[Coordinate, Coordinate]
Outline = Annotated[tuple[Point, ...], Field(min_length=3)]
Path2 = Annotated[tuple[Point, ...], Field(min_length=2)]
MountHeight = Annotated[Number, Field(gt=0, le=10)]


_ONE, _SEVERAL = f"{TAG_OPENS}one file>", f"{TAG_OPENS}several files>"


def _how_many(given: Any) -> str:
    return _SEVERAL if isinstance(given, (list, tuple)) else _ONE


#: A file, a folder, a pattern of names in one folder, or a list of these.
FileNames = Annotated[
    Annotated[FileName, Tag(_ONE)]
    | Annotated[Annotated[tuple[FileName, ...], Field(min_length=1, max_length=10_000)], Tag(_SEVERAL)],
    Discriminator(_how_many),
]


def _a_day(given: Any) -> Any:
    """TOML knows days with a time of day as well, and those are no days."""
    if isinstance(given, datetime.datetime) or not isinstance(given, datetime.date):
        raise UnfitError(f"{given!r} is no date", "give year, month and day without quotes: 2023-05-14")
    if given.year < 1900:
        raise UnfitError(f"{given} is long before anybody flew a survey", "check the year")
    return given


#: A date as TOML writes it.
Day = Annotated[datetime.date, BeforeValidator(_a_day)]


class SiteHead(Table):
    name: Annotated[Text, key("", "what the site is called")]
    crs: Annotated[Text | None, key("", "CRS of every coordinate of the site file; none is local metres")] = (
        None
    )
    cell: Annotated[Number, key("metres", "edge of a square cell of the ground", ge=0.02, le=5)] = 0.25
    figure: Annotated[Text, key("", "who the verdicts are for: a figure, built in or of the site file")] = (
        "person"
    )
    seed: Annotated[int, Strict(), key("", "where the draws of doubt start", ge=0, lt=2**32)] = 0
    date: Annotated[
        Day | None,
        key("", "the day it is looked at: how old the survey is then is told"),
    ] = None


class Plane(Table):
    fall: Annotated[Number, key("percent", "fall of the ground; a rise is negative", ge=-200, le=200)]
    towards: Annotated[Angle, key("degrees", "bearing that it falls towards")]
    extent: Annotated[Number, key("metres", "side of the square", gt=0, le=1000)]


class Shot(Table):
    """A line of tape from a place that is known to the ground where it ends."""

    start: Annotated[
        Text,
        key("", "where the tape is held: a mount, a mark, or the `name` of a shot before", alias="from"),
    ]
    bearing: Annotated[
        Angle,
        key(
            "degrees",
            "clockwise from true north: what a compass shows, with the declination added (east positive)",
        ),
    ]
    tape: Annotated[Number, key("metres", "along the slope, as the tape reads", gt=0, le=200)]
    drop: Annotated[
        Number, key("metres", "how much lower its end is; a rise is negative", ge=-100, le=100)
    ] = 0.0
    name: Annotated[
        Text | None,
        key("", "what it ends at: a name of its own, or a mount or a mark, whose height it then gives"),
    ] = None

    @model_validator(mode="after")
    def _slopes(self) -> "Shot":
        if abs(self.drop) >= self.tape:
            raise UnfitError(
                f"a drop of {self.drop:g} m is not less than the tape of {self.tape:g} m",
                "give the tape along the slope, and how much lower its end is",
            )
        return self

    @property
    def level_m(self) -> float:
        """What the tape spans in plan."""
        return math.sqrt(self.tape**2 - self.drop**2)


#: Greatest RMSE of heights of each quality level, metres (lidar base specification and ASPRS 2014, as
#: restated in the project's check values).
QUALITY_LEVELS_M = {"QL0": 0.05, "QL1": 0.10, "QL2": 0.10, "QL3": 0.20}
#: Leaf area density of hedges, m2/m3: models of microclimate take 2 to 5 in leaf and far less in winter; the
#: words for it are ours, no source.
LEAF_DENSITIES = {"thin": 0.5, "medium": 2.0, "thick": 4.0}

_NUMBER, _WORD = f"{TAG_OPENS}a number>", f"{TAG_OPENS}a word>"


def _in_words(given: Any) -> str:
    return _WORD if isinstance(given, str) else _NUMBER


class GroundSource(Table):
    file: Annotated[
        FileNames | None,
        key(
            "",
            "the survey, by its path from the site file; of tiles that meet a list, a folder, or a pattern "
            "such as `tiles/*.laz`",
        ),
    ] = None
    crs: Annotated[Text | None, key("", "CRS of the survey, where it says none or a wrong one")] = None
    vertical_unit: Annotated[
        Literal["m", "ft", "us-ft"] | None, key("", "unit of its heights, where it says none or a wrong one")
    ] = None
    layer: Annotated[
        Text | None,
        key("", "layer of a DXF, or surface of a LandXML, that holds the ground; none is all of it"),
    ] = None
    plane: Annotated[Plane | None, key("", "a tilted square instead of a survey")] = None
    points: Annotated[
        tuple[tuple[Coordinate, Coordinate, Coordinate], ...] | None,
        key("coordinates", "spot levels [x, y, z] instead of a survey, z in metres", min_length=3),
    ] = None
    shots: Annotated[
        tuple[Shot, ...] | None,
        key(
            "",
            "lines of tape, compass and level instead of a survey; the first `from` lies at 0 m",
            min_length=2,
        ),
    ] = None
    surface: Annotated[
        FileNames | None,
        key(
            "", "grid of the highest things beside an elevation grid in `file`: what is over it stands there"
        ),
    ] = None
    heights: Annotated[
        Literal["above ground"] | None,
        key("", "of a cloud whose heights are above the ground already, and not of the land; with terrain"),
    ] = None
    terrain: Annotated[
        FileNames | None,
        key("", "elevation grid of the land beneath a cloud with heights above ground"),
    ] = None
    photo: Annotated[
        FileName | None,
        key("", "photograph from above, as GeoTIFF or as JPEG with its world file: drawn, judged by nobody"),
    ] = None
    flown: Annotated[Day | None, key("", "the day the survey was measured; none is as its file says")] = None
    error: Annotated[
        Annotated[
            Annotated[Annotated[Number, Field(ge=0, le=5)], Tag(_NUMBER)]
            | Annotated[Literal["QL0", "QL1", "QL2", "QL3"], Tag(_WORD)],
            Discriminator(_in_words),
        ]
        | None,
        key(
            "metres",
            "RMSE of the survey's heights as its maker or a check on site states it, or its quality level "
            "(0.05, 0.1, 0.1 and 0.2); none is as its file says",
        ),
    ] = None
    hole_limit: Annotated[
        Number,
        key("metres", "gaps up to this width are bridged and marked; wider ones stay unknown", ge=0, le=50),
    ] = 3.0
    eaves: Annotated[
        Number,
        key("metres", "how far roofs read from the air stand out over their walls", ge=0, le=3),
    ] = 0.5

    @model_validator(mode="after")
    def _one_source(self) -> "GroundSource":
        given = [key for key in ("file", "plane", "points", "shots") if getattr(self, key) is not None]
        if len(given) != 1:
            found = " and ".join(given) if given else "none of them"
            raise UnfitError(
                f"exactly one of file, plane, points, shots is needed, found {found}", "give one of them"
            )
        if (self.heights is None) != (self.terrain is None):
            raise UnfitError(
                "heights above ground and the terrain that they are above go together",
                "give both, or neither",
            )
        for name in ("surface", "flown", "terrain"):
            if self.file is None and getattr(self, name) is not None:
                raise UnfitError(f"{name} goes with file; this ground is not from a survey", "leave it out")
        if self.file is None and self.vertical_unit is not None:
            raise UnfitError("vertical_unit goes with file; drawn ground is in metres", "leave it out")
        if self.file is None and self.layer is not None:
            raise UnfitError("layer goes with file, and there is none", "leave it out")
        return self

    @property
    def error_m(self) -> float | None:
        """RMSE of the heights as the site file states it, metres."""
        return QUALITY_LEVELS_M[self.error] if isinstance(self.error, str) else self.error


class FileRef(Table):
    """Shapes kept in a file of a map or drawing program, or a layer of it; `also` holds keys for all."""

    model_config = ConfigDict(extra="allow", frozen=True)
    file: Annotated[
        FileName, key("", "GeoJSON, GeoPackage, KML, Shapefile or DXF that holds the shapes, by its path")
    ]
    layer: Annotated[
        Text | None, key("", "its layer, or folder of a KML; none is the only one, or all of it")
    ] = None

    @property
    def also(self) -> Mapping[str, Any]:
        return self.model_extra or {}


class SolidShape(Table):
    name: Annotated[Text, key("", "as it is called in causes and warnings")]
    path: Annotated[Path2 | None, key("coordinates", "middle line of a wall; or outline")] = None
    outline: Annotated[Outline | None, key("coordinates", "around a block; or path")] = None
    height: Annotated[Number, key("metres", "its top, above the ground beneath", gt=0, le=200)]
    thickness: Annotated[Number | None, key("metres", "of a wall, which needs it", gt=0, le=20)] = None
    base: Annotated[Number, key("metres", "clearance under it, above the ground", ge=0, le=100)] = 0.0
    microwave_db: Annotated[
        Number | None,
        key("decibels", "that microwaves lose each time they cross it, one way; none is all", ge=0, le=100),
    ] = None

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
    name: Annotated[Text, key("", "as it is called")]
    outline: Annotated[Outline | None, key("coordinates", "around it; or path")] = None
    path: Annotated[Path2 | None, key("coordinates", "middle line of a hedge; or outline")] = None
    thickness: Annotated[
        Number | None, key("metres", "of a hedge along its path, which needs it", gt=0, le=50)
    ] = None
    base: Annotated[Number, key("metres", "where its leaves begin, above the ground", ge=0, le=100)] = 0.0
    height: Annotated[Number, key("metres", "where they end, above the ground", gt=0, le=100)]
    density: Annotated[
        Annotated[
            Annotated[Annotated[Number, Field(ge=0, le=50)], Tag(_NUMBER)]
            | Annotated[Literal["thin", "medium", "thick"], Tag(_WORD)],
            Discriminator(_in_words),
        ],
        key("m2/m3", "leaf area in a cubic metre: a number, or a word for 0.5, 2 or 4"),
    ]
    microwave_db_per_m: Annotated[
        Number | None,
        key("decibels a metre", "that microwaves lose in it at first, one way; none is 4", ge=0, le=50),
    ] = None

    @property
    def leaf_density(self) -> float:
        """Leaf area density, m2/m3."""
        return LEAF_DENSITIES[self.density] if isinstance(self.density, str) else self.density

    @model_validator(mode="after")
    def _upright(self) -> "FoliageShape":
        if (self.path is None) == (self.outline is None):
            raise UnfitError("exactly one of path (a hedge) and outline is needed", "keep one of them")
        if (self.path is None) != (self.thickness is None):
            raise UnfitError("thickness goes with path, and it needs it", "give both, or an outline alone")
        if self.base >= self.height:
            raise UnfitError(
                f"base {self.base:g} is not below height {self.height:g}",
                "base is the clearance under it, height its top, both above the ground",
            )
        return self


class MountShape(Table):
    name: Annotated[Text, key("", "as detectors name it")]
    at: Annotated[Point, key("coordinates", "where it stands")]
    heights: Annotated[
        tuple[MountHeight, ...], key("metres", "heights above the ground that a search tries", min_length=1)
    ] = (0.8, 1.0, 1.2)
    wall: Annotated[
        Number | None,
        key("degrees", "bearing that the wall it is fixed to faces, clockwise from true north", ge=0, le=360),
    ] = None
    not_for: Annotated[tuple[Text, ...], key("", "types that a search may not fix here")] = ()


class MarkShape(Table):
    """A fixed point to measure from: a corner of the house, a gate post."""

    name: Annotated[Text, key("", "as it is called")]
    at: Annotated[Point, key("coordinates", "where it is")]


class ProtectShape(Table):
    name: Annotated[Text, key("", "as it is called")]
    outline: Annotated[Outline, key("coordinates", "around the ground that must be held")]
    weight: Annotated[Number, key("", "how much it counts when options are ranked", gt=0, le=1e6)] = 1.0


class TreatShape(Table):
    """Overrides, inside an outline, what points standing above the ground are taken for."""

    outline: Annotated[Outline, key("coordinates", "within which points of a survey are taken otherwise")]
    take_as: Annotated[
        Literal["solid", "foliage", "ground", "nothing"],
        key("", "what points above the ground are taken for there", alias="as"),
    ]


class WalkShape(Table):
    """A walk to try, from the first point of its path to the last."""

    name: Annotated[Text, key("", "as it is called")]
    path: Annotated[Path2, key("coordinates", "from the first point to the last")]
    speed: Annotated[Number, key("metres a second", "of the walk", gt=0, le=10)] = 1.0
    figure: Annotated[Text | None, key("", "who walks; none is the site's figure")] = None


class ApproachShape(Table):
    """Where people may come in: any point of the path is a start of an open route."""

    name: Annotated[Text, key("", "as it is called")]
    path: Annotated[Path2, key("coordinates", "any point of it is a start of an open route")]


class SectionShape(Table):
    """A line to cut sections along: drawn, and judged by nobody."""

    name: Annotated[Text, key("", "as `--along` names it")]
    path: Annotated[Path2, key("coordinates", "that the section is cut along, laid out straight")]


class NuisanceShape(Table):
    """A thing that may trouble a unit; `width` widens a point or a path."""

    name: Annotated[Text, key("", "as it is called")]
    kind: Annotated[
        Literal["vent", "flue", "window", "road", "water", "foliage", "other"],
        key("", "what it is: sets the advice"),
    ] = "other"
    at: Annotated[Point | None, key("coordinates", "middle of a square; or path, or outline")] = None
    path: Annotated[Path2 | None, key("coordinates", "middle line of a band; or at, or outline")] = None
    outline: Annotated[Outline | None, key("coordinates", "around it; or at, or path")] = None
    width: Annotated[
        Number | None, key("metres", "side of the square, breadth of the band; not with outline", gt=0, le=50)
    ] = None
    base: Annotated[Number, key("metres", "its underside, above the ground", ge=0, le=100)] = 0.0
    height: Annotated[Number, key("metres", "its top, above the ground", gt=0, le=100)]

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

    name: Annotated[Text, key("", "as it is called")]
    kind: Annotated[Literal["road", "neighbour", "other"], key("", "on a road vehicles count too")] = "other"
    outline: Annotated[Outline, key("coordinates", "around it")]
    keep_out: Annotated[
        bool,
        Strict(),
        key("", "a search takes no setting whose upper layer reaches in within range; see `[search] masks`"),
    ] = False


class BoundaryShape(Table):
    """The outline of the site's own land."""

    outline: Annotated[Outline, key("coordinates", "around own land")]


class ScenarioShape(Table):
    """The site as it may be, judged beside the site as it is."""

    name: Annotated[Text, key("", "as it is called")]
    without: Annotated[tuple[Text, ...], key("", "names of solids and foliage that are gone")] = ()
    leaves: Annotated[Number, key("", "share of leaf area that is left", ge=0, le=1)] = 1.0
    growth: Annotated[
        Number, key("metres", "how far every hedge and crown has grown, upwards and outwards", ge=0, le=5)
    ] = 0.0

    @model_validator(mode="after")
    def _changes_something(self) -> "ScenarioShape":
        if not self.without and self.leaves == 1 and self.growth == 0:
            raise UnfitError("it changes nothing", "give without, leaves or growth")
        return self


class HeatSetting(Table):
    """Temperatures of figure and ground, and of the sky that both reflect."""

    figure: Annotated[Number, key("degrees C", "apparent surface of whoever walks", ge=-50, le=80)] = 30.0
    emissivity: Annotated[Number, key("", "of the figure", gt=0, le=1)] = 0.95
    ground_emissivity: Annotated[Number, key("", "of the ground", gt=0, le=1)] = 0.96
    grounds: Annotated[
        tuple[Annotated[Number, Field(ge=-50, le=80)], ...],
        key("degrees C", "temperatures of the ground that are told", min_length=2),
    ] = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
    sky_below: Annotated[
        Number, key("kelvin", "how much colder than the ground the sky shows; 0 is thick cloud", ge=0, le=100)
    ] = 0.0


class SunSetting(Table):
    """Which sun is followed, and how near to a layer it counts."""

    year: Annotated[int, Strict(), key("", "the year that is looked through", ge=1950, le=2100)] = 2026
    zone: Annotated[
        Text | None,
        key("", "time zone of the clock times, a name such as Europe/Paris; none is that of the place"),
    ] = None
    near: Annotated[Number, key("degrees", "how near to a layer the sun counts", ge=0, le=30)] = 3.0


class DoubtSetting(Table):
    """Standard deviations: of the survey, and of fixing by hand."""

    ground: Annotated[
        Number | None,
        key(
            "metres",
            "of the survey's heights; where none is given `[ground] error` or the survey's own counts, else "
            "0.1, as of quality level 2",
            ge=0,
            le=5,
        ),
    ] = None
    correlation: Annotated[
        Number, key("metres", "over which they err alike: the correlation falls to 1/e", gt=0, le=1000)
    ] = 10.0
    height: Annotated[Number, key("metres", "of a unit's height", ge=0, le=1)] = 0.02
    bearing: Annotated[Number, key("degrees", "of its bearing", ge=0, le=45)] = 2.5
    tilt: Annotated[Number, key("degrees", "of its tilt, and of its roll too", ge=0, le=15)] = 1.0
    draws: Annotated[int, Strict(), key("", "how many sites that are a little off", ge=1, le=100000)] = 200


class RouteSetting(Table):
    """Who walks the open routes, and over what."""

    steepest: Annotated[Number, key("percent", "rise or fall that is walked", gt=0, le=1000)] = 100.0
    figure: Annotated[Text | None, key("", "who walks; none is the site's figure")] = None


class WalkTestSetting(Table):
    """Borrowed walk tests, tried where a grade is given."""

    grade: Annotated[
        int | None, Strict(), key("", "grade of the tests to try; none is no test", ge=1, le=4)
    ] = None
    file: Annotated[
        FileName | None, key("", "your own copy of the tests; none is the one that comes along")
    ] = None
    points: Annotated[
        int, Strict(), key("", "most walks that `walktest` chooses for what they tell of a unit", ge=4, le=60)
    ] = 12
    wrong: Annotated[
        Number, key("", "share of its answers that may be wrong by chance", ge=0.001, le=0.4)
    ] = 0.05


class WalkTested(Table):
    """A walk test that was done and read."""

    name: Annotated[Text, key("", "of the option that was walked")]
    on: Annotated[Day, key("", "the day")]
    points: Annotated[int, Strict(), key("", "how many points were walked", ge=1, le=100000)]
    as_told: Annotated[
        int, Strict(), key("", "at how many of them the indicator did what was told", ge=0, le=100000)
    ]

    @model_validator(mode="after")
    def _no_more(self) -> "WalkTested":
        if self.as_told > self.points:
            raise UnfitError(f"as_told {self.as_told} is more than points {self.points}", "count again")
        return self


class PaperSetting(Table):
    """What a printed page says of itself, as it is given."""

    client: Annotated[Text | None, key("", "for whom the pages are")] = None
    by: Annotated[Text | None, key("", "who made them")] = None
    logo: Annotated[
        FileName | None, key("", "their sign, on the cover of a report: a PNG or JPEG, by its path")
    ] = None
    revision: Annotated[Text | None, key("", "which issue of them")] = None
    units: Annotated[
        Literal["m", "ft"],
        key("", "what lengths are told in to whoever reads: metres or feet; results and maps stay in metres"),
    ] = "m"
    date: Annotated[Day | None, key("", "the day on each page; a date given to a command comes first")] = None


#: Sizes of conductors that have a resistance of their own in the tables, mm2.
CONDUCTOR_SIZES = (0.22, 0.5, 0.75, 1.0, 1.5, 2.5)


class SupplyRun(Table):
    """A cable with a core to each place and one back."""

    start: Annotated[Text, key("", 'where it starts: "panel", or where another run ends', alias="from")] = (
        "panel"
    )
    to: Annotated[Text, key("", "where it ends: a mount, or a joint that another run starts from")]
    path: Annotated[
        Path2 | None, key("coordinates", "along the ground, which gives its length; or length")
    ] = None
    length: Annotated[Number | None, key("metres", "of the cable; or path", gt=0, le=5000)] = None
    extra: Annotated[
        Number, key("metres", "of cable besides: up a pole, into the ground, spare", ge=0, le=500)
    ] = 0.0
    mm2: Annotated[Number | None, key("mm2", "size of each core; or awg, or ohm_per_km", gt=0)] = None
    awg: Annotated[
        int | None, Strict(), key("", "the same as a gauge of wire; or mm2, or ohm_per_km", ge=6, le=30)
    ] = None
    ohm_per_km: Annotated[
        Number | None, key("ohms a kilometre", "of one core at 20 degrees C; or mm2, or awg", gt=0, le=1000)
    ] = None
    iec_class: Annotated[
        Literal[1, 2, 5, 6],
        key("", "of the conductor: 1 solid, 2 stranded, 5 and 6 flexible (IEC 60228)", alias="class"),
    ] = 2
    tinned: Annotated[bool, Strict(), key("", "whether a flexible core is tinned")] = False
    temperature: Annotated[
        Number | None, key("degrees C", "of the copper; none is that of [supply]", ge=-40, le=90)
    ] = None
    price: Annotated[
        Number | None, key("", "of a metre, in the money of the types; none is not priced", ge=0)
    ] = None

    @model_validator(mode="after")
    def _once(self) -> "SupplyRun":
        if (self.path is None) == (self.length is None):
            raise UnfitError("exactly one of path and length is needed", "keep one of them")
        if sum(given is not None for given in (self.mm2, self.awg, self.ohm_per_km)) != 1:
            raise UnfitError("exactly one of mm2, awg and ohm_per_km is needed", "keep one of them")
        if self.mm2 is not None and self.mm2 not in CONDUCTOR_SIZES:
            raise UnfitError(
                f"{self.mm2:g} mm2 is no size of the table",
                f"give one of {', '.join(f'{size:g}' for size in CONDUCTOR_SIZES)}, or ohm_per_km of a core",
            )
        return self


class SupplyItem(Table):
    """Something else that is bought for the supply."""

    name: Annotated[Text, key("", "as it is called in the list of materials")]
    count: Annotated[int, Strict(), key("", "how many", ge=1, le=100000)] = 1
    price: Annotated[Number | None, key("", "of one; none is not priced", ge=0)] = None


class SupplySetting(Table):
    """What feeds the units: the panel, its battery and the cables."""

    volts: Annotated[Number, key("volts", "of the panel while it has mains", gt=0, le=60)]
    lowest_volts: Annotated[
        Number | None,
        key("volts", "of the panel when its battery is near its end; none is as with mains", gt=0, le=60),
    ] = None
    panel: Annotated[Point | None, key("coordinates", "where the panel is")] = None
    milliamps: Annotated[
        Number | None, key("milliamps", "most that the panel can give the units; none is not told", gt=0)
    ] = None
    own_milliamps: Annotated[
        Number, key("milliamps", "that the panel and all else on its battery draw", ge=0)
    ] = 0.0
    temperature: Annotated[
        Number, key("degrees C", "of the copper of all runs, on the warmest day", ge=-40, le=90)
    ] = 40.0
    standby_hours: Annotated[
        Number | None, key("hours", "without mains that the battery has to last; none is no battery", gt=0)
    ] = None
    alarm_hours: Annotated[Number, key("hours", "in alarm that it has to last after them", ge=0, le=24)] = 0.5
    battery_ah: Annotated[Number | None, key("ampere hours", "of the battery that is there", gt=0)] = None
    battery_temperature: Annotated[
        Number, key("degrees C", "coldest that the battery has to work in", ge=-3.9, le=51.7)
    ] = 25.0
    ageing: Annotated[
        Number, key("", "by how much a new battery is larger than an old one has to be", ge=1, le=3)
    ] = 1.25
    battery_price: Annotated[Number | None, key("", "of the battery; none is not priced", ge=0)] = None
    run: Annotated[tuple[SupplyRun, ...], key("", "the cables")] = ()
    item: Annotated[tuple[SupplyItem, ...], key("", "what else is bought")] = ()

    @model_validator(mode="after")
    def _falls(self) -> "SupplySetting":
        if self.lowest_volts is not None and self.lowest_volts > self.volts:
            raise UnfitError(
                f"lowest_volts {self.lowest_volts:g} is above volts {self.volts:g}",
                "a battery near its end gives less than the panel with mains",
            )
        return self


class SearchSetting(Table):
    """What a search may use, and what a set of units is to be."""

    types: Annotated[tuple[FileName, ...], key("", "built-in types, or paths of your own")] = (
        "one-head-90",
        "two-head-180",
    )
    bearing_step: Annotated[
        Number,
        key(
            "degrees",
            "from one bearing to the next, a part of 360; also how far aim may be off",
            ge=0.5,
            le=90,
        ),
    ] = 2.5
    tilts: Annotated[
        tuple[Annotated[Number, Field(ge=-30, le=30)], ...] | None,
        key(
            "degrees",
            "tilts to try; none is whole degrees as steep as the ground, 4 to 12 each way",
            min_length=1,
        ),
    ] = None
    ranges: Annotated[
        tuple[Annotated[Number, Field(gt=0)], ...] | None,
        key("metres", "range settings to try; none is all that each type has", min_length=1),
    ] = None
    units: Annotated[
        int,
        Strict(),
        key(
            "",
            "most units of a set; with budget, milliamps or hold no limit where it is left out",
            ge=1,
            le=50,
        ),
    ] = 1
    budget: Annotated[Number | None, key("", "most money, in that of the types' prices", gt=0)] = None
    hold: Annotated[
        Number | None, key("", "share of what counts, by weight, to be held at least cost", gt=0, le=1)
    ] = None
    milliamps: Annotated[
        Number | None, key("milliamps", "most current that a set may draw, by the types' [supply]", gt=0)
    ] = None
    apart: Annotated[bool, Strict(), key("", "two units may not see each other")] = False
    masks: Annotated[
        bool,
        Strict(),
        key("", "zones that reach `keep_out` ground are masked; false leaves such settings out"),
    ] = False
    mask_nuisances: Annotated[
        bool, Strict(), key("", "zones in which a `[[nuisance]]` thing is seen within range are masked")
    ] = False


class FigureShape(Table):
    name: Annotated[Text, key("", "as walks and settings name it")]
    height: Annotated[
        Number, key("metres", "above the ground; below 1.3 m it counts as an animal", gt=0, le=2.5)
    ]


def one_or_each(given: Any) -> Any:
    """One value for all layers, or a list of one each."""
    return given if isinstance(given, (list, tuple)) else (given,)


def _arcs(given: Any) -> Any:
    """One arc, or a list of them."""
    is_one = isinstance(given, (list, tuple)) and len(given) == 2 and not isinstance(given[0], (list, tuple))
    return (given,) if is_one else given


class HeadShape(Table):
    """One head of a unit set by itself, in the type's order; what is left out is as the unit has it."""

    pan: Annotated[Angle | None, key("degrees", "of the head within the housing, clockwise")] = None
    range: Annotated[Number | None, key("metres", "one of the range settings of the head", gt=0, le=100)] = (
        None
    )
    sensitivity: Annotated[
        tuple[Text, ...] | None,
        BeforeValidator(one_or_each),
        key("", "by the type's names; one for all its layers, or a list of one each", min_length=1),
    ] = None
    fill: Annotated[
        tuple[Annotated[Number, Field(gt=0, le=1)], ...] | None,
        BeforeValidator(one_or_each),
        key(
            "", "the same as a share of a layer; one for all its layers, or a list of one each", min_length=1
        ),
    ] = None
    pulses: Annotated[int | None, Strict(), key("", "pulses of an alarm", ge=1, le=1000)] = None
    masked: Annotated[
        tuple[Annotated[int, Strict(), Field(ge=1, le=1000)], ...],
        key("", "zones that are covered, counted from 1 at the left as the unit looks out"),
    ] = ()
    masked_arc: Annotated[
        tuple[tuple[Angle, Angle], ...],
        BeforeValidator(_arcs),
        key("degrees", "from and to, right of the middle of the head: what is covered; or a list of these"),
    ] = ()

    @model_validator(mode="after")
    def _goes_together(self) -> "HeadShape":
        _sensitivity_once(self.sensitivity, self.fill)
        for low, high in self.masked_arc:
            if low >= high:
                raise UnfitError(
                    f"masked_arc runs from {low:g} to {high:g}", "give its left end first, the left negative"
                )
        return self


def _sensitivity_once(sensitivity: Any, fill: Any) -> None:
    if sensitivity is not None and fill is not None:
        raise UnfitError("sensitivity and fill say the same thing twice", "keep one of them")


class DetectorSetting(Table):
    name: Annotated[Text, key("", "as it is called; one of a kind in its option")]
    mount: Annotated[Text, key("", "name of its mount")]
    type: Annotated[FileName, key("", "a built-in type, or the path of your own")]
    height: Annotated[MountHeight, key("metres", "above the ground at the mount")]
    bearing: Annotated[Angle, key("degrees", "facing, clockwise from true north")]
    tilt: Annotated[Number, key("degrees", "nose down is positive", ge=-30, le=30)] = 0.0
    roll: Annotated[Number, key("degrees", "right side down is positive", ge=-30, le=30)] = 0.0
    range: Annotated[Number, key("metres", "one of the range settings of its type", gt=0, le=100)] = 12.0
    pan: Annotated[
        tuple[Angle, ...] | None, key("degrees", "of each head within the housing; none is as the type says")
    ] = None
    fill: Annotated[
        Number | None, key("", "share of a layer that breaks it; none is the type's", gt=0, le=1)
    ] = None
    pulses: Annotated[
        int | None,
        Strict(),
        key("", "pulses of an alarm; none is the first that the type offers", ge=1, le=1000),
    ] = None
    sensitivity: Annotated[Text | None, key("", "sensitivity setting by the type's name for it; or fill")] = (
        None
    )
    bracket: Annotated[bool, Strict(), key("", "whether it is on its bracket, and not flat")] = False
    head: Annotated[
        tuple[HeadShape, ...], key("", "what is set head by head, one table for each head of the type")
    ] = ()

    @model_validator(mode="after")
    def _goes_together(self) -> "DetectorSetting":
        _sensitivity_once(self.sensitivity, self.fill)
        if self.pan is not None and any(head.pan is not None for head in self.head):
            raise UnfitError("pan is given for the unit and for a head", "keep one of them")
        return self


class Option(Table):
    name: Annotated[Text, key("", "as it is called")]
    combine: Annotated[Literal["any", "all"], key("", "whether any or all units have to hold ground")] = "any"
    detector: Annotated[tuple[DetectorSetting, ...], key("", "its units", min_length=1)]

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


#: The tables of shapes; what else has a key `file` names a file of another kind by it.
_SHAPES = {
    "solid", "foliage", "mount", "mark", "protect", "treat", "walk", "approach", "section", "nuisance",
    "beyond",
}  # fmt: skip


class Site(Table):
    """A whole site file. Lists of shapes may hold `FileRef` entries until the survey is read."""

    site: SiteHead
    ground: GroundSource
    solid: tuple[OrFile[SolidShape], ...] = ()
    foliage: tuple[OrFile[FoliageShape], ...] = ()
    mount: tuple[OrFile[MountShape], ...] = ()
    mark: tuple[OrFile[MarkShape], ...] = ()
    protect: tuple[OrFile[ProtectShape], ...] = ()
    treat: tuple[OrFile[TreatShape], ...] = ()
    figure: tuple[FigureShape, ...] = ()
    walk: tuple[OrFile[WalkShape], ...] = ()
    approach: tuple[OrFile[ApproachShape], ...] = ()
    section: tuple[OrFile[SectionShape], ...] = ()
    nuisance: tuple[OrFile[NuisanceShape], ...] = ()
    beyond: tuple[OrFile[BeyondShape], ...] = ()
    boundary: BoundaryShape | None = None
    option: tuple[Option, ...] = ()
    scenario: tuple[ScenarioShape, ...] = ()
    heat: HeatSetting = HeatSetting()
    sun: SunSetting = SunSetting()
    doubt: DoubtSetting = DoubtSetting()
    routes: RouteSetting = RouteSetting()
    walk_test: WalkTestSetting = WalkTestSetting()
    walk_tested: tuple[WalkTested, ...] = ()
    supply: SupplySetting | None = None
    search: SearchSetting = SearchSetting()
    paper: PaperSetting = PaperSetting()

    @model_validator(mode="before")
    @classmethod
    def _single_tables(cls, raw: Any) -> Any:
        """`[mount] file = ...` means the same as `[[mount]] file = ...`."""
        if not isinstance(raw, Mapping):
            return raw
        return {
            key: [value] if key in _SHAPES and isinstance(value, dict) and "file" in value else value
            for key, value in raw.items()
        }

    @model_validator(mode="after")
    def _names_differ(self) -> "Site":
        kinds = (
            "mount", "mark", "protect", "option", "scenario", "figure", "walk", "approach", "section",
            "nuisance", "beyond", "walk_tested",
        )  # fmt: skip
        for kind in kinds:
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

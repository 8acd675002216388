"""The site file (TOML) as frozen, checked values; a wrong key names the nearest right one."""

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Strict,
    Tag,
    ValidationError,
    model_validator,
)

from terrain3d.errors import InputError

Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Coordinate = Annotated[Number, Field(ge=-1e8, le=1e8)]
Text = Annotated[str, Strict(), Field(min_length=1, max_length=300)]
Angle = Annotated[Number, Field(ge=-360, le=360)]
Point = tuple[Coordinate, Coordinate]
Outline = Annotated[tuple[Point, ...], Field(min_length=3)]
Path2 = Annotated[tuple[Point, ...], Field(min_length=2)]
MountHeight = Annotated[Number, Field(gt=0, le=10)]


class Table(BaseModel):
    """One table of a TOML file: unknown keys are errors, values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


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
    file: Text | None = None
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
            raise ValueError(f"exactly one of file, plane, points is needed, found {found}")
        if self.file is None and self.vertical_unit is not None:
            raise ValueError("vertical_unit goes with file; drawn ground is in metres")
        return self


class FileRef(Table):
    """A list of shapes kept in a GeoJSON or GeoPackage layer; `also` holds keys for all of them."""

    model_config = ConfigDict(extra="allow", frozen=True)
    file: Text
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
            raise ValueError("exactly one of path (a wall) and outline (a block) is needed")
        if self.path is not None and self.thickness is None:
            raise ValueError("a wall needs its thickness in metres")
        if self.path is None and self.thickness is not None:
            raise ValueError("thickness goes with path, not with outline")
        if self.base >= self.height:
            raise ValueError(f"base {self.base} is not below height {self.height}")
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
            raise ValueError(f"base {self.base} is not below height {self.height}")
        return self


class MountShape(Table):
    name: Text
    at: Point
    heights: Annotated[tuple[MountHeight, ...], Field(min_length=1)] = (0.8, 1.0, 1.2)


class ProtectShape(Table):
    name: Text
    outline: Outline
    weight: Annotated[Number, Field(gt=0, le=1e6)] = 1.0


class TreatShape(Table):
    """Overrides, inside an outline, what points standing above the ground are taken for."""

    outline: Outline
    take_as: Annotated[Literal["solid", "foliage", "ground", "nothing"], Field(alias="as")]


class FigureShape(Table):
    name: Text
    height: Annotated[Number, Field(gt=0, le=2.5)]


class DetectorSetting(Table):
    name: Text
    mount: Text
    type: Text
    height: MountHeight
    bearing: Angle
    tilt: Annotated[Number, Field(ge=-30, le=30)] = 0.0
    roll: Annotated[Number, Field(ge=-30, le=30)] = 0.0
    range: Annotated[Number, Field(gt=0, le=100)] = 12.0
    #: Pan of each head in degrees, where the installer turned them within the housing.
    pan: tuple[Angle, ...] | None = None
    #: Share of a layer a figure must fill to break it; None takes the type's.
    fill: Annotated[Number, Field(gt=0, le=1)] | None = None


class Option(Table):
    name: Text
    combine: Literal["any", "all"] = "any"
    detector: Annotated[tuple[DetectorSetting, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _names_differ(self) -> "Option":
        _no_twins((d.name for d in self.detector), "detector")
        return self


# The tags show in pydantic's own locations; the angle brackets keep them apart from keys.
_DRAWN, _IN_A_FILE = "<drawn>", "<in a file>"


def _kind(entry: Any) -> str:
    in_a_file = isinstance(entry, FileRef) or (isinstance(entry, dict) and "file" in entry)
    return _IN_A_FILE if in_a_file else _DRAWN


_Shape = TypeVar("_Shape", bound=Table)
OrFile = Annotated[Annotated[_Shape, Tag(_DRAWN)] | Annotated[FileRef, Tag(_IN_A_FILE)], Discriminator(_kind)]


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
    option: tuple[Option, ...] = ()

    @model_validator(mode="after")
    def _names_differ(self) -> "Site":
        for kind in ("mount", "protect", "option", "figure"):
            _no_twins((s.name for s in getattr(self, kind) if not isinstance(s, FileRef)), kind)
        return self


T = TypeVar("T", bound=Table)


def load_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    InputError
        With the key at fault, up to five of them in one message.
    """
    return checked(Site, read_toml(path), str(path))


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file, unchecked."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("there is no such file", str(path), "check the path") from None
    except IsADirectoryError:
        raise InputError("this is a folder", str(path), "name the .toml file in it") from None
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror}", str(path), "check its permissions") from None
    except UnicodeDecodeError:
        raise InputError("it is not a text file in UTF-8", str(path), "name a TOML file") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"it is not TOML: {error}", str(path), "mend the file at that line") from None


def checked(model: type[T], raw: Mapping[str, Any], where: str) -> T:
    """Build `model` from TOML tables, turning every fault into one readable message.

    Examples
    --------
    >>> checked(SiteHead, {"name": "hill", "figgure": "dog"}, "site.toml")
    Traceback (most recent call last):
    terrain3d.errors.InputError: unknown key 'figgure'
      where: site.toml: figgure
      to mend: did you mean 'figure'?
    """
    try:
        # A site file without lists still validates: a single table stands for a list of one.
        return model.model_validate(_tables_as_lists(model, raw))
    except ValidationError as error:
        raise _as_input_error(model, error, where) from None


def _tables_as_lists(model: type[Table], raw: Mapping[str, Any]) -> dict[str, Any]:
    """`[mount] file = ...` means the same as `[[mount]] file = ...`."""
    if model is not Site:
        return dict(raw)
    return {
        key: [value] if isinstance(value, dict) and "file" in value and key != "ground" else value
        for key, value in raw.items()
    }


def _as_input_error(model: type[Table], error: ValidationError, where: str) -> InputError:
    faults = [
        (tuple(part for part in fault["loc"] if part not in (_DRAWN, _IN_A_FILE)), fault)
        for fault in error.errors(include_url=False)
    ]
    # A list that lost an entry to a fault is reported as too short as well: noise.
    faults = [
        (loc, fault)
        for loc, fault in faults
        if not any(len(other) > len(loc) and other[: len(loc)] == loc for other, _ in faults)
    ]
    # A misspelt key also leaves the right one missing: say the cause first.
    faults.sort(key=lambda pair: pair[1]["type"] != "extra_forbidden")
    (what, key, mend), *more = [_explain(model, loc, fault) for loc, fault in faults[:5]]
    for other_what, other_key, other_mend in more:
        mend += f"\n  also: {other_what} ({other_key}); {other_mend}"
    return InputError(what, f"{where}: {key}" if key else where, mend)


def _explain(model: type[Table], loc: tuple[str | int, ...], fault: Any) -> tuple[str, str, str]:
    key = _dotted(loc)
    kind, value = fault["type"], fault["input"]
    if kind == "extra_forbidden":
        known = sorted(_keys_at(model, loc[:-1]))
        near = difflib.get_close_matches(str(loc[-1]), known, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
        return f"unknown key {str(loc[-1])!r}", key, mend
    if kind == "missing":
        return f"the key {str(loc[-1])!r} is missing", key, "add it"
    if kind == "value_error":
        return str(fault["ctx"]["error"]), key, "mend these keys"
    shown = repr(value) if len(repr(value)) <= 60 else repr(value)[:57] + "..."
    rule = fault["msg"].removeprefix("Input should be ").removeprefix("Value should have ")
    return f"{shown} cannot be used", key, f"needed: {rule}"


def _dotted(loc: tuple[str | int, ...]) -> str:
    text = ""
    for part in loc:
        text += f"[{part}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def _keys_at(model: type[Table], loc: tuple[str | int, ...]) -> set[str]:
    """The keys that the table at `loc` may hold, following the models' own fields."""
    models: list[type[Table]] = [model]
    for part in loc:
        if isinstance(part, int):
            continue
        models = [
            inner
            for owner in models
            for name, info in owner.model_fields.items()
            if part in (name, info.alias)
            for inner in _models_in(info.annotation)
        ]
    return {info.alias or name for owner in models for name, info in owner.model_fields.items()}


def _models_in(annotation: Any) -> list[type[Table]]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [inner for arg in get_args(annotation) for inner in _models_in(arg)]


def _no_twins(names: Any, kind: str) -> None:
    seen = set()
    for name in names:
        if name in seen:
            raise ValueError(f"two of {kind} are named {name!r}; names must differ")
        seen.add(name)

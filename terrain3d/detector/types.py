"""Detector types: a TOML file each, built in or the user's own, as frozen, checked values."""

import difflib
import math
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, Strict, model_validator

from terrain3d.errors import InputError
from terrain3d.tables import Number, Table, Text, UnfitError, checked, key, read_toml

Count = Annotated[int, Strict(), Field(ge=1, le=1000)]


class Layer(Table):
    """One stack level of a head.

    `elevation` is degrees above level, or "range": then the axis meets level ground at the range
    setting when the unit is at its nominal height, a fixed angle in the unit.
    """

    name: Annotated[Text, key("", "`upper`, `lower`, or as you like")]
    elevation: Annotated[
        Annotated[Number, Field(ge=-45, le=45)] | Literal["range"],
        key("degrees", 'of its axis above level; "range" is down to the range setting from nominal height'),
    ]
    thickness: Annotated[Number, key("degrees", "from its lower edge to its upper", gt=0, le=20)]
    zones: Annotated[Count, key("", "zones side by side over the arc")] = 1


class Head(Table):
    """One fan of sensing: an arc in plan, layers in elevation, panned within the housing."""

    pan: Annotated[Number, key("degrees", "off the unit's bearing, clockwise", ge=-180, le=180)] = 0.0
    arc: Annotated[Number, key("degrees", "plan angle that is judged, from edge to edge", gt=0, le=360)]
    nominal_arc: Annotated[
        Number | None, key("degrees", "what the sheet calls it; judged by nobody", gt=0, le=360)
    ] = None
    layer: Annotated[tuple[Layer, ...], key("", "its layers", min_length=1, max_length=8)]

    @model_validator(mode="after")
    def _names_differ(self) -> "Head":
        if len({layer.name for layer in self.layer}) < len(self.layer):
            raise UnfitError("two layers of a head have one name", "give each a name of its own")
        return self


class Supply(Table):
    """What a unit draws: told, judged by nobody."""

    volts: Annotated[
        tuple[Annotated[Number, Field(gt=0)], Annotated[Number, Field(gt=0)]],
        key("volts", "lowest and highest"),
    ]
    milliamps: Annotated[Number, key("milliamps", "drawn", gt=0)]


class DetectorType(Table):
    """What a unit can do; the heights are metres, the angles degrees."""

    name: Annotated[Text, key("", "as results name it")]
    about: Annotated[Text, key("", "what it is, for whoever reads the file")] = "no description"
    nominal_height: Annotated[
        Number,
        key(
            "metres", 'height at which layers at "range" meet level ground at the range setting', gt=0, le=10
        ),
    ]
    mount_height: Annotated[
        tuple[Annotated[Number, Field(gt=0)], Annotated[Number, Field(gt=0, le=10)]],
        key("metres", "lowest and highest allowed; outside it every output warns"),
    ]
    max_range: Annotated[
        Number, key("metres", "slant distance out to which it senses a person", gt=0, le=100)
    ]
    range_settings: Annotated[
        tuple[Annotated[Number, Field(gt=0)], ...], key("metres", "that it has", min_length=1)
    ]
    pulses: Annotated[tuple[Count, ...], key("", "pulse settings that it has", min_length=1)] = (1,)
    pulse_window: Annotated[
        Number, key("seconds", "within which the pulses of one alarm must fall", gt=0, le=600)
    ] = 10.0
    price: Annotated[Number | None, key("", "of a unit, fixed, in any money; none is not priced", ge=0)] = (
        None
    )
    alarm: Annotated[Literal["all", "any"], key("", "layers of one head that an alarm needs broken")] = "all"
    fill: Annotated[Number, key("", "share of a layer that a figure must fill to break it", gt=0, le=1)] = 0.5
    head: Annotated[
        tuple[Head, ...], key("", "its heads, from left to right or as you like", min_length=1, max_length=8)
    ]
    supply: Annotated[Supply | None, key("", "what it draws")] = None

    @model_validator(mode="after")
    def _consistent(self) -> "DetectorType":
        low, high = self.mount_height
        if low > high:
            raise UnfitError(f"mount_height runs from {low:g} to {high:g}", "put the lower one first")
        longest = max(self.range_settings)
        if longest > self.max_range:
            raise UnfitError(
                f"range setting {longest:g} m is beyond max_range {self.max_range:g} m",
                "raise max_range or leave that setting out",
            )
        steepest = math.degrees(math.atan(self.nominal_height / min(self.range_settings)))
        if steepest > 45:
            raise UnfitError(
                f"the shortest range setting points a layer {steepest:.0f} degrees down; 45 is the limit",
                "leave that setting out or lower nominal_height",
            )
        return self


def lower_elevation_deg(nominal_height_m: float, range_m: float) -> float:
    """Elevation of a layer that meets level ground at the range setting: -atan(height / range).

    >>> round(lower_elevation_deg(1.0, 12.0), 2)
    -4.76
    """
    return -math.degrees(math.atan(nominal_height_m / range_m))


def builtin_names() -> list[str]:
    """Names of the types that come with the package, sorted.

    >>> builtin_names()
    ['one-head-90', 'two-head-180']
    """
    folder = files("terrain3d.detector").joinpath("builtin")
    return sorted(
        entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")
    )


def load_type(name: str, folder: Path | str = ".") -> DetectorType:
    """A detector type by its built-in name, or by the path of a user's own TOML file.

    Parameters
    ----------
    name : str
        A built-in name; or a path that ends in `.toml`, relative to `folder`.
    folder : Path or str
        Where the site file lies; the built-in types need none.

    Examples
    --------
    >>> load_type("one-head-90").head[0].arc
    90.0
    >>> load_type("one-head-09")
    Traceback (most recent call last):
    terrain3d.errors.InputError: unknown detector type 'one-head-09'
      to mend: did you mean 'one-head-90'? Your own types are named by a path ending in .toml
    """
    if name.endswith(".toml"):
        path = Path(folder) / name
    elif name in builtin_names():
        path = Path(str(files("terrain3d.detector").joinpath("builtin", f"{name}.toml")))
    else:
        near = difflib.get_close_matches(name, builtin_names(), n=1) or builtin_names()
        raise InputError(
            f"unknown detector type {name!r}",
            mend=f"did you mean {near[0]!r}? Your own types are named by a path ending in .toml",
        )
    return checked(DetectorType, read_toml(path), str(path))

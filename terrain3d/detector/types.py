"""Detector types: a TOML file each, built in or the user's own, as frozen, checked values."""

import difflib
import math
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, Strict, model_validator

from terrain3d.errors import InputError
from terrain3d.tables import Number, Table, Text, UnfitError, checked, key, read_toml

Count = Annotated[int, Strict(), Field(ge=1, le=1000)]
#: Share of a layer that breaks it.
Share = Annotated[Number, Field(gt=0, le=1)]
#: Range settings, metres.
Ranges = tuple[Annotated[Number, Field(gt=0)], ...]
#: What the second sense is called beside the layers.
MICROWAVE = "microwave"


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
    arc: Annotated[Number, key("degrees", "plan angle that is judged, from edge to edge", ge=1, le=360)]
    nominal_arc: Annotated[
        Number | None, key("degrees", "what the sheet calls it; judged by nobody", gt=0, le=360)
    ] = None
    range_settings: Annotated[
        Ranges | None, key("metres", "that this head has; none is as the type says", min_length=1)
    ] = None
    layer: Annotated[tuple[Layer, ...], key("", "its layers", min_length=1, max_length=8)]

    @property
    def zones(self) -> int:
        """The zones that are numbered where some are masked: those of the layer that has most."""
        return max(layer.zones for layer in self.layer)

    @model_validator(mode="after")
    def _names_differ(self) -> "Head":
        if len({layer.name for layer in self.layer}) < len(self.layer):
            raise UnfitError("two layers of a head have one name", "give each a name of its own")
        return self


class Supply(Table):
    """What a unit draws."""

    volts: Annotated[
        tuple[Annotated[Number, Field(gt=0)], Annotated[Number, Field(gt=0)]],
        key("volts", "lowest and highest"),
    ]
    milliamps: Annotated[Number, key("milliamps", "drawn", gt=0)]
    alarm_milliamps: Annotated[
        Number | None, key("milliamps", "drawn in alarm; none is no more than else", gt=0)
    ] = None
    power_at: Annotated[
        Number | None,
        key(
            "volts",
            "at which it draws that, where it takes more current from less voltage (a switching regulator); "
            "none draws the same at any",
            gt=0,
        ),
    ] = None

    @property
    def most_milliamps(self) -> float:
        """Drawn in alarm."""
        return self.milliamps if self.alarm_milliamps is None else self.alarm_milliamps


class Microwave(Table):
    """A second sense of the unit: a lobe about its bearing, tilted and rolled with it."""

    arc: Annotated[Number, key("degrees", "plan angle of the lobe, from edge to edge", gt=0, le=360)]
    elevation: Annotated[Number, key("degrees", "of its axis above level", ge=-45, le=45)] = 0.0
    thickness: Annotated[Number, key("degrees", "from its lower edge to its upper", gt=0, le=90)]
    range: Annotated[Number, key("metres", "out to which it senses a whole person in the open", gt=0, le=100)]
    frequency_ghz: Annotated[Number, key("gigahertz", "of its waves", ge=1, le=100)]
    needs: Annotated[
        Literal["also", "either"],
        key("", '"also": an alarm takes it and the layers; "either": it or the layers'),
    ] = "also"
    slowest_mps: Annotated[
        Number, key("metres a second", "towards or away, that it still senses", gt=0, le=10)
    ] = 0.2


class AntiMasking(Table):
    """The watch against covering: what stands close before the unit disturbs it."""

    reach: Annotated[Number, key("metres", "in front that must stay free", gt=0, le=5)]
    arc: Annotated[Number, key("degrees", "about the unit's bearing, from edge to edge", gt=0, le=360)] = (
        180.0
    )


def each_way(given: Any) -> Any:
    """One number stands for that much each way."""
    is_one = isinstance(given, (int, float)) and not isinstance(given, bool)
    return (-abs(given), abs(given)) if is_one else given


class Fixing(Table):
    """How far a housing can be turned where it is fixed, about what the wall faces."""

    swivel: Annotated[Number, key("degrees", "each way about the wall's facing", ge=0, le=180)]
    tilt: Annotated[
        tuple[Annotated[Number, Field(ge=-30, le=30)], Annotated[Number, Field(ge=-30, le=30)]],
        BeforeValidator(each_way),
        key("degrees", "lowest and highest, nose down positive; one number is each way"),
    ] = (-30.0, 30.0)

    @model_validator(mode="after")
    def _in_order(self) -> "Fixing":
        low, high = self.tilt
        if low > high:
            raise UnfitError(f"tilt runs from {low:g} to {high:g}", "put the lower one first")
        return self


class Mounting(Fixing):
    """Limits of a unit flat on its wall or pole, and on the bracket that it can have."""

    bracket: Annotated[Fixing | None, key("", "the same on its bracket; none is no bracket")] = None


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
    sensitivity: Annotated[
        dict[Text, Share] | None,
        key("", "its sensitivity settings by name, and the share of a layer that each takes", min_length=1),
    ] = None
    head: Annotated[
        tuple[Head, ...], key("", "its heads, from left to right or as you like", min_length=1, max_length=8)
    ]
    supply: Annotated[Supply | None, key("", "what it draws")] = None
    microwave: Annotated[Microwave | None, key("", "its second sense")] = None
    anti_masking: Annotated[AntiMasking | None, key("", "its watch against covering")] = None
    mounting: Annotated[Mounting | None, key("", "how it can be turned; none is any way")] = None

    def ranges_of(self, head: int) -> tuple[float, ...]:
        """Range settings of a head, counted from 0, metres."""
        own = self.head[head].range_settings
        return self.range_settings if own is None else own

    @property
    def reach_m(self) -> float:
        """How far any of its senses reaches, metres."""
        return max(self.max_range, self.microwave.range if self.microwave else 0.0)

    @model_validator(mode="after")
    def _consistent(self) -> "DetectorType":
        low, high = self.mount_height
        if low > high:
            raise UnfitError(f"mount_height runs from {low:g} to {high:g}", "put the lower one first")
        every = [r for h in range(len(self.head)) for r in self.ranges_of(h)] + list(self.range_settings)
        longest = max(every)
        if longest > self.max_range:
            raise UnfitError(
                f"range setting {longest:g} m is beyond max_range {self.max_range:g} m",
                "raise max_range or leave that setting out",
            )
        if self.microwave is not None and any(
            layer.name == MICROWAVE for head in self.head for layer in head.layer
        ):
            raise UnfitError(f"a layer is called {MICROWAVE!r} beside the microwave", "call it otherwise")
        steepest = math.degrees(math.atan(self.nominal_height / min(every)))
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

    >>> builtin_names()  # doctest: +NORMALIZE_WHITESPACE
    ['one-head-90', 'one-head-90-battery', 'one-head-90-microwave', 'one-head-90-watched', 'one-head-narrow',
     'two-head-180', 'two-head-180-fitted']
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

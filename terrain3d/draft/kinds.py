"""What can be drawn on the ground: kinds, forms and fields, as the site file's own models say."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from terrain3d.errors import InputError
from terrain3d.site import (
    ApproachShape,
    BeyondShape,
    BoundaryShape,
    FoliageShape,
    MarkShape,
    MountShape,
    NuisanceShape,
    ProtectShape,
    SectionShape,
    SolidShape,
    TreatShape,
    WalkShape,
)
from terrain3d.tables import Table, checked, metadata_of, unit_of

Form = Literal["point", "line", "outline"]
#: The key that holds the points of each form, and how many points it takes at least.
POINTS: dict[Form, tuple[str, int]] = {"point": ("at", 1), "line": ("path", 2), "outline": ("outline", 3)}


@dataclass(frozen=True)
class Field:
    """One key of a thing.

    Parameters
    ----------
    key : str
        In the site file.
    label : str
        What a person reads beside it.
    unit : str
        What a number is in; empty where it has none.
    low, high : float or None
        Bounds of a number.
    choices : tuple of str
        Words that it takes; none where it is no choice.
    default : any
        What it is where it is left out; of a key that is needed, what a new thing begins with.
    meaning : str
    is_required : bool
        Whether a thing cannot be without it.
    form : {"number", "whole number", "text", "yes or no", "list"}
    is_above : bool
        Whether a number has to be more than `low`, and not merely as much.
    """

    key: str
    label: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    default: Any
    meaning: str
    is_required: bool
    form: Literal["number", "whole number", "text", "yes or no", "list"] = "number"
    is_above: bool = False


@dataclass(frozen=True)
class Kind:
    """A kind of thing that can be drawn.

    Parameters
    ----------
    name : str
    table : str
        Of the site file.
    form : {"point", "line", "outline"}
    least : int
        Points, at least.
    fields : tuple of Field
        Beside its name and its points.
    model : type
        What checks it.
    has_name : bool
    """

    name: str
    table: str
    form: Form
    least: int
    fields: tuple[Field, ...]
    model: type[Table]
    has_name: bool = True

    @property
    def points_key(self) -> str:
        return POINTS[self.form][0]

    @property
    def order(self) -> tuple[str, ...]:
        """The keys of its table in the order in which they are written."""
        return keys_of(self.model)

    def field(self, key: str) -> Field | None:
        return next((one for one in self.fields if one.key == key), None)


#: What keys are called where the key alone does not say it.
_LABELS = {
    "take_as": "taken as", "as": "taken as", "not_for": "not for types", "heights": "heights to search",
    "microwave_db": "microwave loss", "microwave_db_per_m": "microwave loss", "keep_out": "keep out",
    "wall": "wall faces", "base": "clear beneath", "density": "leaves",
}  # fmt: skip
_POINT_KEYS = ("at", "path", "outline")


def keys_of(model: type[Table]) -> tuple[str, ...]:
    """The keys of a table as a site file has them, in order."""
    return tuple(info.alias or name for name, info in model.model_fields.items())


def is_sound(model: type[Table], table: Mapping[str, Any]) -> bool:
    """Whether a table of the site file says what its model takes."""
    try:
        checked(model, table, "")
    except InputError:
        return False
    return True


def field_of(key: str, info: FieldInfo, is_needed: bool = False, start: Any = None) -> Field:
    """What is known of a key of a model."""
    low = high = None
    is_above = False
    for limit in metadata_of(info):
        for short in ("gt", "ge"):
            if hasattr(limit, short):
                low, is_above = float(getattr(limit, short)), short == "gt"
        for short in ("lt", "le"):
            if hasattr(limit, short):
                high = float(getattr(limit, short))
    default = start if start is not None else None if info.is_required() else info.get_default()
    return Field(
        key, _LABELS.get(key, key.replace("_", " ")), unit_of(info), low, high, _choices(info.annotation),
        default, info.description or "", info.is_required() or is_needed, _form(info.annotation), is_above,
    )  # fmt: skip


def made_of(annotation: Any) -> list[Any]:
    """What a type is made of, without None and the marks of pydantic."""
    if get_origin(annotation) is Annotated:
        return made_of(get_args(annotation)[0])
    if get_origin(annotation) in (Literal, tuple) or not get_args(annotation):
        return [] if annotation is type(None) else [annotation]
    return [inner for one in get_args(annotation) for inner in made_of(one)]


def _choices(annotation: Any) -> tuple[str, ...]:
    return tuple(
        str(word) for one in made_of(annotation) if get_origin(one) is Literal for word in get_args(one)
    )


def _form(annotation: Any) -> Literal["number", "whole number", "text", "yes or no", "list"]:
    kinds = made_of(annotation)
    if any(get_origin(one) is tuple for one in kinds):
        return "list"
    if bool in kinds:
        return "yes or no"
    if float in kinds:
        return "number"
    return "whole number" if int in kinds else "text"


def _kind(
    name: str,
    table: str,
    model: type[Table],
    form: Form,
    not_its: tuple[str, ...] = (),
    needed: tuple[str, ...] = (),
    start: Mapping[str, Any] | None = None,
) -> Kind:
    begins = start or {}
    fields = tuple(
        field_of(info.alias or key, info, key in needed, begins.get(info.alias or key))
        for key, info in model.model_fields.items()
        if key not in ("name", *_POINT_KEYS, *not_its)
    )
    return Kind(name, table, form, POINTS[form][1], fields, model, "name" in model.model_fields)


# What a new thing begins with where the site file needs a number: ours, so that what is drawn stands at once;
# every one of them is looked at by whoever draws it (common practice, no source).
_WALL = {"height": 1.0, "thickness": 0.2}
_HEDGE = {"height": 1.5, "thickness": 0.8, "density": "medium"}
_CROWN = {"base": 2.0, "height": 6.0, "density": "medium"}
_NUISANCE = {"height": 1.0, "width": 0.5}

#: By name, in the order in which they are offered.
KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        _kind("mount", "mount", MountShape, "point"),
        _kind("protected ground", "protect", ProtectShape, "outline"),
        _kind("wall", "solid", SolidShape, "line", (), ("thickness",), _WALL),
        _kind("block", "solid", SolidShape, "outline", ("thickness",), (), {"height": 2.5}),
        _kind("hedge", "foliage", FoliageShape, "line", (), ("thickness",), _HEDGE),
        _kind("crown", "foliage", FoliageShape, "outline", ("thickness",), (), _CROWN),
        _kind("boundary", "boundary", BoundaryShape, "outline"),
        _kind("ground of others", "beyond", BeyondShape, "outline"),
        _kind("keep-out ground", "beyond", BeyondShape, "outline", (), (), {"keep_out": True}),
        _kind("nuisance", "nuisance", NuisanceShape, "point", (), ("width",), _NUISANCE),
        _kind("nuisance along a line", "nuisance", NuisanceShape, "line", (), ("width",), _NUISANCE),
        _kind("nuisance over ground", "nuisance", NuisanceShape, "outline", ("width",), (), {"height": 0.05}),
        _kind("walk", "walk", WalkShape, "line"),
        _kind("way in", "approach", ApproachShape, "line"),
        _kind("line of section", "section", SectionShape, "line"),
        _kind("mark", "mark", MarkShape, "point"),
        _kind("returns taken otherwise", "treat", TreatShape, "outline", (), (), {"as": "nothing"}),
    )
}


def kind_of(table: str, values: Mapping[str, Any]) -> Kind | None:
    """The kind of a table of the site file, by what it is drawn with; None where it has no points.

    >>> kind_of("solid", {"path": [[0, 0], [1, 0]], "height": 1.0}).name
    'wall'
    """
    form = next((form for form, (key, _) in POINTS.items() if values.get(key) is not None), None)
    found = [kind for kind in KINDS.values() if kind.table == table and kind.form == form]
    if table == "beyond" and len(found) > 1:
        return found[1] if values.get("keep_out") is True else found[0]
    return found[0] if found else None

"""Options that were found put into the site file, beside what stands there."""

from pathlib import Path
from typing import Any

from terrain3d.paper.added_tables import entries, parsed, with_table_replaced, with_tables
from terrain3d.paper.site_file import rewrite, tried
from terrain3d.site import DetectorSetting, HeadShape, Option

#: Keys of a unit that are written even where they are what they would be without.
_ALWAYS = {"name", "mount", "type", "height", "bearing", "tilt", "range"}


def write_options(
    path: Path, as_read: bytes, options: tuple[Option, ...], replace: bool = False, comment: str = ""
) -> bytes:
    """Put options into a site file, whole or not at all.

    Parameters
    ----------
    path : Path
    as_read : bytes
        The file as it was when it was read; it must not have changed since.
    options : tuple of site.Option
    replace : bool
        Whether an option of the file that has the name of one of these gives way to it; else the
        name is refused.
    comment : str
        One line to stand in each option, right under its header.

    Returns
    -------
    bytes
        The file as it is now.

    Raises
    ------
    InputError
        When a name is taken, the file changed since it was read, may not be written, or is laid out so
        that no option can be put into it alone. The file is then as it was.
    """
    return rewrite(path, as_read, lambda text: with_options(text, options, replace, comment, str(path)))


def check_takes_options(path: Path, as_read: bytes, names: tuple[str, ...]) -> None:
    """Refuse a site file into which options of those names could not be put, before they are worked out.

    Raises
    ------
    InputError
        As `write_options`.
    """
    unit = DetectorSetting(name="D1", mount="any", type="any", height=1.0, bearing=0.0)
    options = tuple(Option(name=name, detector=(unit,)) for name in names)
    tried(path, as_read, lambda text: with_options(text, options, replace=True, where=str(path)))


def with_options(
    text: str, options: tuple[Option, ...], replace: bool = False, comment: str = "", where: str = ""
) -> str:
    """The text of a site file with options added at its end, or in the place of those of their names.

    Examples
    --------
    >>> unit = DetectorSetting(name="D1", mount="pole", type="one-head-90", height=1.0, bearing=137.5)
    >>> print(with_options("", (Option(name="best unit", detector=(unit,)),)), end="")
    [[option]]
    name = "best unit"
    [[option.detector]]
    name = "D1"
    mount = "pole"
    type = "one-head-90"
    height = 1.0
    bearing = 137.5
    tilt = 0.0
    range = 12.0
    """
    there = set()
    if replace:
        there = {entry.get("name") for entry in entries(parsed(text, where), "option", where)}
    for option in options:
        if option.name in there:
            text = with_table_replaced(text, "option", option_table(option), comment, where)
    new = [(option_table(option), comment) for option in options if option.name not in there]
    return with_tables(text, "option", new, where)


def option_table(option: Option) -> dict[str, Any]:
    """An option as the site file writes it: without keys that say what goes without saying."""
    table: dict[str, Any] = {"name": option.name}
    if option.combine != Option.model_fields["combine"].default:
        table["combine"] = option.combine
    table["detector"] = [_unit(setting) for setting in option.detector]
    return table


def _unit(setting: DetectorSetting) -> dict[str, Any]:
    unit: dict[str, Any] = {}
    for key, field in DetectorSetting.model_fields.items():
        value = getattr(setting, key)
        if key in _ALWAYS or value != field.default:
            unit[key] = [_head(head) for head in value] if key == "head" else _plain(value)
    return unit


def _head(head: HeadShape) -> dict[str, Any]:
    return {key: _plain(value) for key, value in head if value != HeadShape.model_fields[key].default}


def _plain(value: Any) -> Any:
    return [_plain(one) for one in value] if isinstance(value, tuple) else _short(value)


def _short(value: Any) -> Any:
    """A number without the dust of arithmetic: a person types no more than six decimals."""
    return round(value, 6) + 0.0 if isinstance(value, float) else value

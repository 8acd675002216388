"""What a person does to units and options: units put on mounts, set and moved; options added and named."""

from typing import TYPE_CHECKING, Any

import numpy as np

from terrain3d.draft.document import Draft
from terrain3d.draft.options import (
    added_option,
    added_unit,
    copied_option,
    options_of,
    removed_option,
    removed_unit,
    renamed_option,
    set_unit,
)
from terrain3d.errors import InputError
from terrain3d.serve import settings
from terrain3d.serve.bounds import check_names, text
from terrain3d.serve.viewing import show_option

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]


def _choose_unit(session: "PageSite", message: Message) -> None:
    state, option = session.now, text(message, "option")
    show_option(session, {"name": option})
    names = [unit.name for unit in state.option.detectors]
    if message.get("unit") not in names:
        raise InputError(
            f"there is no unit {message.get('unit')!r}", mend=f"known: {', '.join(names) or 'none'}"
        )
    state.choose_unit(names.index(message["unit"]))
    head = message.get("head")
    count = len(state.unit.type.head)
    state.head_at = head if isinstance(head, int) and 0 <= head < count and count > 1 else None
    session.chosen, session.is_unit_chosen = None, True


def _set(session: "PageSite", message: Message) -> None:
    unit = session.unit
    if unit is None:
        raise InputError("no unit is chosen", mend="choose a unit first")
    state = session.now
    head = message.get("head", state.head_at)
    head = head if isinstance(head, int) and 0 <= head < len(unit.type.head) else None
    new = settings.set_to(unit, text(message, "setting"), message.get("value"), head)
    session.set_unit_to(new, message.get("is_same") is True)


def _type(session: "PageSite", message: Message) -> None:
    unit, state = session.unit, session.now
    if unit is None:
        raise InputError("no unit is chosen", mend="choose a unit first")
    kind = text(message, "type")
    check_names(session.folder, kind)
    draft = set_unit(session.draft, state.option.name, unit.name, {"type": kind})
    session.change(draft, f"set the type of {unit.name}")


def _add_unit(session: "PageSite", message: Message) -> None:
    draft, option = session.draft, message.get("option")
    if option is None:
        option = _free_option(draft)
        draft = added_option(draft, option)
    mount = text(message, "mount")
    session.site.terrain.mount(mount)
    check_names(session.folder, text(message, "type"))
    values = {"mount": mount, "type": text(message, "type"), "bearing": _outwards(session, mount)}
    draft, unit = added_unit(draft, str(option), values)
    session.change(draft, f"put {unit} on {mount}")
    _choose_unit(session, {"option": option, "unit": unit})


def _remove_unit(session: "PageSite", message: Message) -> None:
    option, unit = text(message, "option"), text(message, "unit")
    session.change(removed_unit(session.draft, option, unit), f"remove {unit}")


def _move_unit(session: "PageSite", message: Message) -> None:
    option, unit, mount = text(message, "option"), text(message, "unit"), text(message, "mount")
    session.change(set_unit(session.draft, option, unit, {"mount": mount}), f"move {unit} to {mount}")


def _add_option(session: "PageSite", message: Message) -> None:
    name = message.get("name") or _free_option(session.draft)
    copy = message.get("copy_of")
    draft = (
        added_option(session.draft, str(name))
        if copy is None
        else copied_option(session.draft, str(copy), str(name))
    )
    session.change(draft, f"add {name}")
    if copy is not None:
        show_option(session, {"name": str(name)})


def _rename_option(session: "PageSite", message: Message) -> None:
    name, new = text(message, "name"), text(message, "new").strip()
    is_shown = session.now.option.name == name
    session.change(renamed_option(session.draft, name, new), f"rename {name}")
    if is_shown:
        show_option(session, {"name": new})


def _remove_option(session: "PageSite", message: Message) -> None:
    name = text(message, "name")
    session.change(removed_option(session.draft, name), f"remove {name}")


def _free_option(draft: Draft) -> str:
    taken = {option.name for option in options_of(draft)}
    count = 1
    while f"option {count}" in taken:
        count += 1
    return f"option {count}"


def _outwards(session: "PageSite", mount: str) -> float:
    """Where a new unit looks: away from the wall of its mount, else to the middle of protected ground."""
    terrain = session.site.terrain
    wall = terrain.wall_of(mount)
    if wall is not None:
        return wall % 360
    at = terrain.mount(mount)
    if not terrain.protect:
        return 0.0
    nearest = min(
        (area.outline.mean(axis=0) - (at.x, at.y) for area in terrain.protect),
        key=lambda way: float(np.hypot(*way)),
    )
    return float(np.round(np.degrees(np.arctan2(*nearest)) % 360 / 2.5) * 2.5 % 360)


ACTIONS = {
    "choose_unit": _choose_unit,
    "set": _set,
    "type": _type,
    "add_unit": _add_unit,
    "remove_unit": _remove_unit,
    "move_unit": _move_unit,
    "add_option": _add_option,
    "rename_option": _rename_option,
    "remove_option": _remove_option,
}

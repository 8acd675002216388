"""What a person asks of the ground: why it is held or not, the section to it, and what would hold it."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.at_point import place_at
from terrain3d.cover.profile import head_bearings, telling_bearing
from terrain3d.detector.pose import Detector
from terrain3d.draft.options import set_unit
from terrain3d.draft.things import things_of
from terrain3d.errors import InputError
from terrain3d.search.would_hold import would_hold
from terrain3d.sentences.options import brief_line
from terrain3d.serve.answers import Answer
from terrain3d.serve.bounds import FARTHEST_M, check_names, number, points, text
from terrain3d.serve.settings import unit_changes
from terrain3d.show.live.beside import (
    OUTLOOK_PX,
    SECTION_PX,
    along_image,
    outlook_image,
    packed,
    section_image,
    still_image,
)
from terrain3d.units import Floats
from terrain3d.walk.along import profile_along

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]
#: What the name of a picture ends with that is to be looked at alone, and its width and height.
LARGE, LARGE_PX = "-large", (1140, 420)


def _ask(session: "PageSite", message: Message) -> None:
    session.answer = _answered(session, message)


def _would_hold(session: "PageSite", message: Message) -> None:
    now, option = session.now, session.now.option
    if not option.detectors:
        raise InputError("there is no unit that could be set otherwise", mend="put a unit on a mount first")
    answer = _answered(session, message)
    is_protected = bool(now.outcome.terrain.protect)
    found = would_hold(now.outcome, option, answer.place.x, answer.place.y, session.site.looks)
    changes = tuple(
        (
            change,
            {
                "option": option.name,
                "unit": change.before.name,
                "values": _values(change.before, change.unit),
                "at": [answer.place.x, answer.place.y],
            },
        )
        for change in found
    )
    session.answer = replace(answer, changes=changes, is_protected=is_protected)


def _values(before: Detector, unit: Detector) -> dict[str, Any]:
    mount = {"mount": unit.mount} if unit.mount != before.mount else {}
    return unit_changes(before, unit) | mount


def _answered(session: "PageSite", message: Message) -> Answer:
    x, y = (number(message, key, -FARTHEST_M, FARTHEST_M) for key in ("x", "y"))
    now = session.now
    outcome, option = now.outcome, now.option
    place = place_at(outcome.terrain, option.detectors, option.combine, x, y, outcome.figure.height_m)
    unit = None
    if place.units:
        own = [one.code for one in place.units]
        at = now.unit_at if session.is_unit_chosen else own.index(max(own))
        unit = option.detectors[min(at, len(own) - 1)]
    return Answer(place, unit, option.detectors, outcome.terrain, outcome.figure.name)


def _take(session: "PageSite", message: Message) -> None:
    """Set a unit as an answer says."""
    change = message.get("change")
    if not isinstance(change, dict) or not isinstance(change.get("values"), dict):
        raise InputError("there is no such change", mend="ask again what would hold this")
    option, unit = text(change, "option"), text(change, "unit")
    check_names(session.folder, change["values"].get("type"))
    at = points({"at": [change.get("at")]}, "at")[0]
    session.change(set_unit(session.draft, option, unit, change["values"]), f"set {unit} so that it holds")
    session.answer = _answered(session, {"x": at[0], "y": at[1]})


def _forget(session: "PageSite", _message: Message) -> None:
    session.answer = None


def picture_of(session: "PageSite", name: str) -> tuple[bytes, str] | None:
    """A small picture beside the views: the section of a unit, what it sees, the section asked for."""
    terrain, figure = session.site.terrain, session.now.outcome.figure
    is_large, name = name.endswith(LARGE), name.removesuffix(LARGE)
    section_px, outlook_px = (LARGE_PX, LARGE_PX) if is_large else (SECTION_PX, OUTLOOK_PX)
    if name == "why":
        answer = session.answer
        if answer is None or answer.unit is None or answer.terrain is not terrain:
            return None
        own = next(one for one in answer.place.units if one.unit == answer.unit.name)
        return packed(
            section_image(terrain, answer.unit, own.bearing_deg, figure, own.distance_m, size_px=section_px)
        )
    if name == "still":
        return packed(still_image(session.view.whole_image(), still_foot(session)))
    line = chosen_line(session)
    if name == "section" and line is not None:
        option = session.now.option
        profile = profile_along(terrain, option.detectors, option.combine, *line, figure.height_m)
        return packed(along_image(terrain, profile, figure, section_px))
    unit = session.unit
    if unit is None:
        return None
    is_moving = session.view.is_hurried
    if name == "section":
        bearing = section_bearing(session, unit)
        return packed(section_image(terrain, unit, bearing, figure, None, is_moving, section_px), is_moving)
    if name == "outlook":
        return packed(outlook_image(terrain, unit, is_moving, outlook_px), is_moving)
    return None


def chosen_line(session: "PageSite") -> tuple[str, Floats] | None:
    """Name and (n, 2) local metres of the chosen thing, where it is a line that a section can run along."""
    if session.chosen is None or not session.site.has_options:
        return None
    for one in things_of(session.draft):
        if one.id == session.chosen and one.kind in _LINES:
            line = session.site.to_local(np.array(one.points, float))[:, :2]
            length = float(np.hypot(*np.diff(line, axis=0).T).sum())
            return (one.name, line) if length > _LEAST_LINE_M else None
    return None


#: Kinds along which a section is cut where they are chosen, and what is too short for one, metres.
_LINES, _LEAST_LINE_M = ("line of section", "walk", "way in"), 0.5


def still_foot(session: "PageSite") -> tuple[str, ...]:
    """What stands under a still of what is seen: the site, its options and how they hold, and the caution."""
    now, draft = session.now, session.draft
    shown = [now.outcome.options[index] for index in now.shown]
    told = [brief_line(now.outcome, option) for option in shown] if session.site.has_options else []
    named = [f"{option.name}: {line}" for option, line in zip(shown, told, strict=False)]
    return (draft.name, *named, SHORT_CAUTION)


def _still(session: "PageSite", _message: Message) -> dict[str, Any]:
    session.stills += 1
    return {"is": "still", "url": f"/picture/still?v={session.stills}"}


def section_bearing(session: "PageSite", unit: Detector) -> float:
    """Along the chosen head, else along that which crosses most protected ground."""
    head = session.now.head_at
    return telling_bearing(session.site.terrain, unit) if head is None else head_bearings(unit)[head]


ACTIONS = {"ask": _ask, "would_hold": _would_hold, "take": _take, "forget": _forget, "still": _still}

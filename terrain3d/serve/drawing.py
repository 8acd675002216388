"""What a person draws: things added, moved, named, given values and removed, and the ground under them."""

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from terrain3d.draft.ground import names_files, with_plane, with_points, with_setting, with_shots
from terrain3d.draft.kinds import KINDS
from terrain3d.draft.shapes import crosses_itself, from_tape
from terrain3d.draft.things import added, moved, removed, renamed, thing, things_of, valued
from terrain3d.errors import InputError, in_a_line
from terrain3d.serve.bounds import FARTHEST_M, MOST_THINGS, check_names, number, points, text
from terrain3d.serve.shown import SINGLE_TABLES

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]


def _places(session: "PageSite", message: Message) -> tuple[list[list[float]], Any]:
    """Places of a message in the coordinates of the file, and (n, 3) on the ground in local metres.

    Those that were typed in the file's own coordinates stay as they were typed.
    """
    if message.get("is_of_file") is True:
        typed = points(message, farthest=math.inf)
        return typed, session.site.placed(np.array(typed, float).reshape(-1, 2))
    ground = session.site.on_ground(np.array(points(message), float).reshape(-1, 2))
    return session.site.to_file(ground[:, :2]).tolist(), ground


def _check_draw(session: "PageSite", message: Message) -> dict[str, Any]:
    try:
        ground = _places(session, message)[1]
    except InputError as error:
        return {"is": "checked", "refusal": in_a_line(error), "points": []}
    drawn = ground[:, :2].tolist()
    at = crosses_itself(drawn, message.get("form") == "outline") if message.get("form") != "point" else None
    return {
        "is": "checked",
        "refusal": None if at is None else f"it crosses itself at ({at[0]:.1f}, {at[1]:.1f})",
        "points": ground.tolist(),
    }


def _tape(session: "PageSite", message: Message) -> dict[str, Any]:
    drawn = points(message) if message.get("points") else []
    if not drawn and isinstance(message.get("from"), str):
        own = thing(session.draft, message["from"])
        drawn = [[float(v) for v in session.site.to_local(np.array(own.points[:1], float))[0, :2]]]
    if not drawn:
        raise InputError("a tape has to be held somewhere", mend="choose a mount or a mark, or draw a point")
    length, bearing = number(message, "length_m", 0, 1e4), number(message, "bearing_deg", -360, 360)
    end = session.site.on_ground(np.array([from_tape(drawn, length, bearing)]))[0]
    return {"is": "taped", "refusal": None, "point": end.tolist()}


def _draw(session: "PageSite", message: Message) -> None:
    kind = text(message, "kind")
    if kind not in KINDS:
        raise InputError(f"nothing is called {kind!r}", mend="choose one of the kinds that are offered")
    if len(things_of(session.draft)) >= MOST_THINGS:
        raise InputError(
            f"there are {MOST_THINGS} drawn things already", mend="keep shapes by the thousand in GeoJSON"
        )
    values = message.get("values")
    given = dict(values) if isinstance(values, dict) else {}
    if isinstance(message.get("name"), str) and message["name"].strip():
        given["name"] = message["name"].strip()
    at, _ = _places(session, message)
    draft, id_ = added(session.draft, kind, at, given)
    session.change(draft, f"draw {kind}")
    session.chosen, session.is_unit_chosen = id_, False


def _move(session: "PageSite", message: Message) -> None:
    id_ = text(message, "id")
    at, _ = _places(session, message)
    name = thing(session.draft, id_).name or id_
    session.change(moved(session.draft, id_, at), f"move {name}", message.get("is_same") is True)


def _value(session: "PageSite", message: Message) -> None:
    id_, key = text(message, "id"), text(message, "key")
    if id_ in SINGLE_TABLES:
        if names_files(id_, key):
            check_names(session.folder, message.get("value"))
        draft, name = with_setting(session.draft, id_, key, message.get("value")), f"[{id_}]"
    else:
        draft = valued(session.draft, id_, key, message.get("value"))
        name = thing(session.draft, id_).name or id_
    session.change(draft, f"set {key} of {name}")


def _rename(session: "PageSite", message: Message) -> None:
    id_ = text(message, "id")
    old = thing(session.draft, id_).name
    session.change(renamed(session.draft, id_, text(message, "name").strip()), f"rename {old}")


def _remove(session: "PageSite", message: Message) -> None:
    id_ = text(message, "id")
    old = thing(session.draft, id_).name or id_
    session.change(removed(session.draft, id_, message.get("with_units") is True), f"remove {old}")
    # Those after it have moved up: what was chosen may be another thing now.
    session.chosen = None


def _choose(session: "PageSite", message: Message) -> None:
    id_ = message.get("id")
    if id_ is not None and id_ not in SINGLE_TABLES:
        thing(session.draft, str(id_))
    session.chosen, session.is_unit_chosen = None if id_ is None else str(id_), False


def _ground_set(session: "PageSite", message: Message) -> None:
    draft = session.draft
    plane = message.get("plane")
    if isinstance(plane, dict):
        draft = with_plane(draft, *(number(plane, key, -1e6, 1e6) for key in ("fall", "towards", "extent")))
    elif message.get("points") is not None:
        # Where the file's own coordinates are of a CRS, its middle may be anywhere.
        farthest = FARTHEST_M if session.site.site_crs is None else math.inf
        draft = with_points(draft, points(message, width=3, farthest=farthest))
    else:
        shots = message.get("shots")
        rows = [row for row in shots if isinstance(row, dict)] if isinstance(shots, list) else []
        draft = with_shots(draft, rows)
    session.change(draft, "set the ground")


ACTIONS = {
    "check_draw": _check_draw,
    "tape": _tape,
    "draw": _draw,
    "move": _move,
    "value": _value,
    "rename": _rename,
    "remove": _remove,
    "choose": _choose,
    "ground_set": _ground_set,
}

"""All that the page shows beside the picture, as plain values."""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.detector.types import builtin_names, load_type
from terrain3d.draft.document import Draft
from terrain3d.draft.ground import setting_fields
from terrain3d.draft.kinds import KINDS, Field, Kind
from terrain3d.draft.options import options_of
from terrain3d.draft.things import Thing, layers_of, things_of
from terrain3d.errors import InputError
from terrain3d.lengths import retold
from terrain3d.ranking.compare import held_share
from terrain3d.sentences import words, work
from terrain3d.sentences.asking import verdict_at
from terrain3d.sentences.drawing import axes_of, axis_unit, coordinates_words, next_step, no_unit_yet
from terrain3d.sentences.options import brief_line, worst_words
from terrain3d.sentences.warnings import voiding
from terrain3d.serve import settings
from terrain3d.serve.asking import chosen_line
from terrain3d.serve.in_json import blocks_of, sign_values, unit_values
from terrain3d.serve.keeping import beginnings
from terrain3d.show.blocks import Paragraph, Row, Section
from terrain3d.show.legend import (
    APPROACH,
    BOUNDARY,
    FOLIAGE,
    MARKED,
    MOUNT,
    NUISANCE,
    PROTECTED,
    SECTION_LINE,
    SOLID,
    WALK,
    Sign,
    piece_sign,
)
from terrain3d.show.live.column import (
    beside_sections,
    column_sections,
    option_heads,
    options_shown,
    sign_section,
)
from terrain3d.show.live.picture import LAYERS
from terrain3d.study import PARTS

if TYPE_CHECKING:
    from terrain3d.serve.live_site import LiveSite
    from terrain3d.serve.page_site import PageSite

#: Tables that a site file has once, and that are set as things without a place.
SINGLE_TABLES = ("site", "ground", "paper", "heat", "sun", "doubt", "routes", "search")
#: What the tables of the site file are drawn as, and whether the views draw it already.
_SIGNS: dict[str, tuple[Sign, bool]] = {
    "solid": (SOLID, True), "foliage": (FOLIAGE, True), "mount": (MOUNT, False), "mark": (MARKED, False),
    "protect": (PROTECTED, True), "boundary": (BOUNDARY, False), "beyond": (piece_sign("", "other"), False),
    "nuisance": (NUISANCE, False), "walk": (WALK, False), "approach": (APPROACH, False),
    "treat": (Sign("", dashes=(2.0, 2.0)), False), "section": (SECTION_LINE, False),
}  # fmt: skip


def state_of(session: "PageSite") -> dict[str, Any]:
    """The state of a session; the contract of the page says what each key is."""
    state: dict[str, Any] = {
        "kinds": kind_values(),
        "said": {"text": session.message, "is_refusal": session.is_refusal},
        "caution": SHORT_CAUTION,
        "units": session.units,
        "begin": None,
        "work": None
        if session.progress is None
        else {
            "what": session.progress.what,
            "share": session.progress.share,
            "words": session.progress.words,
            "can_stop": True,
        },
        "found": None if session.found is None else session.found.values,
    }
    if session.live is None or session.window is None or session.picture_ is None:
        return state | {"site": None, "begin": beginnings(session.folder)}
    live, now, draft = session.live, session.window, session.draft
    unit = session.unit
    return state | {
        "site": _site(session, draft, live),
        "next": next_step(bool(live.terrain.mounts), bool(live.terrain.protect), live.has_options),
        "things": thing_values(live, draft),
        "chosen": session.chosen,
        "chosen_unit": None
        if unit is None
        else {"option": now.option.name, "unit": unit.name, "head": now.head_at},
        "unit": None if unit is None else _unit(session, unit),
        "units_drawn": [
            unit_values(live.filled, option, one) for option in options_shown(now) for one in option.detectors
        ],
        "controls": [] if unit is None else settings.controls_of(unit, now.head_at, now.wall_deg),
        "options": _options(session, draft),
        "side": [option.name for option in options_shown(now)] if now.is_comparing else [],
        "blocks": _blocks(session),
        "key": [
            {"label": row.text, "sign": sign_values(row.sign)}
            for row in sign_section(now, options_shown(now)).blocks
            if isinstance(row, Row) and row.sign is not None
        ],
        "ground": now.ground_shown,
        "grounds": list(now.grounds_studied),
        "layers": [
            {"name": name, "label": label, "is_shown": name not in session.picture_.hidden}
            for name, label in LAYERS.items()
        ],
        "view": "plan" if session.picture_.is_plan else "3d",
        "types": _types(draft),
        "parts": [{"name": part, "words": work.PARTS[part]} for part in PARTS],
        "ground_table": _ground_table(draft),
        "why": _why(session),
        "section": None
        if unit is None and chosen_line(session) is None
        else f"/picture/section?v={session.beside()}",
        "outlook": None if unit is None else f"/picture/outlook?v={session.beside()}",
    }


def _why(session: "PageSite") -> dict[str, Any] | None:
    answer = session.answer
    if answer is None:
        return None
    section = None if answer.unit is None else f"/picture/why?v={session.beside()}"
    return answer.values | {"section": section}


def pointed(session: "PageSite", px: float, py: float) -> dict[str, Any]:
    """What lies under a place of the picture: the ground, a drawn thing or a unit, and the verdict there."""
    found = session.view.ground_under(px, py)
    if found is None:
        return {"is": "pointed", "ground": None, "over": None, "verdict": None}
    (x, y, z), index = found
    option = session.now.outcome.options[index]
    of_file = session.site.to_file(np.array([[x, y]]))[0].tolist()
    code = code_at(session.site, option, x, y)
    return {
        "is": "pointed", "ground": [x, y, z], "of_file": of_file, "over": _thing_at(session, x, y),
        "verdict": None if code is None else verdict_at(code), "option": option.name,
    }  # fmt: skip


def code_at(live: "LiveSite", option: OptionResult, x: float, y: float) -> int | None:
    """The verdict of the cell of a place; None off the ground."""
    ground = live.terrain.ground
    ny, nx = ground.z.shape
    i, j = round((x - ground.x0) / ground.cell_m), round((y - ground.y0) / ground.cell_m)
    return int(option.verdicts[j, i]) if 0 <= i < nx and 0 <= j < ny else None


@lru_cache(maxsize=1)
def _kinds() -> tuple[dict[str, Any], ...]:
    once = tuple(
        {
            "kind": table, "label": table.replace("_", " "), "form": "none", "least": 0, "has_name": False,
            "sign": None, "is_in_scene": True, "fields": [_field(one) for one in setting_fields(table)],
        }
        for table in SINGLE_TABLES
    )  # fmt: skip
    return tuple(_kind(kind) for kind in KINDS.values()) + once


def kind_values() -> list[dict[str, Any]]:
    """The kinds of things that can be drawn, and the tables that a site file has once."""
    return list(_kinds())


def _kind(kind: Kind) -> dict[str, Any]:
    sign, is_in_scene = _SIGNS[kind.table]
    return {
        "kind": kind.name, "label": kind.name, "form": kind.form, "least": kind.least,
        "has_name": kind.has_name, "sign": sign_values(sign), "is_in_scene": is_in_scene,
        "fields": [_field(one) for one in kind.fields],
    }  # fmt: skip


def _field(field: Field) -> dict[str, Any]:
    default = field.default
    plain: Any = default if isinstance(default, (str, int, float, bool, type(None))) else None
    if isinstance(default, (tuple, list)):
        plain = [one if isinstance(one, (str, int, float, bool)) else str(one) for one in default]
    return {
        "key": field.key, "label": field.label, "unit": field.unit, "low": field.low, "high": field.high,
        "choices": list(field.choices), "default": plain, "meaning": field.meaning,
        "is_required": field.is_required, "form": field.form, "is_above": field.is_above,
        "is_list": field.form == "list",
    }  # fmt: skip


def thing_values(live: "LiveSite", draft: Draft) -> list[dict[str, Any]]:
    """The drawn things in local metres on the ground, then layers of other files, then the single tables."""
    found = []
    things = things_of(draft)
    rows = [np.array(one.points, float) for one in things]
    local = _local_rows(live, rows)
    for one, points in zip(things, local, strict=True):
        found.append(_thing(one, points))
    for layer in layers_of(draft):
        found.append(
            {"id": layer.id, "kind": layer.table, "name": f"{layer.file} {layer.layer}".strip(), "points": [],
             "values": {}, "is_from_file": True}
        )  # fmt: skip
    for table in SINGLE_TABLES:
        values = draft.get((table,), {})
        found.append(
            {"id": table, "kind": table, "name": "", "points": [], "is_from_file": False,
             "values": {key: _plain(one) for key, one in values.items()} if isinstance(values, dict) else {}}
        )  # fmt: skip
    return found


def _local_rows(live: "LiveSite", rows: list[Any]) -> list[list[list[float]]]:
    """All points turned in one go, for turning them one by one takes long."""
    if not rows:
        return []
    try:
        together = live.to_local(np.vstack(rows))
    except InputError:
        return [[] for _ in rows]
    ends = np.cumsum([len(row) for row in rows])[:-1]
    return [part.tolist() for part in np.split(together, ends)]


def _thing(one: Thing, points: list[list[float]]) -> dict[str, Any]:
    return {
        "id": one.id, "kind": one.kind, "name": one.name, "points": points,
        "of_file": [list(point) for point in one.points],
        "values": {key: _plain(value) for key, value in one.values.items()}, "is_from_file": one.is_from_file,
    }  # fmt: skip


def _plain(value: Any) -> Any:
    """A value of the site file as JSON has it: days become text."""
    if isinstance(value, Mapping):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)


def _site(session: "PageSite", draft: Draft, live: "LiveSite") -> dict[str, Any]:
    history = session.history
    assert history is not None
    return {
        "name": draft.name, "file": None if draft.path is None else draft.path.name,
        "unsaved": list(session.unsaved), "undo": history.undo_label, "redo": history.redo_label,
        "units": session.units, "doubts": [retold(doubt) for doubt in live.terrain.doubts],
        "is_stale": session.is_stale, "changed_survey": session.changed_survey,
        "changed_layers": session.changed_layers, "is_saved": history.is_saved,
        "coordinates": _coordinates(draft, live),
    }  # fmt: skip


def _coordinates(draft: Draft, live: "LiveSite") -> dict[str, Any]:
    """What the coordinates of the site file are; without axes where they are the metres of the page."""
    crs = live.site_crs
    words = coordinates_words(crs, draft.get(("site", "crs")) is not None)
    if crs is None and live.terrain.frame.shift == (0.0, 0.0):
        return {"axes": None, "unit": "m", "digits": 3, "words": words}
    digits = 8 if crs is not None and crs.is_geographic else 3
    return {"axes": list(axes_of(crs)), "unit": axis_unit(crs), "digits": digits, "words": words}


def _unit(session: "PageSite", unit: Any) -> dict[str, Any]:
    return {
        "option": session.now.option.name, "unit": unit.name, "type": unit.type.name, "mount": unit.mount,
        "name": words.unit_title(unit), "heads": len(unit.type.head), "head": session.now.head_at,
        "lines": list(words.unit_lines(unit)),
    }  # fmt: skip


def _options(session: "PageSite", draft: Draft) -> list[dict[str, Any]]:
    """The options, best first, then those that have no unit yet."""
    now, found = session.now, []
    shown = {option.name for option in options_shown(now)} if session.site.has_options else set()
    names = now.outcome.ranking
    for name in names:
        option = now.outcome.option(name)
        found.append(
            {
                "name": name, "is_shown": name in shown, "held_share": held_share(option),
                "words": brief_line(now.outcome, option), "is_void": bool(voiding(option)),
                "worst": worst_words(option) or None, "units": [unit.name for unit in option.detectors],
            }
        )  # fmt: skip
    for bare in options_of(draft):
        if bare.name not in names:
            found.append(
                {"name": bare.name, "is_shown": False, "held_share": None, "words": no_unit_yet(),
                 "is_void": False, "worst": None, "units": []}
            )  # fmt: skip
    return found


def _blocks(session: "PageSite") -> list[dict[str, Any]]:
    """The column: what the window writes beside its views, as long as it is."""
    now = session.now
    if not session.site.has_options:
        sections: list[Section] = (
            [_doubts(session.site.terrain.doubts)] if session.site.terrain.doubts else []
        )
        return blocks_of(sections)
    heads = []
    sides = ("Left: ", "Right: ") if now.is_comparing else ("",)
    for head, side in zip(option_heads(now), sides, strict=True):
        notes = (Row(", ".join(head.notes), is_quiet=True),) if head.notes else ()
        heads.append(Section(f"{side}{head.name}", (*notes, Paragraph(head.loss, 20))))
    return blocks_of([*heads, *beside_sections(now), *column_sections(now)])


def _doubts(doubts: Iterable[str]) -> Section:
    return Section("Warnings", tuple(Paragraph(retold(doubt), 20) for doubt in doubts))


def _types(draft: Draft) -> list[dict[str, str]]:
    names = [*builtin_names()]
    names += [str(unit.get("type")) for option in options_of(draft) for unit in option.units]
    return [{"name": name, "about": _about(name, str(draft.folder))} for name in dict.fromkeys(names)]


@lru_cache(maxsize=64)
def _about(name: str, folder: str) -> str:
    try:
        return load_type(name, folder).about
    except InputError as error:
        return error.what


def _ground_table(draft: Draft) -> dict[str, Any] | None:
    """The ground as it was typed; None where it is a survey's."""
    ground = draft.get(("ground",), {})
    if "plane" in ground:
        return {"kind": "plane", "plane": _plain(ground["plane"])}
    for kind in ("points", "shots"):
        if kind in ground:
            return {"kind": kind, "rows": _plain(ground[kind])}
    return None


def _thing_at(session: "PageSite", x: float, y: float) -> str | None:
    """The drawn thing at a place: the smallest of those that it lies in or next to."""
    live, point = session.site, shapely.Point(x, y)
    things = things_of(session.draft)
    best: tuple[float, str] | None = None
    for one, points in zip(
        things, _local_rows(live, [np.array(t.points, float) for t in things]), strict=True
    ):
        if not points:
            continue
        at = np.array(points)[:, :2]
        form = KINDS[one.kind].form
        shape = shapely.Point(at[0]) if form == "point" else shapely.LineString(at)
        area = 0.0
        if form == "outline":
            shape = shapely.Polygon(at)
            area = float(shape.area)
        if shape.distance(point) <= (0.0 if form == "outline" else _NEAR_M) and (
            best is None or area < best[0]
        ):
            best = (area, one.id)
    return None if best is None else best[1]


#: A pointer within this of a point or a line is on it, metres.
_NEAR_M = 0.4

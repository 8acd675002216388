"""The hillside as one page to be turned in a browser: no network, no file beside it."""

import base64
import html
import json
from importlib.resources import files
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from terrain3d import palette
from terrain3d.caution import CAUTION
from terrain3d.cover.layer_outcomes import NO_TAKER, taker_names
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.lengths import in_metres, length_unit
from terrain3d.pack.glb import y_up
from terrain3d.pack.meshes import Hillside, Mesh, eye_of
from terrain3d.pack.three import three_js
from terrain3d.palette import Rgb
from terrain3d.sentences.client import client_numbers
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import held_words, protected_words
from terrain3d.sentences.pack import chance_told, left_out_words, pointed_words
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.walked import walked_words
from terrain3d.sentences.words import figure_words, place_in_ranking, unit_lines, unit_title
from terrain3d.show.camera import site_camera
from terrain3d.show.extent import Extent
from terrain3d.show.legend import (
    BLOCK,
    BOUNDARY,
    GROWN,
    LEAST_LIKELY,
    MUCH_SHORTER,
    PROTECTED,
    UNIT,
    Sign,
    layer_signs,
    verdict_sign,
)
from terrain3d.show.shapes import filled_heights, spot_within
from terrain3d.sight.hits import reach_of
from terrain3d.study import Study
from terrain3d.terrain import Ground
from terrain3d.units import Floats

#: A page must be no larger, bytes.
MOST_BYTES = 15_000_000
#: What stands in the page besides the data and the library.
_PAGE_BYTES = 60_000
#: Positions are told in so many steps along each side of what they are of.
_STEPS = 65535
_ASPECT = 1.4


def scene_html(study: Study, hillside: Hillside) -> str:
    """The text of the page; the same study gives the same text.

    Parameters
    ----------
    study : Study
        With its doubt, where chances are to be shown.
    hillside : Hillside
        Of the same study.

    Raises
    ------
    InputError
        When the drawing library is not installed.
    """
    library = three_js()
    title = html.escape(study.outcome.site_name)
    data = _data(study, hillside)
    over = len(_json(data).encode()) + len(library.script) + _PAGE_BYTES - MOST_BYTES
    if over > 0:
        data = _lighter(data, over)
    parts = {
        "TITLE": title,
        "CAUTION": html.escape(CAUTION),
        "FOOT": html.escape(foot_words(study.outcome.site)),
        "LIBRARY": html.escape(library.name),
        "LICENCE": html.escape(library.licence),
        "STYLE": _page_file("scene.css"),
        # What ends a script must not stand in it, in no name either.
        "DATA": _json(data).replace("<", "\\u003c"),
        "DRAWING": library.script.replace("</script", "<\\/script"),
        "SCRIPT": _page_file("scene.js"),
    }
    pieces = _page_file("scene.html").split("@@")
    return "".join(piece if k % 2 == 0 else parts[piece] for k, piece in enumerate(pieces))


def _json(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _lighter(data: dict[str, Any], over: int) -> dict[str, Any]:
    """Without as many of the things that stand on the ground, the heaviest first, as weigh so many bytes."""
    weights: dict[tuple[str, str], int] = {}
    for mesh in data["meshes"]:
        if mesh["group"] in ("foliage", "solids"):
            thing = mesh["group"], mesh["name"]
            weights[thing] = weights.get(thing, 0) + len(_json(mesh).encode())
    left: list[tuple[str, str]] = []
    for thing in sorted(weights, key=lambda thing: (-weights[thing], thing)):
        if over > 0:
            left.append(thing)
            over -= weights[thing]
    meshes = [mesh for mesh in data["meshes"] if (mesh["group"], mesh["name"]) not in left]
    return {**data, "meshes": meshes, "leftOut": left_out_words([name for _, name in left])}


def _page_file(name: str) -> str:
    return (files("terrain3d.pack") / "page" / name).read_text(encoding="utf-8")


def _data(study: Study, hillside: Hillside) -> dict[str, Any]:
    outcome, extent = study.outcome, hillside.extent
    surface = hillside.ground[0]
    middle = y_up(np.array([[*extent.centre, float(surface.points[:, 2].min())]]))[0]
    best_first = [outcome.option(name) for name in outcome.ranking]
    return {
        "figure": figure_words(outcome.figure),
        "unit": {"sign": length_unit(), "metres": in_metres(1.0)},
        "view": _view(outcome, extent),
        "cells": {
            "west": extent.west - middle[0],
            "north": -extent.north - middle[2],
            "size": outcome.terrain.ground.cell_m,
            "columns": extent.columns.stop - extent.columns.start,
            "rows": extent.rows.stop - extent.rows.start,
        },
        "ground": _ground(surface, extent, middle),
        "meshes": [_mesh(mesh, middle) for mesh in (*hillside.ground[1:], *hillside.standing)],
        "leftOut": "",
        "areas": _area_tags(outcome, middle),
        "options": [_option(study, option, hillside, middle) for option in best_first],
        "key": [_key(sign) for sign in _signs(outcome)],
        "percents": [chance_told(percent) for percent in range(101)] if study.uncertainty else [],
        "chances": list(palette.CHANCE_SCALE) if study.uncertainty is not None else [],
    }


def _view(outcome: Outcome, extent: Extent) -> dict[str, float]:
    """Where the pages look from: the bearing and the depression of the line of sight, degrees."""
    camera = site_camera(outcome, extent, reach_of(outcome.terrain), _ASPECT)
    east, north, up = np.subtract(camera.target, camera.position)
    return {
        "bearing": float(np.degrees(np.arctan2(east, north))),
        "down": float(np.degrees(np.arctan2(-up, np.hypot(east, north)))),
    }


def _ground(surface: Mesh, extent: Extent, middle: Floats) -> dict[str, Any]:
    """The grid of the ground: lines of it from west to east and south to north, heights, and its daylight."""
    points = y_up(surface.points) - middle
    columns = len(np.unique(surface.uv[:, 0])) if surface.uv is not None else 0
    rows = len(points) // columns
    assert surface.light is not None
    return {
        "x": _floats(points[:columns, 0]),
        "z": _floats(points[:: columns or 1, 2][:rows]),
        "y": _floats(points[:, 1]),
        "light": _bytes(np.round(255 * surface.light).astype(np.uint8)),
        "width": extent.width_m,
        "depth": extent.depth_m,
    }


def _mesh(mesh: Mesh, middle: Floats) -> dict[str, Any]:
    """Its points as whole steps within their bounds; triangles, or chains one after another."""
    points = y_up(mesh.points) - middle
    low, size = points.min(axis=0), np.maximum(np.ptp(points, axis=0), 1e-6)
    steps = np.round((points - low) / size * _STEPS).astype("<u2")
    told: dict[str, Any] = {
        "group": mesh.group,
        "name": mesh.name,
        "colour": mesh.colour,
        "opacity": mesh.opacity,
        "low": [round(float(v), 4) for v in low],
        "size": [round(float(v), 6) for v in size],
        "points": _bytes(steps),
    }
    if mesh.lines:
        told["chains"] = _bytes(np.concatenate(mesh.lines).astype("<u4"))
        told["lengths"] = [len(chain) for chain in mesh.lines]
        told["onGround"] = mesh.is_on_ground
    else:
        told["faces"] = _bytes(mesh.faces.astype("<u4"))
    return told


def _option(study: Study, option: OptionResult, hillside: Hillside, middle: Floats) -> dict[str, Any]:
    outcome, extent = study.outcome, hillside.extent
    codes, words = _pointed(outcome, option, extent)
    tested = outcome.site.walk_tested(option.name)
    told: dict[str, Any] = {
        "name": option.name,
        "place": place_in_ranking(outcome, option),
        "held": held_words(option),
        "numbers": [list(pair) for pair in client_numbers(option)],
        "lines": [
            *([] if tested is None else [walked_words(tested)]),
            *(protected_words(part, has_masks(option.detectors)) for part in option.protect),
        ],
        "units": [[unit_title(unit), *unit_lines(unit)] for unit in option.detectors],
        "picture": _png(hillside.pictures[option.name]),
        "pointed": _runs(codes),
        "words": words,
        "meshes": [_mesh(mesh, middle) for mesh in hillside.of_option[option.name]],
        "tags": [_tag(unit.name, eye_of(unit), middle) for unit in option.detectors],
    }
    if study.uncertainty is not None:
        fares = next(one for one in study.uncertainty.options if one.name == option.name)
        chance = np.nan_to_num(fares.chance[extent.rows, extent.columns].astype(float))
        told["chance"] = _png(_chance_picture(option, chance, extent))
        told["percents"] = _runs(np.round(100 * chance).astype(np.int64))
    return told


def _pointed(
    outcome: Outcome, option: OptionResult, extent: Extent
) -> tuple[NDArray[np.int64], list[list[str]]]:
    """For each cell of the picture what is told of it, by its place in a list of all that is told."""
    part = extent.rows, extent.columns
    layers = list(option.layer_outcomes)
    rows: list[NDArray[Any]] = [option.verdicts[part]]
    rows += [option.layer_outcomes[layer][part] for layer in layers]
    rows += [option.layer_takers[layer][part] for layer in layers]
    table = np.stack([row.astype(np.int64) for row in rows], axis=-1).reshape(-1, len(rows))
    kinds, number = np.unique(table, axis=0, return_inverse=True)
    names = taker_names(outcome.terrain)
    words = []
    for code, *rest in kinds.tolist():
        outcomes, takers = rest[: len(layers)], rest[len(layers) :]
        things = [None if taker == NO_TAKER else names[taker] for taker in takers]
        by_layer = dict(zip(layers, zip(outcomes, things, strict=True), strict=True))
        words.append(list(pointed_words(code, by_layer)))
    return number.reshape(rows[0].shape), words


def _chance_picture(option: OptionResult, chance: Floats, extent: Extent) -> Rgb:
    """Ground by how often it is held, a pixel a cell, row 0 the northernmost."""
    colours = palette.chance_rgb(chance)
    plain = palette.rgb(palette.VERDICT_COLOURS[Verdict.OUTSIDE])
    colours[chance <= 0] = plain
    colours[option.verdicts[extent.rows, extent.columns] == UNKNOWN] = palette.rgb(palette.UNKNOWN_GROUND)
    return np.ascontiguousarray(colours[::-1])


def _area_tags(outcome: Outcome, middle: Floats) -> list[dict[str, Any]]:
    ground = outcome.terrain.ground
    surface = Ground(ground.x0, ground.y0, ground.cell_m, filled_heights(ground))
    tags = []
    for area in outcome.terrain.protect:
        spot = spot_within(area)
        z = np.nan if spot is None else float(surface.height_at(*spot))
        if spot is not None and np.isfinite(z):
            tags.append(_tag(area.name, (*spot, z), middle))
    return tags


def _tag(text: str, point: tuple[float, float, float], middle: Floats) -> dict[str, Any]:
    return {"text": text, "at": [round(float(v), 3) for v in (y_up(np.array([point])) - middle)[0]]}


def _signs(outcome: Outcome) -> list[tuple[str, Sign]]:
    """The key: verdicts, layers, and what stands there, each with the group that it is shown with."""
    terrain = outcome.terrain
    units = [unit for option in outcome.options for unit in option.detectors]
    there = [
        ("protected", PROTECTED, bool(terrain.protect)),
        ("units", UNIT, True),
        ("solids", BLOCK, bool(terrain.solids.names)),
        ("foliage", GROWN, bool((terrain.foliage.column >= 0).any())),
        ("boundary", BOUNDARY, terrain.boundary is not None),
        ("routes", LEAST_LIKELY, bool(terrain.protect)),
        ("routes", MUCH_SHORTER, bool(terrain.protect)),
    ]
    signs = [("ground", verdict_sign(verdict)) for verdict in reversed(Verdict)]
    signs += [("ground", verdict_sign(UNKNOWN))]
    signs += [("layers", sign) for sign in layer_signs(units)]
    return [*signs, *((group, sign) for group, sign, is_there in there if is_there)]


def _key(of_group: tuple[str, Sign]) -> dict[str, Any]:
    group, sign = of_group
    return {
        "group": group,
        "text": sign.text,
        "fill": sign.on_paper if sign.fill else "",
        "line": sign.line,
        "width": sign.scene_px,
        "dashed": bool(sign.scene_m),
        "stripe": sign.stripe.colour if sign.fill and sign.stripe.hatch else "",
        "slant": sign.stripe.slant,
    }


def _png(picture: Rgb) -> str:
    stream = BytesIO()
    Image.fromarray(picture).save(stream, "PNG", optimize=True)
    return f"data:image/png;base64,{base64.b64encode(stream.getvalue()).decode('ascii')}"


def _runs(values: NDArray[np.int64]) -> str:
    """Rows from the north, cell after cell, as pairs of how many and what."""
    flat = np.ascontiguousarray(values[::-1]).ravel()
    starts = np.flatnonzero(np.concatenate([[True], flat[1:] != flat[:-1]]))
    counts = np.diff(np.append(starts, flat.size))
    return _bytes(np.column_stack([counts, flat[starts]]).astype("<u4"))


def _floats(values: Floats) -> str:
    return _bytes(values.astype("<f4"))


def _bytes(values: Any) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")

"""A study as what it adds to `results.json`, and as maps."""

from typing import Any

import numpy as np

from terrain3d.cover.verdict import UNKNOWN, Codes
from terrain3d.lengths import lengths_in
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.paper.close_in import close_in_values
from terrain3d.paper.conditions import heat_values, sun_values
from terrain3d.paper.nuisance import animal_values, beyond_values, surroundings_values
from terrain3d.paper.rasters import bands_tif
from terrain3d.paper.results import json_text, results_values
from terrain3d.paper.routes import routes_values
from terrain3d.paper.uncertainty import chances_tif, uncertainty_dict
from terrain3d.paper.walks import walk_values
from terrain3d.study import OptionStudy, Study
from terrain3d.terrain import Terrain

#: The map that goes with a part.
RASTERS = {"animals": "animals.tif", "doubt": "chances.tif"}


def study_json(study: Study) -> str:
    """The text of `results.json` with the parts of a study."""
    return json_text(study_values(study))


@lengths_in("m")
def study_values(study: Study) -> dict[str, Any]:
    """What `results.json` says of a study: its parts in each option, `doubt` beside them."""
    document = results_values(study.outcome)
    for values, option in zip(document["options"], study.options, strict=True):
        values.update(_option(study, option))
    if study.uncertainty is not None:
        tolerances = tuple(option.tolerances or () for option in study.options)
        document["doubt"] = uncertainty_dict(study.outcome, study.uncertainty, tolerances)
    if {"beyond", "sun"} & set(study.parts):
        document["surroundings"] = surroundings_values(study.surroundings)
    return document


def study_rasters(study: Study) -> dict[str, bytes]:
    """Maps by file name: `animals.tif` and `chances.tif`, one band an option, where those parts were done."""
    maps = {}
    terrain = study.outcome.terrain
    grounds = [option.animals for option in study.options if option.animals is not None]
    if grounds:
        maps[RASTERS["animals"]] = animals_tif(terrain, grounds)
    if study.uncertainty is not None:
        maps[RASTERS["doubt"]] = chances_tif(study.outcome, study.uncertainty)
    return maps


def animals_tif(terrain: Terrain, grounds: list[AnimalGround]) -> bytes:
    """The bytes of a GeoTIFF, uint8: centimetres of the lowest animal that breaks both layers; 0 for none."""
    bands = [(ground.option, lowest_animal_cm(terrain, ground)) for ground in grounds]
    figures = {f"HEIGHT_{round(100 * row.figure.height_m)}": row.figure.name for row in grounds[0].animals}
    return bands_tif(terrain, bands, UNKNOWN, figures)


def lowest_animal_cm(terrain: Terrain, ground: AnimalGround) -> Codes:
    """(ny, nx) height in centimetres of the lowest animal that raises the alarm on each cell; 0 is none."""
    lowest = np.where(terrain.ground.known, np.uint8(0), np.uint8(UNKNOWN))
    for row in sorted(ground.animals, key=lambda row: -row.figure.height_m):
        lowest[row.where] = round(100 * row.figure.height_m)
    return lowest


def _option(study: Study, option: OptionStudy) -> dict[str, Any]:
    frame, doubts = study.outcome.terrain.frame, study.surroundings.doubts
    values: dict[str, Any] = {}
    if option.walks is not None:
        values["walks"] = walk_values(option.walks, frame)
    if option.routes is not None:
        values["routes"] = routes_values(option.routes, frame)
    if option.close_in is not None:
        values["close_in"] = close_in_values(option.close_in)
    if option.animals is not None:
        values.update(animal_values(option.animals))
    if option.spill is not None:
        values.update(beyond_values(option.spill, option.nuisances or (), doubts))
    if option.heat is not None:
        values["heat"] = heat_values(option.heat)
    if option.sun is not None:
        values["sun"] = sun_values(option.sun)
    return values

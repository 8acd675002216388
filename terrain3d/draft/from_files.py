"""What other files draw for a site: listed beside what its own file draws, and changed where it was drawn."""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from terrain3d.draft.document import Draft
from terrain3d.draft.kinds import KINDS, kind_of
from terrain3d.draft.things import Thing, layers_of
from terrain3d.readers.crs import read_crs
from terrain3d.site import FileRef
from terrain3d.survey.outlines import expand
from terrain3d.survey.placing import turned
from terrain3d.tables import checked


@dataclass(frozen=True)
class _Layer:
    """An entry of a site file with the state of the file that it names: the same again reads nothing."""

    table: str
    entry: str
    folder: Path
    crs: str
    changed_ns: int
    n_bytes: int


def things_from_files(draft: Draft) -> tuple[Thing, ...]:
    """The shapes of the layers that a draft names, in the coordinates of the site file.

    An id is that of the entry and the number of its feature: "protect/2/0".

    Raises
    ------
    InputError
        Where a file cannot be read, or a feature cannot be what it is to be.
    """
    found: list[Thing] = []
    for layer in layers_of(draft):
        place = (layer.table, int(layer.id.partition("/")[2]))
        entry = draft.get(place, draft.get((layer.table,)))
        path = draft.folder / layer.file
        state = path.stat() if path.is_file() else None
        crs = draft.get(("site", "crs"))
        found += _things(
            _Layer(
                layer.table, json.dumps(entry, sort_keys=True, default=str), draft.folder,
                crs if isinstance(crs, str) else "", state.st_mtime_ns if state else 0,
                state.st_size if state else 0,
            ),
            layer.id,
        )  # fmt: skip
    return tuple(found)


@lru_cache(maxsize=32)
def _things(layer: _Layer, id_: str) -> tuple[Thing, ...]:
    model = next(kind.model for kind in KINDS.values() if kind.table == layer.table)
    site_crs = read_crs(layer.crs, "site: crs") if layer.crs else None
    reference = checked(FileRef, json.loads(layer.entry), id_)
    things = []
    for number, (shape, crs) in enumerate(expand([reference], model, layer.folder, site_crs)):
        values = shape.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True)
        kind = kind_of(layer.table, values)
        if kind is None:
            raise AssertionError("a checked shape has points")
        given = values.pop(kind.points_key)
        rows = np.array([given] if kind.form == "point" else given, float)
        points = tuple((float(x), float(y)) for x, y in turned(rows, crs, site_crs))
        name = str(values.pop("name", ""))
        things.append(Thing(f"{id_}/{number}", kind.name, name, points, values, is_from_file=True))
    return tuple(things)

"""Shapes of other files, listed as they lie in the coordinates of the site file."""

import json

import numpy as np
import pyproj
import pytest

from terrain3d.draft.document import draft_of
from terrain3d.draft.from_files import things_from_files
from terrain3d.draft.things import moved, things_of
from terrain3d.errors import InputError

SITE = """\
[site]
name = "x"
crs = "EPSG:32631"
[[solid]]
file = "drawn.geojson"
height = 2.0
thickness = 0.3
[[mount]]
name = "pole"
at = [500000, 5000000]
"""


def drawn(tmp_path, *features):
    rows = [
        {"type": "Feature", "properties": keys, "geometry": {"type": kind, "coordinates": at}}
        for kind, at, keys in features
    ]
    (tmp_path / "drawn.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    return draft_of(SITE.encode(), tmp_path / "site.toml")


def test_shapes_of_a_layer_are_things_that_are_changed_elsewhere(tmp_path):
    """In the site's own coordinates, with the entry's keys for what they do not say."""
    line = [[3.0, 45.0], [3.001, 45.0]]
    draft = drawn(tmp_path, ("LineString", line, {"name": "wall", "height": 1.25}))
    (thing,) = things_from_files(draft)
    assert (thing.id, thing.kind, thing.name, thing.is_from_file) == ("solid/0/0", "wall", "wall", True)
    assert dict(thing.values) == {"height": 1.25, "thickness": 0.3}
    turn = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32631", always_xy=True)
    assert np.allclose(thing.points, [turn.transform(*point) for point in line], atol=1e-6)
    assert [one.id for one in things_of(draft)] == ["mount/0"]
    with pytest.raises(InputError, match=r"drawn in drawn\.geojson"):
        moved(draft, "solid/0", thing.points)


def test_a_file_that_is_drawn_anew_is_read_anew(tmp_path):
    """And one that is gone, or draws something else than it stands for, is told."""
    draft = drawn(tmp_path, ("LineString", [[3.0, 45.0], [3.001, 45.0]], {"name": "wall"}))
    assert len(things_from_files(draft)) == 1
    drawn(
        tmp_path,
        ("LineString", [[3.0, 45.0], [3.002, 45.0]], {"name": "wall"}),
        ("LineString", [[3.0, 45.0], [3.0, 45.1]], {"name": "other"}),
    )
    assert [one.name for one in things_from_files(draft)] == ["wall", "other"]
    drawn(tmp_path, ("Point", [3.0, 45.0], {"name": "wall"}))
    with pytest.raises(InputError, match="it is a Point"):
        things_from_files(draft)
    (tmp_path / "drawn.geojson").unlink()
    with pytest.raises(InputError, match="no such file"):
        things_from_files(draft)

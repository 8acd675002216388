"""The model by the schema of glTF 2.0 and its rules for buffers, and as trimesh loads it."""

import io
import json
import struct
import zipfile
from importlib.resources import files

import jsonschema
import numpy as np
import pytest
import trimesh
from packed import NAMES
from PIL import Image
from referencing import Registry, Resource


@pytest.fixture(scope="module")
def parts(strange) -> tuple[dict, bytes]:
    """The JSON and the binary chunk of a GLB (glTF 2.0, 4.4: binary layout)."""
    content = (strange.folder / "scene.glb").read_bytes()
    magic, version, length = struct.unpack("<4sII", content[:12])
    assert (magic, version, length) == (b"glTF", 2, len(content))
    json_length, kind = struct.unpack("<I4s", content[12:20])
    assert kind == b"JSON"
    rest = content[20 + json_length :]
    binary_length, kind = struct.unpack("<I4s", rest[:8])
    assert kind == b"BIN\0"
    assert json_length % 4 == binary_length % 4 == 0
    return json.loads(content[20 : 20 + json_length]), rest[8 : 8 + binary_length]


def test_it_keeps_to_the_schema(parts):
    """Khronos' own schema of glTF 2.0."""
    packed = files("trimesh") / "resources" / "schema" / "gltf2.schema.zip"
    with zipfile.ZipFile(io.BytesIO(packed.read_bytes())) as archive:
        schemas = {
            name.split("/")[-1]: json.loads(archive.read(name))
            for name in archive.namelist()
            if name.endswith(".json")
        }
    root = next(name for name in schemas if name == "glTF.schema.json")
    registry = Registry().with_resources(
        (name, Resource.from_contents(schema, default_specification=referencing_default()))
        for name, schema in schemas.items()
    )
    jsonschema.Draft7Validator(schemas[root], registry=registry).validate(parts[0])


def referencing_default():
    from referencing.jsonschema import DRAFT7

    return DRAFT7


def test_every_accessor_lies_in_its_buffer_and_says_its_bounds(parts):
    """glTF 2.0, 3.6.2: bounds of positions are those of the data; indices name points that there are."""
    document, binary = parts
    assert [buffer["byteLength"] for buffer in document["buffers"]] == [len(binary)]

    def data(number):
        accessor = document["accessors"][number]
        view = document["bufferViews"][accessor["bufferView"]]
        kind = {5126: "<f4", 5125: "<u4", 5123: "<u2", 5121: "<u1"}[accessor["componentType"]]
        wide = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        size = accessor["count"] * wide * np.dtype(kind).itemsize
        assert start + size <= view.get("byteOffset", 0) + view["byteLength"] <= len(binary)
        return accessor, np.frombuffer(binary[start : start + size], kind).reshape(-1, wide)

    for mesh in document["meshes"]:
        for primitive in mesh["primitives"]:
            accessor, points = data(primitive["attributes"]["POSITION"])
            assert np.allclose(points.min(axis=0), accessor["min"])
            assert np.allclose(points.max(axis=0), accessor["max"])
            if "indices" in primitive:
                assert data(primitive["indices"])[1].max() < len(points)
            if "NORMAL" in primitive["attributes"]:
                normals = data(primitive["attributes"]["NORMAL"])[1]
                assert np.allclose(np.linalg.norm(normals, axis=1), 1.0, atol=5e-3)


def test_it_is_in_metres_with_y_up_and_the_verdicts_on_the_ground(strange):
    """The slope falls from 103.6 m in the south (+z) to 100 m in the north: 12 %."""
    scene = trimesh.load(strange.folder / "scene.glb")
    assert {f"solids: {NAMES['shed']}", f"units: {NAMES['unit']}", "ground"} <= set(
        scene.graph.nodes_geometry
    )
    ground = scene.geometry["ground"]
    low, high = ground.bounds
    assert 99.9 < low[1] < high[1] < 103.7
    east, up, south = ground.vertices.T
    fitted = np.linalg.lstsq(np.column_stack([east, south, np.ones(len(up))]), up, rcond=None)[0]
    assert fitted[1] == pytest.approx(0.12, abs=2e-3)
    assert isinstance(ground.visual.material.baseColorTexture, Image.Image)
    shed = scene.geometry[f"solids: {NAMES['shed']}"]
    assert shed.extents[[0, 2]] == pytest.approx([3.0, 3.0], abs=0.05)


def test_the_picture_lies_on_the_ground_as_the_verdicts_do(strange):
    """Under the middle of cells of one verdict the texture has the colour of that verdict, or a stripe's."""
    option = strange.outcome.option(strange.document["ranking"][0])
    scene = trimesh.load(strange.folder / "scene.glb")
    ground = scene.geometry["ground"]
    picture = np.asarray(ground.visual.material.baseColorTexture.convert("RGB"))
    both = np.argwhere(option.verdicts == 4)
    grid = strange.outcome.terrain.ground
    hits = 0
    for row, column in both[:: max(1, len(both) // 60)]:
        x, y = grid.xs[column], grid.ys[row]
        nearest = np.argmin(np.hypot(ground.vertices[:, 0] - x, ground.vertices[:, 2] + y))
        # trimesh counts v from the foot of a picture.
        u, v = ground.visual.uv[nearest]
        height, width = picture.shape[:2]
        pixel = picture[min(int((1 - v) * height), height - 1), min(int(u * width), width - 1)]
        hits += np.abs(pixel.astype(int) - [0x66, 0xC0, 0xE5]).max() < 12
    assert hits > 0.8 * len(both[:: max(1, len(both) // 60)])

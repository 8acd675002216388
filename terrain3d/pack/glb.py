"""The hillside under one option as binary glTF: metres, y up, named nodes, the verdicts as a texture."""

from typing import Any

import numpy as np
from PIL import Image

from terrain3d import palette
from terrain3d.caution import CAUTION
from terrain3d.pack.meshes import Hillside, Mesh
from terrain3d.units import Floats


def glb_bytes(hillside: Hillside, option: str) -> bytes:
    """The bytes of a GLB file; the same hillside gives the same bytes.

    North is -z, east is x, heights are as the survey has them.

    Parameters
    ----------
    hillside : Hillside
    option : str
        The name of the option that is shown.
    """
    import trimesh
    from trimesh.exchange import gltf

    writer: Any = gltf
    scene: Any = trimesh.Scene(metadata={"caution": CAUTION, "option": option})
    counts: dict[str, int] = {}
    picture = Image.fromarray(hillside.pictures[option])
    for mesh in (*hillside.ground, *hillside.standing, *hillside.of_option[option]):
        # What stands at a node is read from its name by a person: no path, no order of its own.
        name = f"{mesh.group}: {mesh.name}" if mesh.name != mesh.group else mesh.group
        counts[name] = counts.get(name, 0) + 1
        if counts[name] > 1:
            name = f"{name} ({counts[name]})"
        scene.add_geometry(_drawn(mesh, picture), node_name=name, geom_name=name)
    return bytes(writer.export_glb(scene, include_normals=True))


def y_up(points: Floats) -> Floats:
    """East, north, up as glTF has it: x, y up, -z.

    >>> y_up(np.array([[1.0, 2.0, 3.0]])).tolist()
    [[1.0, 3.0, -2.0]]
    """
    return np.column_stack([points[:, 0], points[:, 2], -points[:, 1] + 0.0])


def _drawn(mesh: Mesh, picture: Image.Image) -> Any:
    import trimesh
    from trimesh.path import entities
    from trimesh.visual import material as materials

    looks: Any = materials
    line: Any = entities.Line
    textured: Any = trimesh.visual.TextureVisuals
    points = y_up(mesh.points)
    colour = [*palette.rgb(mesh.colour).tolist(), round(255 * mesh.opacity)]
    if mesh.lines:
        lines = [line(chain, color=colour) for chain in mesh.lines]
        return trimesh.path.Path3D(lines, vertices=points, process=False)
    look: dict[str, Any] = {"metallicFactor": 0.0, "roughnessFactor": 1.0, "doubleSided": True}
    if mesh.uv is not None:
        material = looks.PBRMaterial(name="verdicts", baseColorTexture=picture, **look)
        visual = textured(uv=mesh.uv, material=material)
    else:
        if mesh.opacity < 1:
            look["alphaMode"] = "BLEND"
        material = looks.PBRMaterial(name=mesh.colour, baseColorFactor=colour, **look)
        visual = textured(material=material)
    return trimesh.Trimesh(points, mesh.faces, visual=visual, process=False)

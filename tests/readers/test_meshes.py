"""Reading meshes: all four formats give the same surface, z up; broken ones say what is wrong."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from terrain3d.errors import InputError
from terrain3d.readers.source import Box, Surface
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource

#: A roof-like sheet: a ridge along y at x = 1.
VERTICES = np.array([[0, 0, 1], [1, 0, 2], [2, 0, 1], [0, 3, 1], [1, 3, 2], [2, 3, 1]], float)
FACES = np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]])


def read(path: Path, box: Box | None = None, **ground: str) -> Surface:
    surface = read_survey(path, read_header(path, GroundSource(file=str(path), **ground)), box)
    assert isinstance(surface, Surface)
    return surface


def corners(surface: Surface) -> list[list[list[float]]]:
    """Triangles as their corners, in an order that does not depend on how vertices are numbered."""
    return sorted(sorted(triangle) for triangle in surface.vertices[surface.triangles].round(6).tolist())


@pytest.mark.parametrize("suffix", ["ply", "obj", "stl", "glb"])
def test_every_format_gives_the_same_surface(tmp_path: Path, suffix: str) -> None:
    """Written by trimesh; for GLB turned to y up first, as glTF 2.0 (3.4) asks: (x, y, z) -> (x, z, -y)."""
    turned = np.column_stack([VERTICES[:, 0], VERTICES[:, 2], -VERTICES[:, 1]])
    mesh = trimesh.Trimesh(turned if suffix == "glb" else VERTICES, FACES, process=False)
    path = tmp_path / f"ground.{suffix}"
    mesh.export(path)
    surface = read(path)
    assert corners(surface) == sorted(sorted(t) for t in VERTICES[FACES].tolist())


def test_glb_is_in_metres_by_its_standard(tmp_path: Path) -> None:
    """No doubt about the unit of a GLB; a PLY says nothing."""
    mesh = trimesh.Trimesh(VERTICES, FACES, process=False)
    for suffix, doubted in (("glb", False), ("ply", True)):
        path = tmp_path / f"ground.{suffix}"
        mesh.export(path)
        header = read_header(path, GroundSource(file=path.name))
        assert any("unit of height" in doubt for doubt in header.doubts) is doubted
    assert "turned from y up" in read_header(tmp_path / "ground.glb", GroundSource(file="g")).form


def test_map_coordinates_keep_their_millimetres(tmp_path: Path) -> None:
    """OBJ and 64-bit PLY are text or doubles: nothing is lost at six million metres."""
    path = tmp_path / "ground.obj"
    far = VERTICES + np.array([500_000.123, 6_000_000.456, 0])
    lines = [f"v {x:.3f} {y:.3f} {z:.3f}" for x, y, z in far] + [
        f"f {a + 1} {b + 1} {c + 1}" for a, b, c in FACES
    ]
    path.write_text("mtllib missing.mtl\n" + "\n".join(lines) + "\n")
    np.testing.assert_allclose(read(path).vertices, far, rtol=0, atol=1e-9)


def test_coarse_32_bit_coordinates_are_told(tmp_path: Path) -> None:
    """An STL keeps 32-bit numbers, which lie half a metre apart at six million metres."""
    path = tmp_path / "ground.stl"
    trimesh.Trimesh(VERTICES + np.array([500_000, 6_000_000, 0]), FACES, process=False).export(path)
    assert any("steps of 0.5" in doubt for doubt in read(path).doubts)


def test_quads_become_triangles_and_feet_metres(tmp_path: Path) -> None:
    """Faces of four corners are split; vertical_unit turns heights alone."""
    path = tmp_path / "ground.obj"
    path.write_text("v 0 0 10\nv 1 0 10\nv 1 1 10\nv 0 1 10\nf 1 2 3 4\n")
    surface = read(path, vertical_unit="ft")
    assert len(surface.triangles) == 2
    assert surface.vertices[:, 2] == pytest.approx(np.full(4, 3.048))
    assert surface.vertices[:, :2].max() == 1


def test_a_box_keeps_whole_triangles_that_meet_it(tmp_path: Path) -> None:
    """Only the two triangles of one side are near the box; vertices nobody uses go."""
    path = tmp_path / "ground.ply"
    trimesh.Trimesh(VERTICES, FACES, process=False).export(path)
    surface = read(path, (1.5, 0.0, 5.0, 5.0))
    assert len(surface.triangles) == 2
    assert surface.vertices[:, 0].min() == 1
    with pytest.raises(InputError, match="no triangle of it meets"):
        read(path, (10, 10, 11, 11))


def test_a_mesh_that_stands_upright_is_doubted(tmp_path: Path) -> None:
    """Heights larger than the plan: y may be up in it."""
    path = tmp_path / "ground.ply"
    trimesh.Trimesh(VERTICES[:, [0, 2, 1]] * [1, 1, 100], FACES, process=False).export(path)
    assert any("if y is up" in doubt for doubt in read(path).doubts)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("a.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\n", r"3 vertices and no triangles(.|\n)*LAS"),
        ("a.obj", "v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", r"no place(.|\n)*vertex 0"),
        ("a.obj", "v 0 0 0\nv 1 0 0\nf 1 2 9\n", r"cannot be read as OBJ|names vertex"),
        ("a.ply", "ply\nformat ascii 1.0\nelement vertex 3\n", "cannot be read as PLY"),
        (
            "a.ply",
            "ply\nformat ascii 1.0\nelement vertex 3\nproperty double x\nproperty double y\n"
            "property double z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
            "0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n",
            "names vertex 7 of 3|cannot be read as PLY",
        ),
        ("a.stl", "solid a\nfacet normal\nendsolid\n", "cannot be read as STL|no triangles"),
        ("a.glb", "glTF garbage", "cannot be read as GLB"),
    ],
)
def test_broken_meshes_say_what_is_wrong(tmp_path: Path, name: str, text: str, message: str) -> None:
    """No faces, vertices that are no numbers, faces that name no vertex, files cut short."""
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read(path)

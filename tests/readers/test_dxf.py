"""DXF drawings written by ezdxf: their entities, the ground they draw, and their outlines."""

import io
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import ezdxf.math
import numpy as np
import pyproj
import pytest
import scipy.interpolate
from site_files import run

from terrain3d.errors import InputError
from terrain3d.readers.dxf import Entity, read_drawing, read_dxf
from terrain3d.readers.source import Surface
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import FileRef, GroundSource, ProtectShape, Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.outlines import expand

Draw = Callable[[Any], object]


def written(folder: Path, draw: Draw, *, units: int = 6, version: str = "R2010") -> Path:
    """A drawing of what `draw` puts into its model space; units by the codes of $INSUNITS."""
    document = ezdxf.new(version, units=units)
    draw(document.modelspace())
    text = io.StringIO()
    document.write(text)
    path = folder / "drawing.dxf"
    path.write_bytes(text.getvalue().encode(document.output_encoding))
    return path


def entities(folder: Path, draw: Draw, **setting: Any) -> tuple[Entity, ...]:
    return read_drawing(written(folder, draw, **setting)).entities


def read(path: Path, **ground: str) -> Surface:
    found = read_survey(path, read_header(path, GroundSource(file=path.name, **ground)), None)
    assert isinstance(found, Surface)
    return found


X0, Y0 = 500_000.0, 6_000_000.0


def contours_of_a_plane(space: Any, layer: str = "CONTOUR") -> None:
    """On ground that rises 10 % to the east, every half metre of height, each drawn with two points."""
    for n in range(9):
        at = X0 + 5.0 * n
        space.add_lwpolyline(
            [(at, Y0), (at, Y0 + 30)], dxfattribs={"layer": layer, "elevation": 100 + 0.5 * n}
        )


def test_every_kind_of_entity(tmp_path: Path) -> None:
    """The places that ezdxf was told, to the last digit; a mesh's faces as triangles."""

    def draw(space: Any) -> None:
        space.add_point((500_001.123456789, 6_000_002.5, 3.25), dxfattribs={"layer": "SPOT"})
        space.add_line((1, 2, 3), (4, 5, 6))
        space.add_lwpolyline([(0, 0), (4, 0), (4, 4)], close=True, dxfattribs={"elevation": 12.5})
        space.add_polyline2d([(0, 0), (1, 1)], dxfattribs={"elevation": (0, 0, 7)})
        space.add_polyline3d([(0, 0, 1), (1, 1, 2), (2, 0, 3), (0, 0, 1)])
        space.add_3dface([(0, 0, 1), (1, 0, 1), (1, 1, 1)])
        space.add_3dface([(0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 2)])
        face = space.add_polyface()
        face.append_face([(0, 0, 0), (1, 0, 0), (1, 1, 5)])
        mesh = space.add_polymesh((2, 3))
        for m, n in np.ndindex(2, 3):
            mesh.set_mesh_vertex((m, n), (m, n, m + n))
        with space.add_mesh().edit_data() as data:
            data.vertices = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0.5, 2, 0)]
            data.faces = [(0, 1, 2, 4, 3)]

    point, line, flat, raised, loop, three, four, face, grid, mesh = entities(tmp_path, draw)
    assert (point.layer, point.kind) == ("SPOT", "point")
    assert point.xyz.tolist() == [[500_001.123456789, 6_000_002.5, 3.25]]
    assert line.xyz.tolist() == [[1, 2, 3], [4, 5, 6]]
    assert flat.xyz.tolist() == [[0, 0, 12.5], [4, 0, 12.5], [4, 4, 12.5]]
    assert flat.is_closed
    assert raised.xyz.tolist() == [[0, 0, 7], [1, 1, 7]]
    # Drawn back to where it began.
    assert loop.is_closed
    assert loop.xyz.tolist() == [[0, 0, 1], [1, 1, 2], [2, 0, 3]]
    assert three.triangles.tolist() == [[0, 1, 2]]
    assert four.triangles.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert face.xyz[face.triangles].tolist() == [[[0, 0, 0], [1, 0, 0], [1, 1, 5]]]
    assert len(grid.triangles) == 4
    assert len(mesh.triangles) == 3


def test_the_frame_of_a_spline_is_no_part_of_the_line(tmp_path: Path) -> None:
    """Vertices marked 16 made the curve, those marked 8 are on it (DXF reference, VERTEX, group 70)."""

    def draw(space: Any) -> None:
        line = space.add_polyline2d([(0, 0), (5, 9), (1, 2), (9, 3)], dxfattribs={"elevation": (0, 0, 7)})
        for vertex, mark in zip(line.vertices, (16, 16, 8, 8), strict=True):
            vertex.dxf.flags = mark

    (line,) = entities(tmp_path, draw)
    assert line.xyz.tolist() == [[1, 2, 7], [9, 3, 7]]


def test_the_height_of_a_flat_polyline_may_stand_in_its_vertices(tmp_path: Path) -> None:
    """Where the polyline itself has none."""

    def draw(space: Any) -> None:
        for vertex in space.add_polyline2d([(0, 0), (1, 1)]).vertices:
            vertex.dxf.location = (vertex.dxf.location.x, vertex.dxf.location.y, 7.5)

    (line,) = entities(tmp_path, draw, version="R12")
    assert line.xyz.tolist() == [[0, 0, 7.5], [1, 1, 7.5]]


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_versions_and_layers_in_any_letters(tmp_path: Path, version: str) -> None:
    """Code page 1252 up to R2004, UTF-8 from R2007 on (DXF reference, $DWGCODEPAGE)."""
    (line,) = entities(
        tmp_path,
        lambda space: space.add_polyline3d([(0, 0, 1), (1, 1, 2)], dxfattribs={"layer": "Höhenlinien"}),
        version=version,
        units=6,
    )
    assert line.layer == "Höhenlinien"
    assert line.xyz.tolist() == [[0, 0, 1], [1, 1, 2]]


@pytest.mark.parametrize("bulge", [1.0, 0.4142135623730951, -0.3, 2.5])
def test_arcs_lie_on_their_circle(tmp_path: Path, bulge: float) -> None:
    """The circle of ezdxf's own reckoning; 1 is half a circle, to the left of it when above 0."""
    (line,) = entities(tmp_path, lambda space: space.add_lwpolyline([(1, 2, 0, 0, bulge), (5, 3, 0, 0, 0)]))
    middle, _, _, radius = ezdxf.math.bulge_to_arc((1, 2), (5, 3), bulge)
    np.testing.assert_allclose(np.hypot(*(line.xyz[:, :2] - [middle.x, middle.y]).T), radius, rtol=1e-12)
    swept = np.unwrap(np.arctan2(*(line.xyz[:, :2] - [middle.x, middle.y]).T[::-1]))
    assert swept[-1] - swept[0] == pytest.approx(4 * math.atan(bulge))


def test_a_plane_of_its_own_is_turned_back(tmp_path: Path) -> None:
    """A polyline drawn seen from below (extrusion 0, 0, -1) has its x mirrored (DXF reference, OCS)."""
    attributes = {"elevation": -12.5, "extrusion": (0, 0, -1)}
    (line,) = entities(
        tmp_path, lambda space: space.add_lwpolyline([(-3, 1), (-5, 2)], dxfattribs=attributes)
    )
    np.testing.assert_allclose(line.xyz, [[3, 1, 12.5], [5, 2, 12.5]])


def test_contours_of_a_plane_give_the_plane(tmp_path: Path) -> None:
    """All between the lines, though each is drawn with two points alone; scipy's own surface agrees."""
    found = read(written(tmp_path, contours_of_a_plane), crs="EPSG:32631")
    assert found.is_ground
    surface = scipy.interpolate.LinearNDInterpolator(found.vertices[:, :2] - [X0, Y0], found.vertices[:, 2])
    x, y = np.random.default_rng(1).uniform([0, 0], [40, 30], (200, 2)).T
    np.testing.assert_allclose(surface(x, y), 100 + 0.1 * x, atol=1e-9)
    a, b, c = (found.vertices[found.triangles[:, k]] for k in range(3))
    area = np.cross(b - a, c - a)[:, 2] / 2
    assert (area > 0).all()
    assert area.sum() == pytest.approx(40 * 30)
    # No triangle passes through a line: a metre along it there is a point.
    on_line = (np.round((found.vertices[:, 0] - X0) / 5, 9) % 1 == 0).sum()
    assert on_line == 9 * 31


def test_the_ground_of_a_site_is_what_the_lines_say(tmp_path: Path) -> None:
    """A bank between two breaklines stays a bank; nothing is filtered away."""

    def draw(space: Any) -> None:
        for x, z in ((0, 100), (10, 100), (11, 102), (30, 102)):
            space.add_polyline3d([(X0 + x, Y0, z), (X0 + x, Y0 + 30, z)])

    path = written(tmp_path, draw)
    site = Site.model_validate(
        {
            "site": {"name": "bank", "crs": "EPSG:32631"},
            "ground": {"file": path.name},
            "mount": [{"name": "pole", "at": (X0 + 5, Y0 + 15)}],
        }
    )
    terrain = build_terrain(site, tmp_path, 12.0)
    x, y = terrain.frame.to_local(
        X0 + np.array([3, 10.5, 13]), np.full(3, Y0 + 16.0), pyproj.CRS("EPSG:32631")
    )
    assert terrain.ground.height_at(x, y) == pytest.approx([100, 101, 102], abs=0.01)
    assert any("known on points and lines alone" in doubt for doubt in terrain.doubts)


def test_gaps_wider_than_are_bridged_anywhere_stay_open(tmp_path: Path) -> None:
    """Levels 120 m apart say nothing of what lies between."""

    def draw(space: Any) -> None:
        for x in (0, 10, 130, 140):
            for y in (0, 10):
                space.add_point((X0 + x, Y0 + y, 100))

    found = read(written(tmp_path, draw), crs="EPSG:32631")
    assert len(found.triangles) == 4


@pytest.mark.parametrize(
    ("units", "unit_m"), [(6, 1.0), (4, 0.001), (2, 0.3048), (21, 1200 / 3937), (5, 0.01), (1, 0.0254)]
)
def test_units_without_a_crs(tmp_path: Path, units: int, unit_m: float) -> None:
    """x, y and heights in metres by $INSUNITS (DXF reference, HEADER section), and that is told."""

    def draw(space: Any) -> None:
        for x, y in ((0, 0), (10, 0), (10, 10), (0, 10)):
            space.add_point((x / unit_m, y / unit_m, 2 / unit_m))

    found = read(written(tmp_path, draw, units=units))
    np.testing.assert_allclose(found.vertices.max(axis=0), [10, 10, 2], rtol=1e-12)
    assert any("are turned into metres" in doubt for doubt in found.doubts) == (units != 6)


def test_a_crs_says_the_unit_itself(tmp_path: Path) -> None:
    """A template's millimetres stand in many a drawing of map coordinates."""
    found = read(written(tmp_path, contours_of_a_plane, units=4), crs="EPSG:32631")
    assert found.vertices[:, 0].min() == X0
    assert found.vertices[:, 2].max() == 104
    assert any(
        "says units of 0.001 m, WGS 84 / UTM zone 31N counts metres" in doubt for doubt in found.doubts
    )


def test_a_drawing_without_a_unit_says_so(tmp_path: Path) -> None:
    """0 is unitless."""
    found = read(written(tmp_path, contours_of_a_plane, units=0))
    assert any("names no unit ($INSUNITS)" in doubt for doubt in found.doubts)


def test_layers_are_listed_and_one_is_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A flat plan at height 0 beside the contours is left out, and told; blocks are not followed."""

    def draw(space: Any) -> None:
        contours_of_a_plane(space)
        space.add_point((X0 + 2, Y0 + 3, 250.0), dxfattribs={"layer": "MAST TOPS"})
        space.add_lwpolyline([(X0, Y0), (X0 + 9, Y0 + 9)], dxfattribs={"layer": "FENCE"})
        block = space.doc.blocks.new("TREE")
        block.add_point((0, 0, 900))
        space.add_blockref("TREE", (X0, Y0, 80))

    path = written(tmp_path, draw)
    whole = read(path, crs="EPSG:32631")
    assert whole.vertices[:, 2].max() == 250
    assert any("1 of its 11 points and lines lie at height 0" in doubt for doubt in whole.doubts)
    assert any("left out: 1 INSERT" in doubt for doubt in whole.doubts)
    assert read(path, crs="EPSG:32631", layer="contour").vertices[:, 2].max() == 104
    with pytest.raises(
        InputError, match=r"layer 'GROUND'(.|\n)*CONTOUR \(9 lines\), FENCE \(1 line\) and MAST TOPS"
    ):
        read(path, crs="EPSG:32631", layer="GROUND")
    assert run("inspect", path, "--crs", "EPSG:32631", "--layer", "CONTOUR") == 0
    told = capsys.readouterr().out
    assert "DXF drawing; its layers: CONTOUR (9 lines), FENCE (1 line) and MAST TOPS (1 point)" in told
    assert "heights 100.00 to 104.00 m" in told


def test_faces_go_before_lines(tmp_path: Path) -> None:
    """They are a surface already; what stands in it is filtered as in any mesh."""

    def draw(space: Any) -> None:
        contours_of_a_plane(space)
        space.add_3dface([(X0, Y0, 100), (X0 + 40, Y0, 104), (X0 + 40, Y0 + 30, 104), (X0, Y0 + 30, 100)])

    found = read(written(tmp_path, draw), crs="EPSG:32631")
    assert len(found.triangles) == 2
    assert not found.is_ground
    assert any("9 points and lines beside them: the faces are taken" in doubt for doubt in found.doubts)


def test_a_coast_keeps_its_line_of_nought(tmp_path: Path) -> None:
    """Height 0 among heights about it is a height."""

    def draw(space: Any) -> None:
        for n in range(-2, 4):
            space.add_lwpolyline([(5 * n, 0), (5 * n, 30)], dxfattribs={"elevation": 0.5 * n})

    assert 0.0 in read(written(tmp_path, draw)).vertices[:, 2]


def outlines(space: Any) -> None:
    space.add_lwpolyline([(0, 0), (6, 0), (6, 4)], close=True, dxfattribs={"layer": "YARDS"})
    space.add_lwpolyline([(10, 0), (16, 0), (16, 4), (10, 0)], dxfattribs={"layer": "YARDS"})
    space.add_polyline3d([(0, 0, 5), (3, 3, 6)], dxfattribs={"layer": "WALKS"})
    space.add_line((0, 0), (3, 3), dxfattribs={"layer": "WALKS"})
    space.add_point((1, 2, 3), dxfattribs={"layer": "POLES"})


def test_outlines_of_a_layer(tmp_path: Path) -> None:
    """Closed polylines are areas, open ones and lines paths, points places; named by layer and number."""
    path = written(tmp_path, outlines)
    (first, second), crs = read_dxf(path, "YARDS")
    assert crs is None
    assert (first.kind, first.called, second.kind, second.called) == (
        "Polygon",
        "YARDS 1",
        "Polygon",
        "YARDS 2",
    )
    np.testing.assert_array_equal(first.parts[0][0], [[0, 0], [6, 0], [6, 4]])
    assert [feature.kind for feature in read_dxf(path, "walks")[0]] == ["LineString", "LineString"]
    assert [(feature.kind, feature.called) for feature in read_dxf(path, "POLES")[0]] == [("Point", "POLES")]
    with pytest.raises(
        InputError, match=r"3 layers with shapes: POLES \(1 point\), WALKS \(2 lines\) and YARDS"
    ):
        read_dxf(path)


def test_outlines_become_shapes_of_a_site(tmp_path: Path) -> None:
    """Their names are their layer's, with a number where it holds several."""
    written(tmp_path, outlines)
    areas = expand([FileRef(file="drawing.dxf", layer="YARDS")], ProtectShape, tmp_path)
    assert [(area.name, len(area.outline), crs) for area, crs in areas] == [
        ("YARDS 1", 3, None),
        ("YARDS 2", 3, None),
    ]


def test_outlines_in_millimetres_without_a_crs(tmp_path: Path) -> None:
    """An architect's drawing of a site in local metres; with a CRS coordinates are the CRS's own."""
    path = written(tmp_path, outlines, units=4)
    (yard, _), _ = read_dxf(path, "YARDS")
    np.testing.assert_allclose(yard.parts[0][0], np.array([[0, 0], [6, 0], [6, 4]]) / 1000)
    (yard, _), _ = read_dxf(path, "YARDS", pyproj.CRS("EPSG:32631"))
    np.testing.assert_array_equal(yard.parts[0][0], [[0, 0], [6, 0], [6, 4]])
    with pytest.raises(InputError, match=r"the site's coordinates are degrees"):
        read_dxf(path, "YARDS", pyproj.CRS("EPSG:4326"))


def test_nothing_with_heights_is_told_with_what_there_is(tmp_path: Path) -> None:
    """A plan without heights is the commonest drawing of all."""
    path = written(
        tmp_path, lambda space: space.add_lwpolyline([(0, 0), (9, 9)], dxfattribs={"layer": "FENCE"})
    )
    with pytest.raises(InputError, match=r"nothing in it has heights(.|\n)*FENCE \(1 line\)"):
        read(path)
    with pytest.raises(InputError, match=r"nothing in it has heights(.|\n)*none"):
        read(written(tmp_path, lambda space: space.add_text("note")))
    with pytest.raises(
        InputError, match=r"draws no points, lines or polylines, only what is not read: 1 CIRCLE"
    ):
        read_dxf(written(tmp_path, lambda space: space.add_circle((0, 0), 3)))


def test_points_on_one_line_span_no_ground(tmp_path: Path) -> None:
    """Nor do two."""
    with pytest.raises(InputError, match=r"3 points with heights span no ground"):
        read(written(tmp_path, lambda space: [space.add_point((10 * n, 0, 5)) for n in range(3)]))


def test_a_binary_drawing_is_told(tmp_path: Path) -> None:
    """By its first bytes, whatever it is called."""
    path = tmp_path / "a.dxf"
    path.write_bytes(b"AutoCAD Binary DXF\r\n\x1a\0" + bytes(100))
    with pytest.raises(InputError, match=r"a DXF in binary(.|\n)*in text"):
        read(path)

"""LandXML surfaces; the schema's order of coordinates, and trimesh on the same triangles, as references."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from site_files import run

from terrain3d.errors import InputError
from terrain3d.readers.source import Surface
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource, Site
from terrain3d.survey.build import build_terrain

METRIC = '<Units><Metric linearUnit="meter" areaUnit="squareMeter"/></Units>'
UTM = '<CoordinateSystem name="UTM 31N" epsgCode="32631"/>'
#: Easting, northing, height of a bank: flat, then rising 1 in 2.
CORNERS = np.array(
    [[500_000, 6_000_000, 100], [500_020, 6_000_000, 100], [500_020, 6_000_010.125, 100],
     [500_000, 6_000_010.125, 100], [500_000, 6_000_020, 104.9375], [500_020, 6_000_020, 104.9375]], float,
)  # fmt: skip
HIGHER = CORNERS + np.array([0, 0, 5])
FACES = [(1, 2, 3), (1, 3, 4), (4, 3, 5), (3, 6, 5)]


def surface(name: str = "ground", faces: Any = FACES, corners: Any = CORNERS, extra: str = "") -> str:
    """The tags of schema 1.2, each point as northing, easting, elevation (LandXML-1.2.xsd, P)."""
    points = "".join(f'<P id="{n}">{y!r} {x!r} {z!r}</P>' for n, (x, y, z) in enumerate(corners.tolist(), 1))
    tags = "".join(face if isinstance(face, str) else f"<F>{' '.join(map(str, face))}</F>" for face in faces)
    return (
        f'<Surface name="{name}">{extra}<Definition surfType="TIN"><Pnts>{points}</Pnts><Faces>{tags}</Faces>'
        "</Definition></Surface>"
    )


def written(folder: Path, *surfaces: str, head: str = METRIC + UTM, name: str = "ground.xml") -> Path:
    path = folder / name
    path.write_text(
        '<?xml version="1.0"?>\n<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">'
        f"{head}<Surfaces>{''.join(surfaces)}</Surfaces></LandXML>\n"
    )
    return path


def read(path: Path, **ground: str) -> Surface:
    found = read_survey(path, read_header(path, GroundSource(file=path.name, **ground)), None)
    assert isinstance(found, Surface)
    return found


def test_north_comes_before_east(tmp_path: Path) -> None:
    """Every coordinate to the last digit, the CRS by its code, the unit as it says."""
    found = read(written(tmp_path, surface()))
    np.testing.assert_array_equal(found.vertices, CORNERS)
    assert found.crs is not None
    assert found.crs.to_epsg() == 32631
    assert found.is_ground
    assert found.doubts == ()


def test_the_day_it_was_written_is_told(tmp_path: Path) -> None:
    """The attribute `date` of the root; it is not the day of the survey."""
    path = written(tmp_path, surface())
    path.write_text(path.read_text().replace('version="1.2"', 'version="1.2" date="2023-05-14"'))
    dated = read_header(path, GroundSource(file="a")).dated
    assert dated is not None
    assert (dated.first.isoformat(), dated.is_flown) == ("2023-05-14", False)


def test_faces_are_those_of_trimesh(tmp_path: Path) -> None:
    """Plan area and heights on a line across, however the triangles are wound."""
    found = read(written(tmp_path, surface()))
    mesh = trimesh.Trimesh(found.vertices - CORNERS[0], found.triangles, process=False)
    assert mesh.area_faces @ mesh.face_normals[:, 2] == pytest.approx(20 * 20)
    assert (mesh.face_normals[:, 2] > 0).all()
    assert mesh.area_faces.sum() == pytest.approx(20 * (10.125 + np.hypot(9.875, 4.9375)))


def test_invisible_faces_are_no_ground(tmp_path: Path) -> None:
    """`i="1"` marks triangles outside the border or within a void."""
    found = read(written(tmp_path, surface(faces=[*FACES[:3], '<F i="1">3 6 5</F>', '<F i="0">3 6 5</F>'])))
    assert len(found.triangles) == 4
    assert any("1 triangle of it marked invisible" in doubt for doubt in found.doubts)


def test_a_face_of_four_points_is_two_triangles(tmp_path: Path) -> None:
    """A grid's faces have four (schema 1.2, F)."""
    found = read(written(tmp_path, surface(faces=[(1, 2, 3, 4)])))
    assert sorted(map(sorted, found.triangles.tolist())) == [[0, 1, 2], [0, 2, 3]]


@pytest.mark.parametrize(
    ("units", "plan_m", "height_m"),
    [
        ('<Imperial linearUnit="foot"/>', 0.3048, 0.3048),
        ('<Imperial linearUnit="USSurveyFoot"/>', 1200 / 3937, 1200 / 3937),
        ('<Imperial linearUnit="USSurveyFoot" elevationUnit="feet"/>', 1200 / 3937, 1200 / 3937),
        ('<Imperial linearUnit="foot" elevationUnit="meter"/>', 0.3048, 1.0),
        ('<Metric linearUnit="millimeter" elevationUnit="meter"/>', 0.001, 1.0),
    ],
)
def test_units(tmp_path: Path, units: str, plan_m: float, height_m: float) -> None:
    """Heights in metres whatever the unit; without a CRS so are x and y, and that is told."""
    corners = (CORNERS - [500_000, 6_000_000, 0]) / [plan_m, plan_m, 1]
    found = read(written(tmp_path, surface(corners=corners), head=f"<Units>{units}</Units>"))
    np.testing.assert_allclose(found.vertices, corners * [plan_m, plan_m, height_m], rtol=1e-15)
    assert any("are turned into metres" in doubt for doubt in found.doubts)
    assert not any("unit of height is not stated" in doubt for doubt in found.doubts)


def test_feet_of_a_crs_in_feet_stay(tmp_path: Path) -> None:
    """EPSG:2240 counts US survey feet; a file that says "foot" means those."""
    head = '<Units><Imperial linearUnit="foot"/></Units><CoordinateSystem epsgCode="2240"/>'
    corners = CORNERS - [500_000, 6_000_000, 0] + [2_200_000, 1_400_000, 0]
    found = read(written(tmp_path, surface(corners=corners), head=head))
    np.testing.assert_array_equal(found.vertices[:, :2], corners[:, :2])
    np.testing.assert_allclose(found.vertices[:, 2], corners[:, 2] * 0.3048, rtol=1e-15)


def test_of_several_surfaces_one_is_asked_for(tmp_path: Path) -> None:
    """The ground as it is and as it is to be lie in one file; nobody guesses which."""
    path = written(tmp_path, surface("EG"), surface("FG", corners=HIGHER))
    with pytest.raises(InputError, match=r"2 surfaces: 'EG' and 'FG'(.|\n)*layer = 'EG'"):
        read(path)
    np.testing.assert_array_equal(read(path, layer="FG").vertices, HIGHER)
    with pytest.raises(InputError, match=r"no surface 'XG'(.|\n)*'EG' and 'FG'"):
        read(path, layer="XG")


def test_the_ground_of_a_site_is_the_surface(tmp_path: Path) -> None:
    """No filter takes the bank away, and what is invisible stays unknown."""
    path = written(tmp_path, surface(faces=FACES[:3]))
    site = Site.model_validate(
        {
            "site": {"name": "bank", "crs": "EPSG:32631"},
            "ground": {"file": path.name, "hole_limit": 0.0},
            "mount": [{"name": "pole", "at": (500_005.0, 6_000_005.0)}],
        }
    )
    terrain = build_terrain(site, tmp_path, 12.0)
    x, y = terrain.frame.to_local(
        [500_002.0, 500_010.0, 500_019.0], [6_000_015.0, 6_000_004.0, 6_000_019.0], read(path).crs
    )
    heights = terrain.ground.height_at(x, y)
    assert heights[:2] == pytest.approx([100 + (15 - 10.125) / 2, 100], abs=0.01)
    assert np.isnan(heights[2])
    assert not terrain.solids.triangles.size
    assert not any("filtered" in doubt for doubt in terrain.doubts)


def test_inspect_tells_the_surface(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Format, CRS, unit and triangles; of several surfaces the names, and how to choose."""
    assert run("inspect", written(tmp_path, surface())) == 0
    told = capsys.readouterr().out
    assert "LandXML 1.2, surface 'ground' of 4 triangles" in told
    assert "said by: its Units" in told
    two = written(tmp_path, surface("EG"), surface("FG"))
    assert run("inspect", two) == 2
    assert "--layer" in capsys.readouterr().err
    assert run("inspect", two, "--layer", "FG") == 0
    assert "surface 'FG'" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("<F>1 2 3</F>", "<F>1 2 9</F>", "names point '9', which is not in it"),
        ("<F>1 2 3</F>", "<F>1 2</F>", "a face has 2 points"),
        ("<F>1 2 3</F>", "<F>1 2 three</F>", "names point 'three'"),
        ('<P id="2">', '<P id="1">', "two of its points are named '1'"),
        ("104.9375</P>", "high</P>", r"is no point: northing, easting and height(.|\n)*point '5'"),
        ("104.9375</P>", "</P>", r"is no point: northing, easting and height"),
        ("104.9375</P>", "nan</P>", "of its vertices are no place"),
        ("</Surfaces></LandXML>", "", "cut off or wrong"),
        ("<Surfaces>", "<Surfaces>" + "<Surfaces>" * 100_000, "too deep in each other"),
        ("meter", "cubit", "its unit 'cubit'"),
        ("<LandXML ", "<Other ", "XML that is no LandXML"),
        ("<LandXML ", "<!DOCTYPE LandXML><LandXML ", "declares a document type"),
    ],
)
def test_damage_ends_in_one_message(tmp_path: Path, old: str, new: str, message: str) -> None:
    """What is wrong, in which file, and what to do."""
    path = written(tmp_path, surface())
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(InputError, match=message) as fault:
        read(path)
    assert str(path) in fault.value.where
    assert fault.value.mend


@pytest.mark.parametrize(
    "text", ["", surface(faces=[]), '<Surface name="x"/>', surface(faces=['<F i="1">1 2 3</F>'])]
)
def test_files_without_a_surface_to_use(tmp_path: Path, text: str) -> None:
    """None at all, none with triangles, all of them invisible."""
    with pytest.raises(InputError, match=r"no surface|no triangles"):
        read(written(tmp_path, text))

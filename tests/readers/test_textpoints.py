"""Reading XYZ and CSV text as people really write it."""

from pathlib import Path

import numpy as np
import pytest

from terrain3d.errors import InputError
from terrain3d.readers import textpoints
from terrain3d.readers.source import Cloud
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource


def read(tmp_path: Path, text: str, name: str = "survey.xyz", **ground: str) -> Cloud:
    path = tmp_path / name
    path.write_text(text, encoding="latin-1")
    cloud = read_survey(path, read_header(path, GroundSource(file=name, **ground)), None)
    assert isinstance(cloud, Cloud)
    return cloud


@pytest.mark.parametrize(
    "text",
    [
        "1.5 2.5 3.5\n4 5 6\n",
        "  1.5   2.5\t3.5\n4 5 6",
        "1.5,2.5,3.5\r\n4,5,6\r\n",
        "1.5, 2.5, 3.5\n4, 5, 6\n",
        "1.5;2.5;3.5\n4;5;6\n",
        "1.5\t2.5\t3.5\n4\t5\t6\n",
        "1,5;2,5;3,5\n4;5;6\n",
        "# made by hand\n\n1.5 2.5 3.5\n\n4 5 6\n",
        "//X Y Z\n1.5 2.5 3.5\n4 5 6\n",
        "x y z\n1.5 2.5 3.5\n4 5 6\n",
        "Y;X;Z\n2.5;1.5;3.5\n5;4;6\n",
        '"Easting","Northing","Elevation [m]"\n1.5,2.5,3.5\n4,5,6\n',
        "Rechtswert;Hochwert;H\xf6he\n1,5;2,5;3,5\n4;5;6\n",
        "Rechtswert;Hochwert;H\xc3\xb6he\n1,5;2,5;3,5\n4;5;6\n",
        "\xef\xbb\xbfid,x (m),y (m),height (m)\n7,1.5,2.5,3.5\n8,4,5,6\n",
    ],
)
def test_separators_names_and_decimal_commas(tmp_path: Path, text: str) -> None:
    """Every usual way to write two points gives the same two points."""
    assert read(tmp_path, text).xyz.tolist() == [[1.5, 2.5, 3.5], [4, 5, 6]]


def test_heights_that_stand_for_none_are_left_out_and_told(tmp_path: Path) -> None:
    """Grids written as text have their cells without data too, as -9999 (common practice, no source)."""
    cloud = read(tmp_path, "1 2 3\n4 5 -9999\n7 8 9\n1 1 -32768.0\n")
    assert cloud.xyz[:, 2].tolist() == [3, 9]
    assert "2 points with heights of -9999 or the like are left out: no data" in cloud.doubts
    with pytest.raises(InputError, match="all its 2 heights are -9999 or the like"):
        read(tmp_path, "1 2 -9999\n4 5 -9999\n")


def test_a_named_class_column_is_used_and_its_noise_dropped(tmp_path: Path) -> None:
    """A column called class holds ASPRS classes: 7 and 18 go."""
    cloud = read(tmp_path, "x,y,z,class\n1,2,3,2\n1,2,4,7\n1,2,5,18\n1,2,6,5\n")
    assert cloud.classes.tolist() == [2, 5]
    assert cloud.xyz[:, 2].tolist() == [3, 6]


def test_columns_without_a_name_are_left_out_and_told(tmp_path: Path) -> None:
    """A fourth number could be anything, so it is not taken for a class."""
    cloud = read(tmp_path, "1 2 3 5\n4 5 6 5\n")
    assert 5 not in cloud.classes
    assert any("1 columns after z have no name" in doubt for doubt in cloud.doubts)


FIELD = [
    [500_001.25, 6_000_002.5, 101.125],
    [500_014.5, 6_000_005.75, 102.25],
    [500_020.5, 6_000_035.75, 103.5],
]


@pytest.mark.parametrize(
    "text",
    [
        # Point, easting, northing, height, code (PENZD) and its other orders: common practice, no source.
        "P,E,N,Z,CODE\n1,500001.25,6000002.5,101.125,GRD\n2,500014.5,6000005.75,102.25,TOP\n"
        "3,500020.5,6000035.75,103.5,\n",
        "Point,Northing,Easting,Elevation,Description\n1,6000002.5,500001.25,101.125,GRD\n"
        "2,6000005.75,500014.5,102.25,top of bank\n3,6000035.75,500020.5,103.5,kerb\n",
        "Code;Nr;Rechtswert;Hochwert;H\xc3\xb6he\nGRD;1;500001,25;6000002,5;101,125\n"
        "GRD;2;500014,5;6000005,75;102,25\nGRD;3;500020,5;6000035,75;103,5\n",
        "1,500001.25,6000002.5,101.125,GRD\n2,500014.5,6000005.75,102.25,TOP\n7,500020.5,6000035.75,103.5,GRD\n",
        "A1 500001.25 6000002.5 101.125 top of bank\nA2 500014.5 6000005.75 102.25\n"
        "A3 500020.5 6000035.75 103.5 kerb\n",
        "GRD\t17\t500001,25\t6000002,5\t101,125\nGRD\t18\t500014,5\t6000005,75\t102,25\n"
        "TOP\t21\t500020,5\t6000035,75\t103,5\n",
        "500001,25 6000002,5 101,125\n500014,5 6000005,75 102,25\n500020,5 6000035,75 103,5\n",
        "500001,25;6000002,5;101,125;GRD\n500014,5;6000005,75;102,25;GRD\n500020,5;6000035,75;103,5;\n",
        "// Y X Z\n6000002.5 500001.25 101.125\n6000005.75 500014.5 102.25\n6000035.75 500020.5 103.5\n",
        '"Point","East","North","Height","Note"\n"1","500001.25","6000002.5","101.125","top, of bank"\n'
        '"2","500014.5","6000005.75","102.25",""\n"3","500020.5","6000035.75","103.5","kerb"\n',
        "P,E,N,Z,C\n1,500001.25,6000002.5,101.125,GRD\n2,500014.5,6000005.75,102.25,12\n"
        "3,500020.5,6000035.75,103.5,\n",
    ],
)
def test_lists_as_they_come_from_the_field(tmp_path: Path, text: str) -> None:
    """Point numbers before, codes behind or before, north first where the names say so."""
    cloud = read(tmp_path, text, "levels.csv")
    assert cloud.xyz.tolist() == FIELD
    # Levels taken one by one: all of them are ground, and the survey says so.
    assert cloud.classes.tolist() == [2, 2, 2]
    assert any("taken for spot levels" in doubt for doubt in cloud.doubts)


def test_where_nothing_says_which_column_is_east_it_is_told(tmp_path: Path) -> None:
    """PENZD and PNEZD look alike; a name that ends in .xyz, or a line of names, says it."""
    lines = "1,10.5,20.5,3.5,GRD\n2,30.5,41.5,4.5,GRD\n"
    (told,) = (d for d in read(tmp_path, lines, "a.csv").doubts if "nothing names its columns" in d)
    assert "column 2 is taken for east, 3 for north and 4 for height" in told
    assert any("nothing names" in d for d in read(tmp_path, "10.5,20.5,3.5\n30.5,41.5,4.5\n", "b.csv").doubts)
    assert not any("nothing names" in d for d in read(tmp_path, "10.5 20.5 3.5\n", "c.xyz").doubts)
    named = read(tmp_path, "P,E,N,Z,D\n" + lines, "d.csv")
    assert not any("nothing names" in d for d in named.doubts)


def test_a_crs_knows_which_column_is_east(tmp_path: Path) -> None:
    """PNEZD, without names, in UTM zone 31: read east first it would lie by the Horn of Africa."""
    lines = "1,6000002.5,500001.25,101.1,GRD\n2,6000022.5,500011.25,102.1,GRD\n"
    with pytest.raises(InputError, match=r"only where north comes before east(.|\n)*number northing easting"):
        read(tmp_path, lines, "a.csv", crs="EPSG:32631")
    named = read(tmp_path, "P,N,E,Z,D\n" + lines, "b.csv", crs="EPSG:32631")
    assert named.xyz[0].tolist() == [500_001.25, 6_000_002.5, 101.1]


def test_whole_numbers_in_front_are_no_point_numbers_beside_whole_coordinates(tmp_path: Path) -> None:
    """A grid in whole metres with a class or colour behind: its first column rises too."""
    assert read(tmp_path, "1 10 3.5 7\n2 20 4.5 7\n", "a.csv").xyz.tolist() == [[1, 10, 3.5], [2, 20, 4.5]]


def test_units_in_the_line_of_names_are_taken(tmp_path: Path) -> None:
    """Without a CRS x and y become metres as well, and that is told (foot of 0.3048 m, exact)."""
    cloud = read(tmp_path, "E (ft),N (ft),Z (ft)\n100,200,10\n200,400,20\n", "feet.csv")
    np.testing.assert_allclose(cloud.xyz, np.array([[100, 200, 10], [200, 400, 20]]) * 0.3048, rtol=1e-15)
    assert any("are turned into metres" in doubt for doubt in cloud.doubts)
    assert not any("unit of height is not stated" in doubt for doubt in cloud.doubts)


def test_scans_in_text_are_not_taken_for_spot_levels(tmp_path: Path) -> None:
    """Points closer than a metre are a scan, with walls and crowns in it: no class is made up."""
    lines = "".join(f"{i % 10 * 0.4:.1f} {i // 10 * 0.4:.1f} 1\n" for i in range(100))
    assert set(read(tmp_path, lines).classes.tolist()) == {0}


@pytest.mark.parametrize("end", ["", "1 2 3\n", "site\n"])
def test_blank_lines_on_top_cost_nothing(tmp_path: Path, end: str) -> None:
    """Forty of them would, tried in every way that a pattern can cut them, outlast the sun."""
    path = tmp_path / "survey.xyz"
    path.write_text("  \n" * 40 + " \n" * 1000 + "# note\n" * 30 + end)
    if end == "1 2 3\n":
        assert read_header(path, GroundSource(file="s")).n_points == 1
        return
    with pytest.raises(InputError) as fault:
        read_header(path, GroundSource(file="s"))
    assert str(path) in fault.value.where


def test_heights_in_feet_become_metres(tmp_path: Path) -> None:
    """The site file's vertical_unit is the only place a text file's unit can be said."""
    assert read(tmp_path, "1 2 10\n4 5 20\n", vertical_unit="ft").xyz[:, 2].tolist() == [3.048, 6.096]


def test_chunks_leave_no_line_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines are parsed some at a time; a file of several chunks keeps all its points and its order."""
    monkeypatch.setattr(textpoints, "CHUNK", 7)
    cloud = read(tmp_path, "x y z\n" + "".join(f"{i} {2 * i} {3 * i}\n" for i in range(50)))
    np.testing.assert_array_equal(cloud.xyz, np.outer(np.arange(50), [1, 2, 3]))


def test_a_fault_in_a_later_chunk_is_named_by_its_own_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Line numbers count from the top of the file, the line of names included."""
    monkeypatch.setattr(textpoints, "CHUNK", 7)
    lines = ["x y z"] + ["1 2 3"] * 30
    lines[24] = "1 two 3"
    with pytest.raises(InputError, match=r"'1 two 3' is no point(.|\n)*line 25"):
        read(tmp_path, "\n".join(lines))


def test_one_line_is_one_point(tmp_path: Path) -> None:
    """The shortest survey there is."""
    assert read(tmp_path, "1 2 3").xyz.tolist() == [[1, 2, 3]]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1 2 3\n4 5 nan\n", r"'4 5 nan' is no point(.|\n)*line 2"),
        ("1 2 3\n4 inf 6\n", r"'4 inf 6' is no point(.|\n)*line 2"),
        ("x y z\n1 2 3\n\n4 5\n", r"'4 5' is no point(.|\n)*line 4"),
        ("1 2 3\nabc\n", r"'abc' is no point(.|\n)*line 2"),
        ("1,2,3\n4,5,\n", r"'4,5,' is no point(.|\n)*line 2"),
        ("x y z class\n1 2 3 300\n", r"'1 2 3 300' is no point(.|\n)*line 2"),
        ("1 2\n3 4\n", r"'1 2' has 2 numbers(.|\n)*x y z"),
        ("P,E,N,Z\n1,2.5,3.5,x\n", r"'1,2.5,3.5,x' is no point(.|\n)*line 2"),
        ("x y z\n", "holds no points"),
        ("# nothing\n", "holds no points"),
        ("east north depth\n1 2 3\n", r"has no z(.|\n)*name that column z or elevation"),
        ("lon lat z\n5 55 3\n", r"longitude and latitude(.|\n)*\[ground\] crs"),
        ("5.00001 55.00001 3\n5.00002 55.00002 3\n", r"look like degrees(.|\n)*EPSG:4326"),
    ],
)
def test_lines_that_are_no_points_are_named(tmp_path: Path, text: str, message: str) -> None:
    """The message quotes the line, gives its number and says what to do."""
    with pytest.raises(InputError, match=message):
        read(tmp_path, text)

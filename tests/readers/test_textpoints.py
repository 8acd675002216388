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
        "\xef\xbb\xbfid,x (m),y (m),height (m)\n7,1.5,2.5,3.5\n8,4,5,6\n",
    ],
)
def test_separators_names_and_decimal_commas(tmp_path: Path, text: str) -> None:
    """Every usual way to write two points gives the same two points."""
    assert read(tmp_path, text).xyz.tolist() == [[1.5, 2.5, 3.5], [4, 5, 6]]


def test_a_named_class_column_is_used_and_its_noise_dropped(tmp_path: Path) -> None:
    """A column called class holds ASPRS classes: 7 and 18 go."""
    cloud = read(tmp_path, "x,y,z,class\n1,2,3,2\n1,2,4,7\n1,2,5,18\n1,2,6,5\n")
    assert cloud.classes.tolist() == [2, 5]
    assert cloud.xyz[:, 2].tolist() == [3, 6]


def test_columns_without_a_name_are_left_out_and_told(tmp_path: Path) -> None:
    """A fourth number could be anything, so it is not taken for a class."""
    cloud = read(tmp_path, "1 2 3 2\n4 5 6 2\n")
    assert cloud.classes.tolist() == [0, 0]
    assert any("1 columns after z have no name" in doubt for doubt in cloud.doubts)


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

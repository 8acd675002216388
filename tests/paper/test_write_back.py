"""Settings written back: the numbers change and every other byte stays."""

import dataclasses
import re
import string
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from shapes import plane, terrain

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import sighted
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.paper import site_file as module
from terrain3d.paper.write_back import with_settings, write_back

KIND = load_type("one-head-90", Path())


def unit(name="D1", height=1.0, bearing=135.0, tilt=0.0, range_m=12.0):
    return Detector(name, KIND, "pole", 0, 0, 0, height, bearing, tilt, 0.0, range_m)


def option(name="north", *units):
    here = terrain(plane(0.0, extent_m=2.0))
    seeing = tuple(sighted(here, one) for one in units or (unit(),))
    return OptionResult(name, seeing, np.zeros((2, 2), np.uint8), {}, (), {}, {})


TABLES = """\
# a plan  \t
[site]
name = "bearing = 7"   # height = 3

[[option]] # first
name = "north"
[[option.detector]]
  name   = "D1"  # the pole
  mount = "pole"
\ttype = "one-head-90"
  height=1.0# from the ground
  "bearing" = +135   # as walked
  range = 1_2

# between
[[mount]]
name = "pole"
at = [0,
  1, # east
]

[[option]]
name = "south"
detector = [ # in braces
  { name = "D1", height = 1.0, bearing = 135, mount = "pole" }, # bearing = 9
  {name="D2",bearing=-90,height=1.2,tilt=-9.5}
]
# end"""

OPTIONS = (option("north", unit()), option("south", unit(), unit("D2", 1.2, 270.0, -9.5)))


def changed(position, **settings):
    """The options with one unit set otherwise."""
    i, j = position
    options = list(OPTIONS)
    units = list(options[i].detectors)
    units[j] = dataclasses.replace(units[j], **settings)
    seen = options[i].units[0]
    options[i] = dataclasses.replace(
        options[i], units=tuple(dataclasses.replace(seen, unit=one) for one in units)
    )
    return tuple(options)


def test_nothing_changed_keeps_every_byte():
    """Settings that equal the file's, defaults and turned bearings included, leave the text alone."""
    assert with_settings(TABLES, OPTIONS) == TABLES


@pytest.mark.parametrize(
    ("position", "settings", "before", "after"),
    [
        ((0, 0), {"bearing_deg": 140.0}, '"bearing" = +135 ', '"bearing" = 140 '),
        ((0, 0), {"height_m": 1.15}, "height=1.0#", "height=1.15#"),
        ((0, 0), {"height_m": 2.0}, "height=1.0#", "height=2.0#"),
        ((0, 0), {"range_m": 8.0}, "range = 1_2", "range = 8"),
        ((0, 0), {"tilt_deg": -3.0}, "as walked\n", "as walked\n  tilt = -3\n"),
        ((1, 0), {"bearing_deg": 137.5}, "1.0, bearing = 135,", "1.0, bearing = 137.5,"),
        ((1, 0), {"tilt_deg": 2.0}, "1.0, bearing = 135,", "1.0, bearing = 135, tilt = 2,"),
        ((1, 1), {"bearing_deg": 272.5}, "bearing=-90", "bearing=272.5"),
        ((1, 1), {"tilt_deg": 4.0}, "tilt=-9.5", "tilt=4.0"),
        ((1, 1), {"range_m": 6.0}, "bearing=-90,", "bearing=-90, range = 6,"),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_one_number_changes_and_no_other_byte(position, settings, before, after, newline):
    """Tables, braces, comments that look like settings: only the meant number changes."""
    text, before, after = (part.replace("\n", newline) for part in (TABLES, before, after))
    assert text.count(before) == 1
    assert with_settings(text, changed(position, **settings)) == text.replace(before, after)


def test_a_key_is_added_on_the_last_line_without_an_end():
    """A file that ends without a line end gets the new key on a line of its own."""
    text = '[[option]]\nname = "north"\n[[option.detector]]\nname = "D1"\nheight = 1\nbearing = 135'
    assert with_settings(text, (option("north", unit(tilt=1.0)),)) == text + "\ntilt = 1"


SPACE = st.text(" \t", max_size=3)
COMMENT = st.one_of(
    st.just(""),
    st.text(string.printable.replace("\r", "").replace("\n", "").replace("\x0b", "").replace("\x0c", ""))
    .map(lambda words: f"# {words}"),
    st.sampled_from(["# bearing = 5", "# [[option.detector]]", "#tilt=3", "# näher ≥ 2 m"]),
)  # fmt: skip
BLANK = st.lists(st.sampled_from(["", "  ", "# height = 9", "\t# [site]"]), max_size=2)


@st.composite
def files(draw):
    """A site file in any layout, with markers where its settings stand."""
    newline = draw(st.sampled_from(["\n", "\r\n"]))
    count = draw(st.integers(1, 3))
    lines = []
    for i in range(count):
        lines += [*draw(BLANK), f"[[option]]{draw(SPACE)}{draw(COMMENT)}", f'name = "option {i}"']
        keys = draw(st.permutations(["name", "height", "bearing", "tilt", "range"]))
        pairs = []
        for key in keys:
            value = '"D1"' if key == "name" else f"<{i} {key}>"
            quoted = draw(st.sampled_from([key, f'"{key}"']))
            pairs.append(f"{quoted}{draw(SPACE)}={draw(SPACE)}{value}")
        if draw(st.booleans()):
            lines.append(f"detector = [{draw(SPACE)}{draw(COMMENT)}")
            lines += [f"{draw(SPACE)}{{{f'{draw(SPACE)},{draw(SPACE)}'.join(pairs)}}}{draw(COMMENT)}", "]"]
        else:
            lines.append("[[option.detector]]")
            for pair in pairs:
                lines += [f"{draw(SPACE)}{pair}{draw(SPACE)}{draw(COMMENT)}", *draw(BLANK)]
        if draw(st.booleans()):
            lines += ["[[solid]]", "height = 1.2", f"path = [[0, 5],{draw(COMMENT)}", "  [10, 5]]"]
    return newline.join([*lines, ""]), count


SETTING = st.fixed_dictionaries(
    {
        "height": st.integers(5, 300).map(lambda n: n / 100),
        "bearing": st.integers(0, 143).map(lambda n: 2.5 * n),
        "tilt": st.integers(-30, 30).map(float),
        "range": st.sampled_from([4.0, 6.0, 8.0, 10.0, 12.0]),
    }
)


def filled(layout, settings):
    """The markers of a layout replaced by numbers with a point."""
    return re.sub(r"<(\d) (\w+)>", lambda m: repr(settings[int(m[1])][m[2]]), layout)


def as_options(settings):
    return tuple(
        option(f"option {i}", unit("D1", s["height"], s["bearing"], s["tilt"], s["range"]))
        for i, s in enumerate(settings)
    )


@given(files(), st.data())
def test_any_layout_keeps_every_other_byte(drawn, data):
    """Comments, spaces, line ends and order stay; the tables say the new settings.

    Outside check: tomlkit, another TOML reader, finds the settings as tomllib does.
    """
    layout, count = drawn
    before = [data.draw(SETTING) for _ in range(count)]
    after = [data.draw(SETTING) for _ in range(count)]
    new = with_settings(filled(layout, before), as_options(after))
    assert new == filled(layout, after)
    for read in (tomllib.loads(new), tomlkit.parse(new).unwrap()):
        for table, settings in zip(read["option"], after, strict=True):
            assert {key: table["detector"][0][key] for key in settings} == settings


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "site.toml"
    path.write_bytes(TABLES.encode())
    return path


def test_saving_twice_goes_on_from_what_was_saved(file):
    """The bytes handed back are those on disk, and the next save starts from them."""
    first = write_back(file, TABLES.encode(), changed((0, 0), bearing_deg=140.0))
    assert file.read_bytes() == first != TABLES.encode()
    assert write_back(file, first, OPTIONS) == TABLES.replace("+135", "135").encode()


def test_a_byte_order_mark_stays(file):
    """The mark that some editors put before the text is neither lost nor in the way."""
    marked = b"\xef\xbb\xbf" + TABLES.encode()
    file.write_bytes(marked)
    new = write_back(file, marked, changed((0, 0), bearing_deg=140.0))
    assert new == marked.replace(b"+135", b"140") == file.read_bytes()


def test_permissions_and_links_stay(file, tmp_path):
    """The file keeps its permissions, and a link to it stays a link."""
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    write_back(link, TABLES.encode(), changed((0, 0), bearing_deg=140.0))
    assert link.is_symlink()
    assert file.stat().st_mode & 0o777 == 0o640
    assert b'"bearing" = 140 ' in file.read_bytes()
    before = module.before_of(file, TABLES.encode()).name
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["link.toml", "site.toml", before]


def test_a_file_changed_by_another_hand_is_left_alone(file):
    """What someone else wrote meanwhile is not undone."""
    file.write_bytes(TABLES.encode() + b"\n# mine")
    with pytest.raises(InputError, match=r"changed on disk since it was read(.|\n)*open the file again"):
        write_back(file, TABLES.encode(), changed((0, 0), bearing_deg=140.0))
    assert file.read_bytes() == TABLES.encode() + b"\n# mine"


def test_a_file_that_may_not_be_written_is_left_alone(file):
    """A file marked as not to be written is refused in words, also to an administrator."""
    file.chmod(0o444)
    with pytest.raises(InputError, match=r"may not be written(.|\n)*permissions"):
        write_back(file, TABLES.encode(), changed((0, 0), bearing_deg=140.0))
    assert file.read_bytes() == TABLES.encode()


def test_a_missing_file_is_not_made_anew(tmp_path):
    """A file that went away is named; none is written in its place."""
    with pytest.raises(InputError, match="gone: No such file"):
        write_back(tmp_path / "site.toml", b"", OPTIONS)
    assert not list(tmp_path.iterdir())


def test_a_full_disk_leaves_the_file_whole(file, monkeypatch):
    """When the last step fails the file is as it was and nothing lies beside it."""

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module.os, "fsync", fail)
    with pytest.raises(InputError, match=r"No space left on device(.|\n)*as it was"):
        write_back(file, TABLES.encode(), changed((0, 0), bearing_deg=140.0))
    assert file.read_bytes() == TABLES.encode()
    assert [entry.name for entry in file.parent.iterdir()] == ["site.toml"]


def test_a_unit_the_file_does_not_know_is_refused():
    """Settings of a unit without a place in the file are not dropped in silence."""
    with pytest.raises(InputError, match="no unit 'D9' of option 'north'"):
        with_settings(TABLES, (option("north", unit("D9")),))

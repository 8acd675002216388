"""Options and mounts put into the site file: what is meant is there, and every other byte stays."""

import string
import tomllib

import pyproj
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.errors import InputError
from terrain3d.frame import site_frame
from terrain3d.paper.added_tables import with_tables
from terrain3d.paper.write_mounts import write_mounts
from terrain3d.paper.write_options import with_options, write_options
from terrain3d.search.mounts import Proposal
from terrain3d.site import DetectorSetting, Option, Site, load_site
from terrain3d.terrain import Mount


def unit(name="D1", **keys):
    given_keys = {
        "mount": "pole",
        "type": "one-head-90",
        "height": 1.0,
        "bearing": 137.5,
        "range": 8.0,
    } | keys
    return DetectorSetting(name=name, **given_keys)


def option(name="best set", *units, **keys):
    return Option(name=name, detector=units or (unit(),), **keys)


FILE = """\
# a plan  \t
[site]
name = "farm" # [[option]]
about = '''
[[option]]
name = "south"
'''
[[option]] # first
name = "north"
# the pole by the gate
[[option.detector]]
  name   = "D1"  # the pole
\tbearing=135
[["option"]]
name = "south"
combine = 'any'

[[ option . detector ]]
name = "D1" # keep out
# said after

# said of the mount
[[mount]]
name = "pole"
at = [0,
  1, # east
]
# end"""

BEST = """\
[[option]]
name = "best set"
[[option.detector]]
name = "D1"
mount = "pole"
type = "one-head-90"
height = 1.0
bearing = 137.5
tilt = 0.0
range = 8.0
"""


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(("end", "gap"), [("", "\n\n"), ("\n", "\n"), ("\n\n", "\n")])
def test_an_option_is_added_at_the_end(newline, end, gap):
    """The text stays as it is; the new table comes after an empty line, in the file's own line ends."""
    text = (FILE + end).replace("\n", newline)
    assert with_options(text, (option(),)) == text + (gap + BEST).replace("\n", newline)


def test_only_what_is_not_taken_for_granted_is_written():
    """Keys that say what goes without saying are left out; those of an installer are written always."""
    units = (
        unit(),
        unit("D2", pan=(-40.0, 40.0), type="two-head-180", tilt=-2.0, pulses=3, roll=0.5, fill=0.4),
    )
    (table,) = tomllib.loads(with_options("", (option("two", *units, combine="all"),)))["option"]
    assert table["combine"] == "all"
    assert list(table["detector"][0]) == ["name", "mount", "type", "height", "bearing", "tilt", "range"]
    assert table["detector"][1]["pan"] == [-40.0, 40.0]
    assert Option.model_validate(table) == option("two", *units, combine="all")


SOUTH = BEST.replace("best set", "south")


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_an_option_of_the_same_name_gives_way_where_it_stands(newline):
    """The old table goes, its place and all that stands around it stay; a text is no table."""
    text = FILE.replace("\n", newline)
    new = with_options(text, (option("south"),), replace=True)
    old = FILE[FILE.index('[["option"]]') : FILE.index("# said after")]
    assert new == FILE.replace(old, SOUTH).replace("\n", newline)
    assert with_options(new, (option("south"),), replace=True) == new


def test_replacing_the_last_option_of_a_file_without_an_end():
    """At the end of a file that lacks its last line end the new table gets its own."""
    text = '[[option]]\nname = "south"\n[[option.detector]]\nname = "D1"'
    assert with_options(text, (option("south"),), replace=True) == SOUTH


def test_a_comment_goes_with_its_option():
    """A line about an option stands in it, and is replaced with it, not gathered above it."""
    text = with_options("", (option(),), comment="holds 80 %")
    assert text.splitlines()[:3] == ["[[option]]", "# holds 80 %", 'name = "best set"']
    assert with_options(text, (option(),), True, "holds 90 %") == text.replace("80", "90")


def test_a_name_that_is_taken_is_refused():
    """Nobody's option is lost unless replacing was asked for."""
    with pytest.raises(
        InputError, match=r"option named 'north' already(.|\n)*site.toml: option(.|\n)*rename"
    ):
        with_options(FILE, (option("north"),), where="site.toml")
    with pytest.raises(InputError, match="named 'new' already"):
        with_options(FILE, (option("new"), option("new")))


def test_options_in_braces_are_left_alone():
    """A list of options in braces takes no table: said in words, not written as a broken file."""
    text = 'option = [{name = "north", detector = []}]\n'
    with pytest.raises(InputError, match=r"no \[\[option\]\] can be put(.|\n)*by hand"):
        with_options(text, (option(),))
    with pytest.raises(InputError, match=r"no \[\[option\]\] can be put"):
        with_options(text, (option("north"),), replace=True)


def test_a_file_that_is_no_toml_is_refused():
    """A fault of the file is told as such."""
    with pytest.raises(InputError, match="it is not TOML"):
        with_options("[site", (option(),))


NAME = st.text(st.characters(exclude_categories=["C"]), min_size=1, max_size=30)
COMMENT = st.text(
    string.printable.replace("\r", "").replace("\n", "").replace("\x0b", "").replace("\x0c", "")
)
HEADERS = ["[[mount]]", "[[option]]  # one", '["walk"]', "[[option.detector]]"]
LINES = st.lists(
    st.one_of(
        st.sampled_from(["", "  ", "# [[option]]", *HEADERS]),
        COMMENT.map(lambda words: f"# {words}"),
    ),
    max_size=12,
)  # fmt: skip
FIXED = st.builds(
    unit,
    st.just("D1"),
    mount=NAME,
    height=st.integers(5, 999).map(lambda n: n / 100),
    bearing=st.integers(0, 143).map(lambda n: 2.5 * n),
    tilt=st.integers(-30, 30).map(float),
)


@settings(deadline=None)
@given(LINES, NAME, FIXED, st.booleans(), st.sampled_from(["\n", "\r\n"]))
def test_any_text_stays_and_says_the_new_option(lines, name, fixed, ends, newline):
    """Whatever stands in the file: it is the head of the new one, and reads as before and one more.

    Outside check: tomlkit, another TOML reader, finds the option as tomllib does.
    """
    text = newline.join(lines + [""] * ends)
    try:
        before = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    if not isinstance(before.get("option", []), list):
        with pytest.raises(InputError, match="laid out"):
            with_options(text, (option(name, fixed),))
        return
    new = with_options(text, (option(name, fixed),))
    assert new.startswith(text)
    assert newline != "\r\n" or "\n" not in new.replace("\r\n", "") or "\n" not in text
    for read in (tomllib.loads(new), tomlkit.parse(new).unwrap()):
        *others, added = read.pop("option")
        assert others == before.get("option", [])
        assert read == {key: value for key, value in before.items() if key != "option"}
        assert Option.model_validate(added) == option(name, fixed)
    again = with_options(new, (option(name, unit(tilt=1.0)),), replace=True)
    assert again.startswith(text)
    assert tomllib.loads(again)["option"][-1]["detector"][0]["tilt"] == 1.0


SITE = """\
[site]
name = "farm"
[ground]
plane = { fall = 10, towards = 90, extent = 40 }
[[mount]]
name = "pole"
at = [0.0, 1.0]
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "site.toml"
    path.write_bytes(SITE.encode())
    return path


def test_what_is_written_loads_as_it_was_meant(file):
    """The file read again holds the option as it was handed over, a byte-order mark and all."""
    marked = b"\xef\xbb\xbf" + SITE.replace("\n", "\r\n").encode()
    file.write_bytes(marked)
    new = write_options(file, marked, (option(),))
    assert new == file.read_bytes() == marked + b"\r\n" + BEST.replace("\n", "\r\n").encode()
    assert load_site(file).option == (option(),)


def test_a_file_changed_meanwhile_or_closed_to_writing_is_left_alone(file):
    """The same care as for settings: what another hand wrote stays, permissions count."""
    with pytest.raises(InputError, match="changed on disk"):
        write_options(file, SITE.encode() + b"#", (option(),))
    file.chmod(0o444)
    with pytest.raises(InputError, match="may not be written"):
        write_options(file, SITE.encode(), (option(),))
    assert file.read_bytes() == SITE.encode()
    assert [entry.name for entry in file.parent.iterdir()] == ["site.toml"]


def proposal(x, y, name="garden wall 1"):
    return Proposal(Mount(name, x, y, (0.8, 0.9)), "wall", "south", "garden wall", "garden wall")


def test_mounts_are_written_in_the_coordinates_of_the_site(file):
    """Local metres are written as they are, with a word why each mount is there."""
    frame = site_frame(None, 0.0, 0.0)
    write_mounts(file, SITE.encode(), (proposal(1.23456, -2.0),), frame, None)
    assert file.read_text() == SITE + (
        "\n[[mount]]\n# proposed: fixed to the south face of garden wall\n"
        'name = "garden wall 1"\nat = [1.235, -2.0]\nheights = [0.8, 0.9]\n'
    )
    assert [mount.name for mount in load_site(file).mount] == ["pole", "garden wall 1"]


@pytest.mark.parametrize(
    ("code", "x", "y"), [("EPSG:4326", 5.0, 55.0), ("EPSG:32631", 5.6e5, 4.95e6), ("EPSG:2225", 6e6, 2e6)]
)
def test_world_coordinates_come_back_to_a_millimetre(file, code, x, y):
    """In degrees, metres and feet alike a mount comes back to where it was within a millimetre."""
    crs = pyproj.CRS(code)
    frame = site_frame(crs, x, y)
    write_mounts(file, SITE.encode(), (proposal(12.3456789, -7.654321),), frame, crs)
    at = load_site(file).mount[-1].at
    east, north = frame.to_local([at[0]], [at[1]], crs)
    assert float(east[0]) == pytest.approx(12.3456789, abs=1e-3)
    assert float(north[0]) == pytest.approx(-7.654321, abs=1e-3)


def test_a_mount_whose_name_is_there_is_refused(file):
    """A name says which mount is meant; a second one of that name is not written."""
    frame = site_frame(None, 0.0, 0.0)
    with pytest.raises(InputError, match="mount named 'pole' already"):
        write_mounts(file, SITE.encode(), (proposal(1, 2), proposal(5, 5, "pole")), frame, None)
    assert file.read_bytes() == SITE.encode()


def test_no_tables_change_nothing():
    """Nothing to add leaves the text alone, without an end too."""
    assert with_tables("a = 1", "mount", []) == "a = 1"
    assert Site.model_validate(tomllib.loads(with_options(SITE, ()))).option == ()

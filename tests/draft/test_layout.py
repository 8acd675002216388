"""A TOML text in blocks: put together it is the text, and it says what the standard library reads in it."""

import tomllib
from pathlib import Path

import pytest
from draft_files import ODD, in_lines_of

from terrain3d.draft.layout import contents, layout_of
from terrain3d.errors import InputError

DATA = Path(__file__).parents[2] / "data"


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("text", ["", "# only said\n", "a = 1", "[a]", *ODD], ids=range(4 + len(ODD)))
def test_a_text_in_blocks_is_the_text(text, newline):
    """Nothing is lost or added, and the tables are those that the standard library reads."""
    text = in_lines_of(text, newline)
    layout = layout_of(text)
    assert layout.text == text
    assert contents(layout).tables == tomllib.loads(text)
    assert layout.newline == (newline if "\n" in text else "\n")


@pytest.mark.parametrize("path", sorted(DATA.glob("*.toml")), ids=lambda path: path.name)
def test_the_sites_that_come_along(path):
    """Site files as people write them."""
    text = path.read_text(encoding="utf-8")
    layout = layout_of(text)
    assert layout.text == text
    assert contents(layout).tables == tomllib.loads(text)


def test_what_is_said_above_a_table_is_its_lead():
    """A comment right above a header, or after a blank line, is about what follows; below a key it is not."""
    text = "# the farm\n[site]\nname = 'x'\n# more of it\n"
    text += "\n# ---\n\n# by the gate\n[[mount]]\nat = [0, 1]\n# end\n"
    layout = layout_of(text)
    assert [block.lead for block in layout.blocks] == ["", "# the farm\n", "\n# ---\n\n# by the gate\n"]
    assert layout.blocks[1].body.endswith("# more of it\n")
    assert layout.tail == ""


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("a = ", "not TOML"),
        ("[a\n", "not TOML"),
        ("a = 1\na = 2\n", "not TOML"),
        ("x = " + "[" * 100_000, "too deep"),
        ("x = " + "1" * 10_000, "thousands of digits"),
        ("x = 0x" + "F" * 20, "out of bounds"),
    ],
)
def test_what_is_no_toml_is_refused(text, match):
    """In words, whatever is wrong with it."""
    with pytest.raises(InputError, match=match):
        layout_of(text)

"""Names made fit to print, and lines that fit."""

import re

from hypothesis import given
from hypothesis import strategies as st

from terrain3d.show.lettering import fitted_lines, has_glyph, line_width, wrapped
from terrain3d.show.pages.names import slug


@given(st.text(max_size=300))
def test_slug_is_always_a_file_name(name):
    """Whatever the name, its slug is plain letters, digits and dashes, and no path."""
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?", slug(name))


@given(st.text(max_size=300), st.integers(3, 30), st.integers(1, 5))
def test_lines_fit(text, width, max_lines):
    """No line is wider than asked, and there are no more than asked."""
    lines = wrapped(text, width, len, max_lines)
    assert 1 <= len(lines) <= max_lines
    assert all(len(line) <= width for line in lines)


@given(st.text(alphabet="abc ", max_size=120), st.integers(3, 30))
def test_nothing_is_lost_where_there_is_room(text, width):
    """With lines enough, all letters come back in their order."""
    assert "".join(wrapped(text, width, len, 200)).replace(" ", "") == text.replace(" ", "")


@given(st.text(max_size=200))
def test_only_letters_of_the_typeface_are_printed(text):
    """Control characters go, foreign ones become boxes, and the measured width holds."""
    (line,) = fitted_lines(text, 12, 1)
    assert all(has_glyph(letter) for letter in line)
    assert line_width(line) <= 12 + 1e-9 or line == "..."

"""Names made fit to print, and lines that fit."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.cover.causes import CAUSE_WORDS
from terrain3d.show import words
from terrain3d.show.lettering import fitted_lines, has_glyph, line_width
from terrain3d.show.pages.names import slug


@given(st.text(max_size=300))
def test_slug_is_always_a_file_name(name):
    """Whatever the name, its slug is plain letters, digits and dashes, and no path."""
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?", slug(name))


@given(st.text(max_size=300), st.integers(3, 30), st.integers(1, 5))
def test_lines_fit(text, width, max_lines):
    """No line is wider than asked, and there are no more than asked."""
    lines = words.wrapped(text, width, len, max_lines)
    assert 1 <= len(lines) <= max_lines
    assert all(len(line) <= width for line in lines)


@given(st.text(alphabet="abc ", max_size=120), st.integers(3, 30))
def test_nothing_is_lost_where_there_is_room(text, width):
    """With lines enough, all letters come back in their order."""
    assert "".join(words.wrapped(text, width, len, 200)).replace(" ", "") == text.replace(" ", "")


@given(st.text(max_size=200))
def test_only_letters_of_the_typeface_are_printed(text):
    """Control characters go, foreign ones become boxes, and the measured width holds."""
    (line,) = fitted_lines(text, 12, 1)
    assert all(has_glyph(letter) for letter in line)
    assert line_width(line) <= 12 + 1e-9 or line == "..."


def test_the_best_option_says_why_and_another_what_it_holds(outcome):
    """The sentence for the client stands under the best option; every one says what it holds."""
    best, other = outcome.options
    assert words.one_line(outcome, best).endswith(outcome.why)
    for option in outcome.options:
        assert re.match(
            r"Holds \d+% of the protected ground with both layers", words.one_line(outcome, option)
        )
    assert words.place_in_ranking(outcome, other) == "2nd of 2"


def test_the_main_loss_is_the_largest_one(outcome):
    """Of all layers and causes the one that takes most protected ground is named, with its area."""
    lost = {"upper": {"lands short": 55.2, "outside arc": 3.0}, "lower": {"hidden by a solid": 12.0}}
    option = replace(outcome.options[1], lost_m2=lost)
    line = words.one_line(outcome, option)
    assert line.endswith("; most is lost where the upper layer lands short (55 m²).")


@pytest.mark.parametrize("cause", CAUSE_WORDS.values())
def test_every_cause_has_its_words(outcome, cause):
    """No cause that the verdicts know is missing from the sentences."""
    option = replace(outcome.options[1], lost_m2={"lower": {cause: 9.0}})
    assert "9.0 m²" in words.loss_line(outcome, option)
    assert words.cause_clause(cause)


def test_without_protected_ground_reach_is_what_counts(outcome):
    """What lies outside every arc is no loss where nothing is said to matter there."""
    causes = {"upper": {"outside arc": 900.0, "passes above the figure": 20.0}}
    option = replace(outcome.options[1], protect=(), causes=causes)
    line = words.loss_line(outcome, option)
    assert line.startswith("Holds ")
    assert "passes over the person (20 m²)" in line

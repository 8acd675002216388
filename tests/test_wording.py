"""Numbers and words as a person would write them, whatever a damaged file holds."""

import math
import pickle
import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.errors import InputError
from terrain3d.wording import box_words, coordinate, counted, fit, listed, plain


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15))
def test_coordinates_are_written_out_and_true(value: float) -> None:
    """To a millimetre, or a centimetre where they may be degrees; Python reads them back."""
    text = coordinate(value)
    assert re.fullmatch(r"-?\d+(\.\d+)?", text)
    assert float(text) == pytest.approx(value, abs=5.1e-4, rel=1e-15)
    assert text != "-0"


def test_absurd_coordinates_stay_short() -> None:
    """Headers of damaged files hold anything; three hundred digits help nobody."""
    assert (
        box_words((-1e300, math.nan, 1e300, math.inf)) == "x under -10^15 to over 10^15, y nan to over 10^15"
    )


@given(st.floats(min_value=1e-6, max_value=1e9), st.integers(1, 6))
def test_significant_digits_without_an_exponent(value: float, digits: int) -> None:
    """Within half a unit of the last digit kept."""
    text = plain(value, digits)
    assert "e" not in text
    assert float(text) == pytest.approx(value, rel=0.51 * 10 ** (1 - digits))


def test_counts_and_lists() -> None:
    """None, one, several, and one more than are named."""
    assert [counted(n, "hole") for n in (0, 1, 2)] == ["0 holes", "1 hole", "2 holes"]
    assert listed(["a", "b"]) == "a and b"
    assert listed(["a", "b", "c", "d"]) == "a, b, c and 1 more"


@given(st.text())
def test_a_fit_line_steers_nothing_and_is_one_line(text: str) -> None:
    """Whatever is in it: no control, format, surrogate or break of lines is left (Unicode, categories)."""
    shown = fit(text, longest=30)
    assert all(unicodedata.category(letter)[0] != "C" for letter in shown)
    assert len(shown.splitlines()) <= 1
    assert all(len(word) <= 30 for word in shown.split())


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126)))
def test_plain_words_stay_as_they_are(text: str) -> None:
    """Letters of ASCII are shown as they are, in words that are not too long."""
    words = " ".join(word[:200] for word in text.split(" "))
    assert fit(words) == words


def test_an_error_that_another_process_hands_over_says_the_same() -> None:
    """Its three parts in three lines, and what was noted on it."""
    error = InputError("it is empty", "a.las", "copy it again\n  also: b.las (b); that one too")
    error.add_note("the results are in out")
    other = pickle.loads(pickle.dumps(error))
    assert (
        str(other)
        == str(error)
        == ("it is empty\n  where: a.las\n  to mend: copy it again\n  also: b.las (b); that one too")
    )
    assert (other.what, other.where, other.mend) == (error.what, error.where, error.mend)
    assert other.__notes__ == ["the results are in out"]


def test_foreign_words_in_an_error_stay_in_their_line() -> None:
    """A break of lines in the name of a key makes no line of its own."""
    error = InputError("unknown key a\nb", "x\x1b[31m.toml", "mend it")
    assert str(error).splitlines() == ["unknown key a␊b", "  where: x␛[31m.toml", "  to mend: mend it"]

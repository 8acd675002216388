"""Numbers as a person would write them, whatever a damaged file holds."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d.wording import box_words, coordinate, counted, listed, plain


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

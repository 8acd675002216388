"""Lengths and areas as words: true in metres and in feet, to the digit that is told, wherever they are told.

Factors: NIST Special Publication 811 (2008), appendix B.8: foot 0.3048 m, square foot 0.09290304 m2, inch
2.54 cm, foot per second 0.3048 m/s; the international foot as agreed in 1959.
"""

import math
import re
import threading
from multiprocessing import get_context

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain3d import lengths
from terrain3d.lengths import lengths_in

FOOT_M, SQUARE_FOOT_M2, INCH_M = 0.3048, 0.09290304, 0.0254
metres = st.floats(0.0, 5e4)
units = st.sampled_from(lengths.UNITS)
digits = st.integers(0, 3)


def parsed(text: str) -> tuple[float, float, str]:
    """A number, what its last digit is worth, and its unit."""
    found = re.fullmatch(r"(-?\d+)(?:\.(\d+))? ?(.+)", text)
    assert found is not None, text
    number = float(f"{found[1]}.{found[2] or 0}")
    return number, 10.0 ** -len(found[2] or ""), found[3]


def size_of(unit: str) -> float:
    """Metres, square metres or metres a second in a unit."""
    return {
        "m": 1.0, "m2": 1.0, "m²": 1.0, "cm": 0.01, "m/s": 1.0, "ft": FOOT_M, "ft2": SQUARE_FOOT_M2,
        "ft²": SQUARE_FOOT_M2, "in": INCH_M, "ft/s": FOOT_M,
    }[unit]  # fmt: skip


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (lambda: lengths.length(FOOT_M, 4), "1.0000 ft"),
        (lambda: lengths.length(30.48), "100.0 ft"),
        (lambda: lengths.plain_area(100 * SQUARE_FOOT_M2), "100 ft2"),
        (lambda: lengths.area_words(SQUARE_FOOT_M2), "1.0 ft²"),
        (lambda: lengths.small(10 * INCH_M), "10.0 in"),
        (lambda: lengths.speed(FOOT_M), "1 ft/s"),
        (lambda: lengths.given(20 * FOOT_M), "20 ft"),
        # A tilt of 9.5 degrees up, 2.0 inches to the foot: 12 tan 9.5 degrees.
        (lambda: lengths.over_level(0.16734), "2.01 in over a level of 12 in"),
        (lambda: lengths.per_area(1 / SQUARE_FOOT_M2), 1.0),
    ],
)
def test_feet_are_international_feet(told, words):
    """The factors of the standard, to the last digit that is told."""
    with lengths_in("ft"):
        assert told() == pytest.approx(words) if isinstance(words, float) else told() == words


@given(metres, units, digits)
def test_a_length_read_back_is_that_length(value, unit, decimals):
    """Within half of its last digit, and so no coarser in feet than in metres."""
    with lengths_in(unit):
        number, last, sign = parsed(lengths.length(value, decimals))
    assert sign == unit
    assert abs(number * size_of(sign) - value) <= 0.5 * last * size_of(sign) + 1e-9 * value
    assert last * size_of(sign) <= 10.0**-decimals


@given(st.floats(1e-3, 5e4), units)
def test_a_length_that_was_set_read_back_is_that_length(value, unit):
    """To a tenth of a foot at least, to a hundredth below ten feet, and to as many decimals as in metres."""
    value = float(f"{value:.4g}")
    finest = parsed(f"{value:g} m")[1]
    with lengths_in(unit):
        number, _, sign = parsed(lengths.given(value))
    last = 0.0 if unit == "m" else min(0.01 if value < 3 else 0.1, finest)
    assert sign == unit
    assert abs(number * size_of(sign) - value) <= 0.5 * last * size_of(sign) + 1e-9 * value


@given(st.floats(0.01, 5e4), units, st.integers(1, 4))
def test_a_length_to_some_digits_is_no_coarser_in_feet(value, unit, some):
    """What is rounded off is at most half of the last of so many digits of metres."""
    with lengths_in(unit):
        number, _, sign = parsed(lengths.about(value, some))
    worth = 10.0 ** (math.floor(math.log10(value)) - some + 1)
    assert abs(number * size_of(sign) - value) <= 0.5 * worth * (1 + 1e-9)


@given(st.floats(0.0, 1e6), units)
def test_an_area_read_back_is_that_area(value, unit):
    """In both signs of it, within half of the last digit, and no coarser in feet than in metres."""
    with lengths_in(unit):
        for text in (lengths.area_words(value), lengths.plain_area(value), lengths.plain_area(value, 0)):
            number, last, sign = parsed(text)
            assert (
                abs(number * size_of(sign) - value) <= 0.5 * last * size_of(sign) * (1 + 1e-9) + 1e-9 * value
            )
    with lengths_in("m"):
        coarse = [parsed(one(value)) for one in (lengths.area_words, lengths.plain_area)]
    with lengths_in("ft"):
        fine = [parsed(one(value)) for one in (lengths.area_words, lengths.plain_area)]
    for (_, in_m2, _), (_, in_ft2, _) in zip(coarse, fine, strict=True):
        assert in_ft2 * SQUARE_FOOT_M2 <= in_m2


@given(st.floats(0.0, 2.0), units)
def test_a_small_length_read_back_is_that_length(value, unit):
    """Centimetres and inches, these to a tenth, for an inch is more than a centimetre."""
    with lengths_in(unit):
        number, last, sign = parsed(lengths.small(value))
    assert sign == {"m": "cm", "ft": "in"}[unit]
    assert abs(number * size_of(sign) - value) <= 0.5 * last * size_of(sign) + 1e-9
    assert last * size_of(sign) <= 0.01


@given(st.floats(0.0, 900.0), st.floats(0.0, 90.0), units)
def test_both_ends_of_a_span_are_told_as_lengths_are(low, more, unit):
    """Only the second has the unit."""
    with lengths_in(unit):
        sign = lengths.length_unit()
        assert f"{lengths.length(low)}".removesuffix(sign) in lengths.span(low, low + more)
        assert lengths.span(low, low + more).endswith(f"to {lengths.length(low + more)}")
        assert lengths.half_up_span(low, low + more).endswith(f"to {lengths.half_up(low + more)}")
        assert (
            lengths.given_span(low, low + more)
            == f"{lengths.given_figure(low)} to {lengths.given(low + more)}"
        )


@given(st.floats(-900.0, 900.0), units)
def test_a_number_of_the_unit_is_the_length_again(value, unit):
    """What a hand sets in feet is what it was shown."""
    with lengths_in(unit):
        assert lengths.in_metres(lengths.in_unit(value)) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("gaps of 2 m", "gaps of 6.56 ft"),
        ("0.5 to 1.5 m long", "1.64 to 4.92 ft long"),
        ("'wall of 2 m' is \"3 m\" long, 3 m", "'wall of 2 m' is \"3 m\" long, 9.84 ft"),
        ("12 m2 of 30 m2", "129 ft2 of 323 ft2"),
        ("1.5 mm, 2 m/s, 3 m2/m3, x4 m, EPSG:32631 m", "1.5 mm, 2 m/s, 3 m2/m3, x4 m, EPSG:32631 m"),
    ],
)
def test_doubts_of_a_survey_are_told_again(text, words):
    """Names stay, and what is no length; in metres all of it stays."""
    with lengths_in("ft"):
        assert lengths.retold(text) == words
    assert lengths.retold(text) == text


def test_units_end_with_their_block():
    """Within each other, after a fault, and of a function that they decorate."""

    @lengths_in("m")
    def data() -> str:
        return lengths.length(1.0)

    with lengths_in("ft"):
        assert data() == "1.0 m"
        with pytest.raises(ZeroDivisionError), lengths_in("m"):
            _ = 1 / 0
        assert lengths.units() == "ft"
    assert lengths.units() == "m"


def _units_in_a_process(queue) -> None:
    queue.put(lengths.units())


def test_threads_and_processes_begin_in_metres():
    """So whoever starts one hands its units on."""
    found = []
    with lengths_in("ft"):
        thread = threading.Thread(target=lambda: found.append(lengths.units()))
        thread.start()
        thread.join()
        context = get_context("spawn")
        queue = context.SimpleQueue()
        process = context.Process(target=_units_in_a_process, args=(queue,))
        process.start()
        found.append(queue.get())
        process.join()
    assert found == ["m", "m"]

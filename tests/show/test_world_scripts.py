"""Names in the scripts of the world: no box stands for a letter and no line turns, on pages or in the window.

The lines say "yard" or what lies about one; that each of their letters is of its script is looked up in the
Unicode names that Python brings (unicodedata).
"""

import unicodedata
from io import BytesIO

import numpy as np
import pytest
from matplotlib.ft2font import FT2Font, LoadFlags
from matplotlib.text import Text
from PIL import Image
from scipy.ndimage import distance_transform_edt

from terrain3d.show.lettering import (
    draw_as_meant,
    fitted_lines,
    font_files,
    has_glyph,
    in_order,
    letters,
    line_width,
    page_style,
    printable,
)
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.writing import sign_board

#: A line of each script, and the word that the Unicode names of its letters have.
LINES = {
    "greek": ("Πίσω αυλή με κήπο", "GREEK"),
    "cyrillic": ("Двор за домом, їжак", "CYRILLIC"),
    "arabic": ("فناء المنزل پچگ", "ARABIC"),
    "hebrew": ("חצר אחורית", "HEBREW"),
    "simplified chinese": ("后院停车场门柱", "CJK"),
    "traditional chinese": ("後院停車場門柱", "CJK"),
    "japanese": ("うらにわガレージ", "KATAKANA HIRAGANA KATAKANA-HIRAGANA"),
    "korean": ("뒷마당 차고", "HANGUL"),
    "devanagari": ("आँगन के पीछे का क्षेत्र", "DEVANAGARI"),
    "thai": ("สนามหญ้าหลังบ้าน", "THAI"),
}
ARABIC, HEBREW, DEVANAGARI = (LINES[script][0] for script in ("arabic", "hebrew", "devanagari"))
WEIGHTS = ("normal", "bold")


def drawn(text, size=24, weight="normal"):
    """The letters of a line alone, without the paper around them."""
    (line,) = fitted_lines(text, 1e6, 1, weight)
    return letters(line, size, weight)[0]


def page_of_text(text, weight="normal"):
    """A page with a line on it, as pixels from 0 to 1."""
    with page_style():
        page = Sheet()
        (line,) = page.lines(text, 0.9, 20, 1, weight)
        page.text(0.05, 0.5, line, 20, weight=weight)
        picture = BytesIO()
        page.figure.save(picture)
    with Image.open(picture) as image:
        return 1 - np.asarray(image.convert("L"), float) / 255


@pytest.mark.parametrize("script", LINES)
@pytest.mark.parametrize("weight", WEIGHTS)
def test_every_letter_has_a_glyph(script, weight):
    """The files that are named for a line have each of its letters, and its letters are of the script."""
    line, names = LINES[script]
    own = [letter for letter in line if letter not in " ,"]
    assert all(unicodedata.name(letter).split()[0].removesuffix("-UNIFIED") in names for letter in own)
    faces = [FT2Font(path) for path in font_files(line, weight)]
    assert all(any(face.get_char_index(ord(letter)) for face in faces) for letter in line)
    assert printable(line, has_glyph) == line


@pytest.mark.parametrize("script", LINES)
def test_no_letter_is_drawn_as_the_missing_one(script):
    """On a page there is no box of a letter that is missing: matplotlib warns of one, and that would fail; in
    the window no letter looks like that box."""
    line = LINES[script][0]
    assert page_of_text(line).sum() > 50
    missing = drawn("\U00020000")
    for letter in set(line) - {" "}:
        if unicodedata.category(letter)[0] != "M":
            shown = letters(letter, 24)[0]
            assert shown.shape != missing.shape or not np.array_equal(shown, missing), letter


def test_what_no_typeface_has_is_a_box():
    """A letter that none has stays a box, on one line with the others."""
    assert fitted_lines("a\U00020000b", 10, 1) == ["a\u25a1b"]


@pytest.mark.parametrize("script", LINES)
@pytest.mark.parametrize("weight", WEIGHTS)
@pytest.mark.parametrize("size", [6.2, 8, 10.5, 16])
def test_a_line_is_no_wider_than_it_was_measured(script, weight, size):
    """What a page draws is within the width that its lines were fitted to."""
    (line,) = fitted_lines(f"{LINES[script][0]} 45 m2", 1e6, 1, weight)
    with page_style():
        page = Sheet()
        text = page.text(0.02, 0.5, line, size, weight=weight)
        wide = text.get_window_extent().width / (size * page.figure.dpi / 72)
    # Small letters stand on whole pixels of a screen, Latin ones too.
    assert wide <= 1.03 * line_width(line, weight)


@pytest.mark.parametrize("name", [ARABIC, HEBREW])
def test_a_number_stays_behind_the_name_it_follows(name):
    """A line that begins with a name from the right runs from the left: the name, then its number.

    The Unicode bidirectional algorithm (UAX 9, rules P2 and W2) turns the line without a mark.
    """
    line = drawn(f"{name} D1 45 %")
    alone, number = drawn(name), drawn("D1 45 %")
    assert np.array_equal(
        line[:, : alone.shape[1] // 2].any(axis=0), alone[:, : alone.shape[1] // 2].any(axis=0)
    )
    behind = line[:, -number.shape[1] :]
    rows, of_number = (np.trim_zeros(part.sum(axis=1).astype(float)) for part in (behind, number))
    assert rows == pytest.approx(of_number, rel=0.01)
    turned = letters(f"{name} D1 45 %", 24)[0]
    assert turned.shape != line.shape or not np.array_equal(turned, line)


def test_names_of_a_list_keep_their_order():
    """Two names from the right, one after the other: the first stands on the left."""
    assert in_order(f"{HEBREW}, {ARABIC}") == f"\u200e{HEBREW}\u200e, \u200e{ARABIC}\u200e"
    both = drawn(f"{HEBREW}, {ARABIC}")
    half = drawn(HEBREW).shape[1] // 2
    assert np.array_equal(both[:, :half].any(axis=0), drawn(HEBREW)[:, :half].any(axis=0))


def test_arabic_letters_join_and_devanagari_letters_combine():
    """An Arabic word is narrower than its letters apart, for within it they have shorter forms; a vowel of
    Devanagari that is spoken after its letter is written before it (The Unicode Standard, chapter 12.1)."""
    word = ARABIC.split()[0]
    assert line_width(word) < 0.9 * sum(line_width(letter) for letter in word)
    vowel, letter = "\u093f", "\u0915"
    with_vowel, alone = drawn(letter + vowel), drawn(letter)
    assert with_vowel.shape[1] > alone.shape[1] + 2
    body = with_vowel[:, -alone.shape[1] :]
    assert (body[-alone.shape[0] // 2 :] > 0).mean() == pytest.approx(
        (alone[-alone.shape[0] // 2 :] > 0).mean(), abs=0.1
    )


def test_a_line_never_begins_with_a_mark_of_the_letter_before():
    """However narrow the column, what stands on a letter stays on it."""
    for width in (2.0, 2.5, 3.0, 3.5, 4.0):
        for line in fitted_lines(DEVANAGARI.replace(" ", "") * 3, width, 60):
            assert unicodedata.category(line[0])[0] != "M"


def test_chinese_characters_are_those_of_the_page():
    """Where a page has Japanese or Korean letters, the Chinese characters on it are drawn as there."""
    han = "\u76f4\u9aa8"
    assert [path.name for path in font_files(han)][1] == "KurintoSansSC-Rg.ttf"
    assert [path.name for path in font_files(han + "の")][1] == "KurintoSansJP-Rg.ttf"
    assert [path.name for path in font_files(han + "마")][1] == "KurintoSansKR-Rg.ttf"
    with page_style():
        page = Sheet()
        first, _ = page.text(0.1, 0.5, han, 9), page.text(0.1, 0.4, "庭の", 9)
        before = first.get_fontfamily()
        draw_as_meant(page.figure.findobj(Text))
        assert first.get_fontfamily()[1] != before[1]
        assert first.get_fontfamily()[1].endswith("JP")


@pytest.mark.parametrize("weight", WEIGHTS)
def test_japanese_is_of_one_weight(weight):
    """Strokes of kana are about as wide as those of the characters between them, in bold headings too."""
    widths = {}
    for letter in "\u306e\u5ead":
        (path, *_) = font_files("\u306e" + letter, weight)[1:]
        face = FT2Font(path)
        face.set_size(200, 72)
        face.set_text(letter, 0.0, flags=LoadFlags.NO_HINTING)
        face.draw_glyphs_to_bitmap(antialiased=True)
        # The widest disc within a stroke is as wide as the stroke.
        widths[letter] = 2 * distance_transform_edt(np.pad(face.get_image() > 127, 1)).max()
    kana, character = widths.values()
    assert kana == pytest.approx(character, rel=0.35)


def test_a_name_in_the_window_is_whole():
    """A name of two lines has all of its letters on its board, also those that reach high or low."""
    lines = ["D1", "ที่จอดรถ ฐุ"]
    board = sign_board(lines, 14, bold=True)
    inked = sum(int(letters(line, 14, "bold")[0].sum()) for line in lines)
    covered = (board[..., 3].astype(float) - 191) / (255 - 191)
    assert covered.clip(0, 1).sum() * 255 == pytest.approx(inked, rel=0.03)

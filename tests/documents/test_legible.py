"""What people type reaches the page as typed, or as a code point; nothing is lost and nothing acts."""

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.documents.legible import LONGEST_RUN, drawable, legible, legible_data


@pytest.mark.parametrize(
    "text", ["#panic()", "*not bold*", "$x^2$", "\\ \\n", "\"'`", "<label> @ref", "// /* */", "= H"]
)
def test_markup_stays_as_typed(text: str):
    assert legible(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("中", "‹U+4E2D›"),
        ("a\x07b", "a‹U+0007›b"),
        ("\u202eevil", "‹U+202E›evil"),  # would turn the line around
        ("a\u200bb", "a‹U+200B›b"),
        ("\ue000", "‹U+E000›"),
        ("e\u0301", "é"),
        ("Ђорђе Νίκος 🙂", "Ђорђе Νίκος 🙂"),
        ("a\r\nb\tc", "a\nb c"),
    ],
)
def test_what_cannot_be_drawn_shows_its_code_point(text: str, shown: str):
    assert legible(text) == shown


@given(st.text())
def test_every_character_is_kept_or_named(text: str):
    shown = legible(text).replace("\u200b", "")
    named = re.sub(r"‹U\+([0-9A-F]{4,6})›", lambda found: chr(int(found[1], 16)), shown)
    normal = unicodedata.normalize(
        "NFC", text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    )

    assert re.sub(r"‹U\+([0-9A-F]{4,6})›", lambda f: chr(int(f[1], 16)), normal) == named


@given(st.text())
def test_whatever_is_shown_has_a_shape(text: str):
    shapes = drawable("text", "fallback", "emoji") | set(map(ord, "\n\u200b\u200d\ufe0f"))

    assert set(map(ord, legible(text))) <= shapes
    assert set(map(ord, legible(text, plain=True))) <= drawable("text") | set(map(ord, "\n\u200b"))


@given(st.text(alphabet=st.characters(codec="ascii", exclude_categories=["Cc", "Zs"]), min_size=1))
def test_a_long_word_gets_places_to_break(word: str):
    pieces = legible(word).split("\u200b")

    assert max(map(len, pieces)) <= LONGEST_RUN
    assert "".join(pieces) == word


def test_data_that_json_cannot_hold_is_refused():
    with pytest.raises(TypeError, match="found set"):
        legible_data({"a": {1, 2}})

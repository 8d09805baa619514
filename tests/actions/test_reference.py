"""References: told from a typo, read however they are written, and never in sequence."""

from itertools import combinations, islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.actions.reference import (
    ALPHABET,
    CODE_LENGTH,
    LENGTH,
    new_code,
    new_references,
    read_reference,
)

references = st.builds(lambda seed: next(new_references(f"t{seed}")), st.integers(0, 10**9))


def bare(reference):
    return reference.replace("-", "")


@given(references)
def test_a_reference_reads_as_itself(reference):
    assert read_reference(reference) == reference
    assert read_reference(f" {bare(reference).lower()} ") == reference
    assert read_reference(" ".join(reference)) == reference
    assert len(bare(reference)) == LENGTH
    assert reference[4] == "-"


@given(references)
def test_any_one_wrong_character_is_found(reference):
    right = bare(reference)
    for at in range(LENGTH):
        for wrong in set(ALPHABET) - {right[at]}:
            with pytest.raises(ValueError, match="mistyped or two are exchanged"):
                read_reference(right[:at] + wrong + right[at + 1 :])


@given(references)
def test_any_two_exchanged_characters_are_found(reference):
    right = bare(reference)
    for one, other in combinations(range(LENGTH), 2):
        if right[one] != right[other]:
            typed = list(right)
            typed[one], typed[other] = typed[other], typed[one]
            with pytest.raises(ValueError, match="mistyped or two are exchanged"):
                read_reference("".join(typed))


def test_a_code_is_longer_and_as_safe_from_typing_mistakes():
    code = new_code()
    assert [len(part) for part in code.split("-")] == [4, 4, 4]
    assert read_reference(f" {bare(code).lower()}", CODE_LENGTH) == code
    for right in (bare(new_code()) for _ in range(20)):
        for at in range(CODE_LENGTH):
            for wrong in set(ALPHABET) - {right[at]}:
                with pytest.raises(ValueError, match="mistyped"):
                    read_reference(right[:at] + wrong + right[at + 1 :], CODE_LENGTH)
        for one, other in combinations(range(CODE_LENGTH), 2):
            if right[one] != right[other]:
                typed = list(right)
                typed[one], typed[other] = typed[other], typed[one]
                with pytest.raises(ValueError, match="mistyped"):
                    read_reference("".join(typed), CODE_LENGTH)
    for typed in (code[:-1], code[:9], code + "2"):
        with pytest.raises(ValueError, match="has 12 characters, for example"):
            read_reference(typed, CODE_LENGTH)
    with pytest.raises(ValueError, match="has 8 characters"):
        read_reference(code)


def test_the_alphabet_holds_no_two_characters_that_look_alike_and_no_vowel():
    assert len(ALPHABET) == len(set(ALPHABET)) == 23
    for alike in ("0OQD"[:2], "1IL", "5S", "8B", "2Z", "6G", "UV"):
        assert sum(character in ALPHABET for character in alike) <= 1
    assert not set("AEIOU") & set(ALPHABET)


def test_a_character_that_looks_like_another_is_read_as_it():
    reference = next(r for r in new_references("look") if "8" in r)
    assert read_reference(reference.replace("8", "B")) == reference
    reference = next(r for r in new_references("look") if "2" in r and "6" in r)
    assert read_reference(reference.replace("2", "z").replace("6", "g")) == reference


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "has 8 characters"),
        ("K7QM-2F4", "this has 7"),
        ("K7QM-2F499", "this has 9"),
        ("K7QM-2F4O", "O is not used"),
        ("K7QM-2F4é", "É is not used"),
        ("K7QM/2F49", "/ is not used"),
    ],
)
def test_what_is_no_reference_is_told_in_a_sentence(typed, words):
    with pytest.raises(ValueError, match=words):
        read_reference(typed)


def test_the_same_token_gives_the_same_references_and_another_others():
    assert list(islice(new_references("a"), 5)) == list(islice(new_references("a"), 5))
    assert set(islice(new_references("a"), 50)).isdisjoint(islice(new_references("b"), 50))


def test_without_a_token_they_come_at_random():
    assert len(set(islice(new_references(), 200))) == 200

"""The list of codes: check digits, kinds, units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.laboratory import well_formed
from thimble.exchange.hl7v2.loinc import Kind, Test, words
from thimble.exchange.hl7v2.loinc import tests as listed

ANALYTES = {
    "hiv_ag_ab", "hiv_differentiation", "hiv_rna", "hbsag", "anti_hbs", "anti_hbc_total",
    "anti_hbc_igm", "hbeag", "hbv_dna", "anti_hcv", "hcv_rna", "alt", "creatinine", "pregnancy",
    "measles_igg", "mumps_igg", "rubella_igg", "varicella_igg", "igra",
}  # fmt: skip
NUMBERS = {Kind.AMOUNT, Kind.RATIO, Kind.VIRAL_LOAD}


@pytest.mark.parametrize("code", listed())
def test_every_code_has_the_right_check_digit(code: str) -> None:
    assert well_formed(code)


@pytest.mark.parametrize(
    "code",
    ["10900-8", "xx625-4", "10900", "-9", "10900-9 ", "TSH", "", "１０９００-9", "12345678-9"],
)
def test_what_is_no_loinc_code_is_none(code: str) -> None:
    assert not well_formed(code)


@given(st.sampled_from(sorted(listed())), st.integers(0, 6), st.integers(1, 9))
def test_one_wrong_digit_is_always_found(code: str, place: int, add: int) -> None:
    """What a modulus 10 check is for."""
    digits = code.partition("-")[0]
    place %= len(digits)
    wrong = digits[:place] + str((int(digits[place]) + add) % 10) + digits[place + 1 :]

    assert not well_formed(f"{wrong}-{code[-1]}")


def test_every_analyte_that_is_read_has_a_code() -> None:
    assert {test.analyte for test in listed().values()} == ANALYTES | {"hiv_antibody"}


@pytest.mark.parametrize("test", listed().values(), ids=lambda test: test.code)
def test_numbers_have_known_units_and_words_have_none(test: Test) -> None:
    assert bool(test.units) == (test.kind in NUMBERS)
    assert set(test.units) <= set(words()["units"])
    assert test.standing in {"read", "secondary", "memory", "unread"}
    assert test.source


def test_no_unit_of_one_test_is_written_like_another_unit_of_the_same_test() -> None:
    for test in listed().values():
        spellings = [spelling for unit in test.units for spelling in words()["units"][unit]]
        assert len(spellings) == len(set(spellings)), test.code


def test_no_word_means_two_things() -> None:
    every = [word for answer in words()["words"].values() for word in answer]

    assert len(every) == len(set(every))


def test_every_analyte_says_what_contradicts_its_name() -> None:
    assert set(words()["contradicts"]) == ANALYTES | {"hiv_antibody", "every"}
